"""Which way each line is voiced, what is said about it, and what is kept between runs."""

from __future__ import annotations

import errno
import os
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from assembler.errors import Finding, MissingPartError, Place
from assembler.narration import lines, scratch, store, takes
from assembler.narration.lines import VoiceResult, voice
from assembler.storyboard.model import Canvas, CaptionSettings, Card, Line, Narration, Segment, Shot, Storyboard
from assembler.timing.grammar import Time
from tests.media_maker import Sound, write_sound

RATE = 48_000
Array = npt.NDArray[np.float32]


def story(*says: Line, takes: str = "takes", voice: str = "none", pace: int = 160, language: str = "en") -> Storyboard:
    zero = Time("0 s", Fraction(60), second=Fraction(0))
    places = {"": Place("story.yaml", 5, 1), "voice": Place("story.yaml", 6, 3)}
    narration = Narration(takes=takes, voice=voice, pace=pace, lead=zero, pause=zero, tail=zero, places=places)  # type: ignore[arg-type]
    segment = Segment(id="quay", fit=True, say=says, shots=(Shot(arrangement=Card(title="x")),))
    return Storyboard(
        title="t",
        language=language,
        canvas=Canvas(),
        subjects={},
        captures={},
        narration=narration,
        captions=CaptionSettings(),
        segments=(segment,),
    )


def said(text: str = "Two machines, one harbour.", take: str | None = None, line: int = 9) -> Line:
    return Line(text=text, take=take, places={"": Place("story.yaml", line, 7), "take": Place("story.yaml", line, 20)})


def speech_like(seconds: float, *, before: float = 0.0, after: float = 0.0, noise: float = 0.0) -> Array:
    """A buzz in syllables (5 a second), with quiet at both ends."""
    at = np.arange(round(seconds * RATE)) / RATE
    buzz = 0.3 * np.sign(np.sin(2 * np.pi * 130 * at)) * (0.55 + 0.45 * np.sin(2 * np.pi * 5 * at))
    whole = np.concatenate((np.zeros(round(before * RATE)), buzz, np.zeros(round(after * RATE))))
    return (whole + noise * np.random.default_rng(5).standard_normal(whole.size)).astype(np.float32)


def put(path: Path, samples: Array, rate: int = RATE) -> Path:
    path.parent.mkdir(exist_ok=True)
    codec = "flac" if path.suffix == ".flac" else "pcm_s16le"
    return write_sound(path, Sound(samples, rate=rate, codec=codec))


def run(tmp_path: Path, *says: Line, **settings: object) -> VoiceResult:
    return voice(story(*says, **settings), tmp_path, tmp_path / ".assembler")  # type: ignore[arg-type]


def codes(result: VoiceResult) -> list[str]:
    """What was said, but for what is said about words: these takes are buzzes, in which no word can be found."""
    about_words = ("take-doubtful", "recogniser-missing")
    return [found.code for found in result.findings if found.code not in about_words]


def test_a_take_named_after_its_line_is_used_and_trimmed(tmp_path: Path) -> None:
    path = put(tmp_path / "takes" / "quay-2.wav", speech_like(2.0, before=0.7, after=1.1))
    result = run(tmp_path, said(), said())
    assert codes(result) == []
    assert result.speech["quay", 1].kind == "estimate"
    speech = result.speech["quay", 2]
    assert (speech.kind, speech.source) == ("take", path)
    # By hand: 2 s of speech and at most 60 ms before and 120 ms after.
    assert 2.0 <= speech.samples / RATE <= 2.2
    assert [word.text for word in speech.words] == ["Two", "machines,", "one", "harbour."]
    assert speech.words[-1].end_sample == speech.samples
    assert speech.sound is not None
    kept = np.fromfile(speech.sound, "<f4")
    assert kept.size == speech.samples
    assert np.abs(kept).max() == pytest.approx(0.3, abs=0.02)


def test_room_noise_around_a_take_is_cut_too(tmp_path: Path) -> None:
    put(tmp_path / "takes" / "quay-1.flac", speech_like(1.5, before=1.0, after=1.0, noise=0.01))
    assert run(tmp_path, said()).speech["quay", 1].samples / RATE == pytest.approx(1.6, abs=0.1)


def test_a_click_before_the_speech_is_not_speech() -> None:
    sound = speech_like(1.5, before=1.0, after=1.0, noise=0.001)
    sound[9_600:9_700] = 0.5
    span = takes.speech_span(sound)
    assert span is not None
    assert span[0] / RATE == pytest.approx(0.95, abs=0.05)
    assert takes.speech_span(np.zeros(RATE, np.float32)) is None


def test_a_take_at_another_rate_keeps_its_length(tmp_path: Path) -> None:
    at = np.arange(2 * 44_100) / 44_100
    wave = (0.3 * np.sin(2 * np.pi * 200 * at) * (0.6 + 0.4 * np.sin(2 * np.pi * 5 * at))).astype(np.float32)
    put(tmp_path / "takes" / "quay-1.wav", wave, rate=44_100)
    assert run(tmp_path, said()).speech["quay", 1].samples / RATE == pytest.approx(2.0, abs=0.06)


def test_two_takes_of_one_line_are_an_error_that_names_them(tmp_path: Path) -> None:
    put(tmp_path / "takes" / "quay-1.wav", speech_like(1.0))
    put(tmp_path / "takes" / "quay-1.flac", speech_like(1.0))
    result = run(tmp_path, said())
    assert codes(result) == ["take-ambiguous"]
    assert "quay-1.flac, quay-1.wav" in result.findings[0].what
    assert result.speech["quay", 1].kind == "estimate"


def test_a_named_take_is_looked_for_in_the_project_then_in_the_takes_folder(tmp_path: Path) -> None:
    put(tmp_path / "takes" / "good.wav", speech_like(1.0))
    first = run(tmp_path, said(take="takes/good.wav"), said(take="good.wav"))
    assert codes(first) == []
    assert {speech.kind for speech in first.speech.values()} == {"take"}


@pytest.mark.parametrize("written", ["gone.wav", "../outside.wav"])
def test_a_named_take_that_is_not_there_is_an_error_at_its_place(tmp_path: Path, written: str) -> None:
    project = tmp_path / "project"
    project.mkdir()
    put(tmp_path / "outside.wav", speech_like(1.0))
    result = run(project, said(take=written, line=12))
    assert codes(result) == ["take-missing"]
    assert result.findings[0].severity == "error"
    assert result.findings[0].place == Place("story.yaml", 12, 20)
    assert result.speech["quay", 1].kind == "estimate"


def test_a_take_that_is_a_link_out_of_the_project_is_not_opened(tmp_path: Path) -> None:
    project = tmp_path / "project"
    (project / "takes").mkdir(parents=True)
    put(tmp_path / "outside.wav", speech_like(1.0))
    (project / "takes" / "quay-1.wav").symlink_to(tmp_path / "outside.wav")
    result = run(project, said())
    assert result.speech["quay", 1].kind == "estimate"
    assert codes(result) == ["take-outside"]
    assert "takes/quay-1.wav" in result.findings[0].what


@pytest.mark.parametrize("kind", ["silent", "not sound"])
def test_a_take_without_speech_is_an_error_and_the_line_is_voiced_otherwise(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "takes" / "quay-1.wav"
    put(path, np.zeros(RATE, np.float32))
    if kind == "not sound":
        path.write_bytes(b"this is no sound file at all" * 40)
    result = run(tmp_path, said())
    assert codes(result) == ["take-unusable"]
    assert "line 1 of segment 'quay'" in result.findings[0].what
    assert result.speech["quay", 1].kind == "estimate"


def test_a_clipped_take_is_used_with_a_warning_and_a_loud_one_without(tmp_path: Path) -> None:
    random = np.random.default_rng(2)
    voice_like = np.convolve(random.standard_normal(2 * RATE), np.ones(30) / 30, "same")
    voice_like *= 0.6 + 0.4 * np.sin(np.arange(2 * RATE) * 2 * np.pi * 4 / RATE)
    loud = (voice_like / np.abs(voice_like).max()).astype(np.float32)
    loud[30_000:30_003] = loud[60_000:60_002] = 1.0  # two peaks that touch full scale
    put(tmp_path / "takes" / "quay-1.wav", np.clip(3 * loud, -1, 1))
    put(tmp_path / "takes" / "quay-2.wav", loud)
    for _ in range(2):  # the second time from the cache
        result = run(tmp_path, said(), said())
        assert codes(result) == ["take-clipped"]
        assert "quay-1.wav" in result.findings[0].what
        assert {speech.kind for speech in result.speech.values()} == {"take"}


def test_a_take_that_no_line_uses_is_noted(tmp_path: Path) -> None:
    put(tmp_path / "takes" / "quai-1.wav", speech_like(1.0))
    result = run(tmp_path, said())
    assert codes(result) == ["take-unused"]
    assert "takes/quai-1.wav" in result.findings[0].what


@pytest.mark.parametrize("name", ["Quay-1.wav", "quay_1.wav", "quay-01.wav", "quay1.wav"])
def test_a_take_with_a_slip_in_its_name_is_told_the_name_it_needs(tmp_path: Path, name: str) -> None:
    put(tmp_path / "takes" / name, speech_like(1.0))
    if (tmp_path / "takes" / "quay-1.wav").exists():
        pytest.skip("this file system takes large and small letters for the same")
    (finding,) = run(tmp_path, said()).findings
    assert (finding.code, "quay-1.wav" in finding.mend) == ("take-unused", True)


def test_a_take_in_a_format_that_takes_may_not_have_is_warned_of(tmp_path: Path) -> None:
    put(tmp_path / "takes" / "quay-1.wav", speech_like(1.0)).rename(tmp_path / "takes" / "quay-1.wma")
    (tmp_path / "takes" / "quay-1.txt").write_text("notes of the speaker's own")
    (finding,) = run(tmp_path, said()).findings
    assert (finding.severity, finding.code) == ("warning", "take-format")
    assert "takes/quay-1.wma" in finding.what and ".wav" in finding.mend


def test_a_second_run_reads_the_cache_and_a_new_recording_does_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    loaded: list[Path] = []
    load = lines.load_take
    monkeypatch.setattr(lines, "load_take", lambda path: loaded.append(path) or load(path))
    path = put(tmp_path / "takes" / "quay-1.wav", speech_like(1.0))
    one, two = run(tmp_path, said()), run(tmp_path, said())
    assert one == two
    assert len(loaded) == 1
    put(path, speech_like(1.4))
    assert run(tmp_path, said()).speech["quay", 1].samples > one.speech["quay", 1].samples
    assert len(loaded) == 2


def test_a_cut_off_cache_file_is_made_again(tmp_path: Path) -> None:
    put(tmp_path / "takes" / "quay-1.wav", speech_like(1.0))
    speech = run(tmp_path, said()).speech["quay", 1]
    assert speech.sound is not None
    speech.sound.write_bytes(speech.sound.read_bytes()[:-400])
    again = run(tmp_path, said()).speech["quay", 1]
    assert again == speech
    assert speech.sound.stat().st_size == 4 * speech.samples
    assert [path.suffix for path in speech.sound.parent.iterdir()].count(".f32") == 1


def test_two_runs_that_keep_the_same_line_at_once_both_succeed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = store.entry_name("take", "same")
    sync, others = os.fsync, [lambda: store.keep(tmp_path, name, speech_like(0.5))]

    def meanwhile(handle: int) -> None:
        sync(handle)
        if others:
            others.pop()()

    monkeypatch.setattr(os, "fsync", meanwhile)
    kept = store.keep(tmp_path, name, speech_like(0.5))
    assert not others
    assert store.find(tmp_path, name) == kept
    assert not list(tmp_path.rglob("*partial*"))


def test_a_full_disk_is_told_of_by_the_file_that_had_no_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    put(tmp_path / "takes" / "quay-1.wav", speech_like(1.0))

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(MissingPartError, match="no room left on the disk"):
        run(tmp_path, said())


@pytest.mark.skipif(not scratch.available(), reason="NOT CHECKED: the scratch voice is not installed")
def test_lines_without_a_take_are_spoken_and_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    steps: list[tuple[int, int]] = []
    whole = story(said(), said("Ash holds 60 fps."), voice="scratch")
    first = voice(whole, tmp_path, tmp_path / "cache", progress=lambda done, total: steps.append((done, total)))
    assert steps == [(1, 2), (2, 2)]
    assert codes(first) == []
    assert {speech.kind for speech in first.speech.values()} == {"scratch"}
    speech = first.speech["quay", 2]
    assert [word.text for word in speech.words] == ["Ash", "holds", "60", "fps."]
    assert speech.sound is not None
    assert speech.sound.stat().st_size == 4 * speech.samples
    monkeypatch.setattr(lines, "ScratchVoice", None)  # a second run needs no voice
    assert voice(whole, tmp_path, tmp_path / "cache") == first


def test_without_the_voice_lines_are_estimated_with_one_note(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scratch, "available", lambda: False)
    result = run(tmp_path, said(), said(), voice="scratch")
    assert [speech.kind for speech in result.speech.values()] == ["estimate", "estimate"]
    assert result.findings == (
        Finding(
            "note",
            "scratch-voice-missing",
            Place("story.yaml", 6, 3),
            "the scratch voice is not installed: lines without a take are silent and their lengths estimated",
            "pip install 'assembler[voice]'",
        ),
    )


@pytest.mark.skipif(not scratch.available(), reason="NOT CHECKED: the scratch voice is not installed")
def test_a_language_the_voice_lacks_is_noted_once(tmp_path: Path) -> None:
    result = run(tmp_path, said(), said(), voice="scratch", language="xx")
    assert codes(result) == ["scratch-voice-language"]
    assert {speech.kind for speech in result.speech.values()} == {"estimate"}


def test_a_pace_nobody_can_follow_is_warned_of(tmp_path: Path) -> None:
    assert codes(run(tmp_path, said(), voice="none", pace=230)) == []  # nothing is spoken at it
    if scratch.available():
        assert "pace-fast" in codes(run(tmp_path, said(), voice="scratch", pace=230))
