"""How a piece of sound begins and ends: along half a raised cosine, so that no cut clicks."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from assembler.timing.rates import SAMPLE_RATE

FADE = 5 * SAMPLE_RATE // 1000
"""Samples over which a cut comes in and goes out."""
TAKE_IN, TAKE_OUT = 15 * SAMPLE_RATE // 1000, 30 * SAMPLE_RATE // 1000
"""The same for recorded lines, so that the room's own sound is not heard to stop and start. Trimming leaves 20 ms
around the speech, so words lose nothing worth hearing."""

Gains = npt.NDArray[np.float32]


def faded(first: int, samples: int, whole: int, fade_in: int = FADE, fade_out: int = FADE) -> Gains:
    """Amplitudes of `samples` samples from `first` on, of a piece `whole` samples long. Fades that do not both fit
    are shortened alike; outside the piece all is 0."""
    if fade_in + fade_out > whole:
        fade_in, fade_out = whole * fade_in // (fade_in + fade_out), whole * fade_out // (fade_in + fade_out)
    if first >= fade_in and first + samples <= whole - fade_out:
        return np.ones(samples, np.float32)
    at = np.arange(first, first + samples, dtype=np.float64) + 0.5
    rising = np.clip(at / fade_in if fade_in else np.where(at > 0, 1.0, 0.0), 0.0, 1.0)
    falling = np.clip((whole - at) / fade_out if fade_out else np.where(at < whole, 1.0, 0.0), 0.0, 1.0)
    return np.asarray(np.sin(np.minimum(rising, falling) * (np.pi / 2)) ** 2, np.float32)
