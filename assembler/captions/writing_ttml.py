"""TTML in the IMSC 1.1 text profile: white on a dark ground, one region at the foot and one at the top.

Times are clock times in milliseconds. A presentation processor shows a caption from the first frame whose
time is not before them (IMSC 1.1, 'Synchronization'), so they mean the same frames as in the other files.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from xml.etree import ElementTree as ET

from assembler.captions.styled import Line
from assembler.captions.timings import clock_time

TT = "http://www.w3.org/ns/ttml"
TTP = "http://www.w3.org/ns/ttml#parameter"
TTS = "http://www.w3.org/ns/ttml#styling"
XML = "http://www.w3.org/XML/1998/namespace"
PROFILE = "http://www.w3.org/ns/ttml/profile/imsc1.1/text"
_NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
# The look of burnt-in captions: 38 of 1080 rows, said against a cell, which is 1/15 of the height.
_LOOK = {"color": "#e8eae6", "fontFamily": "proportionalSansSerif", "fontSize": "53%", "lineHeight": "125%"}
_GROUND = "#101316cc"
# Inside the graphics-safe area, 5 % from each side (EBU R 95), and never over each other.
_REGIONS = (("foot", "5% 50%", "90% 45%", "after"), ("top", "5% 5%", "90% 40%", "before"))
_STYLE_OF = {"b": ("fontWeight", "bold"), "i": ("fontStyle", "italic"), "u": ("textDecoration", "underline")}


@dataclass(frozen=True, slots=True)
class TimedLines:
    """A caption: half-open, in milliseconds. top: it stands at the top of the picture."""

    start_ms: int
    end_ms: int
    lines: tuple[Line, ...]
    top: bool = False


def ttml_text(
    cues: Iterable[TimedLines], rate: Fraction | None, language: str, *, right_to_left: bool = False
) -> bytes:
    """A whole file. rate: pictures a second of the programme, None = unknown. language: as BCP 47 writes it."""
    listed = list(cues)
    root = ET.Element(_in(TT, "tt"), {f"{{{XML}}}lang": language, f"{{{XML}}}space": "preserve"})
    root.set(_in(TTP, "contentProfiles"), PROFILE)
    root.set(_in(TTP, "timeBase"), "media")
    if rate is not None:
        root.set(_in(TTP, "frameRate"), str(whole := ceil(rate)))
    if rate is not None and rate != whole:
        share = rate / whole
        root.set(_in(TTP, "frameRateMultiplier"), f"{share.numerator} {share.denominator}")
    root.append(_head(right_to_left, {cue.top for cue in listed}))
    division = ET.SubElement(ET.SubElement(root, _in(TT, "body")), _in(TT, "div"))
    for cue in listed:
        division.append(_paragraph(cue))
    _spread(root)
    names = {"": TT, "ttp": TTP, "tts": TTS}
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + _serialised(root, names) + b"\n"


def _head(right_to_left: bool, tops: set[bool]) -> ET.Element:
    head = ET.Element(_in(TT, "head"))
    styling = ET.SubElement(head, _in(TT, "styling"))
    look = {**_LOOK, "textAlign": "center"}
    if right_to_left:
        look["direction"] = "rtl"
    _styled(ET.SubElement(styling, _in(TT, "style"), {f"{{{XML}}}id": "caption"}), look)
    _styled(ET.SubElement(styling, _in(TT, "style"), {f"{{{XML}}}id": "ground"}), {"backgroundColor": _GROUND})
    layout = ET.SubElement(head, _in(TT, "layout"))
    for name, origin, extent, align in _REGIONS:
        if name == "top" and True not in tops:
            continue
        region = ET.SubElement(layout, _in(TT, "region"), {f"{{{XML}}}id": name})
        shape = {"origin": origin, "extent": extent, "displayAlign": align, "showBackground": "whenActive"}
        _styled(region, shape)
    return head


def _paragraph(cue: TimedLines) -> ET.Element:
    paragraph = ET.Element(
        _in(TT, "p"),
        {
            "begin": clock_time(cue.start_ms),
            "end": clock_time(cue.end_ms),
            "region": "top" if cue.top else "foot",
            "style": "caption",
        },
    )
    ground = ET.SubElement(paragraph, _in(TT, "span"), {"style": "ground"})
    last: ET.Element | None = None
    for number, line in enumerate(cue.lines):
        if number:
            last = ET.SubElement(ground, _in(TT, "br"))
        for run in line:
            text = _NOT_XML.sub("", run.text)
            if run.styles:
                last = ET.SubElement(ground, _in(TT, "span"))
                _styled(last, dict(_STYLE_OF[style] for style in run.styles))
                last.text = text
            elif last is None:
                ground.text = (ground.text or "") + text
            else:
                last.tail = (last.tail or "") + text
    return paragraph


def _spread(element: ET.Element, depth: int = 0) -> None:
    """One element a line down to paragraphs, whose own spaces are text."""
    if element.tag == _in(TT, "p") or not len(element):
        return
    inner = "\n" + "  " * (depth + 1)
    element.text = inner
    for child in element:
        _spread(child, depth + 1)
        child.tail = inner
    element[-1].tail = inner[:-2]


def _serialised(root: ET.Element, names: dict[str, str]) -> bytes:
    """With names as people write them; the registry of prefixes is everybody's, so the tree is renamed instead."""
    prefixes = {space: prefix for prefix, space in names.items()} | {XML: "xml"}

    def short(name: str) -> str:
        space, _, local = name[1:].partition("}") if name.startswith("{") else (TT, "", name)
        prefix = prefixes[space] if name.startswith("{") else ""
        return f"{prefix}:{local}" if prefix else local

    for element in root.iter():
        element.tag = short(element.tag)
        element.attrib = {short(key): value for key, value in element.attrib.items()}
    for prefix, space in names.items():
        root.set(f"xmlns:{prefix}" if prefix else "xmlns", space)
    text: str = ET.tostring(root, encoding="unicode")
    return text.encode()


def _styled(element: ET.Element, values: dict[str, str]) -> None:
    for name, value in values.items():
        element.set(_in(TTS, name), value)


def _in(space: str, name: str) -> str:
    return f"{{{space}}}{name}"
