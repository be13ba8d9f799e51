"""Read SubRip files: every block is read, repaired and told of, or refused and told of.

A block begins at its timing line, with the counter on the line before it; what follows is its text, up to a
blank line that another block's head comes after. So a blank line inside a text does not lose what is below it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from assembler.captions.caption_file import CaptionFile, FileCue, Repair
from assembler.captions.decoding import decode

_TIME = r"(-?)(\d+)\s*:\s*(\d{1,3})\s*:\s*(\d{1,3})(?:\s*([,.:])\s*(\d{1,9}))?"
_TIMING = re.compile(rf"^\s*{_TIME}\s*(-{{1,3}}>|–>|—>|→)\s*{_TIME}(\s+.*)?\s*$", re.ASCII)
_ARROW = re.compile(r"\d\s*:\s*\d.*-{1,3}>|-->\s*\d|\d\s*-->")
_COUNTER = re.compile(r"^\s*\d+\s*$", re.ASCII)
_MOST_MS = 1000 * 3600 * 1000


def read_srt(data: bytes) -> CaptionFile:
    """The cues of a SubRip file, in the order of the file."""
    return _SrtReader(data).read()


class _SrtReader:
    def __init__(self, data: bytes) -> None:
        self.decoded = decode(data)
        self.lines = self.decoded.lines
        self.repairs = list(self.decoded.repairs)

    def read(self) -> CaptionFile:
        heads = [at for at, line in enumerate(self.lines) if _TIMING.match(line)]
        self._before(heads[0] if heads else len(self.lines), bool(heads))
        cues: list[FileCue] = []
        for number, at in enumerate(heads):
            stop = self._counter(heads[number + 1]) if number + 1 < len(heads) else len(self.lines)
            first = self._counter(at)
            if cue := self._block(first, at, stop):
                cues.append(cue)
        self._order(cues)
        repairs = tuple(sorted(self.repairs, key=lambda each: each.line_number))
        found = self.decoded
        return CaptionFile("srt", tuple(cues), repairs, found.newline, found.mark, found.encoding)

    def _counter(self, at: int) -> int:
        """Where the block of a timing line begins: at its counter, if it has one."""
        return at - 1 if at and _COUNTER.match(self.lines[at - 1]) else at

    def _before(self, first: int, any_heads: bool) -> None:
        stop = self._counter(first) if any_heads else first
        for at, line in enumerate(self.lines[:stop]):
            if line.strip():
                what = "text before the first caption was left out" if any_heads else "nothing here is a caption"
                self._refuse(at, what)
                return

    def _block(self, first: int, at: int, stop: int) -> FileCue | None:
        found = _TIMING.match(self.lines[at])
        assert found
        if first == at:
            self._repair(at, "the counter is missing")
        start_ms, end_ms = self._time(at, found.groups()[:6]), self._time(at, found.groups()[7:13])
        if found[7] != "-->":
            self._repair(at, f"'{found[7]}' was taken for '-->'")
        if found[14] and found[14].strip():
            self._repair(at, "what stands behind the times was left out")
        lines = self._text(at + 1, stop)
        if start_ms is None or end_ms is None:
            self._refuse(at, "a time here lies before 0 or beyond 1000 hours")
            return None
        if end_ms < start_ms:
            self._refuse(at, "the caption ends before it starts; set its end")
            return None
        if end_ms == start_ms:
            self._refuse(at, "the caption lasts no time; set its end")
            return None
        if not lines:
            self._repair(at, "the caption has no text and was left out")
            return None
        counter = self.lines[first].strip() if first < at else ""
        return FileCue(start_ms, end_ms, lines, first + 1, counter)

    def _time(self, at: int, parts: tuple[str | None, ...]) -> int | None:
        sign, hours, minutes, seconds, point, fraction = parts
        assert hours and minutes and seconds
        if int(minutes) > 59 or int(seconds) > 59:
            self._repair(at, "minutes and seconds above 59 were carried over")
        if point not in (",", None):
            self._repair(at, f"'{point}' was taken for the comma of the milliseconds")
        if fraction is None:
            self._repair(at, "a time without milliseconds was taken as a whole second")
        elif len(fraction) != 3:
            self._repair(at, f"',{fraction}' was read as a decimal fraction of a second")
        if len(hours) > 6:
            return None
        part_ms = int((fraction or "0")[:3].ljust(3, "0"))
        total = (int(hours) * 3600 + int(minutes) * 60 + int(seconds)) * 1000 + part_ms
        return None if (sign and total) or total > _MOST_MS else total

    def _text(self, start: int, stop: int) -> tuple[str, ...]:
        lines = list(self.lines[start:stop])
        while lines and not lines[-1].strip():
            lines.pop()
        while lines and not lines[0].strip():
            lines.pop(0)
            self._repair(start, "an empty line between times and text was left out")
        kept = []
        for number, line in enumerate(lines, start):
            if not line.strip():
                self._repair(number, "an empty line inside a caption was left out")
                continue
            if _ARROW.search(line):
                self._repair(number, "this looks like the times of a caption and cannot be read as such; kept as text")
            kept.append(line.rstrip())
        return tuple(kept)

    def _order(self, cues: list[FileCue]) -> None:
        for number, cue in enumerate(cues[1:], 1):
            if cue.start_ms < cues[number - 1].start_ms:
                self._repair(cue.line_number - 1, "the caption starts before the one above it; they were put in order")
        cues.sort(key=lambda cue: cue.start_ms)
        for number in range(1, len(cues)):
            before, cue = cues[number - 1], cues[number]
            if before.start_ms < cue.start_ms < before.end_ms:
                self._repair(before.line_number - 1, f"it ends after the next one starts (line {cue.line_number})")
                cues[number - 1] = replace(before, end_ms=cue.start_ms)

    def _repair(self, at: int, what: str) -> None:
        self.repairs.append(Repair(at + 1, what))

    def _refuse(self, at: int, what: str) -> None:
        self.repairs.append(Repair(at + 1, what, refused=True))


def repairs_at(file: CaptionFile, *, refused: bool) -> Iterator[Repair]:
    """The blocks that were refused, or those that were repaired."""
    return (each for each in file.repairs if each.refused == refused)
