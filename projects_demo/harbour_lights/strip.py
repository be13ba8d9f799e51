"""The test strip: sixteen small cells that say which captured frame a picture is.

It stands in the bottom left corner, on the dark edge of the near quay. Cell 1 is the light
reference, cell 2 the dark one, then twelve bits of the captured frame's number (highest first), a
parity bit (so that the ones are even in number) and a dark end. It survives being scaled to a third
and encoded again; a picture that is between two frames, or cropped, is refused.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

CELLS, BITS, CELL = 16, 12, 12  # CELL: scene pixels (of 1920 x 1080) each way
DARK, LIGHT = 24, 92  # luma codes
TOP = 1080 - CELL


def _cells(number: int) -> list[int]:
    bits = [number >> place & 1 for place in reversed(range(BITS))]
    return [1, 0, *bits, sum(bits) % 2, 0]


def draw_strip(luma: npt.NDArray[np.uint8], number: int) -> None:
    """Write captured frame `number` (below 4096) into a whole picture's luma, in place."""
    if not 0 <= number < 1 << BITS:
        raise ValueError(f"frame {number} does not fit the strip's {BITS} bits")
    scale = luma.shape[1] / 1920
    top = luma.shape[0] - round(CELL * scale)
    for place, bit in enumerate(_cells(number)):
        luma[top:, round(place * CELL * scale) : round((place + 1) * CELL * scale)] = LIGHT if bit else DARK


def read_strip(luma: npt.NDArray[np.uint8], scale: float | None = None) -> int:
    """The captured frame's number in a picture of the whole capture, at any size from 640 wide.

    scale: picture pixels per scene pixel; None = the picture's width / 1920.
    Raises ValueError where no strip can be read.
    """
    scale = luma.shape[1] / 1920 if scale is None else scale
    # The outer parts of a cell carry its neighbours' light once the picture has been scaled.
    middle = (luma.shape[0] - 0.72 * CELL * scale, luma.shape[0] - 0.28 * CELL * scale)
    rows = slice(int(middle[0]), max(int(middle[0]) + 1, round(middle[1])))
    band = luma[rows].astype(float).mean(axis=0)
    centres = (np.arange(CELLS) + 0.5) * CELL * scale - 0.5
    values = np.interp(centres, np.arange(band.size), band)
    light, dark = values[0], values[1]
    if light - dark < 0.4 * (LIGHT - DARK):
        raise ValueError("no test strip in the bottom left corner")
    share = (values - dark) / (light - dark)
    if np.any(np.abs(share - 0.5) < 0.12):
        raise ValueError("a cell of the test strip is neither light nor dark")
    bits = [int(value > 0.5) for value in share]
    if sum(bits[2:15]) % 2 or bits[15]:
        raise ValueError("the test strip's parity is wrong")
    return int("".join(map(str, bits[2 : 2 + BITS])), 2)
