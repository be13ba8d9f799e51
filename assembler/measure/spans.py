"""Spans locked to a pattern of the refresh, their pacing, and hitches.

Motion is explained refresh by refresh as the cheapest run of patterns: a refresh that breaks the pattern costs what
its verdict is worth, changing the pattern costs more than one wrong verdict, and moments that no pattern explains
stay unlocked. So a single wrong verdict leaves a span whole, and a pattern that truly changes ends it, to the frame.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from assembler.measure.clock import Clock, Doubles, Ints
from assembler.measure.figures import moving_runs
from assembler.measure.model import TOO_COMPRESSED, Cadence
from assembler.measure.patterns import Bits, Pattern, found_patterns, is_known_rate, name_of

# All costs are natural logarithms of odds. A verdict is never trusted beyond one in thirty: 3.5 for a broken refresh.
_LEAST_P = 0.03
_CHANGE = 4.0  # to another pattern or none
_FREE = 0.2  # a refresh that no pattern explains: one in 17 broken costs as much

_BRIEF = Fraction(1, 2)  # seconds, enough between two spans that are sure
_SURE = {"whole fraction": Fraction(3, 2), "known rate": Fraction(3, 2), "uneven": Fraction(2), "other": Fraction(4)}
_LEAST_CYCLES = {True: 3, False: 4}  # by whether the pacing is even
_LEAST_KEPT = 0.97
_SEARCH_SECONDS = Fraction(2, 5)
HITCH_REFRESHES = 3
_AROUND = 12

NO_REFRESH = "the capture's timing is variable and fits no refresh rate"


@dataclass(frozen=True, slots=True)
class Locked:
    """A span of motion that keeps one pattern.

    start, end: half-open range of capture pictures; start_s, end_s: the same in capture seconds. name: such as '30'
    or '24-in-60'. rate_hz: exact, of the refresh. holds: one cycle of the pattern in refreshes. even: its pacing.
    kept: part of the span's refreshes that keep to it. slips: pictures at which it began anew out of step.
    """

    start: int
    end: int
    start_s: float
    end_s: float
    name: str
    rate_hz: Fraction
    holds: tuple[int, ...]
    even: bool
    kept: float
    slips: tuple[int, ...]

    @property
    def pacing(self) -> str:
        """In words: 'even 2', or 'uneven 3-1'."""
        return f"{'even' if self.even else 'uneven'} {'-'.join(str(hold) for hold in self.holds)}"


@dataclass(frozen=True, slots=True)
class Hitch:
    """A picture held much longer in motion than those around it: `beyond` refreshes longer than they ever are."""

    picture: int
    start_s: float
    ms: float
    refreshes: int
    beyond: int


@dataclass(frozen=True, slots=True)
class Pacing:
    """Locked spans and hitches of a capture, in order. `why` says why there are none to be had, or is empty."""

    refresh_hz: Fraction | None
    locked: tuple[Locked, ...]
    hitches: tuple[Hitch, ...]
    why: str


@dataclass(frozen=True, slots=True)
class _Piece:
    """A stretch of refreshes of one run that keeps one pattern in one phase."""

    start: int
    end: int
    pattern: Pattern


def pacing(cadence: Cadence, clock: Clock, refresh: Fraction | None = None) -> Pacing:
    """Locked spans and hitches.

    refresh: hertz, where it is known better than the timestamps tell. Pictures that a recorder left out because they
    only repeated are counted as held. Nothing is said of captures that cannot be counted.
    """
    if not cadence.reliable:
        return Pacing(refresh, (), (), cadence.why or TOO_COMPRESSED)
    hz = refresh or clock.refresh()
    if hz is None:
        return Pacing(None, (), (), NO_REFRESH)
    slots, edges = clock.slots(hz), clock.edges_s
    locked: list[Locked] = []
    hitches: list[Hitch] = []
    for first, end in moving_runs(cadence):
        here = _Run.of(cadence, slots, first, end)
        pieces = _pieces(here, hz)
        groups = _sure(_groups(pieces, here, hz), here, hz)
        locked += [_locked(group, here, hz, edges) for group in groups]
        hitches += _hitches(here, groups, edges)
    return Pacing(hz, tuple(locked), tuple(hitches), "")


@dataclass(frozen=True, slots=True, eq=False)
class _Run:
    """One unbroken motion by refreshes: verdict and costs of each, and the picture that is on screen."""

    is_new: Bits
    p: Doubles
    picture: Ints
    end: int

    @classmethod
    def of(cls, cadence: Cadence, slots: Ints, first: int, end: int) -> _Run:
        at = slots[first : end + 1] - slots[first]
        count = max(int(at[-1]), 1)
        p = np.zeros(count)
        picture = np.full(count, -1, dtype=np.int64)
        within = at[:-1] < count
        # Two pictures within one refresh are one event to the refresh.
        np.maximum.at(p, at[:-1][within], cadence.p_new[first:end][within])
        np.maximum.at(picture, at[:-1][within], np.arange(first, end)[within])
        return cls(p >= 0.5, p, np.maximum.accumulate(picture), end)

    def picture_at(self, slot: int) -> int:
        return int(self.picture[slot]) if slot < self.picture.size else self.end


def _pieces(run: _Run, hz: Fraction) -> list[_Piece]:
    """The cheapest explanation of a run, without what is too short to call locked."""
    n = run.is_new.size
    patterns = found_patterns(run.is_new, hz, int(_SEARCH_SECONDS * hz))
    if not patterns:
        return []
    which = _explained(run, np.array([pattern.laid(n) for pattern in patterns]))
    edges = np.concatenate(([0], np.flatnonzero(np.diff(which)) + 1, [n]))
    pieces = []
    for start, end in pairwise(edges):
        if which[start] < len(patterns):
            pieces.append(_Piece(int(start), int(end), patterns[which[start]]))
    return [piece for piece in _to_frames(_joined(pieces, hz), run) if _long_enough(piece, hz)]


def _explained(run: _Run, laid: Bits) -> npt.NDArray[np.int64]:
    """(n,) which pattern explains each refresh, len(laid) where none does. Source: the Viterbi recursion."""
    if_new = -np.log(np.clip(run.p, _LEAST_P, 1 - _LEAST_P))
    if_held = -np.log(np.clip(1 - run.p, _LEAST_P, 1 - _LEAST_P))
    least = np.minimum(if_new, if_held)
    costs = np.where(laid, if_new - least, if_held - least)
    costs = np.vstack([costs, np.full(least.size, _FREE)]).T.copy()
    n, kinds = costs.shape
    total = costs[0].copy()
    came_from = np.empty(n, dtype=np.int64)
    changed = np.zeros((n, kinds), dtype=np.bool_)
    for i in range(1, n):
        best = int(total.argmin())
        through = total[best] + _CHANGE
        came_from[i] = best
        np.less(through, total, out=changed[i])
        np.minimum(total, through, out=total)
        total += costs[i]
    which = np.empty(n, dtype=np.int64)
    now = int(total.argmin())
    for i in range(n - 1, -1, -1):
        which[i] = now
        if changed[i, now]:
            now = int(came_from[i])
    return which


def _joined(pieces: list[_Piece], hz: Fraction) -> list[_Piece]:
    """Pieces of the same pattern in the same phase, a moment apart, are one."""
    joined: list[_Piece] = []
    for piece in pieces:
        before = joined[-1] if joined else None
        if before and before.pattern == piece.pattern and piece.start - before.end <= hz / 2:
            joined[-1] = replace(before, end=piece.end)
        else:
            joined.append(piece)
    return joined


def _to_frames(pieces: list[_Piece], run: _Run) -> list[_Piece]:
    """Each piece from its first frame to the end of its last: a frame belongs where its whole hold does."""
    snapped: list[_Piece] = []
    for piece in pieces:
        laid = piece.pattern.laid(run.is_new.size + piece.pattern.period)
        agreed = np.flatnonzero(laid[piece.start : piece.end] & run.is_new[piece.start : piece.end]) + piece.start
        if agreed.size == 0:
            continue
        last = int(agreed[-1])
        following = last + 1 + int(laid[last + 1 :].argmax())
        later = np.flatnonzero(run.is_new[last + 1 :])
        actual = last + 1 + int(later[0]) if later.size else run.is_new.size
        # The last hold is the pattern's, or cut short by the end of motion; else it belongs to what follows.
        ends = actual if actual == following or (actual == run.is_new.size and actual < following) else last
        start = piece.start if piece.start == 0 else int(agreed[0])
        if ends > start:
            snapped.append(_Piece(start, ends, piece.pattern))
    return snapped


def _long_enough(piece: _Piece, hz: Fraction) -> bool:
    least = max(float(_BRIEF * hz), _LEAST_CYCLES[piece.pattern.even] * piece.pattern.period)
    # A stretch that begins in mid-cycle may lose a frame at either end.
    return piece.end - piece.start >= least - 1


def _same_cycle(a: Pattern, b: Pattern) -> bool:
    return a.period == b.period and a.holds == b.holds


def _groups(pieces: list[_Piece], run: _Run, hz: Fraction) -> list[tuple[_Piece, ...]]:
    """Neighbours of one pattern whose phase slipped, by a frame or a hitch held in between."""
    groups: list[tuple[_Piece, ...]] = []
    for piece in pieces:
        before = groups[-1][-1] if groups else None
        if before is not None and _same_cycle(before.pattern, piece.pattern):
            gap = run.is_new[before.end : piece.start]
            if gap.size <= hz and int(gap.sum()) <= 1 + max(piece.pattern.new, gap.size // 12):
                groups[-1] = (*groups[-1], piece)
                continue
        groups.append((piece,))
    return groups


def _sure(groups: list[tuple[_Piece, ...]], run: _Run, hz: Fraction) -> list[tuple[_Piece, ...]]:
    """The groups that did not come about by chance: long ones, and brief ones held between two such or an end."""
    long = {i for i, group in enumerate(groups) if _steady(group, run, hz) and _proven(group, hz)}
    kept = []
    for i, group in enumerate(groups):
        before = groups[i - 1][-1].end if i - 1 in long else 0
        after = groups[i + 1][0].start if i + 1 in long else run.is_new.size
        beside = i - 1 in long or i + 1 in long
        meets = group[0].start - before <= 1 and after - group[-1].end <= 1
        if i in long or (beside and meets and _steady(group, run, hz)):
            kept.append(group)
    return kept


def _proven(group: tuple[_Piece, ...], hz: Fraction) -> bool:
    """Whether a group has lasted long enough for its kind; rates that nothing is made for need the longest proof."""
    pattern = group[0].pattern
    if is_known_rate(pattern.new, pattern.period, hz):
        kind = "known rate" if pattern.even else "uneven"
    else:
        kind = "whole fraction" if pattern.new == 1 else "other"
    return group[-1].end - group[0].start >= _SURE[kind] * hz - 1


def _steady(group: tuple[_Piece, ...], run: _Run, hz: Fraction) -> bool:
    """Whether a group is a locked span and not a rate that runs free close to one: slips seldom, mostly kept."""
    refreshes = group[-1].end - group[0].start
    slips = sum(not _hitch_between(a, b, run) for a, b in pairwise(group))
    return slips <= refreshes / (2 * hz) and _kept(group, run) >= _LEAST_KEPT


def _hitch_between(a: _Piece, b: _Piece, run: _Run) -> bool:
    new = np.flatnonzero(run.is_new[a.end : b.start + 1])
    longest = int(np.diff(new).max()) if new.size > 1 else 0
    return longest >= max(a.pattern.holds) + HITCH_REFRESHES


def _kept(group: tuple[_Piece, ...], run: _Run) -> float:
    """Part of the refreshes in pieces that agree with them; a slip breaks one, and a hitch is told of by itself."""
    agreed, whole = 0, 0
    for piece in group:
        part = slice(piece.start, piece.end)
        agreed += int((piece.pattern.laid(piece.end)[part] == run.is_new[part]).sum())
        whole += piece.end - piece.start
    return agreed / (whole + len(group) - 1)


def _locked(group: tuple[_Piece, ...], run: _Run, hz: Fraction, edges: Doubles) -> Locked:
    pattern = group[0].pattern
    start, end = run.picture_at(group[0].start), run.picture_at(group[-1].end)
    return Locked(
        start, end, float(edges[start]), float(edges[end]), name_of(pattern.new, pattern.period, hz),
        hz * pattern.new / pattern.period, pattern.holds, pattern.even, _kept(group, run),
        tuple(run.picture_at(piece.start) for piece in group[1:]),
    )  # fmt: skip


def _hitches(run: _Run, groups: list[tuple[_Piece, ...]], edges: Doubles) -> list[Hitch]:
    """Holds that begin and end in the run and pass what is usual around them by `HITCH_REFRESHES` or more."""
    new = np.flatnonzero(run.is_new)
    holds = np.diff(new)
    found: list[Hitch] = []
    if holds.size == 0:
        return found
    for i in np.flatnonzero(holds > HITCH_REFRESHES):
        usual = _usual(int(i), new, holds, groups)
        beyond = int(holds[i]) - usual
        if usual and beyond >= HITCH_REFRESHES:
            a, b = run.picture_at(int(new[i])), run.picture_at(int(new[i + 1]))
            ms = 1000 * float(edges[b] - edges[a])
            found.append(Hitch(a, float(edges[a]), ms, int(holds[i]), beyond))
    return found


def _usual(i: int, new: npt.NDArray[np.intp], holds: npt.NDArray[np.intp], groups: list[tuple[_Piece, ...]]) -> int:
    """The longest hold of the pattern at hand, or what most of the holds around do not pass; 0 where none are."""
    for group in groups:
        if group[0].start <= new[i] < group[-1].end:
            return max(group[0].pattern.holds)
    around = np.sort(np.concatenate((holds[max(0, i - _AROUND) : i], holds[i + 1 : i + 1 + _AROUND])))
    return int(around[around.size * 3 // 4]) if around.size >= 2 else 0
