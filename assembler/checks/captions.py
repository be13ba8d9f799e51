"""Captions that cannot be read in time, reported at the line that causes them: of the narration, or of the caption
file where a person wrote or corrected them."""

from __future__ import annotations

from collections.abc import Iterator

from assembler.captions.cues import Cue
from assembler.captions.files import styled_lines
from assembler.captions.limits import limits_from, limits_name
from assembler.captions.project import Files
from assembler.captions.violations import Kind, violations
from assembler.checks.words import undrawable
from assembler.errors import Finding, Place
from assembler.picture.captions import caption_overflows
from assembler.picture.stage import Stage
from assembler.picture.text import FontSet
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
    places = _Places(timeline)
    for broken in violations(cues, timeline.rate, limits_from(settings)):
        line = cues[broken.number - 1].file_line
        if not line and broken.kind == "too-close":
            line = cues[broken.number].file_line  # the one after it was moved onto it
        yield Finding(
            "warning",
            f"caption-{broken.kind}",
            places.of(line, broken.segment, broken.line),
            f"{broken} (limits: {name})",
            (_MENDS_BY_HAND if line else _MENDS)[broken.kind],
        )


def caption_room(timeline: Timeline, cues: tuple[Cue, ...], stage: Stage) -> Iterator[Finding]:
    """Captions too wide for the picture's safe area."""
    places = _Places(timeline)
    for cue in cues:
        if caption_overflows(styled_lines(cue), stage.width, stage.type_height, stage.fonts):
            where = f"of '{cue.segment}' " if cue.segment else ""
            yield Finding(
                "error",
                "caption-overflow",
                places.of(cue.file_line, cue.segment, cue.line),
                f"a caption {where}is wider than the safe area: '{' / '.join(cue.lines)}'",
                "use shorter words there, or a wider canvas",
            )


def caption_glyphs(timeline: Timeline, cues: tuple[Cue, ...], fonts: FontSet) -> Iterator[Finding]:
    """Captions that a person wrote with characters no font can draw. Those of the storyboard are found there."""
    places = _Places(timeline)
    written = (cue for cue in cues if cue.file_line)
    return undrawable(
        ((line, places.of(cue.file_line, cue.segment, cue.line)) for cue in written for line in cue.lines), fonts
    )


class _Places:
    """Where captions come from: the captions file for those a person wrote, else the storyboard."""

    def __init__(self, timeline: Timeline) -> None:
        file = Files(timeline.folder, timeline.storyboard.language)
        self._file = file.shown(file.captions)
        self._said = {
            (placed.segment.id, number): line.at("text")
            for placed in timeline.segments
            for number, line in enumerate(placed.segment.say, 1)
        }

    def of(self, file_line: int, segment: str, line: int) -> Place | None:
        return Place(self._file, file_line, 1) if file_line else self._said.get((segment, line))
