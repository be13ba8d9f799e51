"""Bring a corrected caption file to the programme as it stands now.

Every cue follows its words. What a person set by hand (text, line breaks, tags, times) goes with it; a cue
whose words are gone is set aside; words without a cue get one. While nothing that decides where cues lie has
changed, the file stays as it is, byte for byte.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from itertools import pairwise

from assembler.captions.allocating import many_objects
from assembler.captions.binding import Bound, bind, shown_words
from assembler.captions.caption_file import FileCue
from assembler.captions.cues import Cue, make_cues
from assembler.captions.files import millisecond
from assembler.captions.fresh import recorded_cues, seen_words, shown
from assembler.captions.limits import Limits, limits_from
from assembler.captions.merging import follow
from assembler.captions.placing import Placed, place_moments
from assembler.captions.record import Record, RecordedCue, layout_print, limits_print, record_of
from assembler.captions.retimed import Result, Retimed, SetAside, State, moved_state, part
from assembler.captions.script import Script, script_of
from assembler.captions.standing import Standing, Standings, aside_entry
from assembler.timeline.model import Timeline

_ROUNDING_MS = 100
"""Word times lie on frames: the same words may last this much less at another rate."""


def limits_of(timeline: Timeline) -> Limits:
    """The reading limits a timeline's captions keep."""
    return limits_from(timeline.storyboard.captions)


def first_file(timeline: Timeline, cues: Sequence[Cue] | None = None) -> Result:
    """The cues of a programme that has no caption file yet."""
    script = script_of(timeline)
    made = make_cues(timeline) if cues is None else cues
    language = timeline.storyboard.language
    recorded = recorded_cues(made, script, timeline.rate, language)
    record = record_of(timeline, limits_of(timeline), recorded, script=script)
    found = tuple(shown(cue, "new", script) for cue in recorded)
    return Result(found, (), (), 0, record, False)


@many_objects()
def retime(timeline: Timeline, record: Record, cues: Sequence[FileCue], *, trust_times: bool = True) -> Result:
    """Bring a file's cues, in its order, from the programme of `record` to `timeline`.

    trust_times: False where the file's times are not those of the record's programme: then every cue
    that stands on words gets the words' times.
    """
    bound, dropped = bind(record, cues, trust_times=trust_times)
    limits = limits_of(timeline)
    script = script_of(timeline)
    if trust_times and record.layout == layout_print(timeline, limits, script):
        return unchanged(record, bound, dropped)
    return Retiming(timeline, limits, script, record, bound, dropped).run()


def unchanged(record: Record, bound: Sequence[Bound], dropped: Sequence[tuple[int, int]]) -> Result:
    """A file that stays as it is, with a record that knows what a person did to it."""
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
            RecordedCue(
                cue.start_ms, cue.end_ms, cue.lines, each.first_word, each.last_word, auto.auto_start_frame,
                auto.auto_end_frame, auto.auto, each.in_ms, each.out_ms,
            )
        )  # fmt: skip
    new = replace(record, cues=tuple(recorded), dropped=tuple(dropped))
    return Result(tuple(found), (), (), 0, new, True)


class Retiming:
    """One run over a changed programme."""

    CAREFUL = False

    def __init__(
        self,
        timeline: Timeline,
        limits: Limits,
        script: Script,
        record: Record,
        bound: Sequence[Bound],
        dropped: Sequence[tuple[int, int]],
    ) -> None:
        self.timeline, self.limits, self.script, self.record = timeline, limits, script, record
        self.rate = timeline.rate
        self.least_ms = millisecond(limits.min_frames(self.rate), self.rate)
        self.same_limits = record.limits == limits_print(limits)
        self.stands = Standings(
            record, script, bound, dropped, same_limits=self.same_limits, careful=self.CAREFUL
        )

    def run(self) -> Result:
        stands = self.stands
        recorded = self.laid()
        holder = {word: one for one in stands.standing for word in one.span}
        found: list[Placed] = []
        placed: set[int] = set()
        for cue in recorded:
            assert cue.first_word is not None and cue.last_word is not None
            one = holder.get(cue.first_word) or holder.get(cue.last_word)
            placed.add(id(one))
            found.append(self._follow(one, cue) if one else (shown(cue, "new", self.script), cue))
        for one in stands.standing:
            if id(one) not in placed and one.bound:
                stands.aside.append((one.bound, "its words are said after the programme's end"))
        found += place_moments(stands, self.timeline)
        return self._result(found)

    def laid(self) -> list[RecordedCue]:
        """Cues for all words, those that stand already among them."""
        stands = self.stands
        held = [self.script.held(one.first, one.last, breaks=self._breaks(one)) for one in stands.standing]
        held += [self.script.held(first, last, shown=False) for first, last in stands.hidden]
        made = make_cues(self.timeline, self.limits, held)
        return recorded_cues(made, self.script, self.rate, self.timeline.storyboard.language)

    def _breaks(self, one: Standing) -> tuple[int, ...] | None:
        """Where the caption lines of a cue break whose words are as they were; None = to be found anew."""
        bound = one.bound
        if bound is None or bound.recorded is None or not self.same_limits or bound.first_word is None:
            return None
        count = one.last + 1 - one.first
        old = self.record.script.words[bound.first_word : bound.first_word + count]
        if old != self.script.words[one.first : one.last + 1]:
            return None
        breaks, at = [], 0
        for line in bound.recorded.auto:
            at += len(line.split())
            breaks.append(at)
        return tuple(breaks)

    def _follow(self, one: Standing, cue: RecordedCue) -> Placed:
        """A standing cue with a person's corrections, on its new words."""
        assert cue.first_word is not None and cue.last_word is not None
        source = one.bound or one.aside
        assert source is not None
        start_ms, end_ms = self._times(cue, source.in_ms, source.out_ms, self._spoken_ms(one.bound))
        lines, look = self.text(one, cue)
        was = one.bound.cue if one.bound else None
        state: State = "new"
        if was is not None:
            state = "reworded" if lines != was.lines else moved_state(was, start_ms, end_ms)
        elif one.aside is not None:
            was = FileCue(one.aside.start_ms, one.aside.end_ms, one.aside.lines)
            state, look = "moved", look or "was set aside; its words are back"
        by_hand = one.bound.by_hand if one.bound else True
        retimed = Retimed(
            start_ms, end_ms, lines, state, was, by_hand, look, cue.first_word, cue.last_word,
            self.script.segment_of(cue.first_word),
        )  # fmt: skip
        if source.in_ms is None and source.out_ms is None:
            return retimed, cue
        return retimed, replace(cue, in_ms=source.in_ms, out_ms=source.out_ms)

    def _spoken_ms(self, bound: Bound | None) -> int:
        """How long a cue's words took when it was corrected; 0 = not known."""
        if bound is None or bound.first_word is None or bound.last_word is None:
            return 0
        old = self.record
        return millisecond(old.script.ends[bound.last_word] - old.script.starts[bound.first_word], old.rate)

    def _times(self, cue: RecordedCue, in_ms: int | None, out_ms: int | None, spoken_ms: int) -> tuple[int, int]:
        """When a cue shows, set off from its words as a person set it."""
        assert cue.first_word is not None and cue.last_word is not None
        if in_ms is None and out_ms is None:
            return cue.start_ms, cue.end_ms
        first_ms = millisecond(self.script.starts[cue.first_word], self.rate)
        last_ms = millisecond(self.script.ends[cue.last_word], self.rate)
        start_ms = cue.start_ms if in_ms is None else max(0, first_ms + in_ms)
        end_ms = cue.end_ms if out_ms is None else last_ms + out_ms
        if last_ms - first_ms < spoken_ms - _ROUNDING_MS:
            # Said faster than it was, a cue may have less time left than an offset takes from it.
            least_ms = min(self.least_ms, (last_ms - first_ms) // 4)
            start_ms = min(start_ms, last_ms - least_ms)
            end_ms = max(end_ms, first_ms + least_ms)
        return start_ms, max(end_ms, start_ms + 1)

    def text(self, one: Standing, cue: RecordedCue) -> tuple[tuple[str, ...], str]:
        """The lines a standing cue has now, and what to look at."""
        if one.aside is not None:
            return one.aside.lines, ""
        bound = one.bound
        assert bound is not None and bound.first_word is not None and bound.last_word is not None
        if not bound.text_by_hand:
            return cue.auto, ""
        old = seen_words(self.record.script, bound.first_word, bound.last_word)
        new = seen_words(self.script, one.first, one.last)
        if old == new:
            return bound.cue.lines, ""
        merged = follow(bound.cue.lines, old, new)
        if merged is not None:
            corrected = shown_words(bound.cue.lines) != old
            return merged, "reworded around a correction" if corrected else ""
        return bound.cue.lines, f"the narration now says: {' '.join(new)}"

    def _result(self, placed: Sequence[Placed]) -> Result:
        stands, script = self.stands, self.script
        order = sorted(placed, key=lambda each: (each[0].start_ms, each[0].first_word or 0))
        if all(a <= b for a, b in pairwise(script.starts)):
            # Cues on words keep the order of their words, whatever a person's offsets did.
            spoken = [each for each in order if each[0].first_word is not None]
            spoken_on = iter(sorted(spoken, key=lambda each: each[0].first_word or 0))
            order = [next(spoken_on) if each[0].first_word is not None else each for each in order]
        apart = part([cue for cue, _ in order], script.starts, self.rate, self.timeline.frames, self.limits)
        final, records = [], []
        for cue, (was, recorded) in zip(apart, order, strict=True):
            if cue is None:
                if was.was is not None:
                    stands.aside.append((Bound(was.was), "no room is left for it"))
                continue
            final.append(self._named(cue))
            records.append(_as_written(recorded, cue, was))
        entries = [aside_entry(self.record, each) for each, _ in stands.aside]
        record = record_of(
            self.timeline, self.limits, records, script=script, dropped=tuple(sorted(stands.hidden)),
            aside=(*stands.kept_aside, *entries),
        )  # fmt: skip
        aside = tuple(SetAside(each.cue, why) for each, why in stands.aside)
        freed = tuple(each.cue for each in stands.freed)
        return Result(tuple(final), aside, freed, stands.restored, record, False)

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
            for each in self.stands.freed
            if each.first_word is not None and each.last_word is not None
            for word in range(each.first_word, each.last_word + 1)
            if (new := self.stands.became[word]) is not None
        }


def _as_written(recorded: RecordedCue, cue: Retimed, wanted: Retimed) -> RecordedCue:
    """What the record holds of a cue after its neighbours had their say."""
    in_ms, out_ms = recorded.in_ms, recorded.out_ms
    if recorded.first_word is None and (cue.start_ms, cue.end_ms) != (wanted.start_ms, wanted.end_ms):
        # A cue without words is nothing but its time: it gets it back where there is room again.
        length_ms = wanted.end_ms - wanted.start_ms if out_ms is None else out_ms
        in_ms, out_ms = cue.start_ms - wanted.start_ms, length_ms
    return RecordedCue(
        cue.start_ms, cue.end_ms, cue.lines, recorded.first_word, recorded.last_word, recorded.auto_start_frame,
        recorded.auto_end_frame, recorded.auto, in_ms, out_ms,
    )  # fmt: skip
