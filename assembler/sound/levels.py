"""How loud everything is before it is mixed, and the gains that follow from it.

One pass over the whole programme. What it keeps is counted in milliseconds and lies in files, so that the gain which
brings the programme to its target, limiter included, is found without listening again, and without much memory.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assembler.sound.limiter import Bounds, Curve, Limiter
from assembler.sound.listening import Listened, listen
from assembler.sound.loudness import (
    TENTH_MS,
    amplitude,
    integrated_lufs,
    loudness_range_lu,
    tenths,
)
from assembler.sound.report import MixReport
from assembler.sound.sessions import MOST_GAIN_DB
from assembler.sound.spool import Spool
from assembler.sound.stems import Stems
from assembler.sound.streams import Gains, settle_gains
from assembler.sound.talk import STREAMS, Talk
from assembler.sound.truepeak import decibels
from assembler.storyboard.model import SoundSettings
from assembler.timeline.model import Timeline
from assembler.timing.rates import sample_of_frame

# Oversampling eight times may read a peak low, by up to 0.17 dB. AAC moves peaks upwards: by up to 1.5 dB on most of
# what was tried, by up to 2.2 dB on square waves and on bangs of white noise. No room would do for everything; this
# much is kept to spare, so that the ceiling holds for nearly all that is heard in the end.
_MARGIN_DB = 1.8
_LOWEST_DB = 12.0  # more than is ever left to the coder below the limit
_NEAR_LU = 0.02
_TRIES = 12
_STEP_DB, _LEAST_SLOPE = 6.0, 0.1

Progress = Callable[[int, int], None]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """What one pass found. gains: of sessions and music. power, peaks: of the sum before it is raised, weighted power
    and true peak by the millisecond. gain_db: what the programme is raised by. bounds: what it may be raised by at
    most in some places. margin_db: room that the limiter leaves to the coder everywhere. report: what is foreseen of
    the whole programme."""

    samples: int
    gains: Gains
    power: Spool
    peaks: Spool
    gain_db: float
    report: MixReport
    bounds: Bounds = field(default_factory=Bounds)
    margin_db: float = _MARGIN_DB

    def limiter(self) -> Limiter:
        """What keeps the raised programme under its ceiling."""
        return _limiter(self.peaks, self.gain_db, self.report.limit_dbtp - self.margin_db, self.bounds)

    def stepped(self, step_db: float) -> Levels:
        """Raised by the nearest whole number of steps; 0: by just as much."""
        if not step_db:
            return self
        gain_db = round(self.gain_db / step_db) * step_db
        return replace(self, gain_db=gain_db, report=replace(self.report, gain_db=gain_db))

    def aimed(self, target_lufs: float, bounds: Bounds, margin_db: float) -> Levels:
        """The same programme, within other bounds and as loud as `target_lufs` before it is coded."""
        gain_db = _programme_gain(self.power, self.peaks, target_lufs, self.report.limit_dbtp - margin_db, bounds)
        report = replace(self.report, gain_db=gain_db)
        return replace(self, gain_db=gain_db, bounds=bounds, margin_db=margin_db, report=report)


def measure(
    timeline: Timeline, *, progress: Progress | None = None, stems: Stems | None = None, pieces: Path | None = None
) -> Levels:
    """Measure a programme. progress: called with seconds done and seconds in all. stems: where decoded sound lies.
    pieces: the folder where what was heard is kept; None = nowhere."""
    stems = stems or Stems(None)
    gains = settle_gains(timeline, stems)
    settings = timeline.storyboard.sound
    # Peaks that even a programme raised by all it may be does not bring near its limit are not looked for.
    above = amplitude(settings.peak_dbtp - MOST_GAIN_DB - _LOWEST_DB)
    heard = listen(timeline, gains, stems, above, pieces, progress)
    gain_db = _programme_gain(
        heard.whole, heard.peaks, settings.loudness_lufs, settings.peak_dbtp - _MARGIN_DB, Bounds()
    )
    samples = sample_of_frame(timeline.frames, timeline.rate)
    report = _report(timeline, heard, settings, gain_db)
    return Levels(samples, gains, heard.whole, heard.peaks, gain_db, report, margin_db=_MARGIN_DB)


def _limiter(peaks: Spool, gain_db: float, ceiling_dbtp: float, bounds: Bounds) -> Limiter:
    return Limiter(peaks, amplitude(gain_db), amplitude(ceiling_dbtp), bounds)


def _programme_gain(power: Spool, peaks: Spool, target_lufs: float, ceiling_dbtp: float, bounds: Bounds) -> float:
    """The gain that brings the limited programme to its target."""
    plain = integrated_lufs(_together(tenths(part) for _, part in power.stretches()), TENTH_MS)
    if plain is None:
        return 0.0

    def limited_lufs(gain_db: float) -> float:
        # The limiter's gain changes slowly against the filter's memory, so it scales weighted power as it scales sound.
        limiter = _limiter(peaks, gain_db, ceiling_dbtp, bounds)
        scaled = (part * np.square(_edges(limiter, first, part)[:-1]) for first, part in power.stretches())
        limited = integrated_lufs(_together(map(tenths, scaled)), TENTH_MS)
        return target_lufs if limited is None else limited + gain_db

    gain_db = min(target_lufs - plain, MOST_GAIN_DB)
    found, slope = limited_lufs(gain_db), 1.0
    for _ in range(_TRIES):
        short = target_lufs - found
        if abs(short) <= _NEAR_LU or (short > 0 and gain_db >= MOST_GAIN_DB):
            break
        # The more the limiter holds back, the more it takes.
        wider_db = min(gain_db + min(short / slope, _STEP_DB), MOST_GAIN_DB)
        before, found = found, limited_lufs(wider_db)
        slope = min(1.0, max(_LEAST_SLOPE, (found - before) / (wider_db - gain_db)))
        gain_db = wider_db
    return gain_db


def _edges(limiter: Limiter, first: int, part: npt.NDArray[np.float32]) -> Curve:
    return limiter.edges(first, first + len(part))


def _together(parts: Iterator[npt.NDArray[np.float64]]) -> npt.NDArray[np.float64]:
    return np.concatenate([np.zeros(0), *parts])


def _report(timeline: Timeline, heard: Listened, settings: SoundSettings, gain_db: float) -> MixReport:
    raised = np.float32(amplitude(gain_db))
    limiter = _limiter(heard.peaks, gain_db, settings.peak_dbtp - _MARGIN_DB, Bounds())
    talk = Talk(timeline)
    mixed: list[npt.NDArray[np.float64]] = []  # the sum and the streams, by tenths of a second
    highest, deepest = 0.0, 1.0
    for first, whole in heard.whole.stretches():
        streams = heard.streams.read(first, first + whole.size)
        talk.add(first, streams)
        curve = _edges(limiter, first, whole)
        deepest = min(deepest, float(curve.min()))
        scaled = np.column_stack((whole, streams)) * np.square(curve[:-1] * raised)[:, None]
        mixed.append(np.stack([tenths(column) for column in scaled.T], axis=1))
    for first, peaks in heard.peaks.stretches():
        curve = _edges(limiter, first, peaks)
        highest = max(highest, float((peaks * np.maximum(curve[:-1], curve[1:])).max()) * float(raised))
    power = np.concatenate([np.zeros((0, 1 + STREAMS)), *mixed])
    loud = [integrated_lufs(column, TENTH_MS) for column in power.T]
    speech, background = talk.narration_and_background()
    return MixReport(
        target_lufs=settings.loudness_lufs,
        limit_dbtp=settings.peak_dbtp,
        programme_lufs=loud[0],
        true_peak_dbtp=decibels(highest),
        range_lu=loudness_range_lu(power[:, 0], TENTH_MS),
        narration_lufs=loud[1],
        captures_lufs=loud[2],
        music_lufs=loud[3],
        background_lufs=loud[4],
        speech_over_background_lu=None if speech is None or background is None else speech - background,
        gain_db=gain_db,
        most_limited_db=decibels(deepest) or 0.0,
        segments=tuple(talk.segments()),
    )
