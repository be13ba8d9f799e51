"""How loud everything is before it is mixed, and the gains that follow from it.

One pass over the whole programme. What it keeps is counted in milliseconds, so that the gain which brings the
programme to its target, limiter included, is found without listening again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assembler.sound.buses import heard_lines
from assembler.sound.ducking import spoken_spans
from assembler.sound.limiter import Curve, gain_curve
from assembler.sound.loudness import (
    CHUNK,
    Power,
    PowerMeter,
    amplitude,
    integrated_lufs,
    loudness_range_lu,
    ungated_lufs,
)
from assembler.sound.report import MixReport, SegmentSound
from assembler.sound.sessions import MOST_GAIN_DB
from assembler.sound.stems import Stems
from assembler.sound.streams import Gains, Streams, settle_gains
from assembler.sound.truepeak import PeakMeter, decibels
from assembler.sound.weighting import KWeighting
from assembler.storyboard.model import SoundSettings
from assembler.timeline.model import Timeline
from assembler.timing.rates import SAMPLE_RATE, sample_of_frame

# Oversampling eight times may read a peak low, by up to 0.17 dB. AAC moves peaks upwards: by up to 1.5 dB on most of
# what was tried, by up to 2.2 dB on square waves and on bangs of white noise. No room would do for everything; this
# much is kept to spare, so that the ceiling holds for nearly all that is heard in the end.
_MARGIN_DB = 1.8
_NEAR_LU = 0.02
_TRIES = 12

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """What one pass found. gains: of sessions and music. gain_db: what the programme is raised by. curve: the limiter's
    gains (see limiter.gain_curve). report: what is foreseen of the whole programme."""

    samples: int
    gains: Gains
    gain_db: float
    curve: Curve
    report: MixReport


@dataclass(frozen=True, slots=True, eq=False)
class _Heard:
    """Weighted power of each stream and of their sum, and the sum's true peaks, by the millisecond."""

    narration: Power
    captures: Power
    music: Power
    background: Power
    whole: Power
    peaks: npt.NDArray[np.float32]


def measure(timeline: Timeline, *, progress: Progress | None = None, stems: Stems | None = None) -> Levels:
    """Measure a programme. progress: called with seconds done and seconds in all. stems: where decoded sound lies."""
    stems = stems or Stems(None)
    gains = settle_gains(timeline, stems)
    heard = _listen(timeline, gains, stems, progress)
    settings = timeline.storyboard.sound
    gain_db, curve = _programme_gain(heard.whole, heard.peaks, settings)
    return Levels(
        sample_of_frame(timeline.frames, timeline.rate),
        gains,
        gain_db,
        curve,
        _report(timeline, heard, settings, gain_db, curve),
    )


def _listen(timeline: Timeline, gains: Gains, stems: Stems, progress: Progress | None) -> _Heard:
    samples = sample_of_frame(timeline.frames, timeline.rate)
    weigh = KWeighting(1), KWeighting(2), KWeighting(2)
    meters = [PowerMeter() for _ in range(5)]
    peaks = PeakMeter(2)
    with Streams(timeline, gains, stems) as streams:
        for start in range(0, samples, SAMPLE_RATE):
            count = min(SAMPLE_RATE, samples - start)
            block = streams.read(start, count)
            # The filter is linear, so the sum's weighted samples are the sum of the parts'.
            voice = np.repeat(weigh[0].weigh(block.narration[:, None]), 2, axis=1)
            captures, music = weigh[1].weigh(block.captures), weigh[2].weigh(block.music)
            background = captures + music
            for meter, weighted in zip(meters, (voice, captures, music, background, voice + background), strict=True):
                meter.add(weighted)
            peaks.add(block.sum())
            if progress:
                progress(-(-(start + count) // SAMPLE_RATE), -(-samples // SAMPLE_RATE))
    narration, only_captures, only_music, beneath, whole = (meter.power() for meter in meters)
    return _Heard(narration, only_captures, only_music, beneath, whole, peaks.peaks())


def _programme_gain(
    power: Power, highest: npt.NDArray[np.float32], settings: SoundSettings
) -> tuple[float, Curve]:
    """The gain that brings the limited programme to its target, and the limiter's curve at that gain."""
    ceiling = amplitude(settings.peak_dbtp - _MARGIN_DB)
    target = settings.loudness_lufs
    loudness = integrated_lufs(power)
    gain_db = 0.0 if loudness is None else min(target - loudness, MOST_GAIN_DB)
    curve = gain_curve(highest * np.float32(amplitude(gain_db)), ceiling)
    for _ in range(_TRIES):
        # The limiter's gain changes slowly against the filter's memory, so it scales weighted power as it scales sound.
        limited = integrated_lufs(power * np.square(curve[: power.size])) if loudness is not None else None
        if limited is None:
            break
        short = target - (limited + gain_db)
        if abs(short) <= _NEAR_LU or (short > 0 and gain_db >= MOST_GAIN_DB):
            break
        gain_db = min(gain_db + short, MOST_GAIN_DB)
        curve = gain_curve(highest * np.float32(amplitude(gain_db)), ceiling)
    return gain_db, curve


def _report(timeline: Timeline, heard: _Heard, settings: SoundSettings, gain_db: float, curve: Curve) -> MixReport:
    raised = np.float32(amplitude(gain_db))
    scale = np.square(curve[: heard.whole.size] * raised)
    mixed = heard.whole * scale
    highest = float((heard.peaks * np.maximum(curve[:-1], curve[1:])).max(initial=0.0)) * float(raised)
    spans = [
        (start // CHUNK, -(-end // CHUNK))
        for start, end in spoken_spans(heard_lines(timeline))
        if end > start and end > 0
    ]
    speaking = _marked(spans, heard.whole.size)
    speech, background = ungated_lufs(heard.narration[speaking]), ungated_lufs(heard.background[speaking])
    return MixReport(
        target_lufs=settings.loudness_lufs,
        limit_dbtp=settings.peak_dbtp,
        programme_lufs=integrated_lufs(mixed),
        true_peak_dbtp=decibels(highest),
        range_lu=loudness_range_lu(mixed),
        narration_lufs=integrated_lufs(heard.narration * scale),
        captures_lufs=integrated_lufs(heard.captures * scale),
        music_lufs=integrated_lufs(heard.music * scale),
        background_lufs=integrated_lufs(heard.background * scale),
        speech_over_background_lu=None if speech is None or background is None else speech - background,
        gain_db=gain_db,
        most_limited_db=decibels(float(curve.min())) or 0.0,
        segments=tuple(_segments(timeline, heard, speaking)),
    )


def _marked(spans: list[tuple[int, int]], milliseconds: int) -> npt.NDArray[np.bool_]:
    marked = np.zeros(milliseconds, np.bool_)
    for first, last in spans:
        marked[max(0, first) : last] = True
    return marked


def _segments(timeline: Timeline, heard: _Heard, speaking: npt.NDArray[np.bool_]) -> Iterator[SegmentSound]:
    for placed in timeline.segments:
        first = sample_of_frame(placed.span.start_frame, timeline.rate) // CHUNK
        last = sample_of_frame(placed.span.end_frame, timeline.rate) // CHUNK
        where = speaking[first:last]
        if not where.any():
            continue
        streams = (heard.narration, heard.captures, heard.music, heard.background)
        yield SegmentSound(placed.segment.id, *(ungated_lufs(power[first:last][where]) for power in streams))
