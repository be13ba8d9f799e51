"""How loud everything is before it is mixed, and the gains that follow from it.

One pass over the whole programme. What it keeps is counted in milliseconds, so that the gain which brings the
programme to its target, limiter included, is found without listening again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assembler.sound.buses import CaptureBus, NarrationBus, heard_lines, read_speech
from assembler.sound.limiter import Curve, gain_curve
from assembler.sound.loudness import CHUNK, KWeighting, Power, PowerMeter, integrated_lufs, ungated_lufs
from assembler.sound.truepeak import PeakMeter
from assembler.timeline.model import PlacedLine, Timeline
from assembler.timing.rates import SAMPLE_RATE, sample_of_frame

PROGRAMME_LUFS = -14.0
NARRATION_LUFS = -16.0
CEILING_DBTP = -1.0
MOST_GAIN_DB = 20.0
"""What is quieter than this below its target stays quiet: silence and hiss are not made loud."""

# Oversampling four times may read a peak low, by up to 0.1 dB. AAC moves peaks: measured on waves full of jumps, by up
# to 1.1 dB upwards. The ceiling is kept with this to spare, so that it holds for the sound that is heard in the end.
_MARGIN_DB = 1.3
_NEAR_LU = 0.02
_TRIES = 12

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """What one pass found, before the programme's gain.

    programme_lufs, narration_lufs, capture_lufs: integrated loudness of the sum and of its two parts as they sound in
    it (narration levelled, captures lowered), None where there is none. speech_over_captures_lu: how far speech
    stands above the captures while it lasts. narration_gains: amplitude for each kind of speech.
    gain_db: what the programme is raised by. curve: the limiter's gains (see limiter.gain_curve).
    """

    samples: int
    programme_lufs: float | None
    narration_lufs: float | None
    capture_lufs: float | None
    speech_over_captures_lu: float | None
    narration_gains: Mapping[str, float]
    gain_db: float
    curve: Curve


def measure(timeline: Timeline, *, progress: Progress | None = None) -> Levels:
    """Measure a programme. progress: called with seconds done and seconds in all."""
    samples = sample_of_frame(timeline.frames, timeline.rate)
    gains = narration_gains(timeline)
    narration_weighting, capture_weighting = KWeighting(1), KWeighting(2)
    sum_meter, narration_meter, capture_meter = PowerMeter(), PowerMeter(), PowerMeter()
    peaks = PeakMeter(2)
    narration = NarrationBus(timeline, gains)
    with CaptureBus(timeline) as captures:
        for start in range(0, samples, SAMPLE_RATE):
            count = min(SAMPLE_RATE, samples - start)
            voice, bed = parts(narration, captures, start, count)
            # The filter is linear, so the sum's weighted samples are the sum of the parts'.
            weighted_voice = np.repeat(narration_weighting.weigh(voice[:, None]), 2, axis=1)
            weighted_bed = capture_weighting.weigh(bed)
            narration_meter.add(weighted_voice)
            capture_meter.add(weighted_bed)
            sum_meter.add(weighted_voice + weighted_bed)
            peaks.add(bed + voice[:, None])
            if progress:
                progress(-(-(start + count) // SAMPLE_RATE), -(-samples // SAMPLE_RATE))
    power, highest = sum_meter.power(), peaks.peaks()
    gain_db, curve = _programme_gain(power, highest)
    speaking = _speaking(timeline, power.size)
    narration_power, capture_power = narration_meter.power(), capture_meter.power()
    return Levels(
        samples,
        integrated_lufs(power),
        integrated_lufs(narration_power),
        integrated_lufs(capture_power),
        _difference(ungated_lufs(narration_power[speaking]), ungated_lufs(capture_power[speaking])),
        gains,
        gain_db,
        curve,
    )


def parts(
    narration: NarrationBus, captures: CaptureBus, start: int, samples: int
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """The next stretch of both streams: (samples,) and (samples, 2)."""
    voice, bed = narration.read(start, samples), captures.read(start, samples)
    return (
        voice if voice is not None else np.zeros(samples, np.float32),
        bed if bed is not None else np.zeros((samples, 2), np.float32),
    )


def narration_gains(timeline: Timeline) -> dict[str, float]:
    """The amplitude that brings all takes together, and all scratch lines together, to the narration's loudness.

    One gain for all of a kind keeps what a reader does with the voice from line to line; a gain for each line would
    undo it, and short lines cannot be measured alone. 1 for a kind that has no loudness (silent, under 0.4 s).
    """
    by_kind: dict[str, list[PlacedLine]] = {}
    for line in heard_lines(timeline):
        by_kind.setdefault(line.speech.kind, []).append(line)
    return {kind: _levelling(lines) for kind, lines in by_kind.items()}


def _levelling(lines: list[PlacedLine]) -> float:
    weighting, meter = KWeighting(1), PowerMeter()
    for line in lines:
        assert line.speech.sound is not None
        for first in range(0, line.speech.samples, SAMPLE_RATE):
            block = read_speech(line.speech.sound, first, min(SAMPLE_RATE, line.speech.samples - first))
            # Heard from both channels, hence counted twice.
            meter.add(np.repeat(weighting.weigh(block[:, None]), 2, axis=1))
    loudness = integrated_lufs(meter.power())
    return 1.0 if loudness is None else _amplitude(min(NARRATION_LUFS - loudness, MOST_GAIN_DB))


def _programme_gain(power: Power, highest: npt.NDArray[np.float32]) -> tuple[float, Curve]:
    """The gain that brings the limited programme to its target, and the limiter's curve at that gain."""
    ceiling = _amplitude(CEILING_DBTP - _MARGIN_DB)
    loudness = integrated_lufs(power)
    gain_db = 0.0 if loudness is None else min(PROGRAMME_LUFS - loudness, MOST_GAIN_DB)
    curve = gain_curve(highest * np.float32(_amplitude(gain_db)), ceiling)
    for _ in range(_TRIES):
        # The limiter's gain changes slowly against the filter's memory, so it scales weighted power as it scales sound.
        limited = integrated_lufs(power * np.square(curve[: power.size])) if loudness is not None else None
        if limited is None:
            break
        short = PROGRAMME_LUFS - (limited + gain_db)
        if abs(short) <= _NEAR_LU or (short > 0 and gain_db >= MOST_GAIN_DB):
            break
        gain_db = min(gain_db + short, MOST_GAIN_DB)
        curve = gain_curve(highest * np.float32(_amplitude(gain_db)), ceiling)
    return gain_db, curve


def _speaking(timeline: Timeline, milliseconds: int) -> npt.NDArray[np.bool_]:
    """Which milliseconds hold speech."""
    marked = np.zeros(milliseconds, np.bool_)
    for line in heard_lines(timeline):
        marked[max(0, line.start_sample // CHUNK) : max(0, line.end_sample // CHUNK)] = True
    return marked


def _difference(first: float | None, second: float | None) -> float | None:
    return None if first is None or second is None else first - second


def _amplitude(decibels: float) -> float:
    return float(10.0 ** (decibels / 20.0))
