"""Exact picture rates: the names people write and the fractions they mean."""

from __future__ import annotations

import re
from fractions import Fraction

NTSC_24 = Fraction(24_000, 1_001)
NTSC_30 = Fraction(30_000, 1_001)
NTSC_60 = Fraction(60_000, 1_001)
NTSC_120 = Fraction(120_000, 1_001)

SAMPLE_RATE = 48_000
"""Samples a second of the programme's sound."""

# The usual decimals, by name only: 23.98 would be a guess, so it is refused.
_NAMED = {
    "23.976": NTSC_24,
    "29.97": NTSC_30,
    "59.94": NTSC_60,
    "119.88": NTSC_120,
}
CANVAS_RATES = (
    *(NTSC_24, NTSC_30, NTSC_60, NTSC_120),
    *(Fraction(whole) for whole in (24, 25, 30, 50, 60, 120)),
)


def parse_rate(text: str) -> Fraction:
    """Read a rate in pictures a second: `60`, `59.94` (means 60000/1001) or `60000/1001`.

    Raises ValueError with a sentence for the person when the rate is none we make programmes at.
    """
    written = text.strip()
    if written in _NAMED:
        return _NAMED[written]
    match = re.fullmatch(r"([0-9]{1,7})(?:/([0-9]{1,5}))?", written)
    if match and (match[2] is None or int(match[2]) > 0):
        rate = Fraction(int(match[1]), int(match[2] or 1))
        if rate in CANVAS_RATES:
            return rate
    raise ValueError(f"'{written}' is not a rate the programme can have")


def rate_name(rate: Fraction) -> str:
    """The short label of a rate, for people: 60000/1001 is '59.94', 60 is '60'."""
    for name, value in _NAMED.items():
        if value == rate:
            return name
    if rate.denominator == 1:
        return str(rate.numerator)
    return f"{float(rate):.3f}".rstrip("0").rstrip(".")


def nominal(rate: Fraction) -> int:
    """Labels a timecode second holds: 60 for 60000/1001. Source: SMPTE ST 12-1, from memory."""
    return -(-rate.numerator // rate.denominator)


def drops_labels(rate: Fraction) -> int:
    """Labels skipped a minute in drop-frame counting at this rate; 0 where drop-frame does not exist.

    Source: SMPTE ST 12-1 (2 of 30, 4 of 60), ST 12-3 (8 of 120), from memory.
    """
    return {NTSC_30: 2, NTSC_60: 4, NTSC_120: 8}.get(rate, 0)


def nearest_frame(seconds: Fraction, rate: Fraction) -> int:
    """The frame whose start is nearest to a time; a tie goes to the later one."""
    return int((seconds * rate + Fraction(1, 2)).__floor__())


def frame_at(seconds: Fraction, rate: Fraction) -> int:
    """The frame on screen at a time: the last one that starts at or before it."""
    return (seconds * rate).__floor__()


def sample_of_frame(frame: int, rate: Fraction) -> int:
    """First sound sample (48 kHz) that belongs to a frame: the sample nearest to its start."""
    return nearest_frame(Fraction(frame) / rate, Fraction(SAMPLE_RATE))
