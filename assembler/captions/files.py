"""Caption files: SubRip through pysrt, WebVTT by a strict writer of our own. Both land whole.

Times are the last whole millisecond at or before a frame's start. A player shows a caption on the
pictures whose time is not before its start and before its end, and these are then the very frames;
the frame nearest to the millisecond is the same frame again, too.

Text is shown as it was written: what a player would take for markup or for a timing line is escaped
in WebVTT; SubRip has no escape, so there an invisible word joiner (U+2060) stands inside it.
"""

from __future__ import annotations

import io
import re
import unicodedata
from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pysrt

from assembler.captions.cues import Cue, seen
from assembler.media.landing import write_whole

_JOINER = "\u2060"
_RIGHT_TO_LEFT_MARK = "\u200f"
_RIGHT_TO_LEFT = frozenset({"ar", "arc", "ckb", "dv", "fa", "he", "ks", "ps", "sd", "ug", "ur", "yi"})
# After each of these a joiner keeps readers from seeing a tag, a style or a time.
_SRT_SIGNS = re.compile(
    r"""
    < (?= \s* /? \s* [A-Za-z])                # <b>, </i>, <font ...>
    | \{ (?= \\)                              # {\an8}
    | \\ (?= [Nnh])                           # \N
    | - (?= ->)                               # -->
    | (?<= \d) : (?= \d{1,2} : \d{1,2} [.,] \d)  # 00:00:01,000
    """,
    re.VERBOSE | re.ASCII,
)


def millisecond(frame: int, rate: Fraction) -> int:
    """The last whole millisecond at or before a frame's start."""
    return frame * 1000 * rate.denominator // rate.numerator


def frame_at(milliseconds: int, rate: Fraction) -> int:
    """The first frame that starts at or after a time: the inverse of `millisecond`."""
    return -(-milliseconds * rate.numerator // (1000 * rate.denominator))


def srt_lines(lines: Iterable[str], language: str = "") -> tuple[str, ...]:
    """Caption lines as `write_srt` writes them: what holds nothing to see left out, signs escaped."""
    return tuple(_srt_line(line) for line in _lines(lines, language))


def srt_text(cues: Iterable[tuple[int, int, Sequence[str]]]) -> str:
    """A SubRip file of (start ms, end ms, lines as they are to stand in it)."""
    items = [
        pysrt.SubRipItem(
            index=number,
            start=pysrt.SubRipTime.from_ordinal(start_ms),
            end=pysrt.SubRipTime.from_ordinal(end_ms),
            text="\n".join(lines),
        )
        for number, (start_ms, end_ms, lines) in enumerate(cues, 1)
    ]
    written = io.StringIO(newline="")
    pysrt.SubRipFile(items=items, eol="\n").write_into(written)
    return written.getvalue()


def write_srt(cues: Iterable[Cue], rate: Fraction, path: Path, language: str = "") -> None:
    """Write a SubRip file: UTF-8 without a mark, LF, counters from 1, comma times.

    Cues without anything to see are left out. Raises ValueError when cues are out of order, overlap
    or hold no frame; MissingPartError or RenderError when the file cannot be written.
    """
    text = srt_text(
        (millisecond(cue.start_frame, rate), millisecond(cue.end_frame, rate), [_srt_line(line) for line in lines])
        for cue, lines in _shown(cues, language)
    )
    write_whole(path, text.encode("utf-8"))


def write_vtt(cues: Iterable[Cue], rate: Fraction, path: Path, language: str) -> None:
    """Write a WebVTT file: UTF-8 without a mark, LF, escaped text.

    WebVTT has no place for the language of a file, the player is told beside it. It decides here
    whether lines that begin with other letters are marked to run right to left.
    Left out and raised as in `write_srt`.
    """
    blocks = ["WEBVTT\n"]
    for cue, lines in _shown(cues, language):
        times = " --> ".join(_vtt_time(millisecond(frame, rate)) for frame in (cue.start_frame, cue.end_frame))
        blocks.append("\n".join([times, *map(_vtt_line, lines), ""]))
    write_whole(path, "\n".join(blocks).encode("utf-8"))


def _shown(cues: Iterable[Cue], language: str) -> list[tuple[Cue, list[str]]]:
    """Cues with the lines that hold something to see, once their order is known to be sound."""
    listed = list(cues)
    _demand_order(listed)
    found = ((cue, _lines(cue.lines, language)) for cue in listed)
    return [(cue, lines) for cue, lines in found if lines]


def _lines(written: Iterable[str], language: str) -> list[str]:
    lines = [line for text in written for part in text.splitlines() if (line := seen(part))]
    marked = language.split("-")[0].lower() in _RIGHT_TO_LEFT
    return [_directed(line) for line in lines] if marked else lines


def _demand_order(cues: Sequence[Cue]) -> None:
    for number, cue in enumerate(cues, 1):
        if not 0 <= cue.start_frame < cue.end_frame:
            raise ValueError(f"caption {number} runs from frame {cue.start_frame} to {cue.end_frame}")
    for number, (cue, following) in enumerate(pairwise(cues), 1):
        if following.start_frame < cue.end_frame:
            raise ValueError(
                f"caption {number + 1} starts at frame {following.start_frame}, "
                f"before caption {number} ends at {cue.end_frame}"
            )


def _directed(line: str) -> str:
    # A line's direction is that of its first letter; a Latin name at its head would turn it round.
    kinds = (unicodedata.bidirectional(char) for char in line)
    first = next((kind for kind in kinds if kind in ("L", "R", "AL")), "L")
    return _RIGHT_TO_LEFT_MARK + line if first == "L" else line


def _srt_line(line: str) -> str:
    return _SRT_SIGNS.sub(lambda found: found[0] + _JOINER, line)


def _vtt_line(line: str) -> str:
    return line.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _vtt_time(milliseconds: int) -> str:
    seconds, part = divmod(milliseconds, 1000)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02}:{minutes:02}:{seconds:02}.{part:03}"
