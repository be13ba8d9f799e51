"""Times in caption files: read with patience, what is not as it should be told; written as WebVTT and TTML do.

    00:00:01,000 --> 00:00:02,500        SubRip
    00:01.000 --> 00:02.500 line:10%     WebVTT: a full stop, hours only where needed, settings behind
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from assembler.captions.styled import JOINER

_MOST_MS = 1000 * 3600 * 1000
_LONGEST = 1000
"""Characters of a line that can hold times; longer ones are text."""
_PART = r"(?:(\s*[,.:;]\s*|\s(?=\d{3}(?:\s|$)))(\d{1,9}))?"
_TIME = re.compile(rf"(-?)(?:(\d+)\s*:\s*)?(\d{{1,3}})\s*:\s*(\d{{1,2}}){_PART}(?!\d)", re.ASCII)
_STOPS = re.compile(rf"(-?)(\d+)\s*[.;]\s*(\d{{1,2}})\s*[.;]\s*(\d{{1,2}}){_PART}(?!\d)", re.ASCII)
_ARROW = re.compile(r"-{1,4} ?>|- - ?>|[–—−]+>|=+>|→")
_FULL = r"\d{1,3}:\d{1,2}:\d{1,2}[,.]\d{1,3}"
_NO_ARROW = re.compile(rf"\s*({_FULL})(?:\s+|\s*[-–—,>]{{1,3}}\s*)({_FULL})\s*", re.ASCII)
_SEEMING = re.compile(r"[\dOolI]\s*[:.;,]\s*[\dOolI].*?(?:->|→)|(?:-->|→)\s*-?\d+\s*[:.;,]\s*\d|\d\d?\s*-->")

_BEGUN = re.compile(r"\s*-?\d{1,3}[:.]\d{1,2}[:.]\d{1,2}(?:\D|$)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Timing:
    """A line that was read as times. None: a time before 0 or beyond 1000 hours. rest: what stands behind
    the times. repairs: what was not as it should be. plain: the arrow is there, so it is times anywhere."""

    start_ms: int | None
    end_ms: int | None
    rest: str
    repairs: tuple[str, ...]
    plain: bool = True

    @property
    def fault(self) -> str:
        """Why no caption can stand at these times; empty where one can."""
        if self.start_ms is None or self.end_ms is None:
            return "a time here lies before 0 or beyond 1000 hours"
        if self.end_ms < self.start_ms:
            return "the caption ends before it starts; set its end"
        return "the caption lasts no time; set its end" if self.end_ms == self.start_ms else ""


def read_timing(line: str, form: Literal["srt", "vtt"]) -> Timing | None:
    """The times of a line, or None when it cannot be read as two times."""
    if len(line) > _LONGEST or not any(sign in line for sign in (">", "→", ":")):
        return None
    repairs: list[str] = []
    arrow = _ARROW.search(line)
    if arrow is None:
        pair = _NO_ARROW.fullmatch(line)
        if pair is None:
            return None
        left, right, plain = pair[1], pair[2], False
        repairs.append("'-->' is missing between the times")
    else:
        left, right, plain = line[: arrow.start()].strip(), line[arrow.end() :].lstrip(), True
        if arrow[0] != "-->":
            repairs.append(f"'{arrow[0]}' was taken for '-->'")
        elif not line[: arrow.start()].endswith((" ", "\t")) or not line[arrow.end() :].startswith((" ", "\t")):
            repairs.append("a space is missing beside '-->'")
    start = _TIME.fullmatch(left) or _STOPS.fullmatch(left)
    end = _TIME.match(right) or _STOPS.match(right)
    if start is None or end is None:
        return None
    rest = right[end.end() :]
    if rest and not rest[0].isspace():
        return None
    times = [_milliseconds(found, form, repairs) for found in (start, end)]
    return Timing(times[0], times[1], rest.strip(), tuple(dict.fromkeys(repairs)), plain)


def seems_timing(line: str) -> bool:
    """Whether a line that cannot be read as times was meant to be some."""
    escaped = JOINER in line  # by a writer of ours, so that it is text
    return len(line) <= _LONGEST and not escaped and _SEEMING.search(line) is not None


def begins_with_time(line: str) -> bool:
    """Whether a line begins as times do, though no arrow may follow."""
    return _BEGUN.match(line) is not None


def clock_time(milliseconds: int) -> str:
    """HH:MM:SS.mmm, with as many digits for the hours as they need, as WebVTT and TTML write it."""
    seconds, part = divmod(milliseconds, 1000)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02}:{minutes:02}:{seconds:02}.{part:03}"


def _milliseconds(found: re.Match[str], form: Literal["srt", "vtt"], repairs: list[str]) -> int | None:
    sign, hours, minutes, seconds, point, part = found.groups()
    wanted, name = (",", "comma") if form == "srt" else (".", "full stop")
    if found.re is _STOPS:
        repairs.append("hours, minutes and seconds are parted by colons")
    if hours is None and form == "srt":
        repairs.append("the hours are missing and were taken as 0")
    if int(minutes) > 59 or int(seconds) > 59:
        repairs.append("minutes and seconds above 59 were carried over")
    if part is None:
        repairs.append("a time without milliseconds was taken as a whole second")
    else:
        if point.strip() != wanted:
            repairs.append(f"'{point.strip() or ' '}' was taken for the {name} of the milliseconds")
        if len(part) != 3:
            repairs.append(f"'{wanted}{part}' was read as a decimal fraction of a second")
    short = [text for text in (hours, minutes, seconds) if text is not None and len(text) < 2]
    if short:
        repairs.append("hours, minutes and seconds have two digits each")
    if hours is not None and len(hours) > 6:
        return None
    whole_s = (int(hours or 0) * 60 + int(minutes)) * 60 + int(seconds)
    total = whole_s * 1000 + int((part or "0")[:3].ljust(3, "0"))
    return None if (sign and total) or total > _MOST_MS else total
