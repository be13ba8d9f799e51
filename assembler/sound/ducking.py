"""Lowering the sound of captures and music while somebody speaks.

The times of the words are known, so the gain is a plain function of time, the same whichever block asks for it:

      0 dB ──╲                          ╱── 0 dB
              ╲________________________╱
      -12 dB   |   speech    | hold
         ↑ begins 0.15 s     |        ↑ rises over 0.6 s
           early, over 0.12 s          from 0.35 s after the speech

Straight lines in decibels. In a pause, between words or between lines, that is too short for the way up and down
(1.1 s) it stays down: half a rise is heard as pumping. Depth and times are common practice (6-12 dB, 50-300 ms,
300-1000 ms), without a source; the storyboard may choose another depth.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt

from assembler.timeline.model import PlacedLine
from assembler.timing.rates import SAMPLE_RATE

AHEAD_S, ATTACK_S, HOLD_S, RELEASE_S = 0.15, 0.12, 0.35, 0.6

_AHEAD, _ATTACK, _HOLD, _RELEASE = (round(s * SAMPLE_RATE) for s in (AHEAD_S, ATTACK_S, HOLD_S, RELEASE_S))

Span = tuple[int, int]


def spoken_spans(lines: Iterable[PlacedLine]) -> Iterator[Span]:
    """[start, end) of every word of the lines, in programme samples; of a whole line where its words are not known."""
    for line in lines:
        for word in line.speech.words:
            yield line.start_sample + word.start_sample, line.start_sample + word.end_sample
        if not line.speech.words:
            yield line.start_sample, line.end_sample


class Ducking:
    """The gain for a set of speech spans, [start, end) in samples. depth_db: 0 or less."""

    def __init__(self, spans: Iterable[Span], depth_db: float) -> None:
        self._spans = _joined(sorted(spans)) if depth_db else []
        self._reaches = [end + _HOLD + _RELEASE for _, end in self._spans]
        self._depth_db = depth_db

    def gains(self, start_sample: int, samples: int) -> npt.NDArray[np.float32] | None:
        """(samples,) amplitudes from `start_sample` on; None where nothing is lowered."""
        lowered: npt.NDArray[np.float64] | None = None
        index = bisect_left(self._reaches, start_sample)
        if index < len(self._spans):
            start, end = self._spans[index]
            if start - _AHEAD + _ATTACK <= start_sample and start_sample + samples <= end + _HOLD + 1:
                return np.full(samples, 10.0 ** (self._depth_db / 20.0), np.float32)  # down all the while
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
        return (10.0 ** (self._depth_db / 20.0 * lowered)).astype(np.float32)


def _joined(spans: Iterable[Span]) -> list[Span]:
    """Spans in order; those with too short a pause between them to come all the way back are made one."""
    joined: list[Span] = []
    for start, end in spans:
        if end <= start:
            continue
        if joined and start < joined[-1][1] + _HOLD + _RELEASE + _AHEAD:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined
