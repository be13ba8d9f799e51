"""The exact line between two captures' clocks, from many short windows, with honest intervals.

Every window says by how much the rough line is off there; a robust line through what they say is the answer,
and laying that line again through windows drawn anew says how sure it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
import numpy.typing as npt

from assembler.measure.lineup_search import MOST_DRIFT_PPM
from assembler.measure.lineup_tracks import Cells, Floats, Times, Track, calm, evened

STEP_S = 1 / 120
_REACH_S, _CLOSE_S = 0.3, 0.1
_MOST_WINDOWS, _LEAST_WINDOW_S, _LONGEST_WINDOW_S = 48, 1.2, 4.0
_ALIKE = 0.15
"""Correlation below which a window says nothing."""
_NEAR = 1.2
"""Frames of the slower capture off a line within which a window agrees with it."""
_WILD = 3.0
"""Times the usual change that a moment may change by and still count in full."""
_DRAWS = 300
_SYSTEMATIC = 0.04
"""Share of a frame that the two captures' refreshes, beating against each other, may shift a whole window by."""

_USUAL, _ADDED = 0.35, 4
"""Frames that a window's lag is usually off by, and how many windows that knowledge is worth."""

Line = tuple[float, float]
"""Where, in seconds, b's clock stands at a's 0, and by what share more than a's it runs on."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """line: the exact one. low_s, high_s: of its value at a's 0; drift_low, drift_high: shares; all 95 %.
    agreeing: windows on the line as a share of those in which anything moves; windows: how many those are."""

    line: Line
    low_s: float
    high_s: float
    drift_low: float
    drift_high: float
    agreeing: float
    windows: int


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """What the windows say: (w,) middles on a's clock, lags against the line they were laid along, and weights."""

    middle_s: Times
    lag_s: Times
    weight: Times
    moving: int


def fit(a: Track, b: Track, cells_a: Cells, cells_b: Cells, rough: Line) -> Fitted | None:
    """None where fewer than three windows have anything to say."""
    line, frame = rough, max(a.frame_s, b.frame_s)
    for reach in (_REACH_S, _CLOSE_S):
        seen = _look(a, b, cells_a, cells_b, line, reach)
        if seen.lag_s.size < 3:
            return None
        on = _on_one_line(seen, _NEAR * frame)
        if on.sum() < 3:
            return None
        added, rate = _robust(seen.middle_s[on], seen.lag_s[on], seen.weight[on])
        # Where windows are unsure, keeping only those near a line chosen for being near many would flatter it.
        rest = seen.lag_s - added - rate * seen.middle_s
        near = float(np.clip(3 * 1.4826 * np.median(np.abs(rest)), _NEAR * frame, 3 * _NEAR * frame))
        on = np.abs(rest) <= near
        added, rate = _robust(seen.middle_s[on], seen.lag_s[on], seen.weight[on])
        line = line[0] + added, line[1] + rate
    rest = seen.lag_s - added - rate * seen.middle_s
    agreeing = float((np.abs(rest) <= _NEAR * frame).sum()) / seen.moving
    return _with_intervals(seen.middle_s[on], rest[on], seen.weight[on], line, frame, agreeing, seen.moving)


def in_common(a: Track, b: Track, line: Line) -> tuple[float, float]:
    """From and to, on a's clock."""
    rate = 1 + line[1]
    return max(0.0, -line[0] / rate), min(a.end_s, (b.end_s - line[0]) / rate)


def _look(a: Track, b: Track, cells_a: Cells, cells_b: Cells, line: Line, reach_s: float) -> _Seen:
    low, high = in_common(a, b, line)
    # Near their ends captures have no more pictures to pass on to.
    low, high = low + 0.1, high - 0.1
    count = int(np.clip((high - low) / _LEAST_WINDOW_S, 1, _MOST_WINDOWS))
    length = min((high - low) / count, _LONGEST_WINDOW_S)
    edges = np.linspace(low, high, count + 1)
    middles = (edges[:-1] + edges[1:]) / 2
    half = int(length / 2 / STEP_S)
    reach = int(reach_s / STEP_S)
    inner = np.arange(-half, half + 1) * STEP_S
    outer = np.arange(-half - reach, half + reach + 1) * STEP_S
    said: list[tuple[float, float, float]] = []
    moving = 0
    pairs = [(a.change(m + inner, cells_a), b.change(_on(line, m + outer), cells_b)) for m in middles]
    floor_a, floor_b = (calm(np.concatenate([pair[side][::8] for pair in pairs])) for side in (0, 1))
    for middle, (ours, theirs) in zip(middles, pairs, strict=True):
        sizes = [float(np.sqrt(np.square(c).mean())) for c in (ours, theirs)]
        if sizes[0] < floor_a or sizes[1] < floor_b:
            continue
        moving += 1
        answer = _best_lag(_without_cuts(ours, floor_a), _without_cuts(theirs, floor_b), reach)
        if answer is not None:
            said.append((float(middle), answer[0] * STEP_S, answer[1]))
    columns = np.array(said, np.float64).reshape(-1, 3)
    return _Seen(columns[:, 0], columns[:, 1], columns[:, 2], max(1, moving))


def _without_cuts(change: Floats, floor: float) -> Floats:
    """The change evened, moments of wild change counting little: a cut may fall anywhere in a hold."""
    size = np.sqrt(np.square(change).mean(axis=1, keepdims=True))
    return cast(Floats, evened(change, floor) * np.minimum(1, (_WILD * np.median(size) / np.maximum(size, 1e-6)) ** 2))


def _on(line: Line, times: Times) -> Times:
    return line[0] + (1 + line[1]) * times


def _best_lag(ours: Floats, theirs: Floats, reach: int) -> tuple[float, float] | None:
    """The lag, in steps, at which ours (k, cells) lies best on theirs (k + 2 reach, cells), and how well it places."""
    length = len(ours)
    energy = np.concatenate([[0.0], np.cumsum(np.square(theirs).sum(axis=1), dtype=np.float64)])
    own = float(np.square(ours).sum())
    alike = np.array([np.einsum("ij,ij->", ours, theirs[k : k + length]) for k in range(2 * reach + 1)], np.float64)
    alike /= np.sqrt(np.maximum(own * (energy[length:] - energy[:-length]), 1e-12))
    peak = int(np.argmax(alike))
    if not 2 <= peak <= 2 * reach - 2 or alike[peak] < _ALIKE:
        return None
    around = np.arange(-2, 3)
    bend, slope, _ = np.polyfit(around, alike[peak - 2 : peak + 3], 2)
    if bend >= 0:
        return None
    shift = float(np.clip(-slope / (2 * bend), -1.5, 1.5))
    # A sharp, high peak places the lag well; a broad or low one does not.
    return peak - reach + shift, float(-bend / max(1.05 - alike[peak], 0.05))


def _on_one_line(seen: _Seen, near: float) -> npt.NDArray[np.bool_]:
    """The windows on the line, of all those through two windows, that most agree with."""
    x, y = seen.middle_s, seen.lag_s
    i, j = np.triu_indices(x.size, 1)
    slope = (y[j] - y[i]) / (x[j] - x[i])
    fair = np.abs(slope) < MOST_DRIFT_PPM * 1e-6
    slope = np.concatenate([slope[fair], np.zeros(x.size)])
    start = np.concatenate([(y[i] - x[i] * ((y[j] - y[i]) / (x[j] - x[i])))[fair], y])
    off = np.abs(y - start[:, None] - slope[:, None] * x)
    # Nearness counts too, so that of lines with as many windows the tighter one is taken.
    agreed = np.clip(1 - off / near, 0, 1).sum(axis=1)
    best = int(np.argmax(agreed))
    return cast(npt.NDArray[np.bool_], off[best] <= near)


def _robust(x: Times, y: Times, weight: Times) -> Line:
    """A straight line: Theil and Sen's, then least squares with what lies off it weighing less. Value at 0, slope."""
    i, j = np.triu_indices(x.size, 1)
    slope = float(np.median((y[j] - y[i]) / (x[j] - x[i])))
    start = float(np.median(y - slope * x))
    for _ in range(8):
        rest = y - start - slope * x
        scale = max(1.4826 * float(np.median(np.abs(rest))), 1e-5)
        w = weight * np.minimum(1, 1.5 * scale / np.maximum(np.abs(rest), 1e-9))
        mean_x, mean_y = np.average(x, weights=w), np.average(y, weights=w)
        slope = float((w * (x - mean_x) * (y - mean_y)).sum() / (w * (x - mean_x) ** 2).sum())
        start = float(mean_y - slope * mean_x)
    return start, slope


def _with_intervals(
    x: Times, rest: Times, weight: Times, line: Line, frame: float, agreeing: float, moving: int
) -> Fitted:
    """Intervals from blocks of windows drawn anew, widened for few windows and for what all windows share.

    Where no drift shows, none is taken: far from what the captures have in common, a drift that is mere noise would
    carry the line away.
    """
    n = x.size
    weight = np.minimum(weight, 4 * np.median(weight))
    block = max(1, round(n ** (1 / 3)))
    rng = np.random.default_rng(0)
    starts = rng.integers(0, n, (_DRAWS, -(-n // block)))
    drawn = ((starts[:, :, None] + np.arange(block)) % n).reshape(_DRAWS, -1)[:, :n]
    middle = float(np.average(x, weights=weight))
    centre, slope = _lines(x - middle, rest[drawn], weight[drawn], drawn)
    from scipy.stats import t as student  # here, not above: it takes half a second to load

    fewness = float(student.ppf(0.975, max(1, n - 2))) / 1.96 * np.sqrt(n / max(1, n - 2))
    length = float(np.ptp(x)) * n / max(1, n - 1)
    # A few windows may agree by luck: their spread counts as if some more, spread as windows usually are, were there.
    usual = _USUAL * frame / np.sqrt(n)
    kept, added = n / (n + _ADDED), _ADDED / (n + _ADDED)
    slope_sd = np.sqrt(kept * (slope.std() * fewness) ** 2 + added * 12 * (usual / length) ** 2)
    centre_sd = np.sqrt(kept * (centre.std() * fewness) ** 2 + added * usual**2)
    spread_slope = float(np.hypot(1.96 * slope_sd, 2 * _SYSTEMATIC * frame * np.sqrt(12) / length))
    spread_centre = float(np.hypot(1.96 * centre_sd, 2 * _SYSTEMATIC * frame))
    drift = line[1]
    at_middle = line[0] + drift * middle
    low, high = drift - spread_slope, drift + spread_slope
    if low <= 0 <= high:
        drift = 0.0
        at_middle += float(np.average(rest + line[1] * (x - middle), weights=weight))
    offset = at_middle - drift * middle
    # The line turns about the middle of what is in common; at a's 0 it swings by the drift's doubt.
    below = np.hypot(spread_centre, (high - drift) * middle)
    above = np.hypot(spread_centre, (drift - low) * middle)
    return Fitted((offset, drift), offset - float(below), offset + float(above), low, high, agreeing, moving)


def _lines(x: Times, y: Times, weight: Times, drawn: npt.NDArray[np.int64]) -> tuple[Times, Times]:
    """Weighted least squares of every draw (draws, n). Values at 0 and slopes, (draws,) each."""
    x = x[drawn]
    total = weight.sum(axis=1)
    mean_x, mean_y = (weight * x).sum(axis=1) / total, (weight * y).sum(axis=1) / total
    across = x - mean_x[:, None]
    below = np.maximum((weight * across**2).sum(axis=1), 1e-12)
    slope = (weight * across * (y - mean_y[:, None])).sum(axis=1) / below
    return mean_y - slope * mean_x, slope
