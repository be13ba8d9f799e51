"""Percentile lows: six definitions that go by the same name, each by its own name here.

There is no standard (common practice, no source), and the same frame times give very different figures, so no
figure leaves this module's users without its definition.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

Percent = int | float | Fraction
Low = Callable[[npt.ArrayLike, Percent], float]


def percentile_nearest(frame_ms: npt.ArrayLike, percent: Percent) -> float:
    """A, nearest rank: the rate of the frame at rank ceil((1 - p/100) n), shortest first. Hertz."""
    times, part = _checked(frame_ms, percent)
    rank = -((-(1 - part) * times.size) // 1)
    return 1000 / float(times[times.size - max(int(rank), 1)])


def percentile_linear(frame_ms: npt.ArrayLike, percent: Percent) -> float:
    """A, linear: as nearest rank, but at (1 - p/100)(n - 1) counted from 0, between two frames in proportion. Hertz."""
    times, part = _checked(frame_ms, percent)
    place = (1 - part) * (times.size - 1)
    below = int(place // 1)
    rising = times[::-1]
    above = min(below + 1, times.size - 1)
    share = float(place - below)
    return 1000 / float(rising[below] + (rising[above] - rising[below]) * share)


def average_of_worst(frame_ms: npt.ArrayLike, percent: Percent) -> float:
    """B: the average rate over the p % of frames that lasted longest, frames by their seconds. Hertz."""
    times, part = _checked(frame_ms, percent)
    worst = times[: _worst_count(times.size, part)]
    return 1000 * worst.size / float(worst.sum())


def mean_of_rates(frame_ms: npt.ArrayLike, percent: Percent) -> float:
    """B': the mean of the single rates of those frames; it overstates. Hertz."""
    times, part = _checked(frame_ms, percent)
    return float(np.mean(1000 / times[: _worst_count(times.size, part)]))


def time_integral(frame_ms: npt.ArrayLike, percent: Percent) -> float:
    """C: the rate of the frame at which the longest frames together reach p % of the time. Hertz."""
    times, part = _checked(frame_ms, percent)
    return 1000 / float(times[_reached(times, part)])


def rate_over_worst_time(frame_ms: npt.ArrayLike, percent: Percent) -> float:
    """C': frames per second over the worst p % of the time, the last frame taken in part. Hertz."""
    times, part = _checked(frame_ms, percent)
    last = _reached(times, part)
    wanted = float(times.sum()) * float(part)
    frames = last + (wanted - float(times[:last].sum())) / float(times[last])
    return 1000 * frames / wanted


LOWS: Mapping[str, tuple[Low, str]] = MappingProxyType({
    "A-nearest": (
        percentile_nearest,
        "The rate of the one frame at the percentile of frame times, by nearest rank.",
    ),
    "A-linear": (
        percentile_linear,
        "The rate at the percentile of frame times, in proportion between the two nearest frames.",
    ),
    "B": (
        average_of_worst,
        "The average rate over the longest-lasting p % of frames: their number divided by the seconds they lasted.",
    ),
    "B'": (
        mean_of_rates,
        "The mean of the single rates of the longest-lasting p % of frames, which overstates.",
    ),
    "C": (
        time_integral,
        "The rate of the frame at which the longest-lasting frames add up to p % of the time.",
    ),
    "C'": (
        rate_over_worst_time,
        "The frames per second shown over the worst p % of the time.",
    ),
})

DEFAULT = "B"
"""B counts as the average rate does, frames by seconds, and rests on all of the worst frames, not on a single one."""


def low(frame_ms: npt.ArrayLike, percent: Percent, definition: str = DEFAULT) -> float:
    """A percentile low in hertz by the definition of that name.

    frame_ms: (n,) milliseconds, any order. Raises ValueError where they are none or unfit.
    """
    return LOWS[definition][0](frame_ms, percent)


def caution(frames: int, percent: Percent, definition: str = DEFAULT) -> str:
    """What must be said beside a low that rests on very few frames; empty where nothing must.

    Below 100 frames the 1 % low is one frame (below 1000 the 0.1 % low).
    """
    part = _part(percent)
    if frames < 1:
        return "there are no frames"
    if frames * part >= 1:
        return ""
    rests = "the two longest frames" if definition == "A-linear" else "the single longest frame"
    return f"with {frames} frames, fewer than {-(-1 // part)}, the {float(percent):g} % low rests on {rests} alone"


def _part(percent: Percent) -> Fraction:
    # Through its digits, so that 0.1 means a thousandth exactly and no rank is off by one.
    return Fraction(str(percent)) / 100


def _checked(frame_ms: npt.ArrayLike, percent: Percent) -> tuple[npt.NDArray[np.float64], Fraction]:
    """Longest first, and the part of one that is meant."""
    times = np.sort(np.asarray(frame_ms, dtype=np.float64).ravel())[::-1]
    part = _part(percent)
    if not 0 < part < 1:
        raise ValueError(f"a low of {percent} % means nothing; it must lie between 0 and 100")
    if times.size == 0:
        raise ValueError("there are no frame times")
    if not np.isfinite(times).all() or times[-1] <= 0:
        raise ValueError("a frame time is not above zero and finite")
    return times, part


def _worst_count(frames: int, part: Fraction) -> int:
    return max(1, int(part * frames // 1))


def _reached(times: npt.NDArray[np.float64], part: Fraction) -> int:
    """The first place at which the cumulated times reach the part of the whole."""
    sums = np.cumsum(times)
    # Sums of binary fractions may fall a hair short of a total they equal on paper.
    wanted = float(sums[-1]) * float(part) * (1 - 1e-12)
    return int(np.searchsorted(sums, wanted))
