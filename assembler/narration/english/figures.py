"""Written figures that can be read without their neighbours: sizes, money, clock times, ratios, ranges, versions.

Each rule takes a whole written form; the first that fits wins. What depends on the words around it is in reading.py.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from assembler.narration.english.names import Said, letters
from assembler.narration.english.numbers import cardinal, decimal, digits, fraction, ordinal, paired, plural, run
from assembler.narration.english.units import unit
from assembler.narration.english.words import MONTHS

NUMBER = r"(?:\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?|\.\d+)"
PREFIXES = {
    "-": "minus",
    "−": "minus",
    "–": "minus",
    "+": "plus",
    "~": "about",
    "≈": "about",
    "±": "plus or minus",
    "<": "less than",
    ">": "more than",
    "≥": "at least",
    "≤": "at most",
    "#": "number",
    "№": "number",
    "×": "times",
}
_PREFIX = r"([-−–+~≈±<>≥≤]?)"
_DASH = r"[-–—−]"
_HALVES = {"½": (1, 2), "¼": (1, 4), "¾": (3, 4), "⅓": (1, 3), "⅔": (2, 3), "⅛": (1, 8), "⅜": (3, 8), "⅕": (1, 5)}
_LOW = "₀₁₂₃₄₅₆₇₈₉"
_BELOW = str.maketrans(_LOW, "0123456789")
_POWERS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")
_MONEY = {
    "$": ("dollar", "dollars", "cent", "cents"),
    "€": ("euro", "euros", "cent", "cents"),
    "£": ("pound", "pounds", "penny", "pence"),
    "¥": ("yen", "yen", "", ""),
}
_LARGE = {"k": "thousand", "K": "thousand", "m": "million", "M": "million", "mn": "million", "bn": "billion",
          "b": "billion", "B": "billion", "tn": "trillion"}  # fmt: skip
LARGE_WORDS = ("hundred", "thousand", "million", "billion", "trillion")
ASPECTS = {"16:9", "21:9", "32:9", "16:10", "4:3", "3:2", "5:4", "9:16", "18:9", "3:4", "2:3", "24:10", "10:9", "14:9"}

Rule = Callable[[re.Match[str]], Said | str | None]


def number(text: str) -> str:
    """A figure without a unit: `007` digit by digit, others as a number."""
    if len(text) > 1 and text[0] == "0" and text.isdecimal():
        return digits(text)
    if text.isdecimal() and len(text) >= 9:
        return digits(text)
    return decimal(text)


def is_year(text: str) -> bool:
    """Whether four digits look like a year of our time."""
    return bool(re.fullmatch(r"19[5-9]\d|20[0-4]\d", text))


def year(text: str) -> str:
    """`2024` is 'twenty twenty-four', `2005` 'two thousand five'."""
    return paired(int(text))


def day(text: str) -> str:
    """A day of the month."""
    return ordinal(int(text))


def _line_count(text: str) -> str:
    return paired(int(text.replace(",", "")))


def _size(found: re.Match[str]) -> str:
    said = f"{_line_count(found[1])} by {_line_count(found[2])}"
    return f"{said} at {decimal(found[3])}" if found[3] else said


def _scan(found: re.Match[str]) -> str:
    lines, kind, rate, more = found.groups()
    said = f"{_line_count(lines)} {kind.upper()}"
    return said + (f" {decimal(rate)}" if rate else "") + ("'s" if more else "")


def _thousands(found: re.Match[str]) -> str | None:
    if int(found[1]) > 32:
        return None
    said = f"{cardinal(int(found[1]))} K"
    return said + (f" {decimal(found[2])}" if found[2] else "") + ("'s" if found[3] else "")


def money(sign: str, text: str, large: str = "") -> Said:
    """An amount with its currency's sign."""
    one, several, cent, cents = _MONEY[sign]
    if large:
        return f"{decimal(text)} {_LARGE.get(large, large)} {several}", ""
    whole, _, part = text.replace(",", "").partition(".")
    if len(part) == 2 and cent:
        small = f"{cardinal(int(part))} {cent if part == '01' else cents}" if int(part) else ""
        main = f"{cardinal(int(whole or 0))} {one if whole == '1' else several}" if int(whole or 0) or not small else ""
        return " and ".join(amount for amount in (main, small) if amount), ""
    return f"{decimal(text)} {one if text == '1' else several}", "money with odd cents" if part else ""


def _money_range(found: re.Match[str]) -> str:
    return f"{decimal(found[2])} to {money(found[1], found[3], found[4] or '')[0]}"


def clock(hours: str, minutes: str) -> str:
    """`10:30` is 'ten thirty', `9:05` 'nine oh five', `12:00` 'twelve o'clock'."""
    if minutes == "00":
        return f"{cardinal(int(hours))} o'clock"
    return f"{cardinal(int(hours))} {'oh ' if minutes[0] == '0' else ''}{cardinal(int(minutes))}"


def _with_half_day(found: re.Match[str]) -> str:
    hours, minutes, half = found.groups()
    said = clock(hours, minutes) if minutes and minutes != "00" else cardinal(int(hours))
    return f"{said} {half[0].upper()} M"


def _duration(found: re.Match[str]) -> str:
    parts = []
    for text, name in zip(found.groups(), ("hour", "minute", "second"), strict=True):
        count = int(text)
        if count:
            parts.append(f"{cardinal(count)} {name}{'s' if count > 1 else ''}")
    return " ".join(parts) or "zero seconds"


def _spent(found: re.Match[str]) -> str | None:
    """`1m30s` and `2h15m`: at least two of hours, minutes and seconds, the last of two without its name at times."""
    parts = [(text, name) for text, name in zip(found.groups()[:3], ("hour", "minute", "second"), strict=True) if text]
    if len(parts) + bool(found[4]) < 2 or (found[4] and len(parts) != 1):
        return None
    said = " ".join(f"{decimal(text)} {name}{'' if text == '1' else 's'}" for text, name in parts)
    return f"{said} {cardinal(int(found[4]))}" if found[4] else said


def _internet_address(found: re.Match[str]) -> str | None:
    groups = found.groups()
    if any(group and int(group) > 255 for group in groups[:4]):
        return None
    said = " dot ".join(run(group) if len(group) == 3 else cardinal(int(group)) for group in groups[:4])
    return f"{said} colon {port(groups[4])}" if groups[4] else said


def port(text: str) -> str:
    """A port's number: `8080` is 'eighty eighty', `443` 'four four three'."""
    return digits(text) if len(text) == 3 else run(text) if len(text) == 4 else cardinal(int(text))


def _colour(found: re.Match[str]) -> str | None:
    text = found[1]
    if text.isdecimal() or not any(sign.isdecimal() for sign in text):
        return None
    return "hash " + " ".join(digits(sign) if sign.isdecimal() else sign.upper() for sign in text)


def _formula(found: re.Match[str]) -> str:
    """`CO₂`: each letter by its name, figures as they are."""
    parts = re.findall(r"[₀-₉]+|[A-Za-z]", found[0].replace("(", "").replace(")", ""))
    return " ".join(cardinal(int(part.translate(_BELOW))) if part[0] in _LOW else part.upper() for part in parts)


def _ratio(found: re.Match[str]) -> Said:
    left, right = found[1], found[2]
    if found[0] in ASPECTS:
        return f"{cardinal(int(left))} by {cardinal(int(right))}", ""
    if re.fullmatch(r"[0-5]\d", right) and left.isdecimal() and int(left) <= 24 and len(left) <= 2:
        return clock(left, right), ""
    return f"{decimal(left)} to {decimal(right)}", "" if right == "1" or left == "1" else "ratio, score or time?"


def _fraction(found: re.Match[str]) -> Said | None:
    top, bottom = int(found[1]), int(found[2])
    if is_year(found[1]) and bottom == (top + 1) % 100:
        return f"{year(found[1])} {cardinal(bottom)}", ""
    if (top, bottom) == (24, 7) or top == bottom:
        return f"{cardinal(top)} {cardinal(bottom)}", ""
    if top == 0 or bottom == 0:
        return None
    if bottom in (10, 100) and top > 1:
        return f"{cardinal(top)} out of {cardinal(bottom)}", "a score or a fraction?"
    if top < bottom:
        return fraction(top, bottom), ""
    return f"{cardinal(top)} over {cardinal(bottom)}", "a fraction or a pair?"


def _mixed_fraction(found: re.Match[str]) -> str:
    top, bottom = _HALVES[found[2]]
    if not found[1]:
        return fraction(top, bottom)
    said = fraction(top, bottom)
    return f"{cardinal(int(found[1]))} and {said.replace('one ', 'a ', 1) if top == 1 else said}"


def version(text: str) -> str:
    """`1.10` is 'one point ten', `1.04` 'one point zero four'."""
    return " point ".join(number(part) for part in text.split("."))


def _version(found: re.Match[str]) -> str:
    return f"version {version(found[1])}{_tail(found[2])}"


def _bare_version(found: re.Match[str]) -> str:
    return version(found[1]) + _tail(found[2])


def _tail(text: str | None) -> str:
    said = [run(part) if part.isdecimal() else part if len(part) > 3 else letters(part)
            for part in re.findall(r"\d+|[A-Za-z]+", text or "")]  # fmt: skip
    return "".join(f" {part}" for part in said)


def _date(found: re.Match[str]) -> Said | None:
    if not (1 <= int(found[2]) <= 12 and 1 <= int(found[3]) <= 31):
        return None
    return f"the {day(found[3])} of {MONTHS[int(found[2]) - 1]} {year(found[1])}", ""


def _slash_date(found: re.Match[str]) -> Said | None:
    first, second = int(found[1]), int(found[2])
    if not (1 <= first <= 31 and 1 <= second <= 12):
        first, second = second, first
    if not (1 <= first <= 31 and 1 <= second <= 12):
        return None
    return f"the {ordinal(first)} of {MONTHS[second - 1]} {year(found[3])}", "day or month first?"


def _dotted_date(found: re.Match[str]) -> Said | None:
    if not (1 <= int(found[1]) <= 31 and 1 <= int(found[2]) <= 12 and is_year(found[3])):
        return None
    return f"the {day(found[1])} of {MONTHS[int(found[2]) - 1]} {year(found[3])}", ""


def _range(found: re.Match[str]) -> Said | None:
    prefix, low, one, high, other = found.groups()
    if not one and is_year(low) and is_year(high):
        return f"{year(low)} to {year(high)}", ""
    if not one and not other and is_year(low) and len(high) == 2 and int(high) == int(low[2:]) + 1:
        return f"{year(low)} to {number(high)}", ""
    if low == high and not one and not other:
        return f"{decimal(low)} {decimal(high)}", ""
    if not one and not other and low.isdecimal() and (re.fullmatch(r"0\d+", high) or (len(low), len(high)) == (3, 4)):
        return f"{digits(low)} {digits(high)}", "" if high[0] == "0" else "read as a telephone number"
    end = unit(other, joined=True) if other else None
    begin = unit(one, joined=True) if one else None
    lines = other == "p" and (low + high).isdecimal()
    if (other and not end and not lines and other not in ("k", "K")) or (one and not begin):
        return None
    head = f"{PREFIXES[prefix]} " if prefix else ""
    first = f"{decimal(low)} {begin[0 if low == '1' else 1]}" if begin else decimal(low)
    if lines:
        return f"{_line_count(low)} to {_line_count(high)} P", ""
    last = f"{decimal(high)} {'K' if other in ('k', 'K') else end[1] if end else ''}".rstrip()
    return f"{head}{first} to {last}", ""


def _decade(found: re.Match[str]) -> str:
    return plural(paired(int(found[1])) if int(found[1]) % 1000 or int(found[1]) == 1000 else cardinal(int(found[1])))


def _short_decade(found: re.Match[str]) -> str:
    return plural(cardinal(int(found[1])))


def _ordinal(found: re.Match[str]) -> str:
    whole, part = found[1].replace(",", ""), found[2]
    return f"{cardinal(int(whole))} point {ordinal(int(part))}" if part else ordinal(int(whole))


def _power(base: str, exponent: str) -> str:
    sign = "minus " if exponent.startswith(("-", "−")) else ""
    return f"{base} to the power of {sign}{cardinal(int(exponent.lstrip('-−+')))}"


def _scientific(found: re.Match[str]) -> str:
    return f"{decimal(found[1])} times {_power('ten', found[2])}"


def _superscript(found: re.Match[str]) -> str:
    base = decimal(found[1]) if found[1][0].isdecimal() else letters(found[1])
    exponent = found[2].translate(_POWERS)
    if exponent in ("2", "3"):
        return f"{base} {'squared' if exponent == '2' else 'cubed'}"
    return _power(base, exponent)


def _telephone(found: re.Match[str]) -> str:
    return " ".join(digits(part) for part in re.findall(r"\d+", found[0]))


def _numbered(found: re.Match[str]) -> str:
    return f"number {cardinal(int(found[1]))}"


_RULES: tuple[tuple[re.Pattern[str], Rule], ...] = tuple(
    (re.compile(pattern), rule)
    for pattern, rule in (
        (
            r"(\d{1,5}|\d{1,2},\d{3})[x×](\d{1,5}|\d{1,2},\d{3})[pi]?"
            r"(?:[@/p]?(?<=[@/p])(\d+(?:\.\d+)?)(?:Hz|p|fps)?)?",
            _size,
        ),
        (r"(\d{2,4})([pi])(?:/?(\d{2,3}(?:\.\d+)?))?(['’]s|s)?", _scan),
        (r"(\d{1,2})K(?:[/@]?(\d{2,3}))?(['’]s|s)?", _thousands),
        (r"([24568]|1[26])k(?:[/@]?(\d{2,3}))?(['’]s|s)?", _thousands),
        (rf"(?:US|AU|CA|A|C)?([$€£¥])({NUMBER})(k|K|m|M|mn|bn|b|B|tn)?", lambda m: money(m[1], m[2], m[3] or "")),
        (rf"({NUMBER})(k|K|m|M|mn|bn|b|B|tn)?([$€£¥])", lambda m: money(m[3], m[1], m[2] or "")),
        (rf"([$€£¥])({NUMBER}){_DASH}[$€£¥]?({NUMBER})(k|m|M|bn)?", _money_range),
        (r"(\d{1,2})(?::([0-5]\d))?([apAP])\.?[mM]", _with_half_day),
        (r"(\d{1,3}):([0-5]\d):([0-5]\d)", _duration),
        (r"(?:(\d+)h)?(?:(\d+)m(?:in)?)?(?:(\d+(?:\.\d+)?)s(?:ec)?)?([0-5]\d)?", _spent),
        (r"(\d{1,3})\.(\d{1,3})\.(\d{1,3})\.(\d{1,3})(?::(\d{2,5}))?", _internet_address),
        (r"#([0-9A-Fa-f]{3}|[0-9A-Fa-f]{6}|[0-9A-Fa-f]{8})", _colour),
        (r"(?=.*[₀-₉])(?:[A-Z][a-z]?[₀-₉]*|\((?:[A-Z][a-z]?[₀-₉]*)+\)[₀-₉]*)+", _formula),
        (r"(\d{2,3}\.\d+)([pi])", lambda m: f"{decimal(m[1])} {m[2].upper()}"),
        (r"([Pp])(\d{1,2}\.\d+)", lambda m: f"P {decimal(m[2])}"),
        (r"\d(?::\d){2,3}", lambda m: " ".join(digits(part) for part in m[0].split(":"))),
        (rf"({NUMBER}):({NUMBER})", _ratio),
        (r"(\d{4})[-/.](\d{2})[-/.](\d{2})", _date),
        (r"(\d{1,2})/(\d{1,2})/(\d{4})", _slash_date),
        (r"(\d{1,4})/(\d{1,4})", _fraction),
        (r"(\d*)([½¼¾⅓⅔⅛⅜⅕])", _mixed_fraction),
        (r"(\d{1,2})\.(\d{1,2})\.(\d{4})", _dotted_date),
        (r"[vV](\d+(?:\.\d+)*)([-.]?[A-Za-z]+[-.]?\d*)?", _version),
        (r"(\d+(?:\.\d+){2,})([-.]?[A-Za-z]+[-.]?\d*)?", _bare_version),
        (r"\d{3}-\d{3}-\d{4}|\+\d{7,15}", _telephone),
        (rf"{_PREFIX}({NUMBER})([^\d\s.,–—-]*){_DASH}({NUMBER})([^\d\s.,]*)", _range),
        (r"([12]\d\d0)[’']?s", _decade),
        (r"[’']([1-9]0)s", _short_decade),
        (r"(\d{1,3}(?:,\d{3})+|\d{1,9})(?:\.(\d))?(?:st|nd|rd|th|ST|ND|RD|TH)", _ordinal),
        (rf"({NUMBER})[eE]([+−-]?\d{{1,3}})", _scientific),
        (rf"({NUMBER})\^([−-]?\d{{1,3}})", lambda m: _power(decimal(m[1]), m[2])),
        (rf"({NUMBER}|[A-Za-z])([⁰¹²³⁴-⁹⁻]+)", _superscript),
        (r"[#№](\d+)", _numbered),
        (rf"({NUMBER})([MB]|mn|bn|tn)", lambda m: f"{decimal(m[1])} {_LARGE[m[2]]}"),
        (rf"({NUMBER})k", lambda m: f"{decimal(m[1])} thousand"),
        (r"(\d{3})K", lambda m: f"{decimal(m[1])} thousand"),
        (r"(\d+\.\d+)((?:[a-zA-Z]\d*|-?(?:rc|beta|alpha)\.?\d*))", _bare_version),
    )
)


def read_figure(core: str) -> Said | None:
    """How a written figure is read; None when no rule knows it."""
    for pattern, rule in _RULES:
        if (found := pattern.fullmatch(core)) and (said := rule(found)):
            return (said, "") if isinstance(said, str) else said
    return None


def split_measure(core: str) -> tuple[str, str, str] | None:
    """Prefix, number and unit of `~60fps` or `-14`; the unit is '' where there is none. None for anything else."""
    found = re.fullmatch(rf"([-−–+~≈±<>≥≤]{{0,2}})({NUMBER})(\+?)(\D*)", core)
    if not found or (found[4] and not unit(found[4], joined=True)):
        return None
    return found[1], found[2] + found[3], found[4]


def prefix_words(prefix: str) -> str:
    """The words of signs before a number, with the blank that follows them."""
    return "".join(f"{PREFIXES[sign]} " for sign in prefix)
