"""Graphs as SVG for an article: the figure of graph_figure, with text as text.

The family is named and not embedded; a reader without it sees their own sans-serif. Plain SVG 1.1.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from assembler.media.landing import write_whole
from assembler.picture.graph_draw import Pen, along_line
from assembler.picture.graph_figure import draw_figure
from assembler.picture.graph_scale import Doubles
from assembler.picture.graph_series import GraphSeries
from assembler.picture.look import GROUND, Rgb
from assembler.picture.text import FontSet

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
FAMILY = "B612, 'Noto Sans', sans-serif"


class SvgPen:
    """A pen that writes elements. first, last: the columns that can be seen; what lies beyond is left out."""

    def __init__(self, parts: list[str], first: float, last: float) -> None:
        self._parts, self._first, self._last = parts, first, last

    def bar(self, left: float, top: float, right: float, bottom: float, colour: Rgb, opacity: float = 1.0) -> None:
        left, right = max(left, self._first), min(right, self._last)
        if right <= left or bottom <= top:
            return
        fade = f' fill-opacity="{_number(opacity)}"' if opacity < 1 else ""
        place = f'x="{_number(left)}" y="{_number(top)}"'
        size = f'width="{_number(right - left)}" height="{_number(bottom - top)}"'
        self._parts.append(f'<rect {place} {size} fill="{_colour(colour)}"{fade}/>')

    def bars(self, spans: Sequence[tuple[float, float]], top: float, bottom: float, colour: Rgb) -> None:
        for left, right in spans:
            self.bar(left, top, right, bottom, colour)

    def line(self, points: Doubles, thickness: float, style: Sequence[float], colour: Rgb, opacity: float) -> None:
        # The nearest points beyond either edge are kept, and the dashes go on from where they were.
        inside = np.flatnonzero((points[:, 0] >= self._first) & (points[:, 0] <= self._last))
        if inside.size:
            low, high = max(0, int(inside[0]) - 1), min(len(points), int(inside[-1]) + 2)
        else:
            low = max(0, int(np.searchsorted(points[:, 0], self._first)) - 1)
            high = low + 2
        start = float(along_line(points)[low])
        route = "L".join(f"{_number(x)} {_number(y)}" for x, y in points[low:high])
        cap, dashes = "round", ""
        if style:
            lengths = ",".join(_number(part * thickness) for part in style)
            period = sum(style) * thickness
            cap, dashes = "butt", f' stroke-dasharray="{lengths}" stroke-dashoffset="{_number(start % period)}"'
        fade = f' stroke-opacity="{_number(opacity)}"' if opacity < 1 else ""
        self._parts.append(
            f'<path d="M{route}" fill="none" stroke="{_colour(colour)}" stroke-width="{_number(thickness)}"'
            f' stroke-linecap="{cap}" stroke-linejoin="round"{dashes}{fade}/>'
        )

    def hatch(
        self, left: float, top: float, right: float, bottom: float, pitch: float, thickness: float, colour: Rgb
    ) -> None:
        left, right = max(left, self._first), min(right, self._last)
        if right <= left:
            return
        strokes = []
        for number in range(math.ceil((left + top) / pitch), math.floor((right + bottom) / pitch) + 1):
            total = number * pitch
            x0, x1 = max(left, total - bottom), min(right, total - top)
            if x1 > x0:
                strokes.append(f"M{_number(x0)} {_number(total - x0)}L{_number(x1)} {_number(total - x1)}")
        if strokes:
            self._parts.append(
                f'<path d="{"".join(strokes)}" fill="none" stroke="{_colour(colour)}"'
                f' stroke-width="{_number(thickness)}"/>'
            )

    def words(self, text: str, size_px: float, x: float, baseline: float, colour: Rgb, *, bold: bool = False) -> None:
        weight = ' font-weight="bold"' if bold else ""
        self._parts.append(
            f'<text x="{_number(x)}" y="{_number(baseline)}" font-size="{_number(size_px)}"{weight}'
            f' fill="{_colour(colour)}">{escape(_printable(text))}</text>'
        )


class SvgPage:
    """A page of SVG elements on the ground."""

    def __init__(self, width: int, height: int) -> None:
        self._size = (width, height)
        self._parts: list[str] = []
        self._clips: list[str] = []
        self.pen: Pen = SvgPen(self._parts, 0, width)

    @contextmanager
    def window(self, left: int, right: int, start: int) -> Iterator[Pen]:
        name = f"w{len(self._clips)}"
        box = f'x="{left}" y="0" width="{right - left}" height="{self._size[1]}"'
        self._clips.append(f'<clipPath id="{name}"><rect {box}/></clipPath>')
        self._parts.append(f'<g clip-path="url(#{name})"><g transform="translate({left - start} 0)">')
        yield SvgPen(self._parts, start, start + right - left)
        self._parts.append("</g></g>")

    def text(self, title: str) -> str:
        """The whole document. title: what the figure shows, for readers that cannot see it."""
        width, height = self._size
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}"'
            f' viewBox="0 0 {width} {height}" role="img" font-family={quoteattr(FAMILY)}>'
        )
        ground = f'<rect width="{width}" height="{height}" fill="{_colour(GROUND)}"/>'
        lines = [head, f"<title>{escape(_printable(title))}</title>", "<defs>", *self._clips, "</defs>", ground]
        return "\n".join(['<?xml version="1.0" encoding="UTF-8"?>', *lines, *self._parts, "</svg>", ""])


def plot_svg(
    series: Sequence[GraphSeries],
    kinds: Sequence[str],
    span_s: tuple[float, float],
    path: Path,
    size: tuple[int, int],
    fonts: FontSet,
    offsets_s: Sequence[float] | None = None,
    title: str = "",
) -> None:
    """Write a figure as SVG; arguments and errors as of `plot_png`. title: for those who cannot see it."""
    page = SvgPage(*size)
    draw_figure(page, series, kinds, span_s, size, fonts, offsets_s)
    title = title or ", ".join(kinds) + ": " + ", ".join(each.name for each in series)
    save_svg(page, title, path)


def save_svg(page: SvgPage, title: str, path: Path) -> None:
    """Write a page as SVG, whole or not at all. title: for those who cannot see it."""
    write_whole(path, page.text(title).encode())


def _number(value: float) -> str:
    """To a hundredth of a pixel, without needless figures."""
    text = f"{float(value):.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _colour(colour: Rgb) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


def _printable(text: str) -> str:
    """Without what XML 1.0 has no place for."""
    return _NOT_XML.sub("", text)
