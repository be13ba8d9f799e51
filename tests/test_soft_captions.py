"""Captions as a track of the video file: on the very pictures, in their language, and nothing else touched."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import av
import imageio_ffmpeg
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_captions_parsers import HOSTILE, cue
from test_writer_join import write_parts

from assembler.captions.cues import Cue
from assembler.captions.soft import soft_captions
from assembler.captions.styled import styled_srt
from assembler.errors import RenderError
from assembler.media.join import join_parts
from assembler.media.language_codes import three_letters
from assembler.media.soft_captions import SoftCaption, SoftCaptions, samples_of
from assembler.timing.rates import CANVAS_RATES, sample_of_frame
from assembler.timing.spans import Span

RATES = [Fraction(60), Fraction(60_000, 1_001), Fraction(24_000, 1_001), Fraction(25)]
LENGTHS = [7, 40, 13]
FRAMES = sum(LENGTHS)
CUES = [
    cue(0, 9, "At once, ünd", "two lines"),
    cue(9, 10, "one picture"),
    cue(20, 31, "x", marked=("It <i>is <b>both</b>", "now</i> 🎮<u>too</u>")),
    cue(40, FRAMES, "to the end"),
]


def sound(frames: int, rate: Fraction) -> list[np.ndarray]:
    count = sample_of_frame(frames, rate)
    wave = np.sin(np.arange(count) * 0.05).astype(np.float32) * 0.2
    return [np.stack([wave, wave], axis=1)]


def joined(folder: Path, rate: Fraction, cues: Sequence[Cue] | None, name: str, language: str = "de") -> Path:
    parts = write_parts(folder, LENGTHS, rate=rate)
    track = None if cues is None else soft_captions(cues, Span(0, FRAMES), language, chosen=True)
    join_parts(parts, folder / name, rate=rate, sound=sound(FRAMES, rate), captions=track)
    return folder / name


def packets(path: Path) -> list[tuple[Fraction, Fraction, bytes]]:
    with av.open(str(path)) as container:
        (stream,) = container.streams.subtitles
        base = Fraction(stream.time_base)
        return [
            (packet.pts * base, (packet.pts + packet.duration) * base, bytes(packet))
            for packet in container.demux(stream)
            if packet.size
        ]


@pytest.mark.parametrize("rate", RATES, ids=str)
def test_a_track_has_the_captions_on_their_pictures(tmp_path: Path, rate: Fraction) -> None:
    path = joined(tmp_path, rate, CUES, "soft.mp4")
    read = packets(path)
    texts = [(start, end, data[2 : 2 + int.from_bytes(data[:2], "big")].decode()) for start, end, data in read]
    assert [each for each in texts if each[2]] == [
        (each.start_frame / rate, each.end_frame / rate, text)
        for each, text in zip(
            CUES, ["At once, ünd\ntwo lines", "one picture", "It is both\nnow 🎮too", "to the end"], strict=True
        )
    ]
    # No gap, no overlap, and as long as the pictures.
    assert read[0][0] == 0 and read[-1][1] == FRAMES / rate
    assert all(before[1] == after[0] for before, after in pairwise(read))
    with av.open(str(path)) as container:
        stream = container.streams.subtitles[0]
        assert (stream.codec_context.name, stream.language) == ("mov_text", "deu")


@pytest.mark.parametrize("rate", RATES, ids=str)
def test_another_program_reads_the_same_captions_and_styles(tmp_path: Path, rate: Fraction) -> None:
    path = joined(tmp_path, rate, CUES, "soft.mp4")
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-i", str(path), "-map", "0:s:0", "-f", "srt", "-"]
    text = subprocess.run(command, capture_output=True, check=True, timeout=30).stdout.decode().replace("\r", "")
    blocks = [block.split("\n", 2) for block in text.strip().split("\n\n")]
    written = [each.marked or each.lines for each in CUES]
    assert [styled_srt(block[2].split("\n")) for block in blocks] == [styled_srt(lines) for lines in written]
    for block, each in zip(blocks, CUES, strict=True):
        times = [int(h) * 3_600_000 + int(m) * 60_000 + int(s) * 1000 + int(p) for h, m, s, p in re.findall(
            r"(\d+):(\d+):(\d+),(\d+)", block[1])]  # fmt: skip
        expected = [each.start_frame / rate * 1000, each.end_frame / rate * 1000]
        # That program rounds a start and a length, so an end may be a millisecond off.
        assert all(abs(a - b) <= 1 for a, b in zip(times, expected, strict=True))


def contents(path: Path) -> tuple[list[tuple[int, int, bytes]], list[tuple[int, bytes]], list[object]]:
    """Picture packets, sound packets, chapters."""
    with av.open(str(path)) as container:
        video, audio = container.streams.video[0], container.streams.audio[0]
        pictures = [(p.pts, p.dts, bytes(p)) for p in container.demux(video) if p.size]
        container.seek(0)
        heard = [(p.pts, bytes(p)) for p in container.demux(audio) if p.size]
        return pictures, heard, [video.start_time, video.duration, audio.start_time, audio.duration, container.duration]


@pytest.mark.parametrize("rate", RATES, ids=str)
def test_pictures_and_sound_are_the_same_with_and_without_it(tmp_path: Path, rate: Fraction) -> None:
    without, with_track = joined(tmp_path, rate, None, "a.mp4"), joined(tmp_path, rate, CUES, "b.mp4")
    assert contents(without) == contents(with_track)
    with av.open(str(without)) as container:
        assert not container.streams.subtitles


def test_hostile_text_goes_in_as_it_is(tmp_path: Path) -> None:
    cues = [cue(n, n + 1, text) for n, text in enumerate(HOSTILE)]
    path = joined(tmp_path, Fraction(60), cues, "soft.mp4")
    texts = [data[2 : 2 + int.from_bytes(data[:2], "big")].decode() for _, _, data in packets(path)]
    assert texts[:-1] == HOSTILE and texts[-1] == ""


def test_whether_players_show_it_unasked(tmp_path: Path) -> None:
    parts = write_parts(tmp_path, [20])
    for chosen in (True, False):
        track = soft_captions([cue(0, 9, "x")], Span(0, 20), "en", chosen=chosen)
        join_parts(parts, tmp_path / "a.mp4", rate=Fraction(60), sound=None, captions=track)
        with av.open(str(tmp_path / "a.mp4")) as container:
            assert container.streams.subtitles[0].language == "eng"
            # The muxer enables a lone track whatever it is told, so only the wish to show it can be seen.
            assert not chosen or container.streams.subtitles[0].disposition & av.stream.Disposition.default


def test_a_piece_counts_from_its_own_start() -> None:
    track = soft_captions(CUES, Span(5, 30), "en", chosen=True)
    assert track is not None
    assert [(each.start_frame, each.end_frame) for each in track.captions] == [(0, 4), (4, 5), (15, 25)]
    assert soft_captions(CUES, Span(32, 39), "en", chosen=True) is None


def test_captions_that_do_not_fit_the_pictures_are_refused(tmp_path: Path) -> None:
    parts = write_parts(tmp_path, [20])
    track = SoftCaptions((SoftCaption(0, 21, "too long"),), "en")
    with pytest.raises((RenderError, ValueError)):
        join_parts(parts, tmp_path / "a.mp4", rate=Fraction(60), sound=None, captions=track)
    assert not (tmp_path / "a.mp4").exists()


@settings(max_examples=60, deadline=None)
@given(edges=st.lists(st.integers(0, 500), max_size=12), rate=st.sampled_from(CANVAS_RATES))
def test_samples_fill_the_programme_without_gaps(edges: list[int], rate: Fraction) -> None:
    sorted_edges = sorted(set(edges))
    captions = [SoftCaption(a, b, f"{a}") for a, b in zip(sorted_edges[::2], sorted_edges[1::2], strict=False)]
    samples = samples_of(captions, 500)
    assert samples[0].start_frame == 0 and samples[-1].end_frame == 500
    assert all(a.end_frame == b.start_frame for a, b in pairwise(samples))
    assert [s.start_frame for s in samples if s.data != b"\0\0"] == [c.start_frame for c in captions]


@pytest.mark.parametrize(
    ("tag", "code"),
    [("en", "eng"), ("de-AT", "deu"), ("pt_BR", "por"), ("gsw", "gsw"), ("zh-Hant", "zho"), ("fr", "fra"),
     ("nl", "nld"), ("cs", "ces"), ("el", "ell"), ("fa", "fas"), ("ar", "ara"), ("he", "heb"), ("xx", "und"),
     ("", "und"), ("e1", "und")],
)  # fmt: skip
def test_languages_have_their_three_letters(tag: str, code: str) -> None:
    # Source: ISO 639-2/T (terminology codes), from memory.
    assert three_letters(tag) == code
