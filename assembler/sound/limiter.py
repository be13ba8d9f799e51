"""A gain that keeps the wave under a ceiling without being heard to do so.

The gain is found from the true peak of every millisecond of the programme, known beforehand, so it can fall before a
peak comes: over 5 ms, then it recovers with an 80 ms time constant. Both are common practice, without a source. It is
reckoned where it is asked for: nothing farther away than `_REMEMBERED` can be told from it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import ceil, log

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from assembler.sound.loudness import CHUNK
from assembler.sound.spool import STRETCH, Spool

_AHEAD = 5  # milliseconds in which the gain falls
_RECOVERY = 80.0  # milliseconds
_AS_GOOD = 0.0001  # of the gain missing: as good as recovered
_REMEMBERED = ceil(_RECOVERY * log(1 / _AS_GOOD)) + _AHEAD + 2

Curve = npt.NDArray[np.float32]


def gain_curve(peaks: npt.NDArray[np.float32], ceiling: float, most: Curve | None = None) -> Curve:
    """Gains at the milliseconds' edges, (m + 1,), straight lines between them.

    peaks: (m,) highest absolute point of each millisecond. No millisecond's peak times any gain within it exceeds
    `ceiling` (both as amplitudes). most: (m,) gains that the milliseconds' own may not exceed.
    """
    needed = np.ones(peaks.size + 2 * _AHEAD + 2, np.float32)
    inner = needed[_AHEAD + 1 : _AHEAD + 1 + peaks.size]
    np.divide(np.float32(ceiling), peaks, out=inner, where=peaks > ceiling)
    if most is not None:
        np.minimum(inner, most, out=inner)
    # The least that is needed from one millisecond back to _AHEAD on, at edges -_AHEAD … m.
    least = _recovering(sliding_window_view(needed, _AHEAD + 2).min(axis=1))
    # A mean over values none of which is above what is needed is not above it either, and it is smooth.
    return np.asarray(sliding_window_view(least, _AHEAD + 1).mean(axis=1)[: peaks.size + 1])


def _recovering(least: Curve) -> Curve:
    """Let the gain come back slowly after each fall.

    What is missing to a gain of 1 shrinks by the same share each millisecond, so that how far down each millisecond
    pulls every later one is, in logarithms, a straight line, and the deepest of all lines is a running maximum.
    """
    missing = 1.0 - least.astype(np.float64)
    if not missing.any():
        return least
    lines = np.full(least.size, -np.inf)
    np.log(missing, out=lines, where=missing > 0)
    times = np.arange(least.size) / _RECOVERY
    lines += times
    np.maximum.accumulate(lines, out=lines)
    lines -= times
    deepest = np.exp(lines, out=lines)
    return np.minimum(np.where(deepest < _AS_GOOD, 1.0, 1.0 - deepest).astype(np.float32), least)


@dataclass(frozen=True, slots=True, eq=False)
class Bounds:
    """The highest amplitude that the sum of all streams may be raised by, limiter included, in some milliseconds.
    places: those milliseconds, rising."""

    places: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    most: Curve = field(default_factory=lambda: np.zeros(0, np.float32))

    def tightened(self, places: npt.NDArray[np.int64], most: Curve) -> Bounds:
        """With further bounds; where both have one the lower holds."""
        all_places, all_most = np.concatenate((self.places, places)), np.concatenate((self.most, most))
        kept, where = np.unique(all_places, return_inverse=True)
        lowest = np.full(kept.size, np.inf, np.float32)
        np.minimum.at(lowest, where, all_most)
        return Bounds(kept, lowest)

    def over(self, begin: int, end: int) -> Curve | None:
        """(end - begin,) for these milliseconds, without end where there is no bound; None where there is none at
        all."""
        low, high = np.searchsorted(self.places, (begin, end))
        if low == high:
            return None
        bounds = np.full(end - begin, np.inf, np.float32)
        bounds[self.places[low:high] - begin] = self.most[low:high]
        return bounds


class Limiter:
    """The curve of a whole programme, reckoned a stretch at a time.

    peaks: of the programme's milliseconds before it is raised by the amplitude `raised`. ceiling: an amplitude.
    bounds: further ones.
    """

    def __init__(self, peaks: Spool, raised: float, ceiling: float, bounds: Bounds | None = None) -> None:
        self._peaks = peaks
        self._raised = np.float32(raised)
        self._ceiling = ceiling
        self._bounds = bounds or Bounds()

    def edges(self, first: int, last: int) -> Curve:
        """Gains at the edges `first` to `last`, (last - first + 1,): those of `gain_curve` of the whole."""
        begin, end = max(0, first - _REMEMBERED), min(self._peaks.size, last + _AHEAD + 1)
        peaks = self._peaks.read(begin, end) * self._raised
        bounds = self._bounds.over(begin, end)
        curve = gain_curve(peaks, self._ceiling, None if bounds is None else bounds / self._raised)
        return curve[first - begin : last - begin + 1]

    def lowest(self, places: npt.NDArray[np.int64]) -> Curve:
        """The lower of the gains at the edges of each of these milliseconds, which rise."""
        found = np.ones(places.size, np.float32)
        for first in np.unique(places // STRETCH) * STRETCH:
            here = slice(*np.searchsorted(places, (first, first + STRETCH)))
            begin = int(places[here][0])
            curve = self.edges(begin, int(places[here][-1]) + 1)
            found[here] = np.minimum(curve[:-1], curve[1:])[places[here] - begin]
        return found

    def gains(self, start_sample: int, samples: int) -> Curve:
        """The gain of each of `samples` samples from `start_sample` on."""
        first, last = start_sample // CHUNK, (start_sample + samples - 1) // CHUNK + 1
        return gains_at(self.edges(first, last), start_sample - first * CHUNK, samples)


def gains_at(curve: Curve, start_sample: int, samples: int) -> Curve:
    """The gain of each of `samples` samples from `start_sample` on, which lies on the curve."""
    first = start_sample // CHUNK
    last = (start_sample + samples - 1) // CHUNK + 1
    edges = curve[first : last + 1]
    if edges.size == 0 or edges.min() >= 1.0:
        return np.ones(samples, np.float32)
    place = (np.arange(start_sample, start_sample + samples) - first * CHUNK) / CHUNK
    return np.interp(place, np.arange(edges.size), edges).astype(np.float32)
