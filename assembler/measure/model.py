"""The results of measuring a capture, as plain arrays with their uncertainty.

All arrays run along the capture's pictures in display order (`CaptureInfo.pts`), n of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]
TOO_COMPRESSED = "capture too compressed for frame counting"


class State(IntEnum):
    """What can be said of a picture's moment. Rates are counted only where something moves."""

    MOVING = 0
    STILL = 1
    DARK = 2
    UNDECIDED = 3


@dataclass(frozen=True, slots=True, eq=False)
class Cadence:
    """Which pictures are new.

    p_new: (n,) probability that picture k shows something that picture k - 1 did not; p_new[0] is 1.
    state: (n,) uint8 of `State`. tear_first_row, tear_last_row: (n,) int32 of capture rows, half-open:
    the line at which picture k changes over from the one before lies there; -1 where no tear is seen.
    p_tear: (n,) probability of a tear. manual: (n,) bool, verdicts a person made.
    reliable: False when the capture is too compressed to count pictures; then `why` says so in words.
    tears_measurable: False where tears cannot be told (every refresh changes); `tears_why` says so.
    """

    p_new: Floats
    state: npt.NDArray[np.uint8]
    tear_first_row: npt.NDArray[np.int32]
    tear_last_row: npt.NDArray[np.int32]
    p_tear: Floats
    manual: npt.NDArray[np.bool_]
    reliable: bool
    why: str
    tears_measurable: bool
    tears_why: str

    @property
    def is_new(self) -> npt.NDArray[np.bool_]:
        """(n,) the verdicts: new where more likely than not."""
        return self.p_new >= 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Thumbs:
    """Small pictures for lining captures up: (n, 18, 32) float32 mean luma codes, 8-bit scale, of the
    active picture; `mean_luma`: (n,) of the whole picture."""

    luma: Floats
    mean_luma: Floats


@dataclass(frozen=True, slots=True)
class LineUpResult:
    """Where `other` shows what `capture` shows at its own 0, in seconds of other's time.

    offset_s lies in [low_s, high_s] (95 %). drift_ppm: how much faster other's clock runs, with its
    interval. score: the match against chance (standard deviations); matched: whether it is accepted.
    sound_offset_s: the second witness, None where sound says nothing; agree: None without a witness.
    """

    offset_s: float
    low_s: float
    high_s: float
    drift_ppm: float
    drift_low_ppm: float
    drift_high_ppm: float
    score: float
    matched: bool
    why: str
    sound_offset_s: float | None
    agree: bool | None
