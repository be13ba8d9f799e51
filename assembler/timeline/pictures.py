"""Which picture of a capture stands behind each output frame.

The rule: the newest picture whose time is at or before the time wanted, by timestamp, all in exact
integers. Never by index and rate.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import lcm

import numpy as np
import numpy.typing as npt

from assembler.media.info import CaptureInfo
from assembler.timing.spans import Span

_INT64_SAFE = 1 << 62


def running_frames(frames: int, held: Sequence[Span]) -> npt.NDArray[np.int64]:
    """How many frames the pane has run before each output frame, given spans in which it is held.

    The picture at a hold's first frame stays to the hold's end; then the pane runs on from there.
    Returns (frames,) int64.
    """
    runs = np.ones(frames, np.int64)
    for span in held:
        runs[max(0, span.start_frame) : max(0, span.end_frame)] = 0
    before = np.cumsum(runs) - runs
    return before.astype(np.int64)


def pictures_behind(
    info: CaptureInfo, start_s: Fraction, speed: Fraction, rate: Fraction, frames: int, held: Sequence[Span] = ()
) -> tuple[npt.NDArray[np.int32], int, int]:
    """Picture index for each of `frames` output frames, and how many of them lie before the
    capture's first picture and after its last one's end.

    start_s: capture time wanted at the first frame, counted from the capture's first picture.
    Returns ((frames,) int32 read-only, early_frames, late_frames).
    """
    steps = running_frames(frames, held)
    # wanted, in the capture's clock: (base + step * k), over one common denominator.
    base = start_s / info.time_base
    step = speed / rate / info.time_base
    common = lcm(base.denominator, step.denominator)
    base_n, step_n = int(base * common), int(step * common)
    if abs(base_n) + step_n * (frames + 1) < _INT64_SAFE:
        wanted = (base_n + step_n * steps) // common
    else:  # a clock too fine for 64 bits
        wanted = np.array([(base_n + step_n * int(k)) // common for k in steps], np.int64)
    times = info.pts - info.pts[0]
    index = np.searchsorted(times, wanted, side="right") - 1
    early = int(np.count_nonzero(index < 0))
    late = int(np.count_nonzero(wanted >= int(times[-1]) + info.last_duration))
    picture = np.maximum(index, 0).astype(np.int32)
    picture.setflags(write=False)
    return picture, early, late
