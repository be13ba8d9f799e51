"""The narration as one row of words with their frames: what captions are bound to.

Words are numbered through the whole programme in the order their lines are said, so that a stretch of
words is two numbers, and a word keeps its meaning when lines move between segments.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from assembler.captions.cues import HeldWords, frame_after, frame_of_sample
from assembler.timeline.model import Timeline


@dataclass(frozen=True, slots=True)
class ScriptLine:
    """Narration line `number` of a segment; its words are numbered from `first` up to `stop`."""

    segment: str
    number: int
    first: int
    stop: int


@dataclass(frozen=True)
class Script:
    """words, starts, ends: (n,) written words and the programme frames they are said in (half-open)."""

    lines: tuple[ScriptLine, ...]
    words: tuple[str, ...]
    starts: tuple[int, ...]
    ends: tuple[int, ...]

    @cached_property
    def _line_at(self) -> list[int]:
        return [at for at, line in enumerate(self.lines) for _ in range(line.first, line.stop)]

    @cached_property
    def plain(self) -> tuple[str, ...]:
        """The words as they are compared."""
        return tuple(plain_words(self.words))

    @cached_property
    def stands_at(self) -> dict[str, list[int]]:
        """Where each word, as it is compared, is said."""
        found: dict[str, list[int]] = {}
        for at, word in enumerate(self.plain):
            found.setdefault(word, []).append(at)
        return found

    def line_of(self, word: int) -> ScriptLine:
        """The line a word stands in."""
        return self.lines[self._line_at[word]]

    def segment_of(self, word: int) -> str:
        """The id of the segment a word is said in."""
        return self.lines[self._line_at[word]].segment

    def held(
        self, first: int, last: int, *, shown: bool = True, breaks: tuple[int, ...] | None = None
    ) -> HeldWords:
        """Words `first` to `last`, both included, as the cue layout names them."""
        begin, end = self.line_of(first), self.line_of(last)
        return HeldWords(
            begin.segment, begin.number, first - begin.first, end.number, last - end.first, shown=shown, breaks=breaks
        )


def script_of(timeline: Timeline) -> Script:
    """The words of a timeline."""
    said = sorted(
        (line for segment in timeline.segments for line in segment.lines), key=lambda line: line.start_sample
    )
    rate = timeline.rate
    lines: list[ScriptLine] = []
    words: list[str] = []
    starts: list[int] = []
    ends: list[int] = []
    for placed in said:
        first = len(words)
        for word in placed.speech.words:
            words.append(word.text)
            starts.append(frame_of_sample(placed.start_sample + word.start_sample, rate))
            ends.append(frame_after(placed.start_sample + word.end_sample, rate))
        if len(words) > first:
            lines.append(ScriptLine(placed.segment, placed.number, first, len(words)))
    return Script(tuple(lines), tuple(words), tuple(starts), tuple(ends))


def names_of(script: Script) -> dict[tuple[str, int], int]:
    """The first word's number of each line, by segment and line number."""
    return {(line.segment, line.number): line.first for line in script.lines}


_UNSEEN = dict.fromkeys(map(ord, "\u2060\u200f\u200e\ufeff"))
_EDGES = ".,;:!?…\"'“”‘’«»()[]{}–—-"


def plain(word: str) -> str:
    """A word as it is compared: without case, edge punctuation, tags or invisible marks."""
    if word.isascii():
        bare = word.lower()
        return bare if bare.isalnum() else bare.strip(_EDGES) or bare
    bare = word.translate(_UNSEEN).casefold()
    return bare.strip(_EDGES) or bare


def plain_words(words: Iterable[str]) -> list[str]:
    """Words as they are compared."""
    return [plain(word) for word in words]
