"""A capture as a continuous flow of small pictures, and what changes in it, for lining captures up.

A machine that holds its pictures longer would seem late if every repeat counted, so between two new pictures
the flow passes evenly from the one to the other: at the moment a picture is new, it is exactly that picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
import numpy.typing as npt

from assembler.measure.model import Cadence, Thumbs
from assembler.media.info import CaptureInfo

Floats = npt.NDArray[np.float32]
Times = npt.NDArray[np.float64]

SPAN_S = 1 / 15
"""What changed is seen over this time: long enough for slow motion to stand out from coding noise."""
_LONGEST_PASSING_S = 0.2
"""A longer hold is one of the content (a still screen), and ends at the new picture rather than over the hold."""
_STILL = 0.03
"""Root mean square of a change, 8-bit codes of small pictures, below which nothing moves."""
_OWN = 4.0
"""How many times livelier than in the other a cell may be, the usual ratio allowed for."""
_LOOKED_AT = 600
"""Pictures that standing parts are found from."""

Box = tuple[float, float, float, float]
"""First and last row, first and last column of the picture inside its bars, as shares of the whole."""
WHOLE: Box = (0.0, 1.0, 0.0, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """times: (m,) seconds of the new pictures from the capture's first picture, rising; pictures: (m,) their
    numbers; luma: (n, rows, columns) of every picture; end_s; frame_s: usual time from picture to picture."""

    times: Times
    pictures: npt.NDArray[np.int64]
    luma: Floats
    end_s: float
    frame_s: float

    def at(self, wanted: Times, weights: Floats) -> Floats:
        """The flow at `wanted` (k,) seconds, times `weights` (rows * columns, cells). Returns (k, cells)."""
        last = self.times.size - 1
        j = np.clip(np.searchsorted(self.times, wanted, "right") - 1, 0, last)
        following = np.minimum(j + 1, last)
        gap = np.minimum(np.maximum(self.times[following] - self.times[j], 1e-9), _LONGEST_PASSING_S)
        share = np.clip(1 - (self.times[following] - wanted) / gap, 0, 1)
        share[j == last] = 0
        low, high = int(j[0]), int(following[-1])
        small = self.luma[self.pictures[low : high + 1]].reshape(high - low + 1, -1) @ weights
        part = share.astype(np.float32)[:, None]
        return cast(Floats, small[j - low] * (1 - part) + small[following - low] * part)

    def change(self, wanted: Times, weights: Floats) -> Floats:
        """What changes around `wanted` (k,) seconds, rising. Returns (k, cells), codes over SPAN_S."""
        return self.at(wanted + SPAN_S / 2, weights) - self.at(wanted - SPAN_S / 2, weights)


def track_of(info: CaptureInfo, thumbs: Thumbs, cadence: Cadence | None) -> Track:
    """The new pictures by `cadence`, or by the small pictures themselves where it is None or not to be relied on."""
    times = (info.pts - info.pts[0]).astype(np.float64) * float(info.time_base)
    new = cadence.is_new.copy() if cadence is not None and cadence.reliable else _looks_new(thumbs.luma)
    new[0] = True
    frame = float(np.median(np.diff(times))) if times.size > 1 else float(info.duration_s)
    pictures = np.flatnonzero(new)
    return Track(times[pictures], pictures, thumbs.luma, float(info.duration_s), frame)


def _looks_new(luma: Floats) -> npt.NDArray[np.bool_]:
    """Pictures that change by a fair share of what the pictures around them do. (n,)"""
    change = np.zeros(len(luma), np.float32)
    for at in range(1, len(luma), 2000):  # by parts, as the differences take as much memory as the pictures
        part = luma[at - 1 : at + 2000]
        change[at : at + len(part) - 1] = np.sqrt(np.square(np.diff(part, axis=0)).mean((1, 2)))
    usual = np.zeros_like(change)
    half = 12
    for k in range(0, change.size, half):
        usual[k : k + half] = np.percentile(change[max(0, k - half) : k + 2 * half], 85)
    return change > 0.25 * usual


def picture_box(track: Track) -> Box:
    """Where the picture lies inside black bars above and below, or at the sides."""
    some = _some(track)
    dark = (some.max(0) < 32) & (np.ptp(some, axis=0) < 2)
    edges: list[float] = []
    for axis in (1, 0):
        lit = np.flatnonzero(~dark.all(axis=axis))
        if lit.size < dark.shape[1 - axis] / 2:
            return WHOLE
        edges += [lit[0] / dark.shape[1 - axis], (lit[-1] + 1) / dark.shape[1 - axis]]
    return edges[0], edges[1], edges[2], edges[3]


def cell_weights(track: Track, box: Box, rows: int, columns: int) -> Floats:
    """Means over a grid of cells laid over `box`, as a matrix (small pixels, rows * columns)."""
    down = _means(track.luma.shape[1], box[0], box[1], rows)
    across = _means(track.luma.shape[2], box[2], box[3], columns)
    return cast(Floats, np.kron(down, across).T.astype(np.float32).copy())


def _means(pixels: int, first: float, last: float, cells: int) -> npt.NDArray[np.float64]:
    """(cells, pixels) the share each pixel has in each cell's mean."""
    edges = np.linspace(first * pixels, last * pixels, cells + 1)
    low, high = edges[:-1, None], edges[1:, None]
    k = np.arange(pixels)
    shared = np.clip(np.minimum(high, k + 1) - np.maximum(low, k), 0, None)
    return cast(npt.NDArray[np.float64], shared / shared.sum(axis=1, keepdims=True))


def activity(track: Track, weights: Floats) -> Floats:
    """(cells,) how much each cell changes over SPAN_S, root mean square of codes, moments of wild change held down."""
    some = track.change(np.linspace(0, track.end_s, min(_LOOKED_AT, 4 * track.times.size)), weights)
    size = np.sqrt(np.square(some).mean(axis=1, keepdims=True))
    usual = np.median(size[size > _STILL]) if (size > _STILL).any() else 1.0
    return cast(Floats, np.sqrt(np.square(some * np.minimum(1, usual / np.maximum(size, 1e-6))).mean(axis=0)))


def moving_share(track: Track) -> float:
    """The share of moments at which something moves."""
    weights = cell_weights(track, WHOLE, 9, 16)
    some = track.change(np.linspace(0, track.end_s, min(_LOOKED_AT, 4 * track.times.size)), weights)
    return float((np.sqrt(np.square(some).mean(axis=1)) > _STILL).mean())


def common_weights(a: Track, b: Track, box_a: Box, box_b: Box, rows: int, columns: int) -> tuple[Floats, Floats]:
    """Cell weights of both, zero where either never changes (overlays, bars), evened between lively and calm cells."""
    weights_a, weights_b = cell_weights(a, box_a, rows, columns), cell_weights(b, box_b, rows, columns)
    lively_a, lively_b = activity(a, weights_a), activity(b, weights_b)
    kept = (lively_a > 0.1 * np.median(lively_a)) & (lively_b > 0.1 * np.median(lively_b))
    # A cell lively in one only shows something of that one's own, such as a counter.
    ratio = np.log(np.maximum(lively_a, 1e-6) / np.maximum(lively_b, 1e-6))
    if kept.any():
        kept &= np.abs(ratio - np.median(ratio[kept])) < np.log(_OWN)
    for weights, lively in ((weights_a, lively_a), (weights_b, lively_b)):
        even = np.sqrt(np.median(lively) / np.maximum(lively, 1e-6))
        weights *= np.where(kept, np.clip(even, 0.2, 5), 0).astype(np.float32)
    return weights_a, weights_b


def evened(change: Floats, floor: float) -> Floats:
    """Every moment's change brought to length 1, those below `floor` (codes, root mean square) to less."""
    centred = change - change.mean(axis=0)
    length = np.sqrt(np.square(centred).sum(axis=1, keepdims=True) + change.shape[1] * floor**2)
    return cast(Floats, centred / np.maximum(length, 1e-9))


def calm(change: Floats) -> float:
    """The size of change, codes root mean square, that little is to be made of."""
    size = np.sqrt(np.square(change).mean(axis=1))
    return max(_STILL, 0.15 * float(np.percentile(size, 75)))


def _some(track: Track) -> Floats:
    n = len(track.luma)
    return track.luma[np.unique(np.linspace(0, n - 1, min(n, _LOOKED_AT)).astype(np.int64))]
