"""Pictures as Y, U and V planes: what the media door hands out and the canvas is made of.

One code path for 8 and 10 bits: `uint8` planes hold 8-bit codes, `uint16` planes 10-bit codes,
both BT.709, limited range, 4:2:0, chroma sited left. Sizes are even.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Plane = npt.NDArray[Any]  # (rows, columns) of uint8 or uint16


@dataclass(frozen=True, slots=True)
class Planes:
    """y: (height, width); u, v: (height/2, width/2). The arrays may be views; do not write to them
    unless you made them."""

    y: Plane
    u: Plane
    v: Plane

    @property
    def width(self) -> int:
        return int(self.y.shape[1])

    @property
    def height(self) -> int:
        return int(self.y.shape[0])

    @property
    def bits(self) -> int:
        """8 or 10."""
        return 8 if self.y.dtype == np.uint8 else 10


def blank(width: int, height: int, *, bits: int = 8, luma: int = 16) -> Planes:
    """New planes of one grey; `luma` is an 8-bit limited-range code, scaled for 10 bits."""
    kind = np.uint8 if bits == 8 else np.uint16
    up = 1 if bits == 8 else 4
    return Planes(
        np.full((height, width), luma * up, kind),
        np.full((height // 2, width // 2), 128 * up, kind),
        np.full((height // 2, width // 2), 128 * up, kind),
    )
