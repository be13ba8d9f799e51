"""Timecode labels: frame counts to `HH:MM:SS:FF` and back, with drop-frame counting.

Source: SMPTE ST 12-1 and ST 12-3 (rule of skipped labels); the numbers are checked in tests/.
"""

from __future__ import annotations

from fractions import Fraction

from assembler.timing.rates import drops_labels, nominal, rate_name


def label_to_frame(hours: int, minutes: int, seconds: int, frames: int, rate: Fraction, *, drop: bool) -> int:
    """The frame a label names, counted from 00:00:00:00.

    Raises ValueError, with a sentence for the person, for labels that do not exist at this rate.
    """
    per_second = nominal(rate)
    skipped = drops_labels(rate) if drop else 0
    if drop and not skipped:
        raise ValueError(f"drop-frame timecode (';') does not exist at {rate_name(rate)} frames a second")
    if minutes > 59 or seconds > 59:
        raise ValueError("minutes and seconds in a timecode run from 00 to 59")
    if frames >= per_second:
        raise ValueError(f"at {rate_name(rate)} frames a second the last part runs from 00 to {per_second - 1}")
    if skipped and seconds == 0 and frames < skipped and minutes % 10:
        following = f"{hours:02}:{minutes:02}:00;{skipped:02}"
        raise ValueError(f"drop-frame counting skips this label; the next one is {following}")
    whole_minutes = 60 * hours + minutes
    return per_second * (60 * whole_minutes + seconds) + frames - skipped * (whole_minutes - whole_minutes // 10)


def frame_to_label(frame: int, rate: Fraction, *, drop: bool = False) -> str:
    """The label of a frame: `00:01:00;02` with drop-frame counting, else `00:01:00:00`."""
    if frame < 0:
        return "-" + frame_to_label(-frame, rate, drop=drop)
    per_second = nominal(rate)
    skipped = drops_labels(rate) if drop else 0
    if drop and not skipped:
        raise ValueError(f"drop-frame timecode does not exist at {rate_name(rate)} frames a second")
    if skipped:
        ten_minutes = per_second * 600 - 9 * skipped
        one_minute = per_second * 60 - skipped
        tens, rest = divmod(frame, ten_minutes)
        frame += 9 * skipped * tens
        if rest >= per_second * 60:
            frame += skipped * (1 + (rest - per_second * 60) // one_minute)
    total_seconds, frames = divmod(frame, per_second)
    hours, rest = divmod(total_seconds, 3600)
    width = len(str(per_second - 1))
    return f"{hours:02}:{rest // 60:02}:{rest % 60:02}{';' if skipped else ':'}{frames:0{width}}"


def clock(seconds: Fraction | float, *, places: int = 3) -> str:
    """A time for people: `1:02:03.500`, `02:03.500`."""
    scale = 10**places
    units = round(abs(seconds) * scale)
    whole, part = divmod(units, scale)
    sign = "-" if seconds < 0 and units else ""
    hours, rest = divmod(whole, 3600)
    head = f"{hours}:{rest // 60:02}:{rest % 60:02}" if hours else f"{rest // 60:02}:{rest % 60:02}"
    return f"{sign}{head}.{part:0{places}}" if places else sign + head
