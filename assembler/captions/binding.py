"""What a person did to a caption file: which words each of its cues stands on, and what was set by hand.

Cues that stand as they were written are known by their text. Between them only the few that a person
touched are left, and these are bound by the words they hold, or by the time they are shown.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher

from assembler.captions.caption_file import FileCue
from assembler.captions.files import millisecond
from assembler.captions.record import Record, RecordedCue
from assembler.captions.script import plain
from assembler.captions.styled import styled_srt, text_of


@dataclass(frozen=True, slots=True)
class Bound:
    """A cue of the file with what it stands on in the record's script.

    first_word, last_word: both included, or None when it stands on no words. recorded: the record's cue
    that it is, unless a person divided or joined cues. in_ms, out_ms: as in RecordedCue.
    """

    cue: FileCue
    first_word: int | None = None
    last_word: int | None = None
    recorded: RecordedCue | None = None
    in_ms: int | None = None
    out_ms: int | None = None

    @property
    def text_by_hand(self) -> bool:
        """Whether the text, or where its lines break, is a person's."""
        return self.recorded is None or self.cue.lines != self.recorded.auto

    @property
    def by_hand(self) -> bool:
        """Whether a person changed anything of it."""
        return self.text_by_hand or self.in_ms is not None or self.out_ms is not None


def shown_words(lines: Iterable[str]) -> list[str]:
    """The words of a SubRip caption's lines as a viewer sees them, markup left out."""
    return [word for line in styled_srt(lines) for word in text_of(line).split()]


def bind(
    record: Record, cues: Sequence[FileCue], *, trust_times: bool = True
) -> tuple[list[Bound], list[tuple[int, int]]]:
    """Every cue of the file, in order, and the stretches of words that a person left without a cue.

    trust_times: False where the file's times have nothing to do with the record's programme; then only
    the words count, and no time is taken for a person's.
    """
    bound, dropped = _Binder(record, cues, trust_times).bind()
    if not trust_times:
        bound = [replace(each, in_ms=None, out_ms=None) for each in bound]
    return bound, dropped


class _Binder:
    def __init__(self, record: Record, cues: Sequence[FileCue], trust_times: bool) -> None:
        self.record, self.cues, self.trust_times = record, cues, trust_times
        self.script, self.rate = record.script, record.rate
        self.words_ms = [millisecond(frame, record.rate) for frame in record.script.starts]
        self.dropped = list(record.dropped)

    def bind(self) -> tuple[list[Bound], list[tuple[int, int]]]:
        bound: list[Bound] = []
        old, new = 0, 0
        pairs = [*self._unchanged(), (len(self.record.cues), len(self.cues))]
        for at, other in pairs:
            bound += self._gap(range(old, at), range(new, other))
            if at < len(self.record.cues):
                bound.append(self._same(self.record.cues[at], self.cues[other]))
            old, new = at + 1, other + 1
        return bound, sorted(self.dropped)

    def _unchanged(self) -> Iterator[tuple[int, int]]:
        """Pairs of cues with the same text in the same order: first those whose times are the same, too."""
        was = {(cue.start_ms, cue.end_ms, cue.lines): at for at, cue in enumerate(self.record.cues)}
        a, b = [cue.lines for cue in self.record.cues], [cue.lines for cue in self.cues]
        old = new = 0
        for other, cue in enumerate(self.cues):
            at = was.get((cue.start_ms, cue.end_ms, cue.lines), -1)
            if at >= old:
                yield from _equal(a, b, range(old, at), range(new, other))
                yield at, other
                old, new = at + 1, other + 1
        yield from _equal(a, b, range(old, len(a)), range(new, len(b)))

    def _same(self, was: RecordedCue, cue: FileCue) -> Bound:
        """A cue that stands on what it stood on before."""
        if was.first_word is None or was.last_word is None:
            stands = (cue.start_ms, cue.end_ms) == (was.start_ms, was.end_ms)
            return Bound(cue, None, None, was, was.in_ms if stands else None, was.out_ms if stands else None)
        in_ms = was.in_ms if cue.start_ms == was.start_ms else self._lead(cue, was.first_word)
        out_ms = was.out_ms if cue.end_ms == was.end_ms else self._tail(cue, was.last_word)
        return Bound(cue, was.first_word, was.last_word, was, in_ms, out_ms)

    def _lead(self, cue: FileCue, word: int) -> int:
        return cue.start_ms - self.words_ms[word]

    def _tail(self, cue: FileCue, word: int) -> int:
        return cue.end_ms - millisecond(self.script.ends[word], self.rate)

    def _gap(self, old: range, new: range) -> list[Bound]:
        """Cues that a person touched, between two that nobody did."""
        if not old and not new:
            return []
        was = [self.record.cues[at] for at in old]
        cues = [self.cues[at] for at in new]
        words = [word for each in was for word in _span(each)]
        words += [word for first, last in self.dropped for word in range(first, last + 1) if self._near(word, cues)]
        words.sort()
        claims = self._by_words(words, cues)
        if self.trust_times:
            self._drop_strays(was, cues, claims)
            self._by_time(words, cues, claims)
        claims = [self._one_segment(claim) for claim in claims]
        self._rest(words, was, claims)
        return [self._touched(cue, claim, was) for cue, claim in zip(cues, claims, strict=True)]

    def _near(self, word: int, cues: Sequence[FileCue]) -> bool:
        """Whether words without a cue lie where a person may have written one for them."""
        return any(cue.start_ms - 500 <= self.words_ms[word] < cue.end_ms + 500 for cue in cues)

    def _by_words(self, words: Sequence[int], cues: Sequence[FileCue]) -> list[list[int]]:
        said = [self.script.plain[word] for word in words]
        seen = [(plain(word), at) for at, cue in enumerate(cues) for word in shown_words(cue.lines)]
        claims: list[list[int]] = [[] for _ in cues]
        blocks = SequenceMatcher(None, said, [word for word, _ in seen], autojunk=False).get_matching_blocks()
        for at, other, size in blocks:
            for step in range(size):
                claims[seen[other + step][1]].append(words[at + step])
        return claims

    def _drop_strays(self, was: Sequence[RecordedCue], cues: Sequence[FileCue], claims: list[list[int]]) -> None:
        """A word or two of a cue that a person took out are not those of its neighbour, though they read alike: that
        neighbour holds words of its own, and does not show when they are said."""
        for gone in was:
            mine = set(_span(gone))
            for at, claim in enumerate(claims):
                own = [word for word in claim if word not in mine]
                apart = cues[at].start_ms >= gone.end_ms or cues[at].end_ms <= gone.start_ms
                if own and apart and 2 * (len(claim) - len(own)) < len(mine):
                    claims[at] = own

    def _by_time(self, words: Sequence[int], cues: Sequence[FileCue], claims: list[list[int]]) -> None:
        """Cues that hold none of the words stand on those said while they show, if no other cue does."""
        taken = {word for claim in claims for word in claim}
        low = -1
        for at, cue in enumerate(cues):
            if not claims[at]:
                high = next((min(claim) for claim in claims[at + 1 :] if claim), 1 << 62)
                here = [
                    word
                    for word in words
                    if low < word < high and word not in taken and cue.start_ms <= self._middle_ms(word) < cue.end_ms
                ]
                # A description that stands beside the words, not for them, shows for less than half of them.
                if here and 2 * len(here) >= len(shown_words(cue.lines)):
                    claims[at] = here
                    taken.update(here)
            if claims[at]:
                low = max(claims[at])

    def _middle_ms(self, word: int) -> float:
        return (self.words_ms[word] + millisecond(self.script.ends[word], self.rate)) / 2

    def _one_segment(self, claim: list[int]) -> list[int]:
        if not claim:
            return claim
        ids = [self.script.segment_of(word) for word in claim]
        most = max(set(ids), key=lambda name: (ids.count(name), -ids.index(name)))
        return [word for word, name in zip(claim, ids, strict=True) if name == most]

    def _rest(self, words: Sequence[int], was: Sequence[RecordedCue], claims: list[list[int]]) -> None:
        """Words no cue claims: part of a corrected cue when that kept others of theirs, else left out by hand."""
        taken = {word: at for at, claim in enumerate(claims) if claim for word in range(min(claim), max(claim) + 1)}
        dropped = {word for first, last in self.dropped for word in range(first, last + 1)}
        free: list[int] = []
        for each in was:
            mine = list(_span(each))
            holders = [taken[word] for word in mine if word in taken]
            for word in mine:
                if word in taken:
                    continue
                if not holders:
                    free.append(word)
                    continue
                before = next((taken[other] for other in reversed(mine) if other < word and other in taken), None)
                claims[before if before is not None else holders[0]].append(word)
        kept = {word for claim in claims if claim for word in range(min(claim), max(claim) + 1)}
        self.dropped = list(_stretches(sorted((dropped | set(free)) - kept), self.script.segment_of))

    def _touched(self, cue: FileCue, claim: list[int], was: Sequence[RecordedCue]) -> Bound:
        if not claim:
            return Bound(cue)
        first, last = min(claim), max(claim)
        same = next((each for each in was if (each.first_word, each.last_word) == (first, last)), None)
        if same is not None:
            return self._same(same, cue)
        starts = next((each for each in was if each.first_word == first), None)
        in_ms = starts.in_ms if starts and starts.start_ms == cue.start_ms else self._lead(cue, first)
        # How long a cue lingers follows from all its words, and these are a person's choice here: so is its end.
        return Bound(cue, first, last, None, in_ms, self._tail(cue, last))


def _equal(a: Sequence[object], b: Sequence[object], old: range, new: range) -> Iterator[tuple[int, int]]:
    """Pairs of equal things between two stretches, in order."""
    if not old or not new:
        return
    blocks = SequenceMatcher(None, a[old.start : old.stop], b[new.start : new.stop], autojunk=False)
    for at, other, size in blocks.get_matching_blocks():
        for step in range(size):
            yield old.start + at + step, new.start + other + step


def _span(cue: RecordedCue) -> range:
    if cue.first_word is None or cue.last_word is None:
        return range(0)
    return range(cue.first_word, cue.last_word + 1)


def _stretches(words: Sequence[int], segment_of: Callable[[int], str]) -> Iterator[tuple[int, int]]:
    """Rising word numbers as stretches without a hole, none over a segment's end."""
    start = before = None
    for word in words:
        if start is None or before is None or word != before + 1 or segment_of(word) != segment_of(before):
            if start is not None and before is not None:
                yield start, before
            start = word
        before = word
    if start is not None and before is not None:
        yield start, before
