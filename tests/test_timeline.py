"""The timeline: which picture stands behind each frame, and where segments, shots and lines fall."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.media.info import CaptureInfo, Colour
from assembler.narration.speech import Speech, Word
from assembler.storyboard import read_storyboard
from assembler.storyboard.model import Storyboard
from assembler.timeline.lineup import offsets_from
from assembler.timeline.model import Timeline
from assembler.timeline.pictures import pictures_behind, running_frames
from assembler.timeline.resolve import GAP_ID, resolve
from assembler.timing.rates import CANVAS_RATES, SAMPLE_RATE
from assembler.timing.spans import Span


def info(pts: list[int], time_base: Fraction = Fraction(1, 90_000), last: int = 1500) -> CaptureInfo:
    return CaptureInfo(
        path=Path("/none.mp4"), width=64, height=36, aspect=Fraction(1), rotation=0, codec="h264",
        pixel_format="yuv420p", bits=8, colour=Colour(1, 1, 1, False), pts=np.array(pts, np.int64),
        time_base=time_base, last_duration=last, frame_rate=None, sound=None, interlaced=False,
    )  # fmt: skip


def sixty(pictures: int) -> CaptureInfo:
    return info([k * 1500 for k in range(pictures)])


def speech(seconds: float, words: int = 4) -> Speech:
    samples = round(seconds * SAMPLE_RATE)
    step = samples // words
    return Speech("take", samples, tuple(Word(f"w{k}", k * step, (k + 1) * step) for k in range(words)))


def resolved(text: str, captures: dict[str, CaptureInfo], spoken: float = 1.0) -> tuple[Timeline, list[str]]:
    board: Storyboard = read_storyboard(text, "storyboard.yaml")
    lines = {(seg.id, n): speech(spoken) for seg in board.segments for n, _ in enumerate(seg.say, 1)}
    timeline, findings = resolve(board, Path("/project"), captures, lines)
    return timeline, [found.code for found in findings]


HEAD = """\
storyboard: 1
title: t
canvas: {size: 640x360, rate: 60}
subjects: {a: A, b: B}
captures:
  a: {file: a.mp4, subject: a}
  b: {file: b.mp4, subject: b, line-up: {with: a, offset: -21 f}}
segments:
"""


@settings(max_examples=200)
@given(
    gaps=st.lists(st.integers(1, 9000), min_size=1, max_size=40),
    first=st.integers(-5000, 5000),
    start=st.fractions(-1, 3, max_denominator=1000),
    speed=st.fractions(Fraction(1, 16), 4, max_denominator=64),
    rate=st.sampled_from(CANVAS_RATES),
    time_base=st.sampled_from([Fraction(1, 90_000), Fraction(1, 1000), Fraction(1001, 60_000), Fraction(1, 15_360)]),
    frames=st.integers(1, 60),
    hold=st.tuples(st.integers(0, 30), st.integers(0, 30)),
)
def test_the_picture_is_the_newest_at_or_before_the_time_wanted(
    gaps: list[int], first: int, start: Fraction, speed: Fraction, rate: Fraction, time_base: Fraction, frames: int,
    hold: tuple[int, int],
) -> None:  # fmt: skip
    # The rule written out slowly in exact fractions, picture by picture.
    pts = [first, *(first + sum(gaps[: k + 1]) for k in range(len(gaps)))]
    held = Span(hold[0], hold[0] + hold[1])
    picture, early, late = pictures_behind(info(pts, time_base), start, speed, rate, frames, [held])
    run, expected, outside = 0, [], [0, 0]
    for k in range(frames):
        wanted = start + speed * run / rate
        shown = [n for n, p in enumerate(pts) if (p - first) * time_base <= wanted]
        expected.append(shown[-1] if shown else 0)
        outside[0] += not shown
        outside[1] += wanted >= (pts[-1] - first + 1500) * time_base
        run += k not in held
    assert picture.tolist() == expected
    assert [early, late] == outside


def test_a_hold_stops_the_pane_and_lets_it_run_on_from_there() -> None:
    assert running_frames(7, [Span(2, 5)]).tolist() == [0, 1, 2, 2, 2, 2, 3]


def test_segments_follow_each_other_and_fit_lasts_as_long_as_its_narration() -> None:
    text = HEAD + (
        "  - {id: one, lasts: fit, say: [x, y], show: {full: a}}\n"
        "  - {id: two, lasts: 2 s, show: {full: a}}\n"
        "  - {id: three, until: '00:00:06:00', show: {full: a}}\n"
    )
    timeline, codes = resolved(text, {"a": sixty(600)})
    # By hand: lead 0.3 + line 1.0 + pause 0.35 + line 1.0 + tail 0.5 = 3.15 s = 189 frames of 60.
    assert [(p.span.start_frame, p.span.end_frame) for p in timeline.segments] == [(0, 189), (189, 309), (309, 360)]
    assert [line.start_sample for line in timeline.segments[0].lines] == [14_400, 14_400 + 48_000 + 16_800]
    assert codes == []


def test_a_lined_up_pane_shows_the_same_moment() -> None:
    # offset: where b shows the moment that a shows at its 0; so b's 10 s - 21 frames is a's 10 s.
    text = HEAD + "  - {id: one, lasts: 1 s, show: {side-by-side: [{capture: a, from: 3 s}, {capture: b}]}}\n"
    timeline, codes = resolved(text, {"a": sixty(600), "b": sixty(600)})
    left, right = timeline.segments[0].shots[0].panes
    assert left.picture[0] == 180 and right.picture[0] == 180 - 21
    assert (right.picture == left.picture - 21).all() and codes == []


def test_lined_up_panes_without_a_start_begin_at_the_earliest_moment_both_show() -> None:
    text = HEAD + "  - {id: one, lasts: 1 s, show: {side-by-side: [a, b]}}\n"
    timeline, _ = resolved(text, {"a": sixty(600), "b": sixty(600)})
    left, right = timeline.segments[0].shots[0].panes
    assert left.picture[0] == 21 and right.picture[0] == 0
    assert left.early_frames == right.early_frames == 0


def test_a_lined_up_pane_keeps_its_neighbours_speed_and_freeze() -> None:
    pane = "{capture: a, from: 3 s, speed: 0.25, freeze: {at: 0.5 s, lasts: 0.5 s}}"
    text = HEAD + f"  - {{id: one, lasts: 2 s, show: {{side-by-side: [{pane}, {{capture: b}}]}}}}\n"
    timeline, _ = resolved(text, {"a": sixty(600), "b": sixty(600)})
    left, right = timeline.segments[0].shots[0].panes
    assert (left.picture - right.picture == 21).all()
    assert left.picture[29] == left.picture[30] == left.picture[60]


def test_line_ups_reach_through_other_captures_and_back() -> None:
    board = read_storyboard(
        HEAD.replace("segments:", "  c: {file: c.mp4, line-up: {with: b, offset: 1 s}}\nsegments:")
        + "  - {id: one, lasts: 1 s, show: {grid: [a, b, c]}}\n",
        "storyboard.yaml",
    )
    assert offsets_from(board.captures, "c")["a"] == -(1 - Fraction(21, 60))


def test_a_gap_is_filled_with_empty_ground_and_reported() -> None:
    text = HEAD + (
        "  - {id: one, lasts: 1 s, show: {full: a}}\n  - {id: two, at: 00:00:03:00, lasts: 1 s, show: {full: a}}\n"
    )
    timeline, codes = resolved(text, {"a": sixty(600)})
    assert [p.segment.id for p in timeline.segments] == ["one", GAP_ID, "two"]
    assert timeline.frames == 240 and codes == ["gap"]


@pytest.mark.parametrize(
    ("segments", "code"),
    [
        ("  - {id: one, lasts: 2 s, show: {full: a}}\n  - {id: two, at: 1 s, lasts: 1 s, show: {full: a}}\n",
         "segment-overlap"),
        ("  - {id: one, at: 5 s, lasts: 2 s, show: {full: a}}\n  - {id: two, at: 1 s, lasts: 1 s, show: {full: a}}\n",
         "segment-order"),
        ("  - {id: one, lasts: 2 s, show: {full: a}}\n  - {id: two, until: 1 s, show: {full: a}}\n", "segment-order"),
        ("  - {id: one, lasts: 2 s, show: [{lasts: 3 s, full: a}, {full: a}]}\n", "shots-too-long"),
        ("  - {id: one, lasts: 2 s, show: [{lasts: 0.5 s, full: a}, {lasts: 0.5 s, full: a}]}\n", "shots-too-short"),
        ("  - {id: one, lasts: 2 s, show: {full: a}}\n"
         "  - {id: two, enter: {dissolve: 3 s}, lasts: 2 s, show: {full: a}}\n", "edge-too-long"),
        ("  - {id: one, lasts: 2 s, hear: b, show: {full: a}}\n", "heard-not-shown"),
    ],
)  # fmt: skip
def test_faults_of_placement_are_findings_and_the_timeline_stays_whole(segments: str, code: str) -> None:
    timeline, codes = resolved(HEAD + segments, {"a": sixty(600), "b": sixty(600)})
    assert code in codes
    here = 0
    for placed in timeline.segments:
        assert placed.span.start_frame == here
        here = placed.span.end_frame
        assert sum(shot.span.frames for shot in placed.shots) == placed.span.frames
    assert here == timeline.frames


def test_a_dissolve_lets_the_picture_before_it_run_on() -> None:
    text = HEAD + (
        "  - {id: one, lasts: 1 s, show: {full: a}}\n"
        "  - {id: two, enter: {dissolve: 0.5 s}, lasts: 1 s, show: {full: {capture: a, from: 5 s}}}\n"
    )
    timeline, _ = resolved(text, {"a": sixty(600)})
    outgoing = timeline.segments[0].shots[0]
    assert outgoing.tail_frames == 30 and outgoing.panes[0].picture.tolist() == list(range(90))
    assert timeline.segments[1].dissolve_frames == 30 and timeline.frames == 120


def test_the_same_storyboard_gives_the_same_timeline() -> None:
    text = HEAD + "  - {id: one, lasts: fit, say: x, show: {side-by-side: [a, b]}}\n"
    captures = {"a": sixty(600), "b": sixty(600)}
    one, two = resolved(text, captures)[0], resolved(text, captures)[0]
    for left, right in zip(one.segments[0].shots[0].panes, two.segments[0].shots[0].panes, strict=True):
        assert left.picture.tobytes() == right.picture.tobytes()
    assert [p.lines for p in one.segments] == [p.lines for p in two.segments]
