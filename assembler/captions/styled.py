"""The text of captions as runs of bold, italic and underlined letters, from SubRip's and WebVTT's markup.

SubRip has no standard. What players act on is <b>, <i>, <u>, <s>, <font ...> and {\\an8} at the head of a
text; it has no escape, so an invisible word joiner (U+2060) keeps signs apart that are meant as text.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

JOINER = "\u2060"
STYLES = "biu"
_SRT_TAG = re.compile(r"<\s*(/?)\s*([bius]|font|strike)(?:\s[^<>]*)?>|\{\\[^{}]*\}", re.IGNORECASE)
_VTT_TAG = re.compile(r"<(/?)([A-Za-z]*)[^>]*>?")
_TOP = re.compile(r"\{\\an[789]\}")
# After each of these a joiner keeps readers from seeing a tag, a style or a time.
_TIME_SIGNS = rf"""
    - (?= {JOINER}* ->)                                     # -->
    | (?<= \d) : (?= {JOINER}* \d{{1,2}} : \d{{1,2}} [.,] \d)  # 00:00:01,000
"""
_SIGNS = re.compile(
    rf"""
    < (?= {JOINER}* \s* /? \s* [A-Za-z])      # <b>, </i>, <font ...>
    | \{{ (?= {JOINER}* \\)                   # {{\an8}}
    | \\ (?= {JOINER}* [Nnh])                 # \N
    | {_TIME_SIGNS}
    """,
    re.VERBOSE | re.ASCII,
)
_ONLY_TIMES = re.compile(_TIME_SIGNS, re.VERBOSE | re.ASCII)


@dataclass(frozen=True, slots=True)
class Run:
    """Text of one style. styles: of the letters b, i, u, in this order."""

    text: str
    styles: str = ""


Line = tuple[Run, ...]


def plain(text: str) -> Line:
    """A line without styles."""
    return (Run(text),) if text else ()


def text_of(line: Line) -> str:
    """What can be read in a line."""
    return "".join(run.text for run in line)


def styled_srt(lines: Iterable[str]) -> tuple[Line, ...]:
    """The lines of a SubRip caption. Markup other than bold, italic and underlined is left out; what only
    looks like markup is text. A style that is never closed runs to the caption's end."""
    return _styled(lines, _SRT_TAG, srt_unescaped)


def styled_vtt(lines: Iterable[str]) -> tuple[Line, ...]:
    """The lines of a WebVTT caption: escapes read, classes, voices and times within it left out."""
    return _styled(lines, _VTT_TAG, html.unescape)


def at_top(lines: Sequence[str]) -> bool:
    """Whether a SubRip caption asks for the top of the picture."""
    return any(_TOP.search(line) for line in lines)


def has_markup(lines: Iterable[str]) -> bool:
    """Whether a SubRip caption holds more than text."""
    return any(_SRT_TAG.search(line) for line in lines)


def srt_escaped(text: str) -> str:
    """Text as it stands in a SubRip file so that nothing in it is taken for markup or times."""
    return _SIGNS.sub(lambda found: found[0] + JOINER, text)


def srt_marked(text: str) -> str:
    """A line with its markup as it stands in a SubRip file: only what would be taken for times is escaped."""
    return _ONLY_TIMES.sub(lambda found: found[0] + JOINER, text)


def srt_unescaped(text: str) -> str:
    """The inverse of `srt_escaped`."""
    parts, at = [], 0
    for found in _SIGNS.finditer(text):
        parts.append(text[at : found.end()])
        at = found.end() + text.startswith(JOINER, found.end())
    return "".join([*parts, text[at:]])


def tagged(line: Line, escape: Callable[[str], str]) -> str:
    """A line with <b>, <i> and <u> around its runs, all closed where it ends."""
    text, opened = "", ""
    for run in (*line, Run("")):
        while opened and not set(opened) <= set(run.styles):
            text, opened = f"{text}</{opened[-1]}>", opened[:-1]
        for style in run.styles:
            if style not in opened:
                text, opened = f"{text}<{style}>", opened + style
        text += escape(run.text)
    return text


def _styled(
    lines: Iterable[str], tag: re.Pattern[str], unescape: Callable[[str], str]
) -> tuple[Line, ...]:
    opened = dict.fromkeys(STYLES, 0)
    styled = []
    for line in lines:
        runs: list[Run] = []
        at = 0
        for found in (*tag.finditer(line), None):
            text = unescape(line[at : found.start() if found else len(line)])
            styles = "".join(style for style in STYLES if opened[style])
            if text and runs and runs[-1].styles == styles:
                runs[-1] = Run(runs[-1].text + text, styles)
            elif text:
                runs.append(Run(text, styles))
            if found is None:
                break
            at = found.end()
            closing, name = found[1], (found[2] or "").lower()
            if name in opened:
                opened[name] = max(0, opened[name] + (-1 if closing else 1))
        styled.append(tuple(runs))
    return tuple(styled)
