"""`assembler captions`: say what is wrong with a caption file, and write it anew in any form."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assembler.cli.output import as_dict, counted, err, out, print_findings, print_json, tally
from assembler.errors import Finding, Place, UsageError

if TYPE_CHECKING:
    from assembler.captions.caption_file import CaptionFile
    from assembler.captions.writing_ttml import TimedLines

DESCRIPTION = """\
Read a caption file (SubRip, WebVTT or TTML, whatever it is called) and say, line by line, what had to be repaired
in it and what cannot be read; exit code 1 when a caption cannot be read. --write writes what was read as a clean
file of the form that its name ends in, with bold, italic and underlined text."""
_ENDINGS = (".srt", ".vtt", ".ttml")
_MOST_BYTES = 50_000_000


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser(
        "captions", help="check a caption file, and write it in another form", description=DESCRIPTION
    )
    command.add_argument("file", type=Path, help="a caption file")
    command.add_argument(
        "--write", type=Path, metavar="FILE", help=f"write it anew, as {', '.join(_ENDINGS[:-1])} or {_ENDINGS[-1]}"
    )
    command.add_argument("--language", metavar="TAG", help="the language of its text, such as en (default: as it says)")
    command.add_argument("--json", action="store_true", help="print the result as JSON")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Read the file, tell, and write."""
    from assembler.captions.reading import read_captions

    path, new = options.file, options.write
    if new is not None:
        _permit(path, new)
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise UsageError(f"{path} is too large to be a caption file: {path.stat().st_size:,} bytes")
        file = read_captions(path.read_bytes(), path.name)
    except OSError as error:
        raise UsageError(f"{path}: could not be read: {error.strerror}", mend="name a caption file") from error
    findings = tuple(_findings(file, path))
    refused = any(found.severity == "error" for found in findings)
    if new is not None and not refused:
        _write(file, new, options.language or file.language)
    written = str(new) if new is not None and not refused else None
    if options.json:
        content = {"form": file.form, "language": file.language, "encoding": file.encoding, "captions": len(file.cues)}
        print_json("captions", {**content, "written": written, "findings": [as_dict(found) for found in findings]})
        return int(refused)
    print_findings(findings, to_stdout=False)
    if written:
        out(written)
    state = "nothing was written: correct the file first; " if new is not None and refused else ""
    err(f"{path.name}: {counted(len(file.cues), 'caption')}; {state}{tally(findings)}")
    return int(refused)


def _permit(path: Path, new: Path) -> None:
    if new.suffix.lower() not in _ENDINGS:
        mend = f"end its name in {', '.join(_ENDINGS[:-1])} or {_ENDINGS[-1]}"
        raise UsageError(f"--write: {new} is no caption file that can be written", mend=mend)
    if new.exists() and path.exists() and new.samefile(path):
        raise UsageError(f"--write: {new} is the file that is read", mend="write to another file")


def _findings(file: CaptionFile, path: Path) -> Iterator[Finding]:
    for each in file.repairs:
        place = Place(str(path), each.line_number, 1)
        if each.refused:
            yield Finding("error", "caption-unreadable", place, each.what)
        else:
            yield Finding("warning", "caption-repaired", place, each.what)
    for line, what in _overlaps(file):
        yield Finding("warning", "captions-overlap", Place(str(path), line, 1), what)


def _overlaps(file: CaptionFile) -> Iterator[tuple[int, str]]:
    """WebVTT and TTML allow them; a programme shows one caption at a time."""
    from itertools import pairwise

    if file.form == "srt":
        return  # told of by its reader
    for before, cue in pairwise(file.cues):
        if cue.start_ms < before.end_ms:
            yield before.line_number, f"it ends after the next one starts (line {cue.line_number})"


def _write(file: CaptionFile, path: Path, language: str) -> None:
    from assembler.captions.files import right_to_left, srt_text, vtt_text
    from assembler.captions.styled import srt_escaped, tagged
    from assembler.captions.writing_ttml import ttml_text
    from assembler.media.landing import write_whole

    cues = _one_at_a_time(file)
    if path.suffix.lower() == ".srt":
        lines = [tuple(tagged(line, srt_escaped) for line in cue.lines) for cue in cues]
        data = srt_text((cue.start_ms, cue.end_ms, text) for cue, text in zip(cues, lines, strict=True)).encode()
    elif path.suffix.lower() == ".vtt":
        data = vtt_text(cues, language)
    else:
        data = ttml_text(cues, None, language, right_to_left=right_to_left(language))
    write_whole(path, data)


def _one_at_a_time(file: CaptionFile) -> list[TimedLines]:
    """The file's cues as they can be shown one after the other: what starts together stands together."""
    from dataclasses import replace

    from assembler.captions.reading import styled_lines
    from assembler.captions.styled import at_top
    from assembler.captions.writing_ttml import TimedLines

    found: list[TimedLines] = []
    for each in file.cues:
        top = file.form == "srt" and at_top(each.lines)
        cue = TimedLines(each.start_ms, each.end_ms, tuple(filter(None, styled_lines(file, each))), top)
        before = found[-1] if found else None
        if not cue.lines:
            continue
        if before is not None and before.start_ms == cue.start_ms:
            found[-1] = replace(before, end_ms=max(before.end_ms, cue.end_ms), lines=before.lines + cue.lines)
            continue
        if before is not None and before.end_ms > cue.start_ms:
            found[-1] = replace(before, end_ms=cue.start_ms)
        found.append(cue)
    return found
