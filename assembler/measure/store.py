"""Measuring a capture, once: what was noted lies on disk by content, and is gone on with after a stop.

For each capture there is a folder named by what is in the file and what is left out of it: parts of `PART`
pictures each, a state to go on from while there are more to come, and verdicts that are made anew
when the code that makes them changes. Everything lands whole or not at all. Two runs at once write
the same bytes under the same names, so they cannot harm each other.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from assembler.errors import MediaError
from assembler.measure import cadence, quality, states, tears, verdicts, weights
from assembler.measure.features import NOTES_VERSION, Floats, Notes, Watcher, joined
from assembler.measure.masks import Rectangle, stored_masks
from assembler.measure.model import Cadence, Thumbs
from assembler.measure.passes import new_watcher, notes_of
from assembler.media.info import CaptureInfo
from assembler.media.landing import land, write_error

PART = 1200
"""Pictures to a part; at most so many are looked at again after a stop."""
_CHUNK = 1 << 20
_TELL_EVERY = 30
_UNREADABLE = (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile)

Arrays = dict[str, npt.NDArray[Any]]


class Stopped(KeyboardInterrupt):
    """Measuring was cancelled. What was done is kept. The command ends with exit code 130."""


@dataclass(frozen=True, slots=True, eq=False)
class Measurement:
    """What is known of a capture. key: names its content and masks, and so its place on disk."""

    cadence: Cadence
    thumbs: Thumbs
    key: str


def measure_capture(
    info: CaptureInfo,
    cache_dir: Path,
    *,
    masks: Sequence[Rectangle] = (),
    progress: Callable[[int, int], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Measurement:
    """Measure a capture, or take up what an earlier run found.

    cache_dir: where results lie, such as `.assembler/measure`. masks: rectangles (x, y, width, height) to leave out,
    in capture pixels after rotation. progress: called with pictures done and in all. cancelled: asked often;
    true raises Stopped. Raises MediaError for captures that cannot be read or are too small, UsageError
    for masks outside the picture, RenderError or MissingPartError where results cannot be written.
    """
    stored = stored_masks(info, masks)
    key = measurement_key(info, stored)
    folder = cache_dir / key
    notes, ever = _notes(info, folder, stored, progress, cancelled)
    return Measurement(_verdicts(info, folder, notes, ever), verdicts.thumbs_of(notes), key)


def measurement_key(info: CaptureInfo, stored: Sequence[Rectangle]) -> str:
    """A name for a file's content, its times and what is left out. Where the file lies does not count."""
    digest = hashlib.sha256(content_print(info.path).encode())
    digest.update(np.ascontiguousarray(info.pts).tobytes())
    digest.update(repr((str(info.time_base), info.rotation, tuple(stored), NOTES_VERSION)).encode())
    return digest.hexdigest()[:32]


def content_print(path: Path) -> str:
    """A digest of a large file: its size and its head, middle and tail, one MiB each."""
    digest = hashlib.sha256()
    try:
        size = path.stat().st_size
        digest.update(str(size).encode())
        with path.open("rb") as file:
            for start in sorted({0, max(0, size // 2 - _CHUNK // 2), max(0, size - _CHUNK)}):
                file.seek(start)
                digest.update(file.read(_CHUNK))
    except OSError as error:
        raise MediaError(f"'{path}' cannot be read: {error.strerror}", mend="check that it may be read") from error
    return digest.hexdigest()


def _notes(
    info: CaptureInfo,
    folder: Path,
    masks: tuple[Rectangle, ...],
    progress: Callable[[int, int], None] | None,
    cancelled: Callable[[], bool] | None,
) -> tuple[Notes, Floats]:
    """The notes of the whole capture, and the largest change of each block; read from disk as far as they go."""
    total = info.pictures
    parts = _parts(folder, total)
    done = sum(notes.pairs.shape[0] for notes, _ in parts)
    if done < total:
        watcher = new_watcher(info, masks)
        if not parts or not _went_on(watcher, folder, done):
            parts, done = [], 0
            watcher = new_watcher(info, masks)
        pending: list[Notes] = []
        for one in notes_of(info, watcher, done):
            pending.append(one)
            at = done + len(pending)
            if len(pending) == PART or at == total:
                parts.append((joined(pending), watcher.ever.copy()))
                _write_part(folder, done, parts[-1], None if at == total else watcher, info)
                done, pending = at, []
            if progress is not None and (at % _TELL_EVERY == 0 or at == total):
                progress(at, total)
            if at < total and cancelled is not None and cancelled():
                raise Stopped
        with contextlib.suppress(OSError):
            (folder / "state.npz").unlink(missing_ok=True)
    elif progress is not None:
        progress(total, total)
    return joined([notes for notes, _ in parts]), parts[-1][1]


def _part_path(folder: Path, first: int) -> Path:
    return folder / f"part-{first:08d}.npz"


def _parts(folder: Path, total: int) -> list[tuple[Notes, Floats]]:
    """The parts that follow on each other from the start."""
    out: list[tuple[Notes, Floats]] = []
    first = 0
    while first < total:
        length = min(PART, total - first)
        loaded = _loaded(_part_path(folder, first))
        try:
            if loaded is None or loaded["pairs"].shape[0] != length:
                break
            out.append((Notes(*(loaded[field.name] for field in fields(Notes))), loaded["ever"]))
        except KeyError:
            break
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
    folder: Path, first: int, part: tuple[Notes, Floats], watcher: Watcher | None, info: CaptureInfo
) -> None:
    notes, ever = part
    arrays = {field.name: getattr(notes, field.name) for field in fields(Notes)}
    _save(_part_path(folder, first), {**arrays, "ever": ever})
    if watcher is not None:
        _save(folder / "state.npz", {**watcher.state(), "next": np.array(first + notes.pairs.shape[0])})
    about = {"capture": info.path.name, "pictures": info.pictures, "notes version": NOTES_VERSION}
    _write(folder / "about.json", lambda file: file.write(json.dumps(about, indent=1).encode()))


def _verdicts(info: CaptureInfo, folder: Path, notes: Notes, ever: Floats) -> Cadence:
    path = folder / f"verdicts-{verdicts_version()}.npz"
    if (loaded := _loaded(path)) is not None:
        try:
            return _as_cadence(loaded, info.pictures)
        except _UNREADABLE:
            pass
    cadence = verdicts.cadence_of(info, notes, ever)
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
    for module in (cadence, quality, states, tears, verdicts, weights):
        digest.update(Path(module.__file__ or "").read_bytes())
    return digest.hexdigest()[:12]


def _loaded(path: Path) -> Arrays | None:
    """The arrays of a file; None where it is missing or damaged."""
    try:
        with path.open("rb") as opened, np.load(opened, allow_pickle=False) as file:
            return {name: file[name] for name in file.files}
    except _UNREADABLE:
        return None


def _save(path: Path, arrays: Mapping[str, npt.NDArray[Any]]) -> None:
    _write(path, lambda file: np.savez(file, **arrays))  # type: ignore[arg-type]


def _write(path: Path, fill: Callable[[Any], Any]) -> None:
    """Write a file under a name of this process's own, then give it its place."""
    partial = path.with_name(f"{path.stem}.{os.getpid()}.partial{path.suffix}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with partial.open("wb") as file:
            fill(file)
    except OSError as error:
        with contextlib.suppress(OSError):
            partial.unlink(missing_ok=True)
        raise write_error(path, error) from error
    land(partial, path)
