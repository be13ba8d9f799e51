"""Figures as a table: text, CSV, Markdown and JSON, with intervals, and the definition of lows beside the figures.

What could not be measured is an empty cell or a null with its reason, never a 0.
"""

from __future__ import annotations

import csv
import io
import json
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from assembler.measure.figures import MOST_WRONG, Figures, Quantity
from assembler.measure.lows import DEFAULT, LOWS, caution, low
from assembler.timing.timecode import clock

FORMAT_VERSION = 1
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table: what was measured, and the figures. `span` and `segment` may be empty."""

    capture: str
    span: str
    segment: str
    figures: Figures


@dataclass(frozen=True, slots=True)
class _Column:
    """key: its name in JSON. head: its heading, with the unit. places: decimals shown."""

    key: str
    head: str
    places: int
    of: Callable[[Figures], Quantity]


def _share(name: str) -> Callable[[Figures], Quantity]:
    def of(found: Figures) -> Quantity:
        if found.pictures == 0:
            return Quantity(None, None, None, found.why)
        return Quantity(100 * float(getattr(found.shares, name)), None, None)

    return of


def _percent(quantity: Quantity) -> Quantity:
    scaled = [None if x is None else 100 * x for x in (quantity.value, quantity.low, quantity.high)]
    return Quantity(scaled[0], scaled[1], scaled[2], quantity.why)


def _low(percent: Fraction, definition: str) -> Callable[[Figures], Quantity]:
    def of(found: Figures) -> Quantity:
        if found.frames.ms.size == 0:
            return Quantity(None, None, None, found.why or "no frame was seen from beginning to end")
        times = found.frames.ms
        return Quantity(low(times, percent, definition), None, None, caution(times.size, percent, definition))

    return of


def _columns(definition: str) -> tuple[_Column, ...]:
    return (
        _Column("new_pictures", "new pictures", 0, lambda found: found.new_pictures),
        _Column("average_hz", "average /s", 2, lambda found: found.average_hz),
        _Column("low_1_percent_hz", f"1 % low ({definition}) /s", 2, _low(Fraction(1), definition)),
        _Column("low_0_1_percent_hz", f"0.1 % low ({definition}) /s", 2, _low(Fraction(1, 10), definition)),
        _Column("lowest_window_hz", "lowest window /s", 2, lambda found: found.lowest_window_hz),
        _Column("highest_window_hz", "highest window /s", 2, lambda found: found.highest_window_hz),
        _Column("longest_hold_ms", "longest frame ms", 1, lambda found: found.longest_hold_ms),
        _Column("torn_percent", "torn %", 1, lambda found: _percent(found.torn)),
        _Column("moving_percent", "moving %", 1, _share("moving")),
        _Column("still_percent", "still %", 1, _share("still")),
        _Column("dark_percent", "dark %", 1, _share("dark")),
        _Column("undecided_percent", "undecided %", 1, _share("undecided")),
    )


def quantities(found: Figures, definition: str = DEFAULT) -> dict[str, Quantity]:
    """Every figure of the table by its key, such as `average_hz`; shares in percent."""
    return {column.key: column.of(found) for column in _columns(definition)}


def notes(rows: Sequence[Row], definition: str = DEFAULT) -> tuple[str, ...]:
    """What must be read with the table: definitions, and why figures are missing or weak, each once."""
    said = [
        f"Low {definition}: {LOWS[definition][1]} Other definitions give other figures.",
        "Average: new pictures divided by the seconds in motion. [ ] holds the 95 % interval.",
    ]
    windows = sorted({row.figures.window_s for row in rows})
    if windows:
        lengths = " and ".join(f"{float(window):g} s" for window in windows)
        said.append(
            f"Window: {lengths}, unbroken motion only, and where at most {MOST_WRONG:g} wrong verdict a second is"
            " expected."
        )
    if any(row.figures.torn.value is not None for row in rows):
        said.append("Torn: part of the frames in which a tear could be seen.")
    for row in rows:
        for column in _columns(definition):
            why = column.of(row.figures).why
            if why:
                said.append(f"{_name(row)}: {column.head if row.figures.counted else 'rates'}: {why}.")
    return tuple(dict.fromkeys(said))


def as_text(rows: Sequence[Row], definition: str = DEFAULT) -> str:
    """Columns aligned for a terminal: one row a figure, one column a measured span; then the notes."""
    cells = [["", *(_name(row) for row in rows)], ["from to", *(_times(row.figures) for row in rows)]]
    for column in _columns(definition):
        cells.append([column.head, *(_shown(column.of(row.figures), column.places) for row in rows)])
    widths = [max(_width(line[i]) for line in cells) for i in range(len(rows) + 1)]
    lines = []
    for line in cells:
        padded = [line[0] + " " * (widths[0] - _width(line[0]))]
        padded += [" " * (width - _width(cell)) + cell for cell, width in zip(line[1:], widths[1:], strict=True)]
        lines.append("  ".join(padded).rstrip())
    return "\n".join([*lines, "", *notes(rows, definition)]) + "\n"


def as_markdown(rows: Sequence[Row], definition: str = DEFAULT) -> str:
    """One line a measured span; then the notes as a list."""
    columns = _columns(definition)
    heads = ["capture", "span", "segment", "from to", *(column.head for column in columns)]
    lines = [heads, ["---"] * 4 + ["---:"] * len(columns)]
    for row in rows:
        values = [_shown(column.of(row.figures), column.places) for column in columns]
        lines.append([row.capture, row.span, row.segment, _times(row.figures), *values])
    table = ["| " + " | ".join(_for_markdown(cell) for cell in line) + " |" for line in lines]
    return "\n".join([*table, "", *(f"- {_for_markdown(note)}" for note in notes(rows, definition))]) + "\n"


def as_csv(rows: Sequence[Row], definition: str = DEFAULT) -> str:
    """RFC 4180: every figure with its low and high end in cells of their own, empty where it could not be measured.

    A text that a spreadsheet would take for a formula has an apostrophe before it.
    """
    columns = _columns(definition)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    heads = [f"{column.key}{end}" for column in columns for end in ("", "_low", "_high")]
    names = ["capture", "span", "segment", "start_s", "end_s", "low_definition", "why"]
    writer.writerow([*names, *heads])
    for row in rows:
        found = row.figures
        about = [_for_sheet(text) for text in (row.capture, row.span, row.segment)]
        times = [_digits(float(found.start_s)), _digits(float(found.end_s))]
        values = [
            _digits(value)
            for column in columns
            for quantity in [column.of(found)]
            for value in (quantity.value, quantity.low, quantity.high)
        ]
        writer.writerow([*about, *times, definition, _for_sheet(found.why), *values])
    return out.getvalue()


def as_json(rows: Sequence[Row], definition: str = DEFAULT) -> str:
    """A version, the definition of lows, and the rows; null with `why` where there is no figure."""
    document = {
        "format": FORMAT_VERSION,
        "lows": {"name": definition, "definition": LOWS[definition][1]},
        "rows": [_row_value(row, definition) for row in rows],
        "notes": list(notes(rows, definition)),
    }
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def _row_value(row: Row, definition: str) -> dict[str, Any]:
    found = row.figures
    return {
        "capture": row.capture,
        "span": row.span or None,
        "segment": row.segment or None,
        "start_s": float(found.start_s),
        "end_s": float(found.end_s),
        "counted": found.counted,
        "why": found.why or None,
        "pictures": found.pictures,
        "window_s": float(found.window_s),
        "longest_hold_at_s": found.longest_at_s,
        "observable_frames": found.observable_frames,
        "unsure_percent": None if found.unsure is None else 100 * found.unsure,
        **{column.key: _quantity_value(column.of(found)) for column in _columns(definition)},
    }


def _quantity_value(quantity: Quantity) -> dict[str, float | str | None]:
    return {"value": quantity.value, "low": quantity.low, "high": quantity.high, "why": quantity.why or None}


def _name(row: Row) -> str:
    return " / ".join(_one_line(part) for part in (row.capture, row.segment, row.span) if part)


def _times(found: Figures) -> str:
    return f"{clock(found.start_s)} - {clock(found.end_s)}"


def _shown(quantity: Quantity, places: int) -> str:
    if quantity.value is None:
        return "-"
    value = f"{quantity.value:.{places}f}"
    if quantity.low is None or quantity.high is None:
        return value
    return f"{value} [{quantity.low:.{places}f}, {quantity.high:.{places}f}]"


def _digits(value: float | None) -> str:
    return "" if value is None else f"{value:.10g}"


def _one_line(text: str) -> str:
    return " ".join("".join(" " if unicodedata.category(c).startswith("C") else c for c in text).split())


def _for_sheet(text: str) -> str:
    return "'" + text if text.startswith(_FORMULA_STARTS) else text


def _for_markdown(text: str) -> str:
    return _one_line(text).replace("\\", "\\\\").replace("|", "\\|")


def _width(text: str) -> int:
    """Columns on a terminal. Source of wide letters: Unicode TR 11, East Asian Width W and F."""
    return sum(2 if unicodedata.east_asian_width(c) in "WF" else not unicodedata.combining(c) for c in text)
