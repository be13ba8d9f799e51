"""The table of `assembler check --fit`, as text and as data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

from assembler.checks.fit_table import FitLine, FitRow
from assembler.timing.timecode import clock

_HEADS = ("", "begins", "needed", "available", "slack", "words a minute", "")
_KINDS = {"take": "take", "scratch": "scratch voice", "estimate": "estimate"}
_NOTE = (
    "needed: the words with the silence before, between and after them; available: how long the segment lasts.\n"
    "A take's length is measured; what is not recorded yet will last between the two times given."
)


def fit_text(rows: Sequence[FitRow]) -> str:
    """The table with a line of explanation beneath it."""
    cells = [_HEADS, *(line for row in rows for line in _rows(row))]
    widths = [max(len(line[column]) for line in cells) for column in range(len(_HEADS))]
    lines = []
    for line in cells:
        first, *figures, last = (
            cell.ljust(width) if column in (0, 6) else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(line, widths, strict=True))
        )
        lines.append("  ".join([first, *figures, last]).rstrip())
    return "\n".join([*lines, _NOTE])


def _rows(row: FitRow) -> Iterator[tuple[str, ...]]:
    said = bool(row.lines)
    yield (
        row.segment,
        clock(row.start_s),
        _length(row.needed_s) if said else "",
        _length(row.available_s),
        _length(row.slack_s, sign=True) if said else "",
        "",
        verdict_words(row),
    )
    for line in row.lines:
        wpm = "" if line.wpm is None else f"{float(line.wpm):.0f}"
        yield f"  line {line.number}", clock(line.start_s), _length(line.lasts_s), "", "", wpm, _how(line)


def _length(length_s: Fraction, *, sign: bool = False) -> str:
    return f"{float(length_s):{'+' if sign else ''}.2f} s"


def _how(line: FitLine) -> str:
    kind = _KINDS[line.kind]
    return kind if line.low_s == line.high_s else f"{kind}, {float(line.low_s):.1f} to {float(line.high_s):.1f} s"


def verdict_words(row: FitRow) -> str:
    """The verdict as a person would say it."""
    over = _length(row.over_s)
    return {
        "silent": "nothing is said",
        "fits": "fits",
        "tight": f"fits, with {_length(-row.slack_s)} less silence after it than usual",
        "long-silence": "fits, and a long silence follows",
        "unsure": "fits as estimated, may not when it is recorded",
        "too-long": f"too long by {over}",
        "cut": f"too long by {over}, which nobody would hear",
    }[row.verdict]


def fit_data(rows: Sequence[FitRow]) -> list[dict[str, Any]]:
    """The same as plain data, in seconds, to the microsecond."""
    return [
        {
            "segment": row.segment,
            "start_s": _number(row.start_s),
            "needed_s": _number(row.needed_s),
            "available_s": _number(row.available_s),
            "slack_s": _number(row.slack_s),
            "over_s": _number(row.over_s),
            "verdict": row.verdict,
            "lines": [
                {
                    "line": line.number,
                    "start_s": _number(line.start_s),
                    "lasts_s": _number(line.lasts_s),
                    "low_s": _number(line.low_s),
                    "high_s": _number(line.high_s),
                    "words_a_minute": None if line.wpm is None else round(float(line.wpm), 1),
                    "kind": line.kind,
                }
                for line in row.lines
            ],
        }
        for row in rows
    ]


def _number(value: Fraction) -> float:
    return round(float(value), 6)
