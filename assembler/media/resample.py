"""Sound brought from one rate to another by a whole-number ratio, filtered as scipy.signal.resample_poly does it.

Written out because loading scipy.signal takes longer than all the lines of a programme take to resample.
"""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt

Mono = npt.NDArray[np.float32]

_SIDE = 10  # zero crossings of the filter on either side
_BETA = 5.0  # of its Kaiser window
_BLOCK = 1 << 16  # worked on at once, about


def resampled(samples: Mono, up: int, down: int) -> Mono:
    """(n,) float32 to (ceil(n up / down),), in step with the first sample, without what lies beyond the lower of
    the two Nyquist limits. up, down: whole, without a common factor."""
    if up == down or not samples.size:
        return samples
    phases, half = _filter(up, down)
    taps = phases.shape[0]
    count = -(-samples.size * up // down)
    turns = -(-count // up)  # after `up` samples, `down` that were given have passed and the phases come again
    beyond = max(0, ((turns * up - 1) * down + half) // up + 1 - samples.size)
    padded = np.concatenate((np.zeros(taps, np.float32), samples, np.zeros(beyond, np.float32)))
    out = np.zeros((turns, up), np.float32)
    # Each sums, over taps k, h[phase + k up] x[place - k]: what a filter at the higher rate would find there.
    place, phase = np.divmod(np.arange(up, dtype=np.int64) * down + half, up)
    factors = phases[:, phase]
    at_once = max(1, _BLOCK // up)
    for first in range(0, turns, at_once):
        block = out[first : first + at_once]
        places = place + down * np.arange(first, first + len(block), dtype=np.int64)[:, None]
        for tap in range(taps - 1, -1, -1):  # from the earliest sample on
            block += padded[taps - tap :].take(places) * factors[tap]
    return out.ravel()[:count]


@functools.lru_cache(8)
def _filter(up: int, down: int) -> tuple[Mono, int]:
    """The low-pass by phases, (taps, up), and its delay at the higher rate."""
    most = max(up, down)
    half = _SIDE * most
    spread = np.arange(-half, half + 1)
    low_pass = np.sinc(spread / most) / most * np.kaiser(2 * half + 1, _BETA)
    low_pass = (low_pass / low_pass.sum()).astype(np.float32) * np.float32(up)
    taps = -(-low_pass.size // up)
    by_phase = np.zeros(taps * up, np.float32)
    by_phase[: low_pass.size] = low_pass
    return by_phase.reshape(taps, up), half
