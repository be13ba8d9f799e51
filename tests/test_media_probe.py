"""What probing says of a capture: every picture's time, no guesses, and how far a broken file reads."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest
from clip_variants import HIDDEN, PICTURES, UNEVEN, VARIANTS, VFR_MS
from media_maker import BT601, PQ_2020, Sound, click_track, number_in, write_clip

from assembler.errors import MediaError
from assembler.media.probe import _read_packets, probe
from assembler.media.reader import PaneShape, PictureReader
from assembler.media.whole import cut_off


@pytest.mark.parametrize("variant", VARIANTS)
def test_times_are_those_of_the_decoded_pictures(tmp_path: Path, variant: str) -> None:
    name, how = VARIANTS[variant]
    clip = write_clip(tmp_path / name, pictures=PICTURES, **how)
    info = probe(clip)
    with av.open(str(clip)) as container:  # the outside source: a plain decode of the whole file
        shown = [frame.pts for frame in container.decode(video=0)]
    assert list(info.pts) == shown
    assert info.pictures == PICTURES - HIDDEN.get(variant, 0)
    if variant in UNEVEN:
        assert [info.time_s(k) * 1000 for k in range(PICTURES)] == [ms - VFR_MS[0] for ms in VFR_MS]
        assert info.frame_rate is None
    else:
        assert info.frame_rate == Fraction(how.get("rate", 30))
        assert abs(info.duration_s - info.pictures / info.frame_rate) <= info.time_base
    assert (info.width, info.height) == how.get("size", (160, 90))
    assert info.bits == (10 if "10" in how.get("pixel_format", "") else 8)


def test_size_shape_and_tags(tmp_path: Path) -> None:
    wide = write_clip(tmp_path / "wide.mp4", pictures=2, aspect=Fraction(4, 3), rotation=90, colour=BT601)
    info = probe(wide)
    assert (info.width, info.height, info.rotation, info.aspect) == (90, 160, 90, Fraction(3, 4))
    assert (info.codec, info.pixel_format, info.interlaced, info.sound) == ("h264", "yuv420p", False, None)
    assert (info.colour.primaries, info.colour.transfer, info.colour.matrix, info.colour.assumed) == (6, 6, 6, "")
    hdr = probe(
        write_clip(tmp_path / "hdr.mp4", pictures=2, codec="libx265", pixel_format="yuv420p10le", colour=PQ_2020)
    )
    assert hdr.is_hdr() and hdr.colour.matrix == 9
    assert not info.is_hdr()


def test_what_an_untagged_capture_is_taken_for_is_said(tmp_path: Path) -> None:
    # Source: our own rule (601 below 720 lines, else 709; limited range).
    for height, matrix in ((718, "BT.601"), (720, "BT.709")):
        info = probe(write_clip(tmp_path / f"{height}.mp4", pictures=1, size=(64, height)))
        assert info.colour.matrix == 2 and not info.colour.full_range
        assert info.colour.assumed == f"not tagged; taken for matrix {matrix} and limited range"
    full = probe(write_clip(tmp_path / "full.mp4", pictures=1, colour=(1, 1, 1, 2)))
    assert full.colour.full_range and full.colour.assumed == ""


def test_sound_is_placed_against_the_first_picture(tmp_path: Path) -> None:
    sound = Sound(click_track([], seconds=1), start_s=Fraction(1, 4))
    late = probe(write_clip(tmp_path / "late.mov", pictures=30, sound=sound)).sound
    assert late is not None
    assert (late.rate, late.channels, late.start_s, late.duration_s) == (48_000, 2, Fraction(1, 4), 1)
    early = probe(write_clip(tmp_path / "early.mov", pictures=30, start_s=1, sound=sound)).sound
    assert early is not None and early.start_s == Fraction(-3, 4)


def test_mirrored_and_slanted_captures_are_refused(tmp_path: Path) -> None:
    # The display matrix of a track lies in its tkhd box: 36 bytes after version, times, id and layout
    # (ISO/IEC 14496-12, 8.3.2). Its first entry, 1.0 in 16.16, is made -1.0: a mirror.
    data = bytearray(write_clip(tmp_path / "a.mp4", pictures=2).read_bytes())
    matrix = data.index(b"tkhd") + 4 + 40
    assert data[matrix : matrix + 4] == b"\x00\x01\x00\x00"
    data[matrix : matrix + 4] = b"\xff\xff\x00\x00"
    (tmp_path / "mirror.mp4").write_bytes(data)
    with pytest.raises(MediaError, match="mirrored"):
        probe(tmp_path / "mirror.mp4")
    with pytest.raises(MediaError, match="turned by 30 degrees"):
        probe(write_clip(tmp_path / "slant.mp4", pictures=2, rotation=30))


@pytest.mark.parametrize(
    ("name", "how"),
    [
        ("a.mp4", {"container_options": {"movflags": "+faststart"}}),
        ("a.mp4", {"codec": "libsvtav1", "container_options": {"movflags": "+faststart"}}),
        ("a.mp4", {"container_options": {"movflags": "+frag_keyframe+empty_moov"}, "options": {"g": "10"}}),
        ("a.mkv", {}),
        ("a.mkv", {"container_options": {"live": "1"}}),
        ("a.webm", {"codec": "libvpx-vp9"}),
        ("a.avi", {"codec": "ffv1"}),
    ],
)
def test_a_short_copy_is_refused_with_how_far_it_reads(tmp_path: Path, name: str, how: dict[str, object]) -> None:
    whole = write_clip(tmp_path / name, pictures=120, **how)  # type: ignore[arg-type]
    assert cut_off(whole) == ""
    assert probe(whole).pictures == 120
    data = whole.read_bytes()
    short = tmp_path / f"short_{name}"
    short.write_bytes(data[: len(data) * 6 // 10])
    with pytest.raises(MediaError, match="cut off") as caught:
        probe(short)
    text = str(caught.value)
    count = int(text.split("(")[-1].split(" picture")[0])
    reached = text.split("readable to 00:")[1].split(" ")[0]
    assert short.name in text and "mend:" in text
    assert 0 < count < 120
    assert float(reached) == pytest.approx(count / 30, abs=0.2)  # pictures in the file's order run a little apart
    with av.open(str(short)) as container:  # as many do decode, give or take those the decoder holds back
        decoded = 0
        try:
            for _ in container.decode(video=0):
                decoded += 1
        except av.FFmpegError:
            pass
    assert abs(decoded - count) <= 3


def test_a_recording_that_was_never_ended_says_so(tmp_path: Path) -> None:
    data = write_clip(tmp_path / "a.mp4", pictures=30).read_bytes()  # the index comes last
    (tmp_path / "short.mp4").write_bytes(data[: len(data) // 2])
    with pytest.raises(MediaError, match=r"cut off .*index.*nothing of it can be read"):
        probe(tmp_path / "short.mp4")


def test_a_missing_time_stamp_is_an_error_and_never_filled_in(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "a.mkv", pictures=3)
    with av.open(str(clip)) as container:
        video = container.streams.video[0]
        packets = [packet for packet in container.demux(video) if packet.size]
        packets[1].pts = None
        stand_in = SimpleNamespace(demux=lambda *streams: iter(packets))
        with pytest.raises(MediaError, match="picture 2 in the file has no time stamp"):
            _read_packets(clip, stand_in, video, None)  # type: ignore[arg-type]


def test_times_that_were_made_up_for_an_avi_are_not_believed(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "a.avi", pictures=30, options={"preset": "veryfast", "bf": "3"})
    with pytest.raises(MediaError, match="out of order, without time stamps"):
        probe(clip)


def test_a_cut_that_begins_inside_an_open_group_counts_what_can_be_shown(tmp_path: Path) -> None:
    """Pictures that lean on ones cut away are in the file but are never shown."""
    options = {"x265-params": "keyint=12:min-keyint=12:bframes=3:open-gop=1"}
    whole = write_clip(tmp_path / "a.mkv", pictures=40, codec="libx265", options=options)
    cut = tmp_path / "cut.mkv"
    with av.open(str(whole)) as source, av.open(str(cut), "w") as out:
        stream = out.add_stream_from_template(source.streams.video[0])
        packets = [packet for packet in source.demux(video=0) if packet.size]
        second_key = [k for k, packet in enumerate(packets) if packet.is_keyframe][1]
        for packet in packets[second_key:]:
            packet.stream = stream
            out.mux(packet)
    with av.open(str(cut)) as container:
        shown = [frame.pts for frame in container.decode(video=0)]
        held = 40 - second_key
    info = probe(cut)
    assert list(info.pts) == shown
    assert info.pictures < held
    assert np.all(np.diff(info.pts) > 0)


def test_pictures_an_edit_list_hides_at_the_end_are_not_counted(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "a.mp4", pictures=40, options={"preset": "veryfast", "g": "12", "bf": "3"})
    data = bytearray(clip.read_bytes())
    # An edit's length follows its box's name, version and count (ISO/IEC 14496-12, 8.6.6), in 1/48000 s here.
    at = data.index(b"elst") + 4 + 8
    assert int.from_bytes(data[at : at + 4], "big") == 40 * 1600
    data[at : at + 4] = (25 * 1600).to_bytes(4, "big")
    clip.write_bytes(data)
    with av.open(str(clip)) as container:
        shown = [frame.pts for frame in container.decode(video=0)]
    info = probe(clip)
    assert list(info.pts) == shown
    assert info.pictures == 25
    with PictureReader(info, PaneShape(96, 54, None, "area")) as reader:
        assert [number_in(reader.planes(k).y) for k in (24, 0, 13, 24)] == [24, 0, 13, 24]
