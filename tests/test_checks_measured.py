"""Findings about what was measured: graphs that would be empty or misleading, captures that dropped pictures, refreshes
that differ, and line-ups that drift or are not known well enough.

Every expected figure is counted by hand from how the captures are made here; no outside source applies.
"""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from media_maker import write_clip
from stage_maker import fonts

from assembler.checks.check import check_timeline
from assembler.checks.measured import drifting, dropped_pictures
from assembler.cli.main import main
from assembler.errors import Finding
from assembler.measure.clock import Clock
from assembler.measure.model import Cadence, LineUpResult, State, Thumbs
from assembler.measure.overrides import load_by_hand
from assembler.measured import Measured, with_measured_offsets
from assembler.media.info import CaptureInfo, Colour
from assembler.storyboard import read_storyboard
from assembler.timeline.model import Timeline
from assembler.timeline.resolve import resolve

GRAPHS = "graphs: [frame-rate]"


def capture(rate: Fraction | int = 60, seconds: int = 20, pts: list[int] | None = None) -> CaptureInfo:
    """An even capture, or with `pts` in milliseconds one that is not."""
    steps = np.arange(round(rate * seconds), dtype=np.int64) * 1001 if pts is None else np.array(pts, np.int64)
    base = 1 / Fraction(rate) / 1001 if pts is None else Fraction(1, 1000)
    return CaptureInfo(
        path=Path("/none.mp4"), width=640, height=360, aspect=Fraction(1), rotation=0, codec="h264",
        pixel_format="yuv420p", bits=8, colour=Colour(1, 1, 1, False), pts=steps, time_base=base,
        last_duration=int(steps[1] - steps[0]), frame_rate=Fraction(rate) if pts is None else None, sound=None,
        interlaced=False,
    )  # fmt: skip


def cadence(info: CaptureInfo, state: State = State.MOVING, why: str = "") -> Cadence:
    """Every picture new, all of one state; not to be relied on where a `why` is given."""
    n = info.pictures
    none = np.full(n, -1, np.int32)
    states = np.full(n, state, np.uint8)
    return Cadence(np.ones(n, np.float32), states, none, none, np.zeros(n, np.float32), np.zeros(n, bool),
                   not why, why, False, "")  # fmt: skip


def programme(
    segments: str, infos: dict[str, CaptureInfo], measured: dict[str, Cadence], line_up: str = "", rate: int = 60
) -> Timeline:
    captures = "".join(f"  {name}: {{file: {name}.mp4{line_up if name == 'b' else ''}}}\n" for name in infos)
    text = f"storyboard: 1\ntitle: t\ncanvas: {{size: 640x360, rate: {rate}}}\ncaptures:\n{captures}segments:\n"
    return resolve(read_storyboard(text + segments, "s.yaml"), Path("/project"), infos, {}, measured)[0]


def found(timeline: Timeline) -> dict[str, list[Finding]]:
    """Findings by code, those about what is not tested here left out."""
    by_code: dict[str, list[Finding]] = {}
    for each in check_timeline(timeline, (), fonts()):
        if each.code not in ("lost-detail", "capture-unused"):
            by_code.setdefault(each.code, []).append(each)
    return by_code


def one(timeline: Timeline, code: str) -> Finding:
    """The only finding, which has a place and a mend."""
    findings = found(timeline)
    assert list(findings) == [code], findings
    (finding,) = findings[code]
    assert finding.place is not None and finding.place.file == "s.yaml" and finding.mend
    return finding


PAIR = f"  - {{id: one, lasts: 2 s, {GRAPHS}, show: {{side-by-side: [a, b]}}}}\n"


def test_two_good_captures_have_no_findings() -> None:
    infos = {"a": capture(), "b": capture()}
    assert found(programme(PAIR, infos, {name: cadence(info) for name, info in infos.items()})) == {}


def test_a_graph_of_a_capture_that_cannot_be_counted_says_why() -> None:
    infos = {"a": capture(), "b": capture()}
    good, bad = cadence(infos["a"]), cadence(infos["b"], why="too compressed by far")
    finding = one(programme(PAIR, infos, {"a": good, "b": bad}), "graph-not-counted")
    assert finding.severity == "warning"
    assert "'b'" in finding.what and "too compressed by far" in finding.what
    assert finding.place is not None and finding.place.line == 8


def test_graphs_that_would_be_empty_for_every_capture_are_errors() -> None:
    infos = {"a": capture(), "b": capture()}
    bad = {name: cadence(info, why="too compressed") for name, info in infos.items()}
    findings = found(programme(PAIR, infos, bad))["graph-not-counted"]
    assert [f.severity for f in findings] == ["error", "error"]


def test_a_capture_that_was_not_measured_is_missed_in_the_graphs() -> None:
    infos = {"a": capture(), "b": capture()}
    finding = one(programme(PAIR, infos, {"a": cadence(infos["a"])}), "graph-not-counted")
    assert "'b'" in finding.what and "could not be measured" in finding.what


@pytest.mark.parametrize(("start", "empty"), [("0 s", True), ("2 s", True), ("6 s", False), ("10 s", False)])
def test_a_stretch_in_which_nothing_moves_has_an_empty_graph(start: str, empty: bool) -> None:
    # Still up to 10 s, then moving; the stretch shown is 2 s and the graph spans 5 s around it at most.
    info = capture()
    still = cadence(info)
    still.state[:600] = State.STILL
    segments = f"  - {{id: one, lasts: 2 s, {GRAPHS}, show: {{full: {{capture: a, from: {start}}}}}}}\n"
    findings = found(programme(segments, {"a": info}, {"a": still}))
    assert list(findings) == (["graph-not-counted"] if empty else [])
    if empty:
        assert findings["graph-not-counted"][0].severity == "error"


def test_more_than_four_captures_in_one_band_names_those_left_out() -> None:
    infos = {name: capture() for name in "abcde"}
    segments = f"  - {{id: one, lasts: 2 s, {GRAPHS}, show: {{grid: [a, b, c, d, e]}}}}\n"
    measured = {name: cadence(info) for name, info in infos.items()}
    findings = found(programme(segments, infos, measured))
    (finding,) = findings["graph-crowded"]
    assert finding.severity == "warning" and "left out: 'e'" in finding.what
    four = {name: infos[name] for name in "abcd"}
    assert "graph-crowded" not in found(programme(segments.replace(", e", ""), four, measured))


def test_graphs_over_cards_alone_are_an_error_and_over_some_a_warning() -> None:
    info = capture()
    segments = f"  - {{id: one, lasts: 2 s, {GRAPHS}, show: {{card: Results}}}}\n"
    assert one(programme(segments, {"a": info}, {}), "graph-without-capture").severity == "error"
    segments = f"  - {{id: one, {GRAPHS}, show: [{{lasts: 1 s, card: Results}}, {{lasts: 2 s, full: a}}]}}\n"
    finding = one(programme(segments, {"a": info}, {"a": cadence(info)}), "graph-without-capture")
    assert finding.severity == "warning"
    assert finding.place is not None and finding.place.column > 40


@pytest.mark.parametrize(("rate", "told"), [(30, True), (50, True), (Fraction(60_000, 1001), False), (120, False)])
def test_a_refresh_below_the_canvas_is_told_where_graphs_are_shown(rate: Fraction | int, told: bool) -> None:
    info = capture(rate)
    segments = f"  - {{id: one, lasts: 2 s, {GRAPHS}, show: {{full: a}}}}\n"
    findings = found(programme(segments, {"a": info}, {"a": cadence(info)}))
    assert list(findings) == (["refresh-below-canvas"] if told else [])
    if told:
        assert f"rates above {rate} cannot be seen" in findings["refresh-below-canvas"][0].what
    assert found(programme(segments.replace(GRAPHS + ", ", ""), {"a": info}, {})) == {}


@pytest.mark.parametrize("rate", [50, Fraction(60_000, 1001)])
def test_captures_of_unlike_refresh_beside_each_other_are_told_once(rate: Fraction | int) -> None:
    infos = {"a": capture(60), "b": capture(rate)}
    both = "  - {id: one, lasts: 1 s, show: {side-by-side: [a, b]}}\n  - {id: two, lasts: 1 s, show: {split: [b, a]}}\n"
    finding = one(programme(both, infos, {}), "refresh-unlike")
    assert finding.severity == "warning" and "'one'" in finding.what
    apart = "  - {id: one, lasts: 1 s, show: {full: a}}\n  - {id: two, lasts: 1 s, show: {full: b}}\n"
    assert found(programme(apart, infos, {})) == {}


def jumping(seconds: int, jumps: dict[int, int], rate: int = 60) -> list[int]:
    """Stamps in milliseconds of an even recorder that misses `jumps[k]` refreshes after its picture k."""
    refresh, stamps = 0, []
    for picture in range(rate * seconds):
        stamps.append(round(1000 * refresh / rate))
        refresh += 1 + jumps.get(picture, 0)
    return stamps


def test_dropped_pictures_are_counted_and_the_first_is_placed() -> None:
    info = capture(pts=jumping(5, {119: 1, 200: 4, 240: 40}))
    assert info.frame_rate is None
    finding = one(programme("  - {id: one, lasts: 1 s, show: {full: a}}\n", {"a": info}, {}), "capture-dropped")
    # Picture 119 begins 119 / 60 s after the first: 1.98 s.
    assert "45 pictures are missing in 3 places, first after" in finding.what and "1.98" in finding.what
    dropped = dropped_pictures(Clock.of(info))
    assert dropped.places == (119, 200, 240) and dropped.lost == (1, 4, 40)


def test_uneven_files_and_steady_ones_are_not_said_to_drop_pictures() -> None:
    assert dropped_pictures(Clock.of(capture())).places == ()
    assert dropped_pictures(Clock.of(capture(pts=jumping(5, {})))).places == ()
    # A recorder that leaves every repeat of a 40-a-second machine out: 1, 2, 1, 2 refreshes.
    pulled = capture(pts=jumping(5, dict.fromkeys(range(0, 300, 2), 1)))
    assert dropped_pictures(Clock.of(pulled)).places == ()
    uneven = np.cumsum(np.random.default_rng(1).integers(5, 60, 300)).tolist()
    assert dropped_pictures(Clock.of(capture(pts=uneven))).places == ()


def test_a_file_with_missing_pictures_is_found_by_check(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stamps = jumping(2, {29: 2}, rate=30)
    write_clip(tmp_path / "a.mp4", pictures=60, pts=stamps, time_base=Fraction(1, 1000), colour=(1, 1, 1, 1))
    (tmp_path / "storyboard.yaml").write_text(
        "storyboard: 1\ntitle: t\ncanvas: {size: 640x360, rate: 30}\ncaptures:\n  a: {file: a.mp4}\n"
        "segments:\n  - {id: one, lasts: 1 s, show: {full: a}}\n"
    )
    main(["check", str(tmp_path), "--json"])
    findings = {f["code"]: f for f in json.loads(capsys.readouterr().out)["findings"]}
    assert "2 pictures are missing in one place, after" in findings["capture-dropped"]["what"]


def lined(offset_s: float, drift_ppm: float, margin_s: float = 0.002) -> LineUpResult:
    low, high = offset_s - margin_s, offset_s + margin_s
    return LineUpResult(offset_s, low, high, drift_ppm, drift_ppm - 5, drift_ppm + 5, 20, True, "", None, None)


def together(offset: str, start_s: int, lasts_s: int) -> Timeline:
    infos = {"a": capture(seconds=700), "b": capture(seconds=700)}
    show = f"side-by-side: [{{capture: a, from: {start_s} s}}, b]"
    segments = f"  - {{id: one, lasts: {lasts_s} s, show: {{{show}}}}}\n"
    return programme(segments, infos, {}, f", line-up: {{with: a, offset: {offset}}}")


def test_drift_beyond_half_a_frame_where_shown_is_told_with_an_offset_that_mends_it() -> None:
    # 30 millionths over 600 s are 18 ms; half a frame of 60 is 8.3 ms.
    found_line_up = {"b": lined(0.5, 30)}
    assert list(drifting(together("500 ms", 0, 10), found_line_up)) == []
    (finding,) = drifting(together("500 ms", 598, 4), found_line_up)
    assert (finding.severity, finding.code) == ("warning", "line-up-drift") and "18 ms" in finding.what
    # In the middle, at 600 s, b shows what a shows at 600.518 s.
    assert finding.mend.endswith("offset: 0.5180 s}")
    assert list(drifting(together("0.5180 s", 598, 4), found_line_up)) == []
    # Short of half a frame: 270 s x 30 millionths = 8.1 ms.
    assert list(drifting(together("500 ms", 268, 2), found_line_up)) == []


def test_drift_within_one_long_shot_cannot_be_mended_by_an_offset_alone() -> None:
    (finding,) = drifting(together("500 ms", 0, 600), {"b": lined(0.5, 60)})
    assert "36 ms" in finding.what and "show less of it" in finding.mend


def test_no_drift_is_told_of_captures_that_are_not_shown_in_step() -> None:
    infos = {"a": capture(seconds=700), "b": capture(seconds=700)}
    show = "side-by-side: [{capture: a, from: 600 s}, {capture: b, from: 10 s}]"
    timeline = programme(
        f"  - {{id: one, lasts: 2 s, show: {{{show}}}}}\n", infos, {}, ", line-up: {with: a, offset: 500 ms}"
    )
    assert list(drifting(timeline, {"b": lined(0.5, 90)})) == []
    unmatched = replace(lined(0.5, 90), matched=False)
    assert list(drifting(together("500 ms", 600, 4), {"b": unmatched})) == []


@pytest.mark.parametrize(("margin_ms", "rate", "told"), [(8, 60, False), (9, 60, True), (9, 30, False), (17, 30, True)])
def test_a_line_up_known_to_more_than_a_frame_is_told(margin_ms: int, rate: int, told: bool) -> None:
    text = (
        "storyboard: 1\ntitle: t\ncanvas: {size: 640x360, rate: 60}\n"
        "captures:\n  a: {file: a.mp4}\n  b: {file: b.mp4, line-up: {with: a}}\n"
        "segments:\n  - {id: one, lasts: 1 s, show: {side-by-side: [a, b]}}\n"
    )
    infos = {"a": capture(60), "b": capture(rate)}
    thumbs = Thumbs(np.zeros((1, 18, 32), np.float32), np.zeros(1, np.float32))
    measured = {
        name: Measured(
            info, Clock.of(info), cadence(info), lambda: thumbs, load_by_hand(info.path, Clock.of(info), info.width)
        )
        for name, info in infos.items()
    }
    storyboard, findings = with_measured_offsets(
        read_storyboard(text, "s.yaml"), measured, {"b": lined(0.25, 0, margin_ms / 1000)}
    )
    link = storyboard.captures["b"].line_up
    assert link is not None and link.offset is not None and link.offset.seconds == Fraction(1, 4)
    unsure = [f for f in findings if f.code == "line-up-unsure"]
    assert len(unsure) == int(told)
    assert all(f.severity == "warning" and f.place is not None and f.place.line == 6 and f.mend for f in unsure)
