"""`stretch:` makes lines faster or slower at their own pitch, and everything that follows their words with them."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from media_maker import Sound, tone, write_sound

from assembler.captions.cues import make_cues
from assembler.errors import StoryboardError
from assembler.media.tempo import change_tempo
from assembler.narration.lines import voice
from assembler.narration.speech import Speech, Word
from assembler.narration.stretch import at_speed
from assembler.sound.buses import read_speech
from assembler.storyboard import read_storyboard
from assembler.storyboard.model import Storyboard
from assembler.timeline.resolve import resolve
from assembler.timing.rates import SAMPLE_RATE

BOARD = """\
storyboard: 1
title: t
canvas: {{size: 640x360, rate: 30}}
narration: {{voice: none{narration}}}
segments:
  - id: one
    say: [{{text: One two three four five six{line}}}, Seven eight nine]
    show: {{card: x}}
"""


def board(narration: str = "", line: str = "") -> Storyboard:
    return read_storyboard(BOARD.format(narration=narration, line=line), "storyboard.yaml")


def loudest_hz(samples: np.ndarray) -> float:
    """Frequency of the strongest partial, to 0.05 Hz."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(samples.size), 1 << 20))
    return float(spectrum.argmax()) * SAMPLE_RATE / (1 << 20)


@pytest.mark.parametrize("hertz", [120.0, 300.0, 1000.0])
@pytest.mark.parametrize("change", ["1/20", "1/1000", "-3/100"])
def test_a_tone_keeps_its_pitch_and_loudness_and_has_the_length_asked_for(hertz: float, change: str) -> None:
    spoken = (0.3 * np.sin(2 * np.pi * hertz * np.arange(96_000) / SAMPLE_RATE)).astype(np.float32)
    length = round(96_000 / (1 + Fraction(change)))
    made = change_tempo(spoken, length)
    assert made.shape == (length,) and made.dtype == np.float32
    # A tone played 5 % faster without keeping its pitch would be at 1.05 times the frequency.
    # 0.3 % are 5 cents, about the least that listeners notice (from memory).
    assert loudest_hz(made) == pytest.approx(hertz, rel=0.003)
    assert float(np.sqrt(np.mean(made**2))) == pytest.approx(0.3 / 2**0.5, rel=0.02)


@pytest.mark.parametrize("change", ["1/20", "-3/100"])
def test_bursts_fall_where_their_times_divided_by_the_speed_say(change: str) -> None:
    speed = 1 + Fraction(change)
    spoken = np.zeros(480_000, np.float32)
    burst = (np.sin(2 * np.pi * 700 * np.arange(2400) / SAMPLE_RATE) * np.hanning(2400)).astype(np.float32)
    for second in range(1, 10):
        spoken[second * SAMPLE_RATE : second * SAMPLE_RATE + 2400] = burst
    made = change_tempo(spoken, round(480_000 / speed))
    for second in range(1, 10):
        middle = (second * SAMPLE_RATE + 1200) / float(speed)
        around = np.arange(int(middle) - 9600, int(middle) + 9600)
        where = float(np.average(around, weights=made[around] ** 2))
        assert abs(where - middle) <= 0.003 * SAMPLE_RATE


@settings(max_examples=40, deadline=None)
@given(samples=st.integers(1, 30_000), parts=st.integers(-30, 50))
def test_any_length_comes_out_exactly(samples: int, parts: int) -> None:
    length = max(1, round(samples / (1 + Fraction(parts, 1000))))
    noise = np.random.default_rng(samples).normal(0, 0.1, samples).astype(np.float32)
    made = change_tempo(noise, length)
    assert made.shape == (length,) and bool(np.isfinite(made).all())


@given(st.integers(1, 10**7), st.fractions(Fraction(-3, 100), Fraction(5, 100), max_denominator=1000))
def test_a_stretched_line_remembers_how_long_it_was(samples: int, change: Fraction) -> None:
    spoken = Speech("take", samples, (Word("word", samples // 4, samples // 2), Word("two", samples // 2, samples)))
    faster = at_speed(spoken, change)
    assert abs(faster.samples - samples / (1 + change)) <= Fraction(1, 2)
    assert faster.words[-1].end_sample == faster.samples
    assert at_speed(faster, Fraction(0)).samples == samples


@pytest.fixture
def project(tmp_path: Path) -> Path:
    (tmp_path / "takes").mkdir()
    for number, seconds in ((1, 3.0), (2, 2.0)):
        write_sound(tmp_path / "takes" / f"one-{number}.wav", Sound(tone(300, seconds=seconds, level=0.3)))
    return tmp_path


def test_sound_word_times_and_captions_follow_and_a_lines_own_stretch_counts(project: Path) -> None:
    before = voice(board(), project, project / ".assembler").speech
    storyboard = board(narration=", stretch: 4 % faster", line=", stretch: 2 % slower")
    after = voice(storyboard, project, project / ".assembler").speech
    for number, speed in ((1, Fraction(98, 100)), (2, Fraction(104, 100))):
        then, now = before["one", number], after["one", number]
        assert now.samples == round(then.samples / speed) and now.unstretched == then.samples
        assert now.sound is not None and loudest_hz(read_speech(now.sound, 0, now.samples)) == pytest.approx(300, 0.001)
        assert [word.text for word in now.words] == [word.text for word in then.words]
        for was, word in zip(then.words, now.words, strict=True):
            assert abs(word.start_sample - was.start_sample / speed) <= 1
    timeline, _ = resolve(storyboard, project, {}, after)
    cues = make_cues(timeline)
    last = timeline.segments[0].lines[-1]
    assert cues[-1].start_frame == pytest.approx(last.start_sample / SAMPLE_RATE * 30, abs=1)
    # Segment: 0.3 s + 3 s / 0.98 + 0.35 s + 2 s / 1.04 + 0.5 s, to the frame.
    assert timeline.frames == pytest.approx((1.15 + 3 / 0.98 + 2 / 1.04) * 30, abs=1.01)


def test_a_stretch_is_made_once(project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    storyboard = board(narration=", stretch: 1.5 % faster")
    first = voice(storyboard, project, project / ".assembler").speech

    def never(*_: object) -> None:
        raise AssertionError("stretched again")

    monkeypatch.setattr("assembler.narration.stretch.change_tempo", never)
    assert voice(storyboard, project, project / ".assembler").speech == first


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("3 %", "which way"),
        ("3", "is not a stretch"),
        ("6 % faster", "at most 5 % faster"),
        ("3.5 % slower", "at most 3 % slower"),
        ("-3 % faster", "is not a stretch"),
        ("a little", "is not a stretch"),
    ],
)
def test_a_stretch_that_cannot_be_is_refused_with_a_mend(written: str, words: str) -> None:
    with pytest.raises(StoryboardError) as caught:
        board(line=f", stretch: {written}")
    (problem,) = caught.value.problems
    assert words in f"{problem.what} {problem.mend}" and problem.place is not None and problem.place.line == 7


def test_a_stretch_of_nothing_leaves_a_line_alone() -> None:
    storyboard = board(narration=", stretch: 4 % faster", line=", stretch: 0 % faster")
    assert storyboard.segments[0].say[0].stretch == 0 and storyboard.narration.stretch == Fraction(4, 100)
