"""Notes of planted clips with their truth, kept beside the clips."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from measure_clips import Clip, made, planted

from assembler.measure import blocks, features
from assembler.measure.features import NAMES, Notes, joined
from assembler.measure.passes import new_watcher, notes_of
from assembler.media.probe import probe


@dataclass(frozen=True)
class Noted:
    """A clip's notes; new, state: the truth; moved: mean |d| of what was planted between a picture and the one
    before; ever: largest change of each block."""

    clip: Clip
    path: Path
    notes: Notes
    ever: np.ndarray
    new: np.ndarray
    state: np.ndarray
    moved: np.ndarray


def noted(folder: Path, clip: Clip) -> Noted:
    path = made(folder, clip)
    engine = hashlib.sha256(b"".join(Path(m.__file__ or "").read_bytes() for m in (blocks, features))).hexdigest()[:8]
    stored = path.with_suffix(f".{engine}.npz")
    new, state, moved = _truth(folder, clip)
    if not stored.exists():
        info = probe(path)
        watcher = new_watcher(info, ())
        notes = joined(list(notes_of(info, watcher)))
        assert notes.pairs.shape == (new.size, len(NAMES))
        np.savez(stored, ever=watcher.ever, **{name: getattr(notes, name) for name in Notes.__slots__})
    with np.load(stored) as loaded:
        notes = Notes(**{name: loaded[name] for name in Notes.__slots__})
        return Noted(clip, path, notes, loaded["ever"], new, state, moved)


def _truth(folder: Path, clip: Clip) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    stored = folder / f"{clip.source.name} {clip.kind}.truth.npz".replace(" ", "_")
    if not stored.exists():
        pictures, new, state = planted(folder, clip)
        steps = [np.abs(b.astype(np.int16) - a).mean() for a, b in pairwise(pictures)]
        np.savez(stored, new=new, state=state, moved=np.array([np.inf, *steps], np.float32))
    with np.load(stored) as loaded:
        return loaded["new"], loaded["state"], loaded["moved"]
