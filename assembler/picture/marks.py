"""Marks burnt into drafts: timecode, segment, and whether the voice is a scratch one.

A timecode changes every frame, so its characters are drawn once, as cells of fixed width on the
plate's own ground, and copied into place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

from assembler.picture.labels import shortened
from assembler.picture.look import GROUND, INK, MUTED, TEXT_CONTRAST, backing_opacity, even, mark_px, whole
from assembler.picture.sheet import Sheet
from assembler.picture.sprite import Sprite
from assembler.picture.text import FontSet

SCRATCH = "scratch"
BACKING = backing_opacity((INK, TEXT_CONTRAST), (MUTED, TEXT_CONTRAST))
_FIGURES = "0123456789"


@dataclass(frozen=True, slots=True)
class _Places:
    margin: int
    baseline: int
    height: int


class Marks:
    """Draws the marks of one canvas height (pixels). An id wider than `longest_id_px` is shortened."""

    def __init__(self, canvas_h: int, fonts: FontSet, bits: int = 8) -> None:
        self._fonts, self._bits = fonts, bits
        self._size = mark_px(canvas_h)
        self._canvas_h = canvas_h
        self.longest_id_px = whole(240, canvas_h)
        margin = even(self._size * 0.5)
        cap = fonts.cap_height_px(self._size)
        baseline = even(margin * 0.8) + math.ceil(cap)
        self._places = _Places(margin, baseline, even(baseline + max(self._size * 0.42, margin * 0.8)))
        self._digit_w = even(max(fonts.width(figure, self._size) for figure in _FIGURES))
        self._cell = lru_cache(maxsize=256)(self._new_cell)
        self._plate = lru_cache(maxsize=64)(self._new_plate)

    @property
    def height(self) -> int:
        """Rows the marks take (even)."""
        return self._places.height

    def sprite(self, timecode: str, segment_id: str, scratch: bool) -> Sprite:
        """The marks of one frame. Equal arguments but for the timecode's figures cost little."""
        pattern = "".join("0" if character in _FIGURES else character for character in timecode)
        plate = self._plate(pattern, segment_id, scratch)
        y, u, v = plate.y.copy(), plate.u.copy(), plate.v.copy()
        keep_y, keep_c = plate.keep_y.copy(), plate.keep_c.copy()
        x = self._places.margin + plate.left
        top, bottom = plate.top, plate.top + self._places.height
        for character in timecode:
            cell = self._cell(character)
            end = x + cell.width
            y[top:bottom, x:end] = cell.y
            keep_y[top:bottom, x:end] = cell.keep_y
            half = (slice(top // 2, bottom // 2), slice(x // 2, end // 2))
            u[half], v[half], keep_c[half] = cell.u, cell.v, cell.keep_c
            x = end
        return replace(plate, y=y, u=u, v=v, keep_y=keep_y, keep_c=keep_c)

    def _cell_width(self, character: str) -> int:
        if character in _FIGURES:
            return self._digit_w
        return max(2, even(self._fonts.width(character, self._size)))

    def _new_cell(self, character: str) -> Sprite:
        width, height = self._cell_width(character), self._places.height
        line = self._fonts.line(character, self._size)
        sheet = Sheet(width, height)
        sheet.bar(0, 0, width, height, GROUND, BACKING)
        sheet.words(line, (width - line.width_px) / 2, self._places.baseline, INK)
        return sheet.sprite(self._bits)

    def _new_plate(self, pattern: str, segment_id: str, scratch: bool) -> Sprite:
        places = self._places
        gap = whole(14, self._canvas_h)
        name = shortened(" ".join(segment_id.split()), self._size, self.longest_id_px, self._fonts, inside_words=True)
        words = [self._fonts.line(name, self._size)] if name else []
        x = places.margin + sum(self._cell_width(character) for character in pattern)
        placed = []
        for line in words:
            x += gap
            placed.append((line, x, MUTED))
            x += math.ceil(line.width_px)
        if scratch:
            line = self._fonts.line(SCRATCH, self._size, bold=True)
            placed.append((line, x + gap, INK))
            x += gap + math.ceil(line.width_px)
        box_w = even(x + places.margin)
        seen = [(li, at) for li, at, _ in placed if li.ink_px[0] < li.ink_px[2]]
        top = min([0, *(int(places.baseline + li.ink_px[1]) - 2 for li, _ in seen)])
        bottom = max([places.height, *(int(places.baseline + li.ink_px[3]) + 3 for li, _ in seen)])
        right = max([box_w, *(int(at + li.ink_px[2]) + 3 for li, at in seen)])
        sheet = Sheet(box_w, places.height, (1, top + 1, right - 1, bottom - 1))
        radius = min(places.margin * 0.5, places.margin - 2)
        sheet.plate(0, top, right, bottom, radius, GROUND, BACKING)
        for line, at, colour in placed:
            sheet.words(line, at, places.baseline, colour)
        return sheet.sprite(self._bits)
