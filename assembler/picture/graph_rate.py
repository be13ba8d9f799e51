"""The line of new pictures a second."""

from __future__ import annotations

import math

import numpy as np

from assembler.picture.graph_scale import Doubles, TimeScale, ValueScale
from assembler.picture.graph_series import GraphSeries


def rate_lines(series: GraphSeries, time: TimeScale, value: ValueScale) -> tuple[Doubles, ...]:
    """The rate as broken lines: arrays (m, 2) of columns and rows, one for each span without a gap.

    Each picture's rate lies at the column where it begins.
    """
    x, y = time.places(series.edges_s[:-1]), value.rows(series.rate)
    found = []
    for first, last in finite_runs(series.rate):
        points = np.stack((x[first:last], y[first:last]), axis=1)
        if last - first == 1:
            points = np.concatenate((points, points + np.array([[1.0, 0.0]])))
        found.append(_without_level_points(_thinned(points)))
    return tuple(found)


def row_at(series: GraphSeries, value: ValueScale, picture: int, time_s: float) -> float:
    """The line's row at a moment while `picture` is shown: on the drawn line, between two pictures too."""
    times_s, rate = series.times_s, series.rate
    here = float(rate[picture])
    following = picture + 1
    if following >= series.pictures or math.isnan(float(rate[following])):
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
