"""A frame-time log laid on a capture: by a given offset, or where its rhythm matches the measured one.

The log knows what the pictures cannot show (frames hidden between two refreshes, times finer than a refresh), and the
capture knows when; matching compares how long the frame on screen lasts, moment by moment, in both.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from assembler.measure.clock import Clock, Doubles, Ints
from assembler.measure.figures import FrameTimes, moving_runs
from assembler.measure.logs import FrameLog
from assembler.measure.model import TOO_COMPRESSED, Cadence, State

_LEAST_OVERLAP_S = 4.0
_LEAST_LIKENESS = 0.5
_LEAST_SCORE = 8.0
_RIVAL_SHARE = 0.85
_RIVAL_SECONDS = 0.15
_PHASES = 8
_ALIKE = 0.99
_LONGEST_HOLD = 8.0  # refreshes; longer frames say no more than that there was a hitch, and would drown the rest
_LEAST_VARIANCE = 0.005  # one refresh in two hundred unlike the others


@dataclass(frozen=True, slots=True)
class LogMatch:
    """Where a log's own 0 lies in capture seconds, within [low_s, high_s] (95 %), and how well it fits.

    likeness: correlation of the two rhythms, 1 at best. score: the same against all other offsets, in their robust
    standard deviations. matched: whether it may be used; `why` says why not. Not matched: the offset is only the
    best of poor ones.
    """

    offset_s: float
    low_s: float
    high_s: float
    likeness: float
    score: float
    matched: bool
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class LaidLog:
    """A log in a capture's time.

    cadence: which pictures the log says are new; UNDECIDED where it does not reach. frames: its own frame times in
    capture seconds, finer than the refresh; `picture` is the first picture that shows each. hidden: (n,) how many
    frames of the log came and went unseen between a picture and the one before.
    """

    cadence: Cadence
    frames: FrameTimes
    hidden: Ints
    offset_s: float


def lay_on(log: FrameLog, clock: Clock, offset_s: float, measured: Cadence | None = None) -> LaidLog:
    """Lay a log on a capture with its 0 at `offset_s` capture seconds.

    A frame shows from the refresh nearest to its time. `measured` lends its states (a log cannot tell a still picture
    from a moving one); without it everything within the log's reach counts as moving.
    """
    edges = clock.edges_s
    n = edges.size - 1
    starts, end = log.start_s + offset_s, log.end_s + offset_s
    middles = np.concatenate((edges[:1] - np.diff(edges[:2]) / 2, (edges[1:] + edges[:-1]) / 2))
    nearest = np.searchsorted(middles, starts, side="right") - 1
    seen = (nearest >= 0) & (nearest < n)
    came = np.bincount(nearest[seen], minlength=n)
    p_new = (came > 0).astype(np.float32)
    p_new[0] = 1
    state = np.full(n, State.UNDECIDED, dtype=np.uint8)
    reach = (edges[:-1] >= starts[0] - np.diff(edges) / 2) & (edges[1:] <= end + np.diff(edges) / 2)
    state[reach] = State.MOVING if measured is None else measured.state[reach]
    rows = np.full(n, -1, dtype=np.int32)
    cadence = Cadence(
        p_new, state, rows, rows.copy(), np.zeros(n, np.float32), np.zeros(n, np.bool_), True, "", False,
        "a frame-time log says nothing of tears",
    )  # fmt: skip
    inside = np.flatnonzero(seen & (state[nearest.clip(0, n - 1)] == State.MOVING))
    ms = log.frame_ms[inside]
    frames = FrameTimes(nearest[inside].astype(np.int64), starts[inside], ms, ms, ms, np.ones(inside.size))
    return LaidLog(cadence, frames, np.maximum(came - 1, 0).astype(np.int64), offset_s)


def match(log: FrameLog, clock: Clock, measured: Cadence) -> LogMatch:
    """Find where a log belongs on a capture by its rhythm.

    The log's frames are set on refreshes as a display would, at every offset in eighths of a refresh, and compared
    with the capture by which refreshes are new and how long each picture stays. Refused: captures that cannot be
    counted, overlaps under four seconds, a poor likeness, and rhythms so regular that several offsets fit alike.
    """
    if not measured.reliable:
        return _refused(measured.why or TOO_COMPRESSED)
    refresh = clock.refresh() or Fraction(60)
    step = float(1 / refresh)
    slots = clock.slots(refresh)
    number = np.flatnonzero(measured.is_new)
    known = np.zeros(int(slots[-1]), dtype=np.float64)
    for first, end in moving_runs(measured):
        known[slots[first] : slots[end]] = 1
    ours = _rhythm(slots[number], known.size)
    theirs = (log.start_s - log.start_s[0]) / step
    rows = []
    for phase in range(_PHASES):
        at = np.ceil(theirs - phase / _PHASES - 1e-9).astype(np.int64)
        other = _rhythm(np.unique(at), max(1, round((log.end_s - float(log.start_s[0])) / step)))
        rows.append(_likeness(ours, known, other, step))
    # Lag by lag, and within a lag from the largest phase, which is the earliest offset, to none.
    likeness = np.array(rows)[::-1].T.ravel()
    lags = np.arange(likeness.size) - (_PHASES - 1) - (rows[0].size - known.size) * _PHASES
    usable = np.isfinite(likeness)
    if not usable.any():
        return _refused(f"less than {_LEAST_OVERLAP_S:g} s of uneven motion to compare")
    best = int(np.nanargmax(likeness))
    top = float(likeness[best])
    others = likeness[usable]
    middle = float(np.median(others))
    score = (top - middle) / max(1.4826 * float(np.median(np.abs(others - middle))), 1e-6)
    away = usable & (np.abs(lags - lags[best]) > _RIVAL_SECONDS / step * _PHASES)
    rival = float(likeness[away].max()) if away.any() else 0.0
    # Log times that lie on refreshes fit alike over a whole refresh of offsets: take the middle of those.
    low = high = best
    while low > 0 and likeness[low - 1] >= top * _ALIKE:
        low -= 1
    while high + 1 < likeness.size and likeness[high + 1] >= top * _ALIKE:
        high += 1
    # A frame waits for the refresh after its time, half a refresh on average; laying takes the nearest refresh.
    offset = float((lags[low] + lags[high]) / 2 / _PHASES + 0.5) * step - float(log.start_s[0])
    half = step / 2 + float(lags[high] - lags[low]) / 2 / _PHASES * step
    why = ""
    if top < _LEAST_LIKENESS:
        why = "no offset makes the log fit the capture well"
    elif rival > _RIVAL_SHARE * top:
        why = "several offsets fit alike; the rhythm repeats too regularly"
    elif score < _LEAST_SCORE:
        why = "the best offset stands out too little from chance"
    return LogMatch(offset, offset - half, offset + half, top, score, not why, why)


def _refused(why: str) -> LogMatch:
    return LogMatch(0.0, float("-inf"), float("inf"), 0.0, 0.0, False, why)


def _rhythm(new: Ints, count: int) -> tuple[Doubles, Doubles]:
    """(count,) each: 1 where a refresh is new, and how many refreshes the picture on screen stays."""
    inside = new[new < count]
    events = np.zeros(count)
    events[inside] = 1
    lasts = np.diff(np.append(inside, count)).astype(np.float64)
    holds = np.ones(count)
    if inside.size:
        holds[inside[0] :] = np.repeat(np.minimum(lasts, _LONGEST_HOLD), lasts.astype(np.int64))
    return events, holds


def _likeness(
    ours: tuple[Doubles, Doubles], known: Doubles, theirs: tuple[Doubles, Doubles], step: float
) -> Doubles:
    """Mean of the two rhythms' correlations at every lag, from their last refresh on our first to the reverse.

    known: (n,) weight of our refreshes. NaN where too little is compared or all frames last alike.
    """
    from scipy import fft  # here, not above: it takes long to load, and few commands need it

    n, m = known.size, theirs[0].size
    size = fft.next_fast_len(n + m, real=True)

    def slide(a: Doubles, b: Doubles) -> Doubles:
        product = fft.irfft(fft.rfft(a, size) * np.conj(fft.rfft(b, size)), size)
        return np.concatenate((product[size - m + 1 :], product[:n]))

    ones = np.ones(m)
    weight = slide(known, ones)
    safe = np.maximum(weight, 1e-9)
    told = weight >= max(_LEAST_OVERLAP_S / step, 0.3 * min(float(known.sum()), m))
    total = np.zeros(n + m - 1)
    for a, b in zip(ours, theirs, strict=True):
        # Means near 0 keep the sums' rounding far below what is compared.
        x, y = a - a.mean(), b - b.mean()
        mean_x, mean_y = slide(known * x, ones) / safe, slide(known, y) / safe
        var_x, var_y = slide(known * x * x, ones) / safe - mean_x**2, slide(known, y * y) / safe - mean_y**2
        both = slide(known * x, y) / safe - mean_x * mean_y
        told &= (var_x > _LEAST_VARIANCE) & (var_y > _LEAST_VARIANCE)
        total += both / np.sqrt(np.maximum(var_x * var_y, _LEAST_VARIANCE**2)) / 2
    return np.where(told, total, np.nan)
