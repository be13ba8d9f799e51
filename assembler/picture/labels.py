"""A pane's label: the subject's name in bold, its note beside it, and a rule in the subject's
colour and line style beneath, the same as the subject's graph is drawn with."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from assembler.picture.clusters import clusters, pieces
from assembler.picture.look import (
    GROUND,
    INK,
    LINE_CONTRAST,
    MUTED,
    NAME_PX,
    NOTE_PX,
    SUBJECT_COLOURS,
    TEXT_CONTRAST,
    backing_opacity,
    even,
    line_style,
    scaled,
    subject_colour,
    whole,
)
from assembler.picture.sheet import Sheet
from assembler.picture.sprite import Sprite
from assembler.picture.text import FontSet

ELLIPSIS = "…"
BACKING = backing_opacity(
    (INK, TEXT_CONTRAST), (MUTED, TEXT_CONTRAST), *((colour, LINE_CONTRAST) for colour in SUBJECT_COLOURS)
)
_LOOSE_ENDS = " ,;:·–—-(/|"


@dataclass(frozen=True, slots=True)
class _Places:
    """Where the parts of a label lie, in pixels of its box."""

    margin_x: int
    margin_y: int
    baseline: int
    gap: int
    rule_top: int
    rule_h: int
    rule_w: int
    height: int


def _places(canvas_h: int, backing: bool) -> _Places:
    margin_x = whole(14, canvas_h) if backing else 0
    margin_y = whole(8, canvas_h) if backing else 0
    baseline = margin_y + whole(26, canvas_h)
    rule_top = baseline + whole(14, canvas_h)
    rule_h = whole(4, canvas_h)
    bottom = whole(11, canvas_h) if backing else 0
    return _Places(
        margin_x=margin_x,
        margin_y=margin_y,
        baseline=baseline,
        gap=whole(15, canvas_h),
        rule_top=rule_top,
        rule_h=rule_h,
        rule_w=whole(66, canvas_h),
        height=even(rule_top + rule_h + bottom),
    )


def label_height(canvas_h: int, *, backing: bool) -> int:
    """How many rows a label takes, whatever it says (even)."""
    return _places(canvas_h, backing).height


def label_sprite(
    name: str,
    note: str,
    order: int,
    canvas_h: int,
    max_width: int,
    fonts: FontSet,
    *,
    backing: bool,
    bits: int = 8,
) -> Sprite:
    """A label no wider than max_width pixels.

    order: the subject's, from 0; it chooses colour and line style. backing: with a ground of its
    own, for a label that lies over a picture. The name starts at the placed point's column (inside
    the backing's margin), whatever its first letter.
    """
    places = _places(canvas_h, backing)
    name, note = fitted(name, note, canvas_h, max_width, fonts, backing=backing)
    name_line = fonts.line(name, scaled(NAME_PX, canvas_h), bold=True)
    note_line = fonts.line(note, scaled(NOTE_PX, canvas_h))
    name_x = float(places.margin_x)
    note_x = name_x + name_line.width_px + places.gap
    words_end = note_x + note_line.width_px if note else name_x + name_line.width_px
    marks = _rule_marks(order, places)
    box_w = even(max(words_end, name_x + marks[-1][1]) + places.margin_x)
    ink = [name_x, float(places.rule_top), name_x + marks[-1][1], float(places.rule_top + places.rule_h)]
    for line, x in ((name_line, name_x), (note_line, note_x)):
        if line.ink_px[0] < line.ink_px[2]:
            ink[0], ink[1] = min(ink[0], x + line.ink_px[0]), min(ink[1], places.baseline + line.ink_px[1])
            ink[2], ink[3] = max(ink[2], x + line.ink_px[2]), max(ink[3], places.baseline + line.ink_px[3])
    if backing:
        # Tall or deep scripts push the ground out, not the baseline.
        top, bottom = min(0, int(ink[1]) - 4), max(places.height, int(ink[3]) + 5)
        left, right = min(0, int(ink[0]) - 2), max(box_w, int(ink[2]) + 3)
        sheet = Sheet(box_w, places.height, (left + 1, top + 1, right - 1, bottom - 1))
        sheet.plate(left, top, right, bottom, scaled(5, canvas_h), GROUND, BACKING)
    else:
        sheet = Sheet(box_w, places.height, (ink[0], ink[1], ink[2], ink[3]))
    for start, end in marks:
        sheet.bar(name_x + start, places.rule_top, name_x + end, places.rule_top + places.rule_h, subject_colour(order))
    sheet.words(name_line, name_x, places.baseline, INK)
    sheet.words(note_line, note_x, places.baseline, MUTED)
    return sheet.sprite(bits)


def _rule_marks(order: int, places: _Places) -> list[tuple[int, int]]:
    """Starts and ends of the rule's marks, in whole pixels and all alike: it ends on a whole mark,
    so its length is only near to `rule_w`."""
    lengths = [max(1, round(part * places.rule_h)) for part in line_style(order)]
    if not lengths:
        return [(0, places.rule_w)]
    repeats = round((places.rule_w - lengths[0]) / sum(lengths))
    marks, x = [], 0
    for part in range(repeats * len(lengths) + 1):
        length = lengths[part % len(lengths)]
        if part % 2 == 0:
            marks.append((x, x + length))
        x += length
    return marks


def fitted(name: str, note: str, canvas_h: int, max_width: int, fonts: FontSet, *, backing: bool) -> tuple[str, str]:
    """Name and note as they fit: first the note loses words, then all of itself, then the name is cut."""
    places = _places(canvas_h, backing)
    # Two pixels stay for ink that leans out of its advance.
    room = max_width - 2 * places.margin_x - 2
    name_px, note_px = scaled(NAME_PX, canvas_h), scaled(NOTE_PX, canvas_h)
    name, note = " ".join(name.split()), " ".join(note.split())
    name_w = fonts.width(name, name_px, bold=True)
    if name_w <= room:
        return name, shortened(note, note_px, room - name_w - places.gap, fonts)
    return shortened(name, name_px, room, fonts, bold=True, inside_words=True), ""


def shortened(
    text: str, size_px: float, max_width_px: float, fonts: FontSet, *, bold: bool = False, inside_words: bool = False
) -> str:
    """The text, or as many of its words as fit with an ellipsis after them, or "".

    inside_words: cut the first word too, between clusters, rather than give nothing; then at
    least the ellipsis is left.
    """
    if fonts.width(text, size_px, bold=bold) <= max_width_px:
        return text
    cuts = [pieces(text)]
    if inside_words:
        cuts.append(clusters(text))
    for parts in cuts:

        def kept(count: int, parts: tuple[str, ...] = parts) -> str:
            return "".join(parts[:count]).rstrip(_LOOSE_ENDS) + ELLIPSIS

        counts = range(1, len(parts))
        # More text is wider, near enough to find the place by halving; the last steps are looked at singly.
        most = bisect_right(counts, max_width_px, key=lambda count: fonts.width(kept(count), size_px, bold=bold))
        for count in range(min(most + 1, len(counts)), 0, -1):
            text = kept(count)
            if text != ELLIPSIS and fonts.width(text, size_px, bold=bold) <= max_width_px:
                return text
    return ELLIPSIS if inside_words else ""


def label_overflows(
    name: str, note: str, canvas_h: int, max_width: int, fonts: FontSet, *, backing: bool = False
) -> bool:
    """Whether the label has to be shortened to fit."""
    whole_text = (" ".join(name.split()), " ".join(note.split()))
    return fitted(name, note, canvas_h, max_width, fonts, backing=backing) != whole_text
