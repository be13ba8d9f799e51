"""Trying a change out: the changed storyboard is laid on frames anew, and must be better and nowhere worse."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from assembler.checks.changes import Change, changed
from assembler.checks.misfits import collisions, overrun_samples, pace_fault, silent_end_s
from assembler.checks.panes import freezes_inside
from assembler.errors import Finding
from assembler.narration.stretch import at_speed, change_of
from assembler.timeline.model import Timeline
from assembler.timeline.resolve import resolve

MOST_MENDED = 20
"""Mends are worked out for this many findings of a kind; mending those changes the others."""

Fault = tuple[object, ...]
"""What is wrong and where: a code, then ids and numbers."""


def too_long(segment: str) -> Fault:
    return ("narration-too-long", segment)


def collides(segment: str, line: int) -> Fault:
    return ("narration-overlap", segment, line)


def ends_late(segment: str, shot: int, pane: int) -> Fault:
    return ("capture-too-short", segment, shot, pane)


def ends_early(segment: str) -> Fault:
    return ("narration-ends-early", segment)


def off_pace(code: str, segment: str, line: int) -> Fault:
    return (code, segment, line)


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """A timeline on which changes are tried, with its present faults and how large each is."""

    timeline: Timeline
    faults: dict[Fault, Fraction]

    @classmethod
    def of(cls, timeline: Timeline) -> Bench:
        """Lays the timeline out again to learn its faults of placement, which it does not hold."""
        again, placing = _resolved(timeline, ())
        return cls(timeline, _faults(again, placing))

    def try_out(self, changes: Sequence[Change], target: Fault) -> Timeline | None:
        """The changed timeline, if the target is gone and no other fault is new or larger; else None."""
        after, placing = _resolved(self.timeline, changes)
        faults = _faults(after, placing)
        if target in faults or any(size > self.faults.get(fault, 0) for fault, size in faults.items()):
            return None
        return after


def _resolved(timeline: Timeline, changes: Sequence[Change]) -> tuple[Timeline, Iterable[Finding]]:
    storyboard = changed(timeline.storyboard, changes)
    speech = {(line.segment, line.number): line.speech for placed in timeline.segments for line in placed.lines}
    for change in changes:
        if change.key == "stretch" and change.line is not None:
            segment = storyboard.segments[change.segment]
            key = segment.id, change.line
            speech[key] = at_speed(speech[key], change_of(segment.say[change.line - 1], storyboard))
    return resolve(storyboard, timeline.folder, timeline.captures, speech, timeline.measured)


def _faults(timeline: Timeline, placing: Iterable[Finding]) -> dict[Fault, Fraction]:
    """Every fault that a change of lengths, starts or speeds can make or mend. All sizes are above 0."""
    found: dict[Fault, Fraction] = {}
    for fault, count in Counter((f.code, f.place) for f in (*placing, *freezes_inside(timeline))).items():
        found[fault] = Fraction(count)
    for placed in timeline.segments:
        name = placed.segment.id
        if placed.lines and (over := overrun_samples(placed, timeline)) > 0:
            found[too_long(name)] = Fraction(over)
        for shot_number, shot in enumerate(placed.shots):
            for number, pane in enumerate(shot.panes):
                if pane.late_frames:
                    found[ends_late(name, shot_number, number)] = Fraction(pane.late_frames)
                if pane.early_frames:
                    found["capture-starts-late", name, shot_number, number] = Fraction(pane.early_frames)
        if (silence := silent_end_s(placed, timeline)) is not None:
            found[ends_early(name)] = silence
        for line in placed.lines:
            if wrong := pace_fault(line, timeline.storyboard):
                code, wpm = wrong
                # Too slow is worse the slower it is.
                found[off_pace(code, name, line.number)] = 1 / wpm if code == "speech-too-slow" else wpm
    for collision in collisions(timeline):
        found[collides(collision.line.segment, collision.line.number)] = Fraction(collision.samples)
    return found
