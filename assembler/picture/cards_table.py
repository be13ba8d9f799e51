"""Sets out and draws a small table: header muted, hairlines, first column left, figures right."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from assembler.picture.drawing import Block, Drawing
from assembler.picture.geometry import Rect
from assembler.picture.ground import RGB
from assembler.picture.labels import shortened
from assembler.picture.look import HAIRLINE, INK, MUTED, scaled, whole
from assembler.picture.text import FontSet, ShapedLine
from assembler.storyboard.model import Table

BODY_PX, HEADER_PX = 30.0, 21.0
SMALLEST_BODY_PX, SMALLEST_HEADER_PX = 18.0, 15.0
_STEPS = 13  # sizes tried, from the largest to the smallest

_FIGURE = re.compile(
    r"[+\-−±~≈<>≤≥]?\s?\d[\d.,:'  /]*(\s?[±–×x-]\s?\d[\d.,]*)?\s?[^\W\d_]{0,12}[%°²³/.]?[^\W\d_]{0,6}\.?"
)
_NOTHING = frozenset(("", "-", "–", "—", "−", "·", "?", "n/a"))


@dataclass(frozen=True, slots=True)
class _Plan:
    """A table measured at one size. widths: of each column's content; gap: between columns."""

    body_px: float
    header_px: float
    widths: tuple[float, ...]
    gap: float
    row: float
    header_row: float

    @property
    def width(self) -> float:
        return sum(self.widths) + self.gap * (len(self.widths) - 1)

    def height(self, rows: int) -> float:
        return self.header_row + rows * self.row


def figure_columns(table: Table) -> tuple[bool, ...]:
    """Which columns hold figures: at least half of the cells that say anything are numbers (the others say
    such as 'still'). The first column never does."""
    found = [False]
    for column in range(1, len(table.columns)):
        cells = [row[column].strip() for row in table.rows if column < len(row)]
        said = [cell for cell in cells if cell.lower() not in _NOTHING]
        found.append(bool(said) and 2 * sum(bool(_FIGURE.fullmatch(cell)) for cell in said) >= len(said))
    return tuple(found)


def table_width(table: Table, canvas_h: int, fonts: FontSet) -> float:
    """Pixels a table takes at its largest size."""
    return _measured(table, 0, canvas_h, fonts).width


def draw_table(
    table: Table, room: Rect, canvas: tuple[int, int], canvas_h: int, fonts: FontSet
) -> tuple[tuple[Block, ...], int, tuple[str, ...]]:
    """Draw a table from the top left of its room: its header, then each row.

    Returns the blocks, the height taken in pixels, and a sentence for each thing that does not fit;
    rows beyond the room are left out and words too wide for it are cut, so nothing is drawn outside.
    """
    plans = (_measured(table, step, canvas_h, fonts) for step in range(_STEPS))
    rows = len(table.rows)
    for plan in plans:  # the smallest stays when none fits
        if plan.width <= room.width and plan.height(rows) <= room.height:
            break
    faults: list[str] = []
    shown = min(rows, max(0, int((room.height - plan.header_row) / plan.row)))
    if shown < rows:
        faults.append(f"the table has room for {shown} of its {rows} rows")
    widths = plan.widths
    if plan.width > room.width:
        faults.append("the table is wider than the picture's safe area, even at its smallest size")
        spare = room.width - plan.gap * (len(widths) - 1)
        most = _shared_limit(widths, spare)
        widths = tuple(min(width, most) for width in widths)
    elif len(widths) > 1:
        # Air between columns up to a limit: the eye must still find its way along a row.
        air = min((room.width - plan.width) / (len(widths) - 1), 2.4 * plan.body_px)
        plan = _Plan(plan.body_px, plan.header_px, widths, plan.gap + air, plan.row, plan.header_row)
    total = min(float(room.width), sum(widths) + plan.gap * (len(widths) - 1))
    figures, hair = figure_columns(table), whole(1.5, canvas_h)
    blocks: list[Block | None] = []

    def cells(texts: tuple[str, ...], top: float, height: float, size: float, colour: RGB) -> None:
        drawing = Drawing(*canvas)
        cap = fonts.cap_height_px(size)
        left = float(room.x)
        for column, width in enumerate(widths):
            if column < len(texts):
                text = " ".join(texts[column].split())
                text = shortened(text, size, width + 0.5, fonts, inside_words=True) if text else text
                line = fonts.line(text, size)
                at = left + width - line.width_px if figures[column] else left
                drawing.words(line, at, top + (height + cap) / 2, colour)
            left += width + plan.gap
        drawing.bar(room.x, top + height - hair, total, hair, HAIRLINE)
        blocks.append(drawing.block())

    cells(table.columns, room.y, plan.header_row, plan.header_px, MUTED)
    for number, row in enumerate(table.rows[:shown]):
        cells(row, room.y + plan.header_row + number * plan.row, plan.row, plan.body_px, INK)
    return tuple(block for block in blocks if block), round(plan.height(shown)), tuple(faults)


def _measured(table: Table, step: int, canvas_h: int, fonts: FontSet) -> _Plan:
    """The table at one of the sizes, 0 the largest."""
    share = step / (_STEPS - 1)
    body = scaled(BODY_PX + (SMALLEST_BODY_PX - BODY_PX) * share, canvas_h)
    header = scaled(HEADER_PX + (SMALLEST_HEADER_PX - HEADER_PX) * share, canvas_h)

    def width(line: ShapedLine) -> float:
        return max(line.width_px, line.ink_px[2])

    widths = []
    for column, title in enumerate(table.columns):
        lines = [fonts.line(" ".join(title.split()), header)]
        lines += [fonts.line(" ".join(row[column].split()), body) for row in table.rows if column < len(row)]
        widths.append(max(width(line) for line in lines))
    return _Plan(body, header, tuple(widths), 1.6 * body, 1.75 * body, 1.5 * body)


def _shared_limit(widths: Sequence[float], spare: float) -> float:
    """The width at which the widest columns are cut so that all together take `spare`: narrow ones keep theirs."""
    left = spare
    ordered = sorted(widths)
    for number, width in enumerate(ordered):
        share = left / (len(ordered) - number)
        if width > share:
            return max(1.0, share)
        left -= width
    return ordered[-1]
