"""New pictures a second over a sliding window, and the line that shows them."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from assembler.measure.model import State
from assembler.picture.graph_scale import Doubles, TimeScale, ValueScale

RATE_WINDOW_S = 1.0
_LEAST_WINDOW = 0.5  # of the window: less of a moving span says too little


def sliding_rate(
    times_s: Doubles,
    end_s: float,
    p_new: npt.NDArray[np.float32],
    state: npt.NDArray[np.uint8],
    window_s: float = RATE_WINDOW_S,
) -> tuple[Doubles, Doubles]:
    """Rate and its standard deviation, (n,) each, in pictures a second, at each of n pictures.

    The window ends when picture k ends and reaches back `window_s`, but never out of the moving span
    that k lies in. NaN outside moving spans, and where less than half a window has passed in one.
    The deviation is that of the count, sqrt(sum of p (1 - p)), over the window.
    """
    n = times_s.size
    index = np.arange(n)
    ends = np.append(times_s[1:], end_s)
    moving = state == State.MOVING
    run = np.maximum.accumulate(np.where(moving & np.append(True, ~moving[:-1]), index, 0))
    first = np.maximum(run, np.searchsorted(times_s, ends - window_s - 1e-6))
    length = ends - times_s[np.minimum(first, n - 1)]
    p = np.asarray(p_new, np.float64)
    news, doubt = (np.append(0.0, np.cumsum(values)) for values in (p >= 0.5, p * (1 - p)))
    counted = moving & (length >= _LEAST_WINDOW * window_s - 1e-6)
    safe = np.where(counted, length, 1.0)
    rate = np.where(counted, (news[index + 1] - news[first]) / safe, np.nan)
    margin = np.where(counted, np.sqrt(np.maximum(doubt[index + 1] - doubt[first], 0)) / safe, np.nan)
    return rate, margin


def rate_lines(times_s: Doubles, rate: Doubles, time: TimeScale, value: ValueScale) -> tuple[Doubles, ...]:
    """The rate as broken lines: arrays (m, 2) of columns and rows, one for each span without a gap."""
    x, y = time.places(times_s), value.rows(rate)
    found = []
    for first, last in finite_runs(rate):
        points = np.stack((x[first:last], y[first:last]), axis=1)
        if last - first == 1:
            points = np.concatenate((points, points + [[1.0, 0.0]]))
        found.append(_without_level_points(_thinned(points)))
    return tuple(found)


def row_at(times_s: Doubles, rate: Doubles, value: ValueScale, picture: int, time_s: float) -> float:
    """The line's row at a moment while `picture` is shown: on the drawn line, between two pictures too."""
    here = float(rate[picture])
    following = picture + 1
    if following >= times_s.size or math.isnan(float(rate[following])):
        return value.row(here)
    step = float(times_s[following] - times_s[picture])
    share = min(max((time_s - float(times_s[picture])) / step, 0.0), 1.0)
    return value.row(here) * (1 - share) + value.row(float(rate[following])) * share


def finite_runs(values: Doubles) -> tuple[tuple[int, int], ...]:
    """Half-open index spans in which no value is NaN."""
    known = np.concatenate(([False], np.isfinite(values), [False]))
    edges = np.flatnonzero(known[1:] != known[:-1])
    return tuple((int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True))


def _thinned(points: Doubles, least_px: float = 1.5) -> Doubles:
    """At most one point in each `least_px` columns, ends kept: more cannot be seen."""
    if len(points) < 3 or (points[-1, 0] - points[0, 0]) / (len(points) - 1) >= least_px:
        return points
    cell = np.floor(points[:, 0] / least_px)
    keep = np.append(True, cell[1:] != cell[:-1])
    keep[-1] = True
    return np.asarray(points[keep], np.float64)


def _without_level_points(points: Doubles) -> Doubles:
    """Points in the middle of a level stretch left out."""
    if len(points) < 3:
        return points
    level = (points[1:-1, 1] == points[:-2, 1]) & (points[1:-1, 1] == points[2:, 1])
    return np.asarray(points[np.concatenate(([True], ~level, [True]))], np.float64)
