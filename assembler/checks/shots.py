"""The shots whose geometry can be known: all their captures could be read."""

from __future__ import annotations

from collections.abc import Iterator

from assembler.timeline.model import PlacedSegment, PlacedShot, Timeline


def readable_shots(timeline: Timeline) -> Iterator[tuple[PlacedSegment, PlacedShot]]:
    """Each shot that shows captures, all of them read, with its segment."""
    for placed in timeline.segments:
        for shot in placed.shots:
            if shot.panes and all(pane.capture.id in timeline.captures for pane in shot.panes):
                yield placed, shot
