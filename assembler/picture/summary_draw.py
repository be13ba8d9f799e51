"""Sets out and draws a summary: subjects in columns, how long pictures stood above, the other figures beneath.

On a wide page the title and the definitions stand beside the figure, on a high one above and under it. Shares
are drawn as lines in the subject's own style from one shared scale to a dot, with the share written beside it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from assembler.measure.lows import DEFAULT
from assembler.picture.geometry import Rect
from assembler.picture.graph_draw import Pen
from assembler.picture.labels import shortened
from assembler.picture.look import HAIRLINE, INK, MUTED, Rgb, line_style, scaled, subject_colour
from assembler.picture.summary import (
    SummedUp,
    distribution_of,
    hold_text,
    lines_of,
    notes_of,
    refreshes_text,
    share_text,
    span_text,
    why_not,
)
from assembler.picture.text import FontSet

HEADING = "How long each new picture stood, as a share of them"
OTHERS = "other"
_STEPS = 9
_LARGEST, _SMALLEST = 1.15, 0.8  # of the sizes below
_TITLE, _NAME, _VALUE, _HEAD, _SHARE, _NOTE = 40.0, 28.0, 25.0, 21.0, 20.0, 19.0
_WIDEST_COLUMN = 470.0
_SHORTEST_STEM = 120.0
_READABLE_PX = 12.5


@dataclass(frozen=True, slots=True)
class Group:
    """Things that come on together, between two rows of the page."""

    top: int
    bottom: int
    draw: Callable[[Pen], None]


@dataclass(frozen=True, slots=True)
class DrawnSummary:
    """A summary set out: its groups in the order they come on, and what did not fit, in sentences."""

    groups: tuple[Group, ...]
    faults: tuple[str, ...]


def set_out(
    subjects: Sequence[SummedUp],
    title: str,
    room: Rect,
    canvas: tuple[int, int],
    canvas_h: int,
    fonts: FontSet,
    lows: str = DEFAULT,
) -> DrawnSummary:
    """Set a summary out in a room of a canvas (width, height). canvas_h: the height that type is scaled by. lows: the
    definition of the percentile lows.

    What does not fit even at the smallest type is cut or left out, and said.
    """
    tries = [_LARGEST + (_SMALLEST - _LARGEST) * step / (_STEPS - 1) for step in range(_STEPS)]
    pages = [_Page(subjects, title, room, canvas, canvas_h, share, fonts, lows) for share in tries]
    fitting = [page for page in pages if not page.faults]
    # Lines too short to compare serve no one: smaller type leaves them more.
    roomy = [page for page in fitting if page.readable and page.long_enough]
    readable = [page for page in fitting if page.readable]
    page = roomy[0] if roomy else readable[-1] if readable else fitting[0] if fitting else pages[-1]
    return DrawnSummary(page.groups(), page.faults)


class _Page:
    """A summary at one size of type. Rows and columns are pixels of the canvas."""

    def __init__(
        self,
        subjects: Sequence[SummedUp],
        title: str,
        room: Rect,
        canvas: tuple[int, int],
        canvas_h: int,
        share: float,
        fonts: FontSet,
        lows: str,
    ) -> None:
        self.subjects, self.room, self.fonts = subjects, room, fonts
        self.canvas_h, self._unit = canvas_h, share * canvas_h / 1080
        self.found = distribution_of(subjects)
        self.lines = lines_of(subjects, lows)
        wide = canvas[0] > canvas[1]
        third = round(canvas[0] / 3) if wide else room.x
        self.left = third
        self.beside = third - room.x - self.px(48) if wide else room.width
        self._widths()
        self.title = fonts.wrap(" ".join(title.split()), self.px(_TITLE), self.beside, bold=True) if title else ()
        notes = (note.replace(" %", "\u00a0%") for note in notes_of(subjects, lows))
        self.notes = [fonts.wrap(note, self.px(_NOTE), self.beside) for note in notes]
        self.title_h = len(self.title) * self.px(_TITLE) * 1.2 + (self.px(24) if self.title else 0)
        self.notes_h = sum(len(note) for note in self.notes) * self.px(_NOTE) * 1.42
        self.notes_h += max(0, len(self.notes) - 1) * self.px(_NOTE) * 0.6
        rows = len(self.found.levels_ms) + any(self.found.others)
        spans = max(len(span) for span in self.spans)
        self.names_h = self.px(_NAME) * 1.25 + self.px(14) + self.px(_NOTE) * (0.4 + 1.3 * spans)
        self.heading_h = self.px(_NOTE) * 2.3
        self.row_h, self.line_h = self.px(_SHARE) * 1.75, self.px(_HEAD) + self.px(_NOTE) * 2.15
        refused = max((len(part) for part in self.refusals), default=0) * self.px(_NOTE) * 1.42
        self.holds_h = max(rows * self.row_h, refused)
        self.figure_h = self.names_h + self.heading_h + self.holds_h + self.px(26) + len(self.lines) * self.line_h
        if wide:
            needed = max(self.figure_h, self.title_h + self.notes_h)
            self.top = room.y + max(0.0, room.height - self.figure_h) * 0.45
            self.title_top, self.notes_top = self.top, self.top + self.title_h
        else:
            needed = self.title_h + self.figure_h + self.px(40) + self.notes_h
            self.title_top = room.y + max(0.0, room.height - needed) * 0.45
            self.top = self.title_top + self.title_h
            self.notes_top = self.top + self.figure_h + self.px(40)
        self._note_faults(needed)

    def px(self, at_1080: float) -> float:
        return at_1080 * self._unit

    def _widths(self) -> None:
        """Columns: what rows are called, then one for each subject, all alike."""
        fonts, note = self.fonts, self.px(_NOTE)
        heads = [fonts.width(line.head, self.px(_HEAD)) for line in self.lines]
        heads += [fonts.width(line.about, note) for line in self.lines]
        self.hold_w = max([fonts.width(hold_text(level), self.px(_SHARE)) for level in self.found.levels_ms] or [0.0])
        heads += [
            self.hold_w + self.px(14) + fonts.width(refreshes_text(level, self.subjects), note)
            for level in self.found.levels_ms
        ]
        self.heads_w = max(heads)
        self.gap = self.px(34)
        count = len(self.subjects)
        space = self.room.right - self.left - self.heads_w - count * self.gap
        self.column_w = min(self.px(_WIDEST_COLUMN), space / count)
        self.columns = [self.left + self.heads_w + self.gap + n * (self.column_w + self.gap) for n in range(count)]
        self.label_w = max(
            fonts.width(share_text(100 * share), self.px(_SHARE))
            for share in (1.0, 0.999, *(share for shares in self.found.shares for share in shares))
        )
        self.stem_w = self.column_w - self.label_w - self.px(18)
        cells = [cell for line in self.lines for cell in line.cells]
        self.cells_w = max(
            max(fonts.width(cell.value, self.px(_VALUE), bold=True) for cell in cells),
            max(fonts.width(cell.rest, note) for cell in cells),
        )
        self.spans = [fonts.wrap(span_text(each), note, max(self.column_w, self.px(60))) for each in self.subjects]
        self.refusals = [
            fonts.wrap(why, note, max(self.column_w, self.px(60))) if (why := why_not(each)) else ()
            for each in self.subjects
        ]
        size = self.px(_NAME)
        self.names = [
            shortened(" ".join(each.name.split()), size, max(size, self.column_w), fonts, bold=True, inside_words=True)
            for each in self.subjects
        ]

    @property
    def long_enough(self) -> bool:
        """Whether shares can be told by the length of their lines."""
        return self.stem_w >= self.px(_SHORTEST_STEM)

    @property
    def readable(self) -> bool:
        """Whether the smallest words are large enough on a small canvas, too."""
        return self.px(_NOTE) >= min(_READABLE_PX, self.canvas_h / 56)

    def _note_faults(self, needed: float) -> None:
        faults = []
        if needed > self.room.height:
            faults.append("the figures and their definitions are higher than the room there is")
        if self.column_w < self.cells_w or self.stem_w < self.px(40):
            faults.append("its columns are narrower than its figures")
        if len(self.title) > 3:
            faults.append("its title takes more than 3 lines")
        for each, name in zip(self.subjects, self.names, strict=True):
            if name != " ".join(each.name.split()):
                faults.append(f"the name '{each.name}' has no room and is shortened")
        self.faults = tuple(faults)

    def groups(self) -> tuple[Group, ...]:
        """Title, definitions, names, holds, figures."""
        holds = self.top + self.names_h
        figures = holds + self.heading_h + self.holds_h + self.px(26)
        places = [(self.title_top, self.title_h, self._title)] if self.title else []
        places += [
            (self.top, self.names_h, self._names),
            (holds, self.heading_h + self.holds_h + self.px(8), self._holds),
            (figures - self.px(8), len(self.lines) * self.line_h + self.px(8), self._figures),
            (self.notes_top, self.notes_h, self._notes),
        ]
        return tuple(Group(math.floor(top), math.ceil(top + high) + 2, draw) for top, high, draw in places if high > 0)

    def _words(
        self, pen: Pen, text: str, size: float, x: float, baseline: float, colour: Rgb, *, bold: bool = False
    ) -> None:
        if text:
            pen.words(text, size, x, round(baseline), colour, bold=bold)

    def _title(self, pen: Pen) -> None:
        size = self.px(_TITLE)
        for number, line in enumerate(self.title):
            self._words(pen, line, size, self.room.x, self.title_top + size * (0.95 + 1.2 * number), INK, bold=True)

    def _notes(self, pen: Pen) -> None:
        size = self.px(_NOTE)
        baseline = self.notes_top + size
        for note in self.notes:
            for line in note:
                if baseline <= self.room.bottom:
                    self._words(pen, line, size, self.room.x, baseline, MUTED)
                baseline += size * 1.42
            baseline += size * 0.6

    def _names(self, pen: Pen) -> None:
        """Each subject's name over the rule in its colour and line style, and what of its capture is counted."""
        size, thin = self.px(_NAME), max(2.0, self.px(4))
        note = self.px(_NOTE)
        for each, name, span, x in zip(self.subjects, self.names, self.spans, self.columns, strict=True):
            baseline = self.top + size * 0.95
            self._words(pen, name, size, x, baseline, INK, bold=True)
            y = baseline + self.px(14) + thin / 2
            rule = np.array([(x, y), (x + min(self.px(66), self.column_w), y)])
            pen.line(rule, thin, line_style(each.order), subject_colour(each.order), 1.0)
            for number, line in enumerate(span):
                self._words(pen, line, note, x, y + note * (1.45 + 1.3 * number), MUTED)

    def _holds(self, pen: Pen) -> None:
        note, size = self.px(_NOTE), self.px(_SHARE)
        top = self.top + self.names_h
        self._words(pen, HEADING, note, self.left, top + note * 1.5, MUTED)
        top += self.heading_h
        for row, level in enumerate(self.found.levels_ms):
            baseline = self._baseline(top, row, size)
            text = hold_text(level)
            self._words(pen, text, size, self.left + self.hold_w - self.fonts.width(text, size), baseline, INK)
            words = refreshes_text(level, self.subjects)
            self._words(pen, words, note, self.left + self.hold_w + self.px(14), baseline, MUTED)
        rows = len(self.found.levels_ms)
        if any(self.found.others):
            self._words(pen, OTHERS, size, self.left, self._baseline(top, rows, size), INK)
        most = max([share for shares in self.found.shares for share in shares] + [*self.found.others, 1e-9])
        for number, x in enumerate(self.columns):
            if self.refusals[number]:
                for row, line in enumerate(self.refusals[number]):
                    self._words(pen, line, note, x, top + note * (1.1 + 1.42 * row), MUTED)
                continue
            # A quiet upright where every share begins: a row without a dot is none.
            pen.bar(round(x), top, round(x) + max(1, round(self.px(1.5))), top + self.holds_h, HAIRLINE)
            shares = [*self.found.shares[number], self.found.others[number]]
            for row, share in enumerate(shares):
                if share > 0:
                    self._stem(pen, number, top + (row + 0.5) * self.row_h, share, share / most)

    def _stem(self, pen: Pen, number: int, y: float, share: float, part: float) -> None:
        x, order = self.columns[number], self.subjects[number].order
        colour, thick, dot = subject_colour(order), max(1.5, self.px(4)), self.px(12)
        # The dot's near edge is on the scale, so that the least of shares stands clear of the upright.
        end = x + dot / 2 + part * (self.stem_w - dot / 2)
        if end - x > dot:
            pen.line(np.array([(x, y), (end, y)]), thick, line_style(order), colour, 1.0)
        pen.line(np.array([(end - 0.01, y), (end, y)]), dot, (), colour, 1.0)
        size = self.px(_SHARE)
        cap = self.fonts.cap_height_px(size)
        self._words(pen, share_text(100 * share), size, end + dot / 2 + self.px(9), y + cap / 2, INK)

    def _baseline(self, top: float, row: int, size: float) -> float:
        return top + (row + 0.5) * self.row_h + self.fonts.cap_height_px(size) / 2

    def _figures(self, pen: Pen) -> None:
        note, size, head = self.px(_NOTE), self.px(_VALUE), self.px(_HEAD)
        top = self.top + self.names_h + self.heading_h + self.holds_h + self.px(26)
        right = self.columns[-1] + self.column_w
        hair = max(1, round(self.px(1.5)))
        for row, line in enumerate(self.lines):
            y = round(top + row * self.line_h)
            pen.bar(self.left, y, right, y + hair, HAIRLINE)
            baseline = y + head * 1.36
            below = baseline + note * 1.25
            self._words(pen, line.head, head, self.left, baseline, INK)
            self._words(pen, line.about, note, self.left, below, MUTED)
            for cell, x in zip(line.cells, self.columns, strict=True):
                self._words(pen, cell.value, size, x, baseline, INK, bold=True)
                self._words(pen, cell.rest, note, x, below if cell.value else baseline, MUTED)


def smallest_px(canvas_h: int) -> float:
    """The smallest type a summary is drawn in."""
    return scaled(_NOTE * _SMALLEST, canvas_h)
