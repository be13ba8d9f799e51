"""Dissolves and fades as whole-number mixes of planes, in place.

8 bits are mixed in 256 steps, 10 bits in 1024, rounded to nearest; a share of 0 or 1 is exact.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np

from assembler.media.planes import Plane, Planes

_ROWS = 32  # a strip of this height stays in the processor's cache


def mix(canvas: Planes, other: Planes, share: Fraction) -> None:
    """Make `share` (0 to 1) of the canvas the other picture, which has the same size and bits."""
    for target, source in ((canvas.y, other.y), (canvas.u, other.u), (canvas.v, other.v)):
        _mix_plane(target, source, share)


def mix_colour(canvas: Planes, colour: tuple[int, int, int], share: Fraction) -> None:
    """Make `share` (0 to 1) of the canvas one colour, given as Y, U, V codes of the canvas's bits."""
    for target, code in zip((canvas.y, canvas.u, canvas.v), colour, strict=True):
        _mix_plane(target, target.dtype.type(code), share)


def _mix_plane(target: Plane, source: Plane | np.generic, share: Fraction) -> None:
    eight = target.dtype == np.uint8
    steps = 256 if eight else 1024
    wide: type[np.unsignedinteger[Any]] = np.uint16 if eight else np.uint32  # holds code x steps
    weight = round(share * steps)
    if weight == 0:
        return
    if weight == steps:
        target[:] = source
        return
    shift = steps.bit_length() - 1
    half = wide(steps // 2)
    work = np.empty((min(_ROWS, target.shape[0]), target.shape[1]), wide)
    added = np.empty_like(work)
    for top in range(0, target.shape[0], _ROWS):
        rows = target[top : top + _ROWS]
        sums, part = work[: len(rows)], added[: len(rows)]
        np.multiply(rows, wide(steps - weight), out=sums, dtype=wide)
        new = source[top : top + _ROWS] if isinstance(source, np.ndarray) else source
        np.multiply(new, wide(weight), out=part, dtype=wide)
        sums += part
        sums += half
        np.right_shift(sums, shift, out=sums)
        rows[:] = sums
