"""Read SubRip files: every block is read, repaired and told of, or refused and told of.

A block begins at its timing line, with the counter on the line before it; what follows is its text, up to a
blank line that another block's head comes after. So a blank line inside a text does not lose what is below it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from assembler.captions.caption_file import CaptionFile, FileCue, Repair
from assembler.captions.decoding import decode
from assembler.captions.timings import Timing, begins_with_time, read_timing, seems_timing

_COUNTER = re.compile(r"\s*\d{1,9}\s*", re.ASCII)


def read_srt(data: bytes) -> CaptionFile:
    """The cues of a SubRip file, in the order of their starts."""
    return _SrtReader(data).read()


@dataclass(frozen=True, slots=True)
class _Head:
    """A timing line, at index `at`, and the index its block begins at. timing None: it cannot be read."""

    first: int
    at: int
    timing: Timing | None


class _SrtReader:
    def __init__(self, data: bytes) -> None:
        self.decoded = decode(data)
        # A byte order mark within a file is left from joining files; at the start of a text it is text.
        self.lines = self.decoded.lines
        self.bare = tuple(line.lstrip("\ufeff") for line in self.lines)
        self.repairs = list(self.decoded.repairs)

    def read(self) -> CaptionFile:
        heads = list(self._heads())
        self._before(heads[0].first if heads else len(self.lines), any_heads=bool(heads))
        cues: list[FileCue] = []
        for number, head in enumerate(heads):
            stop = heads[number + 1].first if number + 1 < len(heads) else len(self.lines)
            if cue := self._block(head, stop):
                cues.append(cue)
        self._order(cues)
        repairs = tuple(sorted(self.repairs, key=lambda each: each.line_number))
        found = self.decoded
        return CaptionFile("srt", tuple(cues), repairs, found.newline, found.mark, found.encoding)

    def _heads(self) -> Iterator[_Head]:
        counter, before = 0, -1  # the counter and the index of the head before
        for at, line in enumerate(self.bare):
            timing = read_timing(line, "srt")
            sure = timing is not None and timing.plain
            if not sure and not (self._fits(at, before) and (timing is not None or self._meant(at))):
                continue
            first = self._first(at, before, counter + 1)
            self._tell_head(at, first, before)
            counter = int(self.bare[first]) if first < at else counter + 1
            yield _Head(first, at, timing)
            before = at

    def _fits(self, at: int, before: int) -> bool:
        """Whether a line stands where a timing line is looked for: behind a blank line, or a counter behind one."""
        if at == 0:
            return True
        above = self.bare[at - 1]
        if at - 1 == before:
            return False
        if _COUNTER.fullmatch(above):
            return at == 1 or not self.bare[at - 2].strip()
        return not above.strip()

    def _meant(self, at: int) -> bool:
        """Whether a line that cannot be read as times was meant to be some."""
        below_counter = at > 0 and _COUNTER.fullmatch(self.bare[at - 1])
        return seems_timing(self.bare[at]) or bool(below_counter and begins_with_time(self.bare[at]))

    def _first(self, at: int, before: int, expected: int) -> int:
        """Where the block of a timing line begins: at its counter, if it has one."""
        above = at - 1
        if above > before and _COUNTER.fullmatch(self.bare[above]):
            alone = above == 0 or not self.bare[above - 1].strip()
            if alone or above - 1 == before or int(self.bare[above]) == expected:
                return above
            self._repair(above, f"'{self.lines[above].strip()}' was taken for text, as the next counter is {expected}")
            return at
        while above > before and not self.bare[above].strip():
            above -= 1
        if before < above < at - 1 and _COUNTER.fullmatch(self.bare[above]) and int(self.bare[above]) == expected:
            self._repair(above, "an empty line between counter and times was left out")
            return above
        return at

    def _tell_head(self, at: int, first: int, before: int) -> None:
        if first == at:
            self._repair(at, "the counter is missing")
        if before >= 0 and first - 1 > before and self.bare[first - 1].strip():
            self._repair(first, "the empty line before this caption is missing")

    def _before(self, stop: int, *, any_heads: bool) -> None:
        for at, line in enumerate(self.bare[:stop]):
            if line.strip():
                what = "text before the first caption was left out" if any_heads else "nothing here is a caption"
                self._refuse(at, what)
                return

    def _block(self, head: _Head, stop: int) -> FileCue | None:
        timing, at = head.timing, head.at
        if timing is None:
            self._refuse(at, "the times of this caption cannot be read; write them as 00:00:01,000 --> 00:00:02,500")
            return None
        for what in timing.repairs:
            self._repair(at, what)
        if timing.rest:
            self._repair(at, "what stands behind the times was left out")
        lines = self._text(at + 1, stop)
        if timing.fault:
            self._refuse(at, timing.fault)
            return None
        if not lines:
            self._repair(at, "the caption has no text and was left out")
            return None
        assert timing.start_ms is not None and timing.end_ms is not None
        counter = self.bare[head.first].strip() if head.first < at else ""
        return FileCue(timing.start_ms, timing.end_ms, lines, head.first + 1, counter)

    def _text(self, start: int, stop: int) -> tuple[str, ...]:
        while stop > start and not self.lines[stop - 1].strip():
            stop -= 1
        kept: list[str] = []
        for at in range(start, stop):
            line = self.lines[at]
            if not line.strip():
                where = "inside a caption" if kept else "between times and text"
                self._repair(at, f"an empty line {where} was left out")
                continue
            if seems_timing(line):
                self._repair(at, "this looks like the times of a caption and cannot be read as such; kept as text")
            kept.append(line.rstrip())
        return tuple(kept)

    def _order(self, cues: list[FileCue]) -> None:
        for number, cue in enumerate(cues[1:], 1):
            if cue.start_ms < cues[number - 1].start_ms:
                self._repair(cue.line_number - 1, "the caption starts before the one above it; they were put in order")
        cues.sort(key=lambda cue: cue.start_ms)
        for number in range(1, len(cues)):
            before, cue = cues[number - 1], cues[number]
            if before.start_ms == cue.start_ms:
                self._repair(cue.line_number - 1, f"it starts together with the caption of line {before.line_number}")
            elif cue.start_ms < before.end_ms:
                what = f"it ends after the next one starts (line {cue.line_number}); it was cut short"
                self._repair(before.line_number - 1, what)
                cues[number - 1] = replace(before, end_ms=cue.start_ms)

    def _repair(self, at: int, what: str) -> None:
        self.repairs.append(Repair(at + 1, what))

    def _refuse(self, at: int, what: str) -> None:
        self.repairs.append(Repair(at + 1, what, refused=True))


def repairs_at(file: CaptionFile, *, refused: bool) -> Iterator[Repair]:
    """The blocks that were refused, or those that were repaired."""
    return (each for each in file.repairs if each.refused == refused)
