"""Captions re-timed by ear: whatever their own times say, they go where the words are said.

Real speech: the LibriVox samples inside pocketsphinx's source archive, which are not part of the project. Unpack it
(`pip download --no-binary :all: --no-deps pocketsphinx`) and name its folder in ASSEMBLER_REAL_SPEECH. The word times
beside the samples are pocketsphinx's own, so with them the test says that the whole way holds, not how well the
recogniser hears; the times where speech begins (.lab) are independent of it.
"""

from __future__ import annotations

import json
import os
import wave
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from scipy.signal import resample_poly

from assembler.captions.caption_file import FileCue
from assembler.captions.files import srt_text
from assembler.captions.hearing import resync
from assembler.captions.reading import read_captions
from assembler.cli.main import main
from assembler.narration import recogniser, scratch
from assembler.narration.scratch import ScratchVoice
from assembler.narration.spoken import spoken_form

RATE = 48_000
needs_recogniser = pytest.mark.skipif(not recogniser.available(), reason=f"NO RECOGNISER: {recogniser.INSTALL}")
needs_voice = pytest.mark.skipif(not scratch.available(), reason=f"NO SCRATCH VOICE: {scratch.INSTALL}")
REAL = Path(os.environ.get("ASSEMBLER_REAL_SPEECH", "/nowhere"))
LINES = (
    "Both machines run the same scene, from the same start.",
    "At 1440p the gap grows to a third of the frames.",
    "Look at the far wall, where textures arrive late.",
    "The upscaler hides most of it until something moves.",
    "Memory use never goes above 11 gigabytes in either mode.",
)
Sound = npt.NDArray[np.float32]


@pytest.fixture(scope="module")
def talk(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[FileCue]]:
    """A recording of all lines with pauses, and two captions a line at their exact times (the voice's own)."""
    parts: list[Sound] = [np.zeros(RATE, np.float32)]
    cues: list[FileCue] = []
    with ScratchVoice("en", speaker="en-us+m3") as reader:
        for number, line in enumerate(LINES):
            sound = reader.speak(spoken_form(line), 140)
            begin = sum(map(len, parts))
            tokens = spoken_form(line)
            half = len(tokens) // 2
            for a, b in ((0, half), (half, len(tokens))):
                start, end = begin + sound.words[a].start_sample, begin + sound.words[b - 1].end_sample
                text = " ".join(token.display for token in tokens[a:b])
                cues.append(FileCue(start * 1000 // RATE, end * 1000 // RATE, (text,)))
            parts += [sound.samples, np.zeros(RATE * (1 + number % 3) // 2, np.float32)]
    path = tmp_path_factory.mktemp("talk") / "talk.wav"
    write(path, np.concatenate(parts))
    return path, cues


@pytest.fixture(scope="module")
def heard(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What was heard, kept for all tests: they differ in the captions' times, which are not used to hear."""
    return tmp_path_factory.mktemp("heard")


def write(path: Path, samples: Sound) -> None:
    with wave.open(str(path), "wb") as out:
        out.setparams((1, 2, RATE, 0, "NONE", ""))
        out.writeframes(np.round(np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())


def wrong(cues: list[FileCue], *, shift_ms: int, drift: Fraction) -> list[FileCue]:
    return [
        FileCue(shift_ms + round(cue.start_ms * drift), shift_ms + round(cue.end_ms * drift), cue.lines, number)
        for number, cue in enumerate(cues, 1)
    ]


@needs_recogniser
@needs_voice
@pytest.mark.parametrize(
    ("shift_ms", "drift"), [(185_000, Fraction(1)), (2_000, Fraction(6, 5)), (0, Fraction(24, 25))]
)
def test_captions_minutes_off_or_drifting_go_to_their_words(
    talk: tuple[Path, list[FileCue]], heard: Path, shift_ms: int, drift: Fraction
) -> None:
    path, right = talk
    found = resync(wrong(right, shift_ms=shift_ms, drift=drift), path, heard)
    off = [abs(each.start_ms - cue.start_ms) for each, cue in zip(found, right, strict=True)]
    assert sum(ms <= 80 for ms in off) >= 0.9 * len(off), off
    assert max(off) <= 300, off
    assert [each.cue.lines for each in found] == [cue.lines for cue in right]
    for one, other in pairwise(found):
        assert one.start_ms < one.end_ms <= other.start_ms
    assert sum(bool(each.unsure) for each in found) <= 2


@needs_recogniser
@needs_voice
def test_cues_that_are_not_said_are_told_of_and_stay_between_their_neighbours(
    talk: tuple[Path, list[FileCue]], tmp_path: Path
) -> None:
    path, right = talk
    cues = wrong(right, shift_ms=60_000, drift=Fraction(1))
    stranger = FileCue(cues[7].end_ms + 20, cues[7].end_ms + 300, ("Nobody ever sings to seventeen elephants",))
    rain = FileCue(cues[3].end_ms + 20, cues[3].end_ms + 250, ("[rain]",))
    listed = sorted([*cues, stranger, rain], key=lambda cue: cue.start_ms)
    found = resync(listed, path, tmp_path)
    doubts = {each.cue.lines: each.unsure for each in found}
    assert "heard" in doubts[stranger.lines]
    assert "no words" in doubts[rain.lines]
    at = listed.index(stranger)
    assert found[at - 1].end_ms <= found[at].start_ms <= found[at + 1].start_ms
    off = [abs(each.start_ms - cue.start_ms) for each, cue in zip(
        [each for each in found if each.cue in cues], right, strict=True)]  # fmt: skip
    assert sum(ms <= 80 for ms in off) >= 0.8 * len(off), off


@needs_recogniser
@needs_voice
def test_the_command_writes_the_file_and_lists_what_to_listen_to(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with ScratchVoice("en") as reader:
        sound = reader.speak(spoken_form(LINES[0]), 150)
    write(tmp_path / "talk.wav", np.concatenate((np.zeros(RATE, np.float32), sound.samples)))
    captions = tmp_path / "talk.srt"
    captions.write_text(srt_text([(9000, 11_000, (f"<i>{LINES[0]}</i>",)), (12_000, 13_000, ("[applause]",))]))
    assert main(["retime", str(captions), "--to", str(tmp_path / "talk.wav")]) == 0
    shown = capsys.readouterr()
    assert "listen: it has no words to hear it by" in shown.out
    assert "1 not sure" in shown.err
    assert (tmp_path / "talk.before.srt").is_file()
    new = read_captions(captions.read_bytes(), captions.name).cues
    assert [cue.lines for cue in new] == [(f"<i>{LINES[0]}</i>",), ("[applause]",)]
    assert abs(new[0].start_ms - 1000 - sound.words[0].start_sample * 1000 // RATE) <= 80


def test_only_english_is_promised(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    captions = tmp_path / "de.srt"
    captions.write_text("1\n00:00:01,000 --> 00:00:02,000\nHallo\n")
    assert main(["retime", str(captions), "--to", str(tmp_path / "x.wav")]) == 2
    assert "only English" in capsys.readouterr().err


@needs_recogniser
@pytest.mark.skipif(
    not any(REAL.rglob("librivox/*.wav")), reason="NO REAL SPEECH: name the folder in ASSEMBLER_REAL_SPEECH"
)
def test_real_speech_starts_cues_within_80_ms_of_their_words(tmp_path: Path) -> None:
    parts: list[Sound] = []
    words: list[list[tuple[str, float]]] = []
    begins: list[float] = []
    for path in sorted(REAL.rglob("librivox/*.wav")):
        with wave.open(str(path)) as source:
            data = np.frombuffer(source.readframes(source.getnframes()), "<i2").astype(np.float64) / 32768
            sound = resample_poly(data, RATE, source.getframerate()).astype(np.float32)
        at = sum(map(len, parts)) / RATE
        told = [one for one in json.loads(path.with_suffix(".json").read_text())["w"] if one["t"][0] not in "<["]
        words.append([(one["t"].partition("(")[0], at + one["b"]) for one in told])
        begins.append(at + float(path.with_suffix(".lab").read_text().split()[0]))
        parts += [sound, np.zeros(RATE // 2, np.float32)]
    recording = tmp_path / "real.wav"
    write(recording, np.concatenate(parts))
    off: list[float] = []
    for size in (2, 5):
        cues, right, first_of = [], [], []
        for sample in words:
            first_of.append(len(cues))
            for at in range(0, len(sample), size):
                some = sample[at : at + size]
                right.append(some[0][1])
                wrong_ms = 240_000 + round(some[0][1] * 1100)
                cues.append(FileCue(wrong_ms, wrong_ms + 400, (" ".join(word for word, _ in some),)))
        found = resync(cues, recording, tmp_path)
        off += [abs(each.start_ms / 1000 - start) for each, start in zip(found, right, strict=True)]
        # Independent of the recogniser: each sample's first cue against where speech begins in it.
        edges = [abs(found[number].start_ms / 1000 - begin) for number, begin in zip(first_of, begins, strict=True)]
        assert max(edges) <= 0.08, edges
    assert len(off) >= 50
    assert sum(seconds <= 0.08 for seconds in off) >= 0.95 * len(off), off
