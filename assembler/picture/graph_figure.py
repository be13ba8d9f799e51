"""Graphs as still figures for an article: a stretch of capture time with a time axis, as PNG.

The same parts as in the moving band, on one page: no playhead, and each line named at its right end.
SVG is written by graph_svg from the same description.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Protocol

import numpy as np
from PIL import Image

from assembler.errors import RenderError
from assembler.media.landing import writing
from assembler.picture.graph_draw import Pen, PixelPen
from assembler.picture.graph_labels import name_width
from assembler.picture.graph_plan import (
    Plan,
    axis_of,
    axis_px,
    band_height,
    dash_style,
    label_height,
    make_plan,
    still_parts,
    value_px,
    value_scale,
)
from assembler.picture.graph_rate import rate_lines
from assembler.picture.graph_scale import TimeScale, ValueScale, spread, step_text
from assembler.picture.graph_series import GraphSeries
from assembler.picture.graph_strip import draw_lane
from assembler.picture.graph_times import RISER_OPACITY, step_levels, step_risers
from assembler.picture.graph_words import draw_gaps
from assembler.picture.look import GROUND, MUTED, even, scaled, subject_colour, whole
from assembler.picture.text import FontSet

_STEPS_S = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0)
SMALLEST_FIGURE = (480, 160)


class Page(Protocol):
    """A page of one figure, with a pen for all of it and windows onto what would scroll."""

    @property
    def pen(self) -> Pen:
        """Draws anywhere on the page."""

    def window(self, left: int, right: int, start: int) -> AbstractContextManager[Pen]:
        """A pen whose drawings show between two columns of the page; its own column `start` lies at left."""


class PixelPage:
    """A page of pixels on the ground."""

    def __init__(self, width: int, height: int, fonts: FontSet) -> None:
        self.size = (width, height)
        self.pen: PixelPen = PixelPen(even(width), even(height), fonts)
        self._fonts = fonts

    @contextmanager
    def window(self, left: int, right: int, start: int) -> Iterator[Pen]:
        part = PixelPen(even(right - left), even(self.size[1]), self._fonts, start)
        yield part
        columns = slice(left, right)
        alpha = part.sheet.alpha[:, : right - left]
        self.pen.sheet.rgb[:, columns] *= (1 - alpha)[..., None]
        self.pen.sheet.rgb[:, columns] += part.sheet.rgb[:, : right - left]
        self.pen.sheet.alpha[:, columns] *= 1 - alpha
        self.pen.sheet.alpha[:, columns] += alpha

    def image(self) -> Image.Image:
        """The page over the ground, RGB."""
        sheet = self.pen.sheet
        rgb = sheet.rgb * 255 + (1 - sheet.alpha)[..., None] * np.array(GROUND, np.float32)
        width, height = self.size
        return Image.fromarray(np.rint(np.clip(rgb, 0, 255)).astype(np.uint8)[:height, :width])


def plot_png(
    series: Sequence[GraphSeries],
    kinds: Sequence[str],
    span_s: tuple[float, float],
    path: Path,
    size: tuple[int, int],
    fonts: FontSet,
    offsets_s: Sequence[float] | None = None,
) -> None:
    """Write a figure of `size` (width, height) pixels as PNG.

    span_s: from and to in capture seconds of the first series. offsets_s: what to add for each
    series' own capture time, for captures that are lined up. The file lands whole or not at all.
    Raises ValueError for an empty span or a size too small, RenderError if it cannot be written.
    """
    page = PixelPage(*size, fonts)
    draw_figure(page, series, kinds, span_s, size, fonts, offsets_s)
    save_png(page, path)


def save_png(page: PixelPage, path: Path) -> None:
    """Write a page as PNG, as `save_image` does."""
    save_image(page.image(), path)


def save_image(image: Image.Image, path: Path) -> None:
    """Write an image as PNG, whole or not at all. Raises RenderError, or MissingPartError where the disk is full."""
    try:
        with writing(path) as file:
            image.save(file, format="PNG")
    except ValueError as error:
        raise RenderError(f"{path}: could not be written: {error}") from error


def draw_figure(
    page: Page,
    series: Sequence[GraphSeries],
    kinds: Sequence[str],
    span_s: tuple[float, float],
    size: tuple[int, int],
    fonts: FontSet,
    offsets_s: Sequence[float] | None = None,
) -> None:
    """Draw a figure on a page of `size`; see `plot_png`."""
    width, height = size
    from_s, to_s = span_s
    if to_s <= from_s:
        raise ValueError(f"a figure cannot end at {to_s:g} s, before it begins at {from_s:g} s")
    if width < SMALLEST_FIGURE[0] or height < SMALLEST_FIGURE[1]:
        raise ValueError(f"a figure has at least {SMALLEST_FIGURE[0]} by {SMALLEST_FIGURE[1]} pixels")
    offsets = [0.0] * len(series) if offsets_s is None else list(offsets_s)
    margin_x, margin_y, canvas_h = _measures(width, height, kinds, len(series))
    axis_row = even(axis_px(canvas_h) * 2.0)
    inner_w = even(width - 2 * margin_x) - 2
    inner_h = even(height - 2 * margin_y - axis_row) - 2
    names, name_w = name_width([each.name for each in series], round(inner_w * 0.4), canvas_h, fonts)
    gap = even(scaled(12, canvas_h))
    plan = _moved(
        make_plan(kinds, series, inner_w, inner_h, canvas_h, label_room=name_w + gap), even(margin_x), even(margin_y)
    )
    time = TimeScale((plan.plot_right - plan.plot_x) / (to_s - from_s))
    moved = even(margin_x)
    words, rules = still_parts(plan, series, time, fonts, left=moved, bar=False)
    for rule in rules:
        page.pen.bar(rule.left, rule.top, rule.right, rule.bottom, rule.colour)
    for number in range(len(series)):
        start = time.column(from_s + offsets[number])
        with page.window(plan.plot_x, plan.plot_right, start) as pen:
            _draw_series(pen, plan, series, number, time, start, fonts)
    for word in words:
        page.pen.words(word.text, word.size_px, word.x, word.baseline, word.colour, bold=word.bold)
    _draw_names(page.pen, plan, series, names, [to_s + offset for offset in offsets], gap, fonts)
    _draw_axis(page.pen, plan, time, span_s, fonts)


def _measures(width: int, height: int, kinds: Sequence[str], subjects: int) -> tuple[int, int, int]:
    """Margins, and the canvas height at which the type fills the page without crowding it."""
    natural = band_height(kinds, subjects, 1080) + 34 + 2 * 40
    unit = min(height / natural, width / 1100)
    return round(44 * unit), round(36 * unit), max(1, math.floor(1080 * unit * 0.97))


def _moved(plan: Plan, x: int, y: int) -> Plan:
    """A plan whose corner lies at (x, y) of the page."""
    panels = tuple(
        replace(
            panel,
            baseline=panel.baseline + y,
            top=panel.top + y,
            bottom=panel.bottom + y,
            lanes=tuple(lane + y if lane >= 0 else lane for lane in panel.lanes),
            notes=tuple(note + y if note >= 0 else note for note in panel.notes),
        )
        for panel in plan.panels
    )
    return replace(plan, plot_x=plan.plot_x + x, head_x=plan.head_x + x, plot_right=plan.plot_right + x, panels=panels)


def _draw_series(
    pen: Pen, plan: Plan, series: Sequence[GraphSeries], number: int, time: TimeScale, start: int, fonts: FontSet
) -> None:
    each = series[number]
    room = plan.plot_right - plan.plot_x
    columns = (start, start + room)
    every = max(2, round(0.55 * room))
    colour = subject_colour(each.order)
    for panel in plan.panels:
        if panel.kind == "cadence":
            draw_lane(pen, each, time, panel.lanes[number], plan.lane_h, columns, plan.canvas_h, fonts, every)
            continue
        scale = value_scale(panel, axis_of(panel.kind, series), plan)
        if each.reliable:
            lines = rate_lines(each, time, scale) if panel.kind == "frame-rate" else step_levels(each, time, scale)
            seen = [line for line in lines if line[-1, 0] >= columns[0] and line[0, 0] <= columns[1]]
            if panel.kind == "frame-time":
                for riser in step_risers(seen):
                    pen.line(riser, plan.riser_px, (), colour, RISER_OPACITY)
            for line in seen:
                pen.line(line, plan.line_px, dash_style(each.order), colour, 1.0)
        if panel.notes[number] >= 0:
            note = panel.notes[number]
            draw_gaps(pen, each, panel.kind, time, note, plan.note_h, columns, plan.canvas_h, fonts, every)


def _draw_names(
    pen: Pen,
    plan: Plan,
    series: Sequence[GraphSeries],
    names: Sequence[str],
    ends_s: Sequence[float],
    gap: int,
    fonts: FontSet,
) -> None:
    """Each subject's name at the right end of its line, or of its lane where there are no lines."""
    size, height = value_px(plan.canvas_h), label_height(plan.canvas_h)
    cap = fonts.cap_height_px(size, bold=True)
    lines = [panel for panel in plan.panels if panel.kind != "cadence"]
    x = plan.plot_right + gap
    for panel in lines:
        scale = value_scale(panel, axis_of(panel.kind, series), plan)
        rows = [_end_row(each, panel.kind, scale, end) for each, end in zip(series, ends_s, strict=True)]
        floor = max([panel.bottom, *(note + plan.note_h for note in panel.notes if note >= 0)])
        wanted = [(floor if math.isnan(row) else row) - height / 2 for row in rows]
        low = even(panel.top - height / 2) - 2
        high = max(even(floor + height / 2), low + len(series) * height)
        for each, name, top in zip(series, names, spread(wanted, height, low, high), strict=True):
            baseline = top + round((height + cap) / 2)
            pen.words(name, size, x, baseline, subject_colour(each.order), bold=True)
    if not lines:
        for each, name, top in zip(series, names, plan.panels[0].lanes, strict=True):
            baseline = top + round((plan.lane_h + cap) / 2)
            pen.words(name, size, x, baseline, subject_colour(each.order), bold=True)


def _end_row(series: GraphSeries, kind: str, scale: ValueScale, end_s: float) -> float:
    """The row of the last value before the figure's end."""
    values = series.rate if kind == "frame-rate" else series.step_ms
    known = np.flatnonzero(np.isfinite(values) & (series.times_s < end_s))
    return scale.row(float(values[known[-1]])) if known.size and series.reliable else math.nan


def _draw_axis(pen: Pen, plan: Plan, time: TimeScale, span_s: tuple[float, float], fonts: FontSet) -> None:
    """Seconds of capture beneath the last panel."""
    from_s, to_s = span_s
    last = plan.panels[-1]
    floor = max([last.bottom, *(note + plan.note_h for note in last.notes if note >= 0)])
    size = axis_px(plan.canvas_h)
    tick, thin = whole(6, plan.canvas_h), max(1, plan.rule_px // 2)
    row = floor + whole(8, plan.canvas_h)
    baseline = row + tick + whole(4, plan.canvas_h) + math.ceil(fonts.cap_height_px(size))
    longest = fonts.width(f"{step_text(to_s)} s", size) + 2 * size
    step = next((each for each in _STEPS_S if each * time.px_per_s >= longest), _STEPS_S[-1])
    pen.bar(plan.plot_x, row, plan.plot_right, row + thin, MUTED)
    for number in range(math.ceil(from_s / step - 1e-9), math.floor(to_s / step + 1e-9) + 1):
        second = number * step
        x = min(plan.plot_x + round((second - from_s) * time.px_per_s), plan.plot_right - thin)
        pen.bar(x, row, x + thin, row + tick, MUTED)
        text = f"{second:.2f}".rstrip("0").rstrip(".") + " s"
        pen.words(text, size, x - fonts.width(text, size) / 2, baseline, MUTED)
