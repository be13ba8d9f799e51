"""Rates, frame times, shares and lows, against published arithmetic, numpy, and planted cadences."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assembler.measure.clock import Clock
from assembler.measure.figures import NOTHING_MOVES, figures, frame_times, new_picture_times, window_rates
from assembler.measure.lows import DEFAULT, LOWS, caution, low
from assembler.measure.model import Cadence, State
from assembler.measure.tables import Row, as_csv, as_json, as_markdown, as_text

# The set is built so that all six definitions come apart; the figures were worked out by hand from each definition.
WORKED_SET = [10.0] * 985 + [20.0] * 10 + [40.0] * 4 + [100.0]
SIXTY = Fraction(60)


def cadence(new: list[float] | np.ndarray, state: State | list[State] = State.MOVING) -> Cadence:
    p = np.asarray(new, dtype=np.float32)
    n = p.size
    states = np.full(n, state, dtype=np.uint8) if isinstance(state, State) else np.array(state, dtype=np.uint8)
    rows = np.full(n, -1, dtype=np.int32)
    return Cadence(p, states, rows, rows.copy(), np.zeros(n, np.float32), np.zeros(n, bool), True, "", True, "")


def holds(lengths: list[int]) -> list[float]:
    return [float(i == 0) for length in lengths for i in range(length)]


def torn(base: Cadence, picture: int, first: int, last: int) -> Cadence:
    rows_a, rows_b, p = base.tear_first_row.copy(), base.tear_last_row.copy(), base.p_tear.copy()
    rows_a[picture], rows_b[picture], p[picture] = first, last, 1.0
    return replace(base, tear_first_row=rows_a, tear_last_row=rows_b, p_tear=p)


# --- lows ---------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("percent", "name", "expected", "digits"), [
    (1, "A-nearest", 50.0, 4), (1, "A-linear", 50.0, 4), (1, "B", 27.7778, 4), (1, "B'", 36.0, 4), (1, "C", 25.0, 4),
    (1, "C'", 10.451, 3),
    # Rank ceil(0.999 * 1000) is 999: the second longest. Worked in doubles, 99.9 / 100 * 1000 is a hair above 999,
    # which makes it the longest and the low 10.0; numpy answers both ways, by how it is asked.
    (0.1, "A-nearest", 25.0, 4), (0.1, "A-linear", 24.963, 3), (0.1, "B", 10.0, 4), (0.1, "B'", 10.0, 4),
    (0.1, "C", 10.0, 4), (0.1, "C'", 10.0, 4),
])  # fmt: skip
def test_the_worked_set_comes_out_to_its_printed_digits(percent, name, expected, digits) -> None:
    shuffled = np.random.default_rng(1).permutation(WORKED_SET)
    assert round(low(shuffled, percent, name), digits) == expected


@given(st.lists(st.floats(1, 500), min_size=1, max_size=300), st.sampled_from([0.1, 1, 5, 25, Fraction(1, 2)]))
def test_the_linear_percentile_is_numpys(times: list[float], percent: float) -> None:
    # Source: numpy.percentile, method 'linear', its default.
    expected = 1000 / np.percentile(times, 100 - float(percent))
    assert low(times, percent, "A-linear") == pytest.approx(expected, rel=1e-9)


@given(st.lists(st.integers(1, 500), min_size=1, max_size=400), st.sampled_from([0.1, 1, 5, 25]))
def test_the_nearest_rank_is_numpys_inverted_distribution(times: list[int], percent: float) -> None:
    # Source: numpy.percentile, method 'inverted_cdf', which is the nearest rank.
    share = Fraction(str(percent)) / 100
    rank = int(-((-(1 - share) * len(times)) // 1))
    assert low(times, percent, "A-nearest") == pytest.approx(1000 / sorted(times)[max(rank, 1) - 1])
    if rank < (1 - float(share)) * len(times) + 0.999:  # numpy's own rank is a binary fraction: leave out near ties
        numpys = np.percentile(times, 100 - percent, method="inverted_cdf")
        assert low(times, percent, "A-nearest") == pytest.approx(1000 / numpys)


@given(st.lists(st.floats(1, 500), min_size=1, max_size=300))
def test_lows_keep_their_order_and_never_pass_the_average(times: list[float]) -> None:
    average = 1000 * len(times) / sum(times)
    for name in ("B", "C'"):
        assert low(times, 0.1, name) <= low(times, 1, name) * (1 + 1e-9)
        assert low(times, 1, name) <= average * (1 + 1e-9)
    # The harmonic mean is never above the arithmetic one (mathematics).
    assert low(times, 5, "B") <= low(times, 5, "B'") * (1 + 1e-9)


@given(st.floats(1, 100), st.integers(1, 2000), st.sampled_from(list(LOWS)))
def test_of_equal_frames_every_low_is_their_rate(frame_ms: float, count: int, name: str) -> None:
    assert low([frame_ms] * count, 1, name) == pytest.approx(1000 / frame_ms)


def test_below_a_hundred_frames_the_low_is_the_longest_frame_and_it_is_said() -> None:
    times = [*[10.0] * 98, 77.0]
    for name in ("A-nearest", "B", "B'", "C", "C'"):
        assert low(times, 1, name) == pytest.approx(1000 / 77)
        assert "single longest frame" in caution(99, 1, name)
    assert "two longest" in caution(99, 1, "A-linear")
    assert caution(100, 1) == "" and "fewer than 1000" in caution(999, 0.1) and caution(1000, 0.1) == ""


def test_the_worst_frames_are_whole_ones_never_rounded_up() -> None:
    times = [10.0] * 197 + [50.0, 100.0]  # 1 % of 199 is 1.99: one frame
    assert low(times, 1, "B") == pytest.approx(10.0)
    assert low([*times, 10.0], 1, "B") == pytest.approx(2000 / 150)


@pytest.mark.parametrize("times", [[], [10.0, 0.0], [float("nan")], [float("inf")]])
def test_unfit_frame_times_are_refused(times: list[float]) -> None:
    with pytest.raises(ValueError):
        low(times, 1)


# --- rates --------------------------------------------------------------------------------------------------------

def test_half_a_second_each_at_30_and_60_averages_45_and_not_50() -> None:
    # Source: arithmetic; 1 s at 30 then 1 s at 60 is 90 pictures in 2 s.
    planted = cadence(holds([2] * 30 + [1] * 60))
    found = figures(planted, Clock.even(120, SIXTY))
    assert found.average_hz.value == pytest.approx(45.0)
    assert figures(planted, Clock.even(120, SIXTY), end_s=Fraction(1)).average_hz.value == pytest.approx(30.0)


@given(st.lists(st.integers(1, 6), min_size=2, max_size=200))
def test_the_average_is_harmonic(lengths: list[int]) -> None:
    clock = Clock.even(sum(lengths), Fraction(60000, 1001))
    found = figures(cadence(holds(lengths)), clock)
    times = [1000 * length * 1001 / 60000 for length in lengths]
    assert found.average_hz.value == pytest.approx(1000 * len(times) / sum(times))
    assert found.average_hz.low <= found.average_hz.value <= found.average_hz.high
    np.testing.assert_allclose(found.frames.ms, times[:-1])  # the last one's end was not seen
    assert found.longest_hold_ms.value == pytest.approx(max(times[:-1]))


@given(st.lists(st.integers(1, 5), min_size=10, max_size=80), st.lists(st.integers(0, 2), min_size=1, max_size=8),
       st.integers(0, 1000))  # fmt: skip
def test_figures_of_spans_that_meet_agree_with_their_union(lengths, blocks, cut) -> None:
    new = holds(lengths)
    states = [State(blocks[i * len(blocks) // len(new)]) for i in range(len(new))]
    planted, clock = cadence(new, states), Clock.even(len(new), SIXTY)
    middle = clock.duration_s * cut / 1000
    left, right = figures(planted, clock, end_s=middle), figures(planted, clock, start_s=middle)
    whole = figures(planted, clock)
    assert left.pictures + right.pictures == whole.pictures
    assert left.moving_s + right.moving_s == pytest.approx(whole.moving_s)
    assert (left.new_pictures.value or 0) + (right.new_pictures.value or 0) == (whole.new_pictures.value or 0)
    np.testing.assert_array_equal(np.concatenate([left.frames.ms, right.frames.ms]), whole.frames.ms)


def test_where_nothing_moves_there_is_no_rate_and_a_word() -> None:
    clock = Clock.even(240, SIXTY)
    states = [State.MOVING] * 120 + [State.STILL] * 120
    planted = cadence(holds([2] * 60 + [120]), states)
    still = figures(planted, clock, start_s=Fraction(2))
    assert still.average_hz.value is None and still.average_hz.why == NOTHING_MOVES and not still.counted
    assert still.lowest_window_hz.value is None and still.longest_hold_ms.value is None and still.shares.still == 1
    whole = figures(planted, clock)
    assert whole.average_hz.value == pytest.approx(30.0)  # over the moving half alone
    assert (whole.shares.moving, whole.shares.still) == pytest.approx((0.5, 0.5))
    dark = figures(cadence([0.0] * 60, State.DARK), Clock.even(60, SIXTY))
    assert dark.average_hz.why == "dark throughout"
    rates = window_rates(planted, clock)
    assert np.isnan(rates.hz[120:]).all() and np.isfinite(rates.hz[:119]).all()


def test_an_unreliable_capture_has_no_rates_and_says_why() -> None:
    planted = replace(cadence(holds([2] * 60)), reliable=False, why="capture too compressed for frame counting")
    found = figures(planted, Clock.even(120, SIXTY))
    assert found.average_hz.value is None and found.why == "capture too compressed for frame counting"
    assert found.frames.ms.size == 0 and found.shares.moving == 1
    assert np.isnan(window_rates(planted, Clock.even(120, SIXTY)).hz).all()


@pytest.mark.parametrize(("lengths", "rate"), [([1], 60), ([2], 30), ([3, 2], 24), ([3, 2, 3, 2, 2], 25), ([2, 1], 40)])
@pytest.mark.parametrize("refresh", [Fraction(60), Fraction(60000, 1001)])
def test_a_steady_cadence_has_a_steady_window_rate(lengths, rate, refresh) -> None:
    new = holds(lengths * (300 // sum(lengths)))
    rates = window_rates(cadence(new), Clock.even(len(new), refresh))
    np.testing.assert_allclose(rates.hz[rates.whole], rate * float(refresh) / 60)
    assert rates.whole[30:-30].all()
    assert (rates.low_hz[rates.whole] <= rates.hz[rates.whole]).all()


def test_the_window_finds_the_worst_second() -> None:
    planted = cadence(holds([1] * 180 + [3] * 20 + [1] * 180))
    found = figures(planted, Clock.even(420, SIXTY))
    assert found.lowest_window_hz.value == pytest.approx(20.0)
    assert found.highest_window_hz.value == pytest.approx(60.0)
    brief = figures(planted, Clock.even(420, SIXTY), end_s=Fraction(1, 2))
    assert brief.lowest_window_hz.value is None and "unbroken motion" in brief.lowest_window_hz.why


def test_variable_timing_is_counted_by_timestamps() -> None:
    # 30 pictures in the first second, 60 in the next, in whole milliseconds as recorders write them.
    times_ms = [round(i * 1000 / 30) for i in range(30)] + [1000 + round(i * 1000 / 60) for i in range(120)]
    clock = Clock(np.array(times_ms, dtype=np.int64), Fraction(1, 1000), 17, None, 1080)
    found = figures(cadence([1.0] * 150), clock, end_s=Fraction(2))
    assert found.average_hz.value == pytest.approx(45.0)
    assert clock.refresh() == 60
    assert window_rates(cadence([1.0] * 150), clock).hz[15] == pytest.approx(30, rel=0.02)
    assert window_rates(cadence([1.0] * 150), clock).hz[90] == pytest.approx(60, rel=0.02)


@pytest.mark.parametrize(("rate", "grain"), [
    (Fraction(60), 1000), (Fraction(60000, 1001), 90000), (Fraction(30), 1000), (Fraction(120), 10000),
])  # fmt: skip
def test_the_refresh_of_variable_timing_is_found_with_pictures_left_out(rate: Fraction, grain: int) -> None:
    kept = np.flatnonzero(np.random.default_rng(3).random(2000) < 0.7)
    pts = np.array([round(int(k) / rate * grain) for k in kept], dtype=np.int64)
    assert Clock(pts, Fraction(1, grain), 1, None, 1080).refresh() == rate


def test_an_even_clock_is_not_bound_to_the_grain_of_its_stamps() -> None:
    stamps = np.array([round(k * 1000 / 60) for k in range(120)], dtype=np.int64)
    clock = Clock(stamps, Fraction(1, 1000), 17, SIXTY, 1080)
    for k in range(120):
        assert clock.first_from(Fraction(k, 60)) == k
    np.testing.assert_allclose(frame_times(cadence(holds([2] * 60)), clock).ms, 1000 / 30)
    loose = replace(clock, frame_rate=None)
    frames = frame_times(cadence(holds([2] * 60)), loose)
    assert ((frames.low_ms <= 1000 / 30) & (frames.high_ms >= 1000 / 30)).all() and set(frames.ms) != {1000 / 30}


def test_no_refresh_is_found_where_there_is_none() -> None:
    spacing = np.random.default_rng(4).uniform(8, 25, 2000)
    pts = np.cumsum(np.rint(spacing * 90)).astype(np.int64)
    assert Clock(pts, Fraction(1, 90000), 1, None, 1080).refresh() is None


# --- uncertainty --------------------------------------------------------------------------------------------------

def test_the_interval_of_the_rate_holds_the_truth_as_often_as_it_says() -> None:
    # Verdicts drawn with the very probabilities stated: 95 % intervals must cover about 95 % (binomial, 400 trials:
    # below 91 % would happen by chance less than once in a thousand runs).
    generator = np.random.default_rng(5)
    clock, covered = Clock.even(300, SIXTY), 0
    for _ in range(400):
        p = np.where(generator.random(300) < 0.5, 0.9, 0.1).astype(np.float32)
        truth = float((generator.random(300) < p).sum()) / 5
        found = figures(cadence(p), clock).average_hz
        covered += found.low <= truth <= found.high
    assert covered >= 364


def test_certain_verdicts_leave_only_the_ends_in_doubt() -> None:
    clock = Clock.even(360, SIXTY)
    sure = figures(cadence(holds([2] * 180)), clock).average_hz
    doubtful = figures(cadence([abs(x - 0.1) for x in holds([2] * 180)]), clock)
    assert sure.high - sure.low < 0.25
    assert doubtful.average_hz.high - doubtful.average_hz.low > 1 and doubtful.unsure == 1
    frames = frame_times(cadence([1.0, 0.1, 0.9, 0.2, 0.3, 0.8]), Clock.even(6, SIXTY))
    np.testing.assert_allclose(frames.sure, [1 * 0.9 * 0.9, 0.9 * 0.8 * 0.7 * 0.8], rtol=1e-5)


def test_an_end_that_cuts_a_frame_adds_doubt() -> None:
    planted, clock = cadence(holds([2] * 180)), Clock.even(360, SIXTY)
    widths = []
    for first, last in ((0, 120), (1, 121), (0, 121)):
        found = figures(planted, clock, Fraction(first, 60), Fraction(last, 60)).new_pictures
        widths.append(found.high - found.low)
    assert widths[0] == 0 < widths[2] < widths[1]


def test_the_windows_interval_holds_the_truth_as_often_as_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("assembler.measure.figures.MOST_WRONG", 60.0)  # whatever the doubt: the interval is looked at
    # As above; doubt that leans one way must move the interval away from the verdicts' own count.
    generator, covered, clock = np.random.default_rng(6), 0, Clock.even(60, SIXTY)
    for _ in range(400):
        p = np.where(generator.random(60) < 0.5, 0.98, 0.3).astype(np.float32)
        truth = float((generator.random(60) < p).sum())
        rates = window_rates(cadence(p), clock)
        covered += rates.low_hz[30] <= truth <= rates.high_hz[30]
        assert rates.whole[30] and rates.hz[30] == (p > 0.5).sum()
    assert covered >= 364


def test_no_rate_is_given_for_a_second_in_which_a_verdict_is_expected_to_be_wrong() -> None:
    # By hand: 30 pictures a second; pictures 150 to 155 are as good as guessed. Called new at p 0.5, which leans to
    # repeats by e^0.6, a verdict is wrong with 1 - 1.822 / 2.822 = 0.354; three are 1.06.
    p = np.array(holds([2] * 180))
    p[150:156] = 0.5
    rates = window_rates(cadence(p), Clock.even(360, SIXTY))
    near = np.zeros(360, bool)
    near[123:184] = True  # windows of 60 from 30 before each picture that hold at least three of the six
    np.testing.assert_array_equal(rates.doubtful, near)
    assert np.isnan(rates.hz[near]).all()
    found = figures(cadence(p), Clock.even(360, SIXTY))
    # 33 where all six are counted as new.
    assert [round(each.value) for each in (found.lowest_window_hz, found.highest_window_hz)] == [30, 31]
    assert found.counted and found.average_hz.value is not None
    bad = figures(cadence(np.full(120, 0.4)), Clock.even(120, SIXTY))
    assert bad.lowest_window_hz.value is None
    assert "capture too compressed for frame counting" in bad.lowest_window_hz.why


def test_the_last_frame_before_a_still_is_timed() -> None:
    # By hand: new at 0, 2, 4 and 6; the one at 6 stands for good.
    states = [State.MOVING] * 6 + [State.STILL] * 54
    frames = frame_times(cadence([1, 0, 1, 0, 1, 0, 1] + [0] * 53, states), Clock.even(60, SIXTY))
    np.testing.assert_array_equal(frames.picture, [0, 2, 4])
    np.testing.assert_allclose(frames.ms, 2000 / 60)


def test_a_tear_cuts_the_refresh_where_its_rows_lie() -> None:
    # 40 a second without waiting for the refresh: every second new picture comes in mid-picture; each lasts 25 ms.
    planted = torn(torn(cadence([1, 1, 0, 1, 1, 0, 1]), 1, 540, 540), 4, 530, 550)
    number, at, early, late = new_picture_times(planted, Clock.even(7, SIXTY))
    np.testing.assert_array_equal(number, [0, 1, 3, 4, 6])
    np.testing.assert_allclose(at * 60, [0, 1.5, 3, 4.5, 6])
    frames = frame_times(planted, Clock.even(7, SIXTY))
    np.testing.assert_allclose(frames.ms, 25.0)
    assert ((frames.low_ms <= 25) & (frames.high_ms >= 25)).all()
    assert frames.high_ms[2] - frames.low_ms[2] == pytest.approx(20 / 1080 * 1000 / 60)
    assert (early <= at).all() and (at <= late).all()


def test_torn_frames_are_a_share_of_the_observable_ones() -> None:
    planted = torn(cadence(holds([2] * 50)), 10, 200, 220)
    found = figures(planted, Clock.even(100, SIXTY))
    assert found.torn.value == pytest.approx(1 / 50) and found.observable_frames == 50
    blind = planted.p_tear.copy()
    blind[50:] = np.nan
    half = figures(replace(planted, p_tear=blind), Clock.even(100, SIXTY))
    assert half.torn.value == pytest.approx(1 / 25) and half.observable_frames == 25
    told = replace(planted, tears_measurable=False, tears_why="every refresh changes")
    assert figures(told, Clock.even(100, SIXTY)).torn.value is None
    assert figures(told, Clock.even(100, SIXTY)).torn.why == "every refresh changes"


def test_a_frame_is_not_measured_across_a_pause() -> None:
    states = [State.MOVING] * 4 + [State.STILL] * 4 + [State.MOVING] * 4
    frames = frame_times(cadence([1, 0] * 6, states), Clock.even(12, SIXTY))
    # The picture that begins the pause ends the frame before it, in motion to its end; the pause itself is no frame.
    np.testing.assert_array_equal(frames.picture, [0, 2, 8])
    np.testing.assert_allclose(frames.ms, 1000 / 30)


# --- tables -------------------------------------------------------------------------------------------------------

def rows() -> list[Row]:
    clock = Clock.even(240, SIXTY)
    moving = figures(cadence(holds([2] * 60 + [1] * 120)), clock)
    still = figures(cadence([0.0] * 240, State.STILL), clock)
    return [Row("ash-quay", "lantern | bridge", "opening", moving), Row("=1+1", "\t@x", "-2", still)]


def test_json_has_no_nan_and_names_the_definition() -> None:
    def refuse(word: str) -> None:
        raise AssertionError(word)

    read = json.loads(as_json(rows()), parse_constant=refuse)
    assert read["lows"] == {"name": DEFAULT, "definition": LOWS[DEFAULT][1]}
    assert read["rows"][0]["average_hz"]["value"] == pytest.approx(45.0)
    assert read["rows"][1]["average_hz"] == {"value": None, "low": None, "high": None, "why": NOTHING_MOVES}


def test_csv_reads_back_and_starts_no_formula() -> None:
    # Source: csv of the standard library; formula starts: common practice for spreadsheets, no source.
    table = list(csv.DictReader(io.StringIO(as_csv(rows()), newline="")))
    assert table[1]["span"] == "'\t@x" and table[1]["capture"] == "'=1+1" and table[1]["segment"] == "'-2"
    assert float(table[0]["average_hz"]) == pytest.approx(45.0)
    assert float(table[0]["average_hz_low"]) < 45 < float(table[0]["average_hz_high"])
    assert table[1]["average_hz"] == "" and table[1]["why"] == NOTHING_MOVES
    assert {row["low_definition"] for row in table} == {DEFAULT}


@pytest.mark.parametrize("definition", list(LOWS))
def test_text_and_markdown_say_the_definition_and_show_no_figure_where_nothing_moves(definition: str) -> None:
    text, markdown = as_text(rows(), definition), as_markdown(rows(), definition)
    for table in (text, markdown):
        assert LOWS[definition][1] in table and NOTHING_MOVES in table and "nan" not in table.lower()
    average = next(line for line in text.splitlines() if line.startswith("average"))
    assert average.split()[2] == "45.00" and average.endswith(" -")
    lines = [line for line in markdown.splitlines() if line.startswith("|")]
    assert {line.replace("\\|", "").count("|") for line in lines} == {lines[0].count("|")} and len(lines) == 4
