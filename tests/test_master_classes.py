"""What a master has to keep to: levels and caps, against the standards' own tables."""

from __future__ import annotations

from fractions import Fraction

import pytest

from assembler.errors import UsageError
from assembler.render.classes import CLASSES, REFERENCES, frame_for, h264_level, hevc_level


# Source: Rec. ITU-T H.264 table A-1 (MaxMBPS, MaxFS, MaxBR x 1250 bit/s of the High profile): 720p60 is 216000
# macroblocks a second, all that level 3.2 takes; 1080p30 244800 of 245760; 1080p60 489600 of 522240; 1440p60 864000,
# 2160p30 972000 and 1080p120 979200 of 983040; 2160p60 1944000 of 2073600; 2160p120 3888000 of 4177920.
@pytest.mark.parametrize(
    ("size", "rate", "name", "idc", "max_rate"),
    [
        ((1280, 720), 60, "3.2", 32, 25_000_000),
        ((1920, 1080), 30, "4", 40, 25_000_000),
        ((1920, 1080), 60, "4.2", 42, 62_500_000),
        ((2560, 1440), 60, "5.1", 51, 300_000_000),
        ((3840, 2160), 30, "5.1", 51, 300_000_000),
        ((1920, 1080), 120, "5.1", 51, 300_000_000),
        ((3840, 2160), 60, "5.2", 52, 300_000_000),
        ((3840, 2160), 120, "6", 60, 300_000_000),
        ((1080, 1920), 60, "4.2", 42, 62_500_000),
    ],
)
def test_h264_levels_are_the_lowest_that_fit(
    size: tuple[int, int], rate: int, name: str, idc: int, max_rate: int
) -> None:
    level = h264_level(*size, Fraction(rate))
    assert level is not None
    assert (level.name, level.idc, level.max_rate) == (name, idc, max_rate)


# Source: FFmpeg's h265_profile_level.c, Main tier: 1080p30 is 62208000 luma samples a second, 720p60 55296000 (level 4
# takes 66846720), 1080p60 124416000 (4.1: 133693440), 2160p30 248832000 and 1440p60 221184000 (5: 267386880), 2160p60
# 497664000 (5.1: 534773760), 2160p120 995328000 (5.2: 1069547520). level_idc is 30 times the level.
@pytest.mark.parametrize(
    ("size", "rate", "name", "idc", "megabits"),
    [
        ((1920, 1080), 30, "4", 120, 12),
        ((1280, 720), 60, "4", 120, 12),
        ((1920, 1080), 60, "4.1", 123, 20),
        ((2560, 1440), 60, "5", 150, 25),
        ((3840, 2160), 30, "5", 150, 25),
        ((3840, 2160), 60, "5.1", 153, 40),
        ((3840, 2160), 120, "5.2", 156, 60),
    ],
)
def test_hevc_levels_are_the_lowest_that_fit(
    size: tuple[int, int], rate: int, name: str, idc: int, megabits: int
) -> None:
    level = hevc_level(*size, Fraction(rate))
    assert level is not None
    assert (level.name, level.idc, level.max_rate) == (name, idc, megabits * 1_000_000)


def test_a_rate_just_beyond_a_level_needs_the_next() -> None:
    # Source: arithmetic on table A-1: 3600 macroblocks x 60.01 is more than the 216000 of level 3.2.
    above = h264_level(1280, 720, Fraction(6_001, 100))
    assert above is not None and above.name == "4"
    drop = h264_level(1920, 1080, Fraction(60_000, 1_001))
    assert drop is not None and drop.name == "4.2"


def test_a_level_is_raised_where_the_bit_rate_asks_for_it() -> None:
    # Source: table A-1: level 4 takes 20000 x 1250 bit/s, level 4.1 50000 x 1250.
    level = h264_level(1920, 1080, Fraction(30), 30_000_000)
    assert level is not None and level.name == "4.1"


def test_nothing_holds_what_is_too_large() -> None:
    assert h264_level(16_384, 8_192, Fraction(60)) is None
    assert hevc_level(20_000, 2_000, Fraction(24)) is None  # a side longer than the root of 8 x MaxLumaPs
    with pytest.raises(UsageError, match="no level of hevc"):
        frame_for((20_000, 2_000), Fraction(24), "hevc")


def test_four_references_fit_at_every_level() -> None:
    # Source: table A-1, MaxDpbMbs / (macroblocks): 1080p60 at 4.2 holds 4 pictures, 2160p60 at 5.2 holds 5.
    assert (34_816 // 8_160, 184_320 // 32_400) == (4, 5)
    assert REFERENCES == 4


def test_caps_are_those_that_platforms_ask_for() -> None:
    # Common practice, no source: upload rates in Mb/s, the upper end of a range.
    asked = {"1080p30": 8, "1080p60": 12, "1440p60": 24, "2160p30": 45, "2160p60": 68}
    assert {name: CLASSES[name].cap / 1e6 for name in asked} == asked


@pytest.mark.parametrize(
    ("canvas", "rate", "codec", "upload", "size", "level", "megabits"),
    [
        ((1920, 1080), Fraction(60), "h264", None, (1920, 1080), "4.2", 12),
        ((1920, 1080), Fraction(60_000, 1_001), "h264", None, (1920, 1080), "4.2", 12),
        ((1920, 1080), Fraction(24), "h264", None, (1920, 1080), "4", 8),
        ((3840, 2160), Fraction(60), "h264", None, (3840, 2160), "5.2", 68),
        ((3840, 2160), Fraction(60), "hevc", None, (3840, 2160), "5.1", 40),  # the Main tier's own limit
        ((3840, 2160), Fraction(60), "h264", "1080p60", (1920, 1080), "4.2", 12),
        ((1280, 720), Fraction(30), "h264", "2160p30", (3840, 2160), "5.1", 45),
        ((1080, 1920), Fraction(60), "h264", None, (1080, 1920), "4.2", 12),
        ((1080, 1920), Fraction(60), "h264", "720p60", (720, 1280), "3.2", 8),
        ((1920, 1080), Fraction(120), "h264", None, (1920, 1080), "5.1", 300),  # no class: the level alone
        ((3840, 1080), Fraction(60), "h264", None, (3840, 1080), "5.1", 68),  # more pixels than 1440 lines have
    ],
)
def test_a_master_is_sized_levelled_and_capped_by_its_canvas_or_class(
    canvas: tuple[int, int], rate: Fraction, codec: str, upload: str | None, size: tuple[int, int], level: str,
    megabits: int,
) -> None:  # fmt: skip
    frame = frame_for(canvas, rate, codec, upload)  # type: ignore[arg-type]
    assert (frame.width, frame.height) == size
    assert (frame.level.name, frame.cap) == (level, megabits * 1_000_000)
    assert frame.cap <= frame.level.max_rate and frame.buffer <= frame.level.max_buffer


def test_a_class_that_is_not_there_or_too_slow_is_refused() -> None:
    with pytest.raises(UsageError, match="there is no class '8k'"):
        frame_for((1920, 1080), Fraction(60), "h264", "8k")
    with pytest.raises(UsageError, match="holds 30 pictures") as refused:
        frame_for((1920, 1080), Fraction(60), "h264", "1080p30")
    assert refused.value.problems[0].mend == "choose 1080p60"
