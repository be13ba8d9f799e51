"""Bytes of a caption file as lines of text: encodings, byte order marks and line ends, as found."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass

from assembler.captions.caption_file import Repair

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_LINE_END = re.compile(r"\r\n|\r|\n")


@dataclass(frozen=True, slots=True)
class Decoded:
    """lines: without their ends. newline: the commonest end, LF where there is none."""

    lines: tuple[str, ...]
    encoding: str
    mark: bool
    newline: str
    repairs: tuple[Repair, ...]


def decode(data: bytes) -> Decoded:
    """The text of a caption file.

    A byte order mark decides; else UTF-8; else, told apart by its zero bytes, UTF-16; else Windows-1252, which
    every file can be read as, and which is reported as a guess.
    """
    repairs: list[Repair] = []
    mark = next(((sign, name) for sign, name in _MARKS if data.startswith(sign)), None)
    if mark is not None:
        encoding, body = mark[1], data[len(mark[0]) :]
    else:
        encoding, body = _guess(data), data
    try:
        text = body.decode(encoding)
    except UnicodeDecodeError:
        if mark is None and encoding == "utf-8":
            encoding = "windows-1252"
            repairs.append(Repair(_line_of(body), "this is not UTF-8; the file was read as Windows-1252"))
        else:
            repairs.append(Repair(_line_of(body), f"characters here are not {encoding}; they were replaced"))
        text = body.decode(encoding, errors="replace")
    if "\x00" in text:
        at = text.index("\x00")
        repairs.append(Repair(len(_LINE_END.findall(text, 0, at)) + 1, "zero bytes were left out"))
        text = text.replace("\x00", "")
    ends = _LINE_END.findall(text)
    newline = max(("\n", "\r\n", "\r"), key=ends.count) if ends else "\n"
    return Decoded(tuple(_LINE_END.split(text)), encoding, mark is not None, newline, tuple(repairs))


def _guess(data: bytes) -> str:
    head = data[:4096]
    if len(head) >= 4 and b"\x00" in head:
        even, odd = head[0::2].count(0), head[1::2].count(0)
        if odd > len(head) // 4 and even < odd // 4:
            return "utf-16-le"
        if even > len(head) // 4 and odd < even // 4:
            return "utf-16-be"
    return "utf-8"


def _line_of(body: bytes) -> int:
    """The line of the first byte that is not UTF-8."""
    try:
        body.decode("utf-8")
    except UnicodeDecodeError as error:
        return len(re.findall(rb"\r\n|\r|\n", body[: error.start])) + 1
    return 1
