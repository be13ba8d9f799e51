"""Can what was measured carry the summaries that are built on it, and do they have room?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from assembler.errors import Finding
from assembler.measure.clock import Clock
from assembler.measure.figures import figures
from assembler.picture.stage import Stage
from assembler.storyboard.model import Summary
from assembler.timeline.model import PlacedSegment, PlacedShot, Summed, Timeline


def summaries(timeline: Timeline, stage: Stage) -> Iterator[Finding]:
    """Summaries that count nothing, count beyond a capture, or have no room on the canvas."""
    for placed in timeline.segments:
        for shot in placed.shots:
            if isinstance(shot.arrangement, Summary) and len(shot.summed) == len(shot.arrangement.captures):
                yield from _counted(timeline, placed, shot, shot.arrangement)
                yield from _room(placed, shot, shot.arrangement, stage)


def _counted(timeline: Timeline, placed: PlacedSegment, shot: PlacedShot, summary: Summary) -> Iterator[Finding]:
    what = f"the summary of segment '{placed.segment.id}'"
    empty = [(number, _why(timeline, each)) for number, each in enumerate(shot.summed)]
    empty = [(number, why) for number, why in empty if why]
    severity: Literal["error", "warning"] = "error" if len(empty) == len(shot.summed) else "warning"
    for number, why in empty:
        yield Finding(
            severity,
            "summary-not-counted",
            summary.at(f"captures[{number}]"),
            f"{what} has no figures for capture '{shot.summed[number].capture.id}': {why}",
            "sum up another stretch with `from` and `to`, or leave this capture out",
        )


def _why(timeline: Timeline, each: Summed) -> str:
    """Why nothing is counted of a capture; "" where something is."""
    cadence = timeline.measured.get(each.capture.id)
    if cadence is None:
        return "it could not be measured"
    if each.end_s <= each.start_s:
        return "nothing of it lies between `from` and `to`"
    return figures(cadence, Clock.of(timeline.captures[each.capture.id]), each.start_s, each.end_s).why


def _room(placed: PlacedSegment, shot: PlacedShot, summary: Summary, stage: Stage) -> Iterator[Finding]:
    from assembler.picture.summary_card import summary_of_shot

    if any(each.capture.id not in stage.measured for each in shot.summed):
        return
    for fault in summary_of_shot(shot, stage).faults:
        what = f"the summary of segment '{placed.segment.id}': {fault}"
        mend = "sum up fewer captures, or give it a shorter title or a larger canvas"
        yield Finding("error", "summary-overflow", summary.at(), what, mend)
