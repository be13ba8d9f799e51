"""What a project's cache holds, and pruning it to a size: the longest unused first, never what is in use.

    parts/ voice/ sound/ sound/stems/ measure/ proxies/        everything in them can be made again

When something was last used is what the file system says: the later of its times of writing and of reading.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from assembler.errors import UsageError
from assembler.media.content import content_print
from assembler.media.leftovers import PARTIAL, is_left
from assembler.media.proxies import FOLDER as PROXIES
from assembler.media.proxies import proxy_folder
from assembler.render.parts import PARTS_NAME, used_parts
from assembler.timeline.model import Timeline

LIMIT_VARIABLE = "ASSEMBLER_CACHE_LIMIT"
_LIMIT_BYTES, _LIMIT_SHARE = 10 << 30, 10
"""A cache may take so much, and at most one part in so many of its disk."""
KINDS = ("parts", "voices", "sound", "measurements", "proxies", "left over", "other")
_SEALED = (".mp4", ".seal")
_UNITS = {"": 0, "K": 10, "M": 20, "G": 30, "T": 40}


@dataclass(frozen=True, slots=True)
class Holding:
    """One thing that is kept or goes as a whole. place: its file or folder; files: all that belong to it."""

    kind: str
    place: Path
    files: tuple[Path, ...]
    size_bytes: int
    used_at: float


def holdings(cache: Path) -> list[Holding]:
    """All that the cache holds, the longest unused first."""
    found = [_holding(kind, place, files) for kind, place, files in _grouped(cache)]
    return sorted(found, key=lambda each: (each.used_at, each.place))


def in_use(cache: Path, timeline: Timeline, parts: Iterable[Path]) -> set[Path]:
    """Places of what a programme is made from. parts: of its present plan; those of the last whole draft and master
    are in use, too."""
    places = {*parts, *used_parts(cache)}
    lines = (line for segment in timeline.segments for line in segment.lines)
    places |= {line.speech.sound.with_suffix(".f32") for line in lines if line.speech.sound is not None}
    names = {info.path.name for info in timeline.captures.values()}
    places |= {place for place in _folders(cache / "measure") if _capture_of(place) in names}
    for info in timeline.captures.values():
        with contextlib.suppress(Exception):  # a capture that has gone has no proxies to keep
            places.add(proxy_folder(cache, info, content_print(info.path)))
    return places


def used_last(cache: Path) -> set[Path]:
    """What can be said without the storyboard: parts of the last whole draft and master, and all that takes long."""
    slow = {"voices", "measurements", "proxies"}
    return used_parts(cache) | {each.place for each in holdings(cache) if each.kind in slow}


def prunable(cache: Path, held: Collection[Holding], kept: Collection[Path], to_bytes: int) -> list[Holding]:
    """What goes, so that the rest takes at most to_bytes: what killed runs left first, then the longest unused.
    kept: places of what stays, however much that is."""
    last_run = max((_time(path) for path in (cache / PARTS_NAME).glob("last-*.json")), default=0.0)
    size = sum(each.size_bytes for each in held)
    going = [each for each in held if each.kind == "left over" and is_left(each.place)]
    size -= sum(each.size_bytes for each in going)
    for each in held:
        if size <= to_bytes:
            break
        stays = each.place in kept or each.kind in ("left over", "other")
        # What was mixed from in the last run is told by its time.
        if stays or (each.kind == "sound" and each.used_at >= last_run):
            continue
        going.append(each)
        size -= each.size_bytes
    return going


def remove(going: Iterable[Holding]) -> list[Holding]:
    """Remove holdings; returns those that went. Only while holding the project's lock."""
    gone = []
    for each in going:
        if each.place.is_dir():
            shutil.rmtree(each.place, ignore_errors=True)
        for path in each.files:
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)
        if not any(path.exists() for path in each.files):
            gone.append(each)
    return gone


def keep_within_limit(cache: Path, timeline: Timeline, parts: Iterable[Path]) -> list[Holding]:
    """After a whole draft or master: prune the cache to the limit. Returns what went. Raises UsageError."""
    limit = limit_bytes(cache)
    held = holdings(cache)
    if sum(each.size_bytes for each in held) <= limit:
        return []
    return remove(prunable(cache, held, in_use(cache, timeline, parts), limit))


def limit_bytes(cache: Path) -> int:
    """How much a cache may take: ASSEMBLER_CACHE_LIMIT, else 10 GiB, a tenth of the disk at most. Raises UsageError."""
    if written := os.environ.get(LIMIT_VARIABLE, "").strip():
        return parse_size(written, LIMIT_VARIABLE)
    folder = next((folder for folder in (cache, *cache.parents) if folder.is_dir()), Path())
    return min(_LIMIT_BYTES, shutil.disk_usage(folder).total // _LIMIT_SHARE)


def parse_size(text: str, name: str) -> int:
    """Bytes of a size such as `2G`, `1.5 GiB` or `0`; units count by 1024. name: who asks. Raises UsageError."""
    match = re.fullmatch(r"([0-9]{1,9}(?:\.[0-9]{1,6})?) *([KMGT]?)(?:I?B)?", text.strip().upper())
    if match is None:
        raise UsageError(f"{name}: '{text}' is not a size", mend="write such as 2G, 800M or 0")
    return int(float(match[1]) * 2 ** _UNITS[match[2]])


def _grouped(cache: Path) -> Iterator[tuple[str, Path, tuple[Path, ...]]]:
    """Kind, place and files of each thing in the cache."""
    folders = {"measure": "measurements", PROXIES: "proxies"}
    for name, kind in folders.items():
        for place in _folders(cache / name):
            files = _files(place)
            yield kind, place, tuple(path for path in files if PARTIAL not in path.name)
            yield from (("left over", path, (path,)) for path in files if PARTIAL in path.name)
    yield from _by_stem("parts", _files(cache / PARTS_NAME), ".mp4", lambda path: path.suffix in _SEALED)
    yield from _by_stem("voices", _files(cache / "voice"), ".f32", lambda path: True)
    yield from _by_stem("sound", _files(cache / "sound"), "", lambda path: True)
    inside = {PARTS_NAME, "voice", "sound", *folders}
    for path in _files(cache):
        first = path.relative_to(cache).parts
        if first[0] not in inside or (first[0] in folders and len(first) == 2):
            yield ("left over" if PARTIAL in path.name else "other"), path, (path,)


def _by_stem(
    kind: str, files: Iterable[Path], ending: str, ours: Callable[[Path], bool]
) -> Iterator[tuple[str, Path, tuple[Path, ...]]]:
    """Files of one name together; the one with the ending is their place."""
    groups: dict[Path, list[Path]] = {}
    for path in files:
        if PARTIAL in path.name:
            yield "left over", path, (path,)
        elif not ours(path):
            yield "other", path, (path,)
        else:
            groups.setdefault(path.with_suffix(ending) if ending else path, []).append(path)
    for place, found in groups.items():
        # What was found out about a recording is small and took long: it is not for pruning.
        small = kind == "voices" and place not in found
        yield ("other" if small else kind), place, tuple(found)


def _holding(kind: str, place: Path, files: tuple[Path, ...]) -> Holding:
    size, used = 0, 0.0
    for path in files:
        with contextlib.suppress(OSError):
            status = path.stat()
            size += status.st_size
            used = max(used, status.st_mtime, status.st_atime)
    return Holding(kind, place, files, size, used)


def _files(folder: Path) -> list[Path]:
    return sorted(Path(where) / name for where, _, names in os.walk(folder) for name in names)


def _folders(folder: Path) -> list[Path]:
    with contextlib.suppress(OSError):
        return sorted(path for path in folder.iterdir() if path.is_dir())
    return []


def _capture_of(place: Path) -> str:
    """The name of the file that a folder of measurements is of."""
    with contextlib.suppress(OSError, ValueError):
        told = json.loads((place / "about.json").read_bytes())
        return str(told.get("capture", "")) if isinstance(told, dict) else ""
    return ""


def _time(path: Path) -> float:
    with contextlib.suppress(OSError):
        return path.stat().st_mtime
    return 0.0
