"""Which words of the new narration the cues of an old file stand on now, and which stand on none."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import groupby, pairwise, takewhile

from assembler.captions.binding import Bound
from assembler.captions.moments import moment_of
from assembler.captions.record import Aside, Record
from assembler.captions.rewording import match_words
from assembler.captions.script import Script, plain_words

_ENOUGH = Fraction(1, 2)
"""Share of a corrected cue's words that must still be said for the cue to stand."""

_TELLING = 4
"""Words it takes to know a cue that was set aside again by nothing else."""
_AROUND = 4
"""Words before and after a cue that was set aside that it is known by, too."""


@dataclass(slots=True)
class Standing:
    """Words of the new script, first to last, that are one cue; with the old cue they carry on."""

    first: int
    last: int
    bound: Bound | None = None
    aside: Aside | None = None

    @property
    def span(self) -> range:
        return range(self.first, self.last + 1)


class Standings:
    """What became of every cue of an old file.

    standing: cues that stand on new words. aside: those that stand on nothing now, and why. freed: cues nobody
    corrected whose words are to be laid anew. moments: cues without words, still to be placed. hidden: words that
    a person left without a cue. kept_aside: what was set aside before and stays so; restored: how many came back.
    """

    def __init__(
        self,
        record: Record,
        script: Script,
        bound: Sequence[Bound],
        dropped: Sequence[tuple[int, int]],
        *,
        same_limits: bool,
        careful: bool = False,
    ) -> None:
        """careful: a cue that was set aside comes back only where all around it is said again, too."""
        self.record, self.script, self.bound, self._drops = record, script, bound, dropped
        self.became = match_words(record.script, script)
        self.same_limits = same_limits
        self.taken = [False] * len(script.words)
        self.standing: list[Standing] = []
        self.aside: list[tuple[Bound, str]] = []
        self.freed: list[Bound] = []
        self.moments: list[Bound] = []
        self.kept_aside: list[Aside] = []
        self.restored = 0
        partly = self._whole_cues()
        self.hidden = self._dropped()
        for each, have in partly:
            self._part_of_cue(each, have)
        self._bring_back(careful)

    def _whole_cues(self) -> list[tuple[Bound, list[int]]]:
        """Let cues stand whose words are all there; returns corrected ones of which only some are."""
        partly = []
        for each in self.bound:
            if each.first_word is None or each.last_word is None:
                self.moments.append(each)
                continue
            new = [self.became[word] for word in range(each.first_word, each.last_word + 1)]
            have = [word for word in new if word is not None]
            if not have:
                self.aside.append((each, "its words are no longer said"))
            elif len(have) == len(new) and self._together(have):
                if each.by_hand or (self.same_limits and not self._in_touched(each)):
                    self._stand(Standing(have[0], have[-1], each))
                else:
                    self.freed.append(each)
            elif each.by_hand:
                partly.append((each, have))
            else:
                self.freed.append(each)
        return partly

    def _in_touched(self, each: Bound) -> bool:
        assert each.first_word is not None and each.last_word is not None
        first, last = self.record.script.line_of(each.first_word), self.record.script.line_of(each.last_word)
        return first.first in self._touched or last.first in self._touched

    @cached_property
    def _touched(self) -> set[int]:
        """Old lines, by their first word, that were reworded or share a cue with one that was: there the cues
        that nobody corrected are laid anew, so that a line reads as well as if it had been written so."""
        old, new = self.record.script, self.script
        lost = [word for word, other in enumerate(self.became) if other is None]
        touched = {old.line_of(word).first for word in lost}
        for line in new.lines:
            words = range(line.first, line.stop)
            if any(word not in self._came for word in words):
                touched |= {old.line_of(self._came[word]).first for word in words if word in self._came}
        shared = [
            (old.line_of(each.first_word).first, old.line_of(each.last_word).first)
            for each in self.bound
            if each.first_word is not None and each.last_word is not None and not each.by_hand
        ]
        shared = [pair for pair in shared if pair[0] != pair[1]]
        growing = True
        while growing:
            more = {line for pair in shared if touched & set(pair) for line in pair}
            growing = not more <= touched
            touched |= more
        return touched

    @cached_property
    def _came(self) -> dict[int, int]:
        """For each new word that was there before, which old one it is."""
        return {new: old for old, new in enumerate(self.became) if new is not None}

    def _together(self, words: Sequence[int]) -> bool:
        one_run = words[-1] - words[0] == len(words) - 1 and all(a < b for a, b in pairwise(words))
        return one_run and self.script.segment_of(words[0]) == self.script.segment_of(words[-1])

    def _stand(self, one: Standing) -> None:
        self.standing.append(one)
        for word in one.span:
            self.taken[word] = True

    def _free(self, one: Standing, loose: dict[int, Standing]) -> None:
        """Take away a cue that nobody touched; its words get cues anew."""
        self.standing.remove(one)
        assert one.bound is not None
        self.freed.append(one.bound)
        for word in one.span:
            self.taken[word] = False
            del loose[word]

    def _part_of_cue(self, each: Bound, have: Sequence[int]) -> None:
        """A corrected cue whose words were reworded, or are no longer together."""
        assert each.first_word is not None and each.last_word is not None
        count = each.last_word - each.first_word + 1
        ids = [self.script.segment_of(word) for word in have]
        most = max(set(ids), key=lambda name: (ids.count(name), -ids.index(name)))
        here = sorted({word for word, name in zip(have, ids, strict=True) if name == most})
        runs = [[here[0]]]
        for word in here[1:]:
            # A stretch of new words may stand in the middle, as long as the old ones are not strewn about.
            if word - runs[-1][-1] <= 1 + max(3, count // 2) and not any(self.taken[runs[-1][-1] + 1 : word + 1]):
                runs[-1].append(word)
            else:
                runs.append([word])
        best = max(runs, key=len)
        if any(self.taken[best[0] : best[-1] + 1]) or len(best) < _ENOUGH * count:
            self.aside.append((each, f"{len(have)} of its {count} words are still said"))
            return
        first, last = best[0], best[-1]
        # What now stands where the cue's outer words stood is its own, too.
        spare = 2 * (count - len(have)) + 1
        if self.became[each.first_word] is None:
            first = self._reach(first, -1, spare)
        if self.became[each.last_word] is None:
            last = self._reach(last, 1, spare)
        self._stand(Standing(first, last, each))

    def _reach(self, word: int, step: int, most: int) -> int:
        """The furthest of at most `most` words beside this one, in its line, that are new and free."""
        line = self.script.line_of(word)
        for _ in range(most):
            beside = word + step
            if not line.first <= beside < line.stop or self.taken[beside] or beside in self._came:
                break
            word = beside
        return word

    def _dropped(self) -> list[tuple[int, int]]:
        """The stretches that a person left without a cue, where they still stand; those that are gone are kept."""
        hidden: list[tuple[int, int]] = []
        script = self.record.script
        for first, last in self._drops:
            for gone, run in groupby(range(first, last + 1), lambda word: self.became[word] is None):
                words = list(run)
                if gone:
                    before, after = around(script, words[0], words[-1])
                    said, segment = script.words[words[0] : words[-1] + 1], script.segment_of(words[0])
                    self.kept_aside.append(Aside(0, 0, (), said, segment, True, before=before, after=after))
                    continue
                for stretch in self._runs([word for each in words if (word := self.became[each]) is not None]):
                    self._hide(stretch, hidden)
        return hidden

    def _runs(self, words: Sequence[int]) -> Iterator[tuple[int, int]]:
        """Stretches of words that stand together."""
        start = before = words[0]
        for word in words[1:]:
            if word != before + 1 or self.script.segment_of(word) != self.script.segment_of(before):
                yield start, before
                start = word
            before = word
        yield start, before

    def _hide(self, stretch: tuple[int, int], hidden: list[tuple[int, int]]) -> None:
        first, last = stretch
        if any(self.taken[word] for word in range(first, last + 1)):
            return
        line = self.script.line_of(first)
        if hidden and line.first <= hidden[-1][1] < first <= hidden[-1][1] + 4:
            # What was reworded inside words without a cue has none, either.
            between = range(hidden[-1][1] + 1, first)
            if not any(self.taken[word] or word in self._came for word in between):
                first = hidden.pop()[0]
        hidden.append((first, last))
        for word in range(first, last + 1):
            self.taken[word] = True

    def _bring_back(self, careful: bool) -> None:
        """Cues set aside before whose words are said again."""
        gone = [(each, why) for each, why in self.aside if each.by_hand and each.first_word is not None]
        if not self.record.aside and not gone:
            return
        said = self.script.plain
        starts = self.script.stands_at
        loose = {word: one for one in self.standing if one.bound and not one.bound.by_hand for word in one.span}

        def stand_again(entry: Aside, bound: Bound | None) -> bool:
            words = tuple(plain_words(entry.words))
            where = []
            for at in starts.get(words[0], ()) if words else ():
                whole = range(at, at + len(words))
                if said[at : at + len(words)] != words or not self._together(whole):
                    continue
                # Cues that nobody touched make room for a correction.
                if any(self.taken[word] and word not in loose for word in whole):
                    continue
                alike = self._alike_around(entry, whole)
                # A few words stand in many places; they are known by what is said around them. Words that were
                # there before had a cue of their own, so no piece of a line is taken for a piece of another.
                context = len(entry.before) + len(entry.after)
                sure = careful or (any(word in self._came for word in whole) and not self._whole_lines(whole))
                if alike >= context if sure else len(words) >= _TELLING or 2 * alike >= context:
                    where.append((-alike, self.script.segment_of(at) != entry.segment, at))
            if not where:
                return False
            first = min(where)[2]
            span = (first, first + len(words) - 1)
            if not entry.lines:
                if any(self.taken[word] for word in range(span[0], span[1] + 1)):
                    return False
                self.hidden.append(span)
                for word in range(span[0], span[1] + 1):
                    self.taken[word] = True
                return True
            if entry.by_hand:
                for one in {id(one): one for word in range(span[0], span[1] + 1) if (one := loose.get(word))}.values():
                    self._free(one, loose)
                self._stand(Standing(*span, bound, entry))
            return True

        for each in self.record.aside:
            if stand_again(each, None):
                self.restored += bool(each.lines)
            else:
                self.kept_aside.append(each)
        for bound, why in gone:
            if stand_again(aside_entry(self.record, bound), bound):
                self.aside.remove((bound, why))

    def _whole_lines(self, words: range) -> bool:
        """Whether words are a line from its beginning to its end, or several."""
        first, last = self.script.line_of(words.start), self.script.line_of(words.stop - 1)
        return (words.start, words.stop) == (first.first, last.stop)

    def _alike_around(self, entry: Aside, words: range) -> int:
        """How many of the words around a cue that was set aside are said around these, from it outwards."""
        before, after = around(self.script, words.start, words.stop - 1)
        left = zip(reversed(plain_words(before)), reversed(plain_words(entry.before)), strict=False)
        right = zip(plain_words(after), plain_words(entry.after), strict=False)
        return sum(sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], pairs)) for pairs in (left, right))


def around(script: Script, first: int, last: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The words of the same segment just before and just after a stretch."""
    segment = script.segment_of(first)
    before = [word for word in range(max(0, first - _AROUND), first) if script.segment_of(word) == segment]
    stop = min(len(script.words), last + 1 + _AROUND)
    after = [word for word in range(last + 1, stop) if script.segment_of(word) == segment]
    return tuple(script.words[word] for word in before), tuple(script.words[word] for word in after)


def aside_entry(record: Record, each: Bound) -> Aside:
    """A cue as the record keeps it while it stands on nothing."""
    cue = each.cue
    if each.first_word is None or each.last_word is None:
        moment = moment_of(record, Fraction(cue.start_ms - (each.in_ms or 0), 1000))
        offset_ms = None if moment is None else round(moment.offset_s * 1000)
        segment = moment.segment if moment else ""
        return Aside(cue.start_ms, cue.end_ms, cue.lines, (), segment, True, offset_ms, each.out_ms)
    words = record.script.words[each.first_word : each.last_word + 1]
    segment = record.script.segment_of(each.first_word)
    before, after = around(record.script, each.first_word, each.last_word)
    return Aside(
        cue.start_ms, cue.end_ms, cue.lines, words, segment, each.by_hand, each.in_ms, each.out_ms, before, after
    )
