"""How long each new picture stood, in milliseconds, as steps."""

from __future__ import annotations

import numpy as np

from assembler.picture.graph_rate import finite_runs
from assembler.picture.graph_scale import Doubles, TimeScale, ValueScale
from assembler.picture.graph_series import GraphSeries


def step_lines(series: GraphSeries, time: TimeScale, value: ValueScale) -> tuple[Doubles, ...]:
    """The steps as broken lines: arrays (m, 2) of columns and rows. Each picture's step is level while
    it stands; the line jumps where the next one comes."""
    edges = time.places(series.edges_s)
    rows = value.rows(series.step_ms)
    found = []
    for first, last in finite_runs(series.step_ms):
        # A level stretch ends where a cell ends; equal neighbours make one stretch.
        y = rows[first:last]
        starts = np.append(0, np.flatnonzero(y[1:] != y[:-1]) + 1)
        left = edges[first + starts]
        right = np.append(left[1:], edges[last])
        points = np.empty((2 * starts.size, 2))
        points[0::2, 0], points[1::2, 0] = left, right
        points[0::2, 1] = points[1::2, 1] = y[starts]
        found.append(points)
    return tuple(found)
