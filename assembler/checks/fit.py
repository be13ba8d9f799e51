"""Does the narration fit its pictures, and what is the cheapest way to make it fit?"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from math import ceil

from assembler.errors import Finding
from assembler.narration.spoken import spoken_words
from assembler.timeline.model import PlacedSegment, Timeline
from assembler.timing.rates import SAMPLE_RATE, sample_of_frame
from assembler.timing.timecode import frame_to_label

# Above this, few listeners follow technical speech. Common practice, no source.
TOO_FAST_WPM = 200


def narration_fit(timeline: Timeline) -> Iterator[Finding]:
    """Findings on narration that is longer than its segment or is cut by the programme's end."""
    last = len(timeline.segments) - 1
    for number, placed in enumerate(timeline.segments):
        if not placed.lines:
            continue
        over = _seconds(placed.lines[-1].end_sample - sample_of_frame(placed.span.end_frame, timeline.rate))
        if over > 0:
            following = timeline.segments[number + 1] if number < last else None
            yield _too_long(timeline, placed, following, over)
    yield from _collisions(timeline)


def speech_rate(timeline: Timeline) -> Iterator[Finding]:
    """Lines that are spoken too fast to follow. The scratch voice's pace is a setting, so only takes count."""
    for placed in timeline.segments:
        for line in placed.lines:
            words = sum(spoken_words(word.text) for word in line.speech.words)
            seconds = _seconds(line.speech.samples)
            if line.speech.kind != "take" or words < 5 or seconds <= 0:
                continue
            wpm = 60 * words / seconds
            if wpm > TOO_FAST_WPM:
                yield Finding(
                    "warning",
                    "speech-too-fast",
                    line.line.at("text"),
                    f"line {line.number} of '{line.segment}' is spoken at {float(wpm):.0f} words a minute; "
                    f"above {TOO_FAST_WPM} few can follow",
                    "speak it more slowly, or say less",
                )


def _seconds(samples: int) -> Fraction:
    return Fraction(samples, SAMPLE_RATE)


def _too_long(timeline: Timeline, placed: PlacedSegment, following: PlacedSegment | None, over: Fraction) -> Finding:
    segment = placed.segment
    words = sum(len(line.speech.words) for line in placed.lines)
    speaking = _seconds(sum(line.speech.samples for line in placed.lines))
    to_cut = max(1, ceil(over * words / speaking)) if speaking else 1
    estimated = any(line.speech.kind == "estimate" for line in placed.lines)
    about = " (estimated)" if estimated else ""
    needed = frame_to_label(placed.needed_frames, timeline.rate)
    mend = f"cut about {to_cut} word{'s' if to_cut > 1 else ''}, or let it last {needed} ('lasts: fit' does)"
    if segment.until is not None:
        end = frame_to_label(placed.span.start_frame + placed.needed_frames, timeline.rate)
        mend = f"cut about {to_cut} word{'s' if to_cut > 1 else ''}, or let it run until {end}"
    if following is None:
        return Finding(
            "error",
            "narration-cut",
            segment.at("say"),
            f"the programme ends {float(over):.2f} s before the narration of '{segment.id}' does{about}; "
            "its end would not be heard",
            mend,
        )
    slack = _slack(timeline, following)
    if slack >= over:
        spare = f"which has {float(slack):.2f} s to spare"
        mend += f", or borrow {float(over):.2f} s from '{following.segment.id}', {spare}"
    return Finding(
        "error",
        "narration-too-long",
        segment.at("say"),
        f"the narration of '{segment.id}' is {float(over):.2f} s longer than the segment{about}",
        mend,
    )


def _slack(timeline: Timeline, placed: PlacedSegment) -> Fraction:
    """Seconds of a segment that its own narration does not need."""
    return Fraction(placed.span.frames - placed.needed_frames) / timeline.rate


def _collisions(timeline: Timeline) -> Iterator[Finding]:
    """Lines that begin before the line before them has ended."""
    lines = [line for placed in timeline.segments for line in placed.lines]
    for before, line in pairwise(lines):
        over = _seconds(before.end_sample - line.start_sample)
        if over > 0:
            yield Finding(
                "error",
                "narration-overlap",
                line.line.at("text"),
                f"line {line.number} of '{line.segment}' begins {float(over):.2f} s before line {before.number} "
                f"of '{before.segment}' has ended: two voices would be heard",
                f"make room in '{before.segment}', or begin '{line.segment}' later",
            )
