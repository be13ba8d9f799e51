"""What is heard of a finished sound, taken block by block in little memory: loudness, range, true peak, and where it is
over a limit."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assembler.sound.limiter import Curve
from assembler.sound.loudness import TENTH_MS, Power, PowerMeter, integrated_lufs, loudness_range_lu
from assembler.sound.truepeak import REACH, PeakMeter, decibels
from assembler.sound.weighting import KWeighting
from assembler.sound.windows import within

Places = npt.NDArray[np.int64]
Sound = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """power: weighted, of each tenth of a second. highest: the highest point, an amplitude. places: milliseconds in
    which the sound is over the limit, rising; peaks: how high it reaches there."""

    power: Power
    highest: float
    places: Places
    peaks: Curve

    @property
    def lufs(self) -> float | None:
        """Integrated loudness; None where there is none."""
        return integrated_lufs(self.power, TENTH_MS)

    @property
    def range_lu(self) -> float | None:
        """Loudness range; None where there is none."""
        return loudness_range_lu(self.power, TENTH_MS)

    @property
    def peak_dbtp(self) -> float | None:
        """True peak; None for silence."""
        return decibels(self.highest)

    def as_bytes(self) -> bytes:
        """All of it, for keeping."""
        told = [self.power.tolist(), self.highest, self.places.tolist(), self.peaks.tolist()]
        return json.dumps(told).encode()

    @classmethod
    def of_bytes(cls, data: bytes) -> Heard:
        """What `as_bytes` made."""
        power, highest, places, peaks = json.loads(data)
        return cls(
            np.array(power, np.float32), highest, np.array(places, np.int64), np.array(peaks, np.float32)
        )


def together(parts: Sequence[tuple[int, Heard]]) -> Heard:
    """One sound of parts that follow each other, each with the millisecond it begins at."""
    return Heard(
        np.concatenate([np.zeros(0, np.float32), *(heard.power for _, heard in parts)]),
        max((heard.highest for _, heard in parts), default=0.0),
        np.concatenate([np.zeros(0, np.int64), *(heard.places + first for first, heard in parts)]),
        np.concatenate([np.zeros(0, np.float32), *(heard.peaks for _, heard in parts)]),
    )


def hear_part(sound: Sound, first: int, end: int, limit: float) -> Heard:
    """Hear samples `first` to `end` of a sound, whole tenths of a second unless it ends there. What lies around them
    is heard as well where the filters reach it. limit: an amplitude."""
    weighting, power = KWeighting(2), PowerMeter(TENTH_MS)
    weighting.weigh(sound[:first])
    peaks = PeakMeter(2, above=limit, before=sound[max(0, first - REACH) : first])
    for start, stop in within(first, end):
        power.add(weighting.weigh(sound[start:stop]))
        peaks.add(sound[start:stop])
    if end == len(sound):
        peaks.end()
    else:
        peaks.add(sound[end : end + REACH])
    by_ms = peaks.take()
    where = np.flatnonzero(by_ms > limit)
    return Heard(power.power(), peaks.highest, where, by_ms[where])


class Listener:
    """Hears a stereo sound at 48 kHz block by block. limit: an amplitude; infinity: none is looked for."""

    def __init__(self, limit: float = np.inf) -> None:
        self._limit = limit
        self._weighting, self._power = KWeighting(2), PowerMeter(TENTH_MS)
        self._peaks = PeakMeter(2, above=limit)
        self._milliseconds = 0
        self._places: list[Places] = []
        self._found: list[Curve] = []

    def add(self, block: Sound) -> None:
        """Take the next (samples, 2)."""
        self._power.add(self._weighting.weigh(block))
        self._peaks.add(block)
        self._look()

    def end(self) -> Heard:
        """The sound is over."""
        self._peaks.end()
        self._look()
        return Heard(
            self._power.power(),
            self._peaks.highest,
            np.concatenate([np.zeros(0, np.int64), *self._places]),
            np.concatenate([np.zeros(0, np.float32), *self._found]),
        )

    def _look(self) -> None:
        peaks = self._peaks.take()
        where = np.flatnonzero(peaks > self._limit)
        if where.size:
            self._places.append(where + self._milliseconds)
            self._found.append(peaks[where])
        self._milliseconds += peaks.size
