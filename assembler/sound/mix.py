"""The programme's sound: narration over lowered captures and music, at the loudness it is published at.

Two passes. The first (levels.py) hears the whole programme and settles every gain; the second gives out the sound by
blocks of a second. Levels belong to the programme: a span of it sounds as it does in the whole.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from assembler.sound.edges import faded
from assembler.sound.hearing import Listener
from assembler.sound.levels import Levels, Progress, measure
from assembler.sound.loudness import amplitude
from assembler.sound.stems import Stems
from assembler.sound.streams import Streams
from assembler.timeline.model import Timeline
from assembler.timing.rates import SAMPLE_RATE, sample_of_frame
from assembler.timing.spans import Span

# A programme comes in over this. An AAC coder's first frames have nothing before them to go by: sound that is there at
# once came out up to 4.8 dB higher, 11 ms in; with this it did not.
_OPENING = 40 * SAMPLE_RATE // 1000


class Mix:
    """A programme's sound, or that of a span of it, ready to be given out."""

    def __init__(self, timeline: Timeline, span: Span, levels: Levels, stems: Stems) -> None:
        self._timeline = timeline
        self._stems = stems
        self._start = sample_of_frame(span.start_frame, timeline.rate)
        self.samples = sample_of_frame(span.end_frame, timeline.rate) - self._start
        self.levels = levels
        self.report = levels.report

    def blocks(self) -> Iterator[npt.NDArray[np.float32]]:
        """Float32 (samples, 2) at 48 kHz, a second at a time, `self.samples` in all. May be run again."""
        meter = Listener()
        for block in self.sound():
            meter.add(block)
            yield block
        found = meter.end()
        self.report = replace(
            self.report, programme_lufs=found.lufs, range_lu=found.range_lu, true_peak_dbtp=found.peak_dbtp
        )

    def sound(self) -> Iterator[npt.NDArray[np.float32]]:
        """The same, not measured."""
        gain, limiter = np.float32(amplitude(self.levels.gain_db)), self.levels.limiter()
        end = self._start + self.samples
        with Streams(self._timeline, self.levels.gains, self._stems) as streams:
            for start in range(self._start, end, SAMPLE_RATE):
                count = min(SAMPLE_RATE, end - start)
                block = streams.read(start, count).sum()
                block *= (gain * limiter.gains(start, count))[:, None]
                if start < _OPENING:
                    block *= faded(start, count, self.levels.samples, _OPENING, 0)[:, None]
                yield block


def mix(
    timeline: Timeline,
    *,
    span: Span | None = None,
    levels: Levels | None = None,
    progress: Progress | None = None,
    stems: Stems | None = None,
) -> Mix:
    """Settle the levels of a programme and make it ready.

    span: the frames wanted (default: all). levels: those of an earlier mix of the same timeline, to save the first
    pass. progress: called with seconds measured and seconds in all. stems: where decoded sound is kept; None = nowhere.
    Raises NarrationError when a voiced line's file is gone, MediaError when a capture's sound cannot be read.
    """
    stems = stems or Stems(None)
    levels = levels or measure(timeline, progress=progress, stems=stems)
    return Mix(timeline, span or Span(0, timeline.frames), levels, stems)
