"""The cadence strip: one lane a subject, one cell a picture.

A new picture opens a cell, filled; each refresh that repeats it lengthens the cell, hollow. A tear
cuts the step between two cells at the height where it lay: above it the old picture still stands.
Where nothing can be counted the lane is a thin rule with a word, or hatched.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assembler.measure.model import State
from assembler.picture.graph_draw import HATCH_LINE, HATCH_PITCH, Pen
from assembler.picture.graph_scale import Columns, Doubles, TimeScale
from assembler.picture.graph_series import STATE_WORDS, GraphSeries
from assembler.picture.look import MUTED, Rgb, scaled, subject_colour, whole
from assembler.picture.text import FontSet

HELD_TINT = 0.30
NOTE_PX = 17.0


@dataclass(frozen=True, slots=True)
class CellStyle:
    """Sizes of a lane's cells in pixels. gap: left free at a cell's end; rule: the outline of what is held."""

    gap: int
    rule: int
    rise: int
    note_px: float
    hatch_pitch: float
    hatch_line: float


def cell_style(pitch_px: float, canvas_h: int) -> CellStyle:
    """How cells are drawn when a refresh is `pitch_px` wide: fine ones without gaps, so that a full
    lane looks full and a half-full one half full."""
    at_1080 = pitch_px * 1080 / canvas_h
    gap = whole(2, canvas_h) if at_1080 >= 7.5 else 1 if at_1080 >= 3.5 and pitch_px >= 3 else 0
    return CellStyle(
        gap,
        whole(2, canvas_h),
        whole(2, canvas_h),
        note_px(canvas_h),
        scaled(HATCH_PITCH, canvas_h),
        scaled(HATCH_LINE, canvas_h),
    )


def note_px(canvas_h: int) -> float:
    """The size of the smallest words, which stay readable on small canvases."""
    return max(scaled(NOTE_PX, canvas_h), min(13.0, canvas_h / 50))


def cell_edges(series: GraphSeries, time: TimeScale) -> Columns | Doubles:
    """(n + 1,) where each refresh begins: whole columns, but where a refresh is less than one."""
    if time.px_per_s >= series.refresh:
        return time.columns(series.edges_s)
    return time.places(series.edges_s)


def draw_lane(
    pen: Pen,
    series: GraphSeries,
    time: TimeScale,
    top: int,
    height: int,
    columns: tuple[int, int],
    canvas_h: int,
    fonts: FontSet,
    word_every: int,
) -> None:
    """Draw what lies between two columns of a subject's lane. word_every: columns between the words of
    a long span, so that one of them is always seen."""
    edges = cell_edges(series, time)
    style = cell_style(time.px_per_s / series.refresh, canvas_h)
    colour = subject_colour(series.order)
    bottom = top + height
    if not series.reliable:
        return
    first = max(0, int(np.searchsorted(edges, columns[0], "right")) - 1)
    last = min(series.pictures, int(np.searchsorted(edges, columns[1], "left")))
    for start, end, state in series.spans():
        if end <= first or start >= last:
            continue
        left, right = float(edges[start]), float(edges[end])
        if state == State.MOVING:
            refresh_px = max(1, round(time.px_per_s / series.refresh))
            _cells(pen, series, edges, refresh_px, style, top, height, max(start, first), min(end, last))
            continue
        room = (left, right - style.gap)
        free = draw_words(pen, fonts, STATE_WORDS[state], room, top, height, style.note_px, word_every, columns)
        for start_x, end_x in free:
            if state == State.UNDECIDED:
                pen.hatch(start_x, top, end_x, bottom, style.hatch_pitch, style.hatch_line, colour)
            else:
                middle = top + height / 2
                pen.bar(start_x, middle - style.rule / 2, end_x, middle + style.rule / 2, colour)


def draw_words(
    pen: Pen,
    fonts: FontSet,
    word: str,
    span: tuple[float, float],
    top: int,
    height: int,
    size_px: float,
    every: int,
    columns: tuple[int, int],
) -> tuple[tuple[float, float], ...]:
    """Name a span of a lane, again and again along it; returns what the words leave free. A span too
    short for the word stays without, and all of it is free."""
    width = fonts.width(word, size_px)
    pad = size_px * 0.45
    left, right = span
    room = right - left
    if room < width + 2 * pad:
        return (span,)
    count = max(1, round(room / every))
    free, at = [], left
    for number in range(count):
        x = left + room * (number + 0.5) / count - width / 2
        free.append((at, x - pad))
        at = x + width + pad
        if at > columns[0] and x - pad < columns[1]:
            baseline = top + (height + fonts.cap_height_px(size_px)) / 2
            pen.words(word, size_px, x, round(baseline), MUTED)
    return (*free, (at, right))


@dataclass(frozen=True, slots=True)
class _Run:
    """Pictures first to last (half-open) that are drawn alike: filled or held."""

    first: int
    last: int
    filled: bool


def _cells(
    pen: Pen,
    series: GraphSeries,
    edges: Columns | Doubles,
    refresh_px: int,
    style: CellStyle,
    top: int,
    height: int,
    first: int,
    last: int,
) -> None:
    colour = subject_colour(series.order)
    bottom = top + height
    torn = np.isfinite(series.tear[:, 0])
    rule = style.rule
    plain: list[tuple[float, float]] = []  # whole cells, which most are: drawn in one go
    for run in _runs(series, torn, edges, refresh_px, style.gap, first, last):
        left, right = float(edges[run.first]), float(edges[run.last])
        following = run.last
        ends = following >= series.pictures or bool(series.is_new[following]) or _state_ends(series, following)
        cut_next = following < series.pictures and bool(torn[following])
        gap = style.gap if ends else 0
        # Above the next picture's tear the old one stands on: there the cell does not end here.
        cut = top + float(series.tear[following, 0]) * height if cut_next else float(top)
        head = left + refresh_px if right - left > 1.5 * refresh_px and run.last - run.first == 1 else right
        if run.filled and head == right and not cut_next and not torn[run.first]:
            plain.append((left, right - gap))
            continue
        pen.bars(plain, top, bottom, colour)
        plain = []
        if torn[run.first]:
            _torn_cell(pen, series, style, top, height, left, right, run.first, gap)
            left = right
        elif run.filled:
            pen.bar(left, top, min(head, right - gap), bottom, colour)
            # A picture that a capture of variable timing holds for longer than a refresh.
            left = head
        if left < right - gap:
            pen.bar(left, top, right - gap, bottom, colour, HELD_TINT)
            pen.bar(left, top, right - gap, top + rule, colour)
            pen.bar(left, bottom - rule, right - gap, bottom, colour)
            if ends and gap:
                pen.bar(right - gap - max(1, rule // 2), max(top + rule, cut), right - gap, bottom - rule, colour)
        if gap and cut_next:
            _held(pen, right - gap, right, top, cut, rule, colour)
    pen.bars(plain, top, bottom, colour)


def _torn_cell(
    pen: Pen,
    series: GraphSeries,
    style: CellStyle,
    top: int,
    height: int,
    left: float,
    right: float,
    picture: int,
    gap: int,
) -> None:
    """One refresh with the old picture above and the new one below. The cut is as wide as the rows in which
    the tear may lie."""
    colour = subject_colour(series.order)
    low, high = (float(share) for share in series.tear[picture])
    middle, half = top + (low + high) / 2 * height, max((high - low) * height, float(style.rise)) / 2
    above, below = max(float(top), middle - half), min(float(top + height), middle + half)
    _held(pen, left, right - gap, top, above, style.rule, colour)
    if gap:
        pen.bar(right - gap - max(1, style.rule // 2), top, right - gap, above, colour)
    pen.bar(left, below, right - gap, top + height, colour)


def _held(pen: Pen, left: float, right: float, top: float, bottom: float, rule: int, colour: Rgb) -> None:
    """The old picture above a tear."""
    pen.bar(left, top, right, bottom, colour, HELD_TINT)
    pen.bar(left, top, right, min(top + rule, bottom), colour)


def _state_ends(series: GraphSeries, picture: int) -> bool:
    return bool(series.state[picture] != series.state[picture - 1])


def _runs(
    series: GraphSeries,
    torn: npt.NDArray[np.bool_],
    edges: Columns | Doubles,
    refresh_px: int,
    gap: int,
    first: int,
    last: int,
) -> Iterator[_Run]:
    """Pictures that make one rectangle. Without gaps neighbouring cells melt into one, so that no soft
    edge shows between them."""
    new = series.is_new
    alone = torn | (np.diff(edges) > 1.5 * refresh_px)
    start = first
    for index in range(first + 1, last + 1):
        whole_run = index < last and not alone[index] and not alone[start] and new[index] == new[start]
        if whole_run and (not new[index] or gap == 0):
            continue
        yield _Run(start, index, bool(new[start]))
        start = index
