"""A small transparent drawing surface: words and flat shapes laid over each other, then a sprite.

Holds premultiplied R'G'B' and alpha as floats, so that layers do not round one after another.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from assembler.picture.look import Rgb, even
from assembler.picture.raster import rectangle
from assembler.picture.sprite import Sprite
from assembler.picture.text import ShapedLine

Floats = npt.NDArray[np.float32]


class Sheet:
    """Coordinates count from the layout box's top left corner; the sheet is larger than the box by
    whatever `ink` (left, top, right, bottom, in the same coordinates) reaches beyond it."""

    def __init__(self, box_w: float, box_h: float, ink: tuple[float, float, float, float] | None = None) -> None:
        self.box = (max(2, even(box_w)), max(2, even(box_h)))
        left, top, right, bottom = ink or (0.0, 0.0, 0.0, 0.0)
        # One clear pixel stays around all ink.
        self.left, self.top = even(max(0.0, 1 - left if ink else 0.0)), even(max(0.0, 1 - top if ink else 0.0))
        width = self.left + max(self.box[0], even(right + 1))
        height = self.top + max(self.box[1], even(bottom + 1))
        self.rgb: Floats = np.zeros((height, width, 3), np.float32)
        self.alpha: Floats = np.zeros((height, width), np.float32)

    def words(self, line: ShapedLine, x: float, baseline: int, colour: Rgb) -> None:
        """Draw a line with its pen starting at x (fractions count) on the baseline."""
        ink_left, ink_top, ink_right, ink_bottom = line.ink_px
        if ink_left == ink_right:
            return
        column, row = math.floor(x + ink_left) - 1, math.floor(baseline + ink_top) - 1
        shape = (math.ceil(baseline + ink_bottom) + 1 - row, math.ceil(x + ink_right) + 1 - column)
        cover = line.coverage_at(shape, x - column, baseline - row)
        self._over(cover.astype(np.float32) * np.float32(1 / 255), column, row, colour)

    def bar(self, left: float, top: float, right: float, bottom: float, colour: Rgb, opacity: float = 1.0) -> None:
        """A rectangle; edges may lie between pixels."""
        x, y = math.floor(left), math.floor(top)
        if (x, y) == (left, top) and right == math.floor(right) and bottom == math.floor(bottom):
            self._fill(x, y, int(right), int(bottom), colour, np.float32(opacity))
            return
        shape = (math.ceil(bottom) - y, math.ceil(right) - x)
        self._over(rectangle(shape, left - x, top - y, right - x, bottom - y) * np.float32(opacity), x, y, colour)

    def plate(self, left: int, top: int, right: int, bottom: int, radius: float, colour: Rgb, opacity: float) -> None:
        """A rectangle with rounded corners."""
        self._over(rounded(right - left, bottom - top, radius) * np.float32(opacity), left, top, colour)

    def sprite(self, bits: int) -> Sprite:
        """The drawing as planes."""
        return Sprite.from_premultiplied(self.rgb, self.alpha, bits, left=self.left, top=self.top, box=self.box)

    def _fill(self, left: int, top: int, right: int, bottom: int, colour: Rgb, cover: np.float32) -> None:
        """What `_over` does, for pixels that are all covered alike."""
        rows = slice(max(top + self.top, 0), max(bottom + self.top, 0))
        columns = slice(max(left + self.left, 0), max(right + self.left, 0))
        rgb, alpha = self.rgb[rows, columns], self.alpha[rows, columns]
        tint = cover * (np.array(colour, np.float32) / 255)
        if cover == 1:
            rgb[...], alpha[...] = tint, cover
            return
        rgb *= 1 - cover
        rgb += tint
        alpha *= 1 - cover
        alpha += cover

    def _over(self, cover: Floats, x: int, y: int, colour: Rgb) -> None:
        x, y = x + self.left, y + self.top
        x0, y0 = max(x, 0), max(y, 0)
        x1, y1 = min(x + cover.shape[1], self.alpha.shape[1]), min(y + cover.shape[0], self.alpha.shape[0])
        if x0 >= x1 or y0 >= y1:
            return
        cover = cover[y0 - y : y1 - y, x0 - x : x1 - x]
        rgb, alpha = self.rgb[y0:y1, x0:x1], self.alpha[y0:y1, x0:x1]
        rgb *= (1 - cover)[..., None]
        rgb += cover[..., None] * (np.array(colour, np.float32) / 255)
        alpha *= 1 - cover
        alpha += cover


def rounded(width: int, height: int, radius: float) -> Floats:
    """How much of each pixel a rounded rectangle of that size covers, 0 to 1."""
    radius = min(radius, width / 2, height / 2)
    x = np.abs(np.arange(width, dtype=np.float32) + 0.5 - width / 2) - (width / 2 - radius)
    y = np.abs(np.arange(height, dtype=np.float32) + 0.5 - height / 2) - (height / 2 - radius)
    far = np.hypot(np.maximum(x, 0)[None, :], np.maximum(y, 0)[:, None])
    corner = (x[None, :] > 0) & (y[:, None] > 0)
    cover = np.where(corner, np.clip(radius + 0.5 - far, 0, 1), 1.0)
    return np.asarray(cover, np.float32)
