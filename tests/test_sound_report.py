"""What `check` and `draft` say of a project's sound, against the FFmpeg program's reading of the finished draft."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assembler.cli.main import main
from assembler.sound import store
from tests.media_maker import Sound, write_clip, write_sound
from tests.sound_maker import RATE, Array, babble, ebur128

pytestmark = pytest.mark.usefixtures("unheard_takes")

HEAD = """\
storyboard: 1
title: Sound
canvas: {size: 160x90, rate: 24}
captures: {quay: {file: quay.mp4}}
narration: {voice: none}
"""
SEGMENTS = """\
segments:
  - {id: one, lasts: 5 s, say: First the harbour and then the quay., show: {full: quay}, hear: quay}
  - {id: two, lasts: 3 s, show: {full: {capture: quay, from: 4 s}}}
"""


def stereo(mono: Array) -> Array:
    return np.stack((mono, mono), axis=1)


def bangs(length_s: float) -> Array:
    """Noise with bangs that reach full scale."""
    random = np.random.default_rng(9)
    sound = stereo(babble(length_s, 0.1, 6))
    for bang in random.integers(0, round(length_s * RATE) - 2400, round(length_s * 3)):
        burst = 0.9 * random.standard_normal((2400, 2)) * np.exp(-np.arange(2400) / 400)[:, None]
        sound[bang : bang + 2400] += burst.astype(np.float32)
    return np.clip(sound, -1, 1)


@pytest.fixture
def project(tmp_path: Path) -> Path:
    folder = tmp_path / "project"
    (folder / "takes").mkdir(parents=True)
    write_clip(folder / "quay.mp4", pictures=192, rate=24, sound=Sound(stereo(babble(8, 0.1, 4)), codec="aac"))
    write_sound(folder / "takes" / "one-1.wav", Sound(babble(4, 0.1)))
    return folder


def check(
    project: Path, capsys: pytest.CaptureFixture[str], sound: str = "", segments: str = SEGMENTS
) -> dict[str, Any]:
    """What `check --json` prints."""
    (project / "storyboard.yaml").write_text(HEAD + sound + segments, encoding="utf-8")
    capsys.readouterr()
    main(["check", str(project), "--json"])
    said = json.loads(capsys.readouterr().out)
    assert isinstance(said, dict)
    return said


def coded(said: dict[str, Any], code: str) -> list[dict[str, Any]]:
    return [found for found in said["findings"] if found["code"] == code]


@pytest.mark.parametrize(
    ("sound", "lufs", "peak"),
    [
        ("", -14, -1),
        ("sound: {loudness: broadcast-r128, peak: -3 dBTP}\n", -23, -3),
        ("sound: {loudness: -16}\n", -16, -1),
    ],
)
def test_a_loud_draft_meets_its_target_as_another_meter_reads_the_coded_file(
    project: Path, capsys: pytest.CaptureFixture[str], sound: str, lufs: float, peak: float
) -> None:
    write_clip(project / "quay.mp4", pictures=192, rate=24, sound=Sound(bangs(8), codec="aac"))
    foreseen = check(project, capsys, sound)["sound"]
    assert main(["draft", str(project), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["sound"]
    # Source: the ebur128 filter of the FFmpeg program that imageio-ffmpeg carries, on the AAC that the draft holds.
    loudness, highest = ebur128(project / "out" / "draft.mp4")
    assert loudness == pytest.approx(lufs, abs=0.2)
    assert highest <= peak
    for report in (foreseen, told):
        assert (report["target_lufs"], report["limit_dbtp"]) == (lufs, peak)
    # What is told of a draft is what its file holds, read off to one decimal; what is foreseen is not coded yet.
    assert told["programme_lufs"] == pytest.approx(loudness, abs=0.06)
    assert told["true_peak_dbtp"] == pytest.approx(highest, abs=0.2)
    assert foreseen["programme_lufs"] == pytest.approx(lufs, abs=0.1)
    assert foreseen["true_peak_dbtp"] == pytest.approx(highest, abs=1.3)


def test_a_capture_too_near_the_voice_is_found_and_the_gain_offered_mends_it(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_clip(project / "quay.mp4", pictures=192, rate=24, sound=Sound(stereo(babble(8, 0.3, 4)), codec="aac"))
    (near,) = coded(check(project, capsys), "background-near")
    # Source of the distance: Torcoli et al., JAES 67(12), 2019: 15 LU between commentary and ambience.
    assert "at least 15 LU" in near["what"] and "'one'" in near["what"]
    assert near["severity"] == "warning"
    assert (HEAD + SEGMENTS).splitlines()[near["line"] - 1].lstrip().startswith("- {id: one")
    offered = re.search(r"`(hear: \{[^`]*\})`", near["mend"])
    assert offered is not None
    mended = check(project, capsys, segments=SEGMENTS.replace("hear: quay", offered[1]))
    assert coded(mended, "background-near") == []
    # By hand: no more is asked for than to the next whole decibel.
    heard = mended["sound"]["segments"][0]
    assert 15 <= heard["speech_lufs"] - heard["captures_lufs"] < 16.1
    lowered = re.search(r"`(sound: \{duck: -\d+ dB\})`", near["mend"])
    assert lowered is not None
    deeper = check(project, capsys, sound=lowered[1] + "\n")
    assert coded(deeper, "background-near") == []


def test_music_too_near_the_voice_is_found_at_its_own_place(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_sound(project / "tide.flac", Sound(stereo(babble(9, 0.05, 8)), codec="flac"))
    plain = SEGMENTS.replace(", hear: quay", "")
    # By hand: 4 LU below the narration and 12 dB lower under it is some 16 LU; 8 dB more is too near.
    assert coded(check(project, capsys, "sound: {music: {file: tide.flac}}\n", plain), "background-near") == []
    (near,) = coded(check(project, capsys, "sound: {music: {file: tide.flac, gain: 8 dB}}\n", plain), "background-near")
    assert "tide.flac" in near["what"] and "at least 10 LU" in near["what"]
    assert near["line"] == 6
    offered = re.search(r"`gain: (-?\d+) dB`", near["mend"])
    assert offered is not None
    music = f"sound: {{music: {{file: tide.flac, gain: {offered[1]} dB}}}}\n"
    assert coded(check(project, capsys, music, plain), "background-near") == []


def test_music_that_is_missing_unreadable_mute_or_too_short_is_said_so(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_sound(project / "short.wav", Sound(stereo(babble(3, 0.05, 8))))
    write_clip(project / "mute.mp4", pictures=10)
    (project / "noise.wav").write_bytes(b"not sound at all" * 9)
    files = ("gone.wav", "noise.wav", "mute.mp4", "short.wav")
    sound = "sound:\n  music:\n" + "".join(f"    - {{file: {name}}}\n" for name in files)
    said = check(project, capsys, sound + "    - {file: short.wav, from: 4 s}\n    - {file: short.wav, loop: true}\n")
    found = {(each["line"], each["code"]) for each in said["findings"] if each["code"] not in ("background-near",)}
    assert {(8, "file-missing"), (9, "music-unreadable"), (10, "music-unreadable"), (11, "music-too-short"),
            (12, "music-too-short")} <= found  # fmt: skip
    assert not any(line == 13 for line, _ in found)
    assert main(["draft", str(project)]) == 1
    assert "gone.wav" in capsys.readouterr().err


def test_a_draft_may_not_take_the_place_of_music(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_clip(project / "song.mp4", pictures=10, sound=Sound(stereo(babble(9, 0.05, 8)), codec="aac"))
    check(project, capsys, "sound: {music: {file: song.mp4}}\n")
    assert main(["draft", str(project), "--out", str(project / "song.mp4")]) == 2


def test_a_programme_is_listened_to_once_and_again_after_a_change(
    project: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    listened: list[int] = []
    measure = store.measure

    def counting(*args: object, **more: object) -> object:
        listened.append(1)
        return measure(*args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(store, "measure", counting)
    first = check(project, capsys)["sound"]
    assert check(project, capsys)["sound"] == first
    assert len(listened) == 1
    for changed in ("sound: {duck: -20 dB}\n", "sound: {loudness: podcast}\n"):
        assert check(project, capsys, changed)["sound"] != first
    write_sound(project / "takes" / "one-1.wav", Sound(babble(4, 0.1, 7)))
    assert check(project, capsys)["sound"] != first
    assert len(listened) == 4
    for stored in (project / ".assembler" / "sound").glob("*.levels"):
        stored.write_bytes(b"damaged")
    check(project, capsys)
    assert len(listened) == 5


def test_narration_alone_captures_alone_and_silence_are_all_mixed(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    alone = check(project, capsys, segments=SEGMENTS.replace(", hear: quay", ""))["sound"]
    assert (alone["captures_lufs"], alone["background_lufs"], alone["speech_over_background_lu"]) == (None, None, None)
    assert alone["programme_lufs"] == pytest.approx(-14, abs=0.1)
    unspoken = check(project, capsys, segments=SEGMENTS.replace("say: First the harbour and then the quay., ", ""))
    assert unspoken["sound"]["narration_lufs"] is None
    assert unspoken["sound"]["programme_lufs"] == pytest.approx(-14, abs=0.1)
    segments = SEGMENTS.replace("say: First the harbour and then the quay., ", "").replace(", hear: quay", "")
    silent = check(project, capsys, segments=segments)
    assert silent["sound"]["programme_lufs"] is None
    assert silent["sound"]["true_peak_dbtp"] is None
    assert main(["check", str(project)]) == 0
    assert "sound: silent" in capsys.readouterr().out
    assert main(["draft", str(project)]) == 0


@pytest.mark.parametrize(("channels", "rate", "layout"), [(1, 44_100, None), (2, 44_100, None), (6, 48_000, "5.1")])
def test_captures_of_any_layout_and_rate_are_mixed(
    project: Path, capsys: pytest.CaptureFixture[str], channels: int, rate: int, layout: str | None
) -> None:
    at = np.arange(8 * rate) / rate
    wave = (0.1 * np.sin(2 * np.pi * 1000 * at)).astype(np.float32)
    sound = Sound(np.stack([wave] * channels, axis=1), rate=rate, codec="flac", layout=layout)
    write_clip(project / "quay.mkv", pictures=192, rate=24, sound=sound)
    segments = SEGMENTS.replace("say: First the harbour and then the quay., ", "")
    (project / "quay.mp4").unlink()
    (project / "storyboard.yaml").write_text((HEAD + segments).replace("quay.mp4", "quay.mkv"), encoding="utf-8")
    assert main(["draft", str(project)]) == 0
    loudness, peak = ebur128(project / "out" / "draft.mp4")
    assert loudness == pytest.approx(-14, abs=0.2)
    assert peak <= -1


def test_a_programme_too_quiet_to_be_raised_is_said_so(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_clip(project / "quay.mp4", pictures=192, rate=24, sound=Sound(stereo(babble(8, 0.002, 4)), codec="aac"))
    segments = SEGMENTS.replace("say: First the harbour and then the quay., ", "")
    (quiet,) = coded(check(project, capsys, segments=segments), "programme-quiet")
    assert "of -14 LUFS" in quiet["what"]


def test_check_says_the_sound_in_one_line(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    check(project, capsys)
    assert main(["check", str(project)]) == 0
    (line,) = [line for line in capsys.readouterr().out.splitlines() if line.startswith("sound")]
    assert re.fullmatch(
        r"sound \(foreseen\): -1\d\.\d LUFS \(wanted -14\), true peak -\d\.\d dBTP \(at most -1\); "
        r"narration alone -\d+\.\d LUFS, background alone -\d+\.\d LUFS, "
        r"\d+\.\d LU under the voice while it speaks",
        line,
    )
    # What a draft tells is read off its file; a piece of a programme has no loudness of its own that is aimed at.
    assert main(["draft", str(project)]) == 0
    told = re.search(r"sound \(measured\): (-\d+\.\d) LUFS \(wanted -14\), true peak", capsys.readouterr().err)
    assert told is not None
    assert float(told[1]) == pytest.approx(-14, abs=0.2)
    assert main(["draft", str(project), "--to", "4 s"]) == 0
    assert re.search(r"sound \(measured, of this piece\): -\d+\.\d LUFS, true peak", capsys.readouterr().err)
