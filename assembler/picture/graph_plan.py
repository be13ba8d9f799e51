"""How a band of graphs is set out: panels one under the other on one time scale, and what stands still.

Kinds: `frame-rate` and `frame-time` are lines with direct labels at the playhead, `cadence` the strip.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from assembler.measure.model import TOO_COMPRESSED
from assembler.picture.geometry import floor_even
from assembler.picture.graph_scale import Axis, TimeScale, ValueScale, rate_axis, readable, scale_bar, step_axis
from assembler.picture.graph_series import GraphSeries
from assembler.picture.graph_strip import note_px
from assembler.picture.labels import shortened
from assembler.picture.look import (
    AXIS_PX,
    HAIRLINE,
    MUTED,
    VALUE_PX,
    Rgb,
    even,
    line_style,
    scaled,
    subject_colour,
    whole,
)
from assembler.picture.text import FontSet

GRAPH_KINDS = ("frame-rate", "frame-time", "cadence")
TITLES = {
    "frame-rate": "new pictures a second",
    "frame-time": "milliseconds each picture stands",
    "cadence": "refresh by refresh: a new picture opens a cell",
}
PLAYHEAD_SHARE = 0.73
LINE_PX = 3.5
DASH_STRETCH = 1.5  # a graph's dashes are longer than a short rule's, or noise breaks them up

_TITLE_ROW, _PLOT, _BETWEEN, _LANE, _LANE_GAP, _NOTE_ROW = 28, 104, 14, 22, 6, 26


@dataclass(frozen=True, slots=True)
class Panel:
    """One graph of a band, in rows from the band's top. top, bottom: of the plot or the lanes.
    lanes, notes: the top of each subject's lane or row of words (-1 where it has none)."""

    kind: str
    baseline: int
    top: int
    bottom: int
    lanes: tuple[int, ...]
    notes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """A band's geometry in pixels from its top left corner; all columns and panel rows are even.

    plot_x, plot_right: where the time scale begins and ends. head_x: the playhead's column."""

    width: int
    height: int
    canvas_h: int
    plot_x: int
    head_x: int
    plot_right: int
    lane_h: int
    note_h: int
    panels: tuple[Panel, ...]

    def px(self, at_1080: float) -> int:
        """An even size."""
        return max(2, floor_even(scaled(at_1080, self.canvas_h) + 1))

    @property
    def line_px(self) -> float:
        return scaled(LINE_PX, self.canvas_h)

    @property
    def riser_px(self) -> float:
        """Thickness of what only joins one level to the next."""
        return max(1.0, scaled(1.6, self.canvas_h))

    @property
    def rule_px(self) -> int:
        """Thickness of hairlines and of the playhead: seen at every size."""
        return max(1, round(scaled(2, self.canvas_h)))


def axis_px(canvas_h: int) -> float:
    """The size of axis words, which stay readable on small canvases."""
    return max(scaled(AXIS_PX, canvas_h), min(15.0, canvas_h / 48))


def value_px(canvas_h: int) -> float:
    """The size of the names and values at the playhead."""
    return max(scaled(VALUE_PX, canvas_h), min(18.0, canvas_h / 40))


def dash_style(order: int) -> tuple[float, ...]:
    """A subject's line style on graphs."""
    return tuple(part * DASH_STRETCH for part in line_style(order))


def _sizes(canvas_h: int) -> tuple[int, int, int, int, int, int]:
    def px(at_1080: float) -> int:
        return max(2, floor_even(scaled(at_1080, canvas_h) + 1))

    title = max(px(_TITLE_ROW), even(axis_px(canvas_h) * 1.3))  # small canvases have words larger than to scale
    return title, px(_PLOT), px(_BETWEEN), px(_LANE), px(_LANE_GAP), px(_NOTE_ROW)


def band_height(kinds: Sequence[str], subjects: int, canvas_h: int) -> int:
    """Rows that a band of these graphs asks for (even). canvas_h: the height that type is scaled by.

    Raises ValueError for no graph, an unknown or repeated one, or other than one to four subjects.
    """
    if not kinds or len(set(kinds)) != len(kinds) or any(kind not in GRAPH_KINDS for kind in kinds):
        raise ValueError(f"graphs are one or more of {', '.join(GRAPH_KINDS)}, each once")
    if not 1 <= subjects <= 4:
        raise ValueError(f"a graph shows one to four subjects, not {subjects}")
    title, plot, between, lane, lane_gap, _ = _sizes(canvas_h)
    lanes = subjects * lane + (subjects - 1) * lane_gap
    plot = max(plot, subjects * label_height(canvas_h))
    rows = sum(title + (lanes if kind == "cadence" else plot) for kind in kinds)
    return rows + between * (len(kinds) - 1)


def label_height(canvas_h: int) -> int:
    """Rows of a label at the playhead (even)."""
    return even(value_px(canvas_h) * 1.28)


def make_plan(
    kinds: Sequence[str],
    series: Sequence[GraphSeries],
    width: int,
    height: int,
    canvas_h: int,
    *,
    label_room: int | None = None,
) -> Plan:
    """Set out a band of `width` by `height` (even). label_room: columns kept free for labels right of the
    plot, which then ends there; None = a playhead at its fixed place with the near future beyond.

    Raises ValueError when the graphs do not fit into the height.
    """
    band_height(kinds, len(series), canvas_h)
    title, _, between, lane, lane_gap, note = _sizes(canvas_h)
    lanes_h = len(series) * lane + (len(series) - 1) * lane_gap
    plots = sum(kind != "cadence" for kind in kinds)
    fixed = title * len(kinds) + between * (len(kinds) - 1) + (lanes_h if "cadence" in kinds else 0)
    plot = floor_even((height - fixed) / plots) if plots else 0
    # Without a strip the lines' gaps are named in rows of their own beneath the plot.
    noted = [] if "cadence" in kinds else [index for index, each in enumerate(series) if has_gaps(each, kinds)]
    notes_h = note * len(noted)
    least = len(series) * label_height(canvas_h)
    if height < fixed or (plots and plot < max(least, notes_h + note)):
        raise ValueError(f"{len(kinds)} graphs of {len(series)} subjects do not fit into {height} rows")
    panels, y = [], 0
    for kind in kinds:
        # The words stand on the row's floor, clear of the line beneath by a fixed space.
        baseline, top = y + title - whole(10, canvas_h), y + title
        none = (-1,) * len(series)
        if kind == "cadence":
            tops = tuple(top + index * (lane + lane_gap) for index in range(len(series)))
            panels.append(Panel(kind, baseline, top, top + lanes_h, tops, none))
            y = top + lanes_h + between
        else:
            bottom = top + plot - notes_h
            rows = tuple(bottom + noted.index(i) * note if i in noted else -1 for i in range(len(series)))
            panels.append(Panel(kind, baseline, top, bottom, none, rows))
            y = top + plot + between
    plot_x = even(axis_px(canvas_h) * 2.9)
    right = floor_even(width if label_room is None else width - label_room)
    head = floor_even(plot_x + PLAYHEAD_SHARE * (width - plot_x)) if label_room is None else right
    return Plan(width, height, canvas_h, plot_x, head, right, lane, note, tuple(panels))


def has_gaps(series: GraphSeries, kinds: Sequence[str]) -> bool:
    """Whether a subject has moments at which nothing is counted, and a word that says why."""
    return not series.reliable or any(bool((series.state_of(kind) != 0).any()) for kind in kinds)


def value_scale(panel: Panel, axis: Axis, plan: Plan) -> ValueScale:
    """The rows of a panel's values, half a line's thickness inside it."""
    inset = max(plan.line_px / 2, 1.0)
    # Baselines lie on whole rows, and the line runs along their middle.
    return ValueScale(axis.low, axis.high, panel.top + round(inset) + 0.0, panel.bottom - round(inset) - 0.0)


def axis_of(kind: str, series: Sequence[GraphSeries]) -> Axis:
    """The axis of a panel: one for the whole capture, so that it never moves."""
    refreshes = [each.refresh for each in series]
    if kind == "frame-rate":
        return rate_axis([each.rate for each in series], refreshes)
    return step_axis([each.step_ms if each.reliable else each.step_ms[:0] for each in series], refreshes)


@dataclass(frozen=True, slots=True)
class Words:
    """Words that stand still: pen start, baseline, and how they look."""

    text: str
    size_px: float
    x: float
    baseline: int
    colour: Rgb
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Rule:
    """A thin line of whole pixels that stands still."""

    left: int
    top: int
    right: int
    bottom: int
    colour: Rgb


def still_parts(
    plan: Plan,
    series: Sequence[GraphSeries],
    time: TimeScale,
    fonts: FontSet,
    *,
    clear: int = 0,
    left: int = 0,
    bar: bool = True,
    hairline: Rgb = HAIRLINE,
) -> tuple[tuple[Words, ...], tuple[Rule, ...]]:
    """Titles, baselines, initials and the length of the time scale.

    clear: columns right of the playhead that baselines leave free for labels. left: where the
    gutter begins. bar: whether the bar that shows the time scale is wanted.
    """
    words: list[Words] = []
    rules: list[Rule] = []
    size = axis_px(plan.canvas_h)
    cap = fonts.cap_height_px(size)
    for number, panel in enumerate(plan.panels):
        words.append(Words(TITLES[panel.kind], size, float(plan.plot_x), panel.baseline, MUTED))
        if number == 0 and bar:
            _add_scale_bar(words, rules, plan, panel.baseline, time, fonts)
        if panel.kind == "cadence":
            bold_cap = fonts.cap_height_px(size, bold=True)
            for each, top in zip(series, panel.lanes, strict=True):
                baseline = top + round((plan.lane_h + bold_cap) / 2)
                words.append(Words(each.initial, size, float(left), baseline, subject_colour(each.order), True))
        else:
            axis = axis_of(panel.kind, series)
            scale = value_scale(panel, axis, plan)
            named = readable(axis, scale, size * 1.1)
            for line in axis.baselines:
                row = round(scale.row(line.value) - plan.rule_px / 4)
                for start, end in ((plan.plot_x, plan.head_x), (plan.head_x + clear, plan.plot_right)):
                    if start < end:
                        rules.append(Rule(start, row, end, row + max(1, plan.rule_px // 2), hairline))
                if line in named:
                    words.append(Words(line.text, size, float(left), round(row + cap / 2), MUTED))
        for each, lane, note in zip(series, panel.lanes, panel.notes, strict=True):
            top, room = (lane, plan.lane_h) if lane >= 0 else (note, plan.note_h)
            if not each.reliable and top >= 0:
                _add_refusal(words, plan, each, top, room, fonts)
    return tuple(words), tuple(rules)


def _add_refusal(words: list[Words], plan: Plan, series: GraphSeries, top: int, room: int, fonts: FontSet) -> None:
    """Say in words why a subject has no curve."""
    size = note_px(plan.canvas_h)
    text = shortened(series.why or TOO_COMPRESSED, size, plan.head_x - plan.plot_x, fonts)
    words.append(Words(text, size, plan.plot_x, top + round((room + fonts.cap_height_px(size)) / 2), MUTED))


def _add_scale_bar(
    words: list[Words], rules: list[Rule], plan: Plan, baseline: int, time: TimeScale, fonts: FontSet
) -> None:
    seconds, text = scale_bar(time.px_per_s, plan.canvas_h)
    size = axis_px(plan.canvas_h)
    length = round(seconds * time.px_per_s)
    right = plan.head_x
    left = right - length
    start = left - fonts.width(text, size) - whole(10, plan.canvas_h)
    if start < plan.plot_x + fonts.width(TITLES[plan.panels[0].kind], size) + size:
        return
    thin, tick = max(1, plan.rule_px // 2), whole(4, plan.canvas_h)
    row = baseline - round(fonts.cap_height_px(size) / 2)
    rules.append(Rule(left, row, right, row + thin, MUTED))
    for x in (left, right - thin):
        rules.append(Rule(x, row - tick, x + thin, row + tick + thin, MUTED))
    words.append(Words(text, size, start, baseline, MUTED))
