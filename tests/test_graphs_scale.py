"""Where graphs put times and values, and how labels are kept apart."""

from __future__ import annotations

import dataclasses
import math
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from graphs_maker import cadence, every, series
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.measure.clock import Clock
from assembler.measure.model import State
from assembler.picture.graph_labels import value_parts
from assembler.picture.graph_plan import has_gaps
from assembler.picture.graph_rate import rate_lines, row_at
from assembler.picture.graph_scale import (
    TimeScale,
    ValueScale,
    picture_at,
    rate_axis,
    readable,
    spread,
    step_axis,
    time_scale,
)
from assembler.picture.graph_series import graph_series, initials
from assembler.picture.graph_times import step_levels, step_risers


@given(st.floats(2, 30), st.integers(600, 3600), st.sampled_from([50.0, 59.94005994, 60.0, 120.0]))
def test_a_refresh_takes_whole_pixels_or_a_pixel_whole_refreshes_at_1080(
    window: float, width: int, refresh: float
) -> None:
    # Our own rule: equal holds must be drawn equal.
    pitch = time_scale(window, width, 1080, refresh).px_per_s / refresh
    whole = pitch if pitch >= 1 else 1 / pitch
    assert whole == pytest.approx(round(whole), abs=1e-9)
    # It gives way by half a pixel at most, in whichever of the two is counted.
    asked = width / (window * refresh)
    assert abs(whole - (asked if asked >= 1 else 1 / asked)) <= 0.5 + 1e-9


@given(st.floats(2, 30), st.integers(600, 1800))
def test_every_size_of_canvas_shows_the_same_stretch_of_time(window: float, width: int) -> None:
    # Twice the pixels for twice the canvas: the window in seconds is the same.
    small, large = (time_scale(window, width * k, 1080 * k, 60.0).px_per_s for k in (1, 2))
    assert large == pytest.approx(2 * small)


@pytest.mark.parametrize("window", [1.9, 31.0, -4.0])
def test_a_window_beyond_two_to_thirty_seconds_is_refused(window: float) -> None:
    with pytest.raises(ValueError, match="2 to 30"):
        time_scale(window, 1600, 1080, 60.0)


@given(st.integers(0, 100_000), st.integers(1, 30), st.sampled_from([(24000, 1001), (60, 1), (60000, 1001), (120, 1)]))
def test_columns_of_exact_times_are_exact(picture: int, pitch: int, rate: tuple[int, int]) -> None:
    # Source: integer arithmetic. Doubles land a hair to either side of the edge.
    exact = Fraction(*rate)
    scale = TimeScale(float(pitch * exact))
    assert scale.column(float(picture / exact)) == picture * pitch


@given(st.lists(st.integers(1, 40), min_size=1, max_size=60), st.integers(0, 3000))
def test_the_picture_at_a_time_is_the_newest_at_or_before_it(gaps_ms: list[int], at_ms: int) -> None:
    times = [0, *np.cumsum(gaps_ms).tolist()]
    truth = max(index for index, time in enumerate(times) if time <= at_ms)
    assert picture_at(np.array(times) / 1000, at_ms / 1000) == truth


@given(st.lists(st.floats(-50, 250), min_size=1, max_size=6), st.integers(1, 20), st.integers(0, 60))
def test_labels_are_never_laid_over_each_other(wanted: list[float], half_size: int, low: int) -> None:
    size, low = 2 * half_size, 2 * low
    high = low + size * len(wanted) + 40
    tops = spread(wanted, size, low, high)
    assert all(top % 2 == 0 and low <= top and top + size <= high for top in tops)
    ordered = sorted(tops)
    assert all(below - above >= size for above, below in pairwise(ordered))
    # In the order of their values, so that leaders never cross.
    by_value = sorted(range(len(wanted)), key=lambda index: (wanted[index], index))
    assert [tops[index] for index in by_value] == ordered


@given(st.lists(st.integers(0, 20), min_size=1, max_size=4, unique=True))
def test_labels_with_room_stay_beside_their_values(places: list[int]) -> None:
    wanted = [place * 30 + 0.7 for place in places]
    assert all(abs(top - want) <= 1 for top, want in zip(spread(wanted, 28, 0, 700), wanted, strict=True))


def test_labels_without_room_are_refused() -> None:
    with pytest.raises(ValueError, match="do not fit"):
        spread([0.0, 1.0, 2.0], 20, 0, 50)


def test_two_labels_at_one_place_give_way_alike() -> None:
    # By hand: two of 20 rows both wanted at 50 lie at 40 and 60.
    assert spread([50.0, 50.0], 20, 0, 200) == (40, 60)


def test_baselines_are_the_refresh_rate_and_its_fractions_in_use() -> None:
    # By hand: 60 for a while, then 30; 20 and 15 never come. Below 30 nothing is seen, so the axis ends there.
    axis = rate_axis([np.array([60.0] * 50 + [30.0] * 50)], [60.0])
    assert [line.text for line in axis.baselines] == ["60", "30"]
    assert (axis.low, axis.high) == (30, 60)
    # 40 is no whole fraction; 20 is the first below 25.
    axis = rate_axis([np.array([40.0] * 50 + [25.0] * 50)], [60.0])
    assert [line.text for line in axis.baselines] == ["60", "20"]


def test_an_axis_without_any_value_still_stands() -> None:
    assert [line.text for line in rate_axis([np.full(5, np.nan)], [60.0]).baselines] == ["60", "30"]
    assert step_axis([np.full(5, np.nan)], [50.0]).baselines[-1].text == "20"


def test_step_baselines_are_whole_numbers_of_refreshes() -> None:
    # By hand: 1000/60 = 16.67 ms; holds of one and two refreshes; the axis ends at the longest.
    axis = step_axis([np.array([1000 / 60] * 50 + [2000 / 60] * 50)], [60.0])
    assert [line.text for line in axis.baselines] == ["33.3", "16.7"]


def test_one_long_hitch_does_not_flatten_the_rest() -> None:
    axis = step_axis([np.array([1000 / 60] * 999 + [1000.0])], [60.0])
    assert axis.high <= 5000 / 60


def test_baseline_words_keep_their_distance() -> None:
    axis = rate_axis([np.array([60.0, 30.0, 20.0, 15.0, 10.0] * 9)], [60.0])
    scale = ValueScale(axis.low, axis.high, 0.0, 60.0)
    rows = [scale.row(line.value) for line in readable(axis, scale, 18.0)]
    assert {0.0, 60.0} <= set(rows)
    assert min(abs(a - b) for i, a in enumerate(rows) for b in rows[i + 1 :]) >= 18


@given(st.floats(0, 200), st.floats(-5, 300))
def test_values_beyond_the_axis_stay_at_its_edge(value: float, other: float) -> None:
    scale = ValueScale(0, 100, 10.0, 90.0)
    assert 10 <= scale.row(value) <= 90
    if value <= other:
        assert scale.row(value) >= scale.row(other)


def test_the_rate_line_is_broken_where_nothing_moves() -> None:
    still = series(every(1, 600), states=[(200, 330, State.STILL)])
    lines = rate_lines(still, TimeScale(60.0), ValueScale(30, 60, 0.0, 100.0))
    assert len(lines) == 2
    # One column a refresh: no ink between the last moving picture and the first one after.
    assert lines[0][-1, 0] == pytest.approx(199)
    assert lines[1][0, 0] == pytest.approx(330)


def test_the_dot_lies_on_the_line_between_two_pictures_too() -> None:
    shown = series([index < 90 or index % 2 == 0 for index in range(200)])
    value = ValueScale(30, 60, 0.0, 100.0)
    time = TimeScale(600.0)
    x, y = np.concatenate(rate_lines(shown, time, value)).T
    for at in np.linspace(1.0, 2.0, 77):
        row = row_at(shown, value, shown.picture_at(at), float(at))
        assert row == pytest.approx(float(np.interp(time.places(np.array(at)), x, y)), abs=1e-6)


def test_steps_stand_as_long_as_their_pictures() -> None:
    # By hand: holds of 1, 3, 2 refreshes at 60 a second, one column a refresh.
    new = [True, True, False, False, True, False, True, True]
    levels = step_levels(series(new), TimeScale(60.0), ValueScale(0, 100, 0.0, 100.0))
    spans = [(round(line[0, 0]), round(line[1, 0]), round(100 - line[0, 1], 2)) for line in levels]
    # The last picture's end is not seen: it has no step.
    assert spans == [(0, 1, 16.67), (1, 4, 50.0), (4, 6, 33.33), (6, 7, 16.67)]
    assert len(step_risers(levels)) == 3


def test_marks_tell_subjects_apart() -> None:
    assert initials(["Ash", "Birch"]) == ("A", "B")
    assert initials(["Ash", "Alder"]) == ("As", "Al")
    assert initials(["Ash", "Ash", ""]) == ("1", "2", "3")


@given(st.floats(0, 140), st.floats(0, 30))
def test_figures_keep_their_columns(rate: float, margin: float) -> None:
    value, rest = value_parts(rate, margin, 60.0)
    assert len(value) >= 2
    assert int(value.replace("\u2007", "")) == round(rate)
    assert rest == (f"± {round(margin)}" if round(margin) else "")


@settings(max_examples=25)
@given(st.lists(st.booleans(), min_size=120, max_size=400))
def test_the_rate_is_what_counting_by_hand_gives(new: list[bool]) -> None:
    new[0] = True
    shown = series(new)
    for picture in range(60, len(new) - 60, 37):
        # Any 60 refreshes that hold the picture in their middle; one more or less at the ends.
        counts = [sum(new[picture + shift - 30 : picture + shift + 30]) for shift in (0, 1)]
        assert min(counts) - 1e-6 <= shown.rate[picture] <= max(counts) + 1e-6


def test_a_series_keeps_the_stamps_for_finding_and_the_even_clock_for_drawing() -> None:
    # Stamps in milliseconds of a 60 Hz capture: 0, 17, 33, 50. Found by the stamp, drawn evenly.
    pts = np.array([round(index * 1000 / 60) for index in range(120)], np.int64)
    clock = Clock(pts, Fraction(1, 1000), 17, Fraction(60), 1080)
    shown = graph_series("Ash", "A", 0, clock, cadence([True] * 120))
    assert [shown.picture_at(float(stamp) / 1000) for stamp in pts] == list(range(120))
    assert np.diff(TimeScale(840.0).columns(shown.edges_s)).tolist() == [14] * 120


def test_arrays_of_different_lengths_are_refused() -> None:
    good = series(every(2, 20))
    with pytest.raises(ValueError, match="one entry for each picture"):
        type(good)(
            *(getattr(good, name) for name in ("name", "initial", "order", "times_s", "edges_s", "is_new")),
            good.state[:-1],
            *(getattr(good, name) for name in ("tear", "refresh", "rate", "rate_margin", "step_ms")),
        )


def test_nothing_is_counted_in_a_capture_that_is_too_compressed() -> None:
    bad = series(every(2, 200), reliable=False, why="too compressed")
    assert np.isnan(bad.rate).all()
    assert np.isnan(bad.step_ms).all()
    assert bad.word_at(100) == "not counted"
    assert math.isnan(rate_axis([bad.rate], [60.0]).low) is False


def test_a_rate_in_too_much_doubt_is_undecided_in_its_own_panel_only() -> None:
    # By hand: pictures 50 to 79 doubtful, 70 to 99 still; a still is a still in every panel.
    doubtful = np.zeros(200, bool)
    doubtful[50:80] = True
    shown = dataclasses.replace(series(every(2, 200), states=[(70, 100, State.STILL)]), doubtful=doubtful)
    words = ["", "undecided", "still", ""]
    assert [shown.word_at(at, "frame-rate") for at in (49, 50, 70, 100)] == words
    assert [shown.word_at(at, "frame-time") for at in (49, 50, 70, 100)] == ["", "", "still", ""]
    assert [span[:2] for span in shown.spans("frame-rate")] == [(0, 50), (50, 70), (70, 100), (100, 200)]
    assert [span[:2] for span in shown.spans()] == [(0, 70), (70, 100), (100, 200)]
    assert has_gaps(dataclasses.replace(shown, state=shown.state * 0), ("frame-rate",))
    assert not has_gaps(dataclasses.replace(shown, state=shown.state * 0), ("frame-time",))
