"""Lining captures up: planted pairs, whose offsets and drifts are known because they were drawn so.

The benchmark benchmarks/line_up.py measures many more pairs than fit a test.
"""

from __future__ import annotations

import time
import tracemalloc
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from lineup_maker import KINDS, Machine, Planted, make_info, make_pair, make_scene, make_unrelated, plant
from media_maker import write_clip
from scipy.ndimage import gaussian_filter, gaussian_filter1d, uniform_filter1d
from scipy.signal import butter, sosfilt

from assembler.measure.lineup import line_up
from assembler.measure.lineup_sound import heard_offset
from assembler.measure.model import LineUpResult, Thumbs
from assembler.media.info import CaptureInfo
from assembler.media.luma import read_luma
from assembler.media.probe import probe

SEED = 7_000
"""Apart from the benchmark's seeds, whether for tuning or for scoring."""
FRAME = 1 / 60


def lined(a: Planted, b: Planted, known: bool = True) -> LineUpResult:
    return line_up(a.info, a.thumbs, a.cadence if known else None, b.info, b.thumbs, b.cadence if known else None)


@pytest.mark.parametrize("kind", KINDS)
def test_finds_planted_offset_within_a_frame(kind: str) -> None:
    pair = make_pair(SEED + KINDS.index(kind), kind, common_s=20)
    got = lined(pair.a, pair.b)
    frame = max(float(np.median(np.diff(p.info.pts)) * p.info.time_base) for p in (pair.a, pair.b))
    middle = sum(pair.in_common()) / 2
    off = got.offset_s - pair.offset_s + (got.drift_ppm - pair.drift_ppm) * 1e-6 * middle
    assert got.matched, got.why
    assert abs(off) <= frame
    assert got.low_s < got.offset_s < got.high_s


@pytest.mark.parametrize("seed", range(SEED, SEED + 8))
def test_refuses_unrelated_captures(seed: int) -> None:
    pair = make_unrelated(seed)
    got = lined(pair.a, pair.b)
    assert not got.matched
    assert "match" in got.why
    assert np.isnan(got.offset_s)
    assert got.sound_offset_s is None


def test_either_way_round_says_the_same() -> None:
    pair = make_pair(SEED, "fly", common_s=15)
    there, back = lined(pair.a, pair.b), lined(pair.b, pair.a)
    at = sum(pair.in_common()) / 2
    on_b = there.offset_s + (1 + there.drift_ppm * 1e-6) * at
    again = back.offset_s + (1 + back.drift_ppm * 1e-6) * on_b
    assert again == pytest.approx(at, abs=0.1 * FRAME)


@pytest.mark.parametrize("fps", [15, 20, 30, 40])
def test_a_machine_that_holds_pictures_longer_is_not_late(fps: int) -> None:
    scene = make_scene("pan", SEED + 1)
    a = plant(scene, Machine(), 12, 0, 0, 1)
    b = plant(scene, Machine(fps=fps), 12, 1.2345, 0, 2)
    got = lined(a, b)
    assert got.offset_s == pytest.approx(-1.2345, abs=0.25 * FRAME)
    # Taking every picture for new moves the answer late by half of what a hold adds, so the verdicts matter.
    everything = replace(b.cadence, p_new=np.ones_like(b.cadence.p_new))
    counted = line_up(a.info, a.thumbs, a.cadence, b.info, b.thumbs, everything)
    assert counted.offset_s - got.offset_s > 0.3 * (1 / fps - FRAME) / 2


def test_without_a_cadence_the_pictures_themselves_say_what_is_new() -> None:
    scene = make_scene("pan", SEED + 2)
    a, b = plant(scene, Machine(), 12, 0, 0, 1), plant(scene, Machine(fps=20, blur=0.5), 12, -1.003, 0, 2)
    assert lined(a, b, known=False).offset_s == pytest.approx(1.003, abs=0.25 * FRAME)
    unsure = replace(b.cadence, p_new=np.ones_like(b.cadence.p_new), reliable=False)
    got = line_up(a.info, a.thumbs, a.cadence, b.info, b.thumbs, unsure)
    assert got.offset_s == pytest.approx(1.003, abs=0.25 * FRAME)


@pytest.mark.parametrize("ppm", [-3000.0, -1000.0, 1000.0, 3000.0])
def test_tells_drift_with_its_interval(ppm: float) -> None:
    scene = make_scene("fly", SEED + 3)
    a = plant(scene, Machine(), 40, 0, 0, 1)
    b = plant(scene, Machine(fps=40, blur=0.5, gamma=1.2, gain=0.88), 35, 2, ppm, 2)
    got = lined(a, b)
    assert got.drift_low_ppm < ppm < got.drift_high_ppm
    assert got.drift_high_ppm - got.drift_low_ppm < 600
    assert got.offset_s == pytest.approx(-2 * (1 + ppm * 1e-6), abs=FRAME)


def test_no_drift_is_none_and_far_offsets_say_how_unsure_they_are() -> None:
    scene = make_scene("cuts", SEED + 4)
    near_a, b = plant(scene, Machine(), 12, 0, 0, 1), plant(scene, Machine(fps=30, blur=0.5), 12, 0, 0, 2)
    far_a = plant(scene, Machine(), 72, -60, 0, 1)
    near, far = lined(near_a, b), lined(far_a, b)
    assert near.drift_ppm == far.drift_ppm == 0
    assert near.offset_s == pytest.approx(0, abs=FRAME)
    assert far.offset_s == pytest.approx(-60, abs=FRAME)
    assert far.high_s - far.low_s > 3 * (near.high_s - near.low_s)


def test_bars_that_cut_and_bars_that_shrink() -> None:
    scene = make_scene("fly", SEED + 5)
    a, b = plant(scene, Machine(), 10, 0, 0, 1), plant(scene, Machine(bars=True), 10, 1, 0, 2)
    assert lined(a, b).offset_s == pytest.approx(-1, abs=0.25 * FRAME)
    shrunk = np.full_like(b.thumbs.luma, 16)
    shrunk[:, :, 4:28] = gaussian_filter1d(plant(scene, Machine(), 10, 1, 0, 2).thumbs.luma, 0.5, 2)[
        :, :, np.linspace(0, 31, 24).round().astype(int)
    ]
    got = lined(a, replace(b, thumbs=Thumbs(shrunk, b.thumbs.mean_luma)))
    assert got.offset_s == pytest.approx(-1, abs=0.5 * FRAME)


def test_says_why_not() -> None:
    scene = make_scene("pan", SEED + 6)
    a, short = plant(scene, Machine(), 10, 0, 0, 1), plant(scene, Machine(), 1, 0, 0, 2)
    assert "too short" in lined(a, short).why
    one = Planted(make_info(np.zeros(1, np.int64), 4000), Thumbs(a.thumbs.luma[:1], a.thumbs.mean_luma[:1]),
                  a.cadence, a.shown_s[:1])  # fmt: skip
    assert "too short" in lined(a, one, known=False).why
    still = np.repeat(a.thumbs.luma[:1], len(a.thumbs.luma), axis=0)
    calm = np.random.default_rng(0).normal(0, 0.01, still.shape).astype(np.float32) + still
    for luma in (still, calm):
        got = lined(a, replace(a, thumbs=Thumbs(luma, a.thumbs.mean_luma)), known=False)
        assert not got.matched
        assert "nothing moves" in got.why


def test_pictures_that_come_round_again_leave_it_open() -> None:
    scene = make_scene("pan", SEED + 7)
    a, b = plant(scene, Machine(), 8, 0, 0, 1), plant(lambda u, r, c: scene(u % 8, r, c), Machine(), 24, 0, 0, 2)
    got = lined(a, b)
    assert not got.matched
    assert "repeat" in got.why


def test_ten_minutes_take_little_time_and_memory() -> None:
    rng = np.random.default_rng(SEED)
    n, ahead = 36_000, 1_207
    content = rng.integers(0, 255, (n + ahead, 1, 18, 32), np.uint8)[:, 0]
    luma = uniform_filter1d(uniform_filter1d(content, 9, axis=0, output=np.float32), 9, axis=0)
    info = make_info(np.arange(n, dtype=np.int64) * 4000, 4000)
    a, b = (Thumbs(part, part.mean((1, 2))) for part in (luma[:n], luma[ahead:]))
    began = time.process_time()
    got = line_up(info, a, None, info, b, None)
    took = time.process_time() - began
    tracemalloc.start()
    line_up(info, a, None, info, b, None)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert got.offset_s == pytest.approx(-ahead / 60, abs=0.1 * FRAME)
    assert got.drift_low_ppm < 0 < got.drift_high_ppm < 20
    assert took < 4  # 1 to 2 s on an idle machine
    assert most < 150e6  # the small pictures themselves are 83 MB each


def track(seed: int, seconds: float) -> np.ndarray:
    """Sound with a life of its own: noise in bursts, and tones."""
    rng = np.random.default_rng(seed)
    n = int(seconds * 48_000)
    loud = np.repeat(rng.uniform(0, 1, n // 2400 + 1) ** 3, 2400)[:n]
    tones = sum(np.sin(2 * np.pi * f * np.arange(n) / 48_000) for f in rng.uniform(100, 1000, 3))
    return np.asarray(0.1 * loud * rng.normal(size=n) + 0.02 * tones, np.float32)


def other_machine(samples: np.ndarray, noise: float = 0.005) -> np.ndarray:
    """The same, through another machine's filters, with noise."""
    heard = sosfilt(butter(2, [200, 5000], "band", fs=48_000, output="sos"), samples)
    return np.asarray(0.5 * heard + np.random.default_rng(1).normal(0, noise, samples.size), np.float32)


def test_sound_bears_the_pictures_out_or_says_it_does_not() -> None:
    scene = make_scene("fly", SEED + 8)
    a, b = plant(scene, Machine(), 14, 0, 0, 1), plant(scene, Machine(fps=30), 12, 2, 0, 2)
    heard = track(1, 14)
    for late, agree in ((0.0, True), (0.010, True), (-0.060, False)):
        first = round((2 - late) * 48_000)
        theirs = other_machine(heard[first : first + 12 * 48_000])
        got = line_up(a.info, a.thumbs, a.cadence, b.info, b.thumbs, b.cadence, (heard, 0.0, theirs, 0.0))
        assert got.sound_offset_s == pytest.approx(-2 + late, abs=0.0005)
        assert got.agree is agree
        assert ("sound lies 6" in got.why) is not agree
    got = line_up(a.info, a.thumbs, a.cadence, b.info, b.thumbs, b.cadence, (heard, 0.0, track(2, 12), 0.0))
    assert got.matched
    assert got.sound_offset_s is None
    assert got.agree is None


def test_sound_that_starts_elsewhere_in_stereo_with_drift() -> None:
    heard = track(3, 20)
    ppm = 1000.0
    at = 3 + np.arange(round(12 * (1 + ppm * 1e-6) * 48_000)) / 48_000 / (1 + ppm * 1e-6)
    theirs = other_machine(np.interp(at, np.arange(heard.size) / 48_000, heard))
    # a's sound starts at 0.5 on its clock; b shows a's 0.5 + 3 at its own 0, and its sound starts there.
    stereo = np.stack([heard, heard], axis=1)
    line = (-3.5 * (1 + ppm * 1e-6) + 0.004, ppm * 1e-6)
    assert heard_offset((stereo, 0.5, theirs, 0.0), line) == pytest.approx(-0.004, abs=0.0005)


@pytest.mark.parametrize("seed", range(8))
def test_unrelated_or_drowned_sound_is_no_witness(seed: int) -> None:
    ours, theirs = track(10 + seed, 10), track(30 + seed, 10)
    assert heard_offset((ours, 0.0, theirs, 0.0), (0.0, 0.0)) is None
    assert heard_offset((ours, 0.0, other_machine(0.01 * ours, 0.1), 0.0), (0.0, 0.0)) is None
    assert heard_offset((ours, 0.0, np.zeros_like(ours), 0.0), (0.0, 0.0)) is None


def encoded(path: Path, scene_luma: np.ndarray, rate: Fraction, crf: int) -> tuple[CaptureInfo, Thumbs]:
    """A small clip of the pictures, and the small pictures read back from it."""
    luma = np.clip(scene_luma, 16, 235).astype(np.uint8)
    grey = np.full((luma.shape[1] // 2, luma.shape[2] // 2), 128, np.uint8)
    write_clip(path, pictures=len(luma), rate=rate, size=(luma.shape[2], luma.shape[1]),
               options={"crf": str(crf)}, draw=lambda k, w, h: (luma[k], grey, grey))  # fmt: skip
    info = probe(path)
    small = np.stack([
        luma.lines[:, : luma.width].reshape(18, 10, 32, 10).mean((1, 3), dtype=np.float32) for luma in read_luma(info)
    ])  # fmt: skip
    return info, Thumbs(small, small.mean((1, 2)))


@pytest.mark.parametrize(
    ("kind", "rate", "fps", "ppm"), [("fly", Fraction(60), 30, 0.0), ("figures", Fraction(50), 25, 3000.0)]
)
def test_through_encoded_clips(tmp_path: Path, kind: str, rate: Fraction, fps: int, ppm: float) -> None:
    """The whole way through a coder, which blurs, adds noise and leaves repeats almost as they were."""
    scene = make_scene(kind, SEED + 9)
    shown_a = np.arange(7 * 60) / 60
    refresh = np.arange(6 * int(rate))
    held = refresh - refresh % (int(rate) // fps)
    shown_b = 0.777 + held / float(rate) / (1 + ppm * 1e-6)
    unique, back = np.unique(shown_b, return_inverse=True)
    luma_b = gaussian_filter(scene(unique, 180, 320), (0, 1.5, 1.5))[back]
    luma_b = 255 * (luma_b / 255) ** 1.2 * 0.88
    luma_b[:, 20:50, 30:110] = 200
    a = encoded(tmp_path / "a.mp4", scene(shown_a, 180, 320), Fraction(60), 23)
    b = encoded(tmp_path / "b.mp4", luma_b, rate, 28)
    got = line_up(*a, None, *b, None)
    assert got.matched, got.why
    at = 3.5
    off = got.offset_s + (1 + got.drift_ppm * 1e-6) * at - (at - 0.777) * (1 + ppm * 1e-6)
    assert abs(off) < 0.5 / float(rate)
    assert got.drift_low_ppm < ppm < got.drift_high_ppm
