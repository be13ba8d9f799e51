"""What is said for what is written, word for word: captions show `1440p`, a voice says 'fourteen forty p'.

A line's written words (`words.split_words`) each become one `SpokenToken`, in order, so that times of spoken words
can be carried back to written ones. How English is read stands in spoken_english.py; another language is another
such module, named in `_READERS`. A language without one is said as it is written (`has_rules` tells).

Spoken words are lower case. A letter said by its name is that letter and a full stop (`p.`), as pronouncing
dictionaries write it, so that `a.` is never the article; `plain` leaves the stop out for people. Tens and ones are
one word (`twenty-six`); other compounds are parted at their hyphens (`anti`, `aliasing`).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from assembler.narration.spoken_english import spoken, spoken_words
from assembler.narration.words import split_words

__all__ = ["SpokenToken", "has_rules", "plain", "spoken", "spoken_form", "spoken_words", "written_times"]

_NO_LEXICON: Mapping[str, str] = {}
_TRAILING = re.compile(r"[\s\"'“”‘’)\]».,;:!?…—–-]*$")


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


def plain(words: Sequence[str]) -> str:
    """Spoken words in one string, letters without their full stop."""
    return " ".join(word[0] if len(word) == 2 and word[1] == "." else word for word in words)


def has_rules(language: str) -> bool:
    """Whether written words of this language are turned into spoken ones; if not they are said as written."""
    return language.casefold().split("-")[0] == "en"


def spoken_form(
    text: str, lexicon: Mapping[str, str] = _NO_LEXICON, *, spoken: str | None = None, language: str = "en"
) -> tuple[SpokenToken, ...]:
    """What is said for a line, one token for each of its written words.

    lexicon: written form to spoken words, used before every rule. spoken: what the whole line is said as; its words
    are laid onto the written ones that they agree with, and the others onto those between, in even shares.
    """
    tokens = []
    for (start, end), display in zip(_places(text), split_words(text), strict=True):
        tokens.append(SpokenToken(start, end, display, _words(display, language), _trailing(display)))
    return tuple(tokens)


def written_times(
    tokens: Sequence[SpokenToken], spoken_times: Sequence[tuple[int, int]]
) -> tuple[tuple[int, int], ...]:
    """From the start and end of each spoken word those of each written word, in the same units.

    A written word lasts from the start of its first spoken word to the end of its last. One of which nothing is said
    lasts no time at all, where the word before it ends (the first one: where the next one starts).
    Raises ValueError when there is not one time for each spoken word.
    """
    if len(spoken_times) != sum(len(token.words) for token in tokens):
        raise ValueError(f"{len(spoken_times)} times for {sum(len(token.words) for token in tokens)} spoken words")
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


def _places(text: str) -> list[tuple[int, int]]:
    places = []
    at = 0
    for word in split_words(text):
        start = at
        for piece in word.split():
            begin = text.index(piece, at)
            start = begin if at == start else start
            at = begin + len(piece)
        places.append((text.index(word.split()[0], start), at))
    return places


def _trailing(display: str) -> str:
    found = _TRAILING.search(display)
    return "".join(found[0].split()) if found else ""


def _words(display: str, language: str) -> tuple[str, ...]:
    said = spoken(display) if has_rules(language) else display
    words = []
    for piece in re.split(r"[\s/]+", said):
        bare = "".join(sign for sign in piece if sign.isalnum() or sign in "-'’").strip("-'’")
        if bare:
            words.append(
                f"{bare.lower()}."
                if len(bare) == 1 and bare.isupper() and bare != "I" and bare != "A"
                else bare.lower()
            )
    return tuple(words)
