"""Frame-time logs named in a storyboard: they stand in for the measured cadence, or it is said why not.

Logs and captures are drawn from one list of frame times here, so where each log belongs is known; no outside source.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from media_maker import write_clip

from assembler.errors import Finding, StoryboardError
from assembler.measure.clock import Clock
from assembler.measure.model import Cadence, State, Thumbs
from assembler.measure.overrides import load_by_hand
from assembler.measured import Measured, with_logs
from assembler.media.info import CaptureInfo, Colour
from assembler.prepare import prepare
from assembler.storyboard import read_storyboard
from assembler.storyboard.explanations import explain
from assembler.storyboard.model import Storyboard

PICTURES = 1500  # 25 s at 60 a second
OFFSET_S = 2.0


def frame_ms(seconds: float, seed: int) -> npt.NDArray[np.float64]:
    """Frame times of a machine that wanders between 30 and 60 a second, milliseconds."""
    generator = np.random.default_rng(seed)
    load = np.repeat(generator.uniform(15, 34, 1 + int(seconds * 4)), 10)
    ms = load * generator.uniform(0.9, 1.15, load.size)
    return ms[: int(np.searchsorted(ms.cumsum(), seconds * 1000)) + 1]


def starts_s(ms: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.concatenate(([0.0], ms[:-1].cumsum())) / 1000


def capture(ms: npt.NDArray[np.float64], path: Path) -> Measured:
    """A 60-a-second capture of those frames, the first of which comes at `OFFSET_S`; measured without fault."""
    info = CaptureInfo(
        path=path, width=640, height=360, aspect=Fraction(1), rotation=0, codec="h264", pixel_format="yuv420p",
        bits=8, colour=Colour(1, 1, 1, False), pts=np.arange(PICTURES, dtype=np.int64), time_base=Fraction(1, 60),
        last_duration=1, frame_rate=Fraction(60), sound=None, interlaced=False,
    )  # fmt: skip
    new = np.zeros(PICTURES, np.float32)
    at = np.ceil((starts_s(ms) + OFFSET_S) * 60 - 1e-6).astype(int)
    new[at[at < PICTURES]] = 1
    new[0] = 1
    none = np.full(PICTURES, -1, np.int32)
    cadence = Cadence(new, np.zeros(PICTURES, np.uint8), none, none, np.zeros(PICTURES, np.float32),
                      np.zeros(PICTURES, bool), True, "", True, "")  # fmt: skip
    clock = Clock.of(info)
    thumbs = Thumbs(np.zeros((1, 18, 32), np.float32), np.zeros(1, np.float32))
    return Measured(info, clock, cadence, lambda: thumbs, load_by_hand(path, clock, 640))


def storyboard(log: str) -> Storyboard:
    return read_storyboard(
        f"storyboard: 1\ntitle: t\ncaptures:\n  a: {{file: a.mp4, log: {{{log}}}}}\n"
        "segments:\n  - {id: one, lasts: 1 s, graphs: [frame-time], show: {full: a}}\n",
        "s.yaml",
    )


def write_log(folder: Path, ms: npt.NDArray[np.float64]) -> None:
    (folder / "log.csv").write_text("frame_ms\n" + "".join(f"{each:.4f}\n" for each in ms), encoding="utf-8")


def laid(folder: Path, log: str, measured: Measured) -> tuple[Measured, dict[str, Finding]]:
    found, findings = with_logs(storyboard(log), folder, {"a": measured})
    for each in findings:
        assert each.place is not None and (each.place.file, each.place.line) == ("s.yaml", 4)
        assert each.mend or each.severity == "note"
    return found["a"], {each.code: each for each in findings}


def test_a_log_is_laid_where_its_rhythm_matches_and_the_result_says_so(tmp_path: Path) -> None:
    ms = frame_ms(20, 1)
    write_log(tmp_path, ms)
    measured = capture(ms, tmp_path / "a.mp4")
    # Wrong verdicts of the measurement are put right by the log.
    measured.cadence.p_new[[300, 500, 900]] = 1 - measured.cadence.p_new[[300, 500, 900]]
    found, findings = laid(tmp_path, "file: log.csv", measured)
    assert list(findings) == ["log-used"] and findings["log-used"].severity == "note"
    assert "'log.csv'" in findings["log-used"].what and "found by its rhythm" in findings["log-used"].what
    # A frame shows from the refresh nearest to its time; the offset is known to a refresh.
    came = np.flatnonzero(found.cadence.is_new & (found.cadence.state == State.MOVING))
    wanted = np.unique(np.rint((starts_s(ms) + OFFSET_S) * 60))
    assert abs(came.size - wanted.size) <= 0.02 * wanted.size
    assert np.abs(came[:, None] - wanted[None, :]).min(axis=1).max() <= 1
    # Outside the log's reach, 2 s to 22 s, nothing is claimed.
    assert (found.cadence.state[:115] == State.UNDECIDED).all() and (
        found.cadence.state[1330:] == State.UNDECIDED
    ).all()
    assert not found.cadence.tears_measurable


def test_a_written_offset_is_kept_and_a_wrong_one_is_told(tmp_path: Path) -> None:
    ms = frame_ms(20, 2)
    write_log(tmp_path, ms)
    measured = capture(ms, tmp_path / "a.mp4")
    found, findings = laid(tmp_path, "file: log.csv, offset: 2 s", measured)
    assert list(findings) == ["log-used"] and "+2.000 s (as written)" in findings["log-used"].what
    expected = np.zeros(PICTURES, bool)
    expected[np.rint((starts_s(ms) + OFFSET_S) * 60).astype(int)] = True
    expected[0] = True
    assert np.mean(found.cadence.is_new == expected) > 0.999
    _, findings = laid(tmp_path, "file: log.csv, offset: 2.5 s", measured)
    assert sorted(findings) == ["log-contradicted", "log-used"]
    assert findings["log-contradicted"].severity == "warning"


def test_the_log_of_another_run_is_an_error_and_the_measurement_stays(tmp_path: Path) -> None:
    write_log(tmp_path, frame_ms(20, 103))
    measured = capture(frame_ms(20, 3), tmp_path / "a.mp4")
    found, findings = laid(tmp_path, "file: log.csv", measured)
    assert list(findings) == ["log-unmatched"] and findings["log-unmatched"].severity == "error"
    assert found is measured


@pytest.mark.parametrize("offset", ["26 s", "-21 s"])
def test_a_log_laid_outside_its_capture_is_an_error(tmp_path: Path, offset: str) -> None:
    ms = frame_ms(20, 4)
    write_log(tmp_path, ms)
    measured = capture(ms, tmp_path / "a.mp4")
    found, findings = laid(tmp_path, f"file: log.csv, offset: {offset}", measured)
    assert list(findings) == ["log-outside"] and findings["log-outside"].severity == "error"
    assert found is measured


def test_a_log_stands_in_where_the_capture_cannot_be_counted(tmp_path: Path) -> None:
    ms = frame_ms(20, 5)
    write_log(tmp_path, ms)
    good = capture(ms, tmp_path / "a.mp4")
    poor = replace(good, cadence=replace(good.cadence, reliable=False, why="too compressed"))
    _, findings = laid(tmp_path, "file: log.csv", poor)
    assert "too compressed" in findings["log-unmatched"].what
    found, findings = laid(tmp_path, "file: log.csv, offset: 2 s", poor)
    assert list(findings) == ["log-used"] and found.cadence.reliable


def test_verdicts_by_hand_stand_above_the_log(tmp_path: Path) -> None:
    ms = frame_ms(20, 6)
    write_log(tmp_path, ms)
    measured = capture(ms, tmp_path / "a.mp4")
    came = int(np.rint((starts_s(ms)[100] + OFFSET_S) * 60))
    by_hand = replace(measured.by_hand, pictures=((came, False),))
    found, _ = laid(tmp_path, "file: log.csv, offset: 2 s", replace(measured, by_hand=by_hand))
    assert not found.cadence.is_new[came] and found.cadence.manual[came]


def test_unreadable_logs_are_told_with_line_and_column(tmp_path: Path) -> None:
    measured = capture(frame_ms(20, 7), tmp_path / "a.mp4")
    _, findings = laid(tmp_path, "file: log.csv", measured)
    assert "there is no file 'log.csv'" in findings["log-unreadable"].what
    (tmp_path / "log.csv").write_text("frame_ms\n16.7\n-3\n")
    _, findings = laid(tmp_path, "file: log.csv", measured)
    assert "(line 3, column 1)" in findings["log-unreadable"].what


def test_the_keys_are_read_placed_and_explained() -> None:
    log = storyboard("file: logs/a.csv, offset: -350 ms").captures["a"].log
    assert log is not None and log.file == "logs/a.csv" and log.offset is not None
    assert log.offset.seconds == Fraction(-35, 100)
    place = log.at("offset")
    assert place is not None and place.line == 4 and place.column > 40
    assert storyboard("file: a.csv").captures["a"].log.offset is None  # type: ignore[union-attr]
    assert "log's own clock stands at 0" in explain("captures.log.offset")
    with pytest.raises(StoryboardError, match="file"):
        storyboard("offset: 2 s")


def test_graphs_of_a_project_are_drawn_from_its_log(tmp_path: Path) -> None:
    # 3 s of a clip at 30 a second; the log knows a frame every second refresh from its start on.
    write_clip(tmp_path / "a.mp4", pictures=90, rate=30, colour=(1, 1, 1, 1))
    (tmp_path / "log.csv").write_text("frame_ms\n" + "66.6667\n" * 45)
    (tmp_path / "storyboard.yaml").write_text(
        "storyboard: 1\ntitle: t\ncanvas: {size: 640x360, rate: 30}\n"
        "captures:\n  a: {file: a.mp4, log: {file: log.csv, offset: 0 s}}\n"
        "segments:\n  - {id: one, lasts: 1 s, graphs: [frame-time], show: {full: a}}\n"
    )
    prepared = prepare(tmp_path)
    assert "log-used" in {found.code for found in prepared.findings}
    assert np.flatnonzero(prepared.timeline.measured["a"].is_new).tolist() == list(range(0, 90, 2))
