"""Recorded takes: which file belongs to which line, and where in it the speech lies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assembler.timing.rates import SAMPLE_RATE

EXTENSIONS = frozenset({".wav", ".flac", ".mp3", ".m4a", ".ogg", ".opus", ".aac", ".aif", ".aiff"})
OTHER_FORMATS = frozenset({".wma", ".caf", ".amr", ".mka", ".m4b", ".mp4", ".mov", ".mkv", ".webm", ".avi", ".3gp"})
"""What may hold speech too, but has to be saved anew to be a take."""
TRIM_VERSION = "1"
"""Part of a trimmed take's identity; changes when the same recording would be cut elsewhere."""

_FRAME = SAMPLE_RATE // 100
_SILENT_DB = -60.0  # nothing louder than this anywhere: no speech
_ABOVE = 0.25  # of the way from the quietest to the loudest
_LEAST_ABOVE_DB = 6.0
_BEFORE_S, _AFTER_S = 0.06, 0.12  # soft first sounds and dying last ones lie under the threshold
_CLICK_FRAMES = 5  # a burst in fewer than 3 of 5 frames is a click, not speech
_FULL = 0.995
_FULL_RUNS = 5


@dataclass(frozen=True, slots=True)
class TakesFolder:
    """The takes folder's recordings by file name without extension; others: those in formats takes may not have."""

    folder: Path
    files: Mapping[str, tuple[Path, ...]]
    others: Mapping[str, Path] = field(default_factory=dict)


def list_takes(folder: Path) -> TakesFolder:
    """What lies in a takes folder; a folder that is not there holds nothing."""
    found: dict[str, list[Path]] = {}
    others: dict[str, Path] = {}
    for path in sorted(folder.iterdir()) if folder.is_dir() else ():
        if path.name.startswith(".") or not path.is_file():
            continue
        if path.suffix.casefold() in EXTENSIONS:
            found.setdefault(path.stem, []).append(path)
        elif path.suffix.casefold() in OTHER_FORMATS:
            others[path.stem] = path
    return TakesFolder(folder, {stem: tuple(paths) for stem, paths in found.items()}, others)


def speech_span(samples: npt.NDArray[np.float32]) -> tuple[int, int] | None:
    """First and past-last sample of the speech in a recording (mono, 48 kHz), or None when it is silent.

    Levels of 10 ms frames; what rises a quarter of the way from the recording's quietest (5th percentile) to its
    loudest (95th) is speech when most of the 50 ms around it does too. Common practice, no source.
    """
    frames = samples.size // _FRAME
    if frames < _CLICK_FRAMES:
        return None
    power = np.mean(np.square(samples[: frames * _FRAME].reshape(frames, _FRAME), dtype=np.float64), axis=1)
    level = 10.0 * np.log10(np.maximum(power, 1e-12))
    quiet, loud = np.percentile(level, (5.0, 95.0))
    loud = max(float(loud), float(np.sort(level)[-_CLICK_FRAMES]))  # one short word in a long silence
    if loud < _SILENT_DB:
        return None
    threshold = max(_SILENT_DB, float(quiet) + max(_LEAST_ABOVE_DB, _ABOVE * (loud - float(quiet))))
    # An even sound without any pause never rises above its own floor: it is taken whole.
    if loud - float(quiet) < _LEAST_ABOVE_DB:
        return 0, int(samples.size)
    from scipy.ndimage import convolve1d  # here, not above: it takes long to load, and few commands need it

    above = level >= threshold
    steady = above & (convolve1d(above.astype(np.int32), np.ones(_CLICK_FRAMES, np.int32), mode="constant") >= 3)
    if not steady.any():
        return None
    where = np.flatnonzero(steady)
    start = int(where[0]) * _FRAME - round(_BEFORE_S * SAMPLE_RATE)
    end = (int(where[-1]) + 1) * _FRAME + round(_AFTER_S * SAMPLE_RATE)
    return max(0, start), min(int(samples.size), end)


def is_clipped(samples: npt.NDArray[np.float32]) -> bool:
    """Whether the recording was too loud for its converter: at least 5 separate stretches of two samples or more at
    full scale. A take that was merely raised to full scale touches it once or twice. Common practice, no source."""
    full = np.abs(samples) >= _FULL
    pairs = full[1:] & full[:-1]
    starts = pairs & ~np.concatenate(([False], pairs[:-1]))
    return int(np.count_nonzero(starts)) >= _FULL_RUNS
