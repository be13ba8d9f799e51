"""A capture as a continuous flow of small pictures, and what changes in it, for lining captures up.

A machine that holds its pictures longer would seem late if every repeat counted, so between two new pictures
the flow passes evenly from the one to the other: at the moment a picture is new, it is exactly that picture.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
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
class Cells:
    """A grid of cells over a capture's picture: means down (rows, pixels) and across (pixels, columns), and what
    each cell counts, (rows * columns,)."""

    down: Floats
    across: Floats
    weight: Floats

    def of(self, luma: Floats) -> Floats:
        """(k, pixels, pixels) -> (k, rows * columns). By small products, which no threads are started for."""
        means = np.matmul(self.down, np.matmul(luma, self.across))
        return cast(Floats, means.reshape(len(luma), -1) * self.weight)


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """times: (m,) seconds of the new pictures from the capture's first picture, rising; pictures: (m,) their
    numbers; luma: (n, rows, columns) of every picture; end_s; frame_s: usual time from picture to picture."""

    times: Times
    pictures: npt.NDArray[np.int64]
    luma: Floats
    end_s: float
    frame_s: float

    def at(self, wanted: Times, cells: Cells) -> Floats:
        """The flow at `wanted` (k,) seconds, rising. Returns (k, cells)."""
        last = self.times.size - 1
        j = np.clip(np.searchsorted(self.times, wanted, "right") - 1, 0, last)
        following = np.minimum(j + 1, last)
        gap = np.minimum(np.maximum(self.times[following] - self.times[j], 1e-9), _LONGEST_PASSING_S)
        share = np.clip(1 - (self.times[following] - wanted) / gap, 0, 1)
        share[j == last] = 0
        used, place = np.unique(np.concatenate([j, following]), return_inverse=True)
        small = cells.of(self.luma[self.pictures[used]])
        part = share.astype(np.float32)[:, None]
        return cast(Floats, small[place[: j.size]] * (1 - part) + small[place[j.size :]] * part)

    def change(self, wanted: Times, cells: Cells) -> Floats:
        """What changes around `wanted` (k,) seconds, rising, but for the light as a whole. (k, cells), codes over
        SPAN_S."""
        before, after = self.at(wanted - SPAN_S / 2, cells), self.at(wanted + SPAN_S / 2, cells)
        change, middle = after - before, (before + after) / 2
        along = np.einsum("ij,ij->i", change, middle) / np.maximum(np.einsum("ij,ij->i", middle, middle), 1e-6)
        return cast(Floats, change - along[:, None] * middle)


def track_of(info: CaptureInfo, thumbs: Thumbs, cadence: Cadence | None) -> Track:
    """The new pictures by `cadence`, or by the small pictures themselves where it is None or not to be relied on."""
    times = (info.pts - info.pts[0]).astype(np.float64) * float(info.time_base)
    new = cadence.is_new.copy() if cadence is not None and cadence.reliable else _looks_new(thumbs.luma)
    new[0] = True
    frame = float(np.median(np.diff(times))) if times.size > 1 else float(info.duration_s)
    pictures = np.flatnonzero(new)
    return Track(times[pictures], pictures, thumbs.luma, float(info.duration_s), frame)


def _looks_new(luma: Floats) -> npt.NDArray[np.bool_]:
    """Pictures that change by a fair share of what those around them do. (n,)

    Where changes are of two sizes, large ones and the coder's doing, the line lies between; a slow stretch is not
    taken for repeats, as these have a new picture next to them.
    """
    from scipy.ndimage import maximum_filter1d  # here, not above: it takes long to load, and few commands need it

    change = np.zeros(len(luma), np.float32)
    for at in range(1, len(luma), 2000):  # by parts, as the differences take as much memory as the pictures
        part = luma[at - 1 : at + 2000]
        change[at : at + len(part) - 1] = np.sqrt(np.square(np.diff(part, axis=0)).mean((1, 2)))
    least = np.zeros_like(change)
    half = 12
    for k in range(0, change.size, half):
        calm, usual = np.percentile(change[max(0, k - half) : k + 2 * half], (10, 85))
        least[k : k + half] = max(0.25 * usual, np.sqrt(calm * usual) if calm < 0.5 * usual else 0.0)
    return cast(npt.NDArray[np.bool_], (change > least) | (change > 0.6 * maximum_filter1d(change, 7)))


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


def cells_over(track: Track, box: Box, rows: int, columns: int) -> Cells:
    """Means over a grid of cells laid over `box`, all counting the same."""
    down = _means(track.luma.shape[1], box[0], box[1], rows)
    across = _means(track.luma.shape[2], box[2], box[3], columns)
    return Cells(down.astype(np.float32), across.T.astype(np.float32).copy(), np.ones(rows * columns, np.float32))


def _means(pixels: int, first: float, last: float, cells: int) -> npt.NDArray[np.float64]:
    """(cells, pixels) the share each pixel has in each cell's mean."""
    edges = np.linspace(first * pixels, last * pixels, cells + 1)
    low, high = edges[:-1, None], edges[1:, None]
    k = np.arange(pixels)
    shared = np.clip(np.minimum(high, k + 1) - np.maximum(low, k), 0, None)
    return cast(npt.NDArray[np.float64], shared / shared.sum(axis=1, keepdims=True))


def activity(track: Track, cells: Cells) -> Floats:
    """(cells,) how much each cell changes over SPAN_S, root mean square of codes, moments of wild change held down."""
    some = _sampled(track, cells)
    size = np.sqrt(np.square(some).mean(axis=1, keepdims=True))
    usual = np.median(size[size > _STILL]) if (size > _STILL).any() else 1.0
    return cast(Floats, np.sqrt(np.square(some * np.minimum(1, usual / np.maximum(size, 1e-6))).mean(axis=0)))


def moving_share(track: Track) -> float:
    """The share of moments at which something moves."""
    some = _sampled(track, cells_over(track, WHOLE, 9, 16))
    return float((np.sqrt(np.square(some).mean(axis=1)) > _STILL).mean())


def _sampled(track: Track, cells: Cells) -> Floats:
    return track.change(np.linspace(0, track.end_s, min(_LOOKED_AT, 4 * track.times.size)), cells)


def common_cells(a: Track, b: Track, box_a: Box, box_b: Box, rows: int, columns: int) -> tuple[Cells, Cells]:
    """Cells of both that count nothing where either never changes (overlays, bars), evened between lively and calm."""
    cells_a, cells_b = cells_over(a, box_a, rows, columns), cells_over(b, box_b, rows, columns)
    lively_a, lively_b = activity(a, cells_a), activity(b, cells_b)
    kept = (lively_a > 0.1 * np.median(lively_a)) & (lively_b > 0.1 * np.median(lively_b))
    # A cell lively in one only shows something of that one's own, such as a counter.
    ratio = np.log(np.maximum(lively_a, 1e-6) / np.maximum(lively_b, 1e-6))
    if kept.any():
        kept &= np.abs(ratio - np.median(ratio[kept])) < np.log(_OWN)
    even_a, even_b = (
        np.clip(np.sqrt(np.median(lively) / np.maximum(lively, 1e-6)), 0.2, 5) for lively in (lively_a, lively_b)
    )
    return (
        replace(cells_a, weight=np.where(kept, even_a, 0).astype(np.float32)),
        replace(cells_b, weight=np.where(kept, even_b, 0).astype(np.float32)),
    )


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
