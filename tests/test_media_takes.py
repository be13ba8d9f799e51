"""Takes of any format come in as mono at 48 kHz, trimmed and faded; hopeless ones are refused clearly."""

from __future__ import annotations

import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from media_maker import Array, Sound, tone, write_sound

from assembler.errors import MediaError
from assembler.media import sound as sound_door
from assembler.media.takes import FADE_MS, KEEP_MS, load_take, trimmed_take


def silence(seconds: float, rate: int = 48_000) -> Array:
    return np.zeros((round(seconds * rate), 1), np.float32)


@pytest.mark.parametrize(
    ("name", "coder", "rate"),
    [
        ("a.wav", "pcm_s16le", 48_000),
        ("a.wav", "pcm_f32le", 44_100),
        ("a.wav", "pcm_s24le", 96_000),
        ("a.flac", "flac", 44_100),
        ("a.mp3", "libmp3lame", 44_100),
        ("a.ogg", "libopus", 48_000),
        ("a.m4a", "aac", 48_000),
        ("a.mkv", "flac", 48_000),
    ],
)
def test_silence_around_the_words_goes_and_a_little_stays(tmp_path: Path, name: str, coder: str, rate: int) -> None:
    samples = np.concatenate([silence(0.5, rate), tone(440, seconds=1, rate=rate), silence(0.7, rate)])
    take = trimmed_take(write_sound(tmp_path / name, Sound(samples, rate=rate, codec=coder)))
    assert take.samples.dtype == np.float32 and take.samples.ndim == 1
    kept_s = len(take.samples) / 48_000
    assert 1 + 2 * 0.01 <= kept_s <= 1 + 2 * (KEEP_MS + 15) / 1000  # lossy coding smears the edges by some ms
    assert float(take.lead_s) == pytest.approx(0.5 - KEEP_MS / 1000, abs=0.03)
    assert np.abs(take.samples).max() == pytest.approx(0.5, rel=0.1)
    assert np.array_equal(load_take(tmp_path / name), take.samples)


def test_what_is_cut_and_what_is_left_add_up(tmp_path: Path) -> None:
    samples = np.concatenate([silence(0.3), tone(300, seconds=0.4), silence(0.25)])
    take = trimmed_take(write_sound(tmp_path / "a.wav", Sound(samples)))
    assert take.lead_s + take.tail_s + Fraction(len(take.samples), 48_000) == Fraction(len(samples), 48_000)
    start = round(take.lead_s * 48_000) + FADE_MS * 48
    inner = take.samples[FADE_MS * 48 : -FADE_MS * 48]
    assert np.abs(inner - samples[start : start + len(inner), 0]).max() < 1e-4  # 16-bit file


def test_edges_fade_from_and_to_nothing(tmp_path: Path) -> None:
    level = load_take(write_sound(tmp_path / "a.wav", Sound(np.full((24_000, 1), 0.5, np.float32))))
    assert len(level) == 24_000  # nothing to trim
    assert abs(level[0]) < 0.01 and abs(level[-1]) < 0.01
    assert np.all(np.diff(level[: FADE_MS * 48 - 48]) >= -1e-6)
    assert level[12_000] == pytest.approx(0.5, abs=1e-4)


def test_level_changes_by_decibels_and_over_full_scale_does_not_wrap(tmp_path: Path) -> None:
    path = write_sound(tmp_path / "a.wav", Sound(tone(440, seconds=0.5, level=1.5), codec="pcm_f32le"))
    assert np.abs(load_take(path)).max() == pytest.approx(1.5, rel=1e-3)
    # By definition: -6.0206 dB halves.
    assert np.abs(trimmed_take(path, gain_db=-6.0206).samples).max() == pytest.approx(0.75, rel=1e-3)


def test_two_channels_become_one_by_their_mean(tmp_path: Path) -> None:
    left = tone(440, seconds=0.5, level=0.8)
    both = np.concatenate([left, 0 * left], axis=1)
    assert np.abs(load_take(write_sound(tmp_path / "a.wav", Sound(both)))).max() == pytest.approx(0.4, abs=1e-3)


def test_a_tenth_of_a_second_is_a_take(tmp_path: Path) -> None:
    assert len(load_take(write_sound(tmp_path / "a.wav", Sound(tone(440, seconds=0.1))))) == 4800


def test_takes_with_nothing_in_them_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    silent = write_sound(tmp_path / "silent.wav", Sound(silence(1)))
    hiss = np.random.default_rng(0).uniform(-3e-4, 3e-4, (48_000, 1)).astype(np.float32)
    with pytest.raises(MediaError, match=r"silent\.wav' is silent"):
        load_take(silent)
    with pytest.raises(MediaError, match="is silent"):
        load_take(write_sound(tmp_path / "hiss.wav", Sound(hiss, codec="pcm_f32le")))
    with pytest.raises(MediaError, match="less than 50 ms"):
        load_take(write_sound(tmp_path / "click.wav", Sound(tone(440, seconds=0.02))))
    (tmp_path / "words.wav").write_text("not sound")
    with pytest.raises(MediaError, match="not a media file"):
        load_take(tmp_path / "words.wav")
    monkeypatch.setattr(sound_door, "MAX_WHOLE_S", 0.5)
    with pytest.raises(MediaError, match="longer than"):
        load_take(silent)


def test_importing_the_door_does_not_import_pydub() -> None:
    code = "import sys, assembler.media.takes; sys.exit('pydub' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize("name", ["take.wav", "take.m4a"])
def test_a_take_that_was_cut_off_while_it_was_copied_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    codec = "aac" if name.endswith("m4a") else "pcm_s16le"
    write_sound(path, Sound(tone(300, seconds=1.5, level=0.3), codec=codec))
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(MediaError, match=r"is cut off \(\d+ bytes are missing"):
        load_take(path)


def test_a_wav_whose_length_was_never_written_is_read(tmp_path: Path) -> None:
    # Recorders that write to a pipe leave all bits of both lengths set, or none.
    path = write_sound(tmp_path / "take.wav", Sound(tone(300, seconds=1.0, level=0.3)))
    data = path.read_bytes()
    at = data.index(b"data") + 4
    for unknown in (b"\xff\xff\xff\xff", b"\0\0\0\0"):
        path.write_bytes(data[:4] + unknown + data[8:at] + unknown + data[at + 4 :])
        assert abs(len(load_take(path)) - 48_000) < 2_000


def test_what_is_no_sound_is_told_how_to_become_a_take(tmp_path: Path) -> None:
    path = tmp_path / "take.wav"
    path.write_text("not sound at all, but words in a file")
    with pytest.raises(MediaError) as caught:
        load_take(path)
    assert caught.value.problems[0].mend == "save it again as .wav or .flac"
