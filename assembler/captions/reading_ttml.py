"""Read TTML files, IMSC text profiles among them: paragraphs with their times, lines and plain styles.

What XML allows a stranger's file to do is not allowed here: a document type, and with it any entity of its
own, ends the reading. A file that is no well-formed XML is read up to the fault, which is told.
"""

from __future__ import annotations

import html
import re
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from math import floor
from xml.parsers import expat

from assembler.captions.caption_file import CaptionFile, FileCue, Repair
from assembler.captions.decoding import decode

_TT = "http://www.w3.org/ns/ttml"
_XML = "http://www.w3.org/XML/1998/namespace"
_CLOCK = re.compile(r"(\d{2,6}):(\d{2}):(\d{2})(?:\.(\d{1,9})|:(\d{1,4}))?", re.ASCII)
_OFFSET = re.compile(r"(\d{1,12}(?:\.\d{1,9})?)(h|ms|m|s|f|t)", re.ASCII)
_SECONDS = {"h": Fraction(3600), "m": Fraction(60), "s": Fraction(1), "ms": Fraction(1, 1000)}
_STYLES = {("fontWeight", "bold"): "b", ("fontStyle", "italic"): "i", ("textDecoration", "underline"): "u"}
_MOST_S = 3_600_000
_DEEPEST = 100


@dataclass(slots=True)
class _Element:
    """An open element. start_s, end_s: what it and those around it allow. tags: the styles it opened."""

    name: str
    start_s: Fraction
    end_s: Fraction | None
    tags: str = ""
    keeps_space: bool = False


@dataclass(slots=True)
class _Paragraph:
    line_number: int
    identifier: str
    start_s: Fraction
    end_s: Fraction | None
    text: list[str] = field(default_factory=list)


class _StoppedError(Exception):
    """Nothing behind this place is read."""


def read_ttml(data: bytes) -> CaptionFile:
    """The cues of a TTML file, in the order of their starts. Their lines are written as WebVTT writes text:
    escaped, with <b>, <i> and <u>."""
    return _TtmlReader(data).read()


class _TtmlReader:
    def __init__(self, data: bytes) -> None:
        self.decoded = decode(data)
        self.repairs = list(self.decoded.repairs)
        self.cues: list[FileCue] = []
        self.open: list[_Element] = []
        self.paragraph: _Paragraph | None = None
        self.language = ""
        self.frame_rate, self.tick_rate = Fraction(30), Fraction(1)
        self.styles: dict[str, str] = {}
        self.parser = expat.ParserCreate("utf-8", namespace_separator="}")
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text
        self.parser.StartDoctypeDeclHandler = self._doctype
        self.parser.buffer_text = True

    def read(self) -> CaptionFile:
        found = self.decoded
        # Decoded already, whatever the file says of itself.
        text = re.sub(r"^\s*<\?xml[^>]*\?>", lambda head: "\n" * head[0].count("\n"), "\n".join(found.lines))
        try:
            self.parser.Parse(text.encode("utf-8", errors="replace"), True)
        except expat.ExpatError as error:
            what = expat.errors.messages[error.code]
            self._note(f"this is no well-formed XML ({what}); what comes behind it was not read", error.lineno, True)
        except _StoppedError:
            pass
        for before, cue in pairwise(self.cues):
            if cue.start_ms < before.start_ms:
                what = "the caption starts before the one above it; they were put in order"
                self._note(what, cue.line_number)
        cues = tuple(sorted(self.cues, key=lambda cue: cue.start_ms))
        repairs = tuple(sorted(self.repairs, key=lambda each: each.line_number))
        return CaptionFile("ttml", cues, repairs, found.newline, found.mark, found.encoding, self.language)

    def _note(self, what: str, line: int | None = None, refused: bool = False) -> None:
        self.repairs.append(Repair(line or self.parser.CurrentLineNumber, what, refused))

    def _doctype(self, *_: object) -> None:
        self._note("a document type is not allowed in a caption file; nothing behind it was read", refused=True)
        raise _StoppedError

    def _start(self, full_name: str, values: dict[str, str]) -> None:
        space, _, name = full_name.rpartition("}")
        if not self.open and (space, name) != (_TT, "tt"):
            self._note(f"the root of this XML is <{name[:40]}>, not <tt> of TTML; nothing was read", refused=True)
            raise _StoppedError
        if len(self.open) >= _DEEPEST:
            self._note("elements are nested too deeply; nothing behind this was read", refused=True)
            raise _StoppedError
        around = self.open[-1] if self.open else _Element("", Fraction(0), None)
        here = _Element(name if space == _TT else "", around.start_s, around.end_s, keeps_space=around.keeps_space)
        if (kept := values.get(f"{_XML}}}space")) is not None:
            here.keeps_space = kept == "preserve"
        self.open.append(here)
        own = {key.rpartition("}")[2]: value for key, value in values.items()}
        if here.name == "tt":
            self._root(values, own)
        elif here.name == "style" and f"{_XML}}}id" in values:
            self.styles[values[f"{_XML}}}id"]] = self._tags(own)
        elif here.name in ("body", "div", "p", "span"):
            self._narrow(here, around, own)
            if here.name == "p":
                line = self.parser.CurrentLineNumber
                self.paragraph = _Paragraph(line, values.get(f"{_XML}}}id", ""), here.start_s, here.end_s)
            if self.paragraph is not None:
                here.tags = self._tags(own)
                self.paragraph.text.extend(f"<{tag}>" for tag in here.tags)
                if here.name == "span" and ("begin" in own or "end" in own or "dur" in own):
                    self._note("the times of a part of a caption were left out")
        elif here.name == "br" and self.paragraph is not None:
            self.paragraph.text.append("\n")

    def _root(self, values: dict[str, str], own: dict[str, str]) -> None:
        self.language = values.get(f"{_XML}}}lang", "")
        try:
            self.frame_rate = Fraction(int(own.get("frameRate", "30")))
            top, bottom = own.get("frameRateMultiplier", "1 1").replace(":", " ").split()
            self.frame_rate *= Fraction(int(top), int(bottom))
            self.tick_rate = Fraction(int(own["tickRate"])) if "tickRate" in own else self.frame_rate
            if self.frame_rate <= 0 or self.tick_rate <= 0:
                raise ValueError
        except (ValueError, ZeroDivisionError):
            self.frame_rate, self.tick_rate = Fraction(30), Fraction(30)
            self._note("the frame rate cannot be read and was taken as 30")
        if own.get("timeBase", "media") != "media":
            self._note(f"times of the base '{own['timeBase']}' were taken as media times")

    def _tags(self, own: dict[str, str]) -> str:
        referred = "".join(self.styles.get(name, "") for name in own.get("style", "").split())
        direct = "".join(_STYLES.get((key, value), "") for key, value in own.items())
        return "".join(style for style in "biu" if style in referred + direct)

    def _narrow(self, here: _Element, around: _Element, own: dict[str, str]) -> None:
        """The times of an element are counted from those around it and end with them."""
        times: dict[str, Fraction] = {}
        for key in ("begin", "end", "dur"):
            if key in own:
                found = self._seconds(own[key].strip())
                if found is None:
                    self._note(f"{key}='{own[key][:40]}' is no time that can be read", refused=here.name == "p")
                    here.end_s = here.start_s  # so that nothing within it is shown at a wrong time
                    return
                times[key] = found
        here.start_s = around.start_s + times.get("begin", Fraction(0))
        ends = [around.end_s] if around.end_s is not None else []
        if "end" in times:
            ends.append(around.start_s + times["end"])
        if "dur" in times:
            ends.append(here.start_s + times["dur"])
        here.end_s = min(ends, default=None)

    def _seconds(self, text: str) -> Fraction | None:
        if found := _CLOCK.fullmatch(text):
            hours, minutes, seconds, part, frames = found.groups()
            whole_s = Fraction((int(hours) * 60 + int(minutes)) * 60 + int(seconds))
            if int(minutes) > 59 or int(seconds) > 59:
                return None
            value = whole_s + (Fraction(f"0.{part}") if part else 0)
            value += int(frames) / self.frame_rate if frames else 0
        elif found := _OFFSET.fullmatch(text):
            unit = {"f": 1 / self.frame_rate, "t": 1 / self.tick_rate, **_SECONDS}[found[2]]
            value = Fraction(found[1]) * unit
        else:
            return None
        return value if value <= _MOST_S else None

    def _text(self, text: str) -> None:
        if self.paragraph is not None and self.open[-1].name in ("p", "span"):
            kept = text if self.open[-1].keeps_space else re.sub(r"[ \t\r\n]+", " ", text)
            self.paragraph.text.append(html.escape(kept.replace("\n", " "), quote=False))

    def _end(self, _: str) -> None:
        here = self.open.pop()
        if self.paragraph is None:
            return
        self.paragraph.text.extend(f"</{tag}>" for tag in reversed(here.tags))
        if here.name == "p":
            self._cue(self.paragraph)
            self.paragraph = None

    def _cue(self, found: _Paragraph) -> None:
        line = found.line_number
        parts = (re.sub(r" {2,}", " ", part).strip() for part in "".join(found.text).split("\n"))
        lines = tuple(part for part in parts if part)
        if not lines:
            self._note("the caption has no text and was left out", line)
        elif found.end_s is None:
            self._note("the caption has no end; set one", line, refused=True)
        elif any(each.line_number == line and each.refused for each in self.repairs):
            return
        else:
            # The millisecond before, as our own files have it: a time on a frame's start is that frame's again.
            start_ms, end_ms = (floor(time * 1000) for time in (found.start_s, found.end_s))
            if end_ms <= start_ms:
                how = "ends before it starts" if end_ms < start_ms else "lasts no time"
                self._note(f"the caption {how}; set its end", line, refused=True)
            else:
                self.cues.append(FileCue(start_ms, end_ms, lines, line, found.identifier))
