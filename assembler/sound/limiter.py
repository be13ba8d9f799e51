"""A gain that keeps the wave under a ceiling without being heard to do so.

The gain is found from the true peak of every millisecond of the programme, known beforehand, so it can fall before a
peak comes: over 5 ms, then it recovers with an 80 ms time constant. Both are common practice, without a source.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from assembler.sound.loudness import CHUNK

_AHEAD = 5  # milliseconds in which the gain falls
_RECOVERY = 80.0  # milliseconds
_STRETCH = 60_000  # milliseconds reckoned at once
_AS_GOOD = 0.0001  # of the gain missing: as good as recovered

Curve = npt.NDArray[np.float32]


def gain_curve(peaks: npt.NDArray[np.float32], ceiling: float) -> Curve:
    """Gains at the milliseconds' edges, (m + 1,), straight lines between them.

    peaks: (m,) highest absolute point of each millisecond. No millisecond's peak times any gain within it exceeds
    `ceiling` (both as amplitudes).
    """
    needed = np.ones(peaks.size + 2 * _AHEAD + 2, np.float32)
    inner = needed[_AHEAD + 1 : _AHEAD + 1 + peaks.size]
    np.divide(np.float32(ceiling), peaks, out=inner, where=peaks > ceiling)
    # The least that is needed from one millisecond back to _AHEAD on, at edges -_AHEAD … m.
    least = _recovering(sliding_window_view(needed, _AHEAD + 2).min(axis=1))
    # A mean over values none of which is above what is needed is not above it either, and it is smooth.
    return np.asarray(sliding_window_view(least, _AHEAD + 1).mean(axis=1)[: peaks.size + 1])


def _recovering(least: Curve) -> Curve:
    """Let the gain come back slowly after each fall.

    What is missing to a gain of 1 shrinks by the same share each millisecond, so that how far down each millisecond
    pulls every later one is, in logarithms, a straight line, and the deepest of all lines is a running maximum.
    """
    out = np.empty_like(least)
    deepest_before = -np.inf  # in logarithms, at the millisecond before the stretch
    for first in range(0, least.size, _STRETCH):  # stretch by stretch: an hour in double precision takes much room
        part = least[first : first + _STRETCH]
        missing = 1.0 - part.astype(np.float64)
        lines = np.full(part.size, -np.inf)
        np.log(missing, out=lines, where=missing > 0)
        times = np.arange(part.size) / _RECOVERY
        lines += times
        lines[0] = max(lines[0], deepest_before - 1 / _RECOVERY)
        lines = np.maximum.accumulate(lines) - times
        deepest_before = float(lines[-1])
        deepest = np.exp(lines)
        recovered = np.where(deepest < _AS_GOOD, 1.0, 1.0 - deepest).astype(np.float32)
        np.minimum(recovered, part, out=out[first : first + _STRETCH])
    return out


def gains_at(curve: Curve, start_sample: int, samples: int) -> Curve:
    """The gain of each of `samples` samples from `start_sample` on, which lies on the curve."""
    first = start_sample // CHUNK
    last = (start_sample + samples - 1) // CHUNK + 1
    edges = curve[first : last + 1]
    if edges.size == 0 or edges.min() >= 1.0:
        return np.ones(samples, np.float32)
    place = (np.arange(start_sample, start_sample + samples) - first * CHUNK) / CHUNK
    return np.interp(place, np.arange(edges.size), edges).astype(np.float32)
