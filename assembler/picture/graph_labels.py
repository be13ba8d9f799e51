"""The labels at the playhead: a subject's name in its colour, its value beside it, the dot on its line,
and the thin leader between the two where a label had to move.

Names and figures are drawn once; a label is put together from them by copying.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from assembler.picture.graph_draw import PixelPen
from assembler.picture.graph_plan import Plan, label_height, value_px
from assembler.picture.graph_series import NOT_COUNTED, STATE_WORDS
from assembler.picture.labels import shortened
from assembler.picture.look import GROUND, INK, MUTED, even, scaled, subject_colour, whole
from assembler.picture.sprite import Numbers, Sprite
from assembler.picture.text import FontSet

COUNTING, NOT_KNOWN = "counting", "not known"
_FIGURES = "0123456789"
_FIGURE_SPACE = "\u2007"
_WORDS_SIZE = 0.86  # of the value's size: units, deviations and words


class LabelMaker:
    """Makes one subject's labels. name_w: columns kept for names, the same for all subjects of a band."""

    def __init__(self, name: str, order: int, name_w: int, plan: Plan, fonts: FontSet, bits: int) -> None:
        self._name, self._order, self._name_w = name, order, name_w
        self._fonts, self._bits = fonts, bits
        self._size = value_px(plan.canvas_h)
        self.height = label_height(plan.canvas_h)
        self.gap = label_gap(plan.canvas_h)
        self._pad = even(scaled(6, plan.canvas_h))
        self._baseline = round((self.height + fonts.cap_height_px(self._size, bold=True)) / 2)
        self._figure_w = even(max(fonts.width(figure, self._size, bold=True) for figure in _FIGURES))
        self._rest_figure_w = even(max(fonts.width(figure, self._size * _WORDS_SIZE) for figure in _FIGURES))
        self._cell = lru_cache(maxsize=128)(self._new_cell)
        self.sprite = lru_cache(maxsize=512)(self._new_sprite)

    def _new_sprite(self, value: str, rest: str) -> Sprite:
        """A label. value: bold figures; rest: what follows smaller, a unit, a deviation or a word alone."""
        cells = [self._cell("", "name")]
        cells += [self._cell(character, "value") for character in value]
        if rest and value:
            cells.append(self._cell("", "space"))
        if any(character in _FIGURES for character in rest):
            cells += [self._cell(character, "rest") for character in rest]
        elif rest:
            cells.append(self._cell(rest, "rest"))
        cells.append(self._cell("", "end"))
        return joined(cells)

    def _new_cell(self, text: str, part: str) -> Sprite:
        size = self._size if part in ("name", "value") else self._size * _WORDS_SIZE
        colour = INK if part == "value" else MUTED
        x, bold = 0.0, part in ("name", "value")
        if part == "name":
            text, colour, x = self._name, subject_colour(self._order), float(self._pad)
            width = self._pad + self._name_w + even(self._size * 0.45)
        elif part in ("space", "end"):
            width = even(self._size * 0.35) if part == "space" else self._pad
        elif text in (*_FIGURES, _FIGURE_SPACE):
            width = self._figure_w if part == "value" else self._rest_figure_w
            text = "" if text == _FIGURE_SPACE else text
            x = (width - self._fonts.width(text, size, bold=bold)) / 2
        else:
            width = even(self._fonts.width(text, size, bold=bold))
            x = (width - self._fonts.width(text, size, bold=bold)) / 2
        pen = PixelPen(max(2, width), self.height, self._fonts)
        if text:
            pen.words(text, size, x, self._baseline, colour, bold=bold)
        return pen.sheet.sprite(self._bits)


def label_gap(canvas_h: int) -> int:
    """Columns from the playhead to its labels (even)."""
    return even(scaled(20, canvas_h))


def name_width(names: Sequence[str], room: int, canvas_h: int, fonts: FontSet) -> tuple[tuple[str, ...], int]:
    """The names as they fit beside values in `room` columns, and the columns (even) the longest takes."""
    size = value_px(canvas_h)
    most = max(size * 2, room - size * 6.5)
    kept = tuple(
        shortened(" ".join(name.split()), size, most, fonts, bold=True, inside_words=True) or "…" for name in names
    )
    return kept, even(max(fonts.width(name, size, bold=True) for name in kept))


def label_column(kinds: Sequence[str], names_px: int, plan: Plan, fonts: FontSet) -> int:
    """Columns right of the playhead (even) that labels may take, whatever they say: no line runs through them."""
    size = value_px(plan.canvas_h)
    small = size * _WORDS_SIZE
    figure = max(fonts.width(digit, size, bold=True) for digit in _FIGURES)
    small_figure = max(fonts.width(digit, small) for digit in _FIGURES)
    longest = max(fonts.width(word, small) for word in (*STATE_WORDS.values(), NOT_COUNTED, COUNTING, NOT_KNOWN))
    if "frame-rate" in kinds:
        longest = max(longest, 3 * figure + fonts.width("± ", small) + 2 * small_figure + size)
    if "frame-time" in kinds:
        longest = max(longest, 4 * figure + fonts.width(".", size, bold=True) + fonts.width("ms", small) + size)
    pads = 2 * even(scaled(6, plan.canvas_h)) + even(size * 0.45)
    return label_gap(plan.canvas_h) + even(pads + names_px + longest)


def joined(cells: Sequence[Sprite]) -> Sprite:
    """Sprites of one height put beside each other."""

    def beside(arrays: Sequence[Numbers]) -> Numbers:
        return np.concatenate(arrays, axis=1)

    return replace(
        cells[0],
        y=beside([cell.y for cell in cells]),
        u=beside([cell.u for cell in cells]),
        v=beside([cell.v for cell in cells]),
        keep_y=beside([cell.keep_y for cell in cells]),
        keep_c=beside([cell.keep_c for cell in cells]),
        box_width=sum(cell.box_width for cell in cells),
    )


class MarkMaker:
    """Makes dots and leaders of one subject at a playhead."""

    def __init__(self, order: int, plan: Plan, fonts: FontSet, bits: int) -> None:
        self._colour = subject_colour(order)
        self._plan, self._fonts, self._bits = plan, fonts, bits
        self._radius = max(2.5, scaled(6.5, plan.canvas_h))
        self.dot_reach = even(self._radius + 2)
        self.dot = lru_cache(maxsize=64)(self._new_dot)
        self.leader = lru_cache(maxsize=512)(self._new_leader)

    def _new_dot(self, quarter: int) -> Sprite:
        """A dot whose middle lies `quarter` quarter rows below the sprite's middle row, ringed with ground."""
        side = 2 * self.dot_reach
        pen = PixelPen(side, side + 2, self._fonts)
        x, y = side / 2 + self._plan.rule_px / 2, side / 2 + quarter / 4
        pen.dot(x, y, self._radius, GROUND)
        pen.dot(x, y, self._radius - max(1.0, scaled(1.8, self._plan.canvas_h)), self._colour)
        return pen.sheet.sprite(self._bits)

    def _new_leader(self, rise: int) -> Sprite:
        """A leader from the dot's edge to a label `rise` rows further down (up if negative, even)."""
        width = label_gap(self._plan.canvas_h)
        height = abs(rise) + 4
        pen = PixelPen(width, even(height), self._fonts)
        start = 2.0 if rise >= 0 else 2.0 - rise
        points = np.array([(self._radius, start), (width - whole(1, self._plan.canvas_h), start + rise)], np.float64)
        pen.line(points, max(1.0, scaled(1.6, self._plan.canvas_h)), (), self._colour, 1.0)
        return pen.sheet.sprite(self._bits)


def leader_top(from_row: int, rise: int) -> int:
    """The row of a leader's sprite that starts on `from_row` (even)."""
    return from_row - 2 + min(0, rise)


def value_parts(value: float, margin: float, refresh: float) -> tuple[str, str]:
    """A rate's value and deviation as they are written: figures keep their columns."""
    digits = len(str(round(refresh)))
    text = str(round(value)).rjust(digits, _FIGURE_SPACE)
    doubt = 0 if math.isnan(margin) else round(margin)
    return text, f"± {doubt}" if doubt else ""
