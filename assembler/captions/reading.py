"""Read a caption file of any form: SubRip, WebVTT or TTML, told apart by what stands in it."""

from __future__ import annotations

import re

from assembler.captions.caption_file import CaptionFile, FileCue
from assembler.captions.decoding import decode
from assembler.captions.reading_srt import read_srt
from assembler.captions.reading_ttml import read_ttml
from assembler.captions.reading_vtt import read_vtt
from assembler.captions.styled import Line, styled_srt, styled_vtt

_READERS = {"srt": read_srt, "vtt": read_vtt, "ttml": read_ttml}
_FORMS = {".srt": "srt", ".vtt": "vtt", ".ttml": "ttml", ".xml": "ttml", ".dfxp": "ttml", ".imsc": "ttml"}
_XML = re.compile(r"\s*(<\?xml|<!DOCTYPE|<([\w.-]+:)?tt[\s>])")


def read_captions(data: bytes, name: str) -> CaptionFile:
    """The cues of a caption file. name: the file's, whose end decides where the content does not.

    Never raises for what stands in a file: what is wrong is in `repairs`, each with its line.
    """
    lines = decode(data[:4096]).lines
    first = next((line for line in lines if line.strip("\ufeff \t")), "").lstrip("\ufeff \t")
    if first.upper().startswith("WEBVTT"):
        form = "vtt"
    elif _XML.match(first):
        form = "ttml"
    else:
        end = re.search(r"\.[A-Za-z]+$", name)
        form = _FORMS.get(end[0].lower() if end else "", "srt")
    return _READERS[form](data)


def styled_lines(file: CaptionFile, cue: FileCue) -> tuple[Line, ...]:
    """The lines of a cue of that file as a viewer reads them, with their styles."""
    return styled_srt(cue.lines) if file.form == "srt" else styled_vtt(cue.lines)
