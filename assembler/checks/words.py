"""Can every word be drawn, and does it have room?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction

from assembler.checks.shots import readable_shots
from assembler.errors import AssemblerError, Finding, Place
from assembler.picture.arrange import label_words, layout_of
from assembler.picture.labels import label_overflows
from assembler.picture.stage import Stage
from assembler.picture.text import FontSet
from assembler.storyboard.model import Card, Split, Storyboard, Summary
from assembler.timeline.model import PlacedSegment, PlacedShot, Timeline

_LABEL_READ_S = Fraction(1)
"""A name of one or two words can be read in a second. Common practice, no source."""


def missing_glyphs(storyboard: Storyboard, fonts: FontSet) -> Iterator[Finding]:
    """Characters of the storyboard that no font at hand can draw."""
    yield from undrawable(_drawn_words(storyboard), fonts)


def undrawable(words: Iterable[tuple[str, Place | None]], fonts: FontSet) -> Iterator[Finding]:
    """Texts with characters that no font at hand can draw."""
    for text, place in words:
        missing = fonts.missing(text)
        if missing:
            shown = ", ".join(f"'{cluster}' (U+{ord(cluster[0]):04X})" for cluster in dict.fromkeys(missing))
            yield Finding(
                "error",
                "glyph-missing",
                place,
                f"no font here can draw {shown}",
                "name a font file that has it under `fonts:`, or write it differently",
            )


def _drawn_words(storyboard: Storyboard) -> Iterator[tuple[str, Place | None]]:
    for subject in storyboard.subjects.values():
        yield subject.name, subject.at("name")
        yield subject.note, subject.at("note")
    for segment in storyboard.segments:
        for line in segment.say:
            yield line.text, line.at("text")
        for shot in segment.shots:
            for pane in shot.arrangement.panes:
                yield pane.label or "", pane.at("label")
            if isinstance(shot.arrangement, Card):
                yield from _card_words(shot.arrangement)
            if isinstance(shot.arrangement, Summary):
                yield shot.arrangement.title, shot.arrangement.at("title")


def _card_words(card: Card) -> Iterator[tuple[str, Place | None]]:
    yield card.title, card.at("title")
    yield card.note, card.at("note")
    if card.table is not None:
        for cell in (*card.table.columns, *(cell for row in card.table.rows for cell in row)):
            yield cell, card.table.at()


def label_room(timeline: Timeline, stage: Stage) -> Iterator[Finding]:
    """Labels that have to be shortened to fit above or over their pane."""
    for placed, shot in readable_shots(timeline):
        yield from _labels_of(placed, shot, stage)
        if isinstance(shot.arrangement, Split):
            yield from _beside_the_line(placed, shot, stage)


def _labels_of(placed: PlacedSegment, shot: PlacedShot, stage: Stage) -> Iterator[Finding]:
    layout = layout_of(shot, stage)
    for pane, box in zip(shot.panes, layout.label_boxes, strict=True):
        words = label_words(pane, stage)
        if words is None or box is None:
            continue
        name, note, _ = words
        height, over = stage.type_height, layout.labels_over_picture
        if label_overflows(name, note, height, box.width, stage.fonts, backing=over):
            yield Finding(
                "warning",
                "label-overflow",
                pane.pane.at("label"),
                f"the label of capture '{pane.capture.id}' in segment '{placed.segment.id}' has no room and is "
                f"shortened: '{' '.join(filter(None, (name, note)))}'",
                "shorten the subject's note, or give the pane a `label:` of its own",
            )


def _beside_the_line(placed: PlacedSegment, shot: PlacedShot, stage: Stage) -> Iterator[Finding]:
    """Labels of a split that its line leaves too little room, or room for too short a time."""
    from assembler.picture.arrange_split import legible_frames

    for pane, frames in zip(shot.panes, legible_frames(shot, stage), strict=True):
        if frames is None or frames / stage.rate >= min(_LABEL_READ_S, shot.span.frames / stage.rate / 2):
            continue
        how = "is never seen" if not frames else f"is seen for {float(frames / stage.rate):.2f} s only"
        yield Finding(
            "warning",
            "label-hidden",
            shot.arrangement.at("line"),
            f"the label of capture '{pane.capture.id}' in the split of segment '{placed.segment.id}' {how}: the line "
            "leaves it no more room",
            "keep the line further from that edge, give the pane a shorter `label:`, or write `labels: false`",
        )


def card_room(timeline: Timeline, stage: Stage) -> Iterator[Finding]:
    """Cards whose words or table have to be cut."""
    for placed in timeline.segments:
        for shot in placed.segment.shots:
            if isinstance(shot.arrangement, Card):
                yield from _on_card(placed, shot.arrangement, stage)


def _on_card(placed: PlacedSegment, card: Card, stage: Stage) -> Iterator[Finding]:
    from assembler.picture.cards import card_overflows

    try:
        faults = card_overflows(card, stage)
    except AssemblerError:
        return  # its still picture cannot be read, which is a finding of its own
    for fault in faults:
        mend = "say it in fewer words or rows"
        yield Finding("error", "card-overflow", card.at(), f"the card of segment '{placed.segment.id}': {fault}", mend)
