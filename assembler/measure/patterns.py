"""Repeating patterns of new and held refreshes: found, told even from uneven, and named.

A pattern is a word of refreshes, 1 where a new picture comes and 0 where one is held, that repeats. It is even when
its new pictures lie as regularly as whole refreshes allow: 24 in 60 is held 3 2 3 2, and 3 3 2 2 is uneven.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

Bits = npt.NDArray[np.bool_]

LONGEST_ANY = 25
"""Periods up to this many refreshes are looked for in any shape (uneven ones up to `LONGEST_UNEVEN`)."""
LONGEST_UNEVEN = 12
LONGEST_KNOWN = 72
_KNOWN_RATES = (15, 20, 24, 25, 30, 40, 45, 48, 50, 60, 72, 75, 80, 90, 100, 120, 144)
_SHORT_NAME = 4


@dataclass(frozen=True, slots=True)
class Pattern:
    """A word of refreshes that repeats, with its phase: refresh i is new where word[i % len(word)]."""

    word: tuple[bool, ...]

    @property
    def new(self) -> int:
        """New pictures in one repetition."""
        return sum(self.word)

    @property
    def period(self) -> int:
        """Refreshes in one repetition."""
        return len(self.word)

    @property
    def holds(self) -> tuple[int, ...]:
        """How many refreshes each picture of one repetition stays, turned so that the largest reading comes first."""
        at = [i for i, bit in enumerate(self.word) if bit]
        lengths = [b - a for a, b in zip(at, [*at[1:], at[0] + self.period], strict=True)]
        return max(tuple(lengths[i:] + lengths[:i]) for i in range(len(lengths)))

    @property
    def even(self) -> bool:
        """Whether any run of holds differs from any other of as many holds by one refresh at most."""
        lengths = self.holds
        twice = lengths + lengths
        for many in range(1, len(lengths)):
            sums = {sum(twice[i : i + many]) for i in range(len(lengths))}
            if max(sums) - min(sums) > 1:
                return False
        return True

    def laid(self, refreshes: int) -> Bits:
        """The pattern over refreshes 0 to n."""
        return np.resize(np.array(self.word, dtype=np.bool_), refreshes)


def name_of(new: int, period: int, refresh: Fraction) -> str:
    """What people call a steady rate on a refresh: '30', or '24-in-60' where the name alone would say too little.

    The bare number is kept for rates that are a simple part of 60 (a cycle of four refreshes at most) and for the
    refresh itself. Whole numbers stand for their /1001 relatives too.
    """
    nominal = round(refresh)
    rate = Fraction(new * nominal, period)
    shown = f"{float(rate):.1f}".removesuffix(".0")
    bare = new == period or (nominal == 60 and Fraction(new, period).denominator <= _SHORT_NAME)
    return shown if bare else f"{shown}-in-{nominal}"


def is_known_rate(new: int, period: int, refresh: Fraction) -> bool:
    """Whether pictures are commonly made or capped at this rate (common practice, no source)."""
    return Fraction(new * round(refresh), period) in _KNOWN_RATES


def even_pattern(new: int, period: int) -> Pattern:
    """The even pattern of so many new pictures in so many refreshes, beginning with a new one."""
    return Pattern(tuple((i * new) % period < new for i in range(period)))


def found_patterns(is_new: Bits, refresh: Fraction, least: int, most: int = 48) -> tuple[Pattern, ...]:
    """The patterns, each in its phase, that some stretch of at least `least` refreshes keeps; longest kept first.

    is_new: (n,) one entry a refresh.
    """
    kept: dict[Pattern, int] = {}
    for period in _periods(refresh):
        for start, end in _periodic(is_new, period, least):
            word = _word(is_new, period, start, end)
            if word is not None and (period <= LONGEST_UNEVEN or word.even):
                kept[word] = kept.get(word, 0) + end - start
    return tuple(sorted(kept, key=lambda pattern: (-kept[pattern], pattern.period, pattern.word))[:most])


def _periods(refresh: Fraction) -> list[int]:
    known = {Fraction(rate, round(refresh)).denominator for rate in _KNOWN_RATES if rate <= refresh + 1}
    return sorted({*range(1, LONGEST_ANY + 1), *(period for period in known if period <= LONGEST_KNOWN)})


def _periodic(is_new: Bits, period: int, least: int) -> Iterator[tuple[int, int]]:
    """Stretches that repeat with the period at least three times, single wrong refreshes outvoted by their peers."""
    n = is_new.size
    if n < 3 * period:
        return
    voted = is_new.copy()
    middle = slice(period, n - period)
    votes = is_new[: n - 2 * period].astype(np.int8) + is_new[middle] + is_new[2 * period :]
    voted[middle] = votes >= 2
    same = np.concatenate(([False], voted[period:] == voted[:-period], [False]))
    edges = np.flatnonzero(same[1:] != same[:-1])
    for start, end in edges.reshape(-1, 2):
        if end - start + period >= max(3 * period, least):
            yield int(start), int(end) + period


def _word(is_new: Bits, period: int, start: int, end: int) -> Pattern | None:
    """The word most refreshes of a stretch agree on; None where it has no new picture or a shorter period does."""
    whole = (end - start) // period * period
    counts = is_new[start : start + whole].reshape(-1, period).mean(axis=0)
    word = np.roll(counts >= 0.5, start % period)
    if not word.any():
        return None
    for shorter in range(1, period):
        if period % shorter == 0 and (np.resize(word[:shorter], period) == word).all():
            return None
    return Pattern(tuple(bool(bit) for bit in word))
