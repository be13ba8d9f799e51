"""Tears: where a machine changed pictures in the middle of scan-out.

One model covers tears and repeats. In each refresh the machine may change over once, at a band of rows
r (0: before the refresh began; none: it repeats). Then against the picture before, bands below r changed, and
so did those above the last refresh's r. Every band tells, more or less surely, whether it changed;
the most likely run of change-overs, and how sure each is, follow by going forward and backward once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from assembler.measure.blocks import compiled

Doubles = npt.NDArray[np.float64]
Bytes = npt.NDArray[np.uint8]
Bools = npt.NDArray[np.bool_]

PENALTY = 6.0
"""What a tear must be worth, in natural logarithms, to be believed: the point between false and missed ones."""
# How much likelier a band is to have changed than not (natural logarithm), by how far it changed (0 to 1). From five
# tuned scenes, torn at 35 to 55 Hz and in step with the refresh, x264 medium crf 20 to 28, all weighing the same.
_PLACES = (0.005, 0.015, 0.03, 0.05, 0.075, 0.105, 0.14, 0.18, 0.225, 0.275, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85, 0.95)
_RATIOS = (-3.1, -3.1, -2.8, -2.4, -2.0, -1.6, -1.0, -0.6, -0.25, 0.05, 0.4, 0.9, 1.3, 1.8, 2.3, 3.1, 3.5)
MOST, REPEATED = 3.5, -1.0
EVIDENCE = 3000.0
"""What all bands together can be worth, when all agree."""
MISFIT = 0.006
"""Share of the evidence against its own best explanation at which all of it counts half: where things move for
themselves, bands change for other reasons than a change-over."""
_MISFIT_REACH = 30
SLOWED = 0.2
"""Where half of a new picture's bands have changed at least this far, all are held against those that changed most."""
MOST_MISFIT = 0.12
EVERY_REFRESH, FEW = 0.97, 0.1
LEAST_TOLD = 0.25
"""Share of a picture's bands that must tell for a tear to be seen or denied in it."""
_CHUNK, _OVERLAP = 2048, 64


@dataclass(frozen=True, slots=True, eq=False)
class Tears:
    """p_tear: (n,) float32, NaN where it cannot be told; p_flip: (n,) that a new picture began in this refresh.

    first_band, last_band: (n,) int32 half-open, where the change-over lies with 95 %; -1 where no tear is likely.
    """

    p_tear: npt.NDArray[np.float32]
    p_flip: npt.NDArray[np.float32]
    first_band: npt.NDArray[np.int32]
    last_band: npt.NDArray[np.int32]
    measurable: bool
    why: str


def find_tears(level: Bytes, seen: Bytes, moving: Bools, new: Bools) -> Tears:
    """level, seen: (n, bands) of the notes. moving: (n,) where something moves; elsewhere nothing is said.

    new: (n,) which pictures differ from the one before at all.
    """
    n, bands = level.shape
    p_tear = np.zeros(n, np.float32)
    p_flip = np.zeros(n, np.float32)
    misfit = np.zeros(n)
    first, last = np.full(n, -1, np.int32), np.full(n, -1, np.int32)
    for start in range(0, n, _CHUNK):
        a, b = max(0, start - _OVERLAP), min(n, start + _CHUNK + _OVERLAP)
        trusted, misfit[a:b] = _trusted(evidence(level[a:b], seen[a:b], new[a:b]))
        posterior = _posterior(trusted)
        for k in range(start, min(n, start + _CHUNK)):
            here = posterior[k - a]
            p_flip[k] = 1 - here[bands]
            p_tear[k] = here[1:bands].sum()
            if p_tear[k] >= 0.5:
                first[k], last[k] = _interval(here[1:bands])
    told = (seen > 0).mean(1) >= LEAST_TOLD
    p_tear[~told | ~moving] = np.nan
    first[~(p_tear >= 0.5)] = last[~(p_tear >= 0.5)] = -1
    measurable, why = _measurable(told & moving, new, p_tear, misfit)
    if not measurable:
        p_tear[:] = np.nan
        first[:] = last[:] = -1
    return Tears(p_tear, p_flip, first, last, measurable, why)


def evidence(level: Bytes, seen: Bytes, new: Bools) -> Doubles:
    """(n, bands) logarithm of how much likelier it is that a band changed than that it did not; 0 where blind."""
    share = np.maximum(level.astype(np.float32) - 1, 0) / 254
    # Where motion has just slowed, even what changed most changed by less than it lately did; but so does the noise
    # of a repeat, which is no measure for anything.
    telling = (level > 0).sum(1)
    ordered = np.sort(share, axis=1)
    middle, most = (
        ordered[np.arange(level.shape[0]), level.shape[1] - 1 - (part * telling).astype(np.int64)]
        for part in (0.5, 0.15)
    )
    share /= np.where(new & (middle >= SLOWED), most.clip(SLOWED, 1), 1)[:, None]
    told = np.interp(share, _PLACES, _RATIOS)
    # A repeat has no tear, in whatever bands the coder's noise looks like motion.
    told[~new] = np.minimum(told[~new], REPEATED)
    told *= np.sqrt(seen / 255.0)
    told[level == 0] = 0
    return np.asarray(told * (EVIDENCE / (MOST * level.shape[1])))


def _trusted(ratio: Doubles) -> tuple[Doubles, Doubles]:
    """The evidence, weakened where it contradicts what explains it best; (n,) how much of it does."""
    bands = ratio.shape[1]
    best = _posterior(ratio * 0.4).argmax(1)
    above = np.where(best == bands, 0, best)
    band = np.arange(bands)
    changed = np.zeros(ratio.shape, np.bool_)
    changed[1:] = (band < above[:-1, None]) | (band >= best[1:, None])
    against = np.where(changed, np.maximum(-ratio, 0), np.maximum(ratio, 0)).sum(1)
    whole = np.abs(ratio).sum(1)
    against[:1] = whole[:1] = 0  # what comes before it is not known here
    reach = np.ones(2 * _MISFIT_REACH + 1)
    nearby = np.convolve(against, reach, "same")[: against.size] if against.size > reach.size else against.sum()
    all_nearby = np.convolve(whole, reach, "same")[: whole.size] if whole.size > reach.size else whole.sum()
    misfit = np.maximum(against / np.maximum(whole, 1e-9), nearby / np.maximum(all_nearby, 1e-9))
    return np.asarray(ratio / (1 + misfit / MISFIT)[:, None]), misfit


def _measurable(told: Bools, new: Bools, p_tear: npt.NDArray[np.float32], misfit: Doubles) -> tuple[bool, str]:
    if not told.any():
        return False, "nothing moves that tears could be seen in"
    if np.median(misfit[told]) > MOST_MISFIT:
        return False, "things move for themselves before a still picture: what changes does not show tears"
    if new[told].mean() > EVERY_REFRESH and (p_tear[told] >= 0.5).mean() < FEW:
        return False, "every refresh changes: a tear leaves nothing unchanged to tell it by"
    return True, ""


def _interval(p: Doubles) -> tuple[int, int]:
    """Bands, half-open, that hold 95 % of a tear's place. p: over bands 1, 2, ...; a tear lies near their top."""
    total = np.cumsum(p) / p.sum()
    low, high = int(np.searchsorted(total, 0.025)), int(np.searchsorted(total, 0.975))
    # The band in which the change-over lies changes in part and may count as either; so, coded, may its neighbours.
    return max(0, low - 1), min(high, p.size - 1) + 3


def _posterior(ratio: Doubles) -> Doubles:
    """(n, bands + 1) probability of a change-over at each band; the last column: none."""
    out = np.empty((ratio.shape[0], ratio.shape[1] + 1))
    _forward_backward()(np.ascontiguousarray(ratio), PENALTY, out)
    return out


def _forward_backward() -> Callable[..., Any]:
    return compiled(forward_backward)


def forward_backward(ratio: Any, penalty: float, out: Any) -> None:
    """Fill out with the probabilities that `_posterior` gives. Picture 0 has no evidence of its own."""
    n, bands = ratio.shape
    forward = np.empty((n, bands + 1))
    sums = np.empty(bands + 1)
    low = np.empty(bands + 1)
    high = np.empty(bands + 1)
    prior = np.full(bands + 1, -penalty - np.log(bands))
    prior[0] = 0.0
    prior[bands] = 0.0
    forward[0] = prior
    for t in range(1, n):
        sums[0] = 0.0
        for r in range(bands):
            sums[r + 1] = sums[r] + ratio[t, r]
        whole = sums[bands]
        last = forward[t - 1]
        # From a change-over at u (none counts as 0) to one at r: bands above u and from r down have changed.
        for u in range(bands):
            a = last[u]
            if u == 0:
                a = np.logaddexp(a, last[bands])
            low[u] = a + sums[u] if u == 0 else np.logaddexp(low[u - 1], a + sums[u])
            high[u] = a
        high[bands] = -np.inf
        for u in range(bands - 1, -1, -1):
            high[u] = np.logaddexp(high[u], high[u + 1])
        for r in range(bands):
            forward[t, r] = prior[r] + whole + np.logaddexp(low[r] - sums[r], high[r + 1])
        forward[t, bands] = low[bands - 1]
        forward[t] -= forward[t].max()
    back = np.zeros(bands + 1)
    for t in range(n - 1, -1, -1):
        top = (forward[t] + back).max()
        total = 0.0
        for r in range(bands + 1):
            out[t, r] = np.exp(forward[t, r] + back[r] - top)
            total += out[t, r]
        out[t] /= total
        if t == 0:
            break
        sums[0] = 0.0
        for r in range(bands):
            sums[r + 1] = sums[r] + ratio[t, r]
        whole = sums[bands]
        # low[r]: what follows from change-overs above r; high[r]: from r down, without what they save.
        low[0] = -np.inf
        for r in range(bands):
            low[r + 1] = np.logaddexp(low[r], prior[r] + back[r])
        high[bands] = back[bands] - whole
        for r in range(bands - 1, -1, -1):
            high[r] = np.logaddexp(high[r + 1], prior[r] + back[r] - sums[r])
        for u in range(bands):
            back[u] = np.logaddexp(sums[u] + whole + high[u], whole + low[u])
        back[bands] = back[0]
        back -= back.max()
