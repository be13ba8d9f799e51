"""Long drawings that scroll, kept as chunks of bounded width and blended slice by slice.

Chroma has half the columns, so a chunk is kept for each parity of the scroll: a strip may then
stand at any whole pixel, and a scrolled slice is what a fresh drawing at that place would be.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from assembler.media.planes import Planes
from assembler.picture.graph_draw import PixelPen
from assembler.picture.sprite import Sprite, blend
from assembler.picture.text import FontSet

CHUNK_PX = 2048
_KEPT = 12  # chunks: a window touches four at most, in two parities while a pane moves

Draw = Callable[[PixelPen, tuple[int, int]], None]


class Strip:
    """A drawing `height` rows high (even) over columns 0 to `end`, in full and dimmed to an opacity.

    draw(pen, (first, last)) draws what lies between two columns; it is asked for a chunk when the
    chunk is first seen. ink: first and last row (half-open, even) that any chunk drawn so far has ink in.
    """

    def __init__(
        self,
        draw: Draw,
        height: int,
        end: int,
        fonts: FontSet,
        bits: int,
        dimmed: float,
        chunk_px: int = CHUNK_PX,
    ) -> None:
        self.height, self.ink = height, (height, 0)
        self._draw, self._end = draw, end
        self._fonts, self._bits, self._dimmed, self._chunk_px = fonts, bits, dimmed, chunk_px
        self._chunk = lru_cache(maxsize=_KEPT)(self._new_chunk)

    def blend(self, canvas: Planes, left: int, right: int, top: int, column: int, *, dim: bool = False) -> None:
        """Lay the strip over canvas columns left to right (even) with the strip's `column` at left."""
        if right <= left:
            return
        view = window(canvas, left, right)
        parity = column % 2
        for number in range((column - parity) // self._chunk_px, (column + right - left) // self._chunk_px + 1):
            start = number * self._chunk_px + parity
            if start >= self._end or start + self._chunk_px <= 0:
                continue
            found = self._chunk(number, parity)
            if found is not None:
                row, full, dimmed = found
                blend(view, dimmed if dim else full, start - column, top + row)

    def prepare(self, first: int, last: int) -> None:
        """Draw the chunks that columns first to last need."""
        for parity in (0, 1):
            for number in range(max(0, first) // self._chunk_px, min(last, self._end) // self._chunk_px + 1):
                self._chunk(number, parity)

    def _new_chunk(self, number: int, parity: int) -> tuple[int, Sprite, Sprite] | None:
        """A chunk cut to the rows that have ink: the first of them, and the chunk in full and dimmed."""
        start = number * self._chunk_px + parity
        pen = PixelPen(self._chunk_px, self.height, self._fonts, start)
        self._draw(pen, (start, start + self._chunk_px))
        rows = np.flatnonzero(pen.sheet.alpha.any(axis=1))
        columns = np.flatnonzero(pen.sheet.alpha.any(axis=0))
        if not rows.size:
            return None
        top, bottom = int(rows[0]) // 2 * 2, -(-(int(rows[-1]) + 1) // 2) * 2
        right = -(-(int(columns[-1]) + 1) // 2) * 2
        self.ink = min(top, self.ink[0]), max(bottom, self.ink[1])
        rgb, alpha = pen.sheet.rgb[top:bottom, :right], pen.sheet.alpha[top:bottom, :right]
        part = np.float32(self._dimmed)
        return (
            top,
            Sprite.from_premultiplied(rgb, alpha, self._bits),
            Sprite.from_premultiplied(rgb * part, alpha * part, self._bits),
        )


def window(canvas: Planes, left: int, right: int) -> Planes:
    """The canvas's columns left to right (even), as a view."""
    half = slice(left // 2, right // 2)
    return Planes(canvas.y[:, left:right], canvas.u[:, half], canvas.v[:, half])
