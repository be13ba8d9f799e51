"""Measuring a capture, once: what was noted lies on disk by content, and is gone on with after a stop.

For each capture there is a folder named by what is in the file and what is left out of it: parts of `PART`
pictures each, a state to go on from while there are more to come, and verdicts that are made anew
when the code that makes them changes. Everything lands whole or not at all. Two runs at once write
the same bytes under the same names, so they cannot harm each other. Small pictures and bands, by far the largest
of what is noted, stay on disk until someone asks for a piece of them.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any, cast

import numpy as np
import numpy.typing as npt

from assembler.errors import MediaError
from assembler.measure import cadence, quality, states, tears, tears_evidence, tears_weights, verdicts, weights
from assembler.measure.features import NOTES_VERSION, Floats, Notes, Watcher, joined
from assembler.measure.masks import Rectangle, stored_masks
from assembler.measure.model import Cadence, Thumbs
from assembler.measure.passes import new_watcher, notes_of
from assembler.media.content import content_print
from assembler.media.info import CaptureInfo
from assembler.media.landing import write_whole, writing
from assembler.media.leftovers import clear_left

PART = 1200
"""Pictures to a part; at most so many are looked at again after a stop."""
_IN_MEMORY = ("pairs", "light")
"""What is held in memory of every picture: 72 bytes. The rest is up to 1,800 and stays on disk."""
_TELL_EVERY = 30
_UNREADABLE = (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile)

Arrays = dict[str, npt.NDArray[Any]]


class Stopped(KeyboardInterrupt):
    """Measuring was cancelled. What was done is kept. The command ends with exit code 130."""


@dataclass(frozen=True, slots=True, eq=False)
class Measurement:
    """What is known of a capture. key: names its content and masks, and so its place on disk."""

    cadence: Cadence
    key: str
    read_thumbs: Callable[[], Thumbs]

    @property
    def thumbs(self) -> Thumbs:
        """The small pictures, read anew each time: they are large."""
        return self.read_thumbs()


def measure_capture(
    info: CaptureInfo,
    cache_dir: Path,
    *,
    masks: Sequence[Rectangle] = (),
    proxy: Path | None = None,
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Measurement:
    """Measure a capture, or take up what an earlier run found.

    cache_dir: where results lie, such as `.assembler/measure`. masks: rectangles (x, y, width, height) to leave out,
    in capture pixels after rotation. proxy: where pieces of a proxy are made in the same pass. progress: called with
    pictures done and in all. cancelled: asked often; true raises Stopped. Raises MediaError for captures that cannot
    be read or are too small, UsageError for masks outside the picture, RenderError or MissingPartError where results
    cannot be written.
    """
    stored = stored_masks(info, masks)
    key = measurement_key(info, stored)
    folder = cache_dir / key
    cadence = _kept_verdicts(info, folder)
    if cadence is None:
        cadence = _new_verdicts(info, folder, *_notes(info, folder, stored, proxy, progress, cancelled))
    elif progress is not None:
        progress(info.pictures, info.pictures)
    return Measurement(cadence, key, lambda: verdicts.thumbs_of(_notes(info, folder, stored, None, None, None)[0]))


def missing_key(info: CaptureInfo, cache_dir: Path, masks: Sequence[Rectangle] = ()) -> str | None:
    """The name of what is to be measured; None where it lies in cache_dir already. Raises as measure_capture does."""
    key = measurement_key(info, stored_masks(info, masks))
    return None if _kept_verdicts(info, cache_dir / key) is not None else key


def measurement_key(info: CaptureInfo, stored: Sequence[Rectangle]) -> str:
    """A name for a file's content, its times and what is left out. Where the file lies does not count."""
    digest = hashlib.sha256(content_print(info.path).encode())
    digest.update(np.ascontiguousarray(info.pts).tobytes())
    digest.update(repr((str(info.time_base), info.rotation, tuple(stored), NOTES_VERSION)).encode())
    return digest.hexdigest()[:32]


class _OnDisk:
    """One field of the notes of a whole capture, (n, ...), as far as an array's work can be done by the piece.

    A piece is read from its parts when it is asked for; `change` is what then becomes of it.
    """

    def __init__(
        self, folder: Path, name: str, like: npt.NDArray[Any], pictures: int, change: Callable[[Any], Any] | None = None
    ) -> None:
        self._folder, self._name, self._like, self._change = folder, name, like, change
        self.shape = (pictures, *like.shape[1:])

    def __len__(self) -> int:
        return int(self.shape[0])

    def __getitem__(self, piece: slice) -> npt.NDArray[Any]:
        first, last, step = piece.indices(len(self))
        assert step == 1
        out = np.empty((max(0, last - first), *self.shape[1:]), self._like.dtype)
        for at in range(first - first % PART, last, PART):
            low, high = max(first, at), min(last, at + PART)
            path = _part_path(self._folder, at)
            kept = _loaded(path, self._name)
            if kept is None or len(kept[self._name]) < high - at:
                raise MediaError(f"'{path}' cannot be read", mend="measure again: it will be made anew")
            out[low - first : high - first] = kept[self._name][low - at : high - at]
        return out if self._change is None else np.asarray(self._change(out))

    def __gt__(self, value: float) -> _OnDisk:
        assert self._change is None
        return _OnDisk(self._folder, self._name, self._like, len(self), lambda piece: piece > value)

    def mean(self, axis: int) -> npt.NDArray[Any]:
        assert axis > 0
        return np.concatenate([self[at : at + PART].mean(axis) for at in range(0, len(self), PART)])

    def __array__(self, dtype: npt.DTypeLike | None = None, copy: bool | None = None) -> npt.NDArray[Any]:
        return np.asarray(self[:], dtype)

    def astype(self, dtype: npt.DTypeLike) -> npt.NDArray[Any]:
        return self[:].astype(dtype)


class _Gathered:
    """The notes of the parts so far: what is small by itself, and of the rest what it is like."""

    def __init__(self, total: int) -> None:
        self.pictures = 0
        self._total = total
        self._held: dict[str, npt.NDArray[Any]] = {}
        self._like: dict[str, npt.NDArray[Any]] = {}
        self.ever: Floats = np.zeros((0, 0), np.float32)

    def add(self, part: Mapping[str, npt.NDArray[Any]]) -> None:
        first, self.pictures = self.pictures, self.pictures + len(part["pairs"])
        for name in _IN_MEMORY:
            if name not in self._held:
                self._held[name] = np.empty((self._total, *part[name].shape[1:]), part[name].dtype)
            self._held[name][first : self.pictures] = part[name]
        self._like = {f.name: part[f.name][:0] for f in fields(Notes) if f.name not in _IN_MEMORY}
        self.ever = part["ever"]

    def notes(self, folder: Path) -> Notes:
        """Raises KeyError where there is no part."""
        assert self.pictures == self._total
        on_disk = {name: _OnDisk(folder, name, like, self.pictures) for name, like in self._like.items()}
        return Notes(**self._held, **cast(dict[str, npt.NDArray[Any]], on_disk))


def _notes(
    info: CaptureInfo,
    folder: Path,
    masks: tuple[Rectangle, ...],
    proxy: Path | None,
    progress: Callable[[int, int], None] | None,
    cancelled: Callable[[], bool] | None,
) -> tuple[Notes, Floats]:
    """The notes of the whole capture, and the largest change of each block; read from disk as far as they go."""
    total = info.pictures
    gathered = _parts(folder, total)
    if (done := gathered.pictures) < total:
        watcher = new_watcher(info, masks)
        if not done or not _went_on(watcher, folder, done):
            gathered, done = _Gathered(total), 0
            watcher = new_watcher(info, masks)
        pending: list[Notes] = []
        for one in notes_of(info, watcher, done, proxy):
            pending.append(one)
            at = done + len(pending)
            if len(pending) == PART or at == total:
                state = None if at == total else watcher.state()
                gathered.add(_write_part(folder, done, joined(pending), state, watcher.ever, info))
                done, pending = at, []
            if progress is not None and (at % _TELL_EVERY == 0 or at == total):
                progress(at, total)
            if at < total and cancelled is not None and cancelled():
                raise Stopped
        with contextlib.suppress(OSError):
            (folder / "state.npz").unlink(missing_ok=True)
    elif progress is not None:
        progress(total, total)
    return gathered.notes(folder), gathered.ever


def _part_path(folder: Path, first: int) -> Path:
    return folder / f"part-{first:08d}.npz"


def _parts(folder: Path, total: int) -> _Gathered:
    """The parts that follow on each other from the start."""
    out = _Gathered(total)
    names = {"ever", *(field.name for field in fields(Notes))}
    first = 0
    while first < total:
        length = min(PART, total - first)
        loaded = _loaded(_part_path(folder, first))
        if loaded is None or not names <= loaded.keys() or len(loaded["thumbs"]) != length:
            break
        out.add(loaded)
        first += length
    return out


def _went_on(watcher: Watcher, folder: Path, done: int) -> bool:
    """Whether the watcher could take up where the parts end."""
    state = _loaded(folder / "state.npz")
    try:
        if state is None or int(state["next"]) != done:
            return False
        watcher.restore(state)
    except _UNREADABLE:
        return False
    return True


def _write_part(
    folder: Path,
    first: int,
    notes: Notes,
    state: Mapping[str, npt.NDArray[Any]] | None,
    ever: Floats,
    info: CaptureInfo,
) -> Arrays:
    """Write a part, and the state to go on from after it; the part's arrays."""
    arrays = {field.name: getattr(notes, field.name) for field in fields(Notes)} | {"ever": ever.copy()}
    _save(_part_path(folder, first), arrays)
    if state is not None:
        _save(folder / "state.npz", {**state, "next": np.array(first + len(notes.pairs))})
    about = {"capture": info.path.name, "pictures": info.pictures, "notes version": NOTES_VERSION}
    write_whole(folder / "about.json", json.dumps(about, indent=1).encode())
    return arrays


def _verdicts_path(folder: Path) -> Path:
    return folder / f"verdicts-{verdicts_version()}.npz"


def _kept_verdicts(info: CaptureInfo, folder: Path) -> Cadence | None:
    """Verdicts are written last, so where they lie everything does."""
    if (loaded := _loaded(_verdicts_path(folder))) is None:
        return None
    try:
        return _as_cadence(loaded, info.pictures)
    except _UNREADABLE:
        return None


def _new_verdicts(info: CaptureInfo, folder: Path, notes: Notes, ever: Floats) -> Cadence:
    path = _verdicts_path(folder)
    cadence = verdicts.cadence_of(info, notes, ever)
    clear_left(folder)
    for old in folder.glob("verdicts-*.npz"):
        with contextlib.suppress(OSError):
            old.unlink()
    _save(path, {field.name: np.asarray(getattr(cadence, field.name)) for field in fields(Cadence)})
    return cadence


def _as_cadence(loaded: Arrays, pictures: int) -> Cadence:
    """Raises KeyError or ValueError for a file of another kind."""
    values: dict[str, Any] = {}
    for field in fields(Cadence):
        array = loaded[field.name]
        if array.ndim == 0:
            values[field.name] = array.item()
        elif array.shape == (pictures,):
            values[field.name] = array
        else:
            raise ValueError(field.name)
    return Cadence(**values)


@cache
def verdicts_version() -> str:
    """A digest of the code and numbers that verdicts are made by: these are quick to make again."""
    digest = hashlib.sha256()
    for module in (cadence, quality, states, tears, tears_evidence, tears_weights, verdicts, weights):
        digest.update(Path(module.__file__ or "").read_bytes())
    return digest.hexdigest()[:12]


def _loaded(path: Path, *names: str) -> Arrays | None:
    """The arrays of a file, or those of the names; None where it is missing or damaged."""
    try:
        with path.open("rb") as opened, np.load(opened, allow_pickle=False) as file:
            return {name: file[name] for name in names or file.files}
    except _UNREADABLE:
        return None


def _save(path: Path, arrays: Mapping[str, npt.NDArray[Any]]) -> None:
    with writing(path) as file:
        np.savez(file, **arrays)  # type: ignore[arg-type]
