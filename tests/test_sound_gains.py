"""The limiter's curve and the lowering under speech, at points worked out by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.narration.speech import Word
from assembler.sound.ducking import Ducking, spoken_spans
from assembler.sound.edges import faded
from assembler.sound.limiter import Bounds, Limiter, gain_curve, gains_at
from assembler.sound.spool import Spool
from tests.sound_maker import spoken

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


@settings(deadline=None, max_examples=30)  # a busy machine is not a fault
@given(st.integers(0, 2**32 - 1), st.integers(0, 6000), st.integers(0, 3000), st.booleans())
def test_a_stretch_of_the_limiter_is_that_of_the_whole(seed: int, first: int, length: int, bounded: bool) -> None:
    # Common practice, no source: how much of a programme is looked at may not be heard. Both are reckoned apart.
    random = np.random.default_rng(seed)
    peaks = (0.7 * np.exp(random.standard_normal(6500) * 0.6)).astype(np.float32)
    most = np.full(peaks.size, np.inf, np.float32)
    places = np.unique(random.integers(0, peaks.size, 200))
    if bounded:
        most[places] = random.uniform(0.2, 2.0, places.size).astype(np.float32)
    spool = Spool()
    for part in np.array_split(peaks, 7):
        spool.add(part)
    whole = gain_curve(peaks * np.float32(1.3), 0.8, most / np.float32(1.3))
    limiter = Limiter(spool, 1.3, 0.8, Bounds().tightened(places[::-1], most[places][::-1]))
    last = min(first + length, peaks.size)
    np.testing.assert_allclose(limiter.edges(first, last), whole[first : last + 1], rtol=1e-6)
    lowest = np.minimum(whole[:-1], whole[1:])[places]
    np.testing.assert_allclose(limiter.lowest(places), lowest, rtol=1e-6)
    # By hand: nowhere is the sum raised by more than its bound, and the lower of two bounds holds.
    assert (limiter.edges(0, peaks.size)[:-1] * 1.3 <= most * (1 + 1e-5)).all()
    both = Bounds(np.array([3, 7]), np.array([0.5, 0.9], np.float32))
    both = both.tightened(np.array([7, 9]), np.array([0.4, 1], np.float32))
    assert both.places.tolist() == [3, 7, 9]
    assert both.most.tolist() == pytest.approx([0.5, 0.4, 1.0])


def test_rows_in_a_file_are_read_from_anywhere(tmp_path: Path) -> None:
    spool = Spool(2)
    rows = np.arange(300_000, dtype=np.float32).reshape(-1, 2)
    for part in (rows[:1], rows[1:1], rows[1:70_000], rows[70_000:]):
        spool.add(part)
    assert spool.size == len(rows)
    np.testing.assert_array_equal(spool.read(69_990, 70_010), rows[69_990:70_010])
    assert [first for first, _ in spool.stretches()] == [0, 60_000, 120_000]
    np.testing.assert_array_equal(np.concatenate([part for _, part in spool.stretches()]), rows)
    assert spool.read(149_999, 150_100).shape == (1, 2)
    assert spool.read(150_000, 150_100).shape == (0, 2)
    path = tmp_path / "rows"
    path.write_bytes(b"head" + rows.tobytes())
    np.testing.assert_array_equal(Spool.of_file(path, 4 + 4 * 10, 50).read(5, 99), np.arange(15, 60))


def test_captures_are_lowered_before_speech_held_and_let_back() -> None:
    # By hand from the promise: 12 dB, beginning 0.15 s early over 0.12 s, held 0.35 s, back over 0.6 s, in straight dB.
    start, end = 2 * RATE, 4 * RATE
    gains = Ducking([(start, end)], -12.0).gains(0, 6 * RATE)
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


@pytest.mark.parametrize("depth", [-6.0, -12.0, -20.0])
def test_attack_and_release_are_straight_lines_in_decibels_to_the_depth_asked_for(depth: float) -> None:
    # By hand: over 0.12 s from 0.15 s before the speech, over 0.6 s from 0.35 s after it, sampled along both slopes.
    gains = Ducking([(2 * RATE, 4 * RATE)], depth).gains(0, 6 * RATE)
    assert gains is not None
    level = decibels(gains)
    assert level.min() == pytest.approx(depth, abs=0.001)
    for share in (0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0):
        assert level[round((1.85 + 0.12 * share) * RATE)] == pytest.approx(depth * share, abs=0.01)
        assert level[round((4.35 + 0.60 * share) * RATE)] == pytest.approx(depth * (1 - share), abs=0.01)
    assert (level[round(1.97 * RATE) : round(4.35 * RATE)] <= depth + 0.001).all()
    assert (np.abs(np.diff(level)) <= -depth / (0.12 * RATE) * 1.01).all()


def test_nothing_is_lowered_when_the_depth_is_nought() -> None:
    assert Ducking([(RATE, 2 * RATE)], 0.0).gains(0, 3 * RATE) is None


def test_captures_come_back_in_a_pause_of_1_1_s_and_not_in_a_shorter_one() -> None:
    # By hand: 0.35 s held + 0.6 s up + 0.15 s ahead = 1.1 s. From there on it comes all the way back.
    for pause, highest in ((1.09, -12.0), (1.1, 0.0), (2.0, 0.0)):
        second = 2 * RATE + round(pause * RATE)
        gains = Ducking([(RATE, 2 * RATE), (second, second + RATE)], -12.0).gains(2 * RATE, second - 2 * RATE)
        assert gains is not None
        assert decibels(gains).max() == pytest.approx(highest, abs=0.01)


def test_words_say_where_speech_is_and_a_line_without_words_counts_whole(tmp_path: Path) -> None:
    words = (Word("Look", 4_800, 24_000), Word("there", 120_000, 144_000))
    samples = np.zeros(150_000, np.float32)
    lines = [spoken(tmp_path, "x", samples, RATE, words=words), spoken(tmp_path, "y", samples, 10 * RATE)]
    # By hand: the line's own start added to the words' times.
    assert list(spoken_spans(lines)) == [(52_800, 72_000), (168_000, 192_000), (480_000, 630_000)]


def test_fades_of_a_piece_are_smooth_and_meet_where_it_is_short() -> None:
    # By hand: half a raised cosine is 1/2 in its middle, and its steepest step is pi/2 / its length.
    shape = faded(0, 1000, 1000, 100, 300)
    assert shape[50] == pytest.approx(0.5, abs=0.01)
    assert shape[849] == pytest.approx(0.5, abs=0.01)
    assert (shape[100:700] == 1).all()
    assert np.abs(np.diff(shape)).max() <= np.pi / 2 / 100
    assert max(shape[0], shape[-1]) < 1e-3
    short = faded(0, 200, 200, 100, 300)
    assert short.max() > 0.99
    assert max(short[0], short[-1]) < 1e-3
    np.testing.assert_array_equal(faded(37, 500, 1000, 100, 300), shape[37:537])


def test_short_gaps_between_lines_do_not_let_the_captures_up() -> None:
    spans = [(RATE, 2 * RATE), (2 * RATE + RATE * 45 // 100, 3 * RATE)]
    gains = Ducking(spans, -12.0).gains(RATE, 2 * RATE)
    assert gains is not None
    assert decibels(gains).max() == pytest.approx(-12.0, abs=0.01)


@settings(deadline=None, max_examples=50)  # a busy machine is not a fault
@given(
    st.lists(st.tuples(st.integers(0, 300_000), st.integers(1, 100_000)), max_size=6),
    st.integers(0, 400_000),
    st.integers(1, 50_000),
)
def test_a_block_is_lowered_as_it_is_in_the_whole(spans: list[tuple[int, int]], start: int, samples: int) -> None:
    ducking = Ducking(((begin, begin + length) for begin, length in spans), -9.0)
    whole, part = ducking.gains(0, 450_000), ducking.gains(start, samples)
    expected = np.ones(450_000, np.float32) if whole is None else whole
    np.testing.assert_array_equal(expected[start : start + samples], np.ones(samples) if part is None else part)
