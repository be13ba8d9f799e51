"""Which word of the narration became which: the differences between an old script and a new one.

Whole lines first (the same line of the same segment, then anywhere in the segment, then anywhere in the
programme), then word by word what is left of a segment, then what is left of a line among all others.
Positions decide nothing: a line that moved is found where it went.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from difflib import SequenceMatcher

from assembler.captions.script import Script, ScriptLine

_ALIKE = 0.5
"""Share of words two lines of different segments have in common when one is taken for the other reworded."""
_LEAST_BLOCK = 4
_CANDIDATES = 5
_TELLING = 4
"""A single word in common counts when it has this many letters; 'the' stands everywhere."""


def match_words(old: Script, new: Script) -> list[int | None]:
    """For each old word the number of the new one it became, or None where it is gone."""
    return _Matcher(old, new).match()


class _Matcher:
    def __init__(self, old: Script, new: Script) -> None:
        self.old, self.new = old, new
        self.a, self.b = old.plain, new.plain
        self.became: list[int | None] = [None] * len(self.a)
        self.taken = [False] * len(self.b)

    def match(self) -> list[int | None]:
        self._whole_lines()
        self._within_segments()
        self._anywhere()
        return self.became

    def _whole_lines(self) -> None:
        old, new = list(self.old.lines), list(self.new.lines)
        keys: tuple[Callable[[ScriptLine, tuple[str, ...]], object], ...] = (
            lambda line, words: (line.segment, line.number, words),
            lambda line, words: (line.segment, words),
            lambda _, words: words,
        )
        for key in keys:
            waiting: dict[object, list[ScriptLine]] = defaultdict(list)
            for line in reversed(new):
                waiting[key(line, self.b[line.first : line.stop])].append(line)
            left = []
            for line in old:
                found = waiting.get(key(line, self.a[line.first : line.stop]))
                if found:
                    other = found.pop()
                    self._tie(range(line.first, line.stop), range(other.first, other.stop))
                else:
                    left.append(line)
            old = left
            new = [line for line in new if not self.taken[line.first]]

    def _within_segments(self) -> None:
        old, new = self._left_by_segment(self.old, self.became), self._left_by_segment(self.new, None)
        for segment, words in old.items():
            if others := new.get(segment):
                self._tie_blocks(words, others, least=1)

    def _left_by_segment(self, script: Script, became: Sequence[int | None] | None) -> dict[str, list[int]]:
        left: dict[str, list[int]] = defaultdict(list)
        for line in script.lines:
            left[line.segment] += self._left(line, became)
        return left

    def _left(self, line: ScriptLine, became: Sequence[int | None] | None) -> list[int]:
        if became is None:
            return [word for word in range(line.first, line.stop) if not self.taken[word]]
        return [word for word in range(line.first, line.stop) if became[word] is None]

    def _anywhere(self) -> None:
        stands: dict[str, set[int]] = defaultdict(set)
        for number, line in enumerate(self.new.lines):
            for word in self._left(line, None):
                stands[self.b[word]].add(number)
        often = {word for word, lines in stands.items() if len(lines) > 50}
        for line in self.old.lines:
            words = self._left(line, self.became)
            if len(words) < _LEAST_BLOCK:
                continue
            shared: Counter[int] = Counter()
            for said in {self.a[word] for word in words} - often:
                shared.update(stands.get(said, ()))
            for number, count in shared.most_common(_CANDIDATES):
                others = self._left(self.new.lines[number], None)
                if len(others) >= _LEAST_BLOCK and count >= _LEAST_BLOCK:
                    self._tie_blocks(words, others, least=_LEAST_BLOCK, alike=_ALIKE)
                    words = self._left(line, self.became)
                    if not words:
                        break

    def _tie_blocks(self, old: Sequence[int], new: Sequence[int], least: int, alike: float | None = None) -> None:
        """Tie the words two stretches have in common in the same order, where `least` of them stand together; any of
        them where they are at least the share `alike` of both."""
        first, second = [self.a[word] for word in old], [self.b[word] for word in new]
        blocks = SequenceMatcher(None, first, second, autojunk=False).get_matching_blocks()
        if alike is not None and sum(block.size for block in blocks) >= alike * max(len(first), len(second)):
            least = 1
        for at, other, size in blocks:
            telling = size > 1 or (size == 1 and (len(first[at]) >= _TELLING or first[at].isdigit()))
            if size >= least and (telling or len(first) == len(second) == size):
                self._tie(old[at : at + size], new[other : other + size])

    def _tie(self, old: Iterable[int], new: Iterable[int]) -> None:
        for word, other in zip(old, new, strict=True):
            self.became[word] = other
            self.taken[other] = True
