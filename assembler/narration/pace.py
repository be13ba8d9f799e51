"""How long lines will take in a reader's own voice, before they are recorded: from the lines that already are.

A line is expected to last as long as the scratch voice (or, without one, the estimate) takes for what is said in it,
times one pace: the middle of (recorded length / predicted length) over the reader's accepted takes. Until three takes
exist the pace is `uncalibrated`, and lengths may be off by a quarter or more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

ENOUGH_TAKES = 3
_UNCALIBRATED_SHARE = 0.25  # words at a usual pace missed real readers' lines by 13 to 46 % (measured)
_AT_THREE_SHARE = 0.15
_LEAST_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class Expected:
    """A length in seconds, and the interval it should lie in nine times of ten once the pace is calibrated."""

    seconds: float
    low_s: float
    high_s: float


@dataclass(frozen=True, slots=True)
class Pace:
    """How a reader's lengths relate to the predicted ones. factor: 1.2 = a fifth slower. share: how far a line may lie
    off, as a part of its length. takes: how many it was fitted on."""

    factor: float = 1.0
    share: float = _UNCALIBRATED_SHARE
    takes: int = 0

    @property
    def calibrated(self) -> bool:
        """Whether there are enough takes to trust it."""
        return self.takes >= ENOUGH_TAKES

    def expect(self, predicted_s: float) -> Expected:
        """What a line of this predicted length should last."""
        seconds = self.factor * predicted_s
        return Expected(seconds, seconds * (1.0 - self.share), seconds * (1.0 + self.share))

    def expect_all(self, predicted_s: Sequence[float]) -> Expected:
        """What several lines should last together; their misses are taken to fall half together, half by chance."""
        seconds = self.factor * sum(predicted_s)
        share = self.share * (0.5 + 0.5 / max(len(predicted_s), 1) ** 0.5)
        return Expected(seconds, seconds * (1.0 - share), seconds * (1.0 + share))


def fit(lengths: Sequence[tuple[float, float]]) -> Pace:
    """The pace of takes. lengths: predicted and recorded seconds of each; those without a length are left out."""
    usable = [(predicted, recorded) for predicted, recorded in lengths if predicted > 0 and recorded > 0]
    if not usable:
        return Pace()
    factor = median(recorded / predicted for predicted, recorded in usable)
    if len(usable) < ENOUGH_TAKES:
        return Pace(factor, _UNCALIBRATED_SHARE, len(usable))
    off = sorted(abs(recorded / (factor * predicted) - 1.0) for predicted, recorded in usable)
    usual = off[min(len(off) - 1, round(0.9 * len(off)))]
    # Few takes say little about how far the next one may lie off.
    return Pace(factor, max(_LEAST_SHARE, _AT_THREE_SHARE * ENOUGH_TAKES / len(usable), usual), len(usable))
