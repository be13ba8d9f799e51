"""Put cues without words ("[rain]") where their moment is shown now."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from assembler.captions.binding import Bound
from assembler.captions.caption_file import FileCue
from assembler.captions.files import millisecond
from assembler.captions.moments import Moment, moment_of, place, segment_names
from assembler.captions.record import RecordedCue, stretches_of
from assembler.captions.retimed import Retimed, moved_state
from assembler.captions.standing import Standings
from assembler.timeline.model import Timeline

Placed = tuple[Retimed, RecordedCue]
"""A cue of the new file, and what the record is to hold of it."""


def place_moments(stands: Standings, timeline: Timeline) -> Iterator[Placed]:
    """The cues without words that have a place, those set aside before among them; the others are set aside."""
    before = [each for each in stands.kept_aside if each.lines and not each.words and each.in_ms is not None]
    if not stands.moments and not before:
        return
    record = stands.record
    names = segment_names(record.script, stands.script, stands.became)
    stretches = stretches_of(timeline)
    end_ms = millisecond(timeline.frames, timeline.rate)
    for each in stands.moments:
        moment = moment_of(record, Fraction(wanted_start_ms(each), 1000))
        at_s = None if moment is None else place(moment, stretches, names, timeline.rate)
        if moment is None or at_s is None:
            stands.aside.append((each, "its moment is no longer shown" if moment else "it stood after the end"))
            continue
        length_ms = each.cue.end_ms - each.cue.start_ms if each.out_ms is None else each.out_ms
        yield _at(each.cue, at_s, length_ms, moment.segment, end_ms)
    for gone in before:
        moment = Moment(gone.segment, Fraction(gone.in_ms or 0, 1000))
        at_s = place(moment, stretches, names, timeline.rate)
        if at_s is not None:
            stands.kept_aside.remove(gone)
            stands.restored += 1
            back = FileCue(gone.start_ms, gone.end_ms, gone.lines)
            cue, recorded = _at(back, at_s, gone.out_ms or gone.end_ms - gone.start_ms, gone.segment, end_ms)
            yield replace(cue, look="was set aside; its moment is back"), recorded


def _at(cue: FileCue, at_s: Fraction, length_ms: int, segment: str, last_ms: int) -> Placed:
    start_ms = round(at_s * 1000)
    if abs(start_ms - cue.start_ms) <= 1:
        start_ms = cue.start_ms  # rounding of exact times is no move
    end_ms = max(min(start_ms + length_ms, last_ms), start_ms + 1)
    placed = Retimed(start_ms, end_ms, cue.lines, moved_state(cue, start_ms, end_ms), cue, True, segment=segment)
    # The programme's end takes from its length, but not for ever.
    cut = end_ms - start_ms != length_ms
    return placed, RecordedCue(start_ms, end_ms, cue.lines, in_ms=0 if cut else None, out_ms=length_ms if cut else None)


def wanted_start_ms(each: Bound) -> int:
    """Where a cue without words would stand if its neighbours had left it room."""
    return each.cue.start_ms - (each.in_ms or 0)
