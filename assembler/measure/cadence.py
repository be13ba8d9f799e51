"""Which pictures are new: the probability that each shows something the one before did not.

A small network over the notes of a picture and its neighbourhood. One threshold fits no two captures:
what a repeat differs by depends on the coder, what a new picture does on the scene. So every measure of
difference also enters against its neighbours, and against the two heaps that the differences nearby
fall into. Those windows end at cuts, where the scene's own scale changes; one far wider does not, because
what repeats differ by changes little from scene to scene.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np
import numpy.typing as npt

from assembler.measure import weights
from assembler.measure.features import COLUMN, Floats, Notes

Doubles = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]
Values = Callable[[int, int], Doubles]
"""The values from one place up to another."""

_SCALES = ("max_8x8", "max_block", "top_block", "rms", "max_8x8_kept")
_LEAST = {"max_8x8": 0.1, "max_block": 0.05, "top_block": 0.03, "rms": 0.03, "max_8x8_kept": 0.1}
"""What is added before taking logarithms: below it, differences are nothing."""
_STEPS = ("small", "small peak", "step of light")
"""Logarithms of the columns of `large_steps`."""
_SMALL, _LEAST_LIGHT = _STEPS[0], 0.03
_NEAR, _FAR, _HEAP = 12, 30, 24
_WIDE, _WIDE_STEP = 180, 30
_MOST_INPUT = 6.0
DOUBT = 0.6
"""What must speak for new beyond even odds (natural logarithm): of the false new pictures of hard coders about four in
ten go for more missed. On the tuned sources 557 verdicts are wrong, 192 of them false new ones; at half of it 548, 247
of them false; at none 576 and 336."""
_BLOCK, _SMALL_AT_ONCE, _GRID_AT_ONCE = 2048, 1024, 256
"""Pictures, small pictures and places of the grid that are worked on at once."""
# A picture in which 8 x 8 pixels differ by 12 codes each, and that differs so many times as much as nearly all repeats,
# the more the surer the model is that it repeats: (the least probability of new, how many times).
_CLEAR_8X8, _BEYOND, _LEAST_REPEATS = 12.0, ((0.005, 1.6), (0.15, 1.2)), 8
# Where the model is less than sure, those 8 x 8 pixels alone will do, however little the rest of the picture changes.
_UNSURE_REPEAT, _ALONE = 0.1, 1.5
# Nor need any 8 x 8 pixels differ much, where the picture as a whole differs so many times as much as repeats do: small
# steps of film. On the tuned clips 32 that were missed are found so, and 2 repeats called new, in a clip refused.
_UNSURE_WHOLE, _WHOLE = 0.15, 1.5
_SURE_REPEAT, _BEYOND_P = 0.05, 0.9
# Where hardly any picture is sure to repeat, one in doubt is held against the sure new ones: so many of them, and the
# share of what they commonly differ by that it must reach. In a few things that move, a weak step looks like a repeat.
_SURE_NEW, _LEAST_NEW, _LIKE_NEW = 0.95, 30, 0.5


def p_new(notes: Notes, *, block: int = _BLOCK) -> Floats:
    """(n,) probability that picture k is new, for a whole capture's notes; its first picture is always new.

    block: pictures to work on at once. What is said of a picture does not depend on it, only the memory taken does.
    """
    inputs = Inputs(notes)
    centre, spread = np.asarray(weights.CENTRE), np.asarray(weights.SPREAD)
    inward, outward, straight = (np.asarray(w) for w in (weights.INWARD, weights.OUTWARD, weights.STRAIGHT))
    out = np.empty(inputs.pictures)
    for a in range(0, inputs.pictures, block):
        b = min(a + block, inputs.pictures)
        x = standardised(inputs.rows(a, b), centre, spread)
        # Not by matrix product: libraries sum the rows at a block's edge in another order than those within.
        hidden = np.tanh(np.einsum("nm,um->nu", x, inward) + weights.HIDDEN_BIAS)
        z = np.einsum("nu,u->n", hidden, outward) + np.einsum("nm,m->n", x, straight) + (weights.BIAS - DOUBT)
        out[a:b] = 1 / (1 + np.exp(-np.clip(z, -40, 40)))
    out[:1] = 1.0
    # Where not one code differs, nothing is new, whatever the neighbourhood.
    out[1:][notes.pairs[1:, COLUMN["max_8x8"]] == 0] = 0.0
    out[beyond_repeats(notes.pairs, out)] = _BEYOND_P
    return np.asarray(out, np.float32)


def beyond_repeats(pairs: Floats, p: Doubles) -> npt.NDArray[np.bool_]:
    """(n,) where a picture in doubt differs by far more than any sure repeat within several seconds.

    Where there are hardly any repeats: where it differs about as much as the new pictures there.
    """
    found = np.zeros(p.size, np.bool_)
    rms, top = _of(pairs, "rms"), _of(pairs, "max_8x8")
    repeats, news = np.flatnonzero(p < _SURE_REPEAT), np.flatnonzero(p > _SURE_NEW)
    clear = top > _CLEAR_8X8
    for k in np.flatnonzero((p < _BEYOND_P) & (p >= _BEYOND[0][0]) & (clear | (p >= _UNSURE_WHOLE))):
        near, new = (some[slice(*np.searchsorted(some, (k - _WIDE, k + _WIDE)))] for some in (repeats, news))
        near = near[near != k]
        if near.size >= _LEAST_REPEATS:
            times = min(by for least, by in _BEYOND if p[k] >= least)
            over, whole = (of[k] / max(np.percentile(of[near], 98), 1e-9) for of in (top, rms))
            alone = over > _ALONE and p[k] >= _UNSURE_REPEAT
            found[k] = clear[k] and (alone or min(over, whole) > times)
            found[k] |= whole > _WHOLE and p[k] >= _UNSURE_WHOLE
        elif new.size >= _LEAST_NEW and clear[k]:
            found[k] = min(top[k] / np.median(top[new]), rms[k] / np.median(rms[new])) >= _LIKE_NEW
    return found


def standardised(inputs: Doubles, centre: Doubles, spread: Doubles) -> Doubles:
    """The inputs as the network takes them; nothing counts for more than `_MOST_INPUT` deviations."""
    return np.clip((inputs - centre) / spread, -_MOST_INPUT, _MOST_INPUT)


def design(notes: Notes) -> Doubles:
    """(n, m) inputs of the model, in the order of `design_names`."""
    inputs = Inputs(notes)
    return inputs.rows(0, inputs.pictures)


class Inputs:
    """The model's inputs for any pictures of a capture: they take far more memory than the notes they are made of."""

    def __init__(self, notes: Notes) -> None:
        self.pictures = notes.pairs.shape[0]
        self._pairs = notes.pairs
        self._light = large_steps(notes)
        self._stretches = list(between_cuts(notes.pairs))
        self._grid = np.arange(0, self.pictures + _WIDE_STEP, _WIDE_STEP)
        self._wide = {name: self._wide_windows(name) for name in (*_SCALES, _SMALL)} if self.pictures else {}

    def rows(self, first: int, end: int) -> Doubles:
        """(end - first, m) inputs of the pictures from `first` up to `end`."""
        parts = [np.zeros((0, len(design_names()) - len(_OF_WIDE) * len(self._wide)))]
        for a, b in self._stretches:
            if a < end and first < b:
                parts.append(self._within(a, b, max(a, first), min(b, end)))
        wide = [self._of_wide(name, first, end) for name in self._wide]
        return np.concatenate([np.concatenate(parts), *wide], 1)

    def _log(self, name: str, first: int, end: int) -> Doubles:
        """Logarithm of a measure of difference."""
        if name in _STEPS:
            return np.asarray(np.log(self._light[first:end, _STEPS.index(name)].astype(np.float64) + _LEAST_LIGHT))
        return np.asarray(np.log(_of(self._pairs[first:end], name) + _LEAST[name]))

    def _within(self, start: int, stop: int, first: int, end: int) -> Doubles:
        """The inputs that look no further than the stretch from `start` up to `stop`."""
        count = stop - start
        at = np.arange(first - start, end - start)

        def stretch(name: str) -> Values:
            return lambda a, b: self._log(name, start + a, start + b)

        columns: list[Doubles] = []
        for name in _SCALES:
            columns += _of_a_scale(stretch(name), count, at)
        columns += _of_a_scale(stretch(_SMALL), count, at)
        peak, step = (self._log(name, first, end) for name in _STEPS[1:])
        after, before = (_taken(stretch(_STEPS[2]), np.clip(at + by, 0, count - 1)) for by in (1, -1))
        logs = {name: self._log(name, first, end) for name in ("rms", "max_block", "top_block")}
        columns += [peak, step, step - logs["rms"], step - np.maximum(after, before)]
        return np.stack([*columns, *_of_the_pair(self._pairs[first:end], logs)], 1)

    def _wide_windows(self, name: str) -> tuple[Doubles, Doubles, Doubles]:
        """At every place of the grid: low, split and distance of the heaps of several seconds, scenes regardless."""

        def values(a: int, b: int) -> Doubles:
            log = self._log(name, a, b)
            if a == 0 and log.size > 1:
                log[0] = log[1]  # the first picture has no difference
            return log

        low, split, apart = (np.empty(self._grid.size) for _ in range(3))
        for first in range(0, self._grid.size, _GRID_AT_ONCE):
            some = slice(first, first + _GRID_AT_ONCE)
            ordered = _sorted_around(values, self.pictures, _WIDE, self._grid[some])
            low[some] = ordered[:, round(0.05 * (ordered.shape[1] - 1))]
            split[some], apart[some] = two_heaps(ordered)
        return low, split, apart

    def _of_wide(self, name: str, first: int, end: int) -> Doubles:
        """(end - first, 4) a difference against those of several seconds around it; see `_OF_WIDE`."""
        log = self._log(name, first, end)
        if first == 0 and self.pictures > 1:
            log[:1] = self._log(name, 1, 2)
        low, split, apart = (np.interp(np.arange(first, end), self._grid, each) for each in self._wide[name])
        return np.stack([log - low, low, log - split, (log - split) * np.minimum(apart, 3)], 1)


def _of(pairs: Floats, name: str) -> Doubles:
    return pairs[:, COLUMN[name]].astype(np.float64)


def design_names() -> tuple[str, ...]:
    names = []
    for scale in _SCALES:
        names += [f"{scale} {what}" for what in _OF_A_SCALE]
    names += [f"small {what}" for what in _OF_A_SCALE]
    names += ["small peak", "step of light", "step over rms", "step over neighbours"]
    wide = [f"{scale} {what}" for scale in (*_SCALES, "small") for what in _OF_WIDE]
    return (*names, *_OF_THE_PAIR, *wide)


_OF_A_SCALE = (
    *("log", "log above 1", "log above 4", "over the larger neighbour", "over the smaller neighbour"),
    *("over low", "over high", "place", "place if apart", "near split", "near split if apart"),
    *("far split", "far split if apart"),
)
_OF_WIDE = ("over wide low", "wide low", "near wide split", "near wide split if apart")
_OF_THE_PAIR = (
    *("explained", "explained top", "flow log", "corr", "corr if positive", "area log", "share kept", "key"),
    *("key and log", "explained and log", "texture log", "mid over top"),
)


def cuts(pairs: Floats) -> npt.NDArray[np.bool_]:
    """(n,) True where a new shot begins: a difference everywhere, unlike its neighbours' and not by motion."""
    mean = _of(pairs, "mean")
    around = np.zeros(mean.size)
    for by in (1, 2):
        np.maximum(around[by:], mean[:-by], out=around[by:])
        np.maximum(around[:-by], mean[by:], out=around[:-by])
    alone = mean > 2.5 * around
    return np.asarray(alone & (mean > 8) & (pairs[:, COLUMN["explained"]] < 0.3))


def between_cuts(pairs: Floats) -> Iterator[tuple[int, int]]:
    """Stretches of pictures without a cut inside, at least `_NEAR` long but for the last."""
    start = 0
    for cut in np.flatnonzero(cuts(pairs)):
        if cut - start >= _NEAR and pairs.shape[0] - cut >= _NEAR:
            yield start, int(cut)
            start = int(cut)
    if start < pairs.shape[0]:
        yield start, pairs.shape[0]


def large_steps(notes: Notes) -> Floats:
    """(n, 3) how the small picture differs from the one before, in codes: mean and largest |d|, |mean d|.

    Coding noise averages out in it; a fade, which moves no edge, does not.
    """
    out = np.zeros((notes.thumbs.shape[0], 3), np.float32)
    for at in range(1, out.shape[0], _SMALL_AT_ONCE):
        to = min(at + _SMALL_AT_ONCE, out.shape[0])
        small = notes.thumbs[at - 1 : to].reshape(to - at + 1, -1).astype(np.float32) / 256
        d = np.diff(small, axis=0)
        out[at:to] = np.stack([np.abs(d).mean(1), np.abs(d).max(1), np.abs(d.mean(1))], 1)
    return out


def _of_the_pair(pairs: Floats, logs: Mapping[str, Doubles]) -> list[Doubles]:
    """What is taken of a pair of pictures as it is; see `_OF_THE_PAIR`."""
    explained = _of(pairs, "explained")
    corr = np.clip(_of(pairs, "corr"), -1, 1)
    key = _of(pairs, "key")
    return [
        explained,
        _of(pairs, "explained_top"),
        np.log(_of(pairs, "flow") + 0.003),
        corr,
        np.maximum(corr, 0),
        np.log(_of(pairs, "area") + 0.002),
        _of(pairs, "share_kept"),
        key,
        key * logs["rms"],
        explained * logs["max_block"],
        np.log(_of(pairs, "texture") + 0.5),
        np.log(_of(pairs, "mid_block") + 0.02) - logs["top_block"],
    ]


def _of_a_scale(values: Values, count: int, at: Places) -> list[Doubles]:
    """A difference as it is, and against its neighbourhood. values: of a stretch of `count` pictures; at: which."""
    log = _taken(values, at)
    before, after = _taken(values, np.maximum(at - 1, 0)), _taken(values, np.minimum(at + 1, count - 1))
    if count > 1:
        before[at < 2] = values(1, 2)  # the first picture has no difference
    heap = _sorted_around(values, count, _HEAP, at)
    low, high = (heap[:, round(share * (heap.shape[1] - 1))] for share in (0.1, 0.9))
    near, near_apart = two_heaps(_sorted_around(values, count, _NEAR, at))
    far, far_apart = two_heaps(_sorted_around(values, count, _FAR, at))
    gap = high - low
    place = np.clip((log - low) / (gap + 0.3), -1, 2)
    return [
        log,
        np.maximum(log, 0),
        np.maximum(log - np.log(4), 0),
        log - np.maximum(before, after),
        log - np.minimum(before, after),
        log - low,
        log - high,
        place,
        (place - 0.5) * np.minimum(gap, 3),
        log - near,
        (log - near) * np.minimum(near_apart, 3),
        log - far,
        (log - far) * np.minimum(far_apart, 3),
    ]


def _taken(values: Values, at: Places) -> Doubles:
    """The values at rising places that lie close together."""
    first = int(at[0])
    return np.asarray(values(first, int(at[-1]) + 1)[at - first])


def _sorted_around(values: Values, count: int, reach: int, at: Places) -> Doubles:
    """(m, 2 reach + 1) sorted values around m rising places; at the ends of all `count` the window is moved inward."""
    width = min(2 * reach + 1, count)
    starts = np.clip(at - reach, 0, count - width)
    first = int(starts[0])
    view = np.lib.stride_tricks.sliding_window_view(values(first, int(starts[-1]) + width), width)
    return np.sort(view[starts - first], axis=1)


def two_heaps(ordered: Doubles) -> tuple[Doubles, Doubles]:
    """Where each row's values fall into two heaps most clearly, and how far apart the heaps' means lie.

    ordered: (n, w) sorted along rows. The split is the one of least variance within heaps (Otsu, 1979),
    given back as the middle between the two values it parts.
    """
    n, w = ordered.shape
    if w < 2:
        return ordered[:, 0].copy(), np.zeros(n)
    total = np.cumsum(ordered, 1)
    count = np.arange(1, w)
    lower = total[:, :-1] / count
    upper = (total[:, -1:] - total[:, :-1]) / (w - count)
    best = np.argmax(count * (w - count) * (upper - lower) ** 2, axis=1)
    rows = np.arange(n)
    split = (ordered[rows, best] + ordered[rows, best + 1]) / 2
    return split, upper[rows, best] - lower[rows, best]
