"""Figures from a cadence: rates, frame times and shares of a span of capture time, each with its uncertainty.

A span holds the pictures that begin in it, whole; so figures of spans that meet add up to those of their union.
Rates are counted where something moves and nowhere else: a span in which nothing moves has no rate, never 0.
A new picture is one that a machine began to show: one that only completes a picture torn in the refresh before must
not be new in the cadence, or it would be counted twice.
On a recording with a fixed rate a frame time is a whole number of refreshes, unless a tear tells where in the
refresh the change came. A display with variable refresh cannot be told from such a recording: there the true
frame time lies within one capture interval of the figure.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from assembler.measure.cadence import DOUBT
from assembler.measure.clock import Clock, Doubles, Ints
from assembler.measure.model import TOO_COMPRESSED, Cadence, State

_SURE = 1.96  # standard deviations to either side of a 95 % interval of a normal law
_END_VARIANCE = 1 / 12  # of the part of a frame that an end cuts off, uniform between none and all of it
_UNSURE = (0.05, 0.95)
_LEAST_WINDOW = 0.5
MOST_WRONG = 1.0
"""Verdicts expected to be wrong in a second, by their own probabilities, above which no rate is given there. On the
tuned half of the planted clips this and the gate keep back nine in ten of the seconds that are off by more than one."""

NOTHING_MOVES = "nothing moves"
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A figure with its 95 % interval, or None and the word that stands in its place."""

    value: float | None
    low: float | None
    high: float | None
    why: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class FrameTimes:
    """Frames seen from beginning to end in motion, in order, m of them.

    picture: (m,) the picture each begins with. start_s: (m,) capture seconds. ms, low_ms, high_ms: (m,) how long
    each lasted, and between what limits where the verdicts are right. sure: (m,) probability that they are.
    """

    picture: Ints
    start_s: Doubles
    ms: Doubles
    low_ms: Doubles
    high_ms: Doubles
    sure: Doubles

    def part(self, first: int, end: int) -> FrameTimes:
        """The frames that begin with a picture of the half-open range."""
        cut = slice(*np.searchsorted(self.picture, [first, end]))
        return FrameTimes(
            self.picture[cut], self.start_s[cut], self.ms[cut], self.low_ms[cut], self.high_ms[cut], self.sure[cut]
        )


@dataclass(frozen=True, slots=True, eq=False)
class WindowRates:
    """The rate around each picture, n of them; NaN where it is not counted.

    hz, low_hz, high_hz: (n,). unsure: (n,) share of the window's pictures without a clear verdict.
    first, end: (n,) the half-open range of pictures counted. whole: (n,) False where motion began or ended inside
    the window, which was then counted in part. doubtful: (n,) where there is motion enough, but the verdicts are too
    doubtful to count; always so in a capture that cannot be counted. window_s: the window's full length.
    """

    hz: Doubles
    low_hz: Doubles
    high_hz: Doubles
    unsure: Doubles
    first: Ints
    end: Ints
    whole: Bools
    doubtful: Bools
    window_s: Fraction


@dataclass(frozen=True, slots=True)
class Shares:
    """Parts of one of a span's time, by what can be said of it."""

    moving: float
    still: float
    dark: float
    undecided: float


@dataclass(frozen=True, slots=True, eq=False)
class Figures:
    """All figures of a span. Where `counted` is False every rate is None, and `why` says why.

    new_pictures: how many began in motion. moving_s: seconds in motion. average_hz: the one divided by the other.
    torn: part of one of the observable frames. unsure: part of one of moving pictures without a clear verdict.
    longest_hold_ms: the longest frame in motion, from longest_at_s on.
    """

    start_s: Fraction
    end_s: Fraction
    counted: bool
    why: str
    pictures: int
    shares: Shares
    moving_s: float
    new_pictures: Quantity
    average_hz: Quantity
    longest_hold_ms: Quantity
    longest_at_s: float | None
    torn: Quantity
    observable_frames: int
    lowest_window_hz: Quantity
    highest_window_hz: Quantity
    window_s: Fraction
    unsure: float | None
    frames: FrameTimes


def moving_runs(cadence: Cadence) -> tuple[tuple[int, int], ...]:
    """Unbroken motion as half-open ranges of pictures, in order."""
    moving = np.concatenate(([False], cadence.state == State.MOVING, [False]))
    edges = np.flatnonzero(moving[1:] != moving[:-1])
    return tuple((int(a), int(b)) for a, b in edges.reshape(-1, 2))


def new_picture_times(cadence: Cadence, clock: Clock) -> tuple[Ints, Doubles, Doubles, Doubles]:
    """When new pictures came: their numbers, then time, earliest and latest, (m,) capture seconds.

    A torn picture began where the tear's rows lie in the refresh, which is taken to be drawn from top to bottom at
    an even pace (the pause between two refreshes is not known and is left out). Others began with their refresh.
    """
    number = np.flatnonzero(cadence.is_new)
    edges = clock.edges_s
    start = edges[number]
    lasted = np.minimum(edges[number + 1] - start, _refresh_s(clock))
    torn = _torn(cadence)[number]
    first = np.where(torn, cadence.tear_first_row[number], 0) / clock.rows
    last = np.where(torn, np.maximum(cadence.tear_last_row[number], cadence.tear_first_row[number]), 0) / clock.rows
    middle = start + (first + last) / 2 * lasted
    return number, middle, start + first * lasted - clock.grain_s, start + last * lasted + clock.grain_s


def frame_times(cadence: Cadence, clock: Clock) -> FrameTimes:
    """Every frame of the capture that began and ended in one unbroken motion."""
    number, middle, early, late = new_picture_times(cadence, clock)
    run = np.full(cadence.state.size, -1)
    for which, (first, end) in enumerate(moving_runs(cadence)):
        run[first:end] = which
    # A frame ends with the refresh before the next new picture; that picture itself may be the first of a still.
    inside = (run[number[:-1]] == run[number[1:] - 1]) & (run[number[:-1]] >= 0)
    begin, after = np.flatnonzero(inside), np.flatnonzero(inside) + 1
    # A frame is what it seems when both its ends are new pictures and none between is.
    p = cadence.p_new.astype(np.float64)
    tiny = 1e-300
    new, held = np.log(np.maximum(p, tiny)), np.log(np.maximum(1 - p, tiny))
    held_before = np.concatenate(([0.0], np.cumsum(held)))
    a, b = number[begin], number[after]
    sure = np.exp(new[a] + new[b] + held_before[b] - held_before[a + 1])
    ms = 1000 * (middle[after] - middle[begin])
    low = np.maximum(1000 * (early[after] - late[begin]), 0)
    return FrameTimes(a.astype(np.int64), middle[begin], ms, low, 1000 * (late[after] - early[begin]), sure)


def window_rates(cadence: Cadence, clock: Clock, window_s: Fraction = Fraction(1)) -> WindowRates:
    """New pictures per second in a window centred on each picture.

    The window is cut where motion begins or ends, and nothing is counted in less than half of it. On an even clock
    it holds the same whole number of refreshes everywhere, so a steady cadence gives a steady figure.
    All NaN where the capture cannot be counted, and wherever more than `MOST_WRONG` verdicts a second would be wrong.
    """
    n = cadence.state.size
    here = np.arange(n)
    if clock.frame_rate is not None:
        refreshes = max(1, round(window_s * clock.frame_rate))
        first = here - refreshes // 2
        end = first + refreshes
    else:
        half = int(window_s / 2 / clock.time_base)
        first = np.searchsorted(clock.pts, clock.pts - half)
        end = np.searchsorted(clock.pts, clock.pts + half)
    run_first, run_end = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    for begins, ends in moving_runs(cadence):
        run_first[begins:ends], run_end[begins:ends] = begins, ends
    first, end = np.maximum(first, run_first), np.minimum(end, run_end)
    seconds = np.where(end > first, clock.edges_s[np.maximum(end, first)] - clock.edges_s[first.clip(0, n)], 0.0)
    moving = (cadence.state == State.MOVING) & (seconds >= _LEAST_WINDOW * float(window_s) - 1e-9)
    p = cadence.p_new.astype(np.float64)
    wrong = _between(_expected_wrong(p, cadence.is_new), np.where(moving, first, here), np.where(moving, end, here))
    doubtful = moving & ((wrong > MOST_WRONG * seconds) | (not cadence.reliable))
    counted = moving & ~doubtful
    first, end = np.where(counted, first, here), np.where(counted, end, here)

    new = _between(cadence.is_new.astype(np.float64), first, end)
    expected = _between(p, first, end)
    deviation = np.sqrt(_between(p * (1 - p), first, end) + 2 * _END_VARIANCE)
    unsure = _between(((p > _UNSURE[0]) & (p < _UNSURE[1])).astype(np.float64), first, end)
    with np.errstate(invalid="ignore", divide="ignore"):
        hz = np.where(counted, new / seconds, np.nan)
        low = np.where(counted, np.maximum(np.minimum(new, expected - _SURE * deviation), 0) / seconds, np.nan)
        high = np.where(counted, np.maximum(new, expected + _SURE * deviation) / seconds, np.nan)
        doubt = np.where(counted, unsure / (end - first), np.nan)
    whole = counted & (seconds >= 0.99 * float(window_s))
    return WindowRates(hz, low, high, doubt, first.astype(np.int64), end.astype(np.int64), whole, doubtful, window_s)


def figures(
    cadence: Cadence,
    clock: Clock,
    start_s: Fraction | None = None,
    end_s: Fraction | None = None,
    window_s: Fraction = Fraction(1),
) -> Figures:
    """The figures of a half-open span of capture seconds, the whole capture by default."""
    start = Fraction(0) if start_s is None else start_s
    end = clock.duration_s if end_s is None else end_s
    if end < start:
        raise ValueError(f"a span cannot end ({float(end):g} s) before it starts ({float(start):g} s)")
    first, last = clock.pictures_in(start, end)
    inside = slice(first, last)
    seconds = np.diff(clock.edges_s)[inside]
    moving = cadence.state[inside] == State.MOVING
    moving_s = float(seconds[moving].sum())
    shares = _shares(cadence.state[inside], seconds)
    why = _why_not(cadence, first, last, moving_s, shares)
    frames = frame_times(cadence, clock).part(first, last) if not why else _no_frames()
    none = Quantity(None, None, None, why)
    new, average, lowest, highest, unsure = none, none, none, none, None
    torn, observable = _torn_share(cadence, first, last) if not why else (none, 0)
    if not why:
        p = cadence.p_new[inside][moving].astype(np.float64)
        count = float(cadence.is_new[inside][moving].sum())
        variance = float((p * (1 - p)).sum()) + _END_VARIANCE * _cut_ends(cadence, first, last)
        reach = _SURE * variance**0.5
        expected = float(p.sum())
        new = Quantity(count, max(0.0, min(count, expected - reach)), max(count, expected + reach))
        average = Quantity(count / moving_s, (new.low or 0.0) / moving_s, (new.high or 0.0) / moving_s)
        lowest, highest = _extremes(window_rates(cadence, clock, window_s), first, last)
        unsure = float(((p > _UNSURE[0]) & (p < _UNSURE[1])).mean())
    longest, longest_at = _longest(frames, why)
    return Figures(
        start, end, not why, why, last - first, shares, moving_s, new, average, longest, longest_at, torn, observable,
        lowest, highest, window_s, unsure, frames,
    )  # fmt: skip


def _expected_wrong(p_new: Doubles, is_new: Bools) -> Doubles:
    """(n,) probability that a verdict is wrong. p_new leans to repeats by `DOUBT`, which is taken back here: else those
    that would have been called new but for it seem surer repeats than they are, and new ones less sure."""
    odds = np.exp(DOUBT)
    even = p_new * odds / (1 - p_new + p_new * odds)
    return np.asarray(np.where(is_new, 1 - even, even))


def _refresh_s(clock: Clock) -> float:
    """How long one refresh takes to draw; without end where the clock tells of none."""
    refresh = clock.refresh()
    return float(1 / refresh) if refresh else float("inf")


def _torn(cadence: Cadence) -> Bools:
    """(n,) where a tear is more likely than not and its rows are known."""
    with np.errstate(invalid="ignore"):
        likely = cadence.p_tear >= 0.5
    return np.asarray(likely & (cadence.tear_first_row >= 0) & cadence.tears_measurable)


def _between(values: Doubles, first: npt.NDArray[np.intp] | Ints, end: npt.NDArray[np.intp] | Ints) -> Doubles:
    """Sums of values over half-open ranges."""
    sums = np.concatenate(([0.0], np.cumsum(values)))
    return np.asarray(sums[end] - sums[first])


def _shares(state: npt.NDArray[np.uint8], seconds: Doubles) -> Shares:
    whole = float(seconds.sum())
    if whole == 0:
        return Shares(0.0, 0.0, 0.0, 0.0)
    by_state = [float(seconds[state == which].sum()) / whole for which in State]
    return Shares(*by_state)


def _why_not(cadence: Cadence, first: int, last: int, moving_s: float, shares: Shares) -> str:
    if last <= first:
        return "no picture begins in this span"
    if not cadence.reliable:
        return cadence.why or TOO_COMPRESSED
    if moving_s > 0:
        return ""
    if shares.dark == 1:
        return "dark throughout"
    return "undecided throughout" if shares.undecided == 1 else NOTHING_MOVES


def _no_frames() -> FrameTimes:
    none = np.zeros(0)
    return FrameTimes(np.zeros(0, dtype=np.int64), none, none, none, none, none)


def _cut_ends(cadence: Cadence, first: int, last: int) -> int:
    """How many ends of motion in the range fall within a frame, so that part of a frame is counted or left out."""
    is_new, n = cadence.is_new, cadence.state.size
    cut = 0
    for begins, ends in moving_runs(cadence):
        a, b = max(begins, first), min(ends, last)
        if a < b:
            cut += not is_new[a]
            cut += b == n or not is_new[b]
    return cut


def _extremes(rates: WindowRates, first: int, last: int) -> tuple[Quantity, Quantity]:
    """The lowest and highest rate among whole windows that lie in the range."""
    usable = np.flatnonzero(rates.whole & (rates.first >= first) & (rates.end <= last))
    if usable.size == 0:
        some = f"{float(rates.window_s):g} s of unbroken motion"
        why = f"{TOO_COMPRESSED} in every {some}" if rates.doubtful[first:last].any() else f"no {some}"
        none = Quantity(None, None, None, why)
        return none, none
    hz = rates.hz[usable]
    found = []
    for at in (usable[int(hz.argmin())], usable[int(hz.argmax())]):
        found.append(Quantity(float(rates.hz[at]), float(rates.low_hz[at]), float(rates.high_hz[at])))
    return found[0], found[1]


def _longest(frames: FrameTimes, why: str) -> tuple[Quantity, float | None]:
    if frames.ms.size == 0:
        return Quantity(None, None, None, why or "no frame was seen from beginning to end"), None
    at = int(frames.ms.argmax())
    longest = Quantity(float(frames.ms[at]), float(frames.low_ms[at]), float(frames.high_ms[at]))
    return longest, float(frames.start_s[at])


def _torn_share(cadence: Cadence, first: int, last: int) -> tuple[Quantity, int]:
    """Torn frames as part of those observable: new, in motion, and with a tear probability at all (not NaN)."""
    if not cadence.tears_measurable:
        return Quantity(None, None, None, cadence.tears_why or "tears cannot be told in this capture"), 0
    inside = slice(first, last)
    seen = cadence.is_new[inside] & (cadence.state[inside] == State.MOVING) & np.isfinite(cadence.p_tear[inside])
    count = int(seen.sum())
    if count == 0:
        return Quantity(None, None, None, "no frame in which a tear could be seen"), 0
    p = cadence.p_tear[inside][seen].astype(np.float64)
    torn = float(_torn(cadence)[inside][seen].sum())
    reach = _SURE * float((p * (1 - p)).sum()) ** 0.5
    low, high = max(0.0, min(torn, float(p.sum()) - reach)), min(float(count), max(torn, float(p.sum()) + reach))
    return Quantity(torn / count, low / count, high / count), count
