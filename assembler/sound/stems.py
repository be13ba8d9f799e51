"""Sound of captures and music as it was decoded, kept between runs: decoding is most of the work of a mix.

    <cache>/sound/stems/<hash>.f32     float32 (samples, 2) at 48 kHz, as they lie in memory

A stem is named by what is in the file and by the place in it where a stretch begins, and is as long as any mix has
wanted it. It is decoded from its own beginning on, as it would be without being kept, so that a kept one and a fresh
one are the same to the last bit, wherever in the programme its stretch stands now.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import os
from importlib import metadata
from pathlib import Path
from typing import Protocol

import numpy as np
import numpy.typing as npt

from assembler.media.content import content_print
from assembler.media.info import SoundInfo
from assembler.media.landing import write_error, writing
from assembler.media.sound import SoundReader
from assembler.sound.keeping import make_room
from assembler.timing.rates import SAMPLE_RATE

Stereo = npt.NDArray[np.float32]

_SPARE = 4 * SAMPLE_RATE
"""Decoded beyond what is wanted, so that a segment may get a little longer."""
_LONGEST = 600 * SAMPLE_RATE
"""What is longer is read from its file each time: 230 MB."""
_ROOM = 1 << 30
"""Bytes that stems may take; the ones used longest ago go first."""
_BYTES = 8  # for each moment, both channels


class Reader(Protocol):
    """Reads a sound by places on its own clock, as media.sound.SoundReader does."""

    def read(self, start_sample48: int, samples: int) -> Stereo: ...

    def close(self) -> None: ...


class Stems:
    """A project's stems. folder: None = nothing is kept."""

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder / "stems" if folder else None
        self._prints: dict[Path, str] = {}

    def open(self, path: Path, info: SoundInfo, start: int, samples: int) -> Reader:
        """A stretch of a file: `samples` from place `start` on. Raises MediaError when it cannot be decoded."""
        if self._folder is None or samples > _LONGEST:
            return SoundReader(path, info)
        if path not in self._prints:
            self._prints[path] = content_print(path)
        told = f"{self._prints[path]} {info} {start} {_engine()}"
        stem = self._folder / f"{hashlib.sha256(told.encode()).hexdigest()[:40]}.f32"
        if not _holds(stem, samples):
            _decode(path, info, start, samples + _SPARE, stem)
        with contextlib.suppress(OSError):
            os.utime(stem)
        return _Stem(stem, start)

    def tidy(self) -> None:
        """Make room again: remove the stems that were used longest ago."""
        if self._folder is not None:
            make_room(self._folder, "*.f32", _ROOM)


class _Stem:
    """One file, read by places on its capture's clock."""

    def __init__(self, path: Path, start: int) -> None:
        self._path, self._start = path, start

    def read(self, start_sample48: int, samples: int) -> Stereo:
        """(samples, 2) from a place on."""
        first = start_sample48 - self._start
        try:
            found = np.fromfile(self._path, "<f4", 2 * samples, offset=_BYTES * first).reshape(-1, 2)
        except OSError as error:
            raise write_error(self._path, error) from error
        if len(found) < samples:
            raise ValueError(f"{self._path.name} was cut off while it was read")
        return found.astype(np.float32, copy=False)

    def close(self) -> None:
        """Nothing is held open."""


def _holds(stem: Path, samples: int) -> bool:
    try:
        return stem.stat().st_size >= _BYTES * samples
    except OSError:
        return False


def _decode(path: Path, info: SoundInfo, start: int, samples: int, stem: Path) -> None:
    with writing(stem) as file, SoundReader(path, info) as reader:
        for first in range(0, samples, SAMPLE_RATE):
            block = reader.read(start + first, min(SAMPLE_RATE, samples - first))
            file.write(block.astype("<f4", copy=False).tobytes())


@functools.cache
def _engine() -> str:
    """A digest of the code that reads sound, and the version of what decodes it."""
    read = Path(__file__).resolve().parent.parent / "media" / "sound.py"
    return f"{metadata.version('av')} {hashlib.sha256(read.read_bytes()).hexdigest()}"
