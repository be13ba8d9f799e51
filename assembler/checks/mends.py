"""Ways to make narration fit that were tried out on the timeline, the cheapest first.

The order, by what each way costs the rest of the programme:

    borrow     a neighbour gives up time that its own words do not need; nothing else moves
    pauses     the silence between lines shrinks; only the rhythm inside the segment changes
    extend     the segment lasts longer; everything after it moves
    stretch    recorded voices are made faster at their own pitch; their sound changes
    cut        words go, and the lines have to be recorded again

A time that a neighbour has under `at:` or `until:` is taken as meant and never changed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import chain
from math import ceil, floor

from assembler.checks.changes import Change, edits, frames_time, short_time, told
from assembler.checks.misfits import said_words, seconds
from assembler.checks.trial import Bench, Fault
from assembler.errors import Mend
from assembler.storyboard.model import Storyboard
from assembler.storyboard.written import MOST_FASTER
from assembler.timeline.model import PlacedLine, PlacedSegment, Timeline
from assembler.timing.rates import SAMPLE_RATE

SHORTEST_PAUSE_S = Fraction(15, 100)
"""Two sentences closer than this run into each other. Common practice, no source."""
SHORTEST_LEFT_S = Fraction(1, 2)
"""What a lender, or a shot that gives up time, keeps: less cannot be taken in. Common practice, no source."""
FASTEST_STRETCHED_WPM = 190
"""Speech is not made faster than this on our advice. Common practice, no source."""

Changes = Sequence[Change]
Proposal = tuple[str, Changes, str]
"""A mend's kind, what it changes, and how it begins in words."""


def narration_mends(bench: Bench, number: int, target: Fault, over_samples: int) -> tuple[Mend, ...]:
    """Ways to fit the narration of the timeline's segment `number`, which ends `over_samples` too late.

    One way of each kind at most, each tried: afterwards the target is gone, and nothing else is worse.
    """
    timeline = bench.timeline
    placed = timeline.segments[number]
    least = ceil(seconds(over_samples) * timeline.rate)
    wanted = max(least, placed.needed_frames - placed.span.frames)
    proposals = chain(
        _borrow(timeline, number, sorted({wanted, least}, reverse=True), least),
        pauses(timeline, placed, over_samples),
        _extend(timeline, number, sorted({wanted, least}, reverse=True)),
        faster(timeline, placed, over_samples),
    )
    return (*tried(bench, proposals, target), cut(placed, over_samples))


def tried(bench: Bench, proposals: Iterator[Proposal], target: Fault) -> Iterator[Mend]:
    """The first proposal of each kind that works, as a mend."""
    board = bench.timeline.storyboard
    done: set[str] = set()
    for kind, changes, how in proposals:
        if kind in done:
            continue
        after = bench.try_out(changes, target)
        if after is None:
            continue
        done.add(kind)
        growth = (after.frames - bench.timeline.frames) / bench.timeline.rate
        grows = f" (the programme gets {float(abs(growth)):.2f} s {'longer' if growth > 0 else 'shorter'})"
        yield Mend(kind, f"{how}: {told(board, changes)}{grows if growth else ''}", edits(board, changes))


def index_of(timeline: Timeline, segment: str) -> int | None:
    """Where a segment stands in the storyboard; None for empty ground between segments."""
    ids = [written.id for written in timeline.storyboard.segments]
    return ids.index(segment) if segment in ids else None


def resized(timeline: Timeline, placed: PlacedSegment, frames: int, end_moves: int) -> Iterator[list[Change]]:
    """Ways to write a segment `frames` longer (negative: shorter), its end moving by `end_moves`."""
    segment, rate = placed.segment, timeline.rate
    index = index_of(timeline, segment.id)
    length = placed.span.frames + frames
    if index is None or length < 1:
        return
    end: list[Change] = []
    if segment.until is not None:
        if end_moves:
            end = [Change(index, "until", frames_time(segment.until.frames + end_moves, rate))]
    elif segment.lasts is not None and "lasts" in segment.places:
        end = [Change(index, "lasts", frames_time(length, rate))]
    lengths = [shot.lasts.frames for shot in segment.shots if shot.lasts is not None]
    keep = ceil(SHORTEST_LEFT_S * rate)
    if len(lengths) < len(segment.shots):
        if frames > 0 or length - sum(lengths) >= keep:
            yield end  # the shot without a length of its own takes or gives
        return
    longest = max(range(len(lengths)), key=lambda shot: lengths[shot])
    for shot in dict.fromkeys((len(lengths) - 1, longest)):
        after = lengths[shot] + frames
        if frames > 0 or after >= keep:
            yield [*end, Change(index, "lasts", frames_time(after, rate), shot=shot)]


def _spare(timeline: Timeline, placed: PlacedSegment) -> int:
    """Frames that a lender can give up."""
    return placed.span.frames - max(placed.needed_frames, ceil(SHORTEST_LEFT_S * timeline.rate))


def _borrow(timeline: Timeline, number: int, amounts: Sequence[int], least: int) -> Iterator[Proposal]:
    placed = timeline.segments[number]
    before = timeline.segments[number - 1] if number else None
    after = timeline.segments[number + 1] if number + 1 < len(timeline.segments) else None
    if after is not None and after.segment.start is not None:
        after = None
    if before is not None and (placed.segment.start is not None or before.segment.until is not None):
        before = None
    rate = timeline.rate
    from_after = max(0, _spare(timeline, after)) if after else 0
    from_before = max(0, _spare(timeline, before)) if before else 0
    for amount in amounts:
        for late, early in dict.fromkeys(((amount, 0), (0, amount), (from_after, amount - from_after))):
            if late > from_after or early > from_before or late < 0 or early < 0:
                continue
            lent = [(after, late, from_after)] * bool(late) + [(before, early, from_before)] * bool(early)
            how = " and ".join(
                f"{float(given / rate):.2f} s from '{lender.segment.id}' (it has {float(spare / rate):.2f} s to spare)"
                for lender, given, spare in lent
                if lender is not None
            )
            if amount > least:
                how += ", which leaves the usual silence after it"
            shrunk_after = list(resized(timeline, after, -late, 0)) if after is not None and late else [[]]
            shrunk_before = list(resized(timeline, before, -early, -early)) if before is not None and early else [[]]
            for own in resized(timeline, placed, amount, late):
                for behind in shrunk_after:
                    for ahead in shrunk_before:
                        yield "borrow", [*own, *behind, *ahead], f"take {how}"


def pauses(timeline: Timeline, placed: PlacedSegment, samples: int) -> Iterator[Proposal]:
    """Shorten the longest pauses between lines, to one length, so that `samples` are won."""
    index = index_of(timeline, placed.segment.id)
    usual = timeline.storyboard.narration.pause
    lengths = {line.number: (line.line.pause or usual).seconds for line in placed.lines[:-1]}
    longest = sorted(lengths.values(), reverse=True)
    needed = seconds(samples)
    if index is None or sum(max(Fraction(0), pause - SHORTEST_PAUSE_S) for pause in longest) < needed:
        return
    # Lower the longest pauses together, taking in the next longest whenever they come down to it.
    for count in range(1, len(longest) + 1):
        level = (sum(longest[:count], Fraction(0)) - needed) / count
        if count == len(longest) or level >= longest[count]:
            break
    for spare_ms in (0, 1):
        ms = floor(level * 1000) - spare_ms
        if ms < SHORTEST_PAUSE_S * 1000:
            return
        value = short_time(ms, timeline.rate)
        lines = [line for line, pause in lengths.items() if pause > value.seconds]
        yield "pauses", [Change(index, "pause", value, line=line) for line in lines], (
            f"shorten {'the pause' if len(lines) == 1 else 'the pauses'} after its lines"
        )


def _extend(timeline: Timeline, number: int, amounts: Sequence[int]) -> Iterator[Proposal]:
    placed = timeline.segments[number]
    for amount in amounts:
        for own in resized(timeline, placed, amount, amount):
            if own:
                how = f"let it last {frames_time(placed.span.frames + amount, timeline.rate)}"
                if placed.segment.until is None and amount == placed.needed_frames - placed.span.frames:
                    how += ", as `lasts: fit` would"
                yield "extend", own, how


def natural_samples(line: PlacedLine) -> int:
    """How long a line was before it was stretched."""
    speech = line.speech
    return speech.samples if speech.unstretched is None else speech.unstretched


def natural_wpm(line: PlacedLine, storyboard: Storyboard) -> Fraction:
    """Words a minute of a line before it was stretched; 0 for one without length."""
    length = natural_samples(line)
    return Fraction(60 * said_words(line, storyboard) * SAMPLE_RATE, length) if length else Fraction(0)


def faster(timeline: Timeline, placed: PlacedSegment, samples: int) -> Iterator[Proposal]:
    """Make takes faster by as little as wins `samples`. What is not recorded yet has no pace of its own to change."""
    index = index_of(timeline, placed.segment.id)
    lines = [line for line in placed.lines if line.speech.kind == "take"]
    board, step = timeline.storyboard, Fraction(1, 1000)
    while index is not None and lines:
        left = sum(line.speech.samples for line in lines) - samples
        whole = sum(natural_samples(line) for line in lines)
        if left <= 0 or Fraction(whole, left) - 1 > MOST_FASTER:
            return
        change = ceil((Fraction(whole, left) - 1) / step) * step
        kept = [line for line in lines if natural_wpm(line, board) * (1 + change) <= FASTEST_STRETCHED_WPM]
        if len(kept) == len(lines):
            for more in (change, change + step):
                if more <= MOST_FASTER:
                    changes = [Change(index, "stretch", more, line=line.number) for line in lines]
                    yield "stretch", changes, f"make the voice {float(100 * more):g} % faster at its own pitch"
            return
        lines = kept


def words_to_cut(placed: PlacedSegment, samples: int) -> tuple[int, int]:
    """How many of a segment's words take `samples` to say, at its own pace, and how many it has."""
    words = sum(len(line.speech.words) for line in placed.lines)
    speaking = sum(line.speech.samples for line in placed.lines)
    return max(1, ceil(Fraction(samples * words, speaking))) if speaking else 1, words


def cut(placed: PlacedSegment, samples: int) -> Mend:
    """How many words to take out. For a person to do."""
    count, words = words_to_cut(placed, samples)
    if count >= words:
        return Mend("cut", "cut its words altogether, or say them in another segment")
    again = " and record again" if any(line.speech.kind == "take" for line in placed.lines) else ""
    return Mend("cut", f"cut about {count} word{'s' if count > 1 else ''} of its {words}{again}")
