"""A caption file as it was read: its cues with their text as written, and what had to be repaired."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Form = Literal["srt", "vtt", "ttml"]


@dataclass(frozen=True, slots=True)
class FileCue:
    """A cue of a caption file. Times are whole milliseconds from the programme's start, half-open.

    lines: the text as it stands in the file, tags and escapes included (of TTML: as WebVTT would write
    it). line_number: the line of the file its block begins at, from 1. identifier: a WebVTT cue's own, or
    a SubRip counter as written. settings: WebVTT cue settings as written.
    """

    start_ms: int
    end_ms: int
    lines: tuple[str, ...]
    line_number: int = 0
    identifier: str = ""
    settings: str = ""


@dataclass(frozen=True, slots=True)
class Repair:
    """Something in a caption file that is not as it should be. refused: its block could not be read at
    all; otherwise `what` says how it was taken."""

    line_number: int
    what: str
    refused: bool = False


@dataclass(frozen=True, slots=True)
class CaptionFile:
    """All cues in the order of the file. newline, mark (a byte order mark) and encoding: as found."""

    form: Form
    cues: tuple[FileCue, ...]
    repairs: tuple[Repair, ...] = ()
    newline: str = "\n"
    mark: bool = False
    encoding: str = "utf-8"
    language: str = ""
