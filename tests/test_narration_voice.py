"""The scratch voice: one time for every written word, in a process that can be lost without harm."""

from __future__ import annotations

import itertools
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from assembler.errors import MissingPartError, NarrationError
from assembler.narration import scratch, voice_worker
from assembler.narration.scratch import ScratchVoice, available, voice_names, words_a_minute
from assembler.narration.words import split_words

needs_voice = pytest.mark.skipif(
    not available(), reason="NOT CHECKED: the scratch voice is not installed; pip install 'assembler[voice]'"
)

LINES = (
    "Two machines, one harbour at dusk.",
    "Ash holds 60 frames a second, while Birch drops to 41.5 fps near the water.",
    "At 1440p the difference is 16.7 ms; at 3840x2160 it is gone.",
    "In the first scene, on the quay, both draw 1080p60 with HDR10.",
    "What changes? Only the far wall. And the boats.",
    "Compare A & B: textures < 26 % smaller, it's \"sharper\" (v1.10) — or is it?",
    "The 1% low, i.e. the 99th percentile, of the U.S. build is 40-50 fps vs. 30.",
    "4:2:0 at 10-bit, 203 nits, 120Hz, 2.5x, -14 LUFS, 1,234 pictures, #1 of 3.",
    "Naïve café façades: anti-aliasing at the edge of the in-between, on the one of the ones.",
)


@needs_voice
def test_every_written_word_has_its_own_time() -> None:
    with ScratchVoice() as voice:
        for line in LINES:
            words = split_words(line)
            spoken = voice.speak(words, 160)
            assert tuple(word.text for word in spoken.words) == words
            edges = [edge for word in spoken.words for edge in (word.start_sample, word.end_sample)]
            assert edges == sorted(edges)
            assert min((word.end_sample - word.start_sample, word.text) for word in spoken.words) > (480, "")
            assert edges[-1] <= spoken.samples.size
            assert spoken.samples.dtype == np.float32


@needs_voice
def test_every_two_words_side_by_side_are_timed() -> None:
    # A capital after a full stop, a bracket, a sign: any neighbour may swallow a mark.
    pieces = ("the", "The", "end.", "No!", "(60", "fps)", "A", "—", '"so"', "1440p.", "I.", "U.S.", "<b>", "50%")
    with ScratchVoice() as voice:
        for pair in itertools.product(pieces, repeat=2):
            words = split_words(f"now {pair[0]} {pair[1]} then")
            assert len(voice.speak(words, 160).words) == len(words), pair


@needs_voice
def test_a_word_after_a_pause_sounds_when_its_time_says() -> None:
    # Outside source: the sound's own energy. Words that begin with a vowel or `l` sound at once; a plosive or `th` is
    # silent at first.
    line = "First the harbour. Every one of them. Look at the quay. All is well."
    with ScratchVoice() as voice:
        spoken = voice.speak(split_words(line), 160)
    onsets = {word.text: word.start_sample for word in spoken.words if word.text in ("Every", "Look", "All")}
    assert len(onsets) == 3
    for said in onsets.values():
        loud = np.flatnonzero(np.abs(spoken.samples[said - 4_800 : said + 4_800]) > 0.01)
        assert 4_800 - 480 <= loud[0] <= 4_800 + 480  # 100 ms of silence before, sound within 10 ms


@needs_voice
@pytest.mark.parametrize("speaker", ["en-us", "gmw/en", "gmw/en-GB-x-rp", "en-us+m3"])
def test_the_pause_before_and_and_or_belongs_to_no_word(speaker: str) -> None:
    # Outside source: the sound's own energy. The voice pauses before these words without being told to.
    line = "Both Ash and Birch run or walk because of the boat and back."
    with ScratchVoice(speaker=speaker) as voice:
        spoken = voice.speak(split_words(line), 160)
    joining = [n for n, word in enumerate(spoken.words) if word.text in ("and", "or")]
    assert len(joining) == 3
    gaps = [(spoken.words[n].start_sample - spoken.words[n - 1].end_sample) / 48 for n in joining]
    assert min(gaps) > 60  # ms
    for n in joining:
        start = spoken.words[n].start_sample
        loud = np.flatnonzero(np.abs(spoken.samples[start - 2_400 : start + 4_800]) > 0.01)
        assert 2_400 - 480 <= loud[0] <= 2_400 + 480  # 50 ms of silence before, sound within 10 ms


@needs_voice
@pytest.mark.parametrize("line", ["Hang on, the phone is ringing.", "Hang on.", "So hang on, on the quay hang on."])
def test_words_that_an_accent_runs_together_without_a_mark_are_timed(line: str) -> None:
    # This accent of the voice gives no mark for `on` in "hang on", and refused such lines.
    with ScratchVoice(speaker="gmw/en-GB-x-gbcwmd") as voice:
        said = voice.speak(line.split(), 150)
    assert [word.text for word in said.words] == line.split()
    edges = [edge for word in said.words for edge in (word.start_sample, word.end_sample)]
    assert edges == sorted(edges) and edges[-1] <= said.samples.size
    assert all(word.end_sample - word.start_sample >= 2400 for word in said.words)  # no word takes less than 50 ms


@needs_voice
def test_sound_and_times_are_brought_from_the_voices_rate_to_48_khz() -> None:
    request = json.dumps({"words": ["Two", "machines."], "rate": 142, "voice": "en-us"}) + "\n"
    command = [sys.executable, "-m", "assembler.narration.voice_worker"]
    answer = subprocess.run(command, input=request.encode(), capture_output=True, timeout=30, check=True).stdout
    head = json.loads(answer.split(b"\n", 1)[0])
    with ScratchVoice() as voice:
        spoken = voice._speak(["Two", "machines."], 142)
    # By hand: 48000 / rate, to the sample.
    assert spoken.samples.size == pytest.approx(head["bytes"] / 2 * 48_000 / head["rate"], abs=1)
    for word, (start, end) in zip(spoken.words, head["marks"], strict=True):
        assert word.start_sample == pytest.approx(start * 48_000 / head["rate"], abs=1)
        assert word.end_sample == pytest.approx(end * 48_000 / head["rate"], abs=1)


@needs_voice
def test_silence_at_both_ends_is_cut() -> None:
    with ScratchVoice() as voice:
        for line in LINES:
            loud = np.flatnonzero(np.abs(spoken := voice.speak(split_words(line), 160).samples) > 0.01)
            assert loud[0] <= 0.03 * 48_000
            assert spoken.size - loud[-1] <= 0.2 * 48_000


@needs_voice
@pytest.mark.parametrize("pace", [130, 160, 190])
def test_technical_lines_are_spoken_at_about_the_pace_asked_for(pace: int) -> None:
    # Spoken words counted (60 fps is four), all lines together. The tolerance is common practice, no source.
    with ScratchVoice() as voice:
        words = [word for line in LINES[:5] for word in split_words(line)]
        samples = sum(voice.speak(split_words(line), pace).samples.size for line in LINES[:5])
    assert words_a_minute(words, samples) == pytest.approx(pace, rel=0.15)


@needs_voice
def test_the_same_line_is_the_same_sound_in_another_process() -> None:
    with ScratchVoice() as first, ScratchVoice() as second:
        second.speak(["something", "else"], 160)
        one, two = (voice.speak(split_words(LINES[1]), 160) for voice in (first, second))
    np.testing.assert_array_equal(one.samples, two.samples)
    assert one.words == two.words


@needs_voice
def test_a_language_without_a_voice_is_said_so() -> None:
    assert voice_names("en-GB")[0] == "gmw/en"
    assert voice_names("de-AT") == ("de-at", "de")
    with ScratchVoice("de-AT") as voice:
        assert voice.speak(["Hafen"], 160).samples.size > 4_800
    with ScratchVoice("xx") as voice, pytest.raises(LookupError):
        voice.speak(["word"], 160)


@needs_voice
def test_a_voice_that_hangs_is_ended_and_the_next_line_spoken(monkeypatch: pytest.MonkeyPatch) -> None:
    with ScratchVoice(timeout_s=1.0) as voice:
        voice.speak(["one"], 160)
        assert voice._process.pid is not None
        os.kill(voice._process.pid, signal.SIGSTOP)
        with pytest.raises(NarrationError, match="did not answer within 1 s"):
            voice.speak(["two"], 160)
        assert voice.speak(["three"], 160).samples.size > 4_800


@needs_voice
def test_the_voice_ends_with_whoever_started_it() -> None:
    program = (
        "import os\n"
        "from assembler.narration.scratch import ScratchVoice\n"
        "voice = ScratchVoice()\n"
        "voice.speak(['word'], 160)\n"
        "print(voice._process.pid, flush=True)\n"
        "os._exit(1)\n"  # no clean-up of any kind runs
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=30, check=False)
    worker = int(done.stdout)
    deadline = time.monotonic() + 8
    while _alive(worker) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not _alive(worker)


def _alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    # An orphan that has ended may wait for somebody to collect it.
    return Path(f"/proc/{process}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()[0] != "Z"


def test_a_missing_voice_is_said_with_its_mend(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scratch, "available", lambda: False)
    with pytest.raises(MissingPartError, match="not installed") as raised:
        ScratchVoice()
    assert "assembler[voice]" in raised.value.problems[0].mend


def test_the_voice_library_never_enters_this_process() -> None:
    program = (
        "import sys, assembler.narration.lines\n"
        "print(any('espeak' in name for name in sys.modules))\n"
        "print(any('espeak' in row for row in open('/proc/self/maps')))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=30, check=True)
    assert done.stdout.split() == ["False", "False"]


def test_words_that_the_voice_runs_together_are_parted_by_their_sounds() -> None:
    # By hand: "from the" is one row of sounds, and the article begins with `D`, "of a" where the vowel is that is not
    # the other word's. Numbers are samples.
    from_the = [(13, "f"), (94, "r"), (147, "V"), (179, "m"), (251, "D"), (298, "@2")]
    alone = {"from": "frVm", "the": "D@2", "of": "Vv", "a": "'eI", "was": "wVz"}
    assert voice_worker._parted([0, 345, 345], ("from", "the"), from_the, alone) == [0, 251, 345]
    was_the = [(0, "w"), (78, "V"), (125, "z"), (200, "D"), (247, "@2")]
    assert voice_worker._parted([0, 290, 290], ("was", "the"), was_the, alone) == [0, 200, 290]
    of_a = [(32, "@"), (58, "v"), (107, "@")]
    assert voice_worker._parted([0, 140, 140], ("of", "a"), of_a, alone) == [0, 107, 140]
    assert voice_worker._parted([0, 140, 140], ("of", "a"), [], alone) == [0, 140, 140]
