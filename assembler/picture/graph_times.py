"""How long each new picture stood, in milliseconds: a level for each, joined by thin risers."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from assembler.picture.graph_rate import finite_runs
from assembler.picture.graph_scale import Doubles, TimeScale, ValueScale
from assembler.picture.graph_series import GraphSeries

RISER_OPACITY = 0.6


def step_levels(series: GraphSeries, time: TimeScale, value: ValueScale) -> tuple[Doubles, ...]:
    """Level lines (2, 2) of columns and rows, from where a picture comes to where the next one does.
    Equal neighbours make one level, so that a line style shows along it; a short one begins with ink."""
    edges = time.places(series.edges_s)
    rows = value.rows(series.step_ms)
    found = []
    for first, last in finite_runs(series.step_ms):
        y = rows[first:last]
        # Steps of whole refreshes differ in their last digits: what no eye can tell apart is level.
        starts = np.append(0, np.flatnonzero(np.abs(np.diff(y)) > 1e-6) + 1)
        left = edges[first + starts]
        right = np.append(left[1:], edges[last])
        found += [
            np.array([(x0, row), (x1, row)], np.float64) for x0, x1, row in zip(left, right, y[starts], strict=True)
        ]
    return tuple(found)


def step_risers(levels: Sequence[Doubles]) -> tuple[Doubles, ...]:
    """Upright lines between levels that meet."""
    return tuple(np.stack((before[1], after[0])) for before, after in pairwise(levels) if before[1, 0] == after[0, 0])
