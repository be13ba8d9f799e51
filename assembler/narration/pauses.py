"""Long pauses inside a voiced line: where the speaker thinks or waits, and the pace is not the voice's own."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

from assembler.timing.rates import SAMPLE_RATE

LONG_PAUSE_S = 0.5
"""A pause of this length is more than punctuation asks for inside a line. Common practice, no source."""

_FRAME = SAMPLE_RATE // 100
_QUIET_DB = 30.0
"""What is this much softer than the line's loud parts (95th percentile) is a pause. Common practice, no source."""


@lru_cache(maxsize=1024)
def long_pauses(sound: Path) -> tuple[int, int]:
    """Samples in long pauses, and samples in all, of a voiced line's file; (0, 0) when it is gone."""
    try:
        samples = np.fromfile(sound, "<f4")
    except OSError:
        return 0, 0
    frames = samples.size // _FRAME
    if not frames:
        return 0, int(samples.size)
    power = np.mean(np.square(samples[: frames * _FRAME].reshape(frames, _FRAME), dtype=np.float64), axis=1)
    level = 10.0 * np.log10(np.maximum(power, 1e-12))
    quiet = level < np.percentile(level, 95.0) - _QUIET_DB
    edges = np.flatnonzero(np.diff(np.concatenate(([False], quiet, [False])).astype(np.int8)))
    lengths = edges[1::2] - edges[::2]
    return int(lengths[lengths * _FRAME >= LONG_PAUSE_S * SAMPLE_RATE].sum()) * _FRAME, int(samples.size)
