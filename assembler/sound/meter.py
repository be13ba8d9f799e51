"""Loudness, range and true peak of a finished sound, taken block by block in little memory."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assembler.sound.loudness import TENTH_MS, PowerMeter, integrated_lufs, loudness_range_lu
from assembler.sound.truepeak import PeakMeter, decibels
from assembler.sound.weighting import KWeighting


@dataclass(frozen=True, slots=True)
class Reading:
    """lufs: integrated loudness; range_lu: loudness range; peak_dbtp: true peak. Each None where there is none."""

    lufs: float | None
    range_lu: float | None
    peak_dbtp: float | None


class Meter:
    """Reads a stereo sound at 48 kHz. above: milliseconds that reach over this amplitude are kept in `peaks`."""

    def __init__(self, above: float | None = None) -> None:
        self._weighting, self._power = KWeighting(2), PowerMeter(TENTH_MS)
        self.peaks = PeakMeter(2, above=np.inf if above is None else above)

    def add(self, block: npt.NDArray[np.float32]) -> None:
        """Take the next (samples, 2)."""
        self._power.add(self._weighting.weigh(block))
        self.peaks.add(block)

    def end(self) -> Reading:
        """The sound is over."""
        self.peaks.end()
        power = self._power.power()
        return Reading(
            integrated_lufs(power, TENTH_MS), loudness_range_lu(power, TENTH_MS), decibels(self.peaks.highest)
        )
