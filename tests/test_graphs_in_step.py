"""Graphs in a draft: the playhead, the strip's cell and the figure belong to the picture that is on screen."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
from graphs_maker import every, series
from hypothesis import given, settings
from hypothesis import strategies as st
from stage_maker import fonts

from assembler.errors import Finding
from assembler.measure.model import Cadence
from assembler.media.info import CaptureInfo, Colour
from assembler.narration.speech import Speech
from assembler.picture.arrange import layout_of
from assembler.picture.evidence import Evidence
from assembler.picture.graph_band import GraphBand
from assembler.picture.graph_plan import GRAPH_KINDS, band_height
from assembler.picture.ground import filled
from assembler.picture.look import GROUND
from assembler.picture.stage import Stage
from assembler.storyboard import read_storyboard
from assembler.timeline.model import Timeline
from assembler.timeline.resolve import resolve

PICTURES = 400


def capture(pts: list[int], time_base: Fraction) -> CaptureInfo:
    return CaptureInfo(
        path=Path("/none.mp4"), width=1280, height=720, aspect=Fraction(1), rotation=0, codec="h264",
        pixel_format="yuv420p", bits=8, colour=Colour(1, 1, 1, False), pts=np.array(pts, np.int64),
        time_base=time_base, last_duration=pts[1] - pts[0], frame_rate=None, sound=None, interlaced=False,
    )  # fmt: skip


def cadence(new: list[bool]) -> Cadence:
    n = len(new)
    none = np.full(n, -1, np.int32)
    p_new = np.where([True, *new[1:]], 0.99, 0.01).astype(np.float32)
    return Cadence(p_new, np.zeros(n, np.uint8), none, none, np.zeros(n, np.float32), np.zeros(n, bool),
                   True, "", True, "")  # fmt: skip


def programme(pane: str, measured: dict[str, Cadence], infos: dict[str, CaptureInfo]) -> tuple[Timeline, list[Finding]]:
    text = (
        "storyboard: 1\ntitle: t\ncanvas: {size: 1280x720, rate: 60}\nsubjects: {a: Ash, b: Birch}\n"
        "captures:\n  a: {file: a.mp4, subject: a}\n  b: {file: b.mp4, subject: b}\nsegments:\n"
        f"  - {{id: one, lasts: 60 f, graphs: [frame-rate, cadence], show: {{side-by-side: [{pane}]}}}}\n"
    )
    speech: dict[tuple[str, int], Speech] = {}
    timeline, findings = resolve(read_storyboard(text, "s.yaml"), Path("/project"), infos, speech, measured)
    return timeline, list(findings)


@settings(max_examples=40, deadline=None)
@given(
    start_ms=st.tuples(st.integers(0, 3000), st.integers(0, 3000)),
    speed=st.sampled_from(["1", "0.25", "0.5", "2", "0.3"]),
    hold=st.tuples(st.integers(0, 40), st.integers(1, 20)),
    new=st.lists(st.booleans(), min_size=PICTURES, max_size=PICTURES),
    rate=st.sampled_from([Fraction(60), Fraction(50), Fraction(60_000, 1001), Fraction(120)]),
    uneven=st.booleans(),
)
def test_playhead_cell_and_figure_belong_to_the_picture_shown(
    start_ms: tuple[int, int], speed: str, hold: tuple[int, int], new: list[bool], rate: Fraction, uneven: bool
) -> None:
    step = round(90_000 / rate)
    pts = [k * step + (k % 3 if uneven else 0) * 200 for k in range(PICTURES)]
    infos = {"a": capture(pts, Fraction(1, 90_000)), "b": capture(pts, Fraction(1, 90_000))}
    measured = {"a": cadence(new), "b": cadence(new[::-1])}
    pane = (
        f"{{capture: a, from: {start_ms[0]} ms, speed: {speed}, freeze: {{at: {hold[0]} f, lasts: {hold[1]} f}}}}, "
        f"{{capture: b, from: {start_ms[1]} ms}}"
    )
    timeline, _ = programme(pane, measured, infos)
    shot = timeline.segments[0].shots[0]
    stage = Stage(1280, 720, 8, timeline.rate, timeline.storyboard.subjects, infos, fonts(), Path("/project"),
                  (1280, 720), measured=measured)  # fmt: skip
    layout = layout_of(shot, stage)
    assert layout.evidence is not None and layout.safe.holds(layout.evidence)
    evidence = Evidence(shot, stage, layout)
    for frame in range(shot.span.frames):
        shown = evidence.band.state_at(evidence.times_s(frame))
        for each, placed in zip(shown, shot.panes, strict=True):
            picture = int(placed.picture[frame])
            assert each.picture == picture
            # The cell under the playhead was opened by the newest new picture at or before the one on screen.
            flags = measured[placed.capture.id].is_new
            assert each.cell == max(k for k in range(picture + 1) if flags[k])


def test_a_shot_without_measured_captures_has_no_band() -> None:
    pts = [k * 1500 for k in range(PICTURES)]
    infos = {"a": capture(pts, Fraction(1, 90_000)), "b": capture(pts, Fraction(1, 90_000))}
    timeline, _ = programme("a, b", {}, infos)
    stage = Stage(1280, 720, 8, timeline.rate, timeline.storyboard.subjects, infos, fonts(), Path("/project"),
                  (1280, 720))  # fmt: skip
    assert layout_of(timeline.segments[0].shots[0], stage).evidence is None


def test_what_does_not_move_may_be_drawn_beforehand() -> None:
    shown = [series(every(2, 300)), series(every(3, 300), 1)]
    height = band_height(GRAPH_KINDS, 2, 720)
    band = GraphBand(shown, GRAPH_KINDS, 3.0, 1152, height, 720, fonts())
    whole, page = (filled(1280, height + 80, GROUND, bits=8) for _ in range(2))
    band.paint(whole, 64, 40, [2.0, 2.1])
    band.paint_still(page, 64, 40)
    ink = page.y != page.y[0, 0]
    assert ink.any()
    for rect in band.still_rects(64, 40):
        ink[rect.y : rect.bottom, rect.x : rect.right] = False
    assert not ink.any()
    band.paint(page, 64, 40, [2.0, 2.1], still=False)
    for name in "yuv":
        assert np.array_equal(getattr(page, name), getattr(whole, name))
