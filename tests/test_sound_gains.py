"""The limiter's curve and the lowering under speech, at points worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assembler.sound.ducking import Ducking
from assembler.sound.limiter import gain_curve, gains_at

RATE = 48_000


def decibels(gains: np.ndarray) -> np.ndarray:
    return 20 * np.log10(gains)


@given(st.lists(st.floats(0, 4), min_size=1, max_size=60), st.integers(0, 60))
def test_no_peak_passes_the_ceiling_whatever_the_peaks(peaks: list[float], offset: int) -> None:
    # By hand: peak times every gain within its millisecond must not exceed the ceiling.
    highest = np.concatenate((np.zeros(offset, np.float32), np.array(peaks, np.float32)))
    curve = gain_curve(highest, 0.8)
    assert curve.shape == (highest.size + 1,)
    assert (highest * curve[:-1] <= 0.8 * (1 + 1e-5)).all()
    assert (highest * curve[1:] <= 0.8 * (1 + 1e-5)).all()
    assert (curve <= 1).all()


def test_sound_under_the_ceiling_is_left_alone() -> None:
    assert (gain_curve(np.full(1000, 0.79, np.float32), 0.8) == 1).all()
    assert (gains_at(gain_curve(np.full(10, 0.5, np.float32), 0.8), 17, 100) == 1).all()


def test_the_limiter_falls_within_5_ms_and_recovers_with_80_ms() -> None:
    # By hand: one peak of twice the ceiling needs gain 0.5; after 80 ms 1 - 0.5/e of full gain is back.
    peaks = np.zeros(1000, np.float32)
    peaks[500] = 1.6
    curve = gain_curve(peaks, 0.8)
    assert (curve[:490] == 1).all()
    assert curve[500] == pytest.approx(0.5, abs=1e-3)
    assert curve[501] == pytest.approx(0.5, abs=1e-3)
    assert curve[500 + 80] == pytest.approx(1 - 0.5 / np.e, abs=0.03)
    assert curve[999] > 0.998
    # Smooth: it is not allowed to jump by more than the fall spread over 5 ms.
    assert np.abs(np.diff(curve)).max() <= 0.5 / 5


def test_gains_of_a_stretch_are_those_of_the_whole() -> None:
    peaks = np.abs(np.random.default_rng(1).standard_normal(300)).astype(np.float32)
    curve = gain_curve(peaks, 0.5)
    whole = gains_at(curve, 0, 300 * 48)
    np.testing.assert_allclose(gains_at(curve, 4801, 5000), whole[4801:9801], rtol=1e-5)


def test_captures_are_lowered_before_speech_held_and_let_back() -> None:
    # By hand from the promise: 12 dB, beginning 0.15 s early over 0.12 s, held 0.35 s, back over 0.6 s, in straight dB.
    start, end = 2 * RATE, 4 * RATE
    gains = Ducking([(start, end)]).gains(0, 6 * RATE)
    assert gains is not None
    level = decibels(gains)

    def at(seconds: float) -> float:
        return float(level[round(seconds * RATE)])

    assert at(1.84) == 0
    assert at(1.85 + 0.06) == pytest.approx(-6.0, abs=0.01)
    assert at(1.97) == pytest.approx(-12.0, abs=0.01)
    assert at(2.0) == pytest.approx(-12.0, abs=0.01)
    assert at(4.34) == pytest.approx(-12.0, abs=0.01)
    assert at(4.35 + 0.3) == pytest.approx(-6.0, abs=0.01)
    assert at(4.96) == 0


def test_short_gaps_between_lines_do_not_let_the_captures_up() -> None:
    spans = [(RATE, 2 * RATE), (2 * RATE + RATE * 45 // 100, 3 * RATE)]
    gains = Ducking(spans).gains(RATE, 2 * RATE)
    assert gains is not None
    assert decibels(gains).max() == pytest.approx(-12.0, abs=0.01)


@given(
    st.lists(st.tuples(st.integers(0, 300_000), st.integers(1, 100_000)), max_size=6),
    st.integers(0, 400_000),
    st.integers(1, 50_000),
)
def test_a_block_is_lowered_as_it_is_in_the_whole(spans: list[tuple[int, int]], start: int, samples: int) -> None:
    ducking = Ducking((begin, begin + length) for begin, length in spans)
    whole, part = ducking.gains(0, 450_000), ducking.gains(start, samples)
    expected = np.ones(450_000, np.float32) if whole is None else whole
    np.testing.assert_array_equal(expected[start : start + samples], np.ones(samples) if part is None else part)
