"""Draws placed glyphs into a coverage array: unhinted, in greys, at exact fractions of a pixel."""

from __future__ import annotations

import ctypes
from collections.abc import Sequence
from typing import Any

import freetype
import numpy as np
import numpy.typing as npt

from assembler.picture.fonts import RASTER_LOCK, FontFace
from assembler.picture.shaping import BOX_LEFT, BOX_RIGHT, BOX_STROKE, BOX_TOP, MISSING, PlacedGlyph

Coverage = npt.NDArray[np.uint8]  # (rows, columns), 0 = none, 255 = full

# Hinting would move stems to whole pixels and change the widths that the shaper promised.
_LOAD = freetype.FT_LOAD_NO_HINTING | freetype.FT_LOAD_NO_BITMAP | freetype.FT_LOAD_RENDER


def draw_glyphs(
    glyphs: Sequence[PlacedGlyph],
    faces: Sequence[FontFace],
    size_px: float,
    shape: tuple[int, int],
    origin_x: float,
    baseline_row: int,
) -> Coverage:
    """Coverage of `shape` (rows, columns) with the pen starting at column origin_x on the line
    between rows baseline_row - 1 and baseline_row. Where glyphs meet, coverage adds up to full."""
    canvas = np.zeros(shape, np.uint8)
    with RASTER_LOCK:
        sized: set[int] = set()
        for glyph in glyphs:
            x, y = origin_x + glyph.x * size_px, glyph.y * size_px
            if glyph.face == MISSING:
                _draw_box(canvas, x, baseline_row - y, size_px)
                continue
            face = faces[glyph.face].ft_face
            if glyph.face not in sized:
                face.set_char_size(round(size_px * 64))
                sized.add(glyph.face)
            x_px, y_px = int(x // 1), int(y // 1)
            shift = freetype.Vector(round((x - x_px) * 64), round((y - y_px) * 64))
            slant = round(faces[glyph.face].slant * 0x10000)
            face.set_transform(freetype.Matrix(0x10000, slant, 0, 0x10000), shift)
            face.load_glyph(glyph.glyph, _LOAD)
            slot = face.glyph
            _add(canvas, _pixels(slot.bitmap), slot.bitmap_left + x_px, baseline_row - y_px - slot.bitmap_top)
    return canvas


def _pixels(bitmap: Any) -> Coverage:
    rows, width, pitch = bitmap.rows, bitmap.width, bitmap.pitch
    if not rows or not width:
        return np.zeros((0, 0), np.uint8)
    # The wrapper's own `buffer` builds a Python list pixel by pixel.
    raw = ctypes.string_at(bitmap._FT_Bitmap.buffer, rows * abs(pitch))
    pixels = np.frombuffer(raw, np.uint8).reshape(rows, abs(pitch))
    return pixels[:, :width] if pitch > 0 else pixels[::-1, :width]


def _add(canvas: Coverage, pixels: Coverage, x: int, y: int) -> None:
    rows, columns = canvas.shape
    top, left = max(y, 0), max(x, 0)
    bottom, right = min(y + pixels.shape[0], rows), min(x + pixels.shape[1], columns)
    if top >= bottom or left >= right:
        return
    under = canvas[top:bottom, left:right]
    over = pixels[top - y : bottom - y, left - x : right - x]
    np.add(under, np.minimum(over, 255 - under), out=under)


def _draw_box(canvas: Coverage, x: float, baseline: float, size_px: float) -> None:
    stroke = max(1.0, BOX_STROKE * size_px)
    outer = (x + BOX_LEFT * size_px, baseline - BOX_TOP * size_px, x + BOX_RIGHT * size_px, baseline)
    inner = (outer[0] + stroke, outer[1] + stroke, outer[2] - stroke, outer[3] - stroke)
    cover = rectangle(canvas.shape, *outer) - rectangle(canvas.shape, *inner)
    _add(canvas, np.rint(cover * 255).astype(np.uint8), 0, 0)


def rectangle(shape: tuple[int, ...], left: float, top: float, right: float, bottom: float) -> npt.NDArray[np.float32]:
    """How much of each pixel a rectangle covers, 0 to 1; edges may lie between pixels."""
    across = _span(shape[1], left, right)
    down = _span(shape[0], top, bottom)
    return np.asarray(down[:, None] * across[None, :], np.float32)


def _span(count: int, start: float, end: float) -> npt.NDArray[np.float64]:
    edge = np.arange(count + 1, dtype=np.float64)
    return np.asarray(np.clip(edge[1:], start, max(start, end)) - np.clip(edge[:-1], start, max(start, end)))
