"""The boxes of an MP4 file, as far as a finished programme is judged by them.

Source: ISO/IEC 14496-12 section 4.2 (boxes) and 12.1.5 (`colr`); 14496-15 for the codec's own box.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_TO_ENTRIES = (b"mdia", b"minf", b"stbl", b"stsd")
_ENTRY_HEAD = 8  # `stsd` counts its entries before the first
_PICTURE_HEAD = 78  # what a picture's entry holds before its own boxes
_MOST_INDEX = 1 << 30


@dataclass(frozen=True, slots=True)
class PictureEntry:
    """How a file describes its pictures. tag: the entry's name, such as `hvc1`. colr: the body of its colour box, empty
    where there is none. configuration: the body of `avcC` or `hvcC`."""

    tag: str
    colr: bytes
    configuration: bytes


@dataclass(frozen=True, slots=True)
class Layout:
    """index_first: whether the index lies before the media, so that playing starts at once. picture: of the first
    picture track, None where there is none."""

    index_first: bool
    picture: PictureEntry | None


def layout_of(path: Path) -> Layout:
    """Read a file's boxes. Raises OSError; a file that is no MP4 has no index and no pictures."""
    order: list[bytes] = []
    index = b""
    with path.open("rb") as file:
        at, length = 0, path.stat().st_size
        while at + 8 <= length:
            file.seek(at)
            head = file.read(16)
            size, kind, start = int.from_bytes(head[:4], "big"), head[4:8], 8
            if size == 1:
                size, start = int.from_bytes(head[8:16], "big"), 16
            size = size or length - at
            if size < start:
                break
            order.append(kind)
            if kind == b"moov" and size <= _MOST_INDEX:
                file.seek(at + start)
                index = file.read(size - start)
            at += size
    first = b"moov" in order and b"mdat" in order and order.index(b"moov") < order.index(b"mdat")
    return Layout(first, _picture_entry(index))


def _picture_entry(index: bytes) -> PictureEntry | None:
    for kind, track in _boxes(index):
        found = track if kind == b"trak" else None
        for name in _TO_ENTRIES:
            found = None if found is None else _first(found, name)
        if found is None:
            continue
        for tag, entry in _boxes(found[_ENTRY_HEAD:]):
            inner = entry[_PICTURE_HEAD:]
            configuration = _first(inner, b"avcC") or _first(inner, b"hvcC")
            if configuration is not None:
                return PictureEntry(tag.decode("latin-1"), _first(inner, b"colr") or b"", configuration)
    return None


def _first(data: bytes, name: bytes) -> bytes | None:
    return next((content for kind, content in _boxes(data) if kind == name), None)


def _boxes(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 0
    while at + 8 <= len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        if size < 8:
            return
        yield data[at + 4 : at + 8], data[at + 8 : at + size]
        at += size
