"""Cadences with a known truth, for tests of graphs."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from assembler.measure.clock import Clock
from assembler.measure.model import Cadence, State
from assembler.picture.graph_series import GraphSeries, graph_series

NAMES = ("Ash", "Birch", "Cedar", "Dogwood")


def cadence(
    new: Sequence[bool],
    *,
    states: Sequence[tuple[int, int, State]] = (),
    tears: Sequence[tuple[int, int, int]] = (),
    doubt: float = 0.0,
    reliable: bool = True,
    why: str = "",
) -> Cadence:
    """new: the verdict on each picture; the first is always new. states: (first, end, state) runs of pictures.
    tears: (picture, first row, last row). doubt: how far each probability is from its verdict."""
    n = len(new)
    p = np.where(np.asarray(new, bool), 1 - doubt, doubt).astype(np.float32)
    p[0] = 1
    state = np.zeros(n, np.uint8)
    for first, end, which in states:
        state[first:end] = which
    low, high, likely = np.full(n, -1, np.int32), np.full(n, -1, np.int32), np.zeros(n, np.float32)
    for picture, first_row, last_row in tears:
        low[picture], high[picture], likely[picture], p[picture] = first_row, last_row, 1, 1
    return Cadence(p, state, low, high, likely, np.zeros(n, bool), reliable, why, True, "")


def series(new: Sequence[bool], order: int = 0, rate: Fraction = Fraction(60), **options: object) -> GraphSeries:
    """A series on an even clock."""
    made = cadence(new, **options)  # type: ignore[arg-type]
    return graph_series(NAMES[order], NAMES[order][0], order, Clock.even(len(new), rate, 1080), made)


def every(step: int, pictures: int) -> list[bool]:
    """A new picture every `step` refreshes."""
    return [index % step == 0 for index in range(pictures)]
