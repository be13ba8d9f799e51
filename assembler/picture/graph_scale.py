"""Where graphs put times and values: columns, rows, baselines, and labels kept apart.

Numbers alone; nothing is drawn here. Columns count from a capture's first picture, so that one
number says where a moment lies on every lane that shows the capture.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Columns = npt.NDArray[np.int64]
Doubles = npt.NDArray[np.float64]

# Times are seconds in doubles: this is far less than a pixel and far more than their rounding.
_GRAIN_PX = 1e-6
_GRAIN_S = 1e-7
SMALLEST_WINDOW_S, LARGEST_WINDOW_S = 2.0, 30.0
_FRACTIONS = (1, 2, 3, 4, 6)


@dataclass(frozen=True, slots=True)
class TimeScale:
    """One scale for every lane and line of a figure."""

    px_per_s: float

    def column(self, time_s: float) -> int:
        """The pixel column that a moment falls in."""
        return math.floor(time_s * self.px_per_s + _GRAIN_PX)

    def columns(self, times_s: Doubles) -> Columns:
        """The same for many moments."""
        return np.asarray(np.floor(times_s * self.px_per_s + _GRAIN_PX), np.int64)

    def places(self, times_s: Doubles) -> Doubles:
        """Columns with their fractions."""
        return times_s * self.px_per_s

    def time_s(self, column: float) -> float:
        """The moment at a column's left edge."""
        return column / self.px_per_s


def time_scale(window_s: float, width: int, canvas_h: int, refresh: float) -> TimeScale:
    """A scale on which about `window_s` seconds fill `width` pixels.

    The window gives way a little so that a refresh takes a whole number of pixels (or a pixel a whole
    number of refreshes) at 1080 lines: then equal holds are drawn equal, and every size of canvas
    shows the same stretch of time. Raises ValueError for a window beyond 2 to 30 seconds.
    """
    if not SMALLEST_WINDOW_S <= window_s <= LARGEST_WINDOW_S:
        raise ValueError(f"a graph's window is 2 to 30 seconds, not {window_s:g}")
    pitch = width * 1080 / canvas_h / (window_s * refresh)
    whole = float(round(pitch)) if pitch >= 1 else 1 / round(1 / pitch)
    return TimeScale(whole * canvas_h / 1080 * refresh)


def picture_at(times_s: Doubles, time_s: float) -> int:
    """The newest picture at or before a moment; the first one before all of them."""
    return max(0, int(np.searchsorted(times_s, time_s + _GRAIN_S, "right")) - 1)


@dataclass(frozen=True, slots=True)
class ValueScale:
    """Values from `low` on the row `bottom` up to `high` on the row `top`; beyond, they stay at the edge."""

    low: float
    high: float
    top: float
    bottom: float

    def row(self, value: float) -> float:
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return self.bottom - share * (self.bottom - self.top)

    def rows(self, values: Doubles) -> Doubles:
        """The same for many values; NaN stays NaN."""
        share = (np.clip(values, self.low, self.high) - self.low) / (self.high - self.low)
        return np.asarray(self.bottom - share * (self.bottom - self.top), np.float64)


@dataclass(frozen=True, slots=True)
class Baseline:
    """A thin line across a graph, and what is written beside it."""

    value: float
    text: str


@dataclass(frozen=True, slots=True)
class Axis:
    """Which values a graph spans, and its baselines."""

    low: float
    high: float
    baselines: tuple[Baseline, ...]


def rate_axis(rates: Sequence[Doubles], refreshes: Sequence[float]) -> Axis:
    """The axis of new pictures a second: from the refresh rate down to the whole fraction of it that
    lies below every rate, with a baseline at each of its whole fractions that is in use."""
    refresh = max(refreshes)
    seen = np.concatenate([np.asarray(rate, np.float64)[np.isfinite(rate)] for rate in rates] or [np.zeros(0)])
    lowest = float(seen.min()) if seen.size else refresh
    low = next((refresh / part for part in _FRACTIONS[1:] if refresh / part <= lowest * 1.001), 0.0)
    high = max(refresh, float(seen.max()) if seen.size else refresh)
    values = {refresh, low}
    for value in {each / part for each in refreshes for part in _FRACTIONS}:
        # In use: rates stay within 3 % of it for a hundredth of the time.
        if low <= value <= high and seen.size and np.mean(np.abs(seen - value) <= 0.03 * value) >= 0.01:
            values.add(value)
    return Axis(low, high, tuple(Baseline(value, rate_text(value)) for value in sorted(values, reverse=True)))


def step_axis(steps_ms: Sequence[Doubles], refreshes: Sequence[float]) -> Axis:
    """The axis of milliseconds between new pictures, with baselines at whole numbers of refreshes in
    use. A few very long steps do not flatten the rest: they end at the upper edge."""
    unit = 1000 / max(refreshes)
    seen = np.concatenate([np.asarray(step, np.float64)[np.isfinite(step)] for step in steps_ms] or [np.zeros(0)])
    counts = np.rint(seen / unit)
    most = float(min(counts.max(), max(4.0, np.percentile(counts, 98) + 1))) if counts.size else 2.0
    most = max(2.0, most)
    used = {1, int(most)}
    used |= {count for count in range(2, int(most)) if counts.size and np.mean(counts == count) >= 0.01}
    lines = tuple(Baseline(count * unit, step_text(count * unit)) for count in sorted(used, reverse=True))
    return Axis(0.0, most * unit, lines)


def rate_text(value: float) -> str:
    """A rate as it is written: in whole pictures a second."""
    return f"{round(value)}"


def step_text(step_ms: float) -> str:
    """Milliseconds as they are written: to a tenth, whole when they are."""
    return f"{step_ms:.1f}".removesuffix(".0")


def readable(axis: Axis, scale: ValueScale, least_px: float) -> tuple[Baseline, ...]:
    """The baselines whose words keep `least_px` rows from each other: the first and the last before
    those between."""
    lines = list(axis.baselines)
    ordered = [lines[0], *lines[-1:], *lines[1:-1]] if len(lines) > 1 else lines
    kept: list[Baseline] = []
    for line in ordered:
        if all(abs(scale.row(line.value) - scale.row(other.value)) >= least_px for other in kept):
            kept.append(line)
    return tuple(kept)


def spread(wanted: Sequence[float], size: int, low: int, high: int) -> tuple[int, ...]:
    """Even tops of labels `size` rows high (even), as near to the wanted tops as they can lie without
    overlapping, in the same order, between rows low and high (even).

    Least squares on the moves. Raises ValueError when there is no room.
    """
    count = len(wanted)
    if count * size > high - low:
        raise ValueError(f"{count} labels of {size} rows do not fit into {high - low}")
    order = sorted(range(count), key=lambda index: (wanted[index], index))
    # Without their sizes the labels only have to stay in order: pool those that do not.
    pools: list[tuple[float, int]] = []
    for place, index in enumerate(order):
        mean, members = wanted[index] - place * size, 1
        while pools and pools[-1][0] > mean:
            before, many = pools.pop()
            mean = (mean * members + before * many) / (members + many)
            members += many
        pools.append((mean, members))
    level = [mean for mean, members in pools for _ in range(members)]
    tops = [0] * count
    for place, index in enumerate(order):
        bounded = min(max(level[place], low), high - count * size)
        tops[index] = 2 * round(bounded / 2) + place * size
    return tuple(tops)


def scale_bar(px_per_s: float, canvas_h: int) -> tuple[float, str]:
    """Seconds and words of the bar that shows how long a stretch of the figure is."""
    longest = 240 * canvas_h / 1080
    lengths = ((5.0, "5 s"), (2.0, "2 s"), (1.0, "1 s"), (0.5, "0.5 s"), (0.2, "0.2 s"), (0.1, "0.1 s"))
    return next((length for length in lengths if length[0] * px_per_s <= longest), lengths[-1])
