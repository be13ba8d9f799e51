"""Rows beneath a line graph that name the spans in which its line is broken."""

from __future__ import annotations

from assembler.measure.model import State
from assembler.picture.graph_draw import HATCH_LINE, HATCH_PITCH, Pen
from assembler.picture.graph_scale import TimeScale
from assembler.picture.graph_series import STATE_WORDS, GraphSeries
from assembler.picture.graph_strip import draw_words, note_px
from assembler.picture.look import scaled, subject_colour, whole
from assembler.picture.text import FontSet


def draw_gaps(
    pen: Pen,
    series: GraphSeries,
    kind: str,
    time: TimeScale,
    top: int,
    height: int,
    columns: tuple[int, int],
    canvas_h: int,
    fonts: FontSet,
    word_every: int,
) -> None:
    """Draw what lies between two columns: a rule with upright ends under a still or dark span, hatching
    under an undecided one, and the word where it fits."""
    if not series.reliable:
        return
    colour = subject_colour(series.order)
    thin, tick = whole(2, canvas_h), scaled(4, canvas_h)
    inset = whole(3, canvas_h)
    middle = top + height / 2
    for start, end, state in series.spans(kind):
        if state == State.MOVING:
            continue
        left, right = (float(time.column(edge)) for edge in (series.edges_s[start], series.edges_s[end]))
        if right < columns[0] or left > columns[1]:
            continue
        size = note_px(canvas_h)
        free = draw_words(pen, fonts, STATE_WORDS[state], (left, right), top, height, size, word_every, columns)
        for start_x, end_x in free:
            if state == State.UNDECIDED:
                pitch, line = scaled(HATCH_PITCH, canvas_h), scaled(HATCH_LINE, canvas_h)
                pen.hatch(start_x, top + inset, end_x, top + height - inset, pitch, line, colour)
            else:
                pen.bar(start_x, middle - thin / 2, end_x, middle + thin / 2, colour)
        if state != State.UNDECIDED:
            for x in (left, right - thin):
                pen.bar(x, middle - tick, x + thin, middle + tick, colour)
