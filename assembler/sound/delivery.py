"""The programme's sound as it is delivered: coded, heard as a player will hear it, and mixed anew where it has to be.

A coder moves peaks, mostly upwards, and drops what lies above 20 kHz or so. What counts is what comes out of it: where
that is over the limit the limiter is told to stay lower just there, by as much, and what it lost in loudness is added.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assembler.media.sound_coder import SoundCoding, code_sound
from assembler.sound.levels import Levels
from assembler.sound.limiter import Curve
from assembler.sound.loudness import CHUNK, amplitude
from assembler.sound.meter import Meter
from assembler.sound.mix import Mix
from assembler.sound.report import MixReport
from assembler.sound.stems import Stems
from assembler.timeline.model import Timeline
from assembler.timing.rates import SAMPLE_RATE, sample_of_frame
from assembler.timing.spans import Span

# What is over is brought this far below the limit, so that the next round need not be about the rest of it.
_SPARE_DB = 0.1
# A peak of the coded sound may come of what lies a little before or after.
_AROUND_MS = 2

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Delivery:
    """How to code, and how hard to try. rounds: times it may be coded in all. near_lu: how far from its target the
    coded programme may be without being mixed anew."""

    coding: SoundCoding
    rounds: int
    near_lu: float


@dataclass(frozen=True, slots=True, eq=False)
class Delivered:
    """What came of it. path: the coded sound, for `join_parts`. report: programme_lufs, range_lu and true_peak_dbtp
    are those of the coded sound. rounds: times it was coded."""

    path: Path
    report: MixReport
    rounds: int

    def blocks(self) -> Path:
        """The coded sound, which needs no mixing any more."""
        return self.path


def deliver(
    timeline: Timeline,
    span: Span,
    levels: Levels,
    stems: Stems,
    delivery: Delivery,
    path: Path,
    progress: Progress | None = None,
) -> Delivered:
    """Mix and code a span, into `path`. Loudness is held to its target for a whole programme, peaks to their limit
    everywhere.

    progress: called with seconds coded in this round and seconds in all. Raises as `mix` does, and MissingPartError
    when the disk is full.
    """
    whole = span.frames == timeline.frames
    first_ms = sample_of_frame(span.start_frame, timeline.rate) // CHUNK
    aim_lufs = levels.report.target_lufs
    for turn in range(1, delivery.rounds + 1):
        made = Mix(timeline, span, levels, stems)
        heard = _Heard(amplitude(levels.report.limit_dbtp), made.samples, progress)
        code_sound(made.sound(), path, delivery.coding, heard.add)
        found = heard.end()
        if turn == delivery.rounds:
            break
        off_lu = 0.0 if found.lufs is None or not whole else levels.report.target_lufs - found.lufs
        if abs(off_lu) <= delivery.near_lu:
            off_lu = 0.0
        places, peaks = heard.over()
        if not places.size and not off_lu:
            break
        aim_lufs += off_lu
        before, levels = levels, _kept_lower(levels, aim_lufs, places + first_ms, peaks, everywhere=turn > 1)
        if not places.size and abs(levels.gain_db - before.gain_db) < 0.01:
            break  # it cannot be made louder
    report = replace(levels.report, programme_lufs=found.lufs, range_lu=found.range_lu, true_peak_dbtp=found.peak_dbtp)
    return Delivered(path, report, turn)


class _Heard(Meter):
    """The coded sound. over: its milliseconds that are over a limit."""

    def __init__(self, limit: float, samples: int, progress: Progress | None) -> None:
        super().__init__(above=limit)
        self._limit = limit
        self._seconds = -(-samples // SAMPLE_RATE)
        self._progress = progress
        self._heard = self._milliseconds = 0
        self._places: list[npt.NDArray[np.int64]] = []
        self._found: list[Curve] = []

    def add(self, block: npt.NDArray[np.float32]) -> None:
        super().add(block)
        self._look()
        self._heard += len(block)
        if self._progress:
            self._progress(min(-(-self._heard // SAMPLE_RATE), self._seconds), self._seconds)

    def over(self) -> tuple[npt.NDArray[np.int64], Curve]:
        """Their places, from 0, and how high they reach, once all is heard."""
        self._look()
        return np.concatenate([np.zeros(0, np.int64), *self._places]), np.concatenate(
            [np.zeros(0, np.float32), *self._found]
        )

    def _look(self) -> None:
        peaks = self.peaks.take()
        where = np.flatnonzero(peaks > self._limit)
        if where.size:
            self._places.append(where + self._milliseconds)
            self._found.append(peaks[where])
        self._milliseconds += peaks.size


def _kept_lower(
    levels: Levels, aim_lufs: float, places: npt.NDArray[np.int64], peaks: Curve, *, everywhere: bool
) -> Levels:
    """Levels that come to another loudness and are lower, by as much as they were too high, at some milliseconds.
    everywhere: doing so there did not help before, as with noise, which the coder changes anew each time."""
    if not places.size:
        return levels.aimed(aim_lufs, levels.bounds, levels.margin_db)
    wanted = amplitude(levels.report.limit_dbtp - _SPARE_DB)
    now = levels.limiter().lowest(places) * np.float32(amplitude(levels.gain_db))
    most = (now * np.float32(wanted) / peaks).astype(np.float32)
    around = np.arange(-_AROUND_MS, _AROUND_MS + 1)
    near = (places[:, None] + around).ravel()
    good = (near >= 0) & (near < levels.peaks.size)
    bounds = levels.bounds.tightened(near[good], np.repeat(most, around.size)[good])
    lower_db = 20.0 * float(np.log10(peaks.max() / wanted)) if everywhere else 0.0
    return levels.aimed(aim_lufs, bounds, levels.margin_db + lower_db)
