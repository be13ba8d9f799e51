"""Whether a file is as long as its own structure says.

A reader of Matroska stops quietly at the end of the file, however early that comes; only the sizes
written in the file tell a short copy from a short recording.
Source: ISO/IEC 14496-12 section 4.2 (boxes), RFC 8794 sections 4 to 6 (EBML), RFC 9559 (element ids);
for WAVE its published description of 1991, from memory.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import BinaryIO

_EBML, _SEGMENT, _CLUSTER = 0x1A45DFA3, 0x18538067, 0x1F43B675


def cut_off(path: Path) -> str:
    """In words, what is missing from an MP4, QuickTime, Matroska or WAVE file; empty when nothing is, or
    when the file is of another kind."""
    try:
        with path.open("rb") as file:
            start = file.read(12)
            length = file.seek(0, os.SEEK_END)
            if start[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"):
                return _boxes(file, length)
            if start[:4] == _EBML.to_bytes(4, "big"):
                return _elements(file, length)
            if start[:4] == b"RIFF" and start[8:] == b"WAVE":
                return _chunks(file, length)
    except OSError:
        return ""
    return ""


def _boxes(file: BinaryIO, length: int) -> str:
    at, seen = 0, set()
    while at + 8 <= length:
        file.seek(at)
        head = file.read(16)
        size, kind = int.from_bytes(head[:4], "big"), head[4:8]
        if size == 1:
            size = int.from_bytes(head[8:16], "big")
        elif size == 0:
            size = length - at
        seen.add(kind)
        if at + size > length:
            lacking = f"{at + size - length} bytes are missing"
            return lacking if b"moov" in seen - {kind} else f"{lacking}, the index among them"
        if size < 8:
            return ""
        at += size
    return "" if b"moov" in seen else "it has no index; the recording was not ended properly"


def _chunks(file: BinaryIO, length: int) -> str:
    """Of WAVE, only the samples count: what follows them is text about them."""
    at = 12
    while at + 8 <= length:
        file.seek(at)
        head = file.read(8)
        size = int.from_bytes(head[4:], "little")
        at += 8 + size + size % 2
        if head[:4] == b"data":
            unknown = size in (0, 0xFFFFFFFF)  # written to a pipe: they end where the file does
            lacking = at - size % 2 - length
            return "" if unknown or lacking <= 0 else f"{lacking} bytes are missing"
    return "it ends before its sound begins"


def _elements(file: BinaryIO, length: int) -> str:
    at = 0
    while at < length:
        element = _element(file, at)
        if element is None:
            return "it ends inside an element"
        kind, size, content = element
        if kind == _SEGMENT and size is None:
            return _open_segment(file, content, length)
        if size is None:
            return ""
        at = content + size
    return f"{at - length} bytes are missing" if at > length else ""


def _open_segment(file: BinaryIO, at: int, length: int) -> str:
    """A segment of unknown size (a live recording): its parts must still end where the file does."""
    while at < length:
        element = _element(file, at)
        if element is None:
            return "it ends inside an element"
        kind, size, content = element
        if size is None and kind != _CLUSTER:
            return ""
        at = content if size is None else content + size  # step into a cluster of unknown size
    return "it ends inside a block" if at > length else ""


def _element(file: BinaryIO, at: int) -> tuple[int, int | None, int] | None:
    """(id, size or None if unknown, where the content starts), or None if the head itself is cut."""
    file.seek(at)
    head = file.read(12)
    if not head or head[0] == 0:
        return None
    id_length = 9 - head[0].bit_length()
    if id_length > 4 or len(head) <= id_length or head[id_length] == 0:
        return None
    size_length = 9 - head[id_length].bit_length()
    if len(head) < id_length + size_length:
        return None
    raw = int.from_bytes(head[id_length : id_length + size_length], "big")
    marker = 1 << (7 * size_length)
    size = None if raw == 2 * marker - 1 else raw - marker
    return int.from_bytes(head[:id_length], "big"), size, at + id_length + size_length
