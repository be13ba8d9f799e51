"""What a reader's own accent does to words, learnt from the reader's own recording.

The recogniser knows General American. Many accents differ from it by one sound for another in every word that has it.
A few such shifts are known to be common; whether a reader has one is heard in lines that were found: with the other
sound in their place the words concerned fit better, nearly all of them, or they do not. A slip of the tongue cannot
look like that. What was learnt is then expected everywhere beside the dictionary's own ways.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from assembler.narration.recogniser import VOWELS, Heard, pronunciations
from assembler.narration.take_listen import Listener

# Lexical sets and what becomes of them outside of North America, and of consonants in the mouths of those who learnt
# English later: J. C. Wells, Accents of English (1982), from memory; in the recogniser's nearest sounds.
SHIFTS: Mapping[str, tuple[str, str]] = {
    "trap opened": ("AE", "AA"),
    "trap raised": ("AE", "EH"),
    "lot rounded": ("AA", "AO"),
    "goat level": ("OW", "AO"),
    "goat fronted": ("OW", "AH UH"),
    "face level": ("EY", "EH"),
    "face widened": ("EY", "AY"),
    "strut as foot": ("AH", "UH"),
    "kit tense": ("IH", "IY"),
    "nurse apart": ("ER", "EH R"),
    "r dropped": ("R", ""),
    "th as t": ("TH", "T"),
    "dh as d": ("DH", "D"),
    "w as v": ("W", "V"),
    "z as s": ("Z", "S"),
}
_DROPPED = "r dropped"
# Set on 18 lines of two synthetic voices: the shift that one of them has gained 1.4 and helped every word, those that
# it has not, and all of the other voice's, at most 0.15. Sixteen shifts were tried.
_LEAST_WORDS, _LEAST_GAIN, _LEAST_SHARE, _GAINS = 5, 0.3, 0.75, 0.05
_MOST_LINES = 10


@dataclass(frozen=True, slots=True)
class Sample:
    """A stretch in which a line was found: frames, half-open, and the line's words."""

    first: int
    past: int
    line: tuple[str, ...]


def shifted(phones: str, name: str) -> str:
    """A pronunciation as a reader with this shift has it."""
    parts = phones.split()
    if name == _DROPPED:  # but not before a vowel
        kept = [
            "AH" if part == "ER" else part
            for part, after in zip(parts, [*parts[1:], ""], strict=True)
            if part != "R" or after in VOWELS
        ]
        return " ".join(kept)
    one, other = SHIFTS[name]
    return " ".join(other if part == one else part for part in parts)


def learned(
    samples: Sequence[Sample],
    listener: Listener,
    added: Mapping[str, str],
    step: Callable[[int, int], None] = lambda done, of: None,
) -> tuple[str, ...]:
    """The shifts that a reader has, by name. added: pronunciations that the dictionary lacks. step: told how many
    shifts of how many were tried; may raise to end it."""
    found = []
    for sample in samples[:_MOST_LINES]:
        if (heard := listener.align(sample.first, sample.past, sample.line)) is not None:
            found.append((sample, heard))
    names = []
    for n, name in enumerate(SHIFTS):
        step(n, len(SHIFTS))
        if _has(name, found, listener, added):
            names.append(name)
    return tuple(names)


def _has(
    name: str, found: Sequence[tuple[Sample, tuple[Heard, ...]]], listener: Listener, added: Mapping[str, str]
) -> bool:
    gains, lengths = [], []
    for sample, plain in found:
        changed = _numbered({word: _changed(word, (name,), added) for word in sample.line})
        if not changed:
            continue
        other = listener.align(sample.first, sample.past, sample.line, {**added, **changed})
        for ours, theirs in zip(plain, other or (), strict=False):
            if ours.word in changed:
                gains.append(theirs.score - ours.score)
                lengths.append(max(0.01, ours.end_s - ours.start_s))
    if len(gains) < _LEAST_WORDS:
        return False
    gain = float(np.average(gains, weights=lengths))
    return gain >= _LEAST_GAIN and float(np.mean(np.array(gains) > _GAINS)) >= _LEAST_SHARE


def with_shifts(words: Sequence[str], names: Sequence[str], added: Mapping[str, str]) -> Mapping[str, str]:
    """`added`, and for each of `words` that these shifts change its own ways and the reader's: each shift alone, and
    all of them."""
    every = {}
    for word in words:
        sets = [(name,) for name in names] + [tuple(names)]
        new = [way for each in sets for way in _changed(word, each, added)]
        if new:
            every[word.casefold()] = [*_ways(word, added), *new]
    return {**added, **_numbered(every)}


def _ways(word: str, added: Mapping[str, str]) -> list[str]:
    low = word.casefold()
    return [added[low]] if low in added else list(pronunciations(low))


def _changed(word: str, names: Sequence[str], added: Mapping[str, str]) -> list[str]:
    """The word's ways that these shifts change, changed."""
    made = []
    for way in _ways(word, added):
        new = way
        for name in names:
            new = shifted(new, name)
        if new != way and new:
            made.append(new)
    return made


def _numbered(every: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Ways of saying as the recogniser wants them: `word`, `word(2)` and so on."""
    return {
        f"{word}({n})" if n > 1 else word: way
        for word, ways in every.items()
        for n, way in enumerate(dict.fromkeys(ways), start=1)
    }
