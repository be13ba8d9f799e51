"""Sound and picture stay together over twenty minutes, and a spoken word is heard when the timeline says."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from media_maker import Sound, tone, write_clip

from assembler.cli.main import main
from assembler.prepare import prepare

MINUTES = 20
RATE = 24
FLASHES_S = (1, 5 * 60 + 3, 10 * 60, 15 * 60 + 7, 20 * 60 - 3)
RATE_OF_SOUND = 48_000


def luma_means(path: Path) -> np.ndarray:
    """(frames,) mean luma of every frame."""
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        return np.array([np.frombuffer(f.planes[0], np.uint8).mean() for f in container.decode(stream)])


def loudest(path: Path) -> np.ndarray:
    """(samples,) the sound's magnitude at 48 kHz, the louder of both channels, as a player hears it."""
    blocks = []
    with av.open(str(path)) as container:
        for frame in container.decode(audio=0):
            samples = np.abs(frame.to_ndarray()).max(axis=0)
            start = round(frame.pts * frame.time_base * RATE_OF_SOUND)
            blocks.append(samples[max(0, -start) :])
    return np.concatenate(blocks)


@pytest.fixture(scope="module")
def programme(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A capture that starts late on its own clock, with a flash and a beep at known moments."""
    folder = tmp_path_factory.mktemp("long")
    (folder / "footage").mkdir()
    seconds = MINUTES * 60
    beeps = np.zeros((seconds * RATE_OF_SOUND, 1), np.float32)
    for at in FLASHES_S:
        beep = tone(1000, seconds=0.2, level=0.5)
        beeps[at * RATE_OF_SOUND : at * RATE_OF_SOUND + len(beep)] = beep
    lit = {at * 15 + k for at in FLASHES_S for k in range(3)}
    flat = {on: np.full((90, 160), 200 if on else 40, np.uint8) for on in (False, True)}
    grey = [np.full((45, 80), 128, np.uint8)] * 2
    late = Fraction(2, 5)  # on the grid of its 15 pictures a second
    write_clip(
        folder / "footage" / "long.mp4", pictures=seconds * 15, rate=15, start_s=late,
        options={"preset": "ultrafast", "g": "60"}, draw=lambda n, w, h: [flat[n in lit], *grey],
        sound=Sound(beeps, codec="aac", start_s=late),
    )  # fmt: skip
    (folder / "storyboard.yaml").write_text(
        f"storyboard: 1\ntitle: long\ncanvas: {{size: 160x90, rate: {RATE}}}\n"
        "captures: {long: {file: footage/long.mp4}}\nnarration: {voice: none}\nsegments:\n"
        + "".join(
            f"  - {{id: s{k}, lasts: 2 min, show: {{full: {{capture: long, from: {2 * k} min, label: false}}}}, "
            "hear: long}\n"
            for k in range(MINUTES // 2)
        )
    )
    assert main(["draft", str(folder), "--no-marks"]) == 0
    return folder / "out" / "draft.mp4"


def test_flash_and_beep_stay_within_half_a_frame_and_five_milliseconds(programme: Path) -> None:
    means, heard = luma_means(programme), loudest(programme)
    assert len(means) == MINUTES * 60 * RATE
    lit = np.flatnonzero(np.diff((means > 120).astype(int)) == 1) + 1
    assert len(lit) == len(FLASHES_S)
    for at, frame in zip(FLASHES_S, lit, strict=True):
        window = heard[at * RATE_OF_SOUND - 12_000 : at * RATE_OF_SOUND + 12_000]
        onset = int(np.argmax(window > 0.3 * window.max())) - 12_000
        assert abs(int(frame) / RATE - at) <= 0.5 / RATE
        assert abs(onset / RATE_OF_SOUND) <= 0.005
        assert abs(int(frame) / RATE - at - onset / RATE_OF_SOUND) <= 0.5 / RATE


def test_a_scratch_word_is_heard_within_ten_milliseconds_of_its_time(tmp_path: Path) -> None:
    pytest.importorskip("espeakng_loader", reason="the scratch voice is not installed")
    text = "Apples, after, eight, all."  # each after a pause, each with an onset that can be seen
    (tmp_path / "storyboard.yaml").write_text(
        "storyboard: 1\ntitle: words\ncanvas: {size: 160x90, rate: 59.94}\nsegments:\n"
        f"  - {{id: one, lasts: 6 s, show: {{card: {{title: one, motion: still}}}}, say: 'Ready.'}}\n"
        f"  - {{id: two, lasts: fit, show: {{card: {{title: two, motion: still}}}}, say: ['{text}', '{text}']}}\n"
    )
    assert main(["draft", str(tmp_path), "--no-marks", "--no-captions"]) == 0
    heard = loudest(tmp_path / "out" / "draft.mp4")
    timeline = prepare(tmp_path).timeline
    lines = [line for placed in timeline.segments for line in placed.lines]
    assert len(lines) == 3
    found = []
    for line in lines:
        for word in line.speech.words:
            start = line.start_sample + word.start_sample
            window = heard[start - 2400 : start + 7200]
            quiet = window[:1400].max()
            assert quiet < 0.05 * window.max()  # it does follow a pause
            onset = int(np.argmax(window > max(0.03 * window.max(), 1.5 * quiet))) - 2400
            found.append(onset / RATE_OF_SOUND)
    assert len(found) == 9
    assert max(map(abs, found)) <= 0.010, found
