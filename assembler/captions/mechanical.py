"""Re-time a caption file by arithmetic alone: shifts, rates, anchors and cuts, exact to the millisecond.

Nothing is known of the words here. Times are exact fractions until they are rounded, once, to the nearest
millisecond.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

from assembler.captions.caption_file import FileCue
from assembler.timing.grammar import parse_time
from assembler.timing.rates import parse_rate

_KEPT = Fraction(1, 2)
"""Share of a cue's time that must be left by cuts for the cue to stay."""
_HOW = "write 1.5 s, 800 ms, 2 min or 00:01:02.500"


@dataclass(frozen=True, slots=True)
class Change:
    """What becomes of times, in this order: cuts are taken out, then the time is scaled or bent through anchors, then
    shifted.

    cuts: (from, to) in old seconds, rising, apart. factor: new seconds an old second. anchors: (old, new) seconds,
    both rising, at least two or none; between two it runs straight, outside as between the nearest two.
    """

    shift_s: Fraction = Fraction(0)
    factor: Fraction = Fraction(1)
    anchors: tuple[tuple[Fraction, Fraction], ...] = ()
    cuts: tuple[tuple[Fraction, Fraction], ...] = ()

    def __call__(self, old_s: Fraction) -> Fraction:
        """The new time of an old one, in seconds; a time inside a cut is where the cut was."""
        here = old_s - sum((min(old_s, to) - since for since, to in self.cuts if since < old_s), Fraction(0))
        if self.anchors:
            (a, b), (c, d) = self._nearest(here)
            here = b + (here - a) * (d - b) / (c - a)
        return here * self.factor + self.shift_s

    def left(self, start_s: Fraction, end_s: Fraction) -> Fraction:
        """The share of a stretch of old time that no cut takes."""
        gone = sum((max(Fraction(0), min(end_s, to) - max(start_s, since)) for since, to in self.cuts), Fraction(0))
        return 1 - gone / (end_s - start_s)

    def _nearest(self, here: Fraction) -> tuple[tuple[Fraction, Fraction], tuple[Fraction, Fraction]]:
        pairs = list(pairwise(self.anchors))
        return next(((one, other) for one, other in pairs if here < other[0]), pairs[-1])


@dataclass(frozen=True, slots=True)
class Changed:
    """A caption file with new times. cues: old cues with their new (start, end) in milliseconds, in order.
    removed: cues that have no time any more, and why."""

    cues: tuple[tuple[FileCue, int, int], ...]
    removed: tuple[tuple[FileCue, str], ...] = field(default=())


def change_times(cues: Iterable[FileCue], change: Change) -> Changed:
    """Every cue at its new time."""
    kept: list[tuple[FileCue, int, int]] = []
    removed = []
    for cue in cues:
        start_s, end_s = Fraction(cue.start_ms, 1000), Fraction(cue.end_ms, 1000)
        new_start, new_end = change(start_s), change(end_s)
        if change.left(start_s, end_s) < _KEPT:
            removed.append((cue, "most of it was cut"))
        elif new_end <= 0:
            removed.append((cue, "it would end before 0"))
        else:
            start_ms = max(0, round(new_start * 1000))
            kept.append((cue, start_ms, max(start_ms + 1, round(new_end * 1000))))
    return Changed(tuple(kept), tuple(removed))


def read_shift(text: str) -> Fraction:
    """Seconds to shift by: `1.5s`, `-800ms`, `+00:01.250`. Raises ValueError with a sentence for the person."""
    return _seconds(text, signed=True)


def read_rates(text: str) -> Fraction:
    """New seconds an old second, of `23.976:25`: pictures keep their number, so their times go by the old rate over
    the new. Raises ValueError."""
    old, colon, new = text.partition(":")
    if not colon:
        raise ValueError(f"'{text}' is not two rates; write OLD:NEW, such as 23.976:25")
    return _rate(old) / _rate(new)


def read_anchors(texts: Sequence[str]) -> tuple[tuple[Fraction, Fraction], ...]:
    """Pairs `OLD=NEW` of times, in seconds, by old time. Raises ValueError."""
    pairs = []
    for text in texts:
        old, equals, new = text.partition("=")
        if not equals:
            raise ValueError(f"'{text}' is not a pair of times; write OLD=NEW, such as 00:10.000=00:12.500")
        pairs.append((_seconds(old), _seconds(new)))
    pairs.sort()
    if len(pairs) < 2:
        raise ValueError("one anchor only shifts; give at least two --anchor, or use --shift")
    for (a, b), (c, d) in pairwise(pairs):
        if a == c or b >= d:
            raise ValueError(
                f"the anchors at {float(a):.3f} s and {float(c):.3f} s contradict each other: later must stay later"
            )
    return tuple(pairs)


def read_cuts(texts: Sequence[str]) -> tuple[tuple[Fraction, Fraction], ...]:
    """Spans `FROM-TO` of old times, in seconds, brought together where they touch. Raises ValueError."""
    spans: list[tuple[Fraction, Fraction]] = []
    for text in texts:
        since, dash, to = text.replace("–", "-").partition("-")
        if not dash:
            raise ValueError(f"'{text}' is not a span; write FROM-TO, such as 01:02.000-01:05.500")
        span = _seconds(since), _seconds(to)
        if span[0] >= span[1]:
            raise ValueError(f"the cut '{text}' ends before it starts")
        spans.append(span)
    whole: list[tuple[Fraction, Fraction]] = []
    for since_s, to_s in sorted(spans):
        if whole and since_s <= whole[-1][1]:
            whole[-1] = whole[-1][0], max(whole[-1][1], to_s)
        else:
            whole.append((since_s, to_s))
    return tuple(whole)


def _seconds(text: str, *, signed: bool = False) -> Fraction:
    try:
        time = parse_time(text.strip().replace(",", "."), Fraction(1000), signed=signed)
    except ValueError:
        time = None
    if time is None or time.second is None:
        raise ValueError(f"'{text.strip()}' is not a time here; {_HOW}")
    return time.second


def _rate(text: str) -> Fraction:
    written = text.strip()
    try:
        return parse_rate(written)
    except ValueError:
        pass
    found = re.fullmatch(r"\d{1,5}(?:\.\d{1,6}|/\d{1,5})?", written, re.ASCII)
    try:
        rate = Fraction(written) if found else Fraction(0)
    except ZeroDivisionError:
        rate = Fraction(0)
    # 23.98, 47.952, 119.88: rates that are really a whole one times 1000/1001 are written with few digits.
    whole = round(rate * 1001 / 1000)
    digits = len(written.partition(".")[2])
    if digits and whole and abs(Fraction(whole * 1000, 1001) - rate) <= Fraction(1, 2 * 10**digits):
        return Fraction(whole * 1000, 1001)
    if not rate:
        raise ValueError(f"'{written}' is not a rate; write 25, 23.976 or 24000/1001")
    return rate
