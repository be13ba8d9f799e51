"""The exact rate behind evenly spaced timestamps that a clock has rounded.

Pure: timestamps in, a fraction out. A Matroska clock counts milliseconds, so 60000/1001 pictures
a second arrive as 0, 17, 33, 50; the true rate is the usual one that explains every stamp.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import numpy.typing as npt

from assembler.timing.rates import NTSC_24, NTSC_30, NTSC_60, NTSC_120

USUAL = (
    *(Fraction(whole) for whole in (24, 25, 30, 48, 50, 60, 72, 75, 90, 100, 120, 144, 165, 240)),
    *(NTSC_24, NTSC_30, NTSC_60, NTSC_120, Fraction(48_000, 1_001), Fraction(240_000, 1_001)),
    *(Fraction(slow) for slow in (1, 5, 10, 12, 15, 20)),
    Fraction(25, 2),
)


def even_rate(pts: npt.NDArray[np.int64], time_base: Fraction, hint: Fraction | None = None) -> Fraction | None:
    """Pictures a second if the stamps are even to the clock's grain, else None.

    pts: (n,) rising, in time_base units. hint: what the file claims, believed only when the stamps
    allow it. Fewer than two pictures have no rate. The choice, in order: the claimed rate if a usual one;
    the usual rate that leaves the least unexplained; the rate of exactly equal steps; the
    simplest fraction that explains every stamp.
    """
    if pts.size < 2:
        return None
    ticks = (pts - pts[0]).astype(np.int64)
    if hint in USUAL and _spread(ticks, time_base, hint) <= 1:
        return hint
    fitting = [(spread, rate) for rate in USUAL if (spread := _spread(ticks, time_base, rate)) <= 1]
    if fitting:
        return min(fitting)[1]
    steps = np.diff(ticks)
    if (steps == steps[0]).all() and steps[0] >= 100:  # a fine clock: its steps are the truth, not a rounding
        return 1 / (int(steps[0]) * time_base)
    count, span = int(ticks.size) - 1, int(ticks[-1])
    simple = _simplest(count / ((span + 1) * time_base), count / (max(Fraction(1, 2), Fraction(span - 1)) * time_base))
    return simple if simple <= 1000 and _spread(ticks, time_base, simple) <= 1 else None


def _spread(ticks: npt.NDArray[np.int64], time_base: Fraction, rate: Fraction) -> Fraction:
    """How far the stamps stray from an even grid, in ticks: highest less lowest residual.

    Any one way of rounding to whole ticks strays by at most one. Whole-number arithmetic: exact.
    """
    period = 1 / (rate * time_base)  # ticks a picture
    scale = period.denominator
    if abs(int(ticks[-1])) * scale >= 1 << 62:
        values = [int(t) * scale - k * period.numerator for k, t in enumerate(ticks)]
        return Fraction(max(values) - min(values), scale)
    left = ticks * scale - np.arange(ticks.size, dtype=np.int64) * period.numerator
    return Fraction(int(left.max()) - int(left.min()), scale)


def _simplest(low: Fraction, high: Fraction) -> Fraction:
    """The fraction of least denominator in [low, high], by the Stern-Brocot walk."""
    whole = low.__ceil__()
    if whole <= high:
        return Fraction(whole)
    floor = low.__floor__()
    return floor + 1 / _simplest(1 / (high - floor), 1 / (low - floor))
