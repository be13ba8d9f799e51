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
_ESCAPED = re.compile("[\udc80-\udcff]+")
"""Bytes that are not UTF-8, as they are held for a moment."""
_LINE_END = re.compile(r"\r\n|\r|\n")
_MOST_TOLD = 20
"""Lines with characters of another encoding that are told of one by one."""


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

    A byte order mark decides; else UTF-16 where the signs of a caption file stand in it so; else UTF-8; else
    Windows-1252, which every file can be read as, and which is told of as a guess. In a file that is UTF-8
    but for single bytes, those alone are read as Windows-1252.
    """
    repairs: list[Repair] = []
    mark = next(((sign, name) for sign, name in _MARKS if data.startswith(sign)), None)
    encoding, body = (mark[1], data[len(mark[0]) :]) if mark else (_wide(data) or "utf-8", data)
    if mark is None and encoding != "utf-8":
        repairs.append(Repair(1, f"the file has no byte order mark; it was read as {encoding.upper()}"))
    text, faults = _patiently(body, encoding)
    if faults and mark is None and encoding == "utf-8" and not _has_utf8(body):
        encoding = "windows-1252"
        repairs.append(Repair(faults[0], "this is not UTF-8; the file was read as Windows-1252"))
    elif faults:
        instead = "as Windows-1252" if encoding == "utf-8" else "as U+FFFD"
        what = f"characters here are not {encoding.upper()}; they were read {instead}"
        repairs.extend(Repair(line, what) for line in faults[:_MOST_TOLD])
    if "\x00" in text:
        repairs.append(Repair(_line_of(text, text.index("\x00")), "zero bytes were left out"))
        text = text.replace("\x00", "")
    ends = _LINE_END.findall(text)
    newline = max(("\n", "\r\n", "\r"), key=ends.count) if ends else "\n"
    return Decoded(tuple(_LINE_END.split(text)), encoding, mark is not None, newline, tuple(repairs))


def _wide(data: bytes) -> str | None:
    """UTF-16 without a mark: the arrow between times stands in it so, on even places."""
    for encoding in ("utf-16-le", "utf-16-be"):
        sign = "-->".encode(encoding)
        at = data.find(sign)
        while at >= 0 and at % 2:
            at = data.find(sign, at + 1)
        if at >= 0:
            return encoding
    return None


def _has_utf8(body: bytes) -> bool:
    """Whether letters beyond ASCII stand in it as UTF-8."""
    return any(ord(char) > 127 for char in body.decode("utf-8", errors="ignore"))


def _patiently(body: bytes, encoding: str) -> tuple[str, list[int]]:
    """The text, and the lines where something could not be read and was replaced."""
    try:
        return body.decode(encoding), []
    except UnicodeDecodeError:
        pass
    if encoding != "utf-8":
        text = body.decode(encoding, errors="replace")
        return text, [number for number, line in enumerate(_LINE_END.split(text), 1) if "\ufffd" in line]
    text = body.decode("utf-8", errors="surrogateescape")
    spoilt = [number for number, line in enumerate(_LINE_END.split(text), 1) if _ESCAPED.search(line)]
    return _ESCAPED.sub(_of_windows, text), spoilt


def _of_windows(found: re.Match[str]) -> str:
    return found[0].encode("utf-8", errors="surrogateescape").decode("windows-1252", errors="replace")


def _line_of(text: str, at: int) -> int:
    return len(_LINE_END.findall(text, 0, at)) + 1
