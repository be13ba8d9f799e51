"""How sure it is that a try found by the listener that knows no script (ear.py) is a whole, right reading.

How well that listener hears differs from reader to reader by far more than from a good try to a misread one, so a try
is held against the reader's other tries as well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from assembler.narration.ear_line import Comparison

_BROKEN_OFF, _SHORT = 0.6, 0.25  # share of the words heard, and length (log), below which a try was broken off
_LEAST_TRIES = 4  # lines from which a reader is known


@dataclass(frozen=True, slots=True)
class Usual:
    """How the best tries of a reader compare with their lines, the middle of them: Comparison.slack, total, astray."""

    slack: float = 1.0
    total: float = 2.0
    astray: float = 0.1


@dataclass(frozen=True, slots=True)
class EarTry:
    """told: how it compares with the line. long: how much longer it is than the line usually takes this reader (log).
    usual: how this reader is heard."""

    told: Comparison
    long: float = 0.0
    usual: Usual = Usual()


def usual(best: Sequence[Comparison]) -> Usual:
    """How a reader is heard, from the best try at each line."""
    if len(best) < _LEAST_TRIES:
        return Usual()
    return Usual(
        median(one.slack for one in best), median(one.total for one in best), median(one.astray for one in best)
    )  # fmt: skip


_BIAS = 5.0
_WEIGHTS = {"slack": 0.3, "total": 0.1, "far": 0.1, "astray": 4.0, "end": 0.5, "around": 0.7, "long": 4.0}


def features(one: EarTry) -> dict[str, float]:
    """What speaks against a try, each 0 where nothing does."""
    told = one.told
    return {
        "slack": told.slack,
        "total": min(30.0, told.total),
        "far": min(12.0, told.far),
        "astray": min(1.0, told.astray),
        "end": told.end,
        "around": min(4.0, told.before + told.after),
        "long": max(0.0, one.long - 0.1),
        "short": max(0.0, -one.long - 0.1),
        "unusual slack": told.slack / (2.0 + one.usual.slack),
        "unusual total": min(30.0, told.total) / (2.0 + one.usual.total),
        "unusually astray": min(1.0, told.astray) / (0.08 + one.usual.astray),
    }


def sure(one: EarTry) -> float:
    """How likely a try is a whole, right reading, 0 to 1."""
    told = features(one)
    return 1.0 / (1.0 + math.exp(-(_BIAS - sum(_WEIGHTS.get(name, 0.0) * value for name, value in told.items()))))


def reason(one: EarTry) -> str:
    """What speaks most against a try, in words, or ''."""
    told = one.told
    if told.whole:
        return ""
    if told.share < _BROKEN_OFF and one.long < -_SHORT:
        return "broken off, or only a part of the line"
    if told.before or told.after:
        return f"more than the line is heard: '{told.heard}'"
    return f"sounds like '{told.heard}'"
