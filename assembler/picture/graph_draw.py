"""The few shapes graphs are made of, and a pen that draws them as pixels with soft edges.

A graph is described once by calls to a `Pen`: pixels for video and still pictures, or SVG. Places are
pixels with fractions, x to the right and y down, from the figure's top left corner.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

import numpy as np
import numpy.typing as npt

from assembler.picture.graph_scale import Doubles
from assembler.picture.look import Rgb
from assembler.picture.sheet import Floats, Sheet
from assembler.picture.text import FontSet

Bools = npt.NDArray[np.bool_]

HATCH_PITCH, HATCH_LINE = 7.0, 2.0  # at 1080 lines


class Pen(Protocol):
    """Draws shapes, later ones over earlier ones."""

    def bar(self, left: float, top: float, right: float, bottom: float, colour: Rgb, opacity: float = 1.0) -> None:
        """A filled rectangle."""

    def bars(self, spans: Sequence[tuple[float, float]], top: float, bottom: float, colour: Rgb) -> None:
        """Filled rectangles of the same rows, none over another: left and right of each."""

    def line(self, points: Doubles, thickness: float, style: Sequence[float], colour: Rgb, opacity: float) -> None:
        """A line through points (m, 2), with on and off lengths in thicknesses (none = solid)."""

    def hatch(
        self, left: float, top: float, right: float, bottom: float, pitch: float, thickness: float, colour: Rgb
    ) -> None:
        """A rectangle filled with strokes that rise to the right; `pitch`: from one to the next along x.
        The strokes hold on to the figure, not to the rectangle."""

    def words(self, text: str, size_px: float, x: float, baseline: float, colour: Rgb, *, bold: bool = False) -> None:
        """A line of text with its pen starting at x."""


class _Surface(Sheet):
    """A sheet that takes any shape as its coverage."""

    def cover(self, cover: Floats, x: int, y: int, colour: Rgb) -> None:
        self._over(cover, x, y, colour)

    def fill_columns(self, columns: Bools, top: int, bottom: int, colour: Rgb) -> None:
        """Fill some whole columns of the sheet from row top to bottom."""
        rows = slice(max(top + self.top, 0), max(bottom + self.top, 0))
        self.rgb[rows, columns] = np.array(colour, np.float32) / 255
        self.alpha[rows, columns] = 1


class PixelPen:
    """A pen on a sheet that shows the figure's columns from `start` on, `width` by `height` (even)."""

    def __init__(self, width: int, height: int, fonts: FontSet, start: int = 0) -> None:
        self.sheet = _Surface(width, height)
        self._size = (height, width)
        self._fonts, self._start = fonts, start

    def bar(self, left: float, top: float, right: float, bottom: float, colour: Rgb, opacity: float = 1.0) -> None:
        left, right = max(left - self._start, 0.0), min(right - self._start, float(self._size[1]))
        if right > left and bottom > top:
            self.sheet.bar(left, top, right, bottom, colour, opacity)

    def bars(self, spans: Sequence[tuple[float, float]], top: float, bottom: float, colour: Rgb) -> None:
        edges = np.array(spans, np.float64).reshape(-1, 2) - self._start
        if bottom <= top or (edges != np.floor(edges)).any() or top != math.floor(top) or bottom != math.floor(bottom):
            for left, right in spans:
                self.bar(left, top, right, bottom, colour)
            return
        changes = np.zeros(self._size[1] + 1, np.int64)
        kept = np.clip(edges[edges[:, 1] > edges[:, 0]], 0, self._size[1]).astype(np.int64)
        np.add.at(changes, kept[:, 0], 1)
        np.add.at(changes, kept[:, 1], -1)
        self.sheet.fill_columns(np.cumsum(changes[:-1]) > 0, int(top), int(bottom), colour)

    def line(self, points: Doubles, thickness: float, style: Sequence[float], colour: Rgb, opacity: float) -> None:
        self.pieces(dashed(points, thickness, style), thickness, colour, opacity)

    def pieces(self, pieces: Doubles, thickness: float, colour: Rgb, opacity: float = 1.0) -> None:
        """Straight pieces as `dashed` gives them; only those on the sheet cost anything."""
        height, width = self._size
        reach = thickness / 2 + 1
        x0, x1 = pieces[:, 0] - self._start, pieces[:, 2] - self._start
        cover: Floats = np.zeros((height, width), np.float32)
        seen = np.flatnonzero((np.maximum(x0, x1) + reach > 0) & (np.minimum(x0, x1) - reach < width))
        for number in seen:
            _, y0, _, y1, flat_start, flat_end = pieces[number]
            _stroke(cover, (x0[number], y0), (x1[number], y1), thickness / 2, bool(flat_start), bool(flat_end))
        rows = np.flatnonzero(cover.any(axis=1))
        if rows.size:  # where nothing is covered nothing changes: most lines are level and cross few rows
            top, bottom = int(rows[0]), int(rows[-1]) + 1
            self.sheet.cover(cover[top:bottom] * np.float32(opacity), 0, top, colour)

    def hatch(
        self, left: float, top: float, right: float, bottom: float, pitch: float, thickness: float, colour: Rgb
    ) -> None:
        x0, x1 = math.floor(max(left - self._start, 0.0)), math.ceil(min(right - self._start, self._size[1]))
        y0, y1 = math.floor(top), math.ceil(bottom)
        if x0 >= x1 or y0 >= y1:
            return
        x = np.arange(x0, x1) + 0.5 + self._start
        y = np.arange(y0, y1) + 0.5
        away = (x[None, :] + y[:, None]) % pitch
        away = np.minimum(away, pitch - away) / math.sqrt(2)
        cover = np.clip(thickness / 2 + 0.5 - away, 0, 1)
        cover *= np.clip(np.minimum(x + 0.5 - left, right - x + 0.5), 0, 1)[None, :]
        cover *= np.clip(np.minimum(y + 0.5 - top, bottom - y + 0.5), 0, 1)[:, None]
        self.sheet.cover(np.asarray(cover, np.float32), x0, y0, colour)

    def dot(self, x: float, y: float, radius: float, colour: Rgb) -> None:
        """A filled circle."""
        height, width = self._size
        far = np.hypot((np.arange(width) + 0.5 - x)[None, :], (np.arange(height) + 0.5 - y)[:, None])
        self.sheet.cover(np.asarray(np.clip(radius + 0.5 - far, 0, 1), np.float32), 0, 0, colour)

    def words(self, text: str, size_px: float, x: float, baseline: float, colour: Rgb, *, bold: bool = False) -> None:
        line = self._fonts.line(text, size_px, bold=bold)
        x -= self._start
        if x + line.ink_px[0] < self._size[1] and x + line.ink_px[2] > 0:
            self.sheet.words(line, x, round(baseline), colour)


def dashed(points: Doubles, thickness: float, style: Sequence[float]) -> Doubles:
    """A line cut into straight pieces, (m, 6): x0, y0, x1, y1, and whether each end is cut flat (1) or
    rounded (0), as corners and a solid line's ends are. Dashes are measured along the line."""
    along = along_line(points)
    keep = np.append(True, np.diff(along) > 0)
    points, along = points[keep], along[keep]
    if len(points) < 2:
        return np.zeros((0, 6))
    if not style:
        return np.column_stack((points[:-1], points[1:], np.zeros((len(points) - 1, 2))))
    lengths = np.asarray(style) * thickness
    period, total = float(lengths.sum()), float(along[-1])
    turns = np.arange(math.ceil(total / period) + 1)[:, None] * period
    cuts = (turns + np.cumsum(lengths)[None, :]).ravel()
    cuts = cuts[(cuts > 0) & (cuts < total)]
    where = np.unique(np.concatenate((along, cuts)))
    x, y = (np.interp(where, along, points[:, axis]) for axis in (0, 1))
    middle = (where[:-1] + where[1:]) / 2 % period
    on = np.searchsorted(np.cumsum(lengths), middle, "right") % 2 == 0
    flat = np.isin(where, cuts)
    flat[0] = flat[-1] = True
    pieces = np.column_stack((x[:-1], y[:-1], x[1:], y[1:], flat[:-1], flat[1:]))
    return np.asarray(pieces[on], np.float64)


def along_line(points: Doubles) -> Doubles:
    """(m,) how far along a line each of its points lies."""
    return np.append(0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T)))


def _stroke(
    cover: Floats,
    start: tuple[float, float],
    end: tuple[float, float],
    half: float,
    flat_start: bool,
    flat_end: bool,
) -> None:
    """Add one straight piece to a coverage array. Where pieces meet the greater coverage stands."""
    (x0, y0), (x1, y1) = start, end
    left, right = max(0, math.floor(min(x0, x1) - half - 1)), min(cover.shape[1], math.ceil(max(x0, x1) + half + 1))
    top, bottom = max(0, math.floor(min(y0, y1) - half - 1)), min(cover.shape[0], math.ceil(max(y0, y1) + half + 1))
    if left >= right or top >= bottom:
        return
    length = math.hypot(x1 - x0, y1 - y0)
    if length == 0:  # nothing but the ends of its neighbours; a dash may end where a line bends
        return
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    dx = (np.arange(left, right, dtype=np.float32) + np.float32(0.5 - x0))[None, :]
    dy = (np.arange(top, bottom, dtype=np.float32) + np.float32(0.5 - y0))[:, None]
    along, across = dx * np.float32(ux) + dy * np.float32(uy), np.abs(dy * np.float32(ux) - dx * np.float32(uy))
    before = np.float32(0) if flat_start else np.maximum(-along, 0)
    after = np.float32(0) if flat_end else np.maximum(along - np.float32(length), 0)
    inside = np.clip(np.float32(half + 0.5) - np.hypot(across, before + after), 0, 1)
    if flat_start:
        inside *= np.clip(along + np.float32(0.5), 0, 1)
    if flat_end:
        inside *= np.clip(np.float32(length + 0.5) - along, 0, 1)
    part = cover[top:bottom, left:right]
    np.maximum(part, inside, out=part)
