"""Signs and figures outside of plain ASCII, before and after the rules of reading."""

from __future__ import annotations

import re
import unicodedata

from assembler.narration.english import figures
from assembler.narration.english.names import Said
from assembler.narration.english.numbers import cardinal, run
from assembler.narration.english.words import SPELT_SIGNS

_TWO_SIGNS = re.compile("|".join(re.escape(sign) for sign in SPELT_SIGNS))


def single_signs(core: str) -> str:
    """`>=60` as `≥60`."""
    return _TWO_SIGNS.sub(lambda found: SPELT_SIGNS[found[0]], core)


def ascii_digits(core: str) -> str:
    """Figures of every script as 0 to 9."""
    if core.isascii():
        return core
    return "".join(str(unicodedata.decimal(sign)) if sign.isdecimal() else sign for sign in core)


def without_figures(said: str, doubt: str) -> Said:
    """Whatever no rule has put into words: figures glued to letters, circled numbers and the like."""
    if said.isascii() and not any(sign.isdecimal() for sign in said):
        return said, doubt
    worded = re.sub(r"[0-9]+", lambda found: f" {run(found[0])} ", said)
    worded = "".join(sign if sign.isalpha() else _one_sign(sign) for sign in worded)
    return (said, doubt) if worded == said else (worded, doubt or "read in parts")


def _one_sign(sign: str) -> str:
    value = unicodedata.numeric(sign, None)
    if value is None:
        return sign
    if value == int(value):
        return f" {cardinal(int(value))} "
    return f" {(figures.read_figure(sign) or ('', ''))[0]} "
