"""Whether a capture is good enough to count pictures in at all.

A coder starved of bits leaves pictures out, or makes repeats differ: what it lost cannot be measured
back. Two signs give it away: the model itself expects too many of its verdicts to be wrong, or what it calls
repeats differ about as much as what it calls new.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from assembler.measure.features import COLUMN, Floats
from assembler.measure.model import TOO_COMPRESSED, State

# Both set on the tuned half of the planted clips: of 72, the 8 with more than 1 % wrong verdicts expect more than
# 3 % wrong; the other 64 expect less than 2 % and have a gap of 0.69 or more.
MOST_EXPECTED_WRONG = 0.025
LEAST_GAP = 0.3
"""Natural logarithm between the lower quartile of new pictures' differences and the upper tenth of repeats'."""
LEAST_PICTURES = 30


def gate(pairs: Floats, p_new: Floats, state: npt.NDArray[np.uint8]) -> str:
    """Why pictures cannot be counted in this capture; empty where they can."""
    active = (state == State.MOVING) | (state == State.UNDECIDED)
    active[:1] = False
    if active.sum() < LEAST_PICTURES:
        return ""
    p = p_new[active].astype(np.float64)
    expected = float(np.minimum(p, 1 - p).mean())
    if expected > MOST_EXPECTED_WRONG:
        return (
            f"{TOO_COMPRESSED}, or it moves too little:"
            f" about {100 * expected:.0f} % of the verdicts would be wrong"
        )
    new = p >= 0.5
    if min(new.sum(), (~new).sum()) >= LEAST_PICTURES // 3:
        log = np.log(pairs[active, COLUMN["rms"]].astype(np.float64) + 0.03)
        gap = np.percentile(log[new], 25) - np.percentile(log[~new], 90)
        if gap < LEAST_GAP:
            return (
                f"{TOO_COMPRESSED}: repeats differ by nearly as much as new pictures"
                f" (new ones {np.exp(gap):.1f} times as much)"
            )
    return ""
