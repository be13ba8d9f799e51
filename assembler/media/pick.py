"""Choose source pixels without mixing them: whole-pixel crops and nearest-neighbour zooms.

The scaler's own nearest mode places chroma by its own phase; here each output pixel names the
source pixel it comes from, luma and chroma alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assembler.media.planes import Plane, Planes

Index = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Picker:
    """Cuts `crop` (x, y, width, height) out of a picture and makes it `size` (even, even).

    The picture comes as three planes whose chroma is shared by 2**shift luma pixels across and
    down; rotation (degrees clockwise) is done first, and the crop is in turned pixels.
    """

    crop: tuple[int, int, int, int]
    size: tuple[int, int]
    shifts: tuple[int, int]
    rotation: int

    def __call__(self, y: Plane, u: Plane, v: Plane) -> Planes:
        """Returns views of the given planes where it can."""
        across, down = self.shifts if self.rotation in (0, 180) else self.shifts[::-1]
        if self.rotation:
            y, u, v = (np.rot90(plane, -self.rotation // 90) for plane in (y, u, v))
        left, top, width, height = self.crop
        if self.size == (width, height) and (across, down) == (1, 1):
            luma = y[top : top + height, left : left + width]
            planes = Planes(luma, *(self._shared(plane) for plane in (u, v)))
        else:
            columns = left + (2 * np.arange(self.size[0]) + 1) * width // (2 * self.size[0])
            rows = top + (2 * np.arange(self.size[1]) + 1) * height // (2 * self.size[1])
            shared_columns, shared_rows = columns[::2] >> across, rows[::2] >> down
            planes = Planes(
                _take(y, rows, columns), _take(u, shared_rows, shared_columns), _take(v, shared_rows, shared_columns)
            )
        if self.rotation:
            return Planes(*(np.ascontiguousarray(plane) for plane in (planes.y, planes.u, planes.v)))
        return planes

    def _shared(self, plane: Plane) -> Plane:
        """4:2:0 chroma of a crop at its own size. From an odd pixel on, each new sample lies half-way
        between two old ones."""
        left, top, width, height = self.crop
        x, y, wide, high = left // 2, top // 2, width // 2, height // 2
        cut = plane[y : y + high + top % 2, x : x + wide + left % 2]
        for axis, odd in ((0, top % 2), (1, left % 2)):
            if odd:
                length = cut.shape[axis] - 1
                first, second = np.take(cut, range(length), axis), np.take(cut, range(1, length + 1), axis)
                cut = ((first.astype(np.uint32) + second + 1) >> 1).astype(plane.dtype)
        return cut


def _take(plane: Plane, rows: Index, columns: Index) -> Plane:
    """plane[rows][:, columns], in the order that moves fewer pixels."""
    rows, columns = np.minimum(rows, plane.shape[0] - 1), np.minimum(columns, plane.shape[1] - 1)
    low, high = int(rows[0]), int(rows[-1]) + 1
    if rows.size > high - low:
        narrow = np.take(plane[low:high], columns, 1)
        return np.take(narrow, rows - low, 0)
    return np.take(np.take(plane, rows, 0), columns, 1)
