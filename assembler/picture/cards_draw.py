"""Composes a card: title and note, a still picture with words beside it, or a table under its title.

Words begin on a third of the width and stay clear of the captions' room; on a canvas higher than wide they
begin at the safe area's edge. Here everything lies at rest; cards.py brings it on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image

from assembler.picture.cards_table import draw_table, table_width
from assembler.picture.drawing import Block, Drawing, Paragraph, paragraph
from assembler.picture.geometry import Rect, floor_even, near_even
from assembler.picture.layout import lay_out
from assembler.picture.look import INK, MUTED, scaled, whole
from assembler.picture.stage import Stage
from assembler.storyboard.model import Card

TITLE_SIZES = (72.0, 64.0, 56.0, 48.0)
NOTE_SIZES = (30.0, 27.0, 24.0)
SIDE_TITLE_SIZES = (44.0, 38.0, 32.0)
SIDE_NOTE_SIZES = (26.0, 24.0, 22.0)
_MOST_TITLE_LINES, _MOST_NOTE_LINES = 3, 4
_ABOVE_MIDDLE = 0.45
"""Share of the free height that lies above a block: a little less than below looks centred."""


@dataclass(frozen=True, slots=True)
class DrawnCard:
    """A card at rest: its things in the order they come on, and what did not fit, in sentences."""

    blocks: tuple[Block, ...]
    faults: tuple[str, ...]


def draw_card(card: Card, stage: Stage, picture: Image.Image | None) -> DrawnCard:
    """Compose a card. picture: the card's still picture, loaded, or None if it has none."""
    room = lay_out(card, (), stage.width, stage.height).content
    third = near_even(stage.width / 3) if stage.width > stage.height else room.x
    if picture is not None or card.picture is not None:
        return _picture_card(card, stage, picture, room, third)
    if card.table is not None:
        return _table_card(card, stage, room, third)
    words = _Words.of(card, stage, room.right - third, TITLE_SIZES, NOTE_SIZES)
    top = room.y + (room.height - words.height) * _ABOVE_MIDDLE
    return DrawnCard(words.blocks(stage, third, top, room.right - third), words.faults(room.height))


@dataclass(frozen=True, slots=True)
class _Words:
    """A title, a short rule and a note, set and measured."""

    title: Paragraph
    note: Paragraph
    canvas_h: int

    @classmethod
    def of(
        cls, card: Card, stage: Stage, width: int, title_sizes: tuple[float, ...], note_sizes: tuple[float, ...]
    ) -> _Words:
        high = stage.type_height
        return cls(
            paragraph(
                card.title,
                [scaled(size, high) for size in title_sizes],
                width,
                _MOST_TITLE_LINES,
                stage.fonts,
                bold=True,
                leading=1.2,
            ),
            paragraph(
                card.note,
                [scaled(size, high) for size in note_sizes],
                width,
                _MOST_NOTE_LINES,
                stage.fonts,
                leading=1.45,
            ),
            high,
        )

    @property
    def _above_rule(self) -> int:
        return whole(34, self.canvas_h)

    @property
    def _below_rule(self) -> int:
        return whole(30, self.canvas_h)

    @property
    def _rule(self) -> int:
        return whole(4, self.canvas_h)

    @property
    def height(self) -> float:
        """Pixels from the title's capitals to the note's last baseline."""
        title, note = self.title.height_px, self.note.height_px
        if title and note:
            return title + self._above_rule + self._rule + self._below_rule + note
        return title + self._above_rule + self._rule if title else note

    def blocks(self, stage: Stage, x: int, top: float, width: int) -> tuple[Block, ...]:
        """Title, rule, note."""
        drawn: list[Block | None] = []
        y = top
        if self.title.lines:
            drawing = Drawing(stage.width, stage.height)
            y = self.title.draw(drawing, x, y, width, INK) + self._above_rule
            drawn.append(drawing.block())
            drawing = Drawing(stage.width, stage.height)
            long = whole(66, self.canvas_h)
            drawing.bar(x + width - long if self.title.lines[0].right_to_left else x, y, long, self._rule, MUTED)
            drawn.append(drawing.block())
            y += self._rule + self._below_rule
        if self.note.lines:
            drawing = Drawing(stage.width, stage.height)
            self.note.draw(drawing, x, y, width, MUTED)
            drawn.append(drawing.block())
        return tuple(block for block in drawn if block)

    def faults(self, room: float) -> tuple[str, ...]:
        found = [
            f"the card's {name} takes more than {most} lines, even at its smallest size"
            for name, part, most in (
                ("title", self.title, _MOST_TITLE_LINES),
                ("note", self.note, _MOST_NOTE_LINES),
            )
            if not part.fits
        ]
        if self.height > room:
            found.append("the card's title and note are higher than the picture's safe area")
        return tuple(found)


def _table_card(card: Card, stage: Stage, room: Rect, third: int) -> DrawnCard:
    assert card.table is not None
    high, fonts = stage.type_height, stage.fonts
    left = third if table_width(card.table, high, fonts) <= room.right - third else room.x
    width = room.right - left
    words = _Words.of(card, stage, width, SIDE_TITLE_SIZES, SIDE_NOTE_SIZES)
    gap = whole(30, high) if words.height else 0
    above = near_even(words.height) + gap
    space = Rect(left, room.y + above, width, max(2, room.height - above))
    _, taken, faults = draw_table(card.table, space, (stage.width, stage.height), high, fonts)
    start = room.y + max(0.0, room.height - above - taken) * _ABOVE_MIDDLE
    moved = Rect(left, near_even(start) + above, width, space.height)
    blocks, _, _ = draw_table(card.table, moved, (stage.width, stage.height), high, fonts)
    return DrawnCard(
        (*words.blocks(stage, left, near_even(start), width), *blocks),
        (*words.faults(room.height), *faults),
    )


def _picture_card(card: Card, stage: Stage, picture: Image.Image | None, room: Rect, third: int) -> DrawnCard:
    """A picture fills the canvas, or the two thirds beside its words (above them on a high canvas)."""
    canvas = Rect(0, 0, stage.width, stage.height)
    if not card.title and not card.note:
        return DrawnCard((_fitted(picture, canvas),) if picture is not None else (), ())
    space = whole(40, stage.type_height)
    if stage.width > stage.height:
        frame = Rect(third, 0, stage.width - third, stage.height)
        column = Rect(room.x, room.y, third - space - room.x, room.height)
        shown = _fitted(picture, frame) if picture is not None else None
        words = _Words.of(card, stage, column.width, SIDE_TITLE_SIZES, SIDE_NOTE_SIZES)
        # Words hang from the picture's top edge, as a figure's caption does.
        top = shown.y if shown is not None else column.y
    else:
        words = _Words.of(card, stage, room.width, SIDE_TITLE_SIZES, SIDE_NOTE_SIZES)
        frame = Rect(0, 0, stage.width, max(2, room.bottom - near_even(words.height) - space))
        shown = _fitted(picture, frame) if picture is not None else None
        taken = shown.height if shown is not None else 0
        free = room.bottom - taken - space - words.height
        start = floor_even(max(0.0, free) * _ABOVE_MIDDLE)
        column = Rect(room.x, start + taken + space, room.width, room.bottom - start - taken - space)
        shown = Block(shown.rgba, shown.x, start) if shown is not None else None
        top = column.y
    top = max(column.y, min(top, column.bottom - near_even(words.height)))
    drawn = words.blocks(stage, column.x, top, column.width)
    room_high = room.height if shown is None else column.height
    return DrawnCard((*((shown,) if shown is not None else ()), *drawn), words.faults(room_high))


def _fitted(picture: Image.Image, room: Rect) -> Block:
    """A still picture as large as its room lets it be, in its middle."""
    share = min(room.width / picture.width, room.height / picture.height)
    width = min(room.width, max(2, near_even(picture.width * share)))
    height = min(room.height, max(2, near_even(picture.height * share)))
    # Premultiplied while scaling ("La", "RGBa"), so that clear pixels lend no colour to an edge.
    scaled_picture = picture.convert("RGBA").convert("RGBa").resize((width, height), Image.Resampling.LANCZOS)
    x, y = room.x + floor_even((room.width - width) / 2), room.y + floor_even((room.height - height) / 2)
    return Block(np.asarray(scaled_picture.convert("RGBA"), np.uint8), x, y)
