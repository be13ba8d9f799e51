"""Rates found again behind rounded timestamps."""

from __future__ import annotations

from fractions import Fraction
from math import floor

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from assembler.media.even import USUAL, even_rate
from assembler.timing.rates import NTSC_24, NTSC_30, NTSC_60, NTSC_120

MS = Fraction(1, 1000)


def stamps(rate: Fraction, count: int, base: Fraction, start: Fraction = Fraction(0), half: bool = True) -> np.ndarray:
    up = Fraction(1, 2) if half else Fraction(0)
    return np.array([floor((start + k / rate) / base + up) for k in range(count)], np.int64)


@given(
    rate=st.sampled_from([r for r in USUAL if r >= 10]),
    base=st.sampled_from([MS, Fraction(1, 90_000), Fraction(1, 15_360), Fraction(1, 1_000_000), Fraction(1, 48_000)]),
    start=st.fractions(0, 100, max_denominator=100_000),
    half=st.booleans(),
    count=st.integers(2_500, 3_000),
)
def test_a_usual_rate_is_found_through_any_rounding(
    rate: Fraction, base: Fraction, start: Fraction, half: bool, count: int
) -> None:
    # 2,500 pictures: by then 240 and 240/1.001 lie 10 ms apart, so one ms of grain cannot hide which it is.
    assert even_rate(stamps(rate, count, base, start, half), base) == rate


def test_a_short_clip_in_milliseconds_follows_what_the_file_claims() -> None:
    # By hand: at 30 pictures 60 and 59.94 differ by half a millisecond; the stamps alone cannot tell.
    for rate in (Fraction(60), NTSC_60):
        assert even_rate(stamps(rate, 30, MS), MS, hint=rate) == rate
    assert even_rate(stamps(Fraction(50), 30, MS), MS, hint=Fraction(60)) == 50


def test_exact_clocks_give_exact_rates() -> None:
    assert even_rate(np.arange(10) * 1001, Fraction(1, 24_000)) == NTSC_24
    assert even_rate(np.arange(10) * 1001, Fraction(1, 30_000)) == NTSC_30
    assert even_rate(np.arange(10) * 1001, Fraction(1, 120_000)) == NTSC_120
    assert even_rate(np.arange(2) * 512, Fraction(1, 15_360)) == 30
    assert even_rate(np.arange(100) * 1501, Fraction(1, 90_000)) == Fraction(90_000, 1_501)  # 59.96: no usual rate


def test_an_unusual_even_rate_is_the_simplest_that_explains_the_stamps() -> None:
    assert even_rate(stamps(Fraction(57), 2_000, MS), MS) == 57
    assert even_rate(stamps(Fraction(115, 2), 2_000, MS), MS) == Fraction(115, 2)


def test_uneven_stamps_have_no_rate() -> None:
    # One picture late by two ticks, a dropped picture, a change of rate, and cinema pull-down on a 60 Hz grid.
    late = stamps(Fraction(60), 100, MS)
    late[50] += 2
    dropped = np.delete(np.arange(100) * 1500, 50)
    halved = np.concatenate([np.arange(50) * 1500, 75_000 + np.arange(50) * 3000])
    pulled = np.cumsum([0] + [2, 3] * 20) * 1500
    for uneven, base in ((late, MS), *((x, Fraction(1, 90_000)) for x in (dropped, halved, pulled))):
        assert even_rate(uneven.astype(np.int64), base, hint=Fraction(60)) is None


def test_one_picture_has_no_rate() -> None:
    assert even_rate(np.array([5]), MS, hint=Fraction(60)) is None
