"""What is noted of every picture while a capture is read once: numbers small enough to keep for hours.

A `Watcher` is shown the pictures in order. It keeps the last picture, and the last one that clearly
differed, to compare with; all else it keeps are the numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from assembler.measure.blocks import BAND, BLOCK, CELL, SUMS, kernels
from assembler.measure.masks import LeftOut
from assembler.media.luma import Lines, Luma

Floats = npt.NDArray[np.float32]

NOTES_VERSION = 1
"""To be raised when anything here, in `blocks` or in `masks` changes what is noted: captures are then read anew."""

NAMES = (
    *("rms", "max_block", "top_block", "mid_block", "mean"),  # of the difference, 8-bit codes
    *("explained", "explained_top"),  # share of its energy that motion along the picture's slopes explains
    *("flow", "texture"),  # half-size pixels that so explained motion would be; rms slope
    "corr",  # with the difference before
    *("max_8x8", "max_8x8_kept", "share_kept"),  # at full size, against the last picture and the last that differed
    "area",  # share of blocks that changed
    "key",
)
"""Columns of the features of a pair of pictures."""
COLUMN = {name: i for i, name in enumerate(NAMES)}

THUMB_ROWS, THUMB_COLUMNS = 18, 32
LEAST_SIDE = 64
CHANGED_BLOCK = 0.5
"""Mean difference, in 8-bit codes, above which a block counts as changed."""
# A picture clearly differs from the last that did when an 8 x 8 block does by 12 codes a pixel, or 2 % of
# them by 5.
_CLEAR, _SLIGHT, _SHARE = 12.0 * 64, 5.0 * 64, 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Notes:
    """Numbers of n pictures in a row.

    pairs: (n, len(NAMES)) of each picture with the one before (the capture's first: zeros). light: (n, 3)
    mean, deviation and 8-bit code that 1 % lie above [largest of the small picture], 8-bit codes. thumbs:
    (n, 18, 32) uint16, 1/256 code. level, seen: (n, bands) uint8, see `band_levels`.
    """

    pairs: Floats
    light: Floats
    thumbs: npt.NDArray[np.uint16]
    level: npt.NDArray[np.uint8]
    seen: npt.NDArray[np.uint8]


def joined(parts: list[Notes]) -> Notes:
    return Notes(*(np.concatenate([getattr(p, name) for p in parts]) for name in Notes.__slots__))


def strips_in_band(height: int) -> int:
    """Bands have 4 rows, or as many times that as leaves at most 300 of them."""
    return max(1, -(-(height // BAND) // 300))


class Watcher:
    """Looks at a capture's pictures in order. `state` and `restore` let it go on in another run."""

    def __init__(self, width: int, height: int, left_out: LeftOut) -> None:
        self._left_out = left_out
        self._kernels = kernels()
        half = (height // 2, width // 2)
        self._half, self._half_before = np.zeros(half, np.int16), np.zeros(half, np.int16)
        self._dif, self._dif_before = np.zeros(half, np.int16), np.zeros(half, np.int16)
        self._energy_before = 0.0
        fours = (height // 4, width // 4)
        self._sad, self._sad_kept, self._tex = (np.zeros(fours, np.uint16) for _ in range(3))
        blocks = (half[0] // BLOCK, half[1] // BLOCK)
        self._sums = np.zeros((SUMS, *blocks), np.float32)
        self.ever = np.zeros(blocks, np.float32)
        """The largest mean difference each block has shown."""
        self._strips = strips_in_band(height)
        self.bands = height // BAND // self._strips
        self._memory = np.zeros((self.bands, max(1, width // CELL)), np.float32)
        self._level, self._seen = np.zeros(self.bands, np.uint8), np.zeros(self.bands, np.uint8)
        self._rows = np.linspace(0, half[0], THUMB_ROWS + 1).astype(np.int64)
        self._columns = np.linspace(0, half[1], THUMB_COLUMNS + 1).astype(np.int64)
        self._thumb = np.zeros((THUMB_ROWS, THUMB_COLUMNS), np.float32)
        self._thumb_mask = _thumb_mask(left_out, self._rows, self._columns)
        self._last: Lines | None = None
        self._kept: Lines | None = None
        self._is_kept = False

    def look(self, luma: Luma) -> Notes:
        """Note one picture."""
        cur, width, code = luma.lines, luma.width, luma.code
        first = self._last is None
        last = cur if self._last is None else self._last
        self._half, self._half_before = self._half_before, self._half
        self._dif, self._dif_before = self._dif_before, self._dif
        self._kernels["strip_sums"](cur, last, width, self._half, self._sad, self._tex)
        if first:
            self._half_before[:] = self._half
        pair = np.zeros((1, len(NAMES)), np.float32)
        if not first:
            self._compare(cur, width, code, luma.key, pair[0])
            self._kernels["band_levels"](
                *(self._sad, self._tex, self._left_out.cells, self._memory, self._strips, code),
                *(self._level, self._seen),
            )
        light = self._small(code)
        if first or self._clearly(pair[0]):
            self._kept = cur
        self._last = cur
        thumbs = np.clip(np.rint(self._thumb * (256.0 / (4 * code))), 0, 65535).astype(np.uint16)
        return Notes(pair, light[None], thumbs[None], self._level[None].copy(), self._seen[None].copy())

    def _clearly(self, pair: Floats) -> bool:
        return bool(pair[COLUMN["max_8x8_kept"]] * 64 > _CLEAR or pair[COLUMN["share_kept"]] > _SHARE)

    def _compare(self, cur: Lines, width: int, code: int, key: bool, out: Floats) -> None:
        left = self._left_out
        self._kernels["block_sums"](self._half, self._half_before, self._dif, self._dif_before, self._sums)
        if self._kept is self._last:
            sad_kept = self._sad
        else:
            sad_kept = self._sad_kept
            self._kernels["sad_only"](cur, self._kept, width, sad_kept)
        if left.fours.any():
            self._sad[left.fours] = 0
            sad_kept[left.fours] = 0
        slight = _SLIGHT * code
        top, _ = self._kernels["largest_8x8"](self._sad, slight)
        top_kept, share_kept = self._kernels["largest_8x8"](sad_kept, slight)
        out[COLUMN["max_8x8"]] = top / (64 * code)
        out[COLUMN["max_8x8_kept"]] = top_kept / (64 * code)
        out[COLUMN["share_kept"]] = share_kept
        out[COLUMN["key"]] = key
        self._block_features(4.0 * code, out)

    def _block_features(self, unit: float, out: Floats) -> None:
        """unit: half-size codes to an 8-bit code."""
        area = BLOCK * BLOCK
        use = ~self._left_out.blocks
        sums = self._sums[:, use]
        mean = sums[0] / (area * unit)
        energy = sums[1] / (area * unit * unit)
        self.ever[use] = np.maximum(self.ever[use], mean)
        ordered = np.sort(mean)
        out[COLUMN["rms"]] = np.sqrt(energy.mean())
        out[COLUMN["max_block"]] = ordered[-1]
        out[COLUMN["top_block"]] = ordered[-1 - ordered.size // 100]
        out[COLUMN["mid_block"]] = ordered[ordered.size // 2]
        out[COLUMN["mean"]] = mean.mean()
        out[COLUMN["area"]] = (mean > CHANGED_BLOCK).mean()
        total = float(sums[1].sum())
        out[COLUMN["corr"]] = sums[2].sum() / np.sqrt(max(total * self._energy_before, 1.0))
        self._energy_before = total
        explained, slopes, d2 = explained_energy(sums)
        out[COLUMN["explained"]] = explained.sum() / max(d2.sum(), 1.0)
        most = np.argpartition(d2, -max(1, d2.size // 50))[-max(1, d2.size // 50) :]
        out[COLUMN["explained_top"]] = explained[most].sum() / max(d2[most].sum(), 1.0)
        out[COLUMN["flow"]] = np.sqrt(explained.sum() / max(slopes.sum(), 1.0))
        out[COLUMN["texture"]] = np.sqrt(slopes.sum() / (slopes.size * area / 2)) / unit

    def _small(self, code: int) -> Floats:
        mean, square = self._kernels["thumb"](self._half, self._rows, self._columns, self._thumb)
        unit = 4.0 * code
        if self._thumb_mask.any():
            self._thumb[self._thumb_mask] = self._thumb[~self._thumb_mask].mean() if not self._thumb_mask.all() else 0
        deviation = max(square - mean * mean, 0.0) ** 0.5
        return np.array([mean / unit, deviation / unit, float(self._thumb.max()) / unit], np.float32)

    def state(self) -> dict[str, npt.NDArray[Any]]:
        """Everything needed to go on with the next picture, as arrays."""
        assert self._last is not None and self._kept is not None
        same = np.array(self._kept is self._last)
        kept = self._kept[:0] if same else self._kept
        return {
            "half": self._half,
            "dif": self._dif,
            "memory": self._memory,
            "ever": self.ever,
            "last": self._last,
            "kept": kept,
            "kept_is_last": same,
            "energy": np.array(self._energy_before),
        }

    def restore(self, state: dict[str, npt.NDArray[Any]]) -> None:
        """Go on from a `state`. Raises KeyError or ValueError for one of another kind."""
        for name, own in (("half", self._half), ("dif", self._dif), ("memory", self._memory), ("ever", self.ever)):
            own[:] = state[name]
        self._last = np.ascontiguousarray(state["last"])
        self._kept = self._last if bool(state["kept_is_last"]) else np.ascontiguousarray(state["kept"])
        self._energy_before = float(state["energy"])


def explained_energy(sums: Floats) -> tuple[Floats, Floats, Floats]:
    """For each block: the energy of its difference that d = u gx + v gy + c explains beyond c; its slopes'; its own.

    sums: (SUMS, n) of `block_sums`.
    """
    xx, xy, yy, xd, yd, x, y, d, dd = sums[3:12].astype(np.float64)
    n = BLOCK * BLOCK / 2
    xx, xy, yy = xx - x * x / n, xy - x * y / n, yy - y * y / n
    xd, yd, dd = xd - x * d / n, yd - y * d / n, dd - d * d / n
    slopes = np.maximum(xx + yy, 0)
    # Two unknowns explain some of any noise; a little stiffness keeps flat blocks from explaining theirs.
    stiff = 0.01 * slopes + 16.0 * n
    xx, yy = xx + stiff, yy + stiff
    det = xx * yy - xy * xy
    u, v = (xd * yy - yd * xy) / det, (yd * xx - xd * xy) / det
    explained = np.clip(u * xd + v * yd, 0, np.maximum(dd, 0))
    return explained.astype(np.float32), slopes.astype(np.float32), np.maximum(dd, 0).astype(np.float32)


def _thumb_mask(left: LeftOut, rows: npt.NDArray[np.int64], columns: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Cells of the small picture at least half of which a mask covers."""
    out = np.zeros((THUMB_ROWS, THUMB_COLUMNS), np.bool_)
    if left.fours.any():
        for i in range(THUMB_ROWS):
            for j in range(THUMB_COLUMNS):
                part = left.fours[rows[i] // 2 : -(-rows[i + 1] // 2), columns[j] // 2 : -(-columns[j + 1] // 2)]
                out[i, j] = part.size > 0 and part.mean() >= 0.5
    return out
