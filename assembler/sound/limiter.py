"""A gain that keeps the wave under a ceiling without being heard to do so.

The gain is found from the true peak of every millisecond of the programme, known beforehand, so it can fall before a
peak comes: over 5 ms, then it recovers with an 80 ms time constant. Both are common practice, without a source.
"""

from __future__ import annotations

from math import exp

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from assembler.sound.loudness import CHUNK

_AHEAD = 5  # milliseconds in which the gain falls
_RECOVERS = 1.0 - exp(-1.0 / 80.0)  # share of the way back in one millisecond
_BACK = 0.9999  # as good as recovered

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
    """Let the gain come back slowly after each fall."""
    gains = np.ones(least.size, np.float32)
    limited = np.flatnonzero(least < 1.0)
    at = 0
    while at < limited.size:
        index = int(limited[at])
        gain = 1.0
        while index < least.size:
            gain = min(float(least[index]), gain + (1.0 - gain) * _RECOVERS)
            if gain > _BACK:
                break
            gains[index] = gain
            index += 1
        at = int(np.searchsorted(limited, max(index, limited[at] + 1)))
    return np.minimum(gains, least, out=gains)


def gains_at(curve: Curve, start_sample: int, samples: int) -> Curve:
    """The gain of each of `samples` samples from `start_sample` on, which lies on the curve."""
    first = start_sample // CHUNK
    last = (start_sample + samples - 1) // CHUNK + 1
    edges = curve[first : last + 1]
    if edges.size == 0 or edges.min() >= 1.0:
        return np.ones(samples, np.float32)
    place = (np.arange(start_sample, start_sample + samples) - first * CHUNK) / CHUNK
    return np.interp(place, np.arange(edges.size), edges).astype(np.float32)
