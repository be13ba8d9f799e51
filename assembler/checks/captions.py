"""Captions that cannot be read in time, reported at the narration line that causes them."""

from __future__ import annotations

from collections.abc import Iterator

from assembler.captions.cues import Cue
from assembler.captions.limits import LIMITS
from assembler.captions.violations import Kind, violations
from assembler.errors import Finding
from assembler.timeline.model import Timeline

_MENDS: dict[Kind, str] = {
    "too-fast": "say it more slowly or with fewer words, or leave a pause after it",
    "too-short": "leave a pause after the line, or join it to its neighbour",
    "too-long": "divide the line in two",
    "too-wide": "use shorter words there",
    "too-many-lines": "divide the line in two",
    "too-close": "leave a pause between the lines",
}


def reading_limits(timeline: Timeline, cues: tuple[Cue, ...]) -> Iterator[Finding]:
    """One finding a broken limit; the limits are those the storyboard names."""
    name = timeline.storyboard.captions.limits
    places = {
        (placed.segment.id, number): line.at("text")
        for placed in timeline.segments
        for number, line in enumerate(placed.segment.say, 1)
    }
    for broken in violations(cues, timeline.rate, LIMITS[name]):
        yield Finding(
            "warning",
            f"caption-{broken.kind}",
            places.get((broken.segment, broken.line)),
            f"{broken} (limits: {name})",
            _MENDS[broken.kind],
        )
