"""A summary as the picture of a shot, and as a still figure for an article."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from assembler.measure.clock import Clock
from assembler.measure.lows import DEFAULT
from assembler.measure.model import Cadence
from assembler.picture.cards_draw import DrawnCard
from assembler.picture.drawing import Block
from assembler.picture.geometry import Rect
from assembler.picture.graph_draw import Pen, PixelPen
from assembler.picture.graph_figure import PixelPage, save_png
from assembler.picture.graph_scale import Doubles
from assembler.picture.graph_series import names_and_orders
from assembler.picture.graph_svg import SvgPage, save_svg
from assembler.picture.layout import lay_out
from assembler.picture.look import Rgb, even
from assembler.picture.stage import Stage
from assembler.picture.summary import SummedUp, sum_up
from assembler.picture.summary_draw import DrawnSummary, Group, set_out
from assembler.picture.text import FontSet
from assembler.storyboard.model import Subject, Summary
from assembler.timeline.model import PlacedShot, Summed

SMALLEST_FIGURE = (640, 480)


def summed_up(
    summed: Sequence[Summed],
    subjects: Mapping[str, Subject],
    measured: Mapping[str, tuple[Clock, Cadence]],
) -> tuple[SummedUp, ...]:
    """The figures of captures, each over its stretch. measured: by capture id; one that is not there is left out."""
    there = [each for each in summed if each.capture.id in measured]
    named = names_and_orders([(each.capture.id, subjects.get(each.capture.subject or "")) for each in there])
    return tuple(
        sum_up(name, order, *measured[each.capture.id], each.start_s, each.end_s)
        for each, (name, order) in zip(there, named, strict=True)
    )


def summary_of_shot(shot: PlacedShot, stage: Stage) -> DrawnSummary:
    """The summary of a shot, set out clear of captions."""
    assert isinstance(shot.arrangement, Summary)
    measured = {name: (Clock.of(stage.captures[name]), cadence) for name, cadence in stage.measured.items()}
    found = summed_up(shot.summed, stage.subjects, measured)
    room = lay_out(shot.arrangement, (), stage.width, stage.height).content
    canvas = stage.width, stage.height
    arrangement = shot.arrangement
    return set_out(found, arrangement.title, room, canvas, stage.type_height, stage.fonts, arrangement.lows)


def draw_summary_shot(shot: PlacedShot, stage: Stage) -> DrawnCard:
    """The same as the things of a card, in the order they come on."""
    drawn = summary_of_shot(shot, stage)
    blocks = (_block(group, (stage.width, stage.height), stage.fonts) for group in drawn.groups)
    return DrawnCard(tuple(block for block in blocks if block is not None), drawn.faults)


def plot_summary(
    found: Sequence[SummedUp],
    title: str,
    path: Path,
    size: tuple[int, int],
    fonts: FontSet,
    lows: str = DEFAULT,
) -> tuple[str, ...]:
    """Write a summary of `size` (width, height) pixels as PNG, or as SVG where the path says so. The file lands
    whole or not at all. lows: the definition of the percentile lows. Returns what did not fit, in sentences.

    Raises ValueError for a size too small, RenderError or MissingPartError if it cannot be written.
    """
    width, height = size
    if width < SMALLEST_FIGURE[0] or height < SMALLEST_FIGURE[1]:
        raise ValueError(f"a summary has at least {SMALLEST_FIGURE[0]} by {SMALLEST_FIGURE[1]} pixels")
    unit = min(width, height)
    margin = round(unit * 0.05)
    room = Rect(margin, margin, width - 2 * margin, height - 2 * margin)
    drawn = set_out(found, title, room, size, unit, fonts, lows)
    if path.suffix.lower() == ".svg":
        page = SvgPage(width, height)
        for group in drawn.groups:
            group.draw(page.pen)
        save_svg(page, title or "How long pictures stood: " + ", ".join(each.name for each in found), path)
    else:
        pixels = PixelPage(width, height, fonts)
        for group in drawn.groups:
            group.draw(pixels.pen)
        save_png(pixels, path)
    return drawn.faults


class _Raised:
    """A pen whose row 0 is another row of the page, so that a group needs no sheet of the page's size."""

    def __init__(self, pen: PixelPen, top: int) -> None:
        self._pen, self._top = pen, top

    def bar(self, left: float, top: float, right: float, bottom: float, colour: Rgb, opacity: float = 1.0) -> None:
        self._pen.bar(left, top - self._top, right, bottom - self._top, colour, opacity)

    def line(self, points: Doubles, thickness: float, style: Sequence[float], colour: Rgb, opacity: float) -> None:
        self._pen.line(points - np.array([(0.0, self._top)]), thickness, style, colour, opacity)

    def bars(self, spans: Sequence[tuple[float, float]], top: float, bottom: float, colour: Rgb) -> None:
        self._pen.bars(spans, top - self._top, bottom - self._top, colour)

    def hatch(
        self, left: float, top: float, right: float, bottom: float, pitch: float, thickness: float, colour: Rgb
    ) -> None:
        self._pen.hatch(left, top - self._top, right, bottom - self._top, pitch, thickness, colour)

    def words(self, text: str, size_px: float, x: float, baseline: float, colour: Rgb, *, bold: bool = False) -> None:
        self._pen.words(text, size_px, x, baseline - self._top, colour, bold=bold)


def _block(group: Group, canvas: tuple[int, int], fonts: FontSet) -> Block | None:
    """A group drawn on a sheet of its own and cut to its ink; None where there is none on the canvas."""
    top = max(0, group.top // 2 * 2)
    bottom = min(canvas[1], even(group.bottom))
    if bottom <= top:
        return None
    pen = PixelPen(canvas[0], bottom - top, fonts)
    raised: Pen = _Raised(pen, top)
    group.draw(raised)
    alpha = pen.sheet.alpha[: bottom - top, : canvas[0]]
    rows, columns = np.flatnonzero(alpha.any(axis=1)), np.flatnonzero(alpha.any(axis=0))
    if not rows.size:
        return None
    y0, x0 = int(rows[0]) // 2 * 2, int(columns[0]) // 2 * 2
    y1, x1 = even(int(rows[-1]) + 1), even(int(columns[-1]) + 1)
    alpha = alpha[y0:y1, x0:x1, None]
    colour = pen.sheet.rgb[y0:y1, x0:x1] / np.maximum(alpha, 1e-6)
    rgba = np.rint(255 * np.clip(np.concatenate((colour, alpha), axis=2), 0, 1)).astype(np.uint8)
    return Block(rgba, x0, top + y0)
