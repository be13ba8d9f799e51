"""How a line of the script compares with what a listener who knows no script hears in a sound (ear.py).

Where the listener hears other words than the line's, two things tell a slip of the tongue from a slip of the ear: how
much less likely the line's words are to the listener than those it heard, and how far apart the two sound. Numbers are
compared as they are said, however they are written.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import lru_cache

from assembler.narration.ear import Read
from assembler.narration.recogniser import VOWELS, pronunciations
from assembler.narration.recogniser import available as has_dictionary
from assembler.narration.spoken import SpokenToken, spoken_form

_ONES = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
_TEENS = ["ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"]
_TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
_NUMBERS = {word: number for number, word in enumerate([*_ONES, *_TEENS])}
_NUMBERS |= {word: 10 * number for number, word in enumerate(_TENS, start=2)}
_NUMBERS |= {f"{ten}-{one}": _NUMBERS[ten] + _NUMBERS[one] for ten in _TENS for one in _ONES[1:]}

Reads = Callable[[Sequence[str]], Sequence[Read]]
"""How texts fit the sound, in the order asked."""
_MOST_SLACK = 9.0
"""Beyond this one word is as wrong as another."""
_LEAST_ALIKE = 0.45
_ALIKE = 0.5  # sounds of one kind (two vowels, two consonants that are often taken for each other) differ by half
_KINDS = ("P B", "T D", "K G", "F V TH DH", "S Z SH ZH CH JH", "M N NG", "L R W", "HH")
_LETTERS = {"a": "AE", "e": "EH", "i": "IH", "o": "AO", "u": "AH", "c": "K", "q": "K", "h": "HH", "j": "JH", "x": "Z"}
_KIND = {sound: number for number, kind in enumerate(_KINDS) for sound in kind.split()}


@dataclass(frozen=True, slots=True)
class Place:
    """Where other words were heard than the line's. written: the line's words, as their numbers; heard: what was heard
    for them; either may be empty. slack: by how much the least likely of them, or the word before which something was
    heard besides, is less likely than what was heard. apart: how many sounds the two differ by. sounds: of the longer.
    """

    written: tuple[int, ...]
    heard: tuple[str, ...]
    slack: float
    apart: float
    sounds: int


@dataclass(frozen=True, slots=True)
class Comparison:
    """share: of the line's words that were heard, in order. lead: share of the line before the first of them.
    before, after: words heard before the first of the line's and after its last. slack: by how much the worst of its
    words is less likely than what was heard (log, at most 9); total: of all of them together. far: how many sounds
    the worst stretch of other words differs by; astray: of all of them, a share of the line's sounds. end: as
    `Read.end`. heard: what was heard, as the listener writes it. wrong: the line's word that is least likely. gulf: the
    most that a stretch of other words is both, less likely times sounds apart, since either alone may be the
    listener's slip. places: where other words were heard."""

    share: float
    lead: float
    before: int
    after: int
    slack: float
    total: float
    far: float
    astray: float
    end: float
    heard: str
    wrong: str = ""
    gulf: float = 0.0
    places: tuple[Place, ...] = ()

    @property
    def whole(self) -> bool:
        """Whether every word was heard, and no other."""
        return self.share >= 1.0 and not self.before and not self.after and self.astray == 0.0


def words_of(text: str) -> tuple[str, ...]:
    """What is said for a text that was heard."""
    return tuple(word for token in _tokens(text) for word in token.words)


def alike(line: Sequence[str], heard: Sequence[str]) -> float:
    """How alike two lines look letter for letter, 0 to 1; 0 where they hardly do."""
    return _alike(" ".join(line), " ".join(heard))


@lru_cache(maxsize=50_000)
def _alike(one: str, other: str) -> float:
    matcher = SequenceMatcher(None, one, other, autojunk=False)
    if matcher.real_quick_ratio() < _LEAST_ALIKE or matcher.quick_ratio() < _LEAST_ALIKE:
        return 0.0
    return matcher.ratio()


def compare(tokens: Sequence[SpokenToken], heard: str, reads: Reads, added: Mapping[str, str]) -> Comparison:
    """tokens: the line. heard: what the listener wrote. reads: asks it about texts. added: pronunciations that the
    dictionary lacks."""
    line = [word for token in tokens for word in token.words]
    told = _tokens(heard)
    said = [word for token in told for word in token.words]
    matcher = SequenceMatcher(None, line, said, autojunk=False)
    pairs = {
        block.a + n: block.b + n for block in matcher.get_matching_blocks() for n in range(block.size)
    }  # fmt: skip
    if len(pairs) == len(line) == len(said):
        return Comparison(1.0, 0.0, 0, 0, 0.0, 0.0, 0.0, 0.0, 0.0, heard)
    first, last = min(pairs, default=0), max(pairs, default=-1)
    before = max(0, pairs[first] - first) if pairs else 0
    after = max(0, len(said) - 1 - pairs[last] - (len(line) - 1 - last)) if pairs else 0
    # Where the last word heard is the line's, the rest of the line may not have been said at all.
    ended = pairs[last] == len(said) - 1 if pairs else False
    owner = [n for n, token in enumerate(tokens) for _ in token.words]
    rest = owner[last + 1] if ended and last + 1 < len(owner) else len(tokens)
    ways = _ways(tokens, told, pairs)
    asked = reads([" ".join(word for word, _ in way) for way in ways])
    fits = [_by_token(read, [owner for _, owner in way], rest) for read, way in zip(asked, ways, strict=True)]
    best = min(range(len(fits)), key=lambda n: sum(fits[n].values()))
    slack = fits[best]
    worst = max(slack, key=slack.__getitem__) if slack else None
    told_slack = [slack.get(n, 0.0) for n in owner]
    end = min(_MOST_SLACK, asked[best].end)
    places = _places(line, said, matcher, added, told_slack, end)
    return Comparison(
        len(pairs) / len(line), first / len(line), before, after,
        slack[worst] if worst is not None else _MOST_SLACK, sum(slack.values()),
        max((place.apart for place in places), default=0.0),
        sum(place.apart for place in places) / max(1, len(_sounds(line, added))),
        end, heard, tokens[worst].display if worst is not None else "",
        max((place.apart * _own_slack(place, told_slack) for place in places), default=0.0), places,
    )  # fmt: skip


def _ways(
    tokens: Sequence[SpokenToken], told: Sequence[SpokenToken], pairs: Mapping[int, int]
) -> list[list[tuple[str, int]]]:
    """How the line may be written: each word and the token it belongs to. Where the same was heard, as the listener
    writes it; the rest as in the script, and as it is said."""
    whose = [n for n, token in enumerate(told) for _ in token.words]
    written: list[tuple[str, int]] = []
    said: list[tuple[str, int]] = []
    at = 0
    for n, token in enumerate(tokens):
        places = [pairs.get(k) for k in range(at, at + len(token.words))]
        at += len(token.words)
        owners = {whose[place] for place in places if place is not None}
        same = None not in places and len(owners) == 1
        other = told[owners.pop()] if same else None
        if other is not None and len(other.words) == len(places):
            written += _words(other.display, n)
            said += _words(other.display, n)
        elif token.words:
            written += _words(token.display, n)
            said += _words(token.said + token.trailing, n)
    ways = [written, said, _in_numerals(written)]
    return [way for n, way in enumerate(ways) if way not in ways[:n]]


def _in_numerals(words: Sequence[tuple[str, int]]) -> list[tuple[str, int]]:
    """Words with numerals in place of numbers in words from 10 to 99, as the listener mostly writes them."""
    out: list[tuple[str, int]] = []
    ten = None  # of the word before, where a unit may follow it
    for word, owner in words:
        bare = word.rstrip(",.;:!?")
        number = _NUMBERS.get(bare.casefold())
        if number is not None and ten is not None and 0 < number < 10:
            out[-1] = str(ten + number) + word[len(bare) :], owner
        elif number is None or number < 10:
            out.append((word, owner))
        else:
            out.append((str(number) + word[len(bare) :], owner))
        ten = number if number is not None and number >= 20 and bare == word else None
    return out


def _words(text: str, owner: int) -> list[tuple[str, int]]:
    """The words of a token, without marks that stand alone."""
    words = text.replace(" %", "%").split()
    return [(word, owner) for word in words if any(sign.isalnum() for sign in word)]


def _by_token(read: Read, owners: Sequence[int], rest: int) -> dict[int, float]:
    """By how much each token is less likely than what was heard. rest: from which on the line may have been left."""
    out: dict[int, float] = {}
    for slack, stop, owner in zip(read.words, read.stops, owners, strict=True):
        told = max(slack, stop) if owner >= rest else slack
        out[owner] = max(out.get(owner, 0.0), min(_MOST_SLACK, told))
    return out


def _own_slack(place: Place, slack: Sequence[float]) -> float:
    """By how much the worst of the line's own words in a place is less likely; of the next one where it has none."""
    return max((slack[n] for n in place.written), default=place.slack)


def _places(
    line: Sequence[str], said: Sequence[str], matcher: SequenceMatcher[str], added: Mapping[str, str],
    slack: Sequence[float], end: float,
) -> tuple[Place, ...]:  # fmt: skip
    out = []
    for kind, a, b, c, d in matcher.get_opcodes():
        if kind == "equal":
            continue
        told = list(slack[a:b])
        if d - c > b - a:  # a word too many makes the next one unlikely
            told.append(slack[b] if b < len(line) else end)
        ours, theirs = _sounds(line[a:b], added), _sounds(said[c:d], added)
        apart, most = _distance(ours, theirs), max(len(ours), len(theirs))
        out.append(Place(tuple(range(a, b)), tuple(said[c:d]), max(told, default=0.0), apart, most))
    return tuple(out)


def _sounds(words: Sequence[str], added: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(sound for word in words for sound in _of_word(word, added.get(word, "")))


@lru_cache(maxsize=20_000)
def _of_word(word: str, given: str) -> tuple[str, ...]:
    """A word's sounds; of one that nobody knows its letters, as far as they are sounds."""
    ways = (given,) if given else pronunciations(word) if has_dictionary() else ()
    if ways:
        return tuple(ways[0].split())
    return tuple(_LETTERS.get(letter, letter.upper()) for letter in word if letter.isalpha())


def _distance(one: Sequence[str], other: Sequence[str]) -> float:
    """Sounds to put in, leave out or take for each other to come from one to the other (Levenshtein 1966), sounds of
    one kind for half."""
    row = [float(n) for n in range(len(other) + 1)]
    for n, sound in enumerate(one, start=1):
        before, row[0] = row[0], float(n)
        for m, rival in enumerate(other, start=1):
            both = before + _unlike(sound, rival)
            before, row[m] = row[m], min(both, row[m] + 1.0, row[m - 1] + 1.0)
    return row[-1]


def _unlike(one: str, other: str) -> float:
    if one == other:
        return 0.0
    vowels = one in VOWELS and other in VOWELS
    return _ALIKE if vowels or (one in _KIND and _KIND[one] == _KIND.get(other)) else 1.0


@lru_cache(maxsize=2_000)
def _tokens(text: str) -> tuple[SpokenToken, ...]:
    return spoken_form(text) if text.strip() else ()
