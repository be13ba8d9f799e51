"""Which pictures are new: the probability that each shows something the one before did not.

A small network over the notes of a picture and its neighbourhood. One threshold fits no two captures:
what a repeat differs by depends on the coder, what a new picture does on the scene. So every measure of
difference also enters against its neighbours, and against the two heaps that the differences nearby
fall into. Those windows end at cuts, where the scene's own scale changes; one far wider does not, because
what repeats differ by changes little from scene to scene.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from assembler.measure import weights
from assembler.measure.features import COLUMN, Floats, Notes

Doubles = npt.NDArray[np.float64]

_SCALES = ("max_8x8", "max_block", "top_block", "rms", "max_8x8_kept")
_LEAST = {"max_8x8": 0.1, "max_block": 0.05, "top_block": 0.03, "rms": 0.03, "max_8x8_kept": 0.1}
"""What is added before taking logarithms: below it, differences are nothing."""
_LEAST_LIGHT = 0.03
_NEAR, _FAR, _HEAP = 12, 30, 24
_WIDE, _WIDE_STEP = 180, 30
_MOST_INPUT = 6.0
DOUBT = 0.6
"""What must speak for new beyond even odds (natural logarithm): about half of the false new pictures of hard coders go
for a few more missed; on the tuned sources no value leaves fewer wrong verdicts."""
_CHUNK = 8192
# A picture in which 8 x 8 pixels differ by 12 codes each, and that differs 1.6 times as much as nearly all repeats.
_CLEAR_8X8, _BEYOND, _LEAST_REPEATS = 12.0, 1.6, 8
_SURE_REPEAT, _BEYOND_P = 0.05, 0.9


def p_new(notes: Notes) -> Floats:
    """(n,) probability that picture k is new, for a whole capture's notes; its first picture is always new."""
    x = standardised(design(notes), np.asarray(weights.CENTRE), np.asarray(weights.SPREAD))
    hidden = np.tanh(x @ np.asarray(weights.INWARD).T + weights.HIDDEN_BIAS)
    z = hidden @ np.asarray(weights.OUTWARD) + x @ np.asarray(weights.STRAIGHT) + (weights.BIAS - DOUBT)
    out = 1 / (1 + np.exp(-np.clip(z, -40, 40)))
    out[:1] = 1.0
    # Where not one code differs, nothing is new, whatever the neighbourhood.
    out[1:][notes.pairs[1:, COLUMN["max_8x8"]] == 0] = 0.0
    out[_beyond_repeats(notes.pairs, out)] = _BEYOND_P
    return np.asarray(out, np.float32)


def _beyond_repeats(pairs: Floats, p: Doubles) -> npt.NDArray[np.bool_]:
    """(n,) where a picture in doubt differs by far more than any sure repeat within several seconds."""
    found = np.zeros(p.size, np.bool_)
    rms, top = _of(pairs, "rms"), _of(pairs, "max_8x8")
    repeats = np.flatnonzero(p < _SURE_REPEAT)
    for k in np.flatnonzero((p < _BEYOND_P) & (p >= _SURE_REPEAT / 10) & (top > _CLEAR_8X8)):
        near = repeats[np.searchsorted(repeats, k - _WIDE) : np.searchsorted(repeats, k + _WIDE)]
        near = near[near != k]
        if near.size >= _LEAST_REPEATS:
            clear = top[k] > _BEYOND * np.percentile(top[near], 98)
            found[k] = clear and rms[k] > _BEYOND * np.percentile(rms[near], 98)
    return found


def standardised(inputs: Doubles, centre: Doubles, spread: Doubles) -> Doubles:
    """The inputs as the network takes them; nothing counts for more than `_MOST_INPUT` deviations."""
    return np.clip((inputs - centre) / spread, -_MOST_INPUT, _MOST_INPUT)


def design(notes: Notes) -> Doubles:
    """(n, m) inputs of the model, in the order of `design_names`."""
    light = large_steps(notes)
    if not light.size:
        return np.zeros((0, len(design_names())))
    parts = [_design(notes.pairs[a:b], light[a:b]) for a, b in between_cuts(notes.pairs)]
    wide = [_of_wide(np.log(_of(notes.pairs, name) + _LEAST[name])) for name in _SCALES]
    wide.append(_of_wide(np.log(light[:, 0] + _LEAST_LIGHT)))
    return np.concatenate([np.concatenate(parts), np.concatenate(wide, 1)], 1)


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
    mean = pairs[:, COLUMN["mean"]].astype(np.float64)
    padded = np.concatenate([[np.inf, np.inf], mean, [np.inf, np.inf]])
    around = np.stack([np.concatenate([padded[i : i + mean.size]]) for i in (0, 1, 3, 4)])
    around[np.isinf(around)] = 0
    alone = mean > 2.5 * around.max(0)
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


def large_steps(notes: Notes) -> Doubles:
    """(n, 3) how the small picture differs from the one before, in codes: mean and largest |d|, |mean d|.

    Coding noise averages out in it; a fade, which moves no edge, does not.
    """
    out = np.zeros((notes.thumbs.shape[0], 3))
    for at in range(1, out.shape[0], _CHUNK):
        to = min(at + _CHUNK, out.shape[0])
        small = notes.thumbs[at - 1 : to].reshape(to - at + 1, -1).astype(np.float32) / 256
        d = np.diff(small, axis=0)
        out[at:to] = np.stack([np.abs(d).mean(1), np.abs(d).max(1), np.abs(d.mean(1))], 1)
    return out


def _design(pairs: Floats, light: Doubles) -> Doubles:
    columns: list[Doubles] = []
    logs = {name: np.log(pairs[:, COLUMN[name]].astype(np.float64) + _LEAST[name]) for name in _SCALES}
    for name in _SCALES:
        columns += _of_a_scale(logs[name])
    small, peak, step = np.log(light + _LEAST_LIGHT).T
    columns += _of_a_scale(small)
    columns += [peak, step, step - logs["rms"], step - np.maximum(_shifted(step, 1), _shifted(step, -1))]
    explained = pairs[:, COLUMN["explained"]].astype(np.float64)
    corr = np.clip(pairs[:, COLUMN["corr"]].astype(np.float64), -1, 1)
    key = pairs[:, COLUMN["key"]].astype(np.float64)
    columns += [
        explained,
        pairs[:, COLUMN["explained_top"]].astype(np.float64),
        np.log(pairs[:, COLUMN["flow"]].astype(np.float64) + 0.003),
        corr,
        np.maximum(corr, 0),
        np.log(pairs[:, COLUMN["area"]].astype(np.float64) + 0.002),
        pairs[:, COLUMN["share_kept"]].astype(np.float64),
        key,
        key * logs["rms"],
        explained * logs["max_block"],
        np.log(pairs[:, COLUMN["texture"]].astype(np.float64) + 0.5),
        np.log(pairs[:, COLUMN["mid_block"]].astype(np.float64) + 0.02) - logs["top_block"],
    ]
    return np.stack(columns, 1)


def _shifted(values: Doubles, by: int) -> Doubles:
    return np.asarray(values[np.clip(np.arange(values.size) + by, 0, values.size - 1)])


def _of_a_scale(log: Doubles) -> list[Doubles]:
    """A difference as it is, and against its neighbourhood."""
    before, after = np.concatenate([log[:1], log[:-1]]), np.concatenate([log[1:], log[-1:]])
    if log.size > 1:
        before[:2] = log[1]  # the first picture has no difference
    low, high, near, near_apart, far, far_apart = (np.empty(log.size) for _ in range(6))
    for at in range(0, log.size, _CHUNK):
        to = slice(at, min(at + _CHUNK, log.size))
        sorted_heap = _windows(log, _HEAP, to)
        last = sorted_heap.shape[1] - 1
        low[to] = sorted_heap[:, round(0.1 * last)]
        high[to] = sorted_heap[:, round(0.9 * last)]
        near[to], near_apart[to] = two_heaps(_windows(log, _NEAR, to))
        far[to], far_apart[to] = two_heaps(_windows(log, _FAR, to))
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


def _of_wide(log: Doubles) -> Doubles:
    """(n, 4) a difference against those of several seconds around it, scenes regardless; see `_OF_WIDE`."""
    n = log.size
    log = np.concatenate([log[1:2], log[1:]]) if n > 1 else log  # the first picture has no difference
    at = np.arange(0, n + _WIDE_STEP, _WIDE_STEP)
    low, split, apart = (np.empty(at.size) for _ in range(3))
    for first in range(0, at.size, 256):
        some = slice(first, first + 256)
        ordered = _sorted_around(log, _WIDE, at[some])
        low[some] = ordered[:, round(0.05 * (ordered.shape[1] - 1))]
        split[some], apart[some] = two_heaps(ordered)
    here = np.arange(n)
    low, split, apart = (np.interp(here, at, values) for values in (low, split, apart))
    return np.stack([log - low, low, log - split, (log - split) * np.minimum(apart, 3)], 1)


def _windows(values: Doubles, reach: int, to: slice) -> Doubles:
    """(chunk, 2 reach + 1) sorted values around each."""
    return _sorted_around(values, reach, np.arange(to.start, to.stop))


def _sorted_around(values: Doubles, reach: int, at: npt.NDArray[np.int64]) -> Doubles:
    """(m, 2 reach + 1) sorted values around m places; at the ends the window is shifted inward."""
    width = min(2 * reach + 1, values.size)
    starts = np.clip(at - reach, 0, values.size - width)
    view = np.lib.stride_tricks.sliding_window_view(values, width)
    return np.sort(view[starts], axis=1)


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
