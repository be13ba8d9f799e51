"""Loudness and true peak against signals whose values are published, and against independent meters."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pyloudnorm
import pytest

from assembler.sound.loudness import (
    TENTH_MS,
    PowerMeter,
    integrated_lufs,
    loudness_range_lu,
    momentary_lufs,
    short_term_lufs,
)
from assembler.sound.truepeak import PeakMeter, decibels
from assembler.sound.weighting import KWeighting

RATE = 48_000
Array = npt.NDArray[np.float32]


def sine(dbfs: float, seconds: float, hertz: float = 1000.0) -> Array:
    wave = 10 ** (dbfs / 20) * np.sin(2 * np.pi * hertz * np.arange(round(seconds * RATE)) / RATE)
    return np.repeat(wave.astype(np.float32)[:, None], 2, axis=1)


def silence(seconds: float) -> Array:
    return np.zeros((round(seconds * RATE), 2), np.float32)


def steps(*levels_and_seconds: tuple[float, float]) -> Array:
    return np.concatenate([sine(level, seconds) for level, seconds in levels_and_seconds])


def power_of(sound: Array, block: int = 48_000) -> npt.NDArray[np.float32]:
    weighting, meter = KWeighting(sound.shape[1]), PowerMeter()
    for start in range(0, len(sound), block):
        meter.add(weighting.weigh(sound[start : start + block]))
    return meter.power()


def peak_of(sound: Array, block: int = 48_000) -> float:
    meter = PeakMeter(sound.shape[1])
    for start in range(0, len(sound), block):
        meter.add(sound[start : start + block])
    return float(meter.peaks().max())


# Source: EBU Tech 3341, table 1, cases 1 to 5: integrated loudness -23.0 LUFS within 0.1 LU (1, 2: also -33.0).
TECH_3341 = {
    1: (((-23.0, 20.0),), -23.0),
    2: (((-33.0, 20.0),), -33.0),
    3: (((-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)), -23.0),
    4: (((-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)), -23.0),
    5: (((-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)), -23.0),
}


@pytest.mark.parametrize("case", TECH_3341)
def test_integrated_loudness_of_the_ebu_signals(case: int) -> None:
    parts, expected = TECH_3341[case]
    assert integrated_lufs(power_of(steps(*parts))) == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize(("case", "expected"), [(1, -23.0), (2, -33.0)])
def test_momentary_and_short_term_agree_on_a_steady_tone(case: int, expected: float) -> None:
    # Source: EBU Tech 3341, cases 1 and 2: M, S and I alike, within 0.1 LU.
    power = power_of(steps(*TECH_3341[case][0]))
    assert np.abs(momentary_lufs(power)[6:] - expected).max() <= 0.1
    assert np.abs(short_term_lufs(power) - expected).max() <= 0.1


def test_five_channels_add_up_as_case_6_says() -> None:
    # Source: EBU Tech 3341, case 6 (levels from memory): L, R -28, C -24, Ls, Rs -30 dBFS, I = -23.0 within 0.1 LU. The
    # meter adds channels alike; BS.1770's weight of the surrounds, 1.41 in power, is put on them here.
    levels = (-28.0, -28.0, -24.0, -30.0, -30.0)
    sound = np.stack([sine(level, 20.0)[:, 0] for level in levels], axis=1)
    sound[:, 3:] *= np.float32(np.sqrt(1.41))
    assert integrated_lufs(power_of(sound)) == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("i", range(0, 20, 3))
def test_a_tone_of_3_s_is_caught_whole_wherever_it_begins(i: int) -> None:
    # Source: EBU Tech 3341, case 10.i (lengths from memory): 0.15 i s of silence, -23 dBFS for 3 s, 1 s of silence.
    sound = np.concatenate((np.zeros((round(0.15 * i * RATE), 2), np.float32), sine(-23.0, 3.0), silence(1.0)))
    assert short_term_lufs(power_of(sound), step_ms=10).max() == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("i", range(0, 20, 3))
def test_a_tone_of_0_4_s_is_caught_whole_wherever_it_begins(i: int) -> None:
    # Source: EBU Tech 3341, case 13.i (lengths from memory): 0.02 i s of silence, -23 dBFS for 0.4 s, 1 s of silence.
    sound = np.concatenate((silence(0.02 * i), sine(-23.0, 0.4), silence(1.0)))
    assert momentary_lufs(power_of(sound), step_ms=10).max() == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize(("seconds", "read"), [(6.0, short_term_lufs), (0.8, momentary_lufs)])
def test_loudness_follows_a_rising_tone(seconds: float, read: Callable[..., npt.NDArray[np.float64]]) -> None:
    # Source: EBU Tech 3341, cases 11 and 14: twenty levels from -38 to -19, the highest S (M) of each within 0.1 LU.
    levels = np.arange(-38.0, -18.0)
    found = read(power_of(steps(*((float(level), seconds) for level in levels))), step_ms=10)
    window = 3.0 if read is short_term_lufs else 0.4
    for number, level in enumerate(levels):
        # Windows that end within the step; the levels rise, so the highest is the last whole one.
        last = round(((number + 1) * seconds - window) * 100)
        assert found[: last + 1].max() == pytest.approx(level, abs=0.1)


# Source: EBU Tech 3342: loudness range of tones of 20 s each, within 1 LU: the difference of their levels.
TECH_3342 = {
    1: ((-20.0, -30.0), 10.0),
    2: ((-20.0, -15.0), 5.0),
    3: ((-40.0, -20.0), 20.0),
    4: ((-50.0, -35.0, -20.0, -35.0, -50.0), 15.0),
}


@pytest.mark.parametrize("case", TECH_3342)
def test_loudness_range_of_the_ebu_signals(case: int) -> None:
    levels, expected = TECH_3342[case]
    found = loudness_range_lu(power_of(steps(*((level, 20.0) for level in levels))))
    assert found == pytest.approx(expected, abs=1.0)


def test_silence_and_less_than_3_s_have_no_range() -> None:
    assert loudness_range_lu(power_of(silence(10.0))) is None
    assert loudness_range_lu(power_of(sine(-20.0, 2.9))) is None


# Source: the K-weighting of ITU-R BS.1770-5, annex 1, worked out from its coefficients in double precision.
K_GAIN_DB = {25: -10.393, 50: -3.934, 100: -1.134, 500: 0.043, 1000: 0.698, 2000: 3.071, 4000: 3.968, 10_000: 4.042}


@pytest.mark.parametrize("hertz", K_GAIN_DB)
def test_the_weighting_of_a_tone_is_the_standards(hertz: int) -> None:
    # By hand: -20 dBFS in two channels is -20 dB of summed mean square; -0.691 dB and the weighting are added.
    found = integrated_lufs(power_of(sine(-20.0, 4.0, hertz)[RATE // 2 :]))
    assert found == pytest.approx(-20.0 - 0.691 + K_GAIN_DB[hertz], abs=0.02)


def test_short_term_loudness_stays_at_minus_23_through_case_9() -> None:
    # Source: EBU Tech 3341, case 9: S constant at -23.0 within 0.1 LU after 3 s.
    short = short_term_lufs(power_of(steps(*(((-20.0, 1.34), (-30.0, 1.66)) * 5))), step_ms=100)
    assert len(short) == 121
    assert np.abs(short + 23.0).max() <= 0.1


def test_momentary_loudness_stays_at_minus_23_through_case_12() -> None:
    # Source: EBU Tech 3341, case 12: M constant at -23.0 within 0.1 LU after 1 s.
    momentary = momentary_lufs(power_of(steps(*(((-20.0, 0.18), (-30.0, 0.22)) * 25))), step_ms=10)
    assert np.abs(momentary[60:] + 23.0).max() <= 0.1


def test_a_full_scale_sine_in_one_channel_reads_minus_3_01() -> None:
    # Source: ITU-R BS.1770-5, annex 1: 0 dBFS 997 Hz sine in one front channel is -3.01 LKFS.
    sound = sine(0.0, 5.0, 997.0)
    sound[:, 1] = 0
    assert integrated_lufs(power_of(sound)) == pytest.approx(-3.01, abs=0.01)


def test_silence_and_less_than_a_gating_block_have_no_loudness() -> None:
    # Source: ITU-R BS.1770-5: blocks of 400 ms, absolute gate at -70 LKFS.
    assert integrated_lufs(power_of(np.zeros((RATE, 2), np.float32))) is None
    assert integrated_lufs(power_of(sine(-20.0, 0.399))) is None
    assert integrated_lufs(power_of(sine(-20.0, 0.4))) is not None
    assert integrated_lufs(power_of(sine(-71.0, 1.0))) is None
    assert integrated_lufs(power_of(sine(-69.0, 1.0))) == pytest.approx(-69.0, abs=0.1)


@pytest.mark.parametrize("seed", range(3))
def test_shaped_noise_reads_like_an_independent_meter(seed: int) -> None:
    # Source: pyloudnorm 0.2, which normalises the low cut and so reads 0.04 LU low.
    random = np.random.default_rng(seed)
    envelope = np.repeat(10 ** (random.uniform(-40, -6, 60) / 20), RATE // 4)
    noise = (random.standard_normal((envelope.size, 2)) * envelope[:, None] * 0.2).astype(np.float32)
    expected = pyloudnorm.Meter(RATE).integrated_loudness(noise.astype(np.float64))
    assert integrated_lufs(power_of(noise)) == pytest.approx(expected + 0.04, abs=0.05)


def test_block_length_does_not_change_what_is_measured() -> None:
    # Common practice, no source: a stream is one sound, however it is cut.
    sound = steps((-20.0, 0.7), (-9.0, 0.31), (-30.0, 0.5))
    whole = power_of(sound, len(sound))
    for block in (1, 47, 1000) if len(sound) < 1000 else (47, 1000, 48_000):
        np.testing.assert_allclose(power_of(sound, block), whole, rtol=1e-6, atol=1e-12)
        assert peak_of(sound, block) == pytest.approx(peak_of(sound, len(sound)), rel=1e-6)


@pytest.mark.parametrize("case", TECH_3341)
def test_tenths_of_a_second_say_as_much_as_milliseconds(case: int) -> None:
    # Source: EBU Tech 3341, cases 1 to 5, and 3342 for the range: the windows of both lie on tenths of a second.
    sound = steps(*TECH_3341[case][0])
    weighting, meter = KWeighting(2), PowerMeter(TENTH_MS)
    taken = []
    for start in range(0, len(sound), 10_007):
        meter.add(weighting.weigh(sound[start : start + 10_007]))
        taken.append(meter.take())
    power, fine = np.concatenate(taken), power_of(sound)
    assert power.size == len(sound) * 10 // RATE
    assert integrated_lufs(power, TENTH_MS) == pytest.approx(TECH_3341[case][1], abs=0.1)
    assert integrated_lufs(power, TENTH_MS) == pytest.approx(integrated_lufs(fine), abs=1e-4)
    assert loudness_range_lu(power, TENTH_MS) == pytest.approx(loudness_range_lu(fine), abs=1e-4)


# Source: EBU Tech 3341, cases 15 to 19: sines between whose samples the peak lies; +0.2 / -0.4 dB.
BETWEEN = {15: (4, 0.0, 0.5, -6.0), 16: (4, 45.0, 0.5, -6.0), 17: (6, 60.0, 0.5, -6.0), 18: (8, 67.5, 0.5, -6.0)}
BETWEEN[19] = (4, 45.0, 1.41, 3.0)


@pytest.mark.parametrize("case", BETWEEN)
def test_true_peak_of_the_ebu_sines(case: int) -> None:
    part, degrees, amplitude, expected = BETWEEN[case]
    wave = amplitude * np.sin(2 * np.pi * np.arange(RATE) / part + np.radians(degrees))
    # A sine that starts off zero begins with a step, which really overshoots: it is faded in.
    wave[:480] *= np.linspace(0, 1, 480)
    wave[-480:] *= np.linspace(1, 0, 480)
    reading = decibels(peak_of(wave.astype(np.float32)[:, None]))
    assert reading is not None
    assert expected - 0.4 <= reading <= expected + 0.2


@pytest.mark.parametrize("offset", range(4))
def test_a_pulse_between_samples_reads_full_scale(offset: int) -> None:
    # Source: EBU Tech 3341, cases 20 to 23: a pulse of 0 dBTP made at four times the rate, each fourth sample kept from
    # offsets 0 to 3; +0.2 / -0.4 dB. The pulse's own shape is ours: a sinc at half the band, under a Hann window.
    at = np.arange(-400, 401)
    pulse = np.sinc(at / 8) * np.hanning(at.size)
    wave = np.zeros(4 * RATE)
    wave[RATE : RATE + at.size] = pulse
    kept = wave[offset::4].astype(np.float32)[:, None]
    reading = decibels(peak_of(kept))
    assert reading is not None
    assert -0.4 <= reading <= 0.2


def test_oversampling_is_at_least_four_times() -> None:
    # By hand: every 90 degrees from 22.5 on; twice as many points still miss the top by 22.5 degrees, or 0.69 dB.
    wave = 0.5 * np.sin(np.pi / 2 * np.arange(RATE) + np.pi / 8)
    wave[:480] *= np.linspace(0, 1, 480)
    wave[-480:] *= np.linspace(1, 0, 480)
    assert decibels(peak_of(wave.astype(np.float32)[:, None])) == pytest.approx(-6.02, abs=0.1)


def test_a_peak_is_found_in_its_own_millisecond_of_either_channel() -> None:
    sound = np.zeros((4801, 2), np.float32)
    sound[48 * 30 + 20, 1] = -0.5
    sound[4800, 0] = 0.25
    meter = PeakMeter(2)
    for start in range(0, 4801, 700):
        meter.add(sound[start : start + 700])
    peaks = meter.peaks()
    # A single sample is its own highest point: between samples a band-limited pulse is lower. By hand.
    assert len(peaks) == 101
    assert int(peaks.argmax()) == 30
    assert float(peaks[30]) == pytest.approx(0.5, rel=0.01)
    assert float(peaks[100]) == pytest.approx(0.25, rel=0.01)
    assert decibels(float(np.float32(0))) is None


@pytest.mark.parametrize("above", [0.3, 0.8, 2.0])
def test_a_meter_that_looks_only_for_high_peaks_finds_them_all_as_high_as_they_are(above: float) -> None:
    # Common practice, no source: what saves work may not change what is found.
    random = np.random.default_rng(3)
    swell = np.repeat(random.uniform(0.05, 1.0, 30), RATE // 10)
    sound = (0.3 * random.standard_normal((swell.size, 2)) * swell[:, None]).astype(np.float32)
    whole, quick = PeakMeter(2), PeakMeter(2, above=above)
    taken = []
    for start in range(0, len(sound), 5_000):
        whole.add(sound[start : start + 5_000])
        quick.add(sound[start : start + 5_000])
        taken.append(quick.take())
    every, found = whole.peaks(), np.concatenate([*taken, quick.peaks()])
    assert quick.highest == whole.highest == every.max()
    assert every.size == found.size == 3000
    over = every > above
    np.testing.assert_array_equal(found > above, over)
    np.testing.assert_array_equal(found[over], every[over])
