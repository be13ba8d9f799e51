"""The narration as one row of words with their frames: what captions are bound to.

Words are numbered through the whole programme in the order their lines are said, so that a stretch of
words is two numbers, and a word keeps its meaning when lines move between segments.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field

from assembler.captions.cues import HeldWords, frame_after, frame_of_sample
from assembler.timeline.model import Timeline


@dataclass(frozen=True, slots=True)
class ScriptLine:
    """Narration line `number` of a segment; its words are numbered from `first` up to `stop`."""

    segment: str
    number: int
    first: int
    stop: int


@dataclass(frozen=True, slots=True)
class Script:
    """words, starts, ends: (n,) written words and the programme frames they are said in (half-open)."""

    lines: tuple[ScriptLine, ...]
    words: tuple[str, ...]
    starts: tuple[int, ...]
    ends: tuple[int, ...]
    _firsts: tuple[int, ...] = field(default=(), repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_firsts", tuple(line.first for line in self.lines))

    def line_of(self, word: int) -> ScriptLine:
        """The line a word stands in."""
        return self.lines[bisect_right(self._firsts, word) - 1]

    def segment_of(self, word: int) -> str:
        """The id of the segment a word is said in."""
        return self.line_of(word).segment

    def held(self, first: int, last: int, *, shown: bool = True) -> HeldWords:
        """Words `first` to `last`, both included, as the cue layout names them."""
        begin, end = self.line_of(first), self.line_of(last)
        return HeldWords(
            begin.segment, begin.number, first - begin.first, end.number, last - end.first, shown=shown
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


def plain(word: str) -> str:
    """A word as it is compared: without case, edge punctuation, tags or invisible marks."""
    bare = "".join(char for char in word if char not in "\u2060\u200f\u200e\ufeff").casefold()
    core = bare.strip(".,;:!?…\"'“”‘’«»()[]{}–—-")
    return core or bare


def plain_words(words: Iterable[str]) -> list[str]:
    """Words as they are compared."""
    return [plain(word) for word in words]
