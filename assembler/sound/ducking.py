"""Lowering the sound of captures while somebody speaks.

The spans of speech are known, so the gain is a plain function of time, the same whichever block asks for it:

      0 dB ──╲                          ╱── 0 dB
              ╲________________________╱
       -12 dB  |   speech    | hold
         ↑ begins 0.15 s     |        ↑ rises over 0.6 s
           early, over 0.12 s          from 0.35 s after the speech

Straight lines in decibels. Between lines less than 0.5 s apart it stays down. Depth and times are common practice
(6-12 dB, 50-300 ms, 300-1000 ms), without a source.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from assembler.timing.rates import SAMPLE_RATE

DEPTH_DB = 12.0
AHEAD_S, ATTACK_S, HOLD_S, RELEASE_S = 0.15, 0.12, 0.35, 0.6

_AHEAD, _ATTACK, _HOLD, _RELEASE = (round(s * SAMPLE_RATE) for s in (AHEAD_S, ATTACK_S, HOLD_S, RELEASE_S))


class Ducking:
    """The gain for a set of speech spans, [start, end) in samples."""

    def __init__(self, spans: Iterable[tuple[int, int]]) -> None:
        self._spans = _joined(sorted(spans))
        self._reaches = [end + _HOLD + _RELEASE for _, end in self._spans]

    def gains(self, start_sample: int, samples: int) -> npt.NDArray[np.float32] | None:
        """(samples,) amplitudes from `start_sample` on; None where nothing is lowered."""
        lowered: npt.NDArray[np.float64] | None = None
        index = bisect_left(self._reaches, start_sample)
        while index < len(self._spans) and self._spans[index][0] - _AHEAD < start_sample + samples:
            at = np.arange(start_sample, start_sample + samples, dtype=np.float64)
            start, end = self._spans[index]
            down = (at - (start - _AHEAD)) / _ATTACK
            up = (end + _HOLD + _RELEASE - at) / _RELEASE
            share = np.clip(np.minimum(down, up), 0.0, 1.0)
            lowered = share if lowered is None else np.maximum(lowered, share)
            index += 1
        if lowered is None:
            return None
        return (10.0 ** (-DEPTH_DB / 20.0 * lowered)).astype(np.float32)


def _joined(spans: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Spans in order; those so close that the rise would hardly begin before the next fall are made one."""
    joined: list[tuple[int, int]] = []
    for start, end in spans:
        if end <= start:
            continue
        if joined and start <= joined[-1][1] + _HOLD + _AHEAD:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined
