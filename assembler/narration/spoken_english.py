"""How a written English word is said: `1440p` is 'fourteen forty p'.

Only the commonest written forms of technical scripts, each judged by itself: a word never looks at its
neighbours. What no rule knows is handed on as it is written.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from assembler.narration.number_words import cardinal, decimal, digits, ordinal, paired

# (one of them, several of them)
_UNITS: dict[str, tuple[str, str]] = {
    "fps": ("frame per second", "frames per second"),
    "ms": ("millisecond", "milliseconds"),
    "µs": ("microsecond", "microseconds"),
    "s": ("second", "seconds"),
    "hz": ("hertz", "hertz"),
    "khz": ("kilohertz", "kilohertz"),
    "mhz": ("megahertz", "megahertz"),
    "ghz": ("gigahertz", "gigahertz"),
    "kb": ("kilobyte", "kilobytes"),
    "mb": ("megabyte", "megabytes"),
    "gb": ("gigabyte", "gigabytes"),
    "tb": ("terabyte", "terabytes"),
    "mb/s": ("megabit per second", "megabits per second"),
    "mbps": ("megabit per second", "megabits per second"),
    "gb/s": ("gigabyte per second", "gigabytes per second"),
    "db": ("decibel", "decibels"),
    "px": ("pixel", "pixels"),
    "nits": ("nit", "nits"),
    "w": ("watt", "watts"),
    "mm": ("millimetre", "millimetres"),
    "°c": ("degree", "degrees"),
    "%": ("percent", "percent"),
}
# Said alone these would be read as words or single letters; `s`, `w` and the like stay what they are.
_ALONE = {name: several for name, (_, several) in _UNITS.items() if len(name) > 1 or name == "%"}
_ALONE |= {"vs": "versus", "vs.": "versus", "&": "and", "+": "plus", "=": "equals", "×": "by"}
_SIGNS = {
    "-": "minus ",
    "−": "minus ",
    "+": "plus ",
    "~": "about ",
    "≈": "about ",
    "±": "plus or minus ",
    "<": "less than ",
    ">": "more than ",
    "≥": "at least ",
    "≤": "at most ",
}

_NUMBER = r"\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?"
_UNIT = "|".join(re.escape(name) for name in sorted(_UNITS, key=len, reverse=True))
_SIGN = "[-−+~≈±<>≥≤]"


def _measure(found: re.Match[str]) -> str:
    one, several = _UNITS[found[3].casefold()]
    return f"{_SIGNS.get(found[1], '')}{decimal(found[2])} {one if found[2] == '1' else several}"


def _hyphened(found: re.Match[str]) -> str:
    unit = _UNITS.get(found[2].casefold())
    return f"{decimal(found[1])} {unit[0] if unit else found[2]}"


def _version(found: re.Match[str]) -> str:
    return "version " + " point ".join(cardinal(int(part)) for part in found[1].split("."))


def _letters_number(found: re.Match[str]) -> str:
    return f"{' '.join(found[1])} {paired(int(found[2])) if len(found[2]) == 4 else cardinal(int(found[2]))}"


# The first rule that fits the whole word wins.
_RULES: tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], str]], ...] = tuple(
    (re.compile(pattern, re.IGNORECASE if loose else 0), say)
    for pattern, loose, say in (
        (r"(\d{3,5})[x×](\d{3,5})", True, lambda m: f"{paired(int(m[1]))} by {paired(int(m[2]))}"),
        (r"(\d{3,4})([pi])", True, lambda m: f"{paired(int(m[1]))} {m[2].upper()}"),
        (r"(\d{3,4})([pi])(\d{2,3})", True, lambda m: f"{paired(int(m[1]))} {m[2].upper()} {cardinal(int(m[3]))}"),
        (r"(\d{1,2})k", True, lambda m: f"{cardinal(int(m[1]))} K"),
        (rf"({_NUMBER})[x×]", True, lambda m: f"{decimal(m[1])} times"),
        (rf"({_SIGN}?)({_NUMBER})({_UNIT})", True, _measure),
        (rf"({_NUMBER})-([a-z]+)", True, _hyphened),
        (rf"({_NUMBER})[-–]({_NUMBER})", False, lambda m: f"{decimal(m[1])} to {decimal(m[2])}"),
        (r"(\d{1,3}(?::\d{1,3})+)", False, lambda m: " ".join(cardinal(int(n)) for n in m[1].split(":"))),
        (r"[vV](\d+(?:\.\d+)*)", False, _version),
        (r"([A-Z]{2,})-?(\d{1,5})", False, _letters_number),
        (r"([A-Z])\.(\d{3})", False, lambda m: f"{m[1]} {paired(int(m[2]))}"),
        (r"(\d{1,6})(?:st|nd|rd|th)", True, lambda m: ordinal(int(m[1]))),
        (r"#(\d+)", False, lambda m: f"number {cardinal(int(m[1]))}"),
        (r"(0\d+)", False, lambda m: digits(m[1])),
        (rf"({_SIGN}?)({_NUMBER})", False, lambda m: _SIGNS.get(m[1], "") + decimal(m[2])),
    )
)
_EDGES = re.compile(r"^([\"'“”‘’(\[«]*)(.*?)([\"'“”‘’)\]».,;:!?…—–-]*)$", re.DOTALL)


def spoken(token: str) -> str:
    """The words said for one written word, its punctuation kept so that a voice can pause.

    Numbers become words; unknown forms come back as written. `token` may hold a joined sign (`26 %`).
    """
    return " ".join(said for piece in token.split() if (said := _spoken_piece(piece)))


def _spoken_piece(piece: str) -> str:
    if piece in "-–—":
        return ","  # a dash is heard as a pause only
    if alone := _ALONE.get(piece.casefold()):
        return alone
    edges = _EDGES.match(piece)
    if not edges:
        return piece
    before, core, after = edges.groups()
    # `-14` and `~60` begin with a sign that belongs to the number, so only quotes and brackets are edges in front.
    if alone := _ALONE.get(core.casefold()):
        return f"{before}{alone}{after}"
    for pattern, say in _RULES:
        if found := pattern.fullmatch(core):
            return f"{before}{say(found)}{after}"
    return piece


def spoken_words(token: str) -> int:
    """How many words are said for a written word; hyphened tens count as one. At least 1."""
    return max(1, sum(any(sign.isalnum() for sign in said) for said in spoken(token).split()))
