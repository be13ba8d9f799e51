"""When each picture of a capture comes on screen: exact times, and the refresh they lie on.

Everything that counts pictures works from this and never from index divided by rate, so captures with variable
timing are counted by their own timestamps.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from assembler.media.info import CaptureInfo

Doubles = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

# Refresh rates that displays and recorders have in whole numbers; each also stands for its /1001 relative.
_REFRESHES = (24, 25, 30, 48, 50, 60, 72, 75, 90, 100, 120, 144, 165, 240)
_FITTING_SHARE = 0.98
_SLACK = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Clock:
    """A capture's timestamps: `pts`, `time_base`, `last_duration` and `frame_rate` as in `CaptureInfo`.

    rows: how many lines its pictures have, by which a tear's place in the refresh is told.
    """

    pts: Ints
    time_base: Fraction
    last_duration: int
    frame_rate: Fraction | None
    rows: int

    @classmethod
    def of(cls, info: CaptureInfo) -> Clock:
        """The clock of a probed capture."""
        return cls(info.pts, info.time_base, info.last_duration, info.frame_rate, info.height)

    @classmethod
    def even(cls, pictures: int, rate: Fraction, rows: int = 1080) -> Clock:
        """A clock of evenly spaced pictures."""
        pts = np.arange(pictures, dtype=np.int64) * rate.denominator
        return cls(pts, Fraction(1, rate.numerator), rate.denominator, rate, rows)

    @property
    def edges_s(self) -> Doubles:
        """(n + 1,) seconds from the first picture: where each begins, then where the last one ends."""
        if self.frame_rate is not None:
            # Even spacing is exact; the stamps are only as good as their grain.
            return np.arange(self.pts.size + 1) / float(self.frame_rate)
        units = np.append(self.pts, self.pts[-1] + self.last_duration) - self.pts[0]
        return np.asarray(units * float(self.time_base), dtype=np.float64)

    @property
    def grain_s(self) -> float:
        """How far a stamp may lie from the true time, to either side."""
        return 0.0 if self.frame_rate is not None else float(self.time_base) / 2

    @property
    def duration_s(self) -> Fraction:
        """From the first picture's start to the last one's end."""
        return (int(self.pts[-1]) - int(self.pts[0]) + self.last_duration) * self.time_base

    def first_from(self, second: Fraction) -> int:
        """The first picture that begins at or after a time, seconds from the first picture; n where there is none."""
        if self.frame_rate is not None:
            return min(max(-((-second * self.frame_rate) // 1), 0), int(self.pts.size))
        units = -((-second) // self.time_base)
        wanted = int(self.pts[0]) + max(units, 0)
        if wanted > int(self.pts[-1]):
            return int(self.pts.size)
        return int(np.searchsorted(self.pts, wanted))

    def pictures_in(self, start: Fraction, end: Fraction) -> tuple[int, int]:
        """The pictures that begin in the half-open span of capture seconds, as a half-open range."""
        first = self.first_from(start)
        return first, max(first, self.first_from(end))

    def refresh(self) -> Fraction | None:
        """The refresh that pictures lie on, in hertz.

        An even clock's own rate. For variable timing the lowest common refresh of which nearly every spacing is a
        whole number of periods, to the clock's grain; None where there is no such refresh.
        """
        if self.frame_rate is not None:
            return self.frame_rate
        return _fitted_refresh(np.diff(self.pts) * float(self.time_base), float(self.time_base))

    def slots(self, refresh: Fraction) -> Ints:
        """(n + 1,) which refresh each picture begins in, counted from the first; the last entry is the end."""
        if self.frame_rate == refresh:
            return np.arange(self.pts.size + 1, dtype=np.int64)
        return np.asarray(np.rint(self.edges_s * float(refresh)), dtype=np.int64)


def _fitted_refresh(spacing_s: Doubles, grain_s: float) -> Fraction | None:
    if spacing_s.size < 2:
        return None
    for whole in _REFRESHES:
        period = 1 / whole
        slack = grain_s + _SLACK * period
        if slack > period / 5:
            # So coarse a clock would fit any refresh from here on.
            return None
        periods = np.rint(spacing_s / period)
        fits = (np.abs(spacing_s - periods * period) <= slack + periods * period / 1000) & (periods >= 1)
        if fits.mean() >= _FITTING_SHARE:
            mean = float(periods[fits].sum() / spacing_s[fits].sum())
            exact = Fraction(whole)
            ntsc = Fraction(whole * 1000, 1001)
            return ntsc if abs(mean - float(ntsc)) < abs(mean - whole) else exact
    return None
