"""Choose where cues and their lines break, for all words of a segment at once.

Dynamic programming: the best way to caption the first i words is the best over every last cue that
could end there. What a cue costs does not depend on the cues before it, because its start is its
first word and its end is decided by its words and the start of the next one.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import accumulate, groupby
from math import ceil, floor, sqrt

from assembler.captions.limits import Limits

# Costs, on the scale of breaks.py. Found by trying; only their order of size matters.
_CUE = 3.0
_MERGED = 1.0
_LAG_PER_S = 1.0
_TINY_CHARS, _TINY = 12, 2.0
_SHORT_LINE_CHARS = 16
_UNBALANCED, _TOP_HEAVY, _SPLIT = 1.5, 0.5, 0.6
_HOLE_S, _HOLE, _HOLE_PER_S = 0.7, 2.0, 10.0
_TOO_SHORT, _SHORTER = 20.0, 40.0
_TOO_FAST, _FASTER = 25.0, 8.0
_NO_END = 1 << 62


@dataclass(frozen=True, slots=True)
class Run:
    """The words of one segment, as parallel sequences of n values, times in programme frames.

    widths: characters of each word. lines: the narration line each belongs to, rising.
    breaks: cost of a break after each word (0 after the last of a line). fence_frame: where the
    segment ends. next_frame: where the first word after the run starts, None if there is none.
    """

    widths: Sequence[int]
    starts: Sequence[int]
    ends: Sequence[int]
    lines: Sequence[int]
    breaks: Sequence[float]
    fence_frame: int
    next_frame: int | None


@dataclass(frozen=True, slots=True)
class Piece:
    """One cue: words `first` up to `stop`, a new caption line at each of `splits`."""

    first: int
    stop: int
    splits: tuple[int, ...]
    start_frame: int
    end_frame: int


@dataclass(frozen=True, slots=True)
class Held:
    """Words `first` up to `stop` that are one cue whatever it costs. splits: where its caption lines begin after
    the first; None = to be found."""

    first: int
    stop: int
    splits: tuple[int, ...] | None = None


def choose(run: Run, limits: Limits, rate: Fraction, held: Sequence[Held] = ()) -> tuple[Piece, ...]:
    """The cheapest cues that hold every word of the run once, in order.

    held: cues that stand already, rising and not overlapping.
    """
    return _Chooser(run, limits, rate, held).choose()


def most_frame(natural_end: int, fence_frame: int, limits: Limits, rate: Fraction) -> int:
    """The latest frame a cue may stay to whose last word ends at `natural_end`."""
    return min(natural_end + floor(limits.hang_s * rate), max(fence_frame, natural_end))


@lru_cache(maxsize=64)
def _reading_frames(widest: int, target_cps: Fraction, rate: Fraction) -> tuple[int, ...]:
    """The frames it takes to read each number of characters up to `widest`."""
    return tuple(ceil(width / target_cps * rate) for width in range(widest + 1))


class _Chooser:
    def __init__(self, run: Run, limits: Limits, rate: Fraction, held: Sequence[Held]) -> None:
        self.run, self.limits = run, limits
        self.held = {each.first: each for each in held}
        self.fences = [each.first for each in held]
        self.rate = float(rate)
        self.min_frames = limits.min_frames(rate)
        self.max_frames = limits.max_frames(rate)
        self.linger = floor(limits.linger_s * rate)
        self.hang = floor(limits.hang_s * rate)
        self.join = floor(limits.join_s * rate)
        self.target, self.most = float(limits.target_cps), float(limits.max_cps)
        self.widest = limits.chars_per_line * limits.lines + limits.lines - 1
        self.reading = _reading_frames(self.widest, limits.target_cps, rate)
        # Each word with the space after it, summed: the width of any words is a difference less one.
        self.reach = [0, *accumulate(width + 1 for width in run.widths)]
        self.holes = [0.0, *accumulate(map(self._hole, range(len(run.widths) - 1)))]
        self.line_starts, self.line_ends, self.short = self._narration_lines()
        self.splits = lru_cache(maxsize=None)(self._split) if limits.lines > 2 else self._split

    def choose(self) -> tuple[Piece, ...]:
        count = len(self.run.widths)
        best = [0.0] + [float("inf")] * count
        came: list[tuple[int, tuple[int, ...], int]] = [(0, (), 0)] * (count + 1)
        for first in range(count):
            if best[first] == float("inf"):
                continue  # inside a held cue
            held = self.held.get(first)
            for stop, splits, end, cost in [self._held_cue(held)] if held else self._cues_from(first):
                if best[first] + cost < best[stop]:
                    best[stop] = best[first] + cost
                    came[stop] = (first, splits, end)
        pieces = []
        stop = count
        while stop:
            first, splits, end = came[stop]
            pieces.append(Piece(first, stop, splits, self.run.starts[first], end))
            stop = first
        return tuple(reversed(pieces))

    def _held_cue(self, held: Held) -> tuple[int, tuple[int, ...], int, float]:
        splits = held.splits
        if splits is None:
            layout = self.splits(held.first, held.stop, self.limits.lines)
            splits = layout[1] if layout else ()
        end, _ = self._shown(held.first, held.stop, self._width(held.first, held.stop))
        return held.stop, splits, end, 0.0

    def _cues_from(self, first: int) -> Iterator[tuple[int, tuple[int, ...], int, float]]:
        """(stop, line breaks, end frame, cost) of each cue that can start at a word."""
        run = self.run
        fence = bisect_right(self.fences, first)
        count = self.fences[fence] if fence < len(self.fences) else len(run.widths)
        merging, whole_to = 0.0, 0
        for stop in range(first + 1, count + 1):
            last = stop - 1
            alone = last == first
            width = self._width(first, stop)
            if width > self.widest and not alone:
                return
            if not alone and run.lines[last] != run.lines[last - 1]:
                whole_before = self.short[last - 1] and self.line_starts[last - 1] >= first
                if not whole_before and not self.short[last]:
                    return
                # Words that stand there before they are said give them away.
                merging += _MERGED + _LAG_PER_S * (run.starts[last] - run.starts[first]) / self.rate
                whole_to = 0 if whole_before else self.line_ends[last]
            layout = self.splits(first, stop, self.limits.lines)
            if layout is None and alone:
                layout = 0.0, ()
            if layout is None or stop < whole_to:
                continue
            end, cost = self._shown(first, stop, width)
            if end - run.starts[first] > self.max_frames and not alone:
                return
            yield stop, layout[1], end, cost + layout[0] + run.breaks[last] + merging

    def _shown(self, first: int, stop: int, width: int) -> tuple[int, float]:
        """The frame a cue of these words ends at, and what its time and speed cost."""
        run = self.run
        start, natural = run.starts[first], run.ends[stop - 1]
        following = run.starts[stop] if stop < len(run.starts) else run.next_frame
        limit = _NO_END if following is None else following - self.limits.gap_frames
        most = min(limit, natural + self.hang, max(run.fence_frame, natural))
        end = min(natural + self.linger, most)
        wanted = self.reading[width] if width < len(self.reading) else ceil(width / self.target * self.rate)
        wanted = max(wanted, self.min_frames)
        if end - start < wanted:
            end = max(end, min(start + wanted, most))
        if following is not None and following - end < self.join:
            end = max(end, most)
        if end - start > self.max_frames:
            end = max(start + self.max_frames, min(natural, limit))
        end = max(end, start + 1)
        return end, self._time_cost(width, end - start, self.holes[stop - 1] - self.holes[first])

    def _time_cost(self, width: int, frames: int, holes: float) -> float:
        cost = _CUE + holes
        speed = width * self.rate / frames
        if speed > self.target:
            over = speed - self.target
            cost += 0.6 * over * sqrt(over)
        if speed > self.most:
            cost += _TOO_FAST + _FASTER * (speed - self.most)
        if frames < self.min_frames:
            cost += _TOO_SHORT + _SHORTER * (1 - frames / self.min_frames)
        if width < _TINY_CHARS:
            cost += _TINY
        return cost

    def _split(self, first: int, stop: int, lines: int) -> tuple[float, tuple[int, ...]] | None:
        """The cheapest line breaks that make the words fit, as (cost, first word of each further line)."""
        per_line = self.limits.chars_per_line
        whole = self._width(first, stop)
        if whole <= per_line:
            return 0.0, ()
        if lines == 1 or stop - first == 1:
            return None
        best: tuple[float, tuple[int, ...]] | None = None
        below_most = per_line * (lines - 1) + lines - 2
        earliest = bisect_left(self.reach, self.reach[stop] - below_most - 1)
        for at in range(max(first + 1, earliest), stop):
            top = self._width(first, at)
            if top > per_line:
                break
            rest = (0.0, ()) if lines == 2 else self.splits(at, stop, lines - 1)
            if rest is None:
                continue
            below = self._width(at, rest[1][0] if rest[1] else stop)
            cost = _UNBALANCED * abs(top - below) / per_line + (_TOP_HEAVY if top > below else 0.0)
            cost += _SPLIT * self.run.breaks[at - 1] + rest[0]
            if best is None or cost < best[0]:
                best = cost, (at, *rest[1])
        return best

    def _width(self, first: int, stop: int) -> int:
        return self.reach[stop] - self.reach[first] - 1

    def _hole(self, word: int) -> float:
        silent_s = (self.run.starts[word + 1] - self.run.ends[word]) / self.rate
        return _HOLE + _HOLE_PER_S * (silent_s - _HOLE_S) if silent_s > _HOLE_S else 0.0

    def _narration_lines(self) -> tuple[list[int], list[int], list[bool]]:
        """For each word: where its narration line starts and stops, and whether the line is short."""
        starts: list[int] = []
        stops: list[int] = []
        short: list[bool] = []
        for _, group in groupby(range(len(self.run.lines)), key=self.run.lines.__getitem__):
            first, *rest = group
            size = 1 + len(rest)
            starts += [first] * size
            stops += [first + size] * size
            short += [self._width(first, first + size) < _SHORT_LINE_CHARS] * size
        return starts, stops, short
