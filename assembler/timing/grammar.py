"""The one time grammar of storyboards.

    00:01:02:15    timecode; `00:01:02;15` counts drop-frame (29.97, 59.94 and 119.88 only)
    01:02.500      minutes and seconds; 1:01:02.500 with hours
    12.5 s         seconds; also `800 ms` and `2 min`
    300 f          frames of the canvas
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from assembler.timing.rates import nearest_frame
from assembler.timing.timecode import label_to_frame

_CODE = re.compile(r"(\d{1,3}):(\d{1,2}):(\d{1,2})([:;])(\d{1,3})", re.ASCII)
_CLOCK = re.compile(r"(?:(\d{1,3}):)?(\d{1,3}):(\d{1,2})(\.\d{1,9})?", re.ASCII)
_UNIT = re.compile(r"(\d{1,9}(?:\.\d{1,9})?) ?(s|ms|min|f)", re.ASCII)
_SECONDS = {"s": Fraction(1), "ms": Fraction(1, 1000), "min": Fraction(60)}

HOW_TO_WRITE = "write 12.5 s, 800 ms, 300 f, 01:02.500 or 00:01:02:15"


@dataclass(frozen=True, slots=True)
class Time:
    """A time as it was written, already checked against the canvas rate.

    Exactly one of `frame` (whole canvas frames) and `second` (exact seconds) is set.
    """

    text: str
    rate: Fraction
    frame: int | None = None
    second: Fraction | None = None

    @property
    def seconds(self) -> Fraction:
        """Exact seconds; frames are divided by the canvas rate."""
        if self.second is not None:
            return self.second
        assert self.frame is not None
        return Fraction(self.frame) / self.rate

    @property
    def frames(self) -> int:
        """Canvas frames; seconds go to the nearest frame, a tie to the later."""
        return self.frame if self.frame is not None else nearest_frame(self.seconds, self.rate)

    def __str__(self) -> str:
        return self.text


def parse_time(text: str, rate: Fraction, *, signed: bool = False) -> Time:
    """Read one time. Raises ValueError with a sentence for the person."""
    written = text.strip()
    negative = signed and written[:1] in "-−" and written != ""
    body = written[1:].strip() if signed and written[:1] in ("-", "−", "+") else written
    sign = -1 if negative else 1
    if code := _CODE.fullmatch(body):
        hours, minutes, seconds, frames = (int(code[i]) for i in (1, 2, 3, 5))
        frame = label_to_frame(hours, minutes, seconds, frames, rate, drop=code[4] == ";")
        return Time(written, rate, frame=sign * frame)
    if unit := _UNIT.fullmatch(body):
        if unit[2] == "f":
            if "." in unit[1]:
                raise ValueError("frames are counted whole")
            return Time(written, rate, frame=sign * int(unit[1]))
        return Time(written, rate, second=sign * Fraction(unit[1]) * _SECONDS[unit[2]])
    # H:MM:SS without a part after the seconds could be a timecode with its frames forgotten: refuse to guess.
    if clock := _CLOCK.fullmatch(body):
        if clock[1] is not None and clock[4] is None:
            raise ValueError(f"'{written}' could be hours or a timecode without its frames; add .000 or :00")
        if int(clock[3]) > 59 or (clock[1] is not None and int(clock[2]) > 59):
            raise ValueError(f"'{written}' has more than 59 in its minutes or seconds")
        second = 3600 * int(clock[1] or 0) + 60 * int(clock[2]) + int(clock[3]) + Fraction("0" + (clock[4] or ".0"))
        return Time(written, rate, second=sign * second)
    if re.fullmatch(r"\d+(\.\d+)?", body):
        raise ValueError(f"'{written}' has no unit")
    raise ValueError(f"'{written}' is not a time")
