"""Capture sound at its exact place: clicks at known times come out at the right sample."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from media_maker import Sound, click_track, tone, write_clip

from assembler.errors import MediaError
from assembler.media.info import SoundInfo
from assembler.media.probe import probe
from assembler.media.sound import SoundReader, read_sound

CLICKS = (Fraction(1, 10), Fraction(1), Fraction(7, 4), Fraction(5, 2))

CASES = [  # file, coder, rate, channels, sound starts, pictures start (on the file's clock, s)
    ("a.mov", "pcm_s16le", 48_000, 2, 0, 0),
    ("a.mov", "pcm_s16le", 22_050, 1, 0, 0),
    ("a.mov", "pcm_s16le", 48_000, 2, Fraction(1, 2), 0),
    ("a.mov", "pcm_s16le", 48_000, 2, 0, Fraction(1, 2)),
    ("a.mkv", "pcm_s16le", 44_100, 2, 0, 0),
    ("a.mkv", "pcm_s24le", 48_000, 1, Fraction(1, 4), 0),
    ("a.mkv", "flac", 96_000, 2, 0, 0),
    ("a.mkv", "flac", 48_000, 6, 0, 0),
    ("a.mp4", "aac", 48_000, 2, 0, 0),
    ("a.mp4", "aac", 44_100, 1, 0, 0),
    ("a.mp4", "aac", 48_000, 2, Fraction(1, 4), Fraction(1, 2)),
    ("a.mp4", "aac", 48_000, 2, Fraction(-3, 10), Fraction(-3, 10)),  # both cut into by edit lists
    ("a.mkv", "aac", 48_000, 2, 0, 0),
    ("a.mkv", "libopus", 48_000, 2, 0, 0),
]


def made(path: Path, coder: str, rate: int, channels: int, sound_s: Fraction | int, picture_s: Fraction | int) -> Path:
    samples = click_track(CLICKS, seconds=4, rate=rate, channels=channels)
    if coder in ("aac", "libopus"):  # a lone sample does not survive lossy coding; a 1 ms bump does
        half = rate // 2000
        for time in CLICKS:
            at = round(time * rate)
            samples[at - half : at + half + 1] = (0.9 * np.hanning(2 * half + 1))[:, None]
    sound = Sound(samples, rate=rate, codec=coder, start_s=Fraction(sound_s))
    return write_clip(path, pictures=120, start_s=picture_s, sound=sound)


def test_clicks_come_out_at_their_samples(tmp_path: Path) -> None:
    for number, (name, *how) in enumerate(CASES):
        clip = made(tmp_path / f"{number}{name}", *how)  # type: ignore[arg-type]
        info = probe(clip).sound
        assert info is not None
        assert (info.rate, info.channels) == (how[1], how[2])
        # An edit list shows pictures from 0 on, so that is the first picture's time.
        shift = Fraction(how[3]) - max(Fraction(0), Fraction(how[4]))
        whole = read_sound(clip, info, Fraction(0), 4 * 48_000)
        assert whole.shape == (192_000, 2) and whole.dtype == np.float32
        for click in CLICKS:
            place = round((click + shift) * 48_000)
            if place < 0:
                continue
            near = np.abs(whole[max(0, place - 300) : place + 300])
            for channel in (0, 1):
                assert abs(max(0, place - 300) + int(near[:, channel].argmax()) - place) <= 1, (name, how, click)
            # The same after a seek.
            part = np.abs(read_sound(clip, info, click + shift - Fraction(1, 100), 960)[:, 0])
            assert abs(int(part.argmax()) - 480) <= 1, (name, how, click)


def test_blocks_equal_one_long_read_and_seeks_equal_both(tmp_path: Path) -> None:
    # A rising tone, for AAC: it makes up noise anew on each run through a decoder.
    seconds = np.arange(6 * 48_000) / 48_000
    sweep = np.repeat(
        (0.5 * np.sin(2 * np.pi * (200 + 150 * seconds) * seconds)).astype(np.float32)[:, None], 2, axis=1
    )
    noise = (np.random.default_rng(1).standard_normal((6 * 48_000, 2)) * 0.1).astype(np.float32)
    for name, coder in (("a.mov", "pcm_s16le"), ("a.mkv", "flac"), ("a.mp4", "aac")):
        samples = sweep if coder == "aac" else noise
        clip = write_clip(tmp_path / name, pictures=180, sound=Sound(samples, codec=coder))
        info = probe(clip).sound
        assert info is not None
        whole = read_sound(clip, info, Fraction(-1, 10), 6 * 48_000)
        assert np.all(whole[:4800] == 0)
        with SoundReader(clip, info) as reader:
            blocks = [reader.read(start, 999) for start in range(-4800, 280_000, 999)]
            assert np.array_equal(np.concatenate(blocks), whole[: 999 * len(blocks)])
            for start in (200_000, 20_000, 20_500, 20_400, 270_000, 0):  # ahead, back, overlapping
                assert np.allclose(reader.read(start, 700), whole[start + 4800 : start + 5500], atol=1e-6)
        error = np.abs(whole[4800:] - samples[: len(whole) - 4800])[2000:-2000].max()
        assert error < (0.05 if coder == "aac" else 1e-4)


def test_mono_keeps_its_level_in_both_channels(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "a.mov", pictures=30, sound=Sound(tone(440, seconds=1, level=0.5)))
    info = probe(clip).sound
    assert info is not None
    stereo = read_sound(clip, info, Fraction(1, 10), 24_000)
    assert np.array_equal(stereo[:, 0], stereo[:, 1])
    assert np.abs(stereo).max() == pytest.approx(0.5, abs=1e-3)
    assert np.allclose(read_sound(clip, info, Fraction(1, 10), 24_000, channels=1)[:, 0], stereo[:, 0])


def test_six_channels_are_mixed_down_by_the_usual_weights(tmp_path: Path) -> None:
    # Source: Rec. ITU-R BS.775, two-channel mix: front 1, centre and surround 0.7071, no LFE (from memory).
    for channel, (left, right) in enumerate([(1, 0), (0, 1), (0.7071, 0.7071), (0, 0), (0.7071, 0), (0, 0.7071)]):
        samples = np.zeros((48_000, 6), np.float32)
        samples[:, channel] = tone(440, seconds=1, level=0.25)[:, 0]
        clip = write_clip(tmp_path / f"{channel}.mkv", pictures=30, sound=Sound(samples, codec="flac"))
        info = probe(clip).sound
        assert info is not None
        peaks = np.abs(read_sound(clip, info, Fraction(1, 10), 24_000)).max(axis=0)
        assert np.allclose(peaks, [0.25 * left, 0.25 * right], atol=2e-3)


def test_before_after_and_in_gaps_there_is_silence(tmp_path: Path) -> None:
    import av

    path = tmp_path / "gap.mkv"
    with av.open(str(path), "w") as out:
        video, stream = out.add_stream("ffv1", rate=30), out.add_stream("pcm_s16le", rate=48_000, layout="mono")
        video.width, video.height, video.pix_fmt = 32, 32, "yuv420p"
        for k in range(90):
            frame = av.VideoFrame(32, 32, "yuv420p")
            frame.pts = k
            out.mux(video.encode(frame))
        for block in (*range(24), *range(72, 96)):  # half a second on, one off, half on, in blocks of 1000
            sound = av.AudioFrame.from_ndarray(np.full((1, 1000), 8000, np.int16), "s16", "mono")
            sound.sample_rate, sound.pts, sound.time_base = 48_000, block * 1000, Fraction(1, 48_000)
            out.mux(stream.encode(sound))
        out.mux(video.encode(None))
        out.mux(stream.encode(None))
    info = probe(path).sound
    assert info is not None
    loud = np.abs(read_sound(path, info, Fraction(-1, 2), 4 * 48_000)[:, 0]) > 0.1
    expected = np.zeros(4 * 48_000, bool)
    expected[24_000:48_000] = expected[96_000:120_000] = True
    assert np.flatnonzero(loud != expected).size <= 2


def test_sound_that_cannot_be_decoded_is_an_error(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "a.mkv", pictures=60, sound=Sound(tone(440, seconds=2, channels=2), codec="flac"))
    info = probe(clip).sound
    assert info is not None
    clip.write_bytes(b"no longer media")
    with pytest.raises(MediaError, match=r"a\.mkv"):
        read_sound(clip, info, Fraction(0), 100)
    with pytest.raises(ValueError, match="1 or 2 channels"):
        read_sound(clip, SoundInfo(48_000, 2, Fraction(0), Fraction(1)), Fraction(0), 100, channels=6)
