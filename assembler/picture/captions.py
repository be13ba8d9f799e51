"""Burnt-in captions: centred lines on a ground of their own, inside the graphics-safe area.

A line is a text, or runs of bold, italic and underlined letters (captions/styled.py).
"""

from __future__ import annotations

from collections.abc import Sequence

from assembler.captions.styled import Line, plain, text_of
from assembler.picture.look import (
    CAPTION_LINE_HEIGHT,
    CAPTION_PX,
    GROUND,
    INK,
    TEXT_CONTRAST,
    backing_opacity,
    even,
    safe_area,
    scaled,
    whole,
)
from assembler.picture.sheet import Sheet
from assembler.picture.sprite import Sprite
from assembler.picture.text import FontSet, ShapedLine

MOST_LINES = 3
_RULE_BELOW, _RULE = 0.12, 0.06
"""How far below the baseline underlining begins, and how thick it is, in ems; common practice, no source."""
BACKING = backing_opacity((INK, TEXT_CONTRAST))


def _margins(canvas_h: int) -> tuple[int, int, int, int]:
    """Side margin, rows above the first baseline, rows below the last one, and rows from line to line."""
    size = scaled(CAPTION_PX, canvas_h)
    return whole(20, canvas_h), round(size * 1.10), round(size * 0.48), round(size * CAPTION_LINE_HEIGHT)


def caption_height(lines: int, canvas_h: int) -> int:
    """How many rows a caption of that many lines takes (even)."""
    _, above, below, step = _margins(canvas_h)
    return even(above + max(0, lines - 1) * step + below)


def caption_room(canvas_w: int, canvas_h: int) -> int:
    """How wide a caption line may be, in pixels."""
    return safe_area(canvas_w, canvas_h)[2] - 2 * _margins(canvas_h)[0]


def caption_sprite(lines: Sequence[str | Line], canvas_w: int, canvas_h: int, fonts: FontSet, bits: int = 8) -> Sprite:
    """The lines, centred, on one plate. A line wider than the safe area is broken, never cut.

    Every caption with the same number of lines has the same box height and the same baselines.
    """
    size = scaled(CAPTION_PX, canvas_h)
    room = caption_room(canvas_w, canvas_h)
    side, above, _, step = _margins(canvas_h)
    # All lines of a caption read in one direction, whatever each begins with.
    runs = [plain(line) if isinstance(line, str) else line for line in lines]
    base = fonts.direction_of(" ".join(map(text_of, runs)))
    shaped = [shaped for line in runs for shaped in _shaped(line, size, room, base, fonts)]
    if all(line.ink_px[0] == line.ink_px[2] for line in shaped):
        return Sheet(2, 2).sprite(bits)
    box_w = even(max(line.width_px for line in shaped) + 2 * side)
    box_h = caption_height(len(shaped), canvas_h)
    starts = [(box_w - line.width_px) / 2 for line in shaped]
    baselines = [above + number * step for number in range(len(shaped))]
    placed = zip(starts, baselines, shaped, strict=True)
    seen = [(start, baseline, line.ink_px) for start, baseline, line in placed if line.ink_px[0] < line.ink_px[2]]
    # Tall or deep scripts push the ground out, not the baseline.
    top = min(0, *(int(b + ink[1]) - 4 for _, b, ink in seen))
    bottom = max(box_h, *(int(b + ink[3]) + 5 for _, b, ink in seen))
    left = min(0, *(int(s + ink[0]) - 4 for s, _, ink in seen))
    right = max(box_w, *(int(s + ink[2]) + 5 for s, _, ink in seen))
    sheet = Sheet(box_w, box_h, (left + 1, top + 1, right - 1, bottom - 1))
    sheet.plate(left, top, right, bottom, scaled(6, canvas_h), GROUND, BACKING)
    for line, start, baseline in zip(shaped, starts, baselines, strict=True):
        sheet.words(line, start, baseline, INK)
        for from_px, to_px in line.underlined_px:
            below = baseline + _RULE_BELOW * size
            sheet.bar(start + from_px, below, start + to_px, below + max(1.0, _RULE * size), INK)
    return sheet.sprite(bits)


def _shaped(line: Line, size: float, room: float, base: int, fonts: FontSet) -> list[ShapedLine]:
    """The line ready to draw, in as many pieces as it takes."""
    text = text_of(line)
    # Room is measured in the heavier letters where there are some: what is broken is never too wide.
    bold = any("b" in run.styles for run in line)
    styles = tuple(run.styles for run in line for _ in run.text)
    found, at = [], 0
    for piece in fonts.wrap(text.strip(), size, room, bold=bold):
        at = text.index(piece, at)
        kept = styles[at : at + len(piece)]
        found.append(fonts.line(piece, size, base=base, styles=kept if any(kept) else ()))
        at += len(piece)
    return found


def caption_place(sprite: Sprite, canvas_w: int, bottom_y: int, top_y: int | None = None) -> tuple[int, int]:
    """Where to blend a caption so that it is centred and its box ends at row bottom_y, or begins at top_y."""
    y = (bottom_y - sprite.box_height) // 2 * 2 if top_y is None else even(top_y)
    return (canvas_w - sprite.box_width) // 4 * 2, y


def caption_overflows(lines: Sequence[str | Line], canvas_w: int, canvas_h: int, fonts: FontSet) -> bool:
    """Whether a line is wider than the safe area, or there are more than three."""
    size, room = scaled(CAPTION_PX, canvas_h), caption_room(canvas_w, canvas_h)
    runs = [plain(line) if isinstance(line, str) else line for line in lines]
    return len(lines) > MOST_LINES or any(len(_shaped(line, size, room, 0, fonts)) > 1 for line in runs)
