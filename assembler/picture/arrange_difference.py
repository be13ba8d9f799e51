"""Draws where two pictures differ: the difference of their luma, times a gain, on black."""

from __future__ import annotations

import numpy as np

from assembler.media.planes import Plane, Planes
from assembler.picture.arrange import Arranged
from assembler.picture.geometry import Rect
from assembler.picture.ground import overlap
from assembler.picture.stage import Stage
from assembler.storyboard.model import Difference
from assembler.timeline.model import PlacedShot


def difference_codes(gain: float, bits: int) -> Plane:
    """(256,) or (1024,) luma codes for each difference of codes: black plus difference times gain, no
    brighter than white. The gain is taken to the nearest 1/256, so that the sum is one of integers."""
    levels = 1 << bits
    up = 1 if bits == 8 else 4
    brighter = np.arange(levels, dtype=np.int64) * round(gain * 256) + 128 >> 8
    codes: Plane = (16 * up + np.minimum(brighter, 219 * up)).astype(np.uint8 if bits == 8 else np.uint16)
    return codes


class DifferencePicture(Arranged):
    """Shows only what both pictures cover."""

    def __init__(self, shot: PlacedShot, stage: Stage, first: int = 0) -> None:
        super().__init__(shot, stage, first)
        assert isinstance(shot.arrangement, Difference)
        one, other = self.panes
        self._both = overlap(one.rect, other.rect)
        self.leave_uncovered([self._both])
        self._codes = difference_codes(shot.arrangement.gain, stage.bits)
        self._neutral = 128 if stage.bits == 8 else 512
        self._work = (
            np.empty((self._both.height, self._both.width), self.base.y.dtype),
            np.empty((self._both.height, self._both.width), self.base.y.dtype),
        )

    def paint(self, frame: int, canvas: Planes) -> None:
        """Paint the whole canvas for a frame of the shot."""
        self.paint_ground(canvas)
        both = self._both
        one, other = (_luma(pane.feed.at(frame), pane.rect, both) for pane in self.panes)
        high, low = self._work
        np.maximum(one, other, out=high)
        np.minimum(one, other, out=low)
        np.subtract(high, low, out=high)
        # `low` is done with; clipping cannot change an index here, but lets the table be read unchecked.
        np.take(self._codes, high, out=low, mode="clip")
        canvas.y[both.y : both.bottom, both.x : both.right] = low
        rows, columns = slice(both.y // 2, both.bottom // 2), slice(both.x // 2, both.right // 2)
        canvas.u[rows, columns] = self._neutral
        canvas.v[rows, columns] = self._neutral
        self.paint_over(frame, canvas)


def _luma(picture: Planes, at: Rect, part: Rect) -> Plane:
    """The luma of a picture that lies at `at`, within `part` of the canvas."""
    return picture.y[part.y - at.y : part.bottom - at.y, part.x - at.x : part.right - at.x]
