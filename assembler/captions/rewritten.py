"""Write a caption file of its own anew with other times: SubRip whole, WebVTT with all that stands around its cues.

    talk.srt            the file
    talk.before.srt     as it was before (older ones: talk.before-2.srt …)
    talk.removed.srt    captions that have no time any more, with their old times
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path

from assembler.captions.caption_file import CaptionFile, FileCue
from assembler.captions.decoding import decode
from assembler.captions.files import srt_text
from assembler.captions.mechanical import Changed
from assembler.captions.reading import read_captions
from assembler.captions.timings import clock_time, read_timing
from assembler.errors import Place, Problem, StoryboardError, UsageError
from assembler.media.landing import write_whole

_KEPT_BEFORE = 5
_INNER = re.compile(r"<((?:\d+:)?\d{2}:\d{2}\.\d{3})>", re.ASCII)


def open_captions(path: Path) -> tuple[bytes, CaptionFile]:
    """A caption file to be written anew. Raises UsageError when it cannot be opened or be of use; StoryboardError
    with the place of everything in it that cannot be read."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UsageError(f"{path}: could not be read: {error.strerror}", mend="name a caption file") from error
    file = read_captions(data, path.name)
    if file.form == "ttml":
        raise UsageError(f"{path}: TTML is read but not written anew", mend="give the SubRip or WebVTT file instead")
    mend = "correct the file; it is not written again while something in it cannot be read"
    if refused := [each for each in file.repairs if each.refused]:
        raise StoryboardError([Problem(Place(str(path), each.line_number, 1), each.what, mend) for each in refused])
    if not file.cues:
        raise UsageError(f"{path}: there are no captions in it", mend="name a caption file")
    return data, file


def write_changed(
    path: Path, data: bytes, file: CaptionFile, changed: Changed, at: Callable[[Fraction], Fraction]
) -> tuple[Path, ...]:
    """Write `file`, which was read from `data`, to `path` with new times. at: new seconds of old ones, for times inside
    a text. A file that is there is kept beside it. Returns what was written."""
    cues = [(start_ms, end_ms, cue.lines) for cue, start_ms, end_ms in changed.cues]
    text = srt_text(cues) if file.form == "srt" else _vtt(data, changed, at)
    written = list(_land(path, text.replace("\n", file.newline).encode("utf-8-sig" if file.mark else "utf-8")))
    if changed.removed:
        beside = path.with_name(f"{path.stem}.removed.srt")
        gone = [(cue.start_ms, cue.end_ms, cue.lines) for cue, _ in changed.removed]
        with contextlib.suppress(OSError):
            # What was removed before stays in the list.
            before = read_captions(beside.read_bytes(), beside.name).cues
            gone = sorted({*gone, *((cue.start_ms, cue.end_ms, cue.lines) for cue in before)})
        write_whole(beside, srt_text(gone).encode())
        written.append(beside)
    return tuple(written)


def _land(path: Path, data: bytes) -> Sequence[Path]:
    try:
        if path.read_bytes() == data:
            return ()
    except OSError:
        pass
    else:
        keep_before(path)
    write_whole(path, data)
    return (path,)


def before(path: Path, number: int) -> Path:
    """Where the file before the last writing lies (1), the one before that (2), …"""
    return path.with_name(f"{path.stem}.before{'' if number == 1 else f'-{number}'}{path.suffix}")


def keep_before(path: Path) -> None:
    """Put a file among the ones before."""
    for number in range(_KEPT_BEFORE - 1, 0, -1):
        with contextlib.suppress(FileNotFoundError):
            before(path, number).replace(before(path, number + 1))
    write_whole(before(path, 1), path.read_bytes())


def _vtt(data: bytes, changed: Changed, at: Callable[[Fraction], Fraction]) -> str:
    """The text of a WebVTT file with new times on its timing lines and inside its cues; all else as it stands."""
    lines = list(decode(data).lines)
    times = {cue.line_number - 1: (start_ms, end_ms) for cue, start_ms, end_ms in changed.cues}
    gone = {cue.line_number - 1 for cue, _ in changed.removed}
    heads = sorted([*times, *gone])
    out = lines[: heads[0]] if heads else lines
    for head, following in zip(heads, [*heads[1:], len(lines)], strict=True):
        block = lines[head:following]
        stop = next((number for number, line in enumerate(block) if number and not line.strip()), len(block))
        if head in gone:
            out += block[stop + 1 :]
            continue
        timing_at = next(number for number, line in enumerate(block) if read_timing(line, "vtt"))
        found = read_timing(block[timing_at], "vtt")
        assert found is not None
        shown = " --> ".join(clock_time(time_ms) for time_ms in times[head])
        block[timing_at] = f"{shown} {found.rest}".rstrip()
        block[timing_at + 1 : stop] = [_inner(line, at) for line in block[timing_at + 1 : stop]]
        out += block
    return "\n".join(out)


def _inner(line: str, at: Callable[[Fraction], Fraction]) -> str:
    def moved(found: re.Match[str]) -> str:
        *hours, minutes, seconds = found[1].split(":")
        old_s = (int(hours[0] if hours else 0) * 60 + int(minutes)) * 60 + Fraction(seconds)
        return f"<{clock_time(max(0, round(at(old_s) * 1000)))}>"

    return _INNER.sub(moved, line)


def plain_cue(cue: FileCue) -> str:
    """A cue's text in one line, for tables."""
    return " / ".join(cue.lines).replace("\u2060", "")
