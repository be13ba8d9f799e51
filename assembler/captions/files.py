"""Caption files: SubRip through pysrt, WebVTT and TTML by strict writers of our own. All land whole.

Times are the last whole millisecond at or before a frame's start. A player shows a caption on the
pictures whose time is not before its start and before its end, and these are then the very frames;
the frame nearest to the millisecond is the same frame again, too.

Text is shown as it was written: what a player would take for markup or for a timing line is escaped.
Bold, italic and underlined text of a person's own caption file stays so in all of them.
"""

from __future__ import annotations

import io
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pysrt

from assembler.captions.cues import Cue, seen
from assembler.captions.styled import (
    Line,
    Run,
    at_top,
    plain,
    srt_escaped,
    srt_marked,
    styled_srt,
    tagged,
    text_of,
)
from assembler.captions.timings import clock_time
from assembler.captions.writing_ttml import TimedLines, ttml_text
from assembler.media.landing import write_whole

_RIGHT_TO_LEFT_MARK = "\u200f"
_RIGHT_TO_LEFT = frozenset({"ar", "arc", "ckb", "dv", "fa", "he", "ks", "ps", "sd", "ug", "ur", "yi"})
_SPACE = re.compile(r"\s+")
_TAG = re.compile(r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*")
_UNSEEN = ("Cc", "Cs")


def millisecond(frame: int, rate: Fraction) -> int:
    """The last whole millisecond at or before a frame's start."""
    return frame * 1000 * rate.denominator // rate.numerator


def frame_at(milliseconds: int, rate: Fraction) -> int:
    """The first frame that starts at or after a time: the inverse of `millisecond`."""
    return -(-milliseconds * rate.numerator // (1000 * rate.denominator))


def srt_lines(lines: Iterable[str], language: str = "") -> tuple[str, ...]:
    """Caption lines as `write_srt` writes them: what holds nothing to see left out, signs escaped."""
    return tuple(srt_escaped(line) for line in _lines(lines, language))


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


@dataclass(frozen=True, slots=True)
class Shown:
    """A cue as files hold it. lines: its text with bold, italic and underlined runs. srt: the same as it stands
    in a SubRip file, with whatever other markup a person put there. top: it is asked for at the top."""

    start_frame: int
    end_frame: int
    lines: tuple[Line, ...]
    srt: tuple[str, ...]
    top: bool = False


def write_all(cues: Iterable[Cue], rate: Fraction, stem: Path, language: str) -> tuple[Path, ...]:
    """Write all caption files beside each other: `stem` with .srt, .vtt and .ttml. Raises as `write_srt`."""
    listed = tuple(cues)
    # The stem is a file's: 'draft.v2.mp4' has 'draft.v2.srt' beside it.
    srt, vtt, ttml = (stem.with_name(stem.name + end) for end in (".srt", ".vtt", ".ttml"))
    write_srt(listed, rate, srt, language)
    write_vtt(listed, rate, vtt, language)
    write_ttml(listed, rate, ttml, language)
    return srt, vtt, ttml


def write_srt(cues: Iterable[Cue], rate: Fraction, path: Path, language: str = "") -> None:
    """Write a SubRip file: UTF-8 without a mark, LF, counters from 1, comma times.

    Cues without anything to see are left out. Raises ValueError when cues are out of order, overlap
    or hold no frame; MissingPartError or RenderError when the file cannot be written.
    """
    text = srt_text(
        (millisecond(cue.start_frame, rate), millisecond(cue.end_frame, rate), cue.srt) for cue in shown(cues, language)
    )
    write_whole(path, text.encode("utf-8"))


def write_vtt(cues: Iterable[Cue], rate: Fraction, path: Path, language: str) -> None:
    """Write a WebVTT file: UTF-8 without a mark, LF, escaped text.

    WebVTT has no place for the language of a file, the player is told beside it; a note says it to
    people. It decides here whether lines that begin with other letters are marked to run right to left.
    Left out and raised as in `write_srt`.
    """
    write_whole(path, vtt_text(_timed(cues, rate, language), language))


def vtt_text(cues: Iterable[TimedLines], language: str) -> bytes:
    """A whole WebVTT file of cues in order."""
    blocks = ["WEBVTT\n", *([f"NOTE language: {language}\n"] if _TAG.fullmatch(language) else [])]
    for cue in cues:
        times = f"{clock_time(cue.start_ms)} --> {clock_time(cue.end_ms)}"
        # 5 % from the top: inside the title-safe area, where the line would begin otherwise.
        head = times + (" line:5%" if cue.top else "")
        blocks.append("\n".join([head, *(tagged(line, _vtt_escaped) for line in cue.lines), ""]))
    return "\n".join(blocks).encode("utf-8")


def write_ttml(cues: Iterable[Cue], rate: Fraction, path: Path, language: str) -> None:
    """Write a TTML file of the IMSC 1.1 text profile: UTF-8, times in milliseconds.

    Left out and raised as in `write_srt`; so are the two signs that XML cannot hold, U+FFFE and U+FFFF.
    """
    write_whole(path, ttml_text(_timed(cues, rate, language), rate, language, right_to_left=right_to_left(language)))


def _timed(cues: Iterable[Cue], rate: Fraction, language: str) -> list[TimedLines]:
    return [
        TimedLines(millisecond(cue.start_frame, rate), millisecond(cue.end_frame, rate), cue.lines, cue.top)
        for cue in shown(cues, language)
    ]


def shown(cues: Iterable[Cue], language: str) -> list[Shown]:
    """Cues with the lines that hold something to see, once their order is known to be sound.

    Raises ValueError when cues are out of order, overlap or hold no frame.
    """
    listed = list(cues)
    _demand_order(listed)
    found = (_shown(cue, language) for cue in listed)
    return [cue for cue in found if cue.lines]


def styled_lines(cue: Cue) -> tuple[Line, ...]:
    """The lines of a cue that is burnt in, with the styles that a person gave them."""
    if not cue.marked:
        return tuple(map(plain, cue.lines))
    return tuple(line for line in map(_clean, styled_srt(cue.marked)) if line)


def _shown(cue: Cue, language: str) -> Shown:
    if not cue.marked:
        texts = _lines(cue.lines, language)
        lines, srt = tuple(map(plain, texts)), tuple(map(srt_escaped, texts))
        return Shown(cue.start_frame, cue.end_frame, lines, srt)
    direct = right_to_left(language)
    kept: list[tuple[Line, str]] = []
    for line, written in zip(styled_srt(cue.marked), cue.marked, strict=True):
        clean = _clean(line)
        if text := seen(text_of(clean)):
            mark = direct and _begins_left_to_right(text)
            runs = (Run(_RIGHT_TO_LEFT_MARK), *clean) if mark else clean
            kept.append((runs, _RIGHT_TO_LEFT_MARK * mark + srt_marked(seen(written))))
    lines, srt = tuple(line for line, _ in kept), tuple(text for _, text in kept)
    return Shown(cue.start_frame, cue.end_frame, lines, srt, at_top(cue.marked))


def _clean(line: Line) -> Line:
    """The runs as `seen` leaves a text: one space where there was any, no control characters."""
    runs: list[Run] = []
    space = True  # so far nothing stands that a space could follow
    for run in line:
        text = _SPACE.sub(" ", "".join(c for c in run.text if c.isspace() or unicodedata.category(c) not in _UNSEEN))
        text = text.lstrip(" ") if space else text
        if text:
            runs.append(Run(text, run.styles))
            space = text.endswith(" ")
    if runs and space:
        runs[-1] = Run(runs[-1].text.rstrip(" "), runs[-1].styles)
    return tuple(run for run in runs if run.text)


def _lines(written: Iterable[str], language: str) -> list[str]:
    lines = [line for text in written for part in text.splitlines() if (line := seen(part))]
    if not right_to_left(language):
        return lines
    return [_RIGHT_TO_LEFT_MARK + line if _begins_left_to_right(line) else line for line in lines]


def right_to_left(language: str) -> bool:
    """Whether a language is written so."""
    return language.split("-")[0].lower() in _RIGHT_TO_LEFT


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


def _begins_left_to_right(line: str) -> bool:
    # A line's direction is that of its first letter; a Latin name at its head would turn it round.
    kinds = (unicodedata.bidirectional(char) for char in line)
    return next((kind for kind in kinds if kind in ("L", "R", "AL")), "L") == "L"


def _vtt_escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
