"""Captions that cannot be read in time, reported at the line that causes them: of the narration, or of the caption
file where a person wrote or corrected them."""

from __future__ import annotations

from collections.abc import Iterator

from assembler.captions.cues import Cue
from assembler.captions.limits import limits_from, limits_name
from assembler.captions.project import Files
from assembler.captions.violations import Kind, violations
from assembler.errors import Finding, Place
from assembler.timeline.model import Timeline

_MENDS: dict[Kind, str] = {
    "too-fast": "say it more slowly or with fewer words, or leave a pause after it",
    "too-short": "leave a pause after the line, or join it to its neighbour",
    "too-long": "divide the line in two",
    "too-wide": "use shorter words there",
    "too-many-lines": "divide the line in two",
    "too-close": "leave a pause between the lines",
}
_MENDS_BY_HAND: dict[Kind, str] = {
    "too-fast": "shorten its text, or let it end later",
    "too-short": "let it end later, or join it to its neighbour",
    "too-long": "divide it in two, or let it end earlier",
    "too-wide": "break its line elsewhere, or shorten its text",
    "too-many-lines": "divide it in two, or shorten its text",
    "too-close": "let it end earlier, or the next one start later",
}


def reading_limits(timeline: Timeline, cues: tuple[Cue, ...]) -> Iterator[Finding]:
    """One finding a broken limit; the limits are those the storyboard names."""
    settings = timeline.storyboard.captions
    name = limits_name(settings)
    file = Files(timeline.folder, timeline.storyboard.language)
    places = {
        (placed.segment.id, number): line.at("text")
        for placed in timeline.segments
        for number, line in enumerate(placed.segment.say, 1)
    }
    for broken in violations(cues, timeline.rate, limits_from(settings)):
        line = cues[broken.number - 1].file_line
        if not line and broken.kind == "too-close":
            line = cues[broken.number].file_line  # the one after it was moved onto it
        yield Finding(
            "warning",
            f"caption-{broken.kind}",
            Place(file.shown(file.captions), line, 1) if line else places.get((broken.segment, broken.line)),
            f"{broken} (limits: {name})",
            (_MENDS_BY_HAND if line else _MENDS)[broken.kind],
        )
