"""Ways to need no more footage than there is, tried on the timeline, the cheapest first.

    from       show an earlier part of the capture; nothing moves
    pauses     as in `mends`, where the segment lasts as long as its words
    shorten    the segment, or the shot, ends sooner; everything after it moves
    freeze     hold the last picture on purpose; viewers see it stand
    stretch    as in `mends`, where the segment lasts as long as its words
    cut        say less, where the segment lasts as long as its words
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain
from math import floor

from assembler.checks.changes import Change, frames_time, short_time
from assembler.checks.mends import Proposal, cut, faster, index_of, pauses, resized, tried, words_to_cut
from assembler.checks.trial import Bench, ends_late
from assembler.errors import Mend
from assembler.storyboard.model import Freeze
from assembler.timeline.model import PlacedSegment, PlacedShot, Timeline
from assembler.timing.rates import SAMPLE_RATE


def footage_mends(bench: Bench, placed: PlacedSegment, shot_number: int, pane_number: int) -> tuple[Mend, ...]:
    """Ways to mend a pane whose capture ends too soon. shot_number counts the placed shots, pane_number its panes."""
    timeline = bench.timeline
    shot = placed.shots[shot_number]
    pane = shot.panes[pane_number]
    late = pane.late_frames
    samples = -(-late * SAMPLE_RATE // timeline.rate)
    by_words = placed.segment.fit and bool(placed.lines)
    proposals: list[Iterator[Proposal]] = [
        _earlier(timeline, placed, shot, pane_number),
        pauses(timeline, placed, samples) if by_words else iter(()),
        _shorter(timeline, placed, late),
        _frozen(timeline, placed, shot, pane_number),
        faster(timeline, placed, samples) if by_words else iter(()),
    ]
    target = ends_late(placed.segment.id, shot_number, pane_number)
    found = tuple(tried(bench, chain.from_iterable(proposals), target))
    if not by_words or late >= shot.span.frames + shot.tail_frames:
        return found
    count, words = words_to_cut(placed, samples)
    return (*found, cut(placed, samples)) if count < words else found


def _written_shot(placed: PlacedSegment, shot: PlacedShot) -> int | None:
    """Which of the segment's written shots a placed one is."""
    written = [number for number, each in enumerate(placed.segment.shots) if each.arrangement is shot.arrangement]
    return written[0] if len(written) == 1 else None


def _earlier(timeline: Timeline, placed: PlacedSegment, shot: PlacedShot, number: int) -> Iterator[Proposal]:
    pane, index, written = shot.panes[number], index_of(timeline, placed.segment.id), _written_shot(placed, shot)
    if index is None or written is None or pane.pane.start is None or pane.held:
        return
    frames = shot.span.frames + shot.tail_frames
    # The last frame wants a picture from before the end; every rate has a frame longer than the millisecond taken off.
    last_s = (frames - 1) / timeline.rate * pane.speed
    latest_ms = floor((timeline.captures[pane.capture.id].duration_s - last_s) * 1000) - 1
    if latest_ms >= 0:
        start = short_time(latest_ms, timeline.rate)
        yield "from", [Change(index, "from", start, shot=written, pane=number)], "show an earlier part"


def _shorter(timeline: Timeline, placed: PlacedSegment, late: int) -> Iterator[Proposal]:
    for changes in resized(timeline, placed, -late, -late):
        if changes:
            yield "shorten", changes, f"end it {float(late / timeline.rate):.2f} s sooner"


def _frozen(timeline: Timeline, placed: PlacedSegment, shot: PlacedShot, number: int) -> Iterator[Proposal]:
    pane, index, written = shot.panes[number], index_of(timeline, placed.segment.id), _written_shot(placed, shot)
    # The last frame that has a picture is the first one held.
    at = shot.span.frames + shot.tail_frames - pane.late_frames - 1
    if index is None or written is None or pane.pane.freezes or pane.held or at < 0:
        return
    freeze = Freeze(start=frames_time(at, timeline.rate))
    yield "freeze", [Change(index, "freeze", freeze, shot=written, pane=number)], "hold its last picture on purpose"
