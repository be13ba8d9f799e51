"""Voiced lines kept between runs: raw sound named by what it was made from, with what is known of it beside it.

    <cache>/voice/<hash>.f32     mono float32 little-endian samples at 48 kHz
    <cache>/voice/<hash>.json    {"samples": n, "words": [[text, start, end], …], "clipped": false}
    <cache>/voice/<hash>.found   what was found out about a sound, as its finder wrote it (JSON)

The .json is written last, so an entry without one is not there.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from assembler.media.landing import write_whole
from assembler.narration.speech import Word


@dataclass(frozen=True, slots=True)
class Stored:
    """A stored sound: its file, its length in samples, its words (none for a take) and whether it is clipped."""

    sound: Path
    samples: int
    words: tuple[Word, ...] = ()
    clipped: bool = False


def entry_name(*parts: str | int) -> str:
    """A name that changes with any of the parts, each kept apart from the next."""
    whole = hashlib.sha256()
    for part in parts:
        data = str(part).encode()
        whole.update(f"{len(data)}:".encode() + data)
    return whole.hexdigest()[:40]


def file_hash(path: Path) -> str:
    """SHA-256 of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def find(cache: Path, name: str) -> Stored | None:
    """A whole entry, or None when there is none or its parts do not agree."""
    sound = _sound(cache, name)
    try:
        told = json.loads(sound.with_suffix(".json").read_text(encoding="utf-8"))
        samples = int(told["samples"])
        words = tuple(Word(str(text), int(start), int(end)) for text, start, end in told["words"])
        if sound.stat().st_size != 4 * samples:
            return None
        return Stored(sound, samples, words, bool(told["clipped"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def keep(
    cache: Path,
    name: str,
    samples: npt.NDArray[np.float32],
    words: tuple[Word, ...] = (),
    *,
    clipped: bool = False,
) -> Stored:
    """Write an entry. Raises MissingPartError when there is no room, RenderError when writing fails otherwise."""
    sound = _sound(cache, name)
    write_whole(sound, samples.astype("<f4").tobytes())
    told = {
        "samples": int(samples.size),
        "words": [[word.text, word.start_sample, word.end_sample] for word in words],
        "clipped": clipped,
    }
    write_whole(sound.with_suffix(".json"), json.dumps(told).encode())
    return Stored(sound, int(samples.size), words, clipped)


def find_told(cache: Path, name: str) -> dict[str, Any] | None:
    """What was found out before under this name, or None."""
    try:
        told = json.loads(_sound(cache, name).with_suffix(".found").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return told if isinstance(told, dict) else None


def keep_told(cache: Path, name: str, told: Mapping[str, Any]) -> None:
    """Keep what was found out. Raises MissingPartError when there is no room, RenderError otherwise."""
    write_whole(_sound(cache, name).with_suffix(".found"), json.dumps(told).encode())


class KeptRates(dict[int, int]):
    """What a voice has to be asked for to speak at each pace, kept under all that tells one voice from another."""

    def __init__(self, cache: Path, *voice: str) -> None:
        self._cache, self._name = cache, entry_name("rates", *voice)
        told = find_told(cache, self._name) or {}
        super().__init__(
            (int(pace), rate) for pace, rate in told.items() if pace.isdecimal() and isinstance(rate, int)
        )

    def __setitem__(self, pace: int, rate: int) -> None:
        super().__setitem__(pace, rate)
        keep_told(self._cache, self._name, {str(each): asked for each, asked in self.items()})


def _sound(cache: Path, name: str) -> Path:
    return cache / "voice" / f"{name}.f32"
