"""How long lines will take in a reader's own voice, before they are recorded: from the lines that already are.

A line is expected to last as long as the scratch voice (or, without one, the estimate) takes for what is said in it,
times one pace: what the reader's accepted takes last together / what they were predicted to last, so that long takes,
which say more, count more; a take that is far from the others' middle counts as if it were nearer. Until three takes
exist the pace is `uncalibrated`, and lengths may be off by a quarter or more.

From three takes on, the spread of the reader's own takes around the pace says how far the next line may lie off,
widened by Student's factor for so few. Three takes may agree by chance, so they are held together with what is usual
among readers, which counts as much as two takes and is soon outweighed. Three takes of an uneven reader give a wide
interval, as they should.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

ENOUGH_TAKES = 3
_UNCALIBRATED_SHARE = 0.25  # words at a usual pace missed real readers' lines by 13 to 46 % (measured)
# Standard deviation of a line's logarithmic miss. Five real readers had 0.05 to 0.28 (benchmarks/align_speech.py).
_USUAL_SPREAD, _USUAL_COUNTS = 0.15, 2
# Student's t, 95th percentile (two-sided 90 %), by degrees of freedom from 1 (standard tables).
_STUDENT = (6.314, 2.920, 2.353, 2.132, 2.015, 1.943, 1.895, 1.860, 1.833, 1.812, 1.796, 1.782, 1.771, 1.761, 1.753)
_NORMAL = 1.645
_OF_A_PACE = math.pi / 2  # its variance against that of a mean: takes count unevenly (set, not measured)
_FAR = 1.5  # times the middle ratio of a reader's takes; what is farther off was no plain reading


@dataclass(frozen=True, slots=True)
class Expected:
    """A length in seconds, and the interval it should lie in nine times of ten once the pace is calibrated."""

    seconds: float
    low_s: float
    high_s: float


@dataclass(frozen=True, slots=True)
class Pace:
    """How a reader's lengths relate to the predicted ones. factor: 1.2 = a fifth slower. spread: standard deviation of
    a line's logarithmic miss; None while there are too few takes. takes: how many it was fitted on."""

    factor: float = 1.0
    spread: float | None = None
    takes: int = 0

    @property
    def calibrated(self) -> bool:
        """Whether there are enough takes to trust it."""
        return self.spread is not None

    def expect(self, predicted_s: float) -> Expected:
        """What a line of this predicted length should last."""
        return self.expect_all([predicted_s])

    def expect_all(self, predicted_s: Sequence[float]) -> Expected:
        """What several lines should last together: all share the pace's own miss, beside which each has one by
        chance, and those partly cancel."""
        total = sum(predicted_s)
        seconds = self.factor * total
        alone = math.sqrt(sum(one * one for one in predicted_s)) / total if total > 0 else 1.0
        if self.spread is None:
            share = _UNCALIBRATED_SHARE * (0.5 + 0.5 * alone)  # taken to fall half together, half by chance
            return Expected(seconds, seconds * (1.0 - share), seconds * (1.0 + share))
        deviation = self.spread * math.sqrt(_OF_A_PACE / self.takes + alone * alone)
        off = _student(self.takes - 1 + _USUAL_COUNTS) * deviation
        return Expected(seconds, seconds * math.exp(-off), seconds * math.exp(off))


def _student(degrees: int) -> float:
    return _STUDENT[degrees - 1] if degrees <= len(_STUDENT) else _NORMAL * (1.0 + 1.0 / degrees)


def fit(lengths: Sequence[tuple[float, float]]) -> Pace:
    """The pace of takes. lengths: predicted and recorded seconds of each; those without a length are left out."""
    known = [(predicted, recorded / predicted) for predicted, recorded in lengths if predicted > 0 and recorded > 0]
    if not known:
        return Pace()
    ratios = [ratio for _, ratio in known]
    middle = median(ratios)
    held = [(predicted, min(max(ratio, middle / _FAR), middle * _FAR)) for predicted, ratio in known]
    factor = sum(predicted * ratio for predicted, ratio in held) / sum(predicted for predicted, _ in held)
    if len(ratios) < ENOUGH_TAKES:
        return Pace(factor, None, len(ratios))
    logs = [math.log(ratio) for ratio in ratios]
    mean = sum(logs) / len(logs)
    squares = sum((one - mean) ** 2 for one in logs) + _USUAL_COUNTS * _USUAL_SPREAD**2
    return Pace(factor, math.sqrt(squares / (len(logs) - 1 + _USUAL_COUNTS)), len(ratios))
