"""The programme's sound: narration over lowered capture sound, at the loudness it is published at.

Two passes. The first (levels.py) hears the whole programme and settles every gain; the second gives out the sound by
blocks of a second. Levels belong to the programme: a span of it sounds as it does in the whole.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from assembler.sound.buses import CaptureBus, NarrationBus
from assembler.sound.levels import Levels, Progress, measure, parts
from assembler.sound.limiter import gains_at
from assembler.sound.loudness import KWeighting, PowerMeter, integrated_lufs
from assembler.sound.truepeak import PeakMeter, decibels
from assembler.timeline.model import Timeline
from assembler.timing.rates import SAMPLE_RATE, sample_of_frame
from assembler.timing.spans import Span


@dataclass(frozen=True, slots=True)
class MixReport:
    """What the listener gets. Loudness in LUFS, None where there is none (silence, or under 0.4 s).

    narration_lufs and capture_lufs: the two parts as they stand in the programme, its gain included.
    speech_over_captures_lu: how far speech stands above the captures while it lasts.
    gain_db: what the programme was raised by. most_limited_db: the limiter's deepest gain, 0 or less.
    programme_lufs and true_peak_dbtp: measured on the sound itself once blocks() has run to its end, None before.
    """

    narration_lufs: float | None
    capture_lufs: float | None
    speech_over_captures_lu: float | None
    gain_db: float
    most_limited_db: float
    programme_lufs: float | None = None
    true_peak_dbtp: float | None = None


class Mix:
    """A programme's sound, or that of a span of it, ready to be given out."""

    def __init__(self, timeline: Timeline, span: Span, levels: Levels) -> None:
        self._timeline = timeline
        self._start = sample_of_frame(span.start_frame, timeline.rate)
        self.samples = sample_of_frame(span.end_frame, timeline.rate) - self._start
        self.levels = levels
        self.report = MixReport(
            _raised(levels.narration_lufs, levels.gain_db),
            _raised(levels.capture_lufs, levels.gain_db),
            levels.speech_over_captures_lu,
            levels.gain_db,
            decibels(float(levels.curve.min())) or 0.0,
        )

    def blocks(self) -> Iterator[npt.NDArray[np.float32]]:
        """Float32 (samples, 2) at 48 kHz, a second at a time, `self.samples` in all. May be run again."""
        weighting, meter, peaks = KWeighting(2), PowerMeter(), PeakMeter(2)
        gain = np.float32(10.0 ** (self.levels.gain_db / 20.0))
        narration = NarrationBus(self._timeline, self.levels.narration_gains)
        end = self._start + self.samples
        with CaptureBus(self._timeline) as captures:
            for start in range(self._start, end, SAMPLE_RATE):
                count = min(SAMPLE_RATE, end - start)
                voice, bed = parts(narration, captures, start, count)
                block = (bed + voice[:, None]) * (gain * gains_at(self.levels.curve, start, count))[:, None]
                meter.add(weighting.weigh(block))
                peaks.add(block)
                yield block
        highest = peaks.peaks()
        self.report = replace(
            self.report,
            programme_lufs=integrated_lufs(meter.power()),
            true_peak_dbtp=decibels(float(highest.max())) if highest.size else None,
        )


def mix(
    timeline: Timeline, *, span: Span | None = None, levels: Levels | None = None, progress: Progress | None = None
) -> Mix:
    """Settle the levels of a programme and make it ready.

    span: the frames wanted (default: all). levels: those of an earlier mix of the same timeline, to save the first
    pass. progress: called with seconds measured and seconds in all.
    Raises NarrationError when a voiced line's file is gone, MediaError when a capture's sound cannot be read.
    """
    return Mix(timeline, span or Span(0, timeline.frames), levels or measure(timeline, progress=progress))


def _raised(lufs: float | None, gain_db: float) -> float | None:
    return None if lufs is None else lufs + gain_db
