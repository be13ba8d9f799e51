"""Locked spans, their names and pacing, and hitches, against planted cadences known frame for frame."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import cycle, islice, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.measure.clock import Clock
from assembler.measure.model import Cadence, State
from assembler.measure.patterns import Pattern, even_pattern, name_of
from assembler.measure.spans import pacing

SIXTY = Fraction(60)


def cadence(is_new: np.ndarray) -> Cadence:
    n = is_new.size
    rows = np.full(n, -1, dtype=np.int32)
    p = is_new.astype(np.float32)
    states = np.full(n, State.MOVING, dtype=np.uint8)
    return Cadence(p, states, rows, rows.copy(), np.zeros(n, np.float32), np.zeros(n, bool), True, "", True, "")


def shown(rate: int, refresh: int, pictures: int, phase: int = 0) -> np.ndarray:
    """A display's own rule, and nothing of ours: each refresh shows the newest source frame that has begun."""
    frame = [(i + phase) * rate // refresh for i in range(-1, pictures)]
    return np.diff(frame) > 0


def held(lengths: list[int], times: int) -> np.ndarray:
    return np.concatenate([np.eye(1, length, dtype=bool)[0] for length in list(lengths) * times])


# Source of the holds: arithmetic of refresh over rate, and the 3:2 practice for film (common practice).
TABLE = [
    (60, [3], "20"), (60, [2], "30"), (60, [1], "60"), (60, [3, 2], "24-in-60"), (60, [3, 2, 3, 2, 2], "25-in-60"),
    (60, [2, 1], "40"), (60, [2, 1, 1], "45"), (60, [2, 1, 1, 1], "48-in-60"), (60, [2, 1, 1, 1, 1], "50-in-60"),
    (60, [4], "15"),
    (120, [5], "24-in-120"), (120, [5, 5, 5, 5, 4], "25-in-120"), (120, [3, 2, 3, 2, 2], "50-in-120"),
    (120, [4], "30-in-120"), (120, [2], "60-in-120"), (120, [1], "120"), (120, [3], "40-in-120"),
    (50, [2], "25-in-50"), (50, [1], "50"), (144, [6], "24-in-144"), (144, [3, 2, 3, 2, 2], "60-in-144"),
]  # fmt: skip


@pytest.mark.parametrize(("refresh", "lengths", "name"), TABLE)
@pytest.mark.parametrize("ntsc", [False, True])
def test_each_pattern_of_the_table_is_named_frame_for_frame(refresh, lengths, name, ntsc) -> None:
    hz = Fraction(refresh * 1000, 1001) if ntsc else Fraction(refresh)
    is_new = held(lengths, 3 * refresh // sum(lengths))
    (span,) = pacing(cadence(is_new), Clock.even(is_new.size, hz)).locked
    assert (span.name, span.start, span.end, span.kept, span.even) == (name, 0, is_new.size, 1.0, True)
    assert sorted(span.holds) == sorted(lengths) and span.slips == ()
    assert span.rate_hz == hz * len(lengths) / sum(lengths)


PAIRS = [(rate, refresh) for refresh in (50, 60, 75, 100, 120, 144, 240)
         for rate in (20, 24, 25, 30, 40, 45, 48, 50, 60, 72, 90, 100, 120)
         if rate <= refresh and Fraction(rate, refresh).denominator <= 48]  # fmt: skip


@pytest.mark.parametrize(("rate", "refresh"), PAIRS)
def test_every_pair_of_rates_is_named_from_what_a_display_shows(rate: int, refresh: int) -> None:
    reduced = Fraction(rate, refresh)
    for phase in (0, 1, 2):
        is_new = shown(rate, refresh, max(2 * refresh, 4 * reduced.denominator), phase)
        found = pacing(cadence(is_new), Clock.even(is_new.size, Fraction(refresh)))
        (span,) = found.locked
        assert (span.start, span.end, span.kept, span.even) == (0, is_new.size, 1.0, True)
        assert span.rate_hz == rate and span.name.split("-")[0] == str(rate)
        assert found.hitches == ()


@pytest.mark.parametrize(("lengths", "name", "pace"), [
    ([3, 1], "30", "uneven 3-1"), ([2, 2], "30", "even 2"), ([2, 4], "20", "uneven 4-2"),
    ([3, 3, 2, 2], "24-in-60", "uneven 3-3-2-2"), ([1, 1, 4], "30", "uneven 4-1-1"),
    ([2, 2, 1, 1], "40", "uneven 2-2-1-1"),
])  # fmt: skip
def test_uneven_pacing_of_the_same_rate_is_another_story(lengths, name, pace) -> None:
    is_new = held(lengths, 30)
    (span,) = pacing(cadence(is_new), Clock.even(is_new.size, SIXTY)).locked
    assert (span.name, span.pacing, span.kept) == (name, pace, 1.0)


@given(st.sampled_from([(24, 60), (25, 60), (30, 60), (40, 60), (50, 60), (60, 60), (24, 120)]), st.data())
@settings(max_examples=60, deadline=None)
def test_a_single_wrong_verdict_splits_nothing(pair: tuple[int, int], data: st.DataObject) -> None:
    rate, refresh = pair
    is_new = shown(rate, refresh, 4 * refresh)
    wrong = data.draw(st.integers(refresh // 2, is_new.size - refresh // 2))
    is_new[wrong] ^= True
    (span,) = pacing(cadence(is_new), Clock.even(is_new.size, Fraction(refresh))).locked
    assert (span.start, span.end, span.slips) == (0, is_new.size, ())
    assert span.rate_hz == rate and span.kept == pytest.approx(1 - 1 / is_new.size)


@pytest.mark.parametrize("share", [0.01, 0.02])
@pytest.mark.parametrize("pair", [(24, 60), (30, 60), (40, 60), (60, 60)])
def test_scattered_wrong_verdicts_leave_spans_whole(pair: tuple[int, int], share: float) -> None:
    is_new = shown(*pair, 1800)
    wrong = np.random.default_rng(7).random(1800) < share
    found = pacing(cadence(is_new ^ wrong), Clock.even(1800, SIXTY))
    (span,) = found.locked
    assert span.rate_hz == pair[0] and span.end - span.start > 1780
    assert abs(span.kept - (1 - wrong.mean())) < 0.01


@given(st.lists(st.sampled_from([1, 2, 3, 4]), min_size=2, max_size=5), st.integers(90, 130))
@settings(max_examples=60, deadline=None)
def test_a_change_between_whole_fractions_is_found_to_the_frame(fractions: list[int], frames: int) -> None:
    fractions = [a for a, b in zip(fractions, [0, *fractions], strict=False) if a != b]
    is_new = np.concatenate([held([length], frames) for length in fractions])
    found = pacing(cadence(is_new), Clock.even(is_new.size, SIXTY))
    edges = np.cumsum([0, *[length * frames for length in fractions]])
    assert [(span.start, span.end) for span in found.locked] == list(pairwise(edges))
    assert [span.rate_hz for span in found.locked] == [Fraction(60, length) for length in fractions]


def test_a_brief_dip_counts_between_spans_that_are_sure_and_not_by_itself() -> None:
    dip = np.concatenate([held([1], 180), held([2], 18), held([1], 180)])
    found = pacing(cadence(dip), Clock.even(dip.size, SIXTY))
    assert [(span.name, span.start, span.end) for span in found.locked] == [
        ("60", 0, 180), ("30", 180, 216), ("60", 216, 396),
    ]  # fmt: skip
    alone = held([2], 18)
    assert pacing(cadence(alone), Clock.even(alone.size, SIXTY)).locked == ()


def test_a_hitch_is_told_with_its_time_and_length_and_the_span_goes_on() -> None:
    is_new = np.concatenate([held([2], 90), held([9], 1), held([2], 90)])
    found = pacing(cadence(is_new), Clock.even(is_new.size, SIXTY))
    (hitch,) = found.hitches
    assert (hitch.picture, hitch.refreshes, hitch.beyond) == (180, 9, 7)
    assert hitch.start_s == pytest.approx(3.0) and hitch.ms == pytest.approx(150.0)
    (span,) = found.locked
    assert (span.name, span.start, span.end, span.slips) == ("30", 0, is_new.size, (189,))


@given(st.integers(1, 3), st.integers(1, 12))
@settings(max_examples=36, deadline=None)
def test_only_holds_three_refreshes_beyond_the_pattern_are_hitches(usual: int, longer: int) -> None:
    is_new = np.concatenate([held([usual], 80), held([usual + longer], 1), held([usual], 80)])
    found = pacing(cadence(is_new), Clock.even(is_new.size, SIXTY))
    assert [hitch.beyond for hitch in found.hitches] == ([longer] if longer >= 3 else [])


def test_hitches_are_found_where_nothing_is_locked() -> None:
    generator = np.random.default_rng(9)
    free = [int(x) for x in generator.integers(1, 3, 200)]
    is_new = held([*free[:100], 8, *free[100:]], 1)
    found = pacing(cadence(is_new), Clock.even(is_new.size, SIXTY))
    assert [hitch.picture for hitch in found.hitches] == [sum(free[:100])]


@pytest.mark.parametrize("rate", [33.7, 37.3, 41.1, 43.3, 47.2, 52.6, 56.3])
def test_rates_that_run_free_are_not_called_locked(rate: float) -> None:
    generator = np.random.default_rng(int(rate))
    lasts = np.maximum(1, generator.normal(60 / rate, 0.08, 1200).cumsum()).astype(int)
    is_new = np.zeros(lasts[-1], dtype=bool)
    is_new[lasts[:-1]] = True
    is_new[0] = True
    found = pacing(cadence(is_new), Clock.even(is_new.size, SIXTY))
    assert sum(span.end - span.start for span in found.locked) < 0.1 * is_new.size


@pytest.mark.parametrize("rate", [28.9, 29.4, 30.7, 31.1, 39.3, 41.2])
def test_a_rate_that_keeps_slipping_past_a_lock_is_not_that_lock(rate: float) -> None:
    # A cap that runs free a little beside the lock slips by a refresh once a second or so, with no tremble at all.
    frame = np.floor(np.arange(-1, 3600) * rate / 60 + 1e-9)
    is_new = np.diff(frame) > 0
    found = pacing(cadence(is_new), Clock.even(is_new.size, SIXTY))
    assert all(span.name not in ("30", "40") for span in found.locked)


def test_long_cycles_are_found_between_wrong_verdicts_closer_than_three_of_them() -> None:
    is_new = shown(25, 120, 2400)
    is_new[20::40] ^= True
    (span,) = pacing(cadence(is_new), Clock.even(2400, Fraction(120))).locked
    assert (span.name, span.start, span.end) == ("25-in-120", 0, 2400) and span.kept == pytest.approx(0.975)


def test_film_rate_in_sixty_slips_once_in_a_thousand_frames_and_stays_one_span() -> None:
    # Source: arithmetic; 60 content on a 59.94 clock drops one frame in 1001, here seen as 59.94 content in 60.
    frame = [i * 1000 // 1001 for i in range(-1, 3003)]
    is_new = np.diff(frame) > 0
    (span,) = pacing(cadence(is_new), Clock.even(is_new.size, SIXTY)).locked
    assert (span.name, span.start, span.end) == ("60", 0, is_new.size)
    assert (1 - span.kept) * is_new.size == pytest.approx(3)


def test_variable_timing_counts_pictures_left_out_as_held() -> None:
    # A recorder that writes new pictures only, in whole milliseconds.
    is_new = np.concatenate([held([2], 90), held([1], 180), held([3, 2], 36)])
    kept = np.flatnonzero(is_new)
    pts = np.array([round(k * 1000 / 60) for k in kept], dtype=np.int64)
    found = pacing(cadence(np.ones(kept.size, bool)), Clock(pts, Fraction(1, 1000), 33, None, 1080))
    assert found.refresh_hz == 60
    assert [span.name for span in found.locked] == ["30", "60", "24-in-60"]
    assert [span.start for span in found.locked] == [0, 90, 270]


def test_what_cannot_be_told_is_said() -> None:
    pts = np.cumsum(np.random.default_rng(4).integers(720, 2250, 500))
    loose = Clock(pts, Fraction(1, 90000), 1500, None, 1080)
    assert "no refresh" in pacing(cadence(np.ones(500, bool)), loose).why
    poor = replace(cadence(np.ones(60, bool)), reliable=False, why="too compressed")
    assert pacing(poor, Clock.even(60, SIXTY)).why == "too compressed"


def test_stillness_ends_a_span_and_is_no_hitch() -> None:
    is_new = np.concatenate([held([2], 60), np.zeros(60, bool), held([2], 60)])
    base = cadence(is_new)
    states = base.state.copy()
    states[120:180] = State.STILL
    found = pacing(replace(base, state=states), Clock.even(300, SIXTY))
    assert [(span.start, span.end) for span in found.locked] == [(0, 120), (180, 300)]
    assert found.hitches == ()


@given(st.integers(1, 40), st.integers(1, 40))
def test_even_patterns_are_balanced_and_others_with_a_step_of_two_are_not(new: int, period: int) -> None:
    # Source: balanced words (combinatorics): window sums differ by one at most.
    if new > period:
        new, period = period, new
    word = even_pattern(new, period)
    assert word.new == new and word.even and sum(word.holds) == period
    assert not Pattern((True, False, False, True)).even
    doubled = tuple(islice(cycle(word.word), 3 * period))
    for length in range(1, period + 1):
        sums = {sum(doubled[i : i + length]) for i in range(period)}
        assert max(sums) - min(sums) <= 1


def test_names_stay_what_people_say() -> None:
    assert name_of(1, 2, Fraction(60000, 1001)) == "30"
    assert name_of(2, 5, Fraction(60000, 1001)) == "24-in-60"
    assert name_of(3, 7, SIXTY) == "25.7-in-60"
