"""A long recording read piece by piece: its level over time, and any span of it, in bounded memory.

Places are whole samples at 48 kHz from the file's first sample; nothing of the file is ever changed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from math import gcd
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
import numpy.typing as npt

from assembler.errors import MediaError
from assembler.media.info import SoundInfo
from assembler.media.opening import open_media, our_errors
from assembler.media.resample import resampled
from assembler.media.sound import SoundReader, decode_blocks
from assembler.timing.rates import SAMPLE_RATE

Samples = npt.NDArray[np.float32]

FRAME = SAMPLE_RATE // 100
"""Samples to a level."""
MOST_HOURS = 12
_SETTLE = SAMPLE_RATE // 20
"""Read before and after a span that is resampled, so that its edges are not the filter's."""


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """db: (n,) float32, power of each 10 ms against full scale. samples: of the whole recording, one channel.
    peak: largest value. clipped: samples at full scale that have a neighbour there."""

    db: Samples
    samples: int
    peak: float
    clipped: int

    @property
    def seconds(self) -> float:
        return self.samples / SAMPLE_RATE


def read_levels(
    path: Path,
    *,
    progress: Callable[[float, float], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Levels:
    """The level of a whole recording.

    progress: told the seconds read so far, and those the file says it has (0 where it does not say). cancelled: asked
    now and then; true raises KeyboardInterrupt.
    Raises MediaError when it cannot be read to its end, holds values that are not numbers, or is endless.
    """
    told_s = _told_seconds(path)
    rows: list[Samples] = []
    waiting = np.zeros(0, np.float32)
    length, peak, clipped, told = 0, 0.0, 0, 0
    for block in decode_blocks(path):
        mono = block.mean(axis=1, dtype=np.float32)
        if not np.isfinite(mono).all():
            raise MediaError(f"'{path}' holds values that are not numbers", mend="save it again as .wav or .flac")
        length += mono.size
        if length > MOST_HOURS * 3600 * SAMPLE_RATE:
            raise MediaError(f"'{path}' is longer than {MOST_HOURS} hours", mend="cut it into several files")
        peak = max(peak, float(np.abs(mono).max(initial=0.0)))
        full = np.abs(mono) >= 0.995
        clipped += int(np.count_nonzero(full[1:] & full[:-1]))
        waiting = np.concatenate((waiting, mono))
        if waiting.size >= 100 * FRAME:
            whole = waiting.size // FRAME
            rows.append(_db(_without_offset(waiting[: whole * FRAME])))
            waiting = waiting[whole * FRAME :]
        if length - told >= SAMPLE_RATE * 10:
            told = length
            if progress is not None:
                progress(length / SAMPLE_RATE, told_s)
            if cancelled is not None and cancelled():
                raise KeyboardInterrupt
    if waiting.size >= FRAME:
        rows.append(_db(_without_offset(waiting[: waiting.size // FRAME * FRAME])))
    db = np.concatenate(rows) if rows else np.zeros(0, np.float32)
    return Levels(db, length, peak, clipped)


def _told_seconds(path: Path) -> float:
    with open_media(path) as container:
        return max(0.0, (container.duration or 0) / 1_000_000)


def _without_offset(mono: Samples) -> Samples:
    """A second or so of sound about zero: a constant on all samples, as some converters add, is no sound."""
    return np.asarray(mono - mono.mean(dtype=np.float64), np.float32)


def _db(mono: Samples) -> Samples:
    power = np.square(mono.reshape(-1, FRAME), dtype=np.float64).mean(axis=1)
    return np.asarray(10.0 * np.log10(np.maximum(power, 1e-12)), np.float32)


class Recording:
    """Spans of a sound file's first sound stream. A context manager; reading forward is cheap."""

    def __init__(self, path: Path) -> None:
        self.path = path
        with open_media(path) as container, our_errors(path):
            if not container.streams.audio:
                raise MediaError(f"'{path}' has no sound", mend="name a sound file")
            stream = container.streams.audio[0]
            self._info = SoundInfo(stream.rate, stream.channels, Fraction(0), Fraction(0))
        self._reader = SoundReader(path, self._info)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._reader.close()

    def span(self, start: int, end: int) -> Samples:
        """(end - start,) float32 mono at 48 kHz; silence where there is no sound. Raises MediaError."""
        return np.asarray(self._reader.read(start, end - start).mean(axis=1), np.float32)

    def span_at(self, rate: int, start: int, end: int) -> Samples:
        """The same at another rate, `rate` samples a second."""
        shared = gcd(rate, SAMPLE_RATE)
        sound = resampled(self.span(start - _SETTLE, end + _SETTLE), rate // shared, SAMPLE_RATE // shared)
        lead = _SETTLE * rate // SAMPLE_RATE
        return np.asarray(sound[lead : lead + (end - start) * rate // SAMPLE_RATE], np.float32)
