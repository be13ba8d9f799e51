"""Cues without words ("[rain]"): the moment of a segment, or of its footage, that they belong to."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from assembler.captions.record import Record, Stretch
from assembler.captions.script import Script


@dataclass(frozen=True, slots=True)
class Moment:
    """Where a cue without words stood: seconds into a segment, and what that segment's first pane showed."""

    segment: str
    offset_s: Fraction
    capture: str | None = None
    capture_s: Fraction = Fraction(0)


def moment_of(record: Record, start_s: Fraction) -> Moment | None:
    """The moment that a time of the old programme was."""
    frame = start_s * record.rate
    here = next((each for each in record.stretches if each.start_frame <= frame < each.end_frame), None)
    if here is None:
        return None
    offset_s = start_s - here.start_frame / record.rate
    for shown in here.shown:
        if shown.start_frame <= frame < shown.end_frame:
            capture_s = shown.capture_s + (start_s - shown.start_frame / record.rate) * shown.speed
            return Moment(here.id, offset_s, shown.capture if shown.speed else None, capture_s)
    return Moment(here.id, offset_s)


def segment_names(old: Script, new: Script, became: Sequence[int | None]) -> dict[str, str]:
    """What each old segment's words mostly stand in now: a segment may have got another id."""
    moved: dict[str, Counter[str]] = {}
    for line in old.lines:
        words = (became[word] for word in range(line.first, line.stop))
        gone_to = Counter(new.segment_of(word) for word in words if word is not None)
        if gone_to:
            moved.setdefault(line.segment, Counter()).update(gone_to)
    return {name: counts.most_common(1)[0][0] for name, counts in moved.items()}


def place(moment: Moment, stretches: Sequence[Stretch], names: Mapping[str, str], rate: Fraction) -> Fraction | None:
    """Seconds into the new programme at which a moment comes, or None when it is gone."""
    known = {each.id: each for each in stretches}
    here = known.get(moment.segment) or known.get(names.get(moment.segment, ""))
    if here is None:
        return None
    if moment.capture is not None:
        for shown in here.shown:
            length_s = (shown.end_frame - shown.start_frame) / rate
            if shown.capture == moment.capture and shown.speed:
                into_s = (moment.capture_s - shown.capture_s) / shown.speed
                if 0 <= into_s < length_s:
                    return shown.start_frame / rate + into_s
        if any(shown.capture == moment.capture for shown in here.shown):
            return None  # the footage is still there, this moment of it is not
    at_s = here.start_frame / rate + moment.offset_s
    return at_s if at_s < here.end_frame / rate else None
