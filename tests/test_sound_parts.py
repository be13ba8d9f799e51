"""What a mix is made of: sessions with a gain each, music where it was asked for, and edges that do not click."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest

from assembler.media.info import SoundInfo
from assembler.media.probe import probe_sound
from assembler.narration.speech import Word
from assembler.sound.mix import mix
from assembler.storyboard import read_storyboard
from assembler.storyboard.model import Music, SoundSettings
from assembler.timeline.model import PlacedMusic
from assembler.timeline.music import place_music
from assembler.timeline.resolve import resolve
from assembler.timing.grammar import Time
from tests.media_maker import Sound, write_sound
from tests.sound_maker import RATE, Array, babble, game_sound, hear, spoken, timeline, whole

SIXTY = Fraction(60)


def seconds(number: float) -> Time:
    return Time(f"{number} s", SIXTY, second=Fraction(str(number)))


def music_file(folder: Path, samples: Array, name: str = "tide.wav") -> tuple[Path, SoundInfo]:
    path = write_sound(folder / name, Sound(samples, codec="pcm_f32le"))
    return path, probe_sound(path)


def tone(length_s: float, level: float = 0.1, hertz: float = 1000.0) -> Array:
    wave = (level * np.sin(2 * np.pi * hertz * np.arange(round(length_s * RATE)) / RATE)).astype(np.float32)
    return np.stack((wave, wave), axis=1)


def music(
    *, start: float = 0, loop: bool = False, fade_in: float = 0, fade_out: float = 0, gain_db: float = 0
) -> Music:
    edges = {"fade_in": seconds(fade_in), "fade_out": seconds(fade_out)}
    return Music(file="tide.wav", start=seconds(start), loop=loop, gain_db=gain_db, **edges)


def level_at(sound: Array, at_s: float, hertz: float = 1000.0) -> float:
    """dB of one tone in the 20 ms around a time."""
    part = sound[round(at_s * RATE) - 480 : round(at_s * RATE) + 480, 0]
    return float(20 * np.log10(np.abs(part @ np.exp(-2j * np.pi * hertz * np.arange(part.size) / RATE)) + 1e-9))


def lufs_of(folder: Path, gain: float, *names: str) -> float:
    mono = np.concatenate([np.fromfile(folder / f"{name}.f32", "<f4") for name in names])
    return float(pyloudnorm.Meter(RATE).integrated_loudness(np.stack((mono, mono), 1) * gain))


# --- sessions ---


def test_lines_of_one_recording_share_a_gain_and_each_recording_meets_the_level(tmp_path: Path) -> None:
    morning, evening = tmp_path / "takes" / "morning.wav", tmp_path / "takes" / "evening.wav"
    lines = [
        spoken(tmp_path, "loud", babble(3, 0.2), 0, source=morning),
        spoken(tmp_path, "soft", babble(3, 0.1, 2), 4 * RATE, source=morning),
        spoken(tmp_path, "far", babble(4, 0.02, 3), 8 * RATE, source=evening),
        spoken(tmp_path, "scratch", babble(3, 0.03, 4), 13 * RATE, kind="scratch"),
    ]
    # So low that the limiter has nothing to do.
    made = mix(timeline(tmp_path, 1020, lines=lines, sound=SoundSettings(loudness_lufs=-30.0)))
    gains = made.levels.gains.sessions
    assert set(gains) == {str(morning), str(evening), "scratch"}
    # Source: pyloudnorm, which reads 0.04 LU low. Each session as a whole comes to -16 LUFS.
    assert lufs_of(tmp_path, gains[str(morning)], "loud", "soft") == pytest.approx(-16.04, abs=0.1)
    assert lufs_of(tmp_path, gains[str(evening)], "far") == pytest.approx(-16.04, abs=0.1)
    assert lufs_of(tmp_path, gains["scratch"], "scratch") == pytest.approx(-16.04, abs=0.1)
    # Within a session the reader's own loud and soft are kept: by hand, 0.2 over 0.1 is 6 dB.
    sound = whole(made)
    power = [float(np.mean(np.square(sound[start * RATE : (start + 3) * RATE]))) for start in (0, 4)]
    assert 10 * np.log10(power[0] / power[1]) == pytest.approx(6.0, abs=0.5)


def test_a_short_line_goes_with_the_recordings_of_its_folder(tmp_path: Path) -> None:
    takes = tmp_path / "takes"
    lines = [
        spoken(tmp_path, "long", babble(6, 0.1), 0, source=takes / "a-1.wav"),
        # A word alone, softer than the rest because it is an aside: it is not raised to the rest's level.
        spoken(tmp_path, "short", babble(1, 0.05, 2), 7 * RATE, source=takes / "a-2.wav"),
    ]
    gains = mix(timeline(tmp_path, 540, lines=lines)).levels.gains.sessions
    pooled = -16 - lufs_of(tmp_path, 1.0, "long", "short")
    assert 20 * np.log10(gains[str(takes / "a-2.wav")]) == pytest.approx(pooled, abs=0.15)
    assert 20 * np.log10(gains[str(takes / "a-1.wav")]) == pytest.approx(-16 - lufs_of(tmp_path, 1.0, "long"), abs=0.1)


def test_takes_fade_the_rooms_sound_in_and_out_without_a_click(tmp_path: Path) -> None:
    room = np.full(2 * RATE, 0.001, np.float32)  # a take that is cut off hard at both ends
    lines = [spoken(tmp_path, name, room, start) for name, start in (("x", RATE), ("y", 3 * RATE))]
    sound = whole(mix(timeline(tmp_path, 360, lines=lines)))[:, 0]
    middle = float(sound[2 * RATE])
    # By hand: a raised cosine over 15 ms has no steeper step than pi/2 / 720 of the level; out it takes 30 ms.
    assert np.abs(np.diff(sound)).max() <= middle * np.pi / 2 / 720 * 1.05
    assert sound[RATE + 360] == pytest.approx(middle / 2, rel=0.02)
    assert sound[5 * RATE - 720] == pytest.approx(middle / 2, rel=0.02)


# --- music ---


def test_music_lies_4_lu_under_the_narration_whatever_its_own_level(tmp_path: Path) -> None:
    for level in (0.02, 0.5):
        placed = PlacedMusic(music(), *music_file(tmp_path, tone(6, level)), 0, 6 * RATE)
        line = spoken(tmp_path, "x", babble(4), 8 * RATE)
        quiet = SoundSettings(loudness_lufs=-30.0)
        report = mix(timeline(tmp_path, 900, lines=[line], music=[placed], sound=quiet)).report
        assert report.narration_lufs is not None
        assert report.music_lufs is not None
        # Blocks that only half hold sound, at the ends, take a tenth from either reading.
        assert report.narration_lufs - report.music_lufs == pytest.approx(4.0, abs=0.2)


def test_music_begins_where_asked_and_is_lowered_under_speech(tmp_path: Path) -> None:
    two = np.concatenate((tone(2, 0.1, 500.0), tone(8, 0.1)))
    placed = PlacedMusic(music(start=2, gain_db=-3), *music_file(tmp_path, two), RATE, 8 * RATE)
    words = (Word("a", 0, RATE // 2), Word("b", 3 * RATE, 4 * RATE))
    line = spoken(tmp_path, "x", babble(4, 0.01) * 0, 3 * RATE, words=words)
    settings = SoundSettings(duck_db=-9.0)
    sound = whole(mix(timeline(tmp_path, 600, lines=[line], music=[placed], sound=settings)))
    assert not sound[:RATE].any()
    assert not sound[8 * RATE :].any()
    full = level_at(sound, 2.0)
    assert level_at(sound, 2.0, 500.0) < full - 40
    # By hand from the word times: down at 3.0 to 3.5 s, up again in the pause of 2.5 s, down at 6.0 s.
    assert level_at(sound, 3.25) == pytest.approx(full - 9, abs=0.1)
    assert level_at(sound, 5.0) == pytest.approx(full, abs=0.1)
    assert level_at(sound, 6.5) == pytest.approx(full - 9, abs=0.1)
    assert level_at(sound, 3.5 + 0.35 + 0.3) == pytest.approx(full - 4.5, abs=0.3)


def test_music_that_is_looped_fills_its_stretch_and_music_that_is_not_goes_out(tmp_path: Path) -> None:
    info = music_file(tmp_path, tone(2.5))
    looped = whole(mix(timeline(tmp_path, 480, music=[PlacedMusic(music(loop=True), *info, 0, 8 * RATE)])))
    levels = [level_at(looped, at) for at in np.arange(0.3, 7.9, 0.17) if abs((at % 2.5) - 1.25) < 1.22]
    assert max(levels) - min(levels) < 0.1
    # By hand: at 2.5 s the file begins anew, faded over 5 ms on either side; no step is steeper than the tone's own.
    assert np.abs(looped[round(2.5 * RATE)]).max() < 1e-3
    assert np.abs(np.diff(looped[:, 0])).max() <= 2 * np.pi * 1000 / RATE * np.abs(looped).max() * 1.05
    once = whole(mix(timeline(tmp_path, 480, music=[PlacedMusic(music(fade_out=1), *info, 0, 8 * RATE)])))
    assert not once[round(2.5 * RATE) :].any()
    assert level_at(once, 2.0) == pytest.approx(level_at(once, 1.0) - 6.02, abs=0.2)  # halfway through its fade


def test_music_fades_in_and_out_at_the_ends_of_its_stretch(tmp_path: Path) -> None:
    placed = PlacedMusic(music(fade_in=2, fade_out=1), *music_file(tmp_path, tone(20)), RATE, 9 * RATE)
    sound = whole(mix(timeline(tmp_path, 600, music=[placed])))
    full = level_at(sound, 5.0)
    # By hand: half a raised cosine is half the level, -6.02 dB, in its middle.
    assert level_at(sound, 2.0) == pytest.approx(full - 6.02, abs=0.1)
    assert level_at(sound, 8.5) == pytest.approx(full - 6.02, abs=0.1)
    assert level_at(sound, 3.1) == pytest.approx(full, abs=0.05)
    assert level_at(sound, 7.9) == pytest.approx(full, abs=0.05)


def test_music_plays_on_over_segments_that_follow_and_begins_anew_after_a_gap() -> None:
    text = """\
storyboard: 1
title: Music
canvas: {rate: 60}
sound: {music: [{file: tide.wav, segments: [a, b, d]}, {file: all.wav}, {file: gone.wav}]}
segments:
"""
    for name, length_s in (("a", 1), ("b", 2), ("c", 3), ("d", 4)):
        text += f"  - {{id: {name}, lasts: {length_s} s, show: {{card: x}}}}\n"
    laid, _ = resolve(read_storyboard(text, "s"), Path(), {}, {})
    info = SoundInfo(RATE, 2, Fraction(0), Fraction(60))
    placed = place_music(laid, {"tide.wav": (Path("tide.wav"), info), "all.wav": (Path("all.wav"), info)})
    # By hand: a and b are 0 s to 3 s, d is 6 s to 10 s.
    assert [(each.music.file, each.start_sample / RATE, each.end_sample / RATE) for each in placed] == [
        ("tide.wav", 0, 3),
        ("all.wav", 0, 10),
        ("tide.wav", 6, 10),
    ]


def test_lowering_holds_for_captures_and_music_alike(tmp_path: Path) -> None:
    game = game_sound(tmp_path, tone(6, 0.1, 3000.0))
    placed = PlacedMusic(music(), *music_file(tmp_path, tone(6)), 0, 6 * RATE)
    line = spoken(tmp_path, "x", np.zeros(RATE, np.float32), 3 * RATE)
    made = mix(timeline(tmp_path, 360, lines=[line], heard=[hear(0, 6 * RATE)], game=game, music=[placed]))
    sound = whole(made)
    for hertz in (1000.0, 3000.0):
        assert level_at(sound, 3.5, hertz) == pytest.approx(level_at(sound, 1.0, hertz) - 12, abs=0.1)
