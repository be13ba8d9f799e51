"""Read WebVTT files: every block is read, repaired and told of, or refused and told of.

Read as the WebVTT parser does where it keeps a caption, with more patience where it would drop one. Notes
are passed over; style sheets and regions, which nothing here can show, are told of. A cue's text stays as
it is written, escapes and tags included; styled.py knows what they mean.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise

from assembler.captions.caption_file import CaptionFile, FileCue, Repair
from assembler.captions.decoding import decode
from assembler.captions.timings import read_timing, seems_timing

_PERCENT = r"(?:100(?:\.0+)?|\d{1,2}(?:\.\d+)?)%"
_SETTINGS = {
    "vertical": re.compile(r"rl|lr"),
    "line": re.compile(rf"(?:-?\d+(?:\.\d+)?|{_PERCENT})(?:,(?:start|center|end))?"),
    "position": re.compile(rf"{_PERCENT}(?:,(?:line-left|center|line-right))?"),
    "size": re.compile(_PERCENT),
    "align": re.compile(r"start|center|end|left|right"),
    "region": re.compile(r"\S+"),
}
_LANGUAGE = re.compile(r"language:\s*([A-Za-z]{2,3}(?:-[A-Za-z0-9]{1,8})*)\s*", re.IGNORECASE)
_COUNTER = re.compile(r"\s*\d+\s*", re.ASCII)


def read_vtt(data: bytes) -> CaptionFile:
    """The cues of a WebVTT file, in the order of their starts. Overlaps are allowed there and stay."""
    return _VttReader(data).read()


class _VttReader:
    def __init__(self, data: bytes) -> None:
        self.decoded = decode(data)
        self.lines = self.decoded.lines
        self.repairs = list(self.decoded.repairs)
        self.cues: list[FileCue] = []
        self.language = ""
        self.names: dict[str, int] = {}
        self._loose_names: set[int] = set()

    def read(self) -> CaptionFile:
        if self.decoded.encoding != "utf-8":
            self._repair(0, "a WebVTT file must be UTF-8")
        blocks = list(self._blocks(self._header()))
        last: int | None = None  # index in `cues` of the caption a stray text belongs to
        for number, (start, stop) in enumerate(blocks):
            following = blocks[number + 1] if number + 1 < len(blocks) else None
            last = self._block(start, stop, following, last)
        self._order()
        repairs = tuple(sorted(self.repairs, key=lambda each: each.line_number))
        found = self.decoded
        return CaptionFile("vtt", tuple(self.cues), repairs, found.newline, found.mark, found.encoding, self.language)

    def _header(self) -> int:
        """The index of the first line behind the header."""
        first = self.lines[0]
        if not (first == "WEBVTT" or first.startswith(("WEBVTT ", "WEBVTT\t"))):
            at = next((at for at, line in enumerate(self.lines) if line.strip()), 0)
            if self.lines[at].strip().upper().startswith("WEBVTT"):
                self._repair(at, "the file must begin with the line WEBVTT and nothing before it")
                return at + 1
            self._repair(0, "the first line, WEBVTT, is missing")
            return 0
        at = 1
        while at < len(self.lines) and self.lines[at].strip():
            if "-->" in self.lines[at] or seems_timing(self.lines[at]):
                named = at > 1 and "-->" not in self.lines[at - 1] and ":" not in self.lines[at - 1]
                self._repair(at - named, "the empty line behind WEBVTT is missing")
                return at - named
            if found := _LANGUAGE.fullmatch(self.lines[at]):
                self.language = found[1]
            elif not re.match(r"[\w-]+:", self.lines[at]) and not (at + 1 < len(self.lines) and self._seems(at + 1)):
                self._repair(at, "text behind WEBVTT that is no heading was left out")
            at += 1
        return at

    def _blocks(self, at: int) -> Iterator[tuple[int, int]]:
        """Stretches of lines between empty ones; a timing line, with its identifier, begins one anywhere."""
        start: int | None = None
        for here in range(at, len(self.lines) + 1):
            line = self.lines[here] if here < len(self.lines) else ""
            if not line.strip():
                if start is not None:
                    yield start, here
                start = None
            elif start is None:
                start = here
            elif self._starts_again(start, here):
                named = here - 1 > start and bool(_COUNTER.fullmatch(self.lines[here - 1]))
                self._repair(here - named, "the empty line before this caption is missing")
                yield start, here - named
                start = here - named

    def _starts_again(self, start: int, here: int) -> bool:
        """Whether a timing line stands in a block that has one already."""
        if here <= start + 1 and not self._timed(start):
            return False
        note = self.lines[start].startswith("NOTE")
        return self._timed(here) and (note or any(self._timed(at) for at in (start, start + 1) if at < here))

    def _timed(self, at: int) -> bool:
        line = self.lines[at]
        timing = read_timing(line, "vtt")
        return (timing is not None and timing.plain) or "-->" in line

    def _block(self, start: int, stop: int, following: tuple[int, int] | None, last: int | None) -> int | None:
        head = self.lines[start].strip()
        times = next((at for at in (start, start + 1) if at < stop and self._seems(at)), None)
        if times is None:
            if head == "NOTE" or head.startswith(("NOTE ", "NOTE\t")):
                self._note(start, stop)
            elif re.fullmatch(r"(STYLE|REGION)(\s.*)?", head):
                where = "; behind the first caption none is allowed" if self.cues else ""
                self._repair(start, f"a {head.split()[0].lower()} block was left out{where}")
            else:
                return self._stray(start, stop, following, last)
            return None  # what an empty line parts from a note is no caption's text
        name = self.lines[start].strip() if times > start else self._name_above(start)
        return self._cue(start, times, stop, name)

    def _seems(self, at: int) -> bool:
        return "-->" in self.lines[at] or read_timing(self.lines[at], "vtt") is not None or seems_timing(self.lines[at])

    def _note(self, start: int, stop: int) -> None:
        text = " ".join(self.lines[start:stop]).strip()[4:].strip()
        if not self.cues and (found := _LANGUAGE.fullmatch(text)):
            self.language = found[1]

    def _name_above(self, start: int) -> str:
        """A counter that an empty line parts from its times."""
        above = start - 1
        while above >= 0 and not self.lines[above].strip():
            above -= 1
        return self.lines[above].strip() if above in self._loose_names else ""

    def _stray(self, start: int, stop: int, following: tuple[int, int] | None, last: int | None) -> int | None:
        """Text without times: a counter of the caption below, else the rest of the caption above."""
        counter = stop - start == 1 and _COUNTER.fullmatch(self.lines[start]) and following
        if counter and following and self._seems(following[0]):
            self._repair(start, "an empty line between identifier and times was left out")
            self._loose_names.add(start)
            return last
        if last is None:
            what = "text before the first caption was left out" if not self.cues else "this text has no times"
            self._refuse(start, what)
            return last
        self._repair(start - 1, "an empty line inside a caption was left out")
        cue = self.cues[last]
        more = tuple(line.rstrip() for line in self.lines[start:stop])
        self.cues[last] = FileCue(
            cue.start_ms, cue.end_ms, cue.lines + more, cue.line_number, cue.identifier, cue.settings
        )
        return last

    def _cue(self, start: int, at: int, stop: int, name: str) -> int | None:
        timing = read_timing(self.lines[at], "vtt")
        if timing is None:
            self._refuse(at, "the times of this caption cannot be read; write them as 00:01.000 --> 00:02.500")
            return None
        for what in timing.repairs:
            self._repair(at, what)
        if name:
            if name in self.names:
                self._repair(start, f"'{name}' names the caption of line {self.names[name]} already")
            self.names.setdefault(name, start + 1)
        settings = self._settings(at, timing.rest)
        if timing.fault:
            self._refuse(at, timing.fault)
            return None
        assert timing.start_ms is not None and timing.end_ms is not None
        lines = tuple(line.rstrip() for line in self.lines[at + 1 : stop])
        self.cues.append(FileCue(timing.start_ms, timing.end_ms, lines, start + 1, name, settings))
        return len(self.cues) - 1

    def _settings(self, at: int, text: str) -> str:
        kept: dict[str, str] = {}
        for setting in text.split():
            name, _, value = setting.partition(":")
            form = _SETTINGS.get(name)
            if form is None or not form.fullmatch(value):
                self._repair(at, f"'{setting}' is no setting of a caption and was left out")
            elif name in kept:
                self._repair(at, f"'{setting}' was left out: {name} is set already")
            else:
                kept[name] = setting
        return " ".join(kept.values())

    def _order(self) -> None:
        cues = []
        for cue in self.cues:
            if cue.lines:
                cues.append(cue)
            else:
                self._repair(cue.line_number - 1, "the caption has no text and was left out")
        for before, cue in pairwise(cues):
            if cue.start_ms < before.start_ms:
                self._repair(cue.line_number - 1, "the caption starts before the one above it; they were put in order")
        self.cues = sorted(cues, key=lambda cue: cue.start_ms)

    def _repair(self, at: int, what: str) -> None:
        self.repairs.append(Repair(at + 1, what))

    def _refuse(self, at: int, what: str) -> None:
        self.repairs.append(Repair(at + 1, what, refused=True))
