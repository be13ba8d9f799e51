"""Frame-time logs: what is read, what is refused and where, and logs laid on planted captures."""

from __future__ import annotations

import csv
import io
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.errors import StoryboardError
from assembler.measure.clock import Clock
from assembler.measure.figures import figures
from assembler.measure.log_match import lay_on, match
from assembler.measure.logs import FrameLog, load_log, read_log
from assembler.measure.model import Cadence, State

SIXTY = Fraction(60)


def problems(text: str | bytes) -> list[tuple[int, int, str]]:
    with pytest.raises(StoryboardError) as caught:
        read_log(text, "frames.csv")
    assert all(p.mend and p.place and p.place.file == "frames.csv" for p in caught.value.problems)
    return [(p.place.line, p.place.column, p.what) for p in caught.value.problems]


def capture_of(starts_s: np.ndarray, pictures: int) -> Cadence:
    """What a 60 Hz capture shows of frames that wait for the refresh."""
    new = np.zeros(pictures, dtype=np.float32)
    at = np.ceil(starts_s * 60 - 1e-6).astype(int)
    new[at[(at >= 0) & (at < pictures)]] = 1
    new[0] = 1
    rows = np.full(pictures, -1, dtype=np.int32)
    state = np.full(pictures, State.MOVING, dtype=np.uint8)
    none = np.zeros(pictures, np.float32)
    return Cadence(new, state, rows, rows.copy(), none, none > 1, True, "", True, "")


def play(seconds: float, seed: int) -> np.ndarray:
    """Frame times of a game that wanders between 30 and 60 a second, milliseconds."""
    generator = np.random.default_rng(seed)
    load = np.repeat(generator.uniform(15, 34, 1 + int(seconds * 4)), 10)
    ms = load * generator.uniform(0.9, 1.15, load.size)
    return ms[: int(np.searchsorted(ms.cumsum(), seconds * 1000)) + 1]


def log_of(ms: np.ndarray, start_s: float = 0.0) -> FrameLog:
    return FrameLog("log", start_s + np.concatenate(([0.0], ms[:-1].cumsum())) / 1000, ms)


def test_both_columns_one_or_the_other_give_the_same_frames() -> None:
    both = read_log("# made by hand\n time_s , frame_ms\n0.000,16.7\n\n0.0167,33.3\n0.0500,20\n", "a")
    assert both.frame_ms.tolist() == [16.7, 33.3, 20.0] and both.end_s == pytest.approx(0.07)
    lasts = read_log("\ufeffframe_ms\r\n16.7\r\n33.3\r\n20\r\n", "a")
    np.testing.assert_allclose(lasts.start_s, both.start_s)
    times = read_log(b'"time_s",gpu_load\n0,80\n0.0167,"81"\n0.05,x\n0.07,\n', "a")
    np.testing.assert_allclose(times.frame_ms, both.frame_ms)


@given(st.lists(st.floats(0.5, 500), min_size=1, max_size=50))
def test_what_the_standard_library_writes_is_read_back(ms: list[float]) -> None:
    # Source: csv and float repr of the Python standard library.
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["index", "frame_ms"])
    writer.writerows(enumerate(ms))
    assert read_log(out.getvalue(), "a").frame_ms.tolist() == ms


def test_every_fault_is_told_at_once_with_line_and_column() -> None:
    text = "# head\nname,time_s,frame_ms\na,0.0,16.7\nb,0,0167,16.7\nc,zero,16.7\nd,0.05,-3\ne,0.06,\nf,0.0666,nan\n"
    assert [(line, column) for line, column, _ in problems(text)] == [(4, 10), (5, 3), (6, 8), (7, 8), (8, 10)]
    assert "4 cells and the header 3" in problems(text)[0][2]


@pytest.mark.parametrize(("text", "where", "part"), [
    ("", (1, 1), "empty"),
    ("# only words\n", (1, 1), "empty"),
    ("16.7\n16.7\n", (1, 1), "numbers, not the names"),
    ("time;frame_ms\n1;2\n", (1, 1), "not parted by commas"),
    ("time,ms\n0,1\n", (1, 1), "no column is called"),
    ("frame_ms,frame_ms\n1,1\n", (1, 10), "twice"),
    ("time_s\n0.1\n", (2, 1), "no whole frame"),
    ("frame_ms\n", (1, 1), "no whole frame"),
    ("time_s\n0\n2\n1\n", (4, 1), "does not come after"),
    ("time_s,frame_ms\n0,16.7\n0.0333,16.7\n", (2, 3), "33.3 ms later"),
    ("frame_ms\n0\n", (2, 1), "above 0"),
    ("frame_ms\n1e9\n", (2, 1), "at most 60000"),
    ("frame_ms\n16,7\n", (2, 4), "2 cells"),
    ("frame_ms\n１６\n", (2, 1), "not a number"),
    (b"frame_ms\n16.7 \xff\n", (2, 6), "not UTF-8"),
])  # fmt: skip
def test_each_fault_has_its_place(text: str | bytes, where: tuple[int, int], part: str) -> None:
    (found,) = problems(text)
    assert found[:2] == where and part in found[2]


def test_a_file_full_of_faults_stays_readable_and_large_ones_are_refused(tmp_path: Path) -> None:
    found = problems("frame_ms\n" + "x\n" * 5000)
    assert len(found) == 101 and "4900 more" in found[-1][2]
    assert "larger" in problems("frame_ms\n" + "1" * (32 * 2**20))[0][2]
    with pytest.raises(StoryboardError, match="cannot be read"):
        load_log(tmp_path / "none.csv")
    with pytest.raises(StoryboardError, match="not a file"):
        load_log(tmp_path)


@given(st.binary(max_size=200) | st.text("0123456789.,;\n#timefras_m\" -e", max_size=200).map(str.encode))
@settings(max_examples=200)
def test_any_bytes_are_read_or_refused_with_places(data: bytes) -> None:
    try:
        log = read_log(b"frame_ms,time_s\n" + data, "a")
    except StoryboardError as error:
        assert all(problem.place for problem in error.problems)
    else:
        assert (log.frame_ms > 0).all() and (np.diff(log.start_s) > 0).all()


def test_a_log_laid_by_a_given_offset_marks_the_pictures_that_show_its_frames() -> None:
    ms = np.array([1000 / 30] * 30 + [1000 / 60] * 60)
    laid = lay_on(log_of(ms, 5.0), Clock.even(240, SIXTY), -4.0)
    new = np.flatnonzero(laid.cadence.is_new)
    np.testing.assert_array_equal(new, [0, *range(60, 120, 2), *range(120, 180)])
    assert (laid.cadence.state[60:180] == State.MOVING).all()
    assert (laid.cadence.state[:60] == State.UNDECIDED).all() and (laid.cadence.state[181:] == State.UNDECIDED).all()
    found = figures(laid.cadence, Clock.even(240, SIXTY), Fraction(1), Fraction(3))
    assert found.average_hz.value == pytest.approx(45.0) and found.torn.value is None
    np.testing.assert_allclose(laid.frames.ms, ms)
    assert laid.frames.start_s[0] == pytest.approx(1.0)


def test_frames_beyond_the_refresh_are_counted_as_hidden() -> None:
    laid = lay_on(log_of(np.full(240, 1000 / 120)), Clock.even(120, SIXTY), 0.0)
    assert laid.cadence.is_new.all() and abs(int(laid.hidden.sum()) - 120) <= 1
    assert laid.frames.ms.size == 240


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("offset_s", [-7.3, 0.0, 3.21])
def test_a_log_finds_its_place_by_its_rhythm(seed: int, offset_s: float) -> None:
    # A log of 40 s; the capture shows 20 s of the same play, from the log's own second -offset on.
    ms = play(40, seed)
    log = log_of(ms)
    measured = capture_of(log.start_s + offset_s, 1200)
    found = match(log, Clock.even(1200, SIXTY), measured)
    assert found.matched, found.why
    # Waiting for the refresh delays each frame by half of one on average; the interval reaches back to the cause.
    assert found.offset_s == pytest.approx(offset_s + 1 / 120, abs=1 / 240)
    assert found.low_s - 1 / 240 <= offset_s <= found.high_s
    laid = lay_on(log, Clock.even(1200, SIXTY), found.offset_s)
    both = laid.cadence.state == State.MOVING
    assert (laid.cadence.is_new == measured.is_new)[both].mean() > 0.9
    assert found.score > 8 and found.likeness > 0.5


@pytest.mark.parametrize("seed", range(12))
def test_the_log_of_another_run_is_refused(seed: int) -> None:
    measured = capture_of(log_of(play(30, seed)).start_s, 1500)
    found = match(log_of(play(30, seed + 100)), Clock.even(1500, SIXTY), measured)
    assert not found.matched and found.why


def test_a_rhythm_without_features_is_refused() -> None:
    steady = log_of(np.full(900, 1000 / 30))
    found = match(steady, Clock.even(1500, SIXTY), capture_of(steady.start_s, 1500))
    assert not found.matched
    cyclic = log_of(np.tile([16.67] * 30 + [33.33] * 15, 30))
    found = match(cyclic, Clock.even(1500, SIXTY), capture_of(cyclic.start_s, 1500))
    assert not found.matched and "several offsets" in found.why
    short = log_of(play(2, 1))
    assert not match(short, Clock.even(1500, SIXTY), capture_of(short.start_s, 1500)).matched


def test_a_match_survives_wrong_verdicts_and_pauses() -> None:
    log = log_of(play(40, 3))
    measured = capture_of(log.start_s + 2.5, 2400)
    wrong = np.random.default_rng(3).random(2400) < 0.03
    measured.p_new[wrong] = 1 - measured.p_new[wrong]
    measured.state[900:1200] = State.STILL
    # The log's clock trembles by a few milliseconds, as that of a loaded machine does.
    starts = np.sort(log.start_s + np.random.default_rng(4).normal(0, 0.002, log.start_s.size))
    trembling = FrameLog("log", starts, np.diff(np.append(starts, log.end_s)) * 1000)
    found = match(trembling, Clock.even(2400, SIXTY), measured)
    assert found.matched and found.offset_s == pytest.approx(2.5, abs=1 / 60)
    assert found.low_s <= 2.5 <= found.high_s
