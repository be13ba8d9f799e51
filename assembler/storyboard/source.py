"""A storyboard's bytes to text: encoding, size and forbidden characters, each refused with its place."""

from __future__ import annotations

import bisect
import re
from functools import cached_property
from typing import NoReturn

from assembler.errors import Place, Problem, StoryboardError
from assembler.storyboard.scalars import shown

# Source: YAML 1.2.2, section 5.1, c-printable. U+0085, U+2028 and U+2029 are left out on purpose: old YAML rules
# count them as line ends and editors do not, so every line number after one would be wrong.
_FORBIDDEN = re.compile("[^\t\n\r\x20-\x7e\xa0-\u2027\u202a-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_MOST_LINES = 200_000
_LINE_END = re.compile(r"\r\n|\r|\n")


class SourceText:
    """Decoded text without its byte order mark, and the way back to places in it."""

    def __init__(self, text: str, name: str) -> None:
        self.text = text
        self.name = shown(name, 4096)

    @cached_property
    def _starts(self) -> list[int]:
        return [0, *(end.end() for end in _LINE_END.finditer(self.text))]

    def place(self, line: int, column: int) -> Place:
        """A place from a line and column that count from 0."""
        return Place(self.name, line + 1, column + 1)

    def place_of(self, index: int) -> Place:
        """The place of a character by its index in the text."""
        line = bisect.bisect_right(self._starts, index) - 1
        return self.place(line, index - self._starts[line])

    def line(self, line: int) -> str:
        """A line of the text, counted from 0, without its end; empty past the last one."""
        if line >= len(self._starts):
            return ""
        following = self._starts[line + 1] if line + 1 < len(self._starts) else len(self.text)
        return self.text[self._starts[line] : following].rstrip("\r\n")


def decode(data: bytes | str, name: str, most_bytes: int) -> SourceText:
    """UTF-8 bytes (with or without a byte order mark) or text to `SourceText`.

    Raises StoryboardError with one problem: too large, not UTF-8, or a character that cannot be there.
    """
    # Characters are never more than bytes, so this is safe to ask of text as well.
    if len(data) > most_bytes:
        size = most_bytes // (1024 * 1024)
        what = f"the file is larger than {size} MiB, more than any storyboard needs"
        _stop(Place(shown(name, 4096), 1, 1), what, "check that this is the storyboard and not a video")
    text = data if isinstance(data, str) else _utf8(data, name)
    source = SourceText(text.removeprefix("\ufeff"), name)
    if source.text.count("\n") + source.text.count("\r") > _MOST_LINES:
        what = f"the file has more than {_MOST_LINES:,} lines, more than any storyboard needs"
        _stop(source.place(_MOST_LINES, 0), what, "check that this is the storyboard")
    if bad := _FORBIDDEN.search(source.text):
        place = source.place_of(bad.start())
        if bad[0] in "\x85\u2028\u2029":
            what = f"there is an unusual line end here (U+{ord(bad[0]):04X})"
            _stop(place, what, "delete it and press Enter instead; word processors leave these in pasted text")
        what = f"there is a character here that text cannot hold (U+{ord(bad[0]):04X})"
        _stop(place, what, "delete it; it is invisible in most editors")
    return source


def _utf8(data: bytes, name: str) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        what = "the file is saved as UTF-16"
        _stop(Place(shown(name, 4096), 1, 1), what, "save it again as UTF-8 in your editor")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        before = SourceText(data[: error.start].decode("utf-8").removeprefix("\ufeff"), name)
        what = f"the file is not UTF-8 text: the byte {data[error.start]:#04x} here belongs to another encoding"
        _stop(before.place_of(len(before.text)), what, "save it again as UTF-8 in your editor")


def _stop(place: Place, what: str, mend: str) -> NoReturn:
    raise StoryboardError([Problem(place, what, mend)])
