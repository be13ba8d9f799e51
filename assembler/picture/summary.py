"""What a summary says of each subject: the figures in words and digits, and what must be read with them.

Every figure is one of measure/figures.py and measure/tables.py. What is not known is a word, never a 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from assembler.measure.clock import Clock
from assembler.measure.distribution import Distribution, distribution
from assembler.measure.figures import Figures, Quantity, figures
from assembler.measure.lows import DEFAULT, LOWS, caution
from assembler.measure.model import TOO_COMPRESSED, Cadence
from assembler.measure.tables import quantities
from assembler.picture.graph_series import NOT_COUNTED, usual_refresh
from assembler.timing.timecode import clock as clock_label

NOT_MEASURABLE = "not measurable"
_DASH = "–"


@dataclass(frozen=True, slots=True)
class SummedUp:
    """One subject of a summary. order: the subject's, for colour and line style. refresh_ms: of its capture.
    reliable: whether its pictures can be counted at all."""

    name: str
    order: int
    refresh_ms: float
    figures: Figures
    reliable: bool


@dataclass(frozen=True, slots=True)
class Cell:
    """A figure and what stands beneath it in small type; `value` is "" where `rest` stands in its place."""

    value: str
    rest: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One figure of all subjects: what it is, what of, and a cell for each."""

    head: str
    about: str
    cells: tuple[Cell, ...]


def sum_up(name: str, order: int, clock: Clock, cadence: Cadence, start_s: Fraction, end_s: Fraction) -> SummedUp:
    """The figures of a stretch of a capture."""
    found = figures(cadence, clock, start_s, end_s)
    return SummedUp(name, order, 1000 / usual_refresh(clock), found, cadence.reliable)


def distribution_of(subjects: Sequence[SummedUp]) -> Distribution:
    """How long their pictures stood."""
    return distribution([(each.figures.frames, each.refresh_ms) for each in subjects])


def lines_of(subjects: Sequence[SummedUp], lows: str = DEFAULT) -> tuple[Line, ...]:
    """The figures from top to bottom. lows: the definition of the percentile lows."""
    found = [quantities(each.figures, lows) for each in subjects]

    def line(head: str, about: str, key: str, unit: str = "") -> Line:
        cells = (_cell(each, key, quantity[key], unit) for each, quantity in zip(subjects, found, strict=True))
        return Line(head, about, tuple(cells))

    return (
        line("Average rate", "new pictures a second", "average_hz"),
        line("1 % low", f"a second, definition {lows}", "low_1_percent_hz"),
        line("0.1 % low", f"a second, definition {lows}", "low_0_1_percent_hz"),
        line("Longest hold", "of one picture", "longest_hold_ms", "ms"),
        line("Torn", "of observable pictures", "torn_percent", "%"),
        line("Undecided", "of the time", "undecided_percent", "%"),
        line("In motion", "of the time: what is counted", "moving_percent", "%"),
    )


def _cell(each: SummedUp, key: str, quantity: Quantity, unit: str) -> Cell:
    if not each.reliable:
        return Cell("", _DASH)
    if quantity.value is None:
        return Cell("", NOT_MEASURABLE if key == "torn_percent" else _DASH)
    if unit == "%":
        rest = _range(quantity, percent_figure)
        return Cell(share_text(quantity.value), f"{rest} %" if rest else "")
    value = f"{quantity.value:.1f}"
    if key == "longest_hold_ms":
        at, usual = each.figures.longest_at_s, float(np.median(each.figures.frames.ms))
        if at is None or quantity.value < usual + each.refresh_ms / 2:
            return Cell(f"{value} ms", "as usual")
        return Cell(f"{value} ms", f"at {clock_label(Fraction(at))}")
    if key.startswith("low_"):
        return Cell(value, "rests on one picture" if quantity.why else "")
    return Cell(value, _range(quantity, lambda figure: f"{figure:.1f}"))


def _range(quantity: Quantity, written: object) -> str:
    """The interval as it is written; "" without one."""
    if quantity.low is None or quantity.high is None or not callable(written):
        return ""
    return f"{written(quantity.low)} to {written(quantity.high)}"


def share_text(percent: float) -> str:
    """A share as it is written: to a tenth, to a hundredth near 0 and 100, and those two only where they are exact."""
    return f"{percent_figure(percent)} %"


def percent_figure(percent: float) -> str:
    """The same without its sign."""
    if percent in (0, 100):
        return f"{percent:.0f}"
    if percent < 0.005:
        return "< 0.01"
    if percent > 99.995:
        return "> 99.99"
    return f"{percent:.2f}" if percent < 0.1 or percent >= 99.95 else f"{percent:.1f}"


def hold_text(hold_ms: float) -> str:
    """How long a row's pictures stood."""
    return f"{hold_ms:.1f} ms"


def refreshes_text(hold_ms: float, subjects: Sequence[SummedUp]) -> str:
    """The same in refreshes, where all captures have one refresh; else ""."""
    units = [each.refresh_ms for each in subjects if each.figures.counted]
    if not units or max(units) > 1.001 * min(units):
        return ""
    count = round(hold_ms / units[0])
    return "1 refresh" if count == 1 else f"{count} refreshes"


def span_text(each: SummedUp) -> str:
    """The stretch that is counted, in the capture's own time."""
    return f"{clock_label(each.figures.start_s)} to {clock_label(each.figures.end_s)}"


def why_not(each: SummedUp) -> str:
    """Why a subject has no distribution; "" where it has one."""
    if each.figures.frames.ms.size:
        return ""
    if not each.reliable:
        return f"{NOT_COUNTED}: {each.figures.why or TOO_COMPRESSED}"
    return f"{NOT_COUNTED}: {each.figures.why or 'no picture was seen from beginning to end'}"


def notes_of(subjects: Sequence[SummedUp], lows: str = DEFAULT) -> tuple[str, ...]:
    """What must be read with the figures, in sentences: definitions and cautions."""
    counted = [each for each in subjects if each.figures.counted]
    said = []
    if counted:
        said.append("Rates are counted in motion alone: new pictures divided by seconds. Ranges are 95 % intervals.")
    if any(each.figures.frames.ms.size for each in subjects):
        said.append(f"Low {lows}: {LOWS[lows][1]} Other definitions give other figures.")
    said.extend(
        f"{each.name}: {words}."
        for each in counted
        if each.figures.frames.ms.size and (words := caution(each.figures.frames.ms.size, Fraction(1), lows))
    )
    torn = dict.fromkeys(each.figures.torn.why for each in counted if each.figures.torn.value is None)
    for why in torn:
        names = [each.name for each in counted if each.figures.torn.value is None and each.figures.torn.why == why]
        who = "" if len(names) == len(subjects) else f", {' and '.join(names)}"
        said.append(f"Torn{who}: {why}.")
    return tuple(said)
