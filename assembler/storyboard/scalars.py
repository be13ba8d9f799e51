"""What a bare word in a storyboard means: YAML 1.2 core rules, exact numbers, and text fit to show.

Source of the patterns: YAML 1.2.2, section 10.3.2. So `no` and `1:30` are text and `010` is ten.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction
from typing import Literal

ScalarKind = Literal["text", "int", "float", "bool", "null"]

_NULL = re.compile(r"null|Null|NULL|~|")
_BOOL = re.compile(r"true|True|TRUE|false|False|FALSE")
_INT = re.compile(r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?")
_NOT_FINITE = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")

_LONGEST_NUMBER = 40
_LARGEST_EXPONENT = 40


def kind_of(text: str) -> ScalarKind:
    """What an unquoted scalar is. Source: YAML 1.2.2, table in section 10.3.2."""
    if _NULL.fullmatch(text):
        return "null"
    # Most scalars are words; their first letter rules out every pattern below.
    if text[0] not in "+-.0123456789tTfF":
        return "text"
    if _BOOL.fullmatch(text):
        return "bool"
    if _INT.fullmatch(text):
        return "int"
    if _FLOAT.fullmatch(text) or _NOT_FINITE.fullmatch(text):
        return "float"
    return "text"


def whole_number(text: str) -> int:
    """The value of a scalar of kind `int`. Raises ValueError when it is too long to mean anything."""
    if len(text) > _LONGEST_NUMBER:
        raise ValueError("is too long for a number")
    if text.startswith(("0o", "0x")):
        return int(text, 0)
    return int(text)


def exact_number(text: str) -> Fraction:
    """The exact value of a scalar of kind `int` or `float`.

    Raises ValueError for infinities, not-a-number, and numbers too long or too large to mean anything
    (an exponent of a thousand million would otherwise be worked out digit by digit).
    """
    if _NOT_FINITE.fullmatch(text):
        raise ValueError("is not an ordinary number")
    if len(text) > _LONGEST_NUMBER:
        raise ValueError("is too long for a number")
    if _INT.fullmatch(text):
        return Fraction(whole_number(text))
    exponent = re.search(r"[eE]([-+]?[0-9]+)$", text)
    if exponent and abs(int(exponent[1])) > _LARGEST_EXPONENT:
        raise ValueError("is too large or too small")
    return Fraction(text)


def shown(text: str, longest: int = 60) -> str:
    """Text safe to print in a message: control and invisible characters escaped, long text shortened."""
    cut = text if len(text) <= longest else text[: longest - 1] + "…"
    return "".join(_escaped(c) if _hidden(c) else c for c in cut)


def _hidden(character: str) -> bool:
    return unicodedata.category(character) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


def _escaped(character: str) -> str:
    return {"\n": "\\n", "\t": "\\t", "\r": "\\r"}.get(character) or (
        f"\\x{ord(character):02x}" if ord(character) < 256 else f"\\u{ord(character):04x}"
    )
