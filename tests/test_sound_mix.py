"""The programme's sound as a whole: places, lengths, levels and memory."""

from __future__ import annotations

import tracemalloc
import wave
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from assembler.errors import NarrationError
from assembler.media.join import join_parts
from assembler.media.writer import PartWriter
from assembler.narration.scratch import ScratchVoice, available
from assembler.narration.words import split_words
from assembler.sound.mix import mix
from assembler.timeline.model import PlacedHear
from assembler.timing.rates import NTSC_24, NTSC_60
from assembler.timing.spans import Span
from tests.sound_maker import RATE, babble, ebur128, game_sound, hear, spoken, timeline, whole


# By hand: frames x 48000 / rate, to the nearest sample.
@pytest.mark.parametrize(
    ("rate", "frames", "samples"),
    [(NTSC_24, 1, 2002), (NTSC_24, 241, 482_482), (NTSC_60, 7, 5606), (NTSC_60, 601, 481_281), (Fraction(60), 0, 0)],
)
def test_the_mix_is_as_long_as_the_programme_to_the_sample(
    tmp_path: Path, rate: Fraction, frames: int, samples: int
) -> None:
    made = mix(timeline(tmp_path, frames, rate))
    blocks = list(made.blocks())
    assert made.samples == samples == sum(len(block) for block in blocks)
    assert all(len(block) <= RATE and block.shape[1] == 2 and block.dtype == np.float32 for block in blocks)


def test_spans_join_to_the_whole_without_a_sample_more_or_less(tmp_path: Path) -> None:
    game = game_sound(tmp_path, np.stack((babble(6, 0.3, 4), babble(6, 0.3, 5)), axis=1))
    lines = [spoken(tmp_path, "one", babble(1.5), RATE), spoken(tmp_path, "two", babble(0.9, 0.4, 2), 3 * RATE + 17)]
    programme = timeline(tmp_path, 330, NTSC_60, lines, [hear(100, 250_000, capture_s=Fraction(1, 7))], game)
    made = mix(programme)
    expected = whole(made)
    spans = [Span(0, 41), Span(41, 200), Span(200, 201), Span(201, 330)]
    parts = [whole(mix(programme, span=span, levels=made.levels)) for span in spans]
    assert sum(len(part) for part in parts) == len(expected)
    np.testing.assert_allclose(np.concatenate(parts), expected, atol=2e-6)
    # Levels measured again for a span are the programme's.
    np.testing.assert_allclose(whole(mix(programme, span=spans[1])), parts[1], atol=1e-6)


def test_a_line_begins_and_ends_at_its_own_samples(tmp_path: Path) -> None:
    start, samples = 54_321, 30_000
    made = whole(mix(timeline(tmp_path, 180, lines=[spoken(tmp_path, "x", np.full(samples, 0.1, np.float32), start)])))
    heard = np.flatnonzero(made[:, 0])
    assert (heard[0], heard[-1]) == (start, start + samples - 1)
    np.testing.assert_array_equal(made[:, 0], made[:, 1])


def test_a_line_cut_off_by_the_programmes_end_goes_out_without_a_click(tmp_path: Path) -> None:
    line = spoken(tmp_path, "x", np.full(3 * RATE, 0.1, np.float32), RATE // 2)
    programme = timeline(tmp_path, 120, lines=[line])
    made = whole(mix(programme))[:, 0]
    assert made[-1] < made[RATE] * 0.01
    assert np.abs(np.diff(made[RATE:])).max() < made[RATE] * np.pi / 2 / 240 * 1.05  # as at the edges of a capture
    # A piece of the programme is not its end: there the sound goes on.
    piece = whole(mix(programme, span=Span(0, 60)))
    np.testing.assert_allclose(piece[-1], made[RATE - 1], rtol=1e-4)


def test_capture_sound_plays_from_its_own_time(tmp_path: Path) -> None:
    sound = np.zeros((4 * RATE, 2), np.float32)
    sound[2 * RATE] = (0.5, 0.25)
    game = game_sound(tmp_path, sound)
    # By hand: capture second 2 is heard at 0.5 s + (2 s - 1.25 s).
    made = whole(mix(timeline(tmp_path, 180, heard=[hear(24_000, 3 * RATE, capture_s=Fraction(5, 4))], game=game)))
    assert int(np.abs(made[:, 0]).argmax()) == 24_000 + 36_000
    assert float(made[60_000, 1] / made[60_000, 0]) == pytest.approx(0.5, rel=0.01)


def test_the_edges_of_capture_sound_do_not_click(tmp_path: Path) -> None:
    game = game_sound(tmp_path, np.full((3 * RATE, 2), 0.05, np.float32))
    programme = timeline(tmp_path, 120, heard=[hear(RATE // 2, RATE, gain_db=-6.0)], game=game)
    made = mix(programme)
    sound = whole(made)[:, 0] / 10 ** (made.report.gain_db / 20)
    middle = float(sound[36_000])
    assert middle == pytest.approx(0.05 * 10 ** (-6 / 20), rel=1e-3)
    # Over 5 ms (240 samples) no step is larger than a smooth half wave's steepest one.
    assert np.abs(np.diff(sound)).max() <= middle * np.pi / 2 / 240 * 1.05
    assert sound[RATE // 2 + 120] == pytest.approx(middle / 2, rel=0.05)


def test_capture_sound_that_runs_on_over_a_cut_is_not_broken(tmp_path: Path) -> None:
    game = game_sound(tmp_path, np.full((4 * RATE, 2), 0.05, np.float32))
    # Frame 41 at 59.94 a second starts at sample 32832.8; the second stretch takes the capture up there.
    cut, end = 32_833, 90_000
    runs_on = Fraction(41 * 1001, 60_000)
    jumps = runs_on + Fraction(1, 60)

    def lowest_at_the_cut(second: PlacedHear) -> float:
        programme = timeline(tmp_path, 120, NTSC_60, heard=[hear(0, cut), second], game=game)
        sound = whole(mix(programme))[:, 0]
        return float(sound[cut - 480 : cut + 480].min() / sound[20_000])

    assert lowest_at_the_cut(hear(cut, end, capture_s=runs_on)) == pytest.approx(1, abs=1e-3)
    # What is cut in the capture, or changes its level, still fades out and in.
    assert lowest_at_the_cut(hear(cut, end, capture_s=jumps)) < 0.05
    assert lowest_at_the_cut(hear(cut, end, capture_s=runs_on, gain_db=-6.0)) < 0.05


def test_captures_are_lowered_by_12_db_under_speech_and_come_back(tmp_path: Path) -> None:
    # A tone in the capture that the narration (a burst of low tone) has nothing of: read it off by its own frequency.
    at = np.arange(8 * RATE) / RATE
    tone = (0.1 * np.sin(2 * np.pi * 5000 * at)).astype(np.float32)
    game = game_sound(tmp_path, np.stack((tone, tone), axis=1))
    voice = (0.05 * np.sin(2 * np.pi * 200 * np.arange(2 * RATE) / RATE)).astype(np.float32)
    line = spoken(tmp_path, "x", voice, 3 * RATE)
    made = mix(timeline(tmp_path, 480, lines=[line], heard=[hear(0, 8 * RATE)], game=game))
    sound = whole(made)[:, 0]
    assert made.report.most_limited_db == 0

    def level(seconds: float) -> float:
        stretch = sound[round(seconds * RATE) - 480 : round(seconds * RATE) + 480]
        wave_of = np.exp(-2j * np.pi * 5000 * np.arange(stretch.size) / RATE)
        return float(20 * np.log10(np.abs(stretch @ wave_of)))

    full = level(1.0)
    # By hand from 12 dB, 0.15 s ahead, 0.12 s down, 0.35 s held, 0.6 s up (the readings are 20 ms wide).
    assert level(2.83) == pytest.approx(full, abs=0.05)
    assert level(2.91) == pytest.approx(full - 6, abs=0.3)
    assert level(3.0) == pytest.approx(full - 12, abs=0.1)
    assert level(5.3) == pytest.approx(full - 12, abs=0.1)
    assert level(5.65) == pytest.approx(full - 6, abs=0.3)
    assert level(6.0) == pytest.approx(full, abs=0.05)


def test_silence_has_no_loudness_and_is_not_raised(tmp_path: Path) -> None:
    made = mix(timeline(tmp_path, 120))
    assert not whole(made).any()
    assert made.report.gain_db == 0
    assert made.report.programme_lufs is None
    assert made.report.true_peak_dbtp is None
    assert made.report.narration_lufs is None


def test_near_silence_is_raised_by_20_db_at_most(tmp_path: Path) -> None:
    game = game_sound(tmp_path, np.stack((babble(4, 0.001), babble(4, 0.001)), axis=1))
    made = mix(timeline(tmp_path, 240, heard=[hear(0, 4 * RATE)], game=game))
    assert made.report.gain_db == 20
    whole(made)
    assert made.report.programme_lufs is not None
    assert made.report.programme_lufs < -25


def test_a_lost_voice_file_is_said_so(tmp_path: Path) -> None:
    line = spoken(tmp_path, "gone", babble(1), 0)
    assert line.speech.sound is not None
    line.speech.sound.unlink()
    with pytest.raises(NarrationError, match=r"gone\.f32 is gone"):
        mix(timeline(tmp_path, 60, lines=[line]))


@pytest.mark.parametrize("crest", ["mild", "harsh"])
def test_a_loud_programme_meets_minus_14_lufs_and_minus_1_dbtp_by_another_meter(tmp_path: Path, crest: str) -> None:
    random = np.random.default_rng(9)
    bed = np.stack((babble(20, 0.2, 6), babble(20, 0.2, 7)), axis=1)
    if crest == "harsh":  # bangs far above the rest, which a gain alone would send over full scale
        for bang in random.integers(0, 19 * RATE, 60):
            bed[bang : bang + 2400] += (
                0.9 * random.standard_normal((2400, 2)) * np.exp(-np.arange(2400) / 400)[:, None]
            )
    game = game_sound(tmp_path, np.clip(bed, -1, 1))
    lines = [spoken(tmp_path, f"l{n}", babble(3, 0.05, n), n * 5 * RATE + RATE) for n in range(4)]
    made = mix(timeline(tmp_path, 1200, lines=lines, heard=[hear(0, 20 * RATE)], game=game))
    sound = whole(made)
    if crest == "harsh":
        assert made.report.most_limited_db < -3
    path = tmp_path / "programme.wav"
    # 32-bit whole numbers: what a float file would hold, without a file format that clips.
    with wave.open(str(path), "wb") as out:
        out.setparams((2, 4, RATE, 0, "NONE", ""))
        out.writeframes(np.round(np.clip(sound.astype(np.float64), -1, 1) * (2**31 - 1)).astype("<i4").tobytes())
    # Source: the ebur128 filter of the FFmpeg program that imageio-ffmpeg carries; it prints one decimal.
    loudness, peak = ebur128(path)
    assert loudness == pytest.approx(-14.0, abs=0.2)
    assert peak <= -1.0
    assert made.report.programme_lufs == pytest.approx(loudness, abs=0.1)
    assert made.report.true_peak_dbtp == pytest.approx(peak, abs=0.15)


def test_sound_that_is_there_at_once_is_not_made_louder_by_the_coder(tmp_path: Path) -> None:
    # A square wave from the first sample on, which came out of the coder 4.8 dB higher when it began at full level.
    square = (0.9 * np.sign(np.sin(2 * np.pi * 120 * (np.arange(2 * RATE) + 0.5) / RATE))).astype(np.float32)
    game = game_sound(tmp_path, np.stack((square, square), axis=1))
    made = mix(timeline(tmp_path, 120, heard=[hear(0, 2 * RATE)], game=game))
    part, out = tmp_path / "part.mp4", tmp_path / "out.mp4"
    with PartWriter(part, width=64, height=36, rate=Fraction(60)) as writer:
        for _ in range(120):
            writer.canvas().y[:] = 16
            writer.submit()
    join_parts([part], out, rate=Fraction(60), sound=made.blocks())
    _loudness, peak = ebur128(out)
    assert made.report.true_peak_dbtp is not None
    assert peak <= made.report.true_peak_dbtp + 3.0  # a square wave rings by 2.2 dB wherever it is coded


def test_true_peaks_of_the_coded_sound_stay_under_minus_1_dbtp(tmp_path: Path) -> None:
    random = np.random.default_rng(3)
    at = np.arange(6 * RATE) / RATE
    # A walk that jumps from one end of the scale to the other, and beats of three tones: neither is kind to a coder.
    walk = np.cumsum(random.normal(size=at.size)) / 60 % 2 - 1
    beats = 0.6 * sum(np.exp(-40 * (at % 0.5)) * np.sin(2 * np.pi * hertz * at) for hertz in (60, 180, 3000))
    wave_form = np.concatenate((walk[: 3 * RATE], beats[3 * RATE :]))
    game = game_sound(tmp_path, np.clip(np.stack((wave_form, 0.9 * wave_form), axis=1), -1, 1).astype(np.float32))
    made = mix(timeline(tmp_path, 360, heard=[hear(0, 6 * RATE)], game=game))
    part, out = tmp_path / "part.mp4", tmp_path / "out.mp4"
    with PartWriter(part, width=64, height=36, rate=Fraction(60)) as writer:
        for _ in range(360):
            writer.canvas().y[:] = 16
            writer.submit()
    join_parts([part], out, rate=Fraction(60), sound=made.blocks())
    loudness, peak = ebur128(out)
    assert peak <= -1.0
    # Wider than for what a machine sounds like: the coder drops all over 20 kHz, of which the jumps hold much.
    assert loudness == pytest.approx(-14.0, abs=0.4)


@pytest.mark.skipif(not available(), reason="NOT CHECKED: the scratch voice is not installed")
def test_a_scratch_word_is_heard_when_the_timeline_says(tmp_path: Path) -> None:
    text = "First the harbour. Every boat is in. Look at the quay."
    with ScratchVoice() as voice:
        said = voice.speak(split_words(text), 160)
    placed = spoken(tmp_path, "x", said.samples, 123_457, kind="scratch")
    placed = replace(placed, speech=replace(placed.speech, words=said.words))
    sound = np.abs(whole(mix(timeline(tmp_path, 600, NTSC_60, [placed])))[:, 0])
    for word in placed.speech.words:
        if word.text in ("Every", "Look"):  # after a pause, and beginning with a sound that is not silent at first
            expected = placed.start_sample + word.start_sample
            onset = expected - 4_800 + int(np.flatnonzero(sound[expected - 4_800 : expected + 4_800] > 0.02)[0])
            assert abs(onset - expected) <= 480  # 10 ms


def test_memory_does_not_grow_with_the_programme(tmp_path: Path) -> None:
    lines = [spoken(tmp_path, "x", babble(3), 0)]
    peaks = []
    for seconds in (60, 420):
        many = [replace(lines[0], start_sample=at * RATE) for at in range(0, seconds - 4, 5)]
        programme = timeline(tmp_path, seconds * 60, lines=many)
        tracemalloc.start()
        for _block in mix(programme).blocks():
            pass
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    # What 51 minutes more would add; one number for each of their milliseconds would be 12 MB.
    assert (peaks[1] - peaks[0]) * 8.5 < 10e6
