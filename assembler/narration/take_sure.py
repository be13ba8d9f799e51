"""How sure it is that a try found by the listener that knows no script (ear.py) is a whole, right reading.

How well that listener hears differs from reader to reader by far more than from a good try to a misread one, so a try
is held against the reader's other tries as well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from assembler.narration.ear_line import Comparison

_BROKEN_OFF, _SHORT = 0.6, 0.25  # share of the words heard, and length (log), below which a try was broken off


@dataclass(frozen=True, slots=True)
class EarTry:
    """told: how it compares with the line. long: how much longer it is than the line usually takes this reader (log).
    usually_astray: Comparison.astray of this reader's best tries, the middle of them. rival, worst: where a second
    opinion was asked for (take_second.py), by how much the words heard fit better than the line's, and how badly the
    worst of the line's fits; trust: how much that opinion counts, from 0 to 1. backed: where
    the recogniser, which looks for the script's words, found the try as well, the log of the odds it gives it."""

    told: Comparison
    long: float = 0.0
    usually_astray: float = 0.1
    rival: float = 0.0
    worst: float = 0.0
    trust: float = 1.0
    backed: float = 0.0


# Fitted by benchmarks/take_sessions.py --fit, on the sessions that its results name.
_BIAS = 10.5
_WEIGHTS = {
    "slack": 0.83, "total": 0.22, "astray": 2.1, "unusually astray": 0.42, "end": 0.24, "long": 5.4, "short": 10.8,
    "rival": 0.72, "misfit": 0.41,
}  # fmt: skip


def features(one: EarTry) -> dict[str, float]:
    """What speaks against a try, each 0 where nothing does."""
    told = one.told
    return {
        "slack": min(told.slack, 5.0 * told.far),  # who leaves out a sound has hardly misread
        "total": min(30.0, told.total),
        "astray": min(1.0, told.astray),
        "unusually astray": min(1.0, told.astray) / (0.08 + one.usually_astray),
        "end": told.end,
        "long": max(0.0, one.long - 0.1),
        "short": max(0.0, -one.long - 0.1),
        "rival": one.trust * min(5.0, one.rival),
        "misfit": one.trust * min(8.0, max(0.0, -one.worst - 3.0)),
    }


def against(one: EarTry) -> float:
    """All that speaks against a try, weighed, less what speaks for it; 0 where nothing does."""
    return sum(_WEIGHTS[name] * value for name, value in features(one).items()) - one.backed


def sure(one: EarTry) -> float:
    """How likely a try is a whole, right reading, 0 to 1."""
    return 1.0 / (1.0 + math.exp(against(one) - _BIAS))


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
