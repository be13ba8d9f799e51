"""The band of graphs beneath the pictures, in step with them.

    band = GraphBand(series, kinds, window_s, width, height, canvas_h, fonts, bits)
    band.paint(canvas, x, y, times_s)      # times_s: each series' capture time at this frame

The playhead stands at a fixed place; each subject's line and lane are scrolled so that the picture
shown at this very frame lies under it, whatever its pane's speed. What scrolls is drawn once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from assembler.media.planes import Planes
from assembler.picture.geometry import Rect, floor_even
from assembler.picture.graph_chunks import Strip
from assembler.picture.graph_draw import PixelPen, dashed
from assembler.picture.graph_labels import (
    COUNTING,
    NOT_KNOWN,
    LabelMaker,
    MarkMaker,
    label_column,
    label_gap,
    leader_top,
    name_width,
    value_parts,
)
from assembler.picture.graph_plan import Panel, axis_of, dash_style, make_plan, still_parts, value_scale
from assembler.picture.graph_rate import rate_lines, row_at
from assembler.picture.graph_scale import ValueScale, spread, step_text, time_scale
from assembler.picture.graph_series import GraphSeries
from assembler.picture.graph_strip import cell_edges, draw_lane
from assembler.picture.graph_times import RISER_OPACITY, step_levels, step_risers
from assembler.picture.graph_words import draw_gaps
from assembler.picture.look import (
    GROUND,
    HAIRLINE,
    INK,
    MUTED,
    SUBJECT_COLOURS,
    TEXT_CONTRAST,
    backing_opacity,
    even,
    scaled,
    subject_colour,
)
from assembler.picture.sprite import Sprite, blend
from assembler.picture.text import FontSet

# Names stand in their subject's colour, so the colours need the contrast of words.
BACKING = backing_opacity(*((colour, TEXT_CONTRAST) for colour in (INK, MUTED, *SUBJECT_COLOURS)))
FUTURE = 0.34
_ON_PICTURE = (84, 92, 96)  # hairlines over a ground that lets a picture through
DEFAULT_WINDOW_S = 5.0
_HEAD_OPACITY = 0.8
PAST = 2
"""Columns right of the playhead's left edge up to which lines are drawn in full."""


@dataclass(frozen=True, slots=True)
class Shown:
    """What a band says of one subject at a frame.

    picture: the capture's picture under the playhead. column: the strip's column at the playhead.
    cell: the picture that opened the cell it lies in. parts: for each graph in order, the value's figures
    (name left out) and what follows them, or a word in their place; empty for the strip. rows: the dot's row
    in each graph, NaN where there is none. tops: the label's first row, -1 where there is none.
    """

    picture: int
    column: int
    cell: int
    parts: tuple[tuple[str, str], ...]
    rows: tuple[float, ...]
    tops: tuple[int, ...]

    @property
    def texts(self) -> tuple[str, ...]:
        """For each graph in order, what its label says besides the name."""
        return tuple(" ".join(part).strip() for part in self.parts)


Placed = tuple[Sprite, int, int]
"""A drawing, and the column and row of the band (even) that its point lies at."""


class GraphBand:
    """A band of one shot.

    series: one to four, in the order of lanes. kinds: see `GRAPH_KINDS`. window_s: about how many seconds
    the band spans (2 to 30). width, height: of the band (even); `band_height` says what height
    it asks for. canvas_h: the height that type is scaled by. backing: with a ground of its own,
    for a band that lies over a picture.
    strips: what scrolls of each series: (strip, its first row, whether it is a lane) for each panel that has one.
    clear: columns right of the playhead that labels may take, which no line runs through. head: the playhead.
    Raises ValueError for a window out of range or graphs that do not fit into the height.
    """

    def __init__(
        self,
        series: Sequence[GraphSeries],
        kinds: Sequence[str],
        window_s: float,
        width: int,
        height: int,
        canvas_h: int,
        fonts: FontSet,
        bits: int = 8,
        *,
        backing: bool = False,
    ) -> None:
        self.series = tuple(series)
        self.kinds = tuple(kinds)
        self.plan = make_plan(kinds, series, width, height, canvas_h)
        plan = self.plan
        self._refresh = max(each.refresh for each in series)
        self.time = time_scale(window_s, plan.plot_right - plan.plot_x, canvas_h, self._refresh)
        self._fonts, self._bits = fonts, bits
        self._edges = tuple(cell_edges(each, self.time) for each in series)
        self._scales = tuple(
            None if panel.kind == "cadence" else value_scale(panel, axis_of(panel.kind, series), plan)
            for panel in plan.panels
        )
        self.strips = tuple(self._strip(index, each) for index, each in enumerate(self.series))
        room = plan.plot_right - plan.head_x - label_gap(canvas_h)
        names, name_w = name_width([each.name for each in series], room, canvas_h, fonts)
        self._labels = tuple(
            LabelMaker(name, each.order, name_w, plan, fonts, bits) for name, each in zip(names, series, strict=True)
        )
        self.clear = label_column(kinds, name_w, plan, fonts)
        if plan.plot_right - plan.head_x - self.clear < 0.05 * (plan.plot_right - plan.plot_x):
            self.clear = plan.plot_right - plan.head_x  # a scrap of line beyond the labels says nothing
        self._marks = tuple(MarkMaker(each.order, plan, fonts, bits) for each in series)
        self._backing = self._backing_sprite() if backing else None
        self._still = tuple(self._still_sprites())
        self.head: Placed = self._head_sprite(), plan.head_x, 0

    @property
    def window_s(self) -> float:
        """Seconds that the band spans: the window asked for, but for whole pixels a refresh."""
        return (self.plan.plot_right - self.plan.plot_x) / self.time.px_per_s

    @property
    def dot_reach(self) -> int:
        """Rows and columns from a dot's place to its edges (even)."""
        return self._marks[0].dot_reach

    @property
    def height_drawn(self) -> int:
        """Rows from the band's top to beneath everything that is drawn (even), a few more than the band has."""
        ends = [top + strip.height for strips in self.strips for strip, top, _ in strips]
        return even(max(self.plan.height + 2 * self.dot_reach, self.head[0].height, *ends))

    def prepare(self, index: int, first_s: float, last_s: float) -> None:
        """Draw what a series will need while its capture plays from first_s to last_s."""
        plan, time = self.plan, self.time
        first = time.column(first_s) - (plan.head_x - plan.plot_x)
        last = time.column(last_s) + plan.plot_right - plan.head_x
        for strip, _, _ in self.strips[index]:
            strip.prepare(first, last)

    def state_at(self, times_s: Sequence[float]) -> tuple[Shown, ...]:
        """The values drawn at a frame, for each series, given each one's capture time."""
        if len(times_s) != len(self.series):
            raise ValueError(f"{len(self.series)} series need as many times, not {len(times_s)}")
        pictures = [each.picture_at(float(time)) for each, time in zip(self.series, times_s, strict=True)]
        panels = range(len(self.kinds))
        rows = [
            tuple(self._row(each, panel, picture, float(time)) for panel in panels)
            for each, picture, time in zip(self.series, pictures, times_s, strict=True)
        ]
        tops = [self._label_tops(panel, [row[panel] for row in rows]) for panel in panels]
        return tuple(
            Shown(
                picture=picture,
                column=self._column(index, picture, float(times_s[index])),
                cell=int(self.series[index].cell[picture]),
                parts=tuple([self._parts(self.series[index], kind, picture) for kind in self.kinds]),
                rows=rows[index],
                tops=tuple([panel[index] for panel in tops]),
            )
            for index, picture in enumerate(pictures)
        )

    def still_rects(self, x: int, y: int) -> tuple[Rect, ...]:
        """Where what does not move lies, of a band with its top left corner at (x, y)."""
        return tuple(Rect(x + left, y + top, sprite.width, sprite.height) for sprite, left, top in self._still)

    def paint_still(self, canvas: Planes, x: int, y: int) -> None:
        """Draw what does not move: of all the rest nothing lies beneath it."""
        for sprite, left, top in self._still:
            blend(canvas, sprite, x + left, y + top)

    def paint(self, canvas: Planes, x: int, y: int, times_s: Sequence[float], *, still: bool = True) -> None:
        """Draw the band with its top left corner at (x, y), even, at a frame at which each series'
        pane shows its capture at times_s, seconds from its first picture. still: False where the canvas
        holds what does not move already."""
        plan = self.plan
        shown = self.state_at(times_s)
        if self._backing is not None:
            reach = even(scaled(20, plan.canvas_h))
            blend(canvas, self._backing, x - reach, y - floor_even(reach / 2))
        if still:
            self.paint_still(canvas, x, y)
        head = x + plan.head_x
        for index, now in enumerate(shown):
            end = self.end_of(index, now)
            start = now.column - (plan.head_x - plan.plot_x)
            for strip, top, is_lane in self.strips[index]:
                past, future = (end, end) if is_lane else (PAST, self.clear)
                strip.blend(canvas, x + plan.plot_x, head + past, y + top, start)
                strip.blend(canvas, head + future, x + plan.plot_right, y + top, now.column + future, dim=True)
        for sprite, left, top in (self.head, *self.marks(shown)):
            blend(canvas, sprite, x + left, y + top)

    def marks(self, shown: Sequence[Shown]) -> list[Placed]:
        """Labels, leaders and dots at the playhead, later ones over earlier ones. Drawings that did not change are
        the same objects as before."""
        head = self.plan.head_x
        found: list[Placed] = []
        for panel in range(len(self.kinds)):
            for index, now in enumerate(shown):
                top = now.tops[panel]
                if top < 0:
                    continue
                label, marks = self._labels[index], self._marks[index]
                found.append((label.sprite(*now.parts[panel]), head + label.gap, top))
                row = now.rows[panel]
                if math.isnan(row):
                    continue
                base = floor_even(row)
                rise = floor_even(top + label.height // 2 - base + 1)
                if abs(rise) > 2:
                    found.append((marks.leader(rise), head, leader_top(base, rise)))
                found.append((marks.dot(round((row - base) * 4)), head - marks.dot_reach, base - marks.dot_reach))
        return found

    def _parts(self, series: GraphSeries, kind: str, picture: int) -> tuple[str, str]:
        """A value's figures and what follows them; a word alone where nothing is counted."""
        if kind == "cadence":
            return "", ""
        word = series.word_at(picture, kind)
        if word:
            return "", word
        if kind == "frame-rate":
            rate = float(series.rate[picture])
            if math.isnan(rate):
                return "", COUNTING
            return value_parts(rate, float(series.rate_margin[picture]), self._refresh)
        step = float(series.step_ms[picture])
        return ("", NOT_KNOWN) if math.isnan(step) else (step_text(step), "ms")

    def _row(self, series: GraphSeries, panel: int, picture: int, time_s: float) -> float:
        scale = self._scales[panel]
        if scale is None:
            return math.nan
        if self.kinds[panel] == "frame-rate":
            if math.isnan(float(series.rate[picture])):
                return math.nan
            return row_at(series, scale, picture, time_s)
        step = float(series.step_ms[picture])
        return math.nan if math.isnan(step) else scale.row(step)

    def _label_tops(self, panel: int, rows: Sequence[float]) -> tuple[int, ...]:
        """Where the labels of a graph stand: beside their values, moved apart where they would overlap."""
        if self.kinds[panel] == "cadence":
            return (-1,) * len(rows)
        size = self._labels[0].height
        place = self.plan.panels[panel]
        floor = max([place.bottom, *(note + self.plan.note_h for note in place.notes if note >= 0)])
        low, high = floor_even(place.top - size / 2), floor_even(floor + size / 2)
        wanted = [(floor - size if math.isnan(row) else row - size / 2) for row in rows]
        return spread(wanted, size, max(0, low), min(high, self.plan.height))

    def _column(self, index: int, picture: int, time_s: float) -> int:
        """The strip's column at the playhead: within the shown picture's own columns if it has any."""
        edges_s = self.series[index].edges_s
        first, last = (self.time.column(float(edges_s[at])) for at in (picture, picture + 1))
        return min(max(self.time.column(time_s), first), max(first, last - 1))

    def end_of(self, index: int, now: Shown) -> int:
        """Columns right of the playhead that the picture shown takes (even): the future begins after them."""
        edge = math.ceil(float(self._edges[index][now.picture + 1])) - now.column
        return min(max(2, floor_even(edge)), self.plan.plot_right - self.plan.head_x)

    def _strip(self, index: int, series: GraphSeries) -> tuple[tuple[Strip, int, bool], ...]:
        """What scrolls of one series: (strip, its first row, whether it is a lane) for each panel."""
        end = math.ceil(float(self._edges[index][-1])) + 2
        found = []
        for panel, scale in zip(self.plan.panels, self._scales, strict=True):
            if scale is None:
                found.append((self._lane_strip(index, series, panel, end), panel.lanes[index], True))
            elif series.reliable:
                found.append((self._line_strip(index, series, panel, scale, end), floor_even(panel.top) - 4, False))
        return tuple(found)

    def _lane_strip(self, index: int, series: GraphSeries, panel: Panel, end: int) -> Strip:
        plan = self.plan
        every = max(2, round(0.55 * (plan.plot_right - plan.plot_x)))

        def draw(pen: PixelPen, columns: tuple[int, int]) -> None:
            draw_lane(pen, series, self.time, 0, plan.lane_h, columns, plan.canvas_h, self._fonts, every)

        return Strip(draw, plan.lane_h, end, self._fonts, self._bits, FUTURE)

    def _line_strip(self, index: int, series: GraphSeries, panel: Panel, scale: ValueScale, end: int) -> Strip:
        plan = self.plan
        top = floor_even(panel.top) - 4
        shift = ValueScale(scale.low, scale.high, scale.top - top, scale.bottom - top)
        rates = panel.kind == "frame-rate"
        lines = rate_lines(series, self.time, shift) if rates else step_levels(series, self.time, shift)
        risers = [] if rates else step_risers(lines)
        style = dash_style(series.order)
        pieces = np.concatenate([np.zeros((0, 6)), *(dashed(line, plan.line_px, style) for line in lines)])
        thin = np.concatenate([np.zeros((0, 6)), *(dashed(line, plan.riser_px, ()) for line in risers)])
        note = panel.notes[index] - top if panel.notes[index] >= 0 else -1
        every = max(2, round(0.55 * (plan.plot_right - plan.plot_x)))
        height = even(max(panel.bottom + 4, panel.notes[index] + plan.note_h) - top)
        colour = subject_colour(series.order)

        def draw(pen: PixelPen, columns: tuple[int, int]) -> None:
            pen.pieces(thin, plan.riser_px, colour, RISER_OPACITY)
            pen.pieces(pieces, plan.line_px, colour)
            if note >= 0:
                draw_gaps(
                    *(pen, series, panel.kind, self.time, note, plan.note_h),
                    *(columns, plan.canvas_h, self._fonts, every),
                )

        return Strip(draw, height, end, self._fonts, self._bits, FUTURE)

    def _still_sprites(self) -> list[tuple[Sprite, int, int]]:
        """What does not move, as few small sprites, each with its column and row."""
        plan = self.plan
        hairline = _ON_PICTURE if self._backing is not None else HAIRLINE
        words, rules = still_parts(plan, self.series, self.time, self._fonts, clear=self.clear, hairline=hairline)
        pen = PixelPen(plan.width, even(plan.height + 8), self._fonts)
        for rule in rules:
            pen.bar(rule.left, rule.top, rule.right, rule.bottom, rule.colour)
        for each in words:
            pen.words(each.text, each.size_px, each.x, each.baseline, each.colour, bold=each.bold)
        sheet = pen.sheet
        found = []
        # The gutter is narrow and goes whole; the plot's rules are long and thin and go one by one.
        for left, right, apart in ((0, plan.plot_x, False), (plan.plot_x, plan.width, True)):
            rows = np.asarray(sheet.alpha[:, left:right].any(axis=1))
            pairs = np.asarray(rows[0::2] | rows[1::2])
            edges = np.flatnonzero(np.diff(np.concatenate(([0], pairs.astype(np.int8), [0]))))
            if not apart:
                edges = edges[[0, -1]] if edges.size else edges
            for first, last in zip(edges[0::2], edges[1::2], strict=True):
                top, bottom = 2 * int(first), 2 * int(last)
                columns = np.flatnonzero(sheet.alpha[top:bottom, left:right].any(axis=0))
                start, end = left + int(columns[0]) // 2 * 2, left + -(-(int(columns[-1]) + 1) // 2) * 2
                cut = (slice(top, bottom), slice(start, end))
                found.append((Sprite.from_premultiplied(sheet.rgb[cut], sheet.alpha[cut], self._bits), start, top))
        return found

    def _head_sprite(self) -> Sprite:
        """The playhead, leaving the lanes free."""
        plan = self.plan
        over = floor_even(scaled(6, plan.canvas_h))
        spans: list[tuple[int, int]] = []
        for panel in plan.panels:
            if panel.kind != "cadence":
                floor = max([panel.bottom, *(note + plan.note_h for note in panel.notes if note >= 0)])
                spans.append((panel.top - over, floor + over))
                continue
            spans.append((panel.top - over - 2, panel.top - 2))
            for lane, following in zip(panel.lanes, panel.lanes[1:], strict=False):
                spans.append((lane + plan.lane_h + 2, following - 2))
            spans.append((panel.bottom + 2, panel.bottom + 2 + over))
        pen = PixelPen(even(plan.rule_px), even(max(bottom for _, bottom in spans)), self._fonts)
        for top, bottom in spans:
            pen.bar(0, max(0, top), plan.rule_px, bottom, MUTED, _HEAD_OPACITY)
        return pen.sheet.sprite(self._bits)

    def _backing_sprite(self) -> Sprite:
        plan = self.plan
        reach = even(scaled(20, plan.canvas_h))
        pen = PixelPen(plan.width + 2 * reach, plan.height + 2 * floor_even(reach / 2), self._fonts)
        pen.sheet.plate(0, 0, plan.width + 2 * reach, plan.height + reach, scaled(5, plan.canvas_h), GROUND, BACKING)
        return pen.sheet.sprite(self._bits)
