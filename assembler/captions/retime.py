"""Bring a corrected caption file to the programme as it stands now.

Every cue follows its words. What a person set by hand (text, line breaks, tags, times) goes with it; a cue
whose words are gone is set aside; words without a cue get one. While nothing that decides where cues lie has
changed, the file stays as it is, byte for byte.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

from assembler.captions.binding import Bound, bind, shown_words
from assembler.captions.caption_file import FileCue
from assembler.captions.cues import Cue, make_cues, seen
from assembler.captions.files import millisecond, srt_lines
from assembler.captions.limits import LIMITS, Limits
from assembler.captions.merging import follow
from assembler.captions.moments import Moment, moment_of, place, segment_names
from assembler.captions.record import Aside, Record, RecordedCue, layout_print, limits_print, record_of, stretches_of
from assembler.captions.retimed import Result, Retimed, SetAside, State, moved_state, part
from assembler.captions.rewording import match_words
from assembler.captions.script import Script, names_of, plain_words, script_of
from assembler.timeline.model import Timeline

_ENOUGH = Fraction(1, 2)
"""Share of a corrected cue's words that must still be said for the cue to stand."""


def limits_of(timeline: Timeline) -> Limits:
    """The reading limits a timeline's captions keep."""
    return LIMITS[timeline.storyboard.captions.limits]


def first_file(timeline: Timeline, cues: Sequence[Cue] | None = None) -> Result:
    """The cues of a programme that has no caption file yet."""
    script = script_of(timeline)
    made = make_cues(timeline) if cues is None else cues
    language = timeline.storyboard.language
    recorded = _recorded(made, script, timeline.rate, language)
    record = record_of(timeline, limits_of(timeline), recorded, script=script)
    found = tuple(_shown(cue, "new", script) for cue in recorded)
    return Result(found, (), (), 0, record, False)


def retime(timeline: Timeline, record: Record, cues: Sequence[FileCue], *, trust_times: bool = True) -> Result:
    """Bring a file's cues, in its order, from the programme of `record` to `timeline`.

    trust_times: False where the file's times are not those of the record's programme: then every cue
    that stands on words gets the words' times.
    """
    bound, dropped = bind(record, cues, trust_times=trust_times)
    limits = limits_of(timeline)
    script = script_of(timeline)
    if trust_times and record.layout == layout_print(timeline, limits, script):
        return _unchanged(record, bound, dropped)
    return _Retiming(timeline, limits, script, record, bound, dropped).run()


def _unchanged(record: Record, bound: Sequence[Bound], dropped: Sequence[tuple[int, int]]) -> Result:
    found, recorded = [], []
    for each in bound:
        cue = each.cue
        found.append(
            Retimed(
                cue.start_ms, cue.end_ms, cue.lines, "kept", cue, each.by_hand,
                first_word=each.first_word, last_word=each.last_word,
                segment="" if each.first_word is None else record.script.segment_of(each.first_word),
            )
        )  # fmt: skip
        auto = each.recorded or RecordedCue(cue.start_ms, cue.end_ms, cue.lines)
        recorded.append(
            replace(
                auto, start_ms=cue.start_ms, end_ms=cue.end_ms, lines=cue.lines, first_word=each.first_word,
                last_word=each.last_word, in_ms=each.in_ms, out_ms=each.out_ms,
            )
        )  # fmt: skip
    new = replace(record, cues=tuple(recorded), dropped=tuple(dropped))
    return Result(tuple(found), (), (), 0, new, True)


@dataclass(slots=True)
class _Standing:
    """Words of the new script, first to last, that are one cue; with the old cue they carry on."""

    first: int
    last: int
    bound: Bound | None = None
    aside: Aside | None = None

    @property
    def span(self) -> range:
        return range(self.first, self.last + 1)


class _Retiming:
    """One run over a changed programme."""

    def __init__(
        self,
        timeline: Timeline,
        limits: Limits,
        script: Script,
        record: Record,
        bound: Sequence[Bound],
        dropped: Sequence[tuple[int, int]],
    ) -> None:
        self.timeline, self.limits, self.script = timeline, limits, script
        self.record, self.bound = record, bound
        self.rate = timeline.rate
        self.language = timeline.storyboard.language
        self.became = match_words(record.script, script)
        self.same_limits = record.limits == limits_print(limits)
        self.taken = [False] * len(script.words)
        self.standing: list[_Standing] = []
        self.aside: list[tuple[Bound, str]] = []
        self.freed: list[Bound] = []
        self.moments: list[Bound] = []
        self.dropped = dropped
        self.kept_aside: list[Aside] = []
        self.restored = 0

    def run(self) -> Result:
        partly = self._whole_cues()
        hidden = self._dropped()
        for each, have in partly:
            self._part_of_cue(each, have)
        self._bring_back()
        held = [self.script.held(one.first, one.last) for one in self.standing]
        held += [self.script.held(first, last, shown=False) for first, last in hidden]
        made = make_cues(self.timeline, self.limits, held)
        recorded = _recorded(made, self.script, self.rate, self.language)
        holder = {word: one for one in self.standing for word in one.span}
        found: list[Retimed] = []
        records: list[RecordedCue] = []
        placed: set[int] = set()
        for cue in recorded:
            assert cue.first_word is not None and cue.last_word is not None
            one = holder.get(cue.first_word) or holder.get(cue.last_word)
            placed.add(id(one))
            shown, kept = self._follow(one, cue) if one else (_shown(cue, "new", self.script), cue)
            found.append(shown)
            records.append(kept)
        for one in self.standing:
            if id(one) not in placed and one.bound:
                self.aside.append((one.bound, "its words are said after the programme's end"))
        self._place_moments(found, records)
        return self._result(found, records, hidden)

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
                    self._stand(_Standing(have[0], have[-1], each))
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

    def _stand(self, one: _Standing) -> None:
        self.standing.append(one)
        for word in one.span:
            self.taken[word] = True

    def _free(self, one: _Standing, loose: dict[int, _Standing]) -> None:
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
        self._stand(_Standing(first, last, each))

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
        """The stretches that a person left without a cue, where they still stand."""
        hidden = []
        for first, last in self.dropped:
            new = [self.became[word] for word in range(first, last + 1)]
            have = [word for word in new if word is not None]
            if len(have) == len(new) and self._together(have) and not any(self.taken[have[0] : have[-1] + 1]):
                hidden.append((have[0], have[-1]))
                for word in have:
                    self.taken[word] = True
        return hidden

    def _bring_back(self) -> None:
        """Cues set aside before whose words are said again."""
        gone = [(each, why) for each, why in self.aside if each.by_hand and each.first_word is not None]
        if not self.record.aside and not gone:
            return
        said = plain_words(self.script.words)
        starts: dict[str, list[int]] = {}
        for word, text in enumerate(said):
            starts.setdefault(text, []).append(word)
        loose = {word: one for one in self.standing if one.bound and not one.bound.by_hand for word in one.span}

        def stand_again(entry: Aside, bound: Bound | None) -> bool:
            words = plain_words(entry.words)
            if not words:
                return False
            where = []
            for at in starts.get(words[0], ()):
                span = (at, at + len(words) - 1)
                # Cues that nobody touched make room for a correction.
                there = said[at : at + len(words)] == words and self._together(range(at, at + len(words)))
                if there and all(word in loose or not self.taken[word] for word in range(at, at + len(words))):
                    where.append(span)
            if not where:
                return False
            span = next((each for each in where if self.script.segment_of(each[0]) == entry.segment), where[0])
            if entry.by_hand:
                for one in {id(one): one for word in range(span[0], span[1] + 1) if (one := loose.get(word))}.values():
                    self._free(one, loose)
                self._stand(_Standing(*span, bound, entry))
            return True

        for each in self.record.aside:
            if stand_again(each, None):
                self.restored += 1
            else:
                self.kept_aside.append(each)
        for bound, why in gone:
            if stand_again(self._aside_entry(bound), bound):
                self.aside.remove((bound, why))

    def _follow(self, one: _Standing, cue: RecordedCue) -> tuple[Retimed, RecordedCue]:
        """A standing cue with a person's corrections, on its new words."""
        assert cue.first_word is not None and cue.last_word is not None
        source = one.bound or one.aside
        assert source is not None
        in_ms, out_ms = source.in_ms, source.out_ms
        start_ms, end_ms = cue.start_ms, cue.end_ms
        if in_ms is not None:
            start_ms = max(0, millisecond(self.script.starts[cue.first_word], self.rate) + in_ms)
        if out_ms is not None:
            end_ms = millisecond(self.script.ends[cue.last_word], self.rate) + out_ms
        lines, look = self._text(one, cue)
        was = one.bound.cue if one.bound else None
        state: State = "new"
        if was is not None:
            state = "reworded" if lines != was.lines else moved_state(was, start_ms, end_ms)
        elif one.aside is not None:
            was = FileCue(one.aside.start_ms, one.aside.end_ms, one.aside.lines)
            state, look = "moved", look or "was set aside; its words are back"
        by_hand = one.bound.by_hand if one.bound else True
        shown = Retimed(
            start_ms, end_ms, lines, state, was, by_hand, look, cue.first_word, cue.last_word,
            self.script.segment_of(cue.first_word),
        )  # fmt: skip
        return shown, replace(cue, in_ms=in_ms, out_ms=out_ms)

    def _text(self, one: _Standing, cue: RecordedCue) -> tuple[tuple[str, ...], str]:
        """The lines a standing cue has now, and what to look at."""
        if one.aside is not None:
            return one.aside.lines, ""
        bound = one.bound
        assert bound is not None and bound.first_word is not None and bound.last_word is not None
        if not bound.text_by_hand:
            return cue.auto, ""
        old = _seen_words(self.record.script, bound.first_word, bound.last_word)
        new = _seen_words(self.script, one.first, one.last)
        if old == new:
            return bound.cue.lines, ""
        merged = follow(bound.cue.lines, old, new)
        if merged is not None:
            corrected = shown_words(bound.cue.lines) != old
            return merged, "reworded around a correction" if corrected else ""
        return bound.cue.lines, f"the narration now says: {' '.join(new)}"

    def _place_moments(self, found: list[Retimed], records: list[RecordedCue]) -> None:
        names = segment_names(self.record.script, self.script, self.became)
        stretches = stretches_of(self.timeline)
        for each in self.moments:
            cue = each.cue
            moment = moment_of(self.record, Fraction(cue.start_ms, 1000))
            at_s = None if moment is None else place(moment, stretches, names, self.rate)
            if moment is None or at_s is None:
                self.aside.append((each, "its moment is no longer shown" if moment else "it stood after the end"))
                continue
            found.append(self._at(cue, at_s, moment.segment))
            records.append(RecordedCue(found[-1].start_ms, found[-1].end_ms, cue.lines))
        for gone in [each for each in self.kept_aside if not each.words and each.in_ms is not None]:
            at_s = place(Moment(gone.segment, Fraction(gone.in_ms or 0, 1000)), stretches, names, self.rate)
            if at_s is None:
                continue
            self.kept_aside.remove(gone)
            self.restored += 1
            back = FileCue(gone.start_ms, gone.end_ms, gone.lines)
            found.append(replace(self._at(back, at_s, gone.segment), look="was set aside; its moment is back"))
            records.append(RecordedCue(found[-1].start_ms, found[-1].end_ms, gone.lines))

    def _at(self, cue: FileCue, at_s: Fraction, segment: str) -> Retimed:
        start_ms = round(at_s * 1000)
        if abs(start_ms - cue.start_ms) <= 1:
            start_ms = cue.start_ms  # rounding of exact times is no move
        end_ms = min(start_ms + cue.end_ms - cue.start_ms, millisecond(self.timeline.frames, self.rate))
        end_ms = max(end_ms, start_ms + 1)
        return Retimed(start_ms, end_ms, cue.lines, moved_state(cue, start_ms, end_ms), cue, True, segment=segment)

    def _result(self, found: list[Retimed], records: list[RecordedCue], hidden: list[tuple[int, int]]) -> Result:
        order = sorted(range(len(found)), key=lambda at: (found[at].start_ms, found[at].first_word or 0, at))
        cues = [found[at] for at in order]
        # Cues on words keep the order of their words, whatever a person's offsets did.
        spoken = iter(sorted((cue for cue in cues if cue.first_word is not None), key=lambda cue: cue.first_word or 0))
        if self._monotone():
            cues = [next(spoken) if cue.first_word is not None else cue for cue in cues]
        where = {id(cue): at for at, cue in enumerate(found)}
        ordered = [records[where[id(cue)]] for cue in cues]
        apart = part(cues, self.rate, self.timeline.frames, self.limits.gap_frames)
        final, final_records = [], []
        for cue, recorded in zip(apart, ordered, strict=True):
            if cue is None:
                continue
            final.append(self._named(cue))
            final_records.append(replace(recorded, start_ms=cue.start_ms, end_ms=cue.end_ms, lines=cue.lines))
        lost = [before for before, after in zip(cues, apart, strict=True) if after is None]
        self.aside += [(Bound(cue.was), "no room is left for it") for cue in lost if cue.was]
        entries = [self._aside_entry(each) for each, _ in self.aside]
        record = record_of(
            self.timeline, self.limits, final_records, script=self.script, dropped=tuple(sorted(hidden)),
            aside=(*self.kept_aside, *entries),
        )  # fmt: skip
        aside = tuple(SetAside(each.cue, why) for each, why in self.aside)
        return Result(tuple(final), aside, tuple(each.cue for each in self.freed), self.restored, record, False)

    def _monotone(self) -> bool:
        starts = self.script.starts
        return all(a <= b for a, b in pairwise(starts))

    def _named(self, cue: Retimed) -> Retimed:
        """A new cue that carries on the words of an old one which was freed is that one, reworded."""
        if cue.state != "new" or cue.first_word is None or cue.last_word is None:
            return cue
        for each in self._freed_in(cue.first_word, cue.last_word):
            if each.cue.lines == cue.lines:
                return replace(cue, was=each.cue, state=moved_state(each.cue, cue.start_ms, cue.end_ms))
            return replace(cue, was=each.cue, state="reworded")
        return cue

    def _freed_in(self, first: int, last: int) -> list[Bound]:
        return [self._freed_word[word] for word in range(first, last + 1) if word in self._freed_word]

    @cached_property
    def _freed_word(self) -> dict[int, Bound]:
        return {
            new: each
            for each in self.freed
            if each.first_word is not None and each.last_word is not None
            for word in range(each.first_word, each.last_word + 1)
            if (new := self.became[word]) is not None
        }

    def _aside_entry(self, each: Bound) -> Aside:
        cue = each.cue
        if each.first_word is None or each.last_word is None:
            moment = moment_of(self.record, Fraction(cue.start_ms, 1000))
            offset_ms = None if moment is None else round(moment.offset_s * 1000)
            return Aside(
                cue.start_ms, cue.end_ms, cue.lines, (), moment.segment if moment else "", True, offset_ms, None
            )
        words = self.record.script.words[each.first_word : each.last_word + 1]
        segment = self.record.script.segment_of(each.first_word)
        return Aside(cue.start_ms, cue.end_ms, cue.lines, words, segment, each.by_hand, each.in_ms, each.out_ms)


def _recorded(made: Sequence[Cue], script: Script, rate: Fraction, language: str) -> list[RecordedCue]:
    """Cues as the record holds them, before a person touches them."""
    firsts = names_of(script)
    found = []
    for cue in made:
        lines = srt_lines(cue.lines, language)
        if not lines:
            continue
        last_line = cue.line if cue.last_line is None else cue.last_line
        found.append(
            RecordedCue(
                millisecond(cue.start_frame, rate),
                millisecond(cue.end_frame, rate),
                lines,
                firsts[cue.segment, cue.line] + cue.first_word,
                firsts[cue.segment, last_line] + cue.last_word,
                cue.start_frame,
                cue.end_frame,
                lines,
            )
        )
    return found


def _shown(cue: RecordedCue, state: State, script: Script) -> Retimed:
    segment = "" if cue.first_word is None else script.segment_of(cue.first_word)
    return Retimed(
        cue.start_ms, cue.end_ms, cue.lines, state, first_word=cue.first_word, last_word=cue.last_word, segment=segment
    )


def _seen_words(script: Script, first: int, last: int) -> list[str]:
    return [part for word in script.words[first : last + 1] for part in seen(word).split()]
