"""The small grammars of a storyboard: times, sizes, rates, gains, languages, paths, names.

Each function takes the written text and the canvas rate, and gives a value or raises `UnfitError`.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

from assembler.storyboard.scalars import exact_number, shown
from assembler.storyboard.shapes import FLOAT, ID_PATTERN, INT, TEXT, Parsed, UnfitError
from assembler.timing.grammar import HOW_TO_WRITE, Time, parse_time
from assembler.timing.rates import parse_rate

LONGEST_HOURS = 24
MOST_FASTER, MOST_SLOWER = Fraction(5, 100), Fraction(3, 100)
"""How far speech is stretched at most. Common practice, no source."""
_MOST_PATH = 1000
_MOST_SAID = 2000
_SPEAKER_PATTERN = r"[A-Za-z0-9/_-]{2,40}(\+[A-Za-z0-9_-]{1,40})?"
_MARKS = " .,;:!?…'’-–—\"“”()"


def _time(text: str, rate: Fraction, *, signed: bool = False, positive: bool = False) -> Time:
    if re.fullmatch(r"[-+]?\d+(\.\d+)?", text.strip(), re.ASCII):
        number = shown(text.strip())
        raise UnfitError(f"the time {number} has no unit", f"write {number} s for seconds, or frames as 90 f")
    try:
        time = parse_time(text, rate, signed=signed)
    except ValueError as error:
        if not signed and text.strip()[:1] in ("-", "−"):
            raise UnfitError(f"'{shown(text)}' lies before 0, which a time here cannot", HOW_TO_WRITE) from error
        raise UnfitError(shown(str(error), 200), HOW_TO_WRITE) from error
    if abs(time.seconds) > 3600 * LONGEST_HOURS:
        raise UnfitError(f"the time {shown(text)} is longer than {LONGEST_HOURS} hours", "shorten it")
    if positive and time.frames < 1:
        raise UnfitError(f"{shown(text)} is less than one frame", "write at least 1 f")
    return time


def instant(text: str, rate: Fraction) -> Time:
    """A time at or after zero."""
    return _time(text, rate)


def signed_instant(text: str, rate: Fraction) -> Time:
    """A time that may be before zero."""
    return _time(text, rate, signed=True)


def length(text: str, rate: Fraction) -> Time:
    """A time of at least one frame."""
    return _time(text, rate, positive=True)


def length_or_fit(text: str, rate: Fraction) -> Time | str:
    """A time of at least one frame, or the word `fit`."""
    return "fit" if text.strip() == "fit" else _time(text, rate, positive=True)


def canvas_size(text: str, rate: Fraction) -> tuple[int, int]:
    """`1920x1080` to width and height in pixels, both even."""
    match = re.fullmatch(r"(\d{1,5})x(\d{1,5})", text.strip(), re.ASCII)
    if not match:
        raise UnfitError(f"'{shown(text)}' is not a size", "write width x height without spaces, such as 1920x1080")
    width, height = int(match[1]), int(match[2])
    if not (160 <= width <= 7680 and 90 <= height <= 4320):
        raise UnfitError(f"{shown(text)} is outside 160x90 to 7680x4320", "write a size such as 1920x1080")
    if width % 2 or height % 2:
        even = f"{width + width % 2}x{height + height % 2}"
        raise UnfitError(f"{shown(text)} has an odd width or height", f"both must be even; write {even}")
    return width, height


def canvas_rate(text: str, rate: Fraction) -> Fraction:
    """A rate that programmes can have."""
    written = text
    if re.fullmatch(r"[-+.0-9eE]+", text):
        try:
            written = format(float(exact_number(text)), ".15g")
        except ValueError:
            written = text
    try:
        return parse_rate(written)
    except ValueError as error:
        raise UnfitError(
            f"{shown(text)} is not a rate the programme can have",
            "write 24, 25, 30, 50, 60, 120, 23.976, 29.97, 59.94, 119.88, or an exact one such as 60000/1001",
        ) from error


def gain_db(text: str, rate: Fraction) -> float:
    """`-6 dB`, or a number of decibels."""
    match = re.fullmatch(r"([-+−]?\d{1,4}(?:\.\d{1,6})?) ?(?:dB)?", text.strip(), re.ASCII)
    if not match:
        raise UnfitError(f"'{shown(text)}' is not a gain", "write decibels, such as -6 dB")
    gain = float(match[1].replace("−", "-"))
    if not -60 <= gain <= 24:
        raise UnfitError(f"a gain of {shown(text)} is outside -60 dB to 24 dB", "write a gain such as -6 dB")
    return gain


def stretch(text: str, rate: Fraction) -> Fraction:
    """`3 % faster` is 3/100, `2 % slower` is -2/100: by how much the speed of speech changes."""
    match = re.fullmatch(r"(\d{1,3}(?:\.\d{1,3})?) ?%(?: (faster|slower))?", text.strip(), re.ASCII)
    if not match:
        raise UnfitError(f"'{shown(text)}' is not a stretch", "write one such as 3 % faster or 2 % slower")
    if match[2] is None:
        mend = f"write {match[1]} % faster, or {match[1]} % slower"
        raise UnfitError(f"'{shown(text)}' does not say which way speech is stretched", mend)
    most = MOST_FASTER if match[2] == "faster" else MOST_SLOWER
    change = Fraction(match[1]) / 100
    if change > most:
        mend = f"write at most {float(100 * most):g} % {match[2]}; beyond that, speak the line again"
        raise UnfitError(f"a stretch of {shown(text)} would be heard", mend)
    return change if match[2] == "faster" else -change


def language(text: str, rate: Fraction) -> str:
    """A language tag. Source of the form: BCP 47 (RFC 5646), the part people use."""
    if not re.fullmatch(r"[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8}){0,3}", text):
        raise UnfitError(f"'{shown(text)}' is not a language code", "write one such as en, en-GB or de")
    return text


def own_id(text: str, rate: Fraction) -> str:
    """An id a person gives."""
    if not ID_PATTERN.fullmatch(text):
        raise UnfitError(f"'{shown(text)}' cannot be an id", "use letters, digits, - and _ only, 64 at most")
    return text


def function_name(text: str, rate: Fraction) -> str:
    """The name of a Python function."""
    if not re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]{0,63}", text):
        raise UnfitError(f"'{shown(text)}' is not a function name", "write the name after `def` in the file")
    return text


def speaker(text: str, rate: Fraction | None = None) -> str:
    """The name of a voice by its spelling alone; the voice itself knows which there are."""
    if not re.fullmatch(_SPEAKER_PATTERN, text, re.ASCII):
        raise UnfitError(f"'{shown(text)}' cannot be the name of a voice", "write one such as en-us or en-us+f3")
    return text


def said_words(text: str, rate: Fraction | None = None) -> str:
    """Words as they are said: letters, marks of single words, blank space and the punctuation of a sentence."""
    tidy = " ".join(text.split())
    if not any(sign.isalpha() for sign in tidy):
        raise UnfitError(f"nothing is said by '{shown(text)}'", "write the words that are said, or remove the line")
    if len(tidy) > _MOST_SAID:
        raise UnfitError(f"the spoken words are {len(tidy)} characters long", f"write at most {_MOST_SAID}")
    if digit := re.search(r"\w*\d\S*", tidy):
        raise UnfitError(
            f"'{shown(digit[0])}' holds digits, where words are wanted as they are said",
            "write the number in words, such as forty ninety",
        )
    if odd := next((sign for sign in tidy if not (sign.isalpha() or sign in _MARKS or _is_accent(sign))), ""):
        raise UnfitError(
            f"'{shown(odd)}' in '{shown(tidy)}' cannot be said",
            "write it in words; letters said by name stand alone as capitals: G P U",
        )
    return tidy


def _is_accent(sign: str) -> bool:
    return unicodedata.category(sign).startswith("M")


def file_path(text: str, rate: Fraction | None = None) -> str:
    """A file inside the project folder, by its spelling alone (`paths.py` looks at the disk)."""
    parts = _path_parts(text)
    if not parts:
        raise UnfitError(f"'{shown(text)}' names no file", "write a path such as footage/a.mp4")
    return text


def folder_path(text: str, rate: Fraction | None = None) -> str:
    """A folder inside the project folder, or that folder itself (`.`), by its spelling alone."""
    _path_parts(text)
    return text


def _path_parts(text: str) -> list[str]:
    """The path's names, with `.` and `..` worked out."""
    inside = "write a path inside the project folder, such as footage/a.mp4"
    if not text.strip():
        raise UnfitError("the path is empty", inside)
    if len(text) > _MOST_PATH:
        raise UnfitError(f"the path is longer than {_MOST_PATH} characters", inside)
    if any(ord(c) < 32 or ord(c) == 127 or 0xD800 <= ord(c) < 0xE000 for c in text):
        raise UnfitError(f"the path '{shown(text)}' holds a control character", "rename the file without it")
    if "\\" in text:
        raise UnfitError(f"the path '{shown(text)}' holds a backslash", "write / between folders")
    if re.match(r"[A-Za-z][A-Za-z0-9+.-]*://", text):
        raise UnfitError(f"'{shown(text)}' is an address, not a file", "download it into the project folder first")
    if text.startswith("/") or re.match(r"[A-Za-z]:/", text):
        raise UnfitError(f"the path '{shown(text)}' begins at the disk's root", inside)
    parts: list[str] = []
    for part in text.split("/"):
        if part == "..":
            if not parts:
                raise UnfitError(f"the path '{shown(text)}' leads outside the project folder", inside)
            parts.pop()
        elif part not in ("", "."):
            parts.append(part)
    return parts


_TIME_PATTERN = (
    r"\d{1,3}:\d{1,2}:\d{1,2}[:;]\d{1,3}|(\d{1,3}:)?\d{1,3}:\d{1,2}(\.\d{1,9})?|\d{1,9}(\.\d{1,9})? ?(s|ms|min|f)"
)


def _pattern(body: str) -> dict[str, str]:
    return {"type": "string", "pattern": f"^ *({body}) *$"}


_TIME_NOUN = "a time, such as 12.5 s, 300 f or 00:01:02:15"
_PATH_PATTERN = r"^(?!/)(?![A-Za-z]:/)(?![A-Za-z][A-Za-z0-9+.-]*://)[^\\\u0000-\u001f\u007f]*[^\\\s\u0000-\u001f\u007f]"
_PATH_SCHEMA = {"type": "string", "maxLength": _MOST_PATH, "pattern": _PATH_PATTERN + r"[^\\\u0000-\u001f\u007f]*$"}

# Numbers are taken here only so that a bare `9` can be answered with 'has no unit'.
_WITH_NUMBERS = (TEXT, INT, FLOAT)

INSTANT = Parsed(
    name="time", noun=_TIME_NOUN, parse=instant, schema=_pattern(_TIME_PATTERN), takes=_WITH_NUMBERS
)
SIGNED = Parsed(
    name="signed-time",
    noun="a time, with - before it where it is earlier, such as -21 f",
    parse=signed_instant,
    schema=_pattern(rf"[-+−]? *({_TIME_PATTERN})"),
    takes=_WITH_NUMBERS,
)
LENGTH = Parsed(
    name="length",
    noun="a time of at least one frame, such as 2 s or 30 f",
    parse=length,
    schema=_pattern(_TIME_PATTERN),
    takes=_WITH_NUMBERS,
)
LENGTH_OR_FIT = Parsed(
    name="length-or-fit",
    noun="a time such as 9 s, or the word fit",
    parse=length_or_fit,
    schema=_pattern(rf"fit|{_TIME_PATTERN}"),
    takes=_WITH_NUMBERS,
)
SIZE = Parsed(
    noun="width x height in pixels, such as 1920x1080",
    parse=canvas_size,
    schema=_pattern(r"\d{2,4}[02468]x\d{1,3}[02468]"),
)
RATE = Parsed(
    noun="a rate such as 60 or 59.94",
    parse=canvas_rate,
    schema={
        "anyOf": [
            {"enum": [24, 25, 30, 50, 60, 120, 23.976, 29.97, 59.94, 119.88]},
            _pattern(r"23\.976|29\.97|59\.94|119\.88|\d{1,7}(/\d{1,5})?"),
        ]
    },
    takes=_WITH_NUMBERS,
)
GAIN = Parsed(
    noun="decibels, such as -6 dB",
    parse=gain_db,
    schema={"anyOf": [{"type": "number", "minimum": -60, "maximum": 24},
                      _pattern(r"[-+−]?\d{1,4}(\.\d{1,6})? ?(dB)?")]},
    takes=_WITH_NUMBERS,
)
STRETCH = Parsed(
    name="stretch",
    noun="how much faster or slower, such as 3 % faster or 2 % slower",
    parse=stretch,
    schema=_pattern(r"0*([0-4](\.\d{1,3})?|5(\.0{1,3})?) ?% faster|0*([0-2](\.\d{1,3})?|3(\.0{1,3})?) ?% slower"),
    takes=_WITH_NUMBERS,
)
LANGUAGE = Parsed(
    noun="a language code such as en or de",
    parse=language,
    schema={"type": "string", "pattern": "^[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8}){0,3}$"},
)
SPEAKER = Parsed(
    name="speaker",
    noun="the name of a voice, such as en-us+f3",
    parse=speaker,
    schema={"type": "string", "pattern": f"^{_SPEAKER_PATTERN}$"},
)
SAID = Parsed(
    name="said",
    noun="words as they are said, such as forty ninety",
    parse=said_words,
    schema={"type": "string", "pattern": "^\\D*[^\\W\\d_]\\D*$"},
    takes=_WITH_NUMBERS,
)
OWN_ID = Parsed(
    name="id",
    noun="an id (letters, digits, - and _)",
    parse=own_id,
    schema={"type": "string", "pattern": f"^{ID_PATTERN.pattern}$"},
)
FUNCTION = Parsed(
    noun="the name of a Python function",
    parse=function_name,
    schema={"type": "string", "pattern": "^[A-Za-z_][A-Za-z0-9_]{0,63}$"},
)
FILE = Parsed(name="file", noun="a path inside the project folder", parse=file_path, schema=_PATH_SCHEMA)
FOLDER = Parsed(name="folder", noun="a folder inside the project folder", parse=folder_path, schema=_PATH_SCHEMA)
