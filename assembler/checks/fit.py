"""Does the narration fit its pictures, and what is the cheapest way to make it fit?"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from assembler.checks.mends import narration_mends, resized, tried
from assembler.checks.misfits import collisions, overrun_samples, seconds, silent_end_s
from assembler.checks.trial import MOST_MENDED, Bench, ends_early, too_long
from assembler.errors import Finding, Mend
from assembler.timeline.model import PlacedSegment, Timeline
from assembler.timing.timecode import frame_to_label


def narration_fit(timeline: Timeline) -> Iterator[Finding]:
    """Findings on narration that is longer than its segment, cut by the programme's end, or over long before it."""
    bench: Bench | None = None
    mended = 0
    for number, placed in enumerate(timeline.segments):
        if not placed.lines:
            continue
        over = overrun_samples(placed, timeline)
        silence = silent_end_s(placed, timeline)
        if over <= 0 and silence is None:
            continue
        bench = bench or Bench.of(timeline)
        mended += 1
        if over > 0:
            target = too_long(placed.segment.id)
            mends = narration_mends(bench, number, target, over) if mended <= MOST_MENDED else ()
            yield _too_long(timeline, placed, seconds(over), mends)
            yield from _collisions(timeline, placed, mends)
        elif silence is not None:
            yield _silence(timeline, placed, silence, bench if mended <= MOST_MENDED else None)


def estimated(placed: PlacedSegment) -> str:
    """How far a segment's lengths can be trusted, to be said after them."""
    kinds = {line.speech.kind for line in placed.lines}
    if "estimate" in kinds:
        return " (estimated)"
    return " (spoken by the scratch voice)" if "scratch" in kinds else ""


def _too_long(timeline: Timeline, placed: PlacedSegment, over: Fraction, mends: tuple[Mend, ...]) -> Finding:
    segment = placed.segment
    wait = "" if mends else "mend the findings above first; they may change this one"
    if placed is timeline.segments[-1]:
        what = (
            f"the programme ends {float(over):.2f} s before the narration of '{segment.id}' does{estimated(placed)}; "
            "its end would not be heard"
        )
        return Finding("error", "narration-cut", segment.at("say"), what, wait, mends)
    what = f"the narration of '{segment.id}' is {float(over):.2f} s longer than the segment{estimated(placed)}"
    return Finding("error", "narration-too-long", segment.at("say"), what, wait, mends)


def _collisions(timeline: Timeline, placed: PlacedSegment, mends: tuple[Mend, ...]) -> Iterator[Finding]:
    """Lines that begin before the last line of `placed` has ended. What makes that line fit ends this, too."""
    for collision in collisions(timeline):
        before, line = collision.before, collision.line
        if before.segment == placed.segment.id:
            yield Finding(
                "error",
                "narration-overlap",
                line.line.at("text"),
                f"line {line.number} of '{line.segment}' begins {float(seconds(collision.samples)):.2f} s before "
                f"line {before.number} of '{before.segment}' has ended: two voices would be heard",
                f"make room in '{before.segment}', or begin '{line.segment}' later",
                mends,
            )


def _silence(timeline: Timeline, placed: PlacedSegment, silence: Fraction, bench: Bench | None) -> Finding:
    segment = placed.segment
    surplus = placed.span.frames - placed.needed_frames
    words = sum(len(line.speech.words) for line in placed.lines)
    speaking = seconds(sum(line.speech.samples for line in placed.lines))
    more = int(silence * words / speaking) if speaking else 0
    mends: tuple[Mend, ...] = ()
    if bench is not None:
        end = frame_to_label(placed.needed_frames, timeline.rate)
        shorter = (
            ("shorten", changes, f"let it last {end}") for changes in resized(timeline, placed, -surplus, -surplus)
        )
        mends = tuple(tried(bench, shorter, ends_early(segment.id)))
    mends += (Mend("add", f"say about {more} words more"),) if more else ()
    mends += (Mend("mean", "if the silence is meant, write the last line's `pause`"),)
    return Finding(
        "note",
        "narration-ends-early",
        segment.at("say"),
        f"nothing is said for the last {float(silence):.2f} s of '{segment.id}'{estimated(placed)}",
        "",
        mends,
    )
