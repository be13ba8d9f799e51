"""The programme's sound as it is delivered: coded, heard as a player will hear it, and mixed anew where it has to be.

A coder moves peaks, mostly upwards, and drops what lies above 20 kHz or so. What counts is what comes out of it: where
that is over the limit the limiter is told to stay lower just there, by as much, and what it lost in loudness is added.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np
import numpy.typing as npt

from assembler.media.sound_coder import SoundCoding, code_sound
from assembler.sound.hearing import Heard, Listener, Places
from assembler.sound.levels import Levels
from assembler.sound.limiter import Bounds, Curve
from assembler.sound.loudness import CHUNK, amplitude
from assembler.sound.mix import Mix
from assembler.sound.pieces import Pieces
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
Sound = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Delivery:
    """How to code, and how hard to try. rounds: times it may be coded in all. near_lu: how far from its target the
    coded programme may be without being mixed anew. step_db: 0 = the programme is raised by just what is wanted, and
    coded in one go; else by whole steps of this, so that after most edits the rest of it is sample for sample as it
    was, and coded in pieces, so that the rest is not coded again. That is for the quick way of coding alone."""

    coding: SoundCoding
    rounds: int
    near_lu: float
    step_db: float = 0.0


def draft_delivery(bit_rate: int = 256_000) -> Delivery:
    """A draft's: coded again only when it is off by more than anybody would let pass."""
    return Delivery(SoundCoding(bit_rate, quick=True), rounds=6, near_lu=0.2, step_db=0.3)


def master_delivery(bit_rate: int = 384_000) -> Delivery:
    """A master's: coded until it holds."""
    return Delivery(SoundCoding(bit_rate), rounds=6, near_lu=0.1)


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


class _Coder(Protocol):
    def code(self, sound: Iterator[Sound], samples: int, progress: Progress | None = None) -> Heard: ...

    def write(self, path: Path) -> None: ...


def deliver(
    timeline: Timeline,
    span: Span,
    levels: Levels,
    stems: Stems,
    delivery: Delivery,
    path: Path,
    progress: Progress | None = None,
    pieces: Path | None = None,
) -> Delivered:
    """Mix and code a span, into `path`. Loudness is held to its target for a whole programme, peaks to their limit
    everywhere.

    pieces: the folder where coded pieces are kept; None = nowhere. progress: called with seconds coded in this round
    and seconds in all. Raises as `mix` does, and MissingPartError when the disk is full.
    """
    whole = span.frames == timeline.frames
    first_ms = sample_of_frame(span.start_frame, timeline.rate) // CHUNK
    target_lufs = aim_lufs = levels.report.target_lufs
    exact = levels  # what would be right, of which `levels` is the nearest step
    levels = exact.stepped(delivery.step_db)
    with _coder(delivery, path, pieces, amplitude(levels.report.limit_dbtp)) as coder:
        for turn in range(1, delivery.rounds + 1):
            made = Mix(timeline, span, levels, stems)
            found = coder.code(made.sound(), made.samples, progress)
            if turn == delivery.rounds:
                break
            off_lu = 0.0 if found.lufs is None or not whole else target_lufs - found.lufs
            if abs(off_lu) <= delivery.near_lu:
                off_lu = 0.0
            if not found.places.size and not off_lu:
                break
            if off_lu:  # of which what the step does is known, and the rest is the coder's
                aim_lufs += off_lu + levels.gain_db - exact.gain_db
            before = levels
            bounds, margin_db = _lower(levels, found.places + first_ms, found.peaks, everywhere=turn > 1)
            if off_lu or margin_db != levels.margin_db or not delivery.step_db:
                exact = exact.aimed(aim_lufs, bounds, margin_db)
            else:  # what the limiter takes in a few places is too little to tell, and all the rest stays as it is
                exact = replace(exact, bounds=bounds)
            levels = exact.stepped(delivery.step_db)
            if not found.places.size and abs(levels.gain_db - before.gain_db) < 0.01:
                break  # it cannot be made louder
        coder.write(path)
    report = replace(levels.report, programme_lufs=found.lufs, range_lu=found.range_lu, true_peak_dbtp=found.peak_dbtp)
    return Delivered(path, report, turn)


class _InOneGo:
    """Codes all of it each time, into the file itself."""

    def __init__(self, path: Path, coding: SoundCoding, limit: float) -> None:
        self._path, self._coding, self._limit = path, coding, limit

    def code(self, sound: Iterator[Sound], samples: int, progress: Progress | None = None) -> Heard:
        listener = Listener(self._limit)
        heard = 0

        def hear(block: Sound) -> None:
            nonlocal heard
            listener.add(block)
            heard += len(block)
            if progress:
                progress(-(-heard // SAMPLE_RATE), -(-samples // SAMPLE_RATE))

        code_sound(sound, self._path, self._coding, hear)
        return listener.end()

    def write(self, path: Path) -> None:
        """It is written."""


@contextlib.contextmanager
def _coder(delivery: Delivery, path: Path, pieces: Path | None, limit: float) -> Iterator[_Coder]:
    if not delivery.step_db:
        yield _InOneGo(path, delivery.coding, limit)
        return
    with Pieces(pieces, delivery.coding, limit) as coder:
        yield coder


def _lower(levels: Levels, places: Places, peaks: Curve, *, everywhere: bool) -> tuple[Bounds, float]:
    """Bounds and margin of levels that are lower, by as much as they were too high, at some milliseconds. everywhere:
    doing so there did not help before, as with noise, which the coder changes anew each time."""
    if not places.size:
        return levels.bounds, levels.margin_db
    wanted = amplitude(levels.report.limit_dbtp - _SPARE_DB)
    now = levels.limiter().lowest(places) * np.float32(amplitude(levels.gain_db))
    most = (now * np.float32(wanted) / peaks).astype(np.float32)
    around = np.arange(-_AROUND_MS, _AROUND_MS + 1)
    near = (places[:, None] + around).ravel()
    good = (near >= 0) & (near < levels.peaks.size)
    bounds = levels.bounds.tightened(near[good], np.repeat(most, around.size)[good])
    lower_db = 20.0 * float(np.log10(peaks.max() / wanted)) if everywhere else 0.0
    return bounds, levels.margin_db + lower_db
