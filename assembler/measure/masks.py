"""What of a picture is left out of measuring: rectangles a person gave, in the units of each measure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assembler.errors import UsageError
from assembler.measure.blocks import BAND, BLOCK, CELL
from assembler.media.info import CaptureInfo
from assembler.media.reader import stored_crop

Rectangle = tuple[int, int, int, int]
"""x, y, width, height in capture pixels, after rotation."""
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class LeftOut:
    """True where a unit touches a mask: 4 x 4 pixels, blocks of half-size luma, cells of row bands."""

    fours: Bools
    blocks: Bools
    cells: Bools


def stored_size(info: CaptureInfo) -> tuple[int, int]:
    """Width and height as stored, before turning."""
    return (info.height, info.width) if info.rotation in (90, 270) else (info.width, info.height)


def left_out(width: int, height: int, rectangles: Sequence[Rectangle]) -> LeftOut:
    """Masks in stored pixels. width, height: as stored."""
    return LeftOut(
        _touched(height // 4, width // 4, 4, 4, rectangles),
        _touched(height // 2 // BLOCK, width // 2 // BLOCK, 2 * BLOCK, 2 * BLOCK, rectangles),
        _touched(height // BAND, max(1, width // CELL), BAND, CELL, rectangles),
    )


def stored_masks(info: CaptureInfo, masks: Sequence[Rectangle]) -> tuple[Rectangle, ...]:
    """Masks given in turned pixels, as stored and in a fixed order. Raises UsageError for one outside the capture."""
    turned = []
    for x, y, width, height in masks:
        if min(x, y) < 0 or min(width, height) < 1 or x + width > info.width or y + height > info.height:
            raise UsageError(
                f"'{info.path}': the mask {x},{y} {width}x{height} lies outside the picture,"
                f" {info.width}x{info.height}",
                mend="give x, y, width and height in capture pixels",
            )
        turned.append(stored_crop((x, y, width, height), *stored_size(info), info.rotation))
    return tuple(sorted(turned))


def _touched(rows: int, columns: int, unit_h: int, unit_w: int, rectangles: Sequence[Rectangle]) -> Bools:
    out = np.zeros((rows, columns), np.bool_)
    for x, y, width, height in rectangles:
        out[y // unit_h : -(-(y + height) // unit_h), x // unit_w : -(-(x + width) // unit_w)] = True
    return out
