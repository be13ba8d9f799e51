"""What is said for what is written, word for word: captions show `1440p`, a voice says 'fourteen forty p'.

A line's written words (`words.split_words`) each become one `SpokenToken`, in order, so that times of spoken words
can be carried back to written ones. How English is read stands in english/; another language is another such
package, named in `_reader`. A language without one is said as it is written (`has_rules` tells).

Spoken words are lower case. A letter said by its name is that letter and a full stop (`p.`), as pronouncing
dictionaries write it, so that `a.` is never the article; several of it are `p.'s`. `plain` leaves the stop out for
people. Tens and ones are one word (`twenty-six`); other compounds are parted at their hyphens (`anti`, `aliasing`).

In a lexicon and in a line's `spoken:` people write words, and letters said by name as capitals that stand alone.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from functools import lru_cache
from itertools import pairwise

from assembler.narration.words import Piece, pieces_of_words, trailing_marks

_NO_LEXICON: Mapping[str, str] = {}
_HYPHENED = frozenset(("wi-fi", "hi-fi", "sci-fi"))
_TENS = re.compile(r"(?:twen|thir|for|fif|six|seven|eigh|nine)ty-[a-z]+(?:'s)?")

Read = Callable[[Sequence[Piece]], list[tuple[str, str]]]


@dataclass(frozen=True, slots=True)
class SpokenToken:
    """One written word and what is said for it.

    display: the written word as `split_words` gives it, punctuation and all; it stands at
    `display_start` to `display_end` (half-open, in characters) of the line's text.
    words: what is said, in order; empty where nothing is (a word that another one's reading takes in).
    trailing: the punctuation at the word's end, for pauses.
    doubtful: '' or why a person should look.
    """

    display_start: int
    display_end: int
    display: str
    words: tuple[str, ...]
    trailing: str
    doubtful: str = ""

    @property
    def said(self) -> str:
        """The spoken words as people write them: 'fourteen forty p'."""
        return plain(self.words)

    @property
    def voiced(self) -> str:
        """The spoken words for a voice, letters as capitals: 'fourteen forty P'."""
        return " ".join(voiced(word) for word in self.words)


def voiced(word: str) -> str:
    """A spoken word as a voice is given it: a letter as a capital."""
    return word[0].upper() + word[2:] if word[1:2] == "." else word


def plain(words: Sequence[str]) -> str:
    """Spoken words in one string, letters without their full stop."""
    return " ".join(word[0] + word[2:] if word[1:2] == "." else word for word in words)


def has_rules(language: str) -> bool:
    """Whether written words of this language are turned into spoken ones; if not they are said as written."""
    return _reader(language) is not None


def _reader(language: str) -> Read | None:
    if language.casefold().replace("_", "-").split("-")[0] == "en":
        from assembler.narration.english.reading import read

        return read
    return None


def spoken_form(
    text: str, lexicon: Mapping[str, str] = _NO_LEXICON, *, spoken: str | None = None, language: str = "en"
) -> tuple[SpokenToken, ...]:
    """What is said for a line, one token for each of its written words.

    lexicon: written form to spoken words, used before every rule. spoken: what the whole line is said as; its words
    are laid onto the written ones that they agree with, and the others onto those between, in even shares.
    """
    words = pieces_of_words(text)
    tokens = _by_rules(words, lexicon, _reader(language))
    return _overridden(tokens, spoken) if spoken is not None else tokens


def written_times(
    tokens: Sequence[SpokenToken], spoken_times: Sequence[tuple[int, int]]
) -> tuple[tuple[int, int], ...]:
    """From the start and end of each spoken word those of each written word, in the same units.

    A written word lasts from the start of its first spoken word to the end of its last. One of which nothing is said
    lasts no time at all, where the word before it ends (the first one: where the next one starts).
    Raises ValueError when there is not one time for each spoken word.
    """
    wanted = sum(len(token.words) for token in tokens)
    if len(spoken_times) != wanted:
        raise ValueError(f"{len(spoken_times)} times for {wanted} spoken words")
    times = []
    at, here = 0, spoken_times[0][0] if spoken_times else 0
    for token in tokens:
        if token.words:
            last = at + len(token.words)
            times.append((spoken_times[at][0], spoken_times[last - 1][1]))
            at, here = last, spoken_times[last - 1][1]
        else:
            times.append((here, here))
    return tuple(times)


def spoken_words_of(said: str) -> tuple[str, ...]:
    """What people write in a lexicon or as `spoken:`, as spoken words: capitals that stand alone are letters.

    `A` that opens a sentence and `I` are words unless another such capital stands beside them.
    """
    pieces = re.split(r"\s+", said.strip())
    alone = [bool(re.fullmatch(r"[A-Z](?:['’]?s)?", _bare(piece))) for piece in pieces]
    words: list[str] = []
    for at, piece in enumerate(pieces):
        bare = _bare(piece)
        beside = any(alone[near] for near in (at - 1, at + 1) if 0 <= near < len(pieces))
        opens = at == 0 or pieces[at - 1][-1:] in ".!?"
        if bare == "I" and not beside:
            words.append("i")
        elif bare == "A" and opens and not beside and len(pieces) > 1:
            words.append("a")
        else:
            words += _words(bare)
    return tuple(words)


@lru_cache(maxsize=8192)
def spoken(word: str) -> str:
    """The words said for one written English word by itself, its closing punctuation kept so that a voice can pause."""
    return " ".join(f"{token.voiced}{token.trailing}" for token in spoken_form(word))


def spoken_words(word: str) -> int:
    """How many words are said for a written English word by itself; hyphened tens count as one. At least 1."""
    return max(1, sum(len(token.words) for token in spoken_form(word)))


def _bare(piece: str) -> str:
    return piece.strip("\"'“”‘’()[]«».,;:!?…—–-")


@lru_cache(maxsize=8192)
def _words(said: str) -> tuple[str, ...]:
    """A reading's words; a capital that stands alone is a letter's name."""
    words: list[str] = []
    for part in said.replace("’", "'").split():
        if re.fullmatch(r"[A-Z](?:'?s)?", part):
            words.append(f"{part[0].lower()}." + ("'s" if len(part) > 1 else ""))
            continue
        low = part.casefold()
        whole = low in _HYPHENED or _TENS.fullmatch(low)
        for piece in [low] if whole else re.split(r"[-‑–—]+", low):
            kept = "".join(sign for sign in piece if sign.isalnum() or sign in "-'" or ord(sign) > 0x2FF).strip("'")
            if any(sign.isalnum() for sign in kept):
                words.append(kept)
    return tuple(words)


def _by_rules(
    words: Sequence[Sequence[Piece]], lexicon: Mapping[str, str], read: Read | None
) -> tuple[SpokenToken, ...]:
    pieces = [piece for word in words for piece in word]
    if read:
        said = [(_words(text), doubt) for text, doubt in read(pieces)]
    else:
        said = [((piece.core.casefold(),) if piece.core else (), "") for piece in pieces]
    for at, spoken in _from_lexicon(pieces, lexicon).items():
        said[at] = (spoken, "")
    tokens = []
    at = 0
    for word in words:
        mine = said[at : at + len(word)]
        at += len(word)
        spoken = tuple(one for parts, _ in mine for one in parts)
        doubt = next((why for _, why in mine if why), "")
        display = " ".join(piece.text for piece in word)
        if not spoken and not doubt:
            doubt = "nothing is said for it"
        tokens.append(SpokenToken(word[0].start, word[-1].end, display, spoken, trailing_marks(word), doubt))
    return tuple(tokens)


def _from_lexicon(pieces: Sequence[Piece], lexicon: Mapping[str, str]) -> dict[int, tuple[str, ...]]:
    """By the place of each piece that the lexicon knows, what is said for it; the longest entry wins."""
    if not lexicon:
        return {}
    exact, loose, longest = _prepared(tuple(lexicon.items()))
    found: dict[int, tuple[str, ...]] = {}
    at = 0
    while at < len(pieces):
        for count in range(min(longest, len(pieces) - at), 0, -1):
            entry = _entry(pieces[at : at + count], exact, loose)
            if entry is not None:
                for place, share in enumerate(_shared(entry, count)):
                    found[at + place] = share
                at += count
                break
        else:
            at += 1
    return found


Entries = Mapping[tuple[str, ...], str]


@lru_cache(maxsize=8)
def _prepared(lexicon: tuple[tuple[str, str], ...]) -> tuple[Entries, Entries, int]:
    """The entries by their words as written and without regard to capitals, and how many words the longest has."""
    exact = {tuple(written.split()): said for written, said in lexicon}
    loose = {tuple(part.casefold() for part in written): said for written, said in exact.items()}
    return exact, loose, max(map(len, exact))


def _entry(pieces: Sequence[Piece], exact: Entries, loose: Entries) -> tuple[str, ...] | None:
    """What the lexicon gives for these pieces: as written, without the marks around them, or as a possessive."""
    inner = tuple(piece.core for piece in pieces)
    first = (pieces[0].core + pieces[0].after) if len(pieces) == 1 else ""
    for key in filter(None, (tuple(piece.text for piece in pieces), (first,), inner)):
        if (said := exact.get(key, loose.get(tuple(part.casefold() for part in key)))) is not None:
            return spoken_words_of(said)
    if owner := re.fullmatch(r"(.+)['’]s", inner[-1]):
        key = (*inner[:-1], owner[1])
        if (said := exact.get(key, loose.get(tuple(part.casefold() for part in key)))) is not None:
            words = spoken_words_of(said)
            return (*words[:-1], f"{words[-1]}'s")
    if len(inner) == 1 and len(parts := re.split(r"[-/]", inner[0])) > 1:
        key_parts = [((part,), exact.get((part,), loose.get((part.casefold(),)))) for part in parts if part]
        if any(said is not None for _, said in key_parts):
            return tuple(one for (part,), said in key_parts for one in _part_of_compound(part, said))
    return None


def _part_of_compound(part: str, said: str | None) -> tuple[str, ...]:
    if said is not None:
        return spoken_words_of(said)
    return tuple(word for token in spoken_form(part) for word in token.words)


def _shared(words: Sequence[str], shares: int) -> list[tuple[str, ...]]:
    """Words in even shares, in order; with fewer words than shares the last ones are empty."""
    if len(words) <= shares:
        return [(word,) for word in words] + [()] * (shares - len(words))
    edges = [round(len(words) * part / shares) for part in range(shares + 1)]
    return [tuple(words[low:high]) for low, high in pairwise(edges)]


def _overridden(tokens: Sequence[SpokenToken], spoken: str) -> tuple[SpokenToken, ...]:
    """The tokens with the words of a whole line's reading.

    Words that agree with what the rules gave stay with their written word. Those between two that agree are shared
    evenly among the written words between; where there is none, they join the word before (at the start: after).
    """
    given = spoken_words_of(spoken)
    owners = [number for number, token in enumerate(tokens) for _ in token.words]
    ruled = [word for token in tokens for word in token.words]
    if not tokens:
        return ()
    laid: list[list[str]] = [[] for _ in tokens]
    at = 0
    for kind, low, high, first, last in SequenceMatcher(None, ruled, given, autojunk=False).get_opcodes():
        if kind == "equal":
            for offset in range(high - low):
                laid[owners[low + offset]].append(given[first + offset])
            at = owners[high - 1]
        elif kind == "insert":
            laid[at if low else owners[0] if owners else 0].extend(given[first:last])
        elif kind == "replace":
            mine = sorted(set(owners[low:high]))
            for owner, share in zip(mine, _shared(given[first:last], len(mine)), strict=True):
                laid[owner].extend(share)
            at = mine[-1]
    return tuple(replace(token, words=tuple(words), doubtful="") for token, words in zip(tokens, laid, strict=True))
