"""What a master has to keep to: codec levels, and bit-rate caps of the common upload classes.

Pure tables and arithmetic. Sources stand beside each table; sizes are in pixels, rates in bits a second.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

from assembler.errors import UsageError

Codec = Literal["h264", "hevc"]

REFERENCES: Final = 4
"""Reference pictures asked of H.264: as many as every level holds of its largest picture (MaxDpbMbs / MaxFS)."""

BUFFER_S: Final = 1
"""Seconds of the cap that a decoder has to hold. Common practice, no source: one or two."""


@dataclass(frozen=True, slots=True)
class UploadClass:
    """A size and rate that platforms take, and the bit rate they ask for in it (H.264, SDR)."""

    name: str
    lines: int
    rate: int
    cap: int

    @property
    def box(self) -> tuple[int, int]:
        """Width and height of its 16:9 picture."""
        return self.lines * 16 // 9, self.lines

    @property
    def pixels(self) -> int:
        return self.box[0] * self.box[1]


def _class(lines: int, rate: int, megabits: int) -> UploadClass:
    return UploadClass(f"{lines}p{rate}", lines, rate, megabits * 1_000_000)


# Common practice, no normative source: what large platforms publish as recommended upload rates, the upper
# end where they name a range. Those of 720 lines and of 1440p30 are from memory.
CLASSES: Final = {
    each.name: each
    for each in (
        _class(720, 30, 5),
        _class(720, 60, 8),
        _class(1080, 30, 8),
        _class(1080, 60, 12),
        _class(1440, 30, 16),
        _class(1440, 60, 24),
        _class(2160, 30, 45),
        _class(2160, 60, 68),
    )
}


@dataclass(frozen=True, slots=True)
class Level:
    """A codec level. idc: as the stream carries it. max_rate, max_buffer: what its decoders take, in bits a second and
    bits: High profile of H.264, Main tier of HEVC."""

    name: str
    idc: int
    max_rate: int
    max_buffer: int


@dataclass(frozen=True, slots=True)
class Frame:
    """What a master has to be: the level it needs, its bit-rate cap and the buffer that goes with it.

    upload: the class it is made for; None where none is large or fast enough, or none was wanted.
    """

    width: int
    height: int
    level: Level
    cap: int
    buffer: int
    upload: UploadClass | None


# Rec. ITU-T H.264 table A-1: level, MaxMBPS, MaxFS, MaxDpbMbs, MaxBR, MaxCPB (both in 1000 or 1250 bits).
# Lower levels are of no use to a programme of this kind. Compared with FFmpeg's libavcodec/h264_levels.c.
_H264 = (
    ("3", 40_500, 1_620, 8_100, 10_000, 10_000),
    ("3.1", 108_000, 3_600, 18_000, 14_000, 14_000),
    ("3.2", 216_000, 5_120, 20_480, 20_000, 20_000),
    ("4", 245_760, 8_192, 32_768, 20_000, 25_000),
    ("4.1", 245_760, 8_192, 32_768, 50_000, 62_500),
    ("4.2", 522_240, 8_704, 34_816, 50_000, 62_500),
    ("5", 589_824, 22_080, 110_400, 135_000, 135_000),
    ("5.1", 983_040, 36_864, 184_320, 240_000, 240_000),
    ("5.2", 2_073_600, 36_864, 184_320, 240_000, 240_000),
    ("6", 4_177_920, 139_264, 696_320, 240_000, 240_000),
    ("6.1", 8_355_840, 139_264, 696_320, 480_000, 480_000),
    ("6.2", 16_711_680, 139_264, 696_320, 800_000, 800_000),
)
_HIGH_FACTOR = 1_250  # cpbBrVclFactor of the High profile: table A-2

# Rec. ITU-T H.265 tables A.8 and A.9: level, MaxLumaPs, MaxLumaSr, MaxBR and MaxCPB of the Main tier (1000 bits).
# Compared with FFmpeg's libavcodec/h265_profile_level.c.
_HEVC = (
    ("3", 552_960, 16_588_800, 6_000),
    ("3.1", 983_040, 33_177_600, 10_000),
    ("4", 2_228_224, 66_846_720, 12_000),
    ("4.1", 2_228_224, 133_693_440, 20_000),
    ("5", 8_912_896, 267_386_880, 25_000),
    ("5.1", 8_912_896, 534_773_760, 40_000),
    ("5.2", 8_912_896, 1_069_547_520, 60_000),
    ("6.1", 35_651_584, 2_139_095_040, 120_000),
    ("6.2", 35_651_584, 4_278_190_080, 240_000),
)


def h264_level(width: int, height: int, rate: Fraction, bit_rate: int = 0) -> Level | None:
    """The lowest level of the High profile that takes such pictures with REFERENCES of them kept; None if none does."""
    across, down = math.ceil(Fraction(width, 16)), math.ceil(Fraction(height, 16))
    blocks = across * down
    for name, most_a_second, most, kept, max_rate, buffer in _H264:
        level = Level(name, round(float(name) * 10), max_rate * _HIGH_FACTOR, buffer * _HIGH_FACTOR)
        fits = blocks <= most and max(across, down) ** 2 <= 8 * most and kept // blocks >= REFERENCES
        if fits and blocks * rate <= most_a_second and bit_rate <= level.max_rate:
            return level
    return None


def hevc_level(width: int, height: int, rate: Fraction, bit_rate: int = 0) -> Level | None:
    """The lowest level of the Main tier that takes such pictures; None if none does."""
    pixels = width * height
    for name, most, most_a_second, max_rate in _HEVC:
        level = Level(name, round(float(name) * 30), max_rate * 1_000, max_rate * 1_000)
        fits = pixels <= most and max(width, height) ** 2 <= 8 * most
        if fits and pixels * rate <= most_a_second and bit_rate <= level.max_rate:
            return level
    return None


def frame_for(canvas: tuple[int, int], rate: Fraction, codec: Codec, upload: str | None = None) -> Frame:
    """What a master of a canvas has to be.

    upload: a class by name, whose size the picture is then made to fill; None = the smallest class that has the
    canvas's pixels and rate, at the canvas's own size. A canvas beyond every class is held to its level alone.
    HEVC keeps to the Main tier, which more devices play (common practice, no source), so its cap can be lower than
    the class's. Raises UsageError for a class that is not there or too slow, and for pictures beyond every level.
    """
    width, height = canvas
    if upload is None:
        fitting = (each for each in CLASSES.values() if width * height <= each.pixels and rate <= each.rate)
        chosen = min(fitting, key=lambda each: (each.lines, each.rate), default=None)
    else:
        chosen = _named(upload)
        if rate > chosen.rate:
            fast = [each.name for each in CLASSES.values() if each.lines == chosen.lines and each.rate >= rate]
            mend = f"choose {fast[0]}" if fast else "leave --class out; the codec's level then sets the cap"
            raise UsageError(f"{upload} holds {chosen.rate} pictures a second, and the canvas has {rate}", mend=mend)
        box = chosen.box if width >= height else chosen.box[::-1]
        scale = min(Fraction(box[0], width), Fraction(box[1], height))
        width, height = (2 * round(side * scale / 2) for side in canvas)
    level = (h264_level if codec == "h264" else hevc_level)(width, height, rate)
    if level is None:
        raise UsageError(f"no level of {codec} holds {width}x{height} at {rate} pictures a second",
                         mend="choose a smaller --class, or a lower canvas rate")  # fmt: skip
    cap = level.max_rate if chosen is None else min(chosen.cap, level.max_rate)
    if chosen is not None and codec == "h264":
        level = h264_level(width, height, rate, chosen.cap) or level
        cap = chosen.cap
    return Frame(width, height, level, cap, min(cap * BUFFER_S, level.max_buffer), chosen)


def _named(name: str) -> UploadClass:
    if name not in CLASSES:
        raise UsageError(f"there is no class '{name}'", mend="the classes are: " + ", ".join(CLASSES))
    return CLASSES[name]
