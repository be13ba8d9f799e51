"""From the canvas's planes to R'G'B', for those who want pictures as numbers: the way back of made.write_rgb."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from assembler.media.planes import Planes

_BAND = 64  # rows converted at a time: what is worked on stays in the processor's cache
_SHIFT = 16


def read_rgb(canvas: Planes) -> npt.NDArray[np.uint8]:
    """(height, width, 3) uint8, full range, of an 8-bit BT.709 limited-range picture; each chroma sample stands for its
    2 by 2 pixels. Rounded to the nearest code. Source: Rec. ITU-R BT.709, items 3.2 to 3.5."""
    one = 1 << _SHIFT
    luma = round(255 / 219 * one)
    red, blue = round(1.5748 * 255 / 224 * one), round(1.8556 * 255 / 224 * one)
    green_u = round(-0.0722 * 1.8556 / 0.7152 * 255 / 224 * one)
    green_v = round(-0.2126 * 1.5748 / 0.7152 * 255 / 224 * one)
    out = np.empty((canvas.height, canvas.width, 3), np.uint8)
    for top in range(0, canvas.height, _BAND):
        rows, small = slice(top, top + _BAND), slice(top // 2, (top + _BAND) // 2)
        y = (canvas.y[rows].astype(np.int32) - 16) * luma + (one >> 1)
        u, v = canvas.u[small].astype(np.int32) - 128, canvas.v[small].astype(np.int32) - 128
        for place, chroma in enumerate((v * red, u * green_u + v * green_v, u * blue)):
            mixed = (y + chroma.repeat(2, axis=0).repeat(2, axis=1)) >> _SHIFT
            np.clip(mixed, 0, 255, out=mixed)
            out[rows, :, place] = mixed
    return out
