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
Floats = npt.NDArray[np.float32]

RARE, ANYWHERE, COMMON = 12.0, 6.0, 3.0
"""What a tear must be worth, in natural logarithms, to be believed: by itself, in looking for how common tears are,
and among others."""
RARE_TRUST, ANYWHERE_TRUST, COMMON_TRUST = 1.25, 2.0, 2.5
"""How many times `TELLING` independent bands the evidence counts for: by itself, in looking for how common tears
are, and among others."""
LEARNING_TRUST = 4.0
"""The same, in learning how far bands change here."""
WIDENED = 0.35
"""By how much less the evidence counts for where a tear lies: bands side by side err alike."""
MISFIT_ROWS = 0.05
"""Beyond this share of evidence that fits nothing, it counts less still, half at twice the share. Both set so that in
films left out of teaching about as many tears lie in their intervals as is said."""
TELLING = 90
COMMON_WITHIN = 60
"""Tears are common where, within so many pictures on either side, at least these shares of the pictures are torn: of
those that nothing contradicts, and of all that seem to be. Machines that do not wait for the refresh tear often."""
COMMON_CLEAR, COMMON_SEEMING = 0.015, 0.3
# How many of a hundred bands that changed, and that did not, lie between which shares of the change there lately was:
# on average over seven tuned scenes, torn at 33 to 55 Hz, x264 medium crf 16 to 26.
_EDGES = (0.01, 0.02, 0.04, 0.06, 0.09, 0.12, 0.16, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)
_CHANGED = (3, 1, 1, 1, 1, 1.2, 1.2, 1.4, 1.6, 1.6, 3, 3, 3, 4, 6, 12, 57)
_UNCHANGED = (46, 13, 12, 7, 6, 4, 3, 2, 1.6, 1.1, 1.1, 0.8, 0.4, 0.2, 0.2, 0.2, 0.6)
KNOWN = 150
"""Bands that this average counts for, against those of the pictures nearby."""
MOST, REPEATED = 5.0, -1.0
MISFIT = 0.05
"""Share of the evidence against its own best explanation at which all of it counts half: where things move for
themselves, bands change for other reasons than a change-over."""
_MISFIT_REACH = 30
SLOWED = 0.2
"""Where half of a new picture's bands have changed at least this far, all are held against those that changed most."""
FINISHED = 1.0
"""What bands must say on average for a picture to finish a torn one; the rows below, half as much against."""
LEAST_SIDE, ONE_SIDED = 1.0, 0.4
"""What the rows below a tear, in its picture, and those above it, in the next, must at least say for having changed;
else the tear is no likelier than the second."""
CLEAR, CLEAR_MISFIT, TELLS = 0.75, 0.05, 1.5
"""Pictures are clear where tears are common, nearby on average at least the first share of the bands say so much for or
against a change, and no more than the second share of the evidence fits nothing: nearly all of the picture moves, and
as one. There it is learned how many change-overs are tears, and tears whose rows tell on one side only are believed
too, if no other change-over is nearer than a refresh: that would be two in one refresh, taken for what this model
knows. Set on the tuned scenes and those for choosing, so that none has less precision than .98 for it."""
CLEAR_TRUST, MOST_COMMON = 4.0, -4.0
"""How many bands the evidence counts for there; the least that a tear must be worth, however common it is: below 0, it
is change-overs at the refresh that must be worth something."""
WIDEST = 0.5
"""A tear that may lie anywhere in more than this share of the picture is not told of: it may as well be no tear, but a
change-over between this refresh and the next."""
NEAR_TOP = 0.125
"""Share of the picture that is so little that a picture in which only it changes may be taken for a repeat."""
MOST_MISFIT = 0.135
"""Where more than this share of the evidence fits nothing in half of the pictures, it shows no tears: of planted tears
on the tuned scenes and those for choosing one clip of 95 does, of captures without any the few with many false ones."""
LEAST_HELD = 0.05
"""Where fewer pictures than this hold amid motion, and tears are not often, nothing shows tears."""
OFTEN = 0.12
EXPLAINED = ((COMMON_WITHIN, 0.52), (30, 0.7))
"""Where more of the pictures nearby than the first are torn, around most of those so many, within so many on either
side, must be torn or held; or it is by chance that tears are seen: the machine is faster than the refresh."""
AMID, AMID_WITHIN = 0.6, 3
"""A hold is amid motion where so near, on both sides, pictures change by this share of what they commonly do."""
LEAST_TOLD = 0.1
"""Share of a picture's bands that must tell for a tear to be seen or denied in it."""
_CHUNK, _OVERLAP = 2048, 192


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


def find_tears(
    level: Bytes,
    seen: Bytes,
    moving: Bools,
    new: Bools,
    change: Floats,
    also: Callable[[int, int], Doubles] | None = None,
) -> Tears:
    """level, seen: (n, bands) of the notes. moving: (n,) where something moves; elsewhere nothing is said.

    new: (n,) which pictures differ from the one before at all. change: (n,) by how much, in any unit. also: what else
    is known of the bands of the pictures from one up to another, as `evidence` gives it; each counts half.
    """
    n, bands = level.shape
    p_tear = np.zeros(n, np.float32)
    p_flip = np.zeros(n, np.float32)
    misfit = np.zeros(n)
    first, last = np.full(n, -1, np.int32), np.full(n, -1, np.int32)
    told = (seen > 0).mean(1) >= LEAST_TOLD
    for start in range(0, n, _CHUNK):
        a, b = max(0, start - _OVERLAP), min(n, start + _CHUNK + _OVERLAP)
        ratio = evidence(level[a:b], seen[a:b], moving[a:b], new[a:b])
        if also is not None:
            ratio = (ratio + also(a, b) * (TELLING / bands)) / 2
        posterior, misfit[a:b], common, clear = _believed(ratio, moving[a:b] & told[a:b], new[a:b])
        seen_both = _two_sided(ratio, posterior) | (clear & _apart(posterior))
        two_sided = seen_both & (common | _followed(ratio, posterior, new[a:b]))
        for k in range(start, min(n, start + _CHUNK)):
            here = posterior[k - a]
            p_flip[k] = 1 - here[bands]
            p_tear[k] = here[1:bands].sum()
            if not two_sided[k - a]:
                p_tear[k] = min(p_tear[k], ONE_SIDED)
            if p_tear[k] >= 0.5:
                first[k], last[k] = _interval(here[1:bands], misfit[k : min(k + 2, b)].max())
    p_tear[~told | ~moving] = np.nan
    measurable, why = _measurable(told & moving, (p_flip < 0.5) & _amid_motion(change, new), p_tear >= 0.5, new, misfit)
    wide = (p_tear >= 0.5) & (last - first > WIDEST * bands)
    p_tear[wide] = ONE_SIDED
    first[~(p_tear >= 0.5)] = last[~(p_tear >= 0.5)] = -1
    if not measurable:
        p_tear[:] = np.nan
        first[:] = last[:] = -1
    return Tears(p_tear, p_flip, first, last, measurable, why)


def evidence(level: Bytes, seen: Bytes, moving: Bools, new: Bools) -> Doubles:
    """(n, bands) logarithm of how much likelier it is that a band changed than that it did not; 0 where blind.

    What a band shows when it changes depends on the scene, and when it does not on the coder. So the average over
    scenes only begins: by what it says changed, it is told from the pictures nearby how far bands change here.
    """
    n, bands = level.shape
    telling = level > 0
    place = np.digitize(_shares(level, new), _EDGES)
    weight = np.where(telling, np.sqrt(seen / 255.0) * (TELLING / bands), 0.0)
    learn = telling & moving[:, None]
    learn[:1] = False
    begun = np.repeat(_ratios(np.zeros((1, len(_CHANGED))), np.zeros((1, len(_CHANGED)))), n, 0)
    posterior = _posterior(np.take_along_axis(begun, place, 1) * weight * LEARNING_TRUST, ANYWHERE)
    below = np.cumsum(posterior[:, :bands], 1)
    above = np.zeros((n, bands))
    above[1:] = np.clip(1 - posterior[:-1, bands:] - below[:-1], 0, 1)
    changed = np.clip(1 - (1 - below) * (1 - above), 0, 1)[learn]
    at = (np.arange(n)[:, None] * len(_CHANGED) + place)[learn]
    heaps = (np.bincount(at, part, n * len(_CHANGED)).reshape(n, -1) for part in (changed, 1 - changed))
    told = _ratios(*(_nearby(heap.astype(np.float64)) for heap in heaps))
    return np.asarray(np.take_along_axis(told, place, 1) * weight)


def _shares(level: Bytes, new: Bools) -> npt.NDArray[np.float32]:
    """(n, bands) how far each band changed, 0 to 1."""
    share = np.maximum(level.astype(np.float32) - 1, 0) / 254
    # Where motion has just slowed, even what changed most changed by less than it lately did; but so does the noise
    # of a repeat, which is no measure for anything.
    telling = (level > 0).sum(1)
    ordered = np.sort(share, axis=1)
    middle, most = (
        ordered[np.arange(level.shape[0]), level.shape[1] - 1 - (part * telling).astype(np.int64)]
        for part in (0.5, 0.15)
    )
    return np.asarray(share / np.where(new & (middle >= SLOWED), most.clip(SLOWED, 1), 1)[:, None], np.float32)


def _ratios(changed: Doubles, unchanged: Doubles) -> Doubles:
    """(n, places) logarithms of ratios from counts by place, the average counted in. They rise with the change."""
    logs = []
    for counts, average in ((changed, _CHANGED), (unchanged, _UNCHANGED)):
        whole = counts + np.array(average) * (KNOWN / sum(average))
        logs.append(np.log(whole / whole.sum(1, keepdims=True)))
    ratio = logs[0] - logs[1]
    rising = np.maximum.accumulate(ratio, 1) + np.minimum.accumulate(ratio[:, ::-1], 1)[:, ::-1]
    return np.asarray(np.clip(rising / 2, -MOST, MOST))


def _within(what: Bools, reach: int) -> Doubles:
    """(n,) how many of the pictures so near on either side."""
    return np.asarray(np.convolve(what.astype(np.float64), np.ones(2 * reach + 1))[reach : reach + what.size])


def _nearby(values: Doubles) -> Doubles:
    """(n, m) sums over the pictures near each."""
    n = values.shape[0]
    total = np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, 0)])
    at = np.arange(n)
    return np.asarray(total[np.minimum(at + COMMON_WITHIN + 1, n)] - total[np.maximum(at - COMMON_WITHIN, 0)])


def _believed(ratio: Doubles, told: Bools, new: Bools) -> tuple[Doubles, Doubles, Bools, Bools]:
    """(n, bands + 1) probabilities as `_posterior` gives them; (n,) how much of the evidence fits nothing, where tears
    are common, and where besides pictures are clear.

    A tear by itself must be clear beyond doubt, and lie in a picture that is new at all; where tears are common,
    less will do, and pictures that differ in a few rows only are let count.
    """
    # A repeat has no tear, in whatever bands the coder's noise looks like motion.
    differs = new | _finishing(ratio, new)
    held = np.where(differs[:, None], ratio, np.where(ratio == 0, 0, np.minimum(ratio, REPEATED)))
    rare, misfit = _trusted(held * RARE_TRUST)
    nearby = _nearby(np.ones((told.size, 1)))[:, 0]

    def share_torn(posterior: Doubles) -> Doubles:
        torn = (posterior[:, 1:-1].sum(1) >= 0.5) & told
        return np.asarray(_nearby(torn[:, None].astype(np.float64))[:, 0] / nearby)

    out = _posterior(rare, RARE)
    common = share_torn(out) >= COMMON_CLEAR
    common &= share_torn(_posterior(ratio * ANYWHERE_TRUST, ANYWHERE)) >= COMMON_SEEMING
    clear = common & (misfit <= CLEAR_MISFIT) & (_on_average((np.abs(ratio) > TELLS).mean(1), told) >= CLEAR)
    if common.any():
        usual = _posterior(ratio * COMMON_TRUST, COMMON)
        if clear.any():
            penalty = np.where(clear, _worth(usual, told), COMMON)
            usual = _posterior(ratio * np.where(clear, CLEAR_TRUST, COMMON_TRUST)[:, None], penalty)
        out[common] = usual[common]
    return out, misfit, common, clear


def _on_average(values: Doubles, told: Bools) -> Doubles:
    """(n,) mean over the pictures nearby that are told of."""
    sums = _nearby(np.stack([values * told, told], 1))
    return np.asarray(sums[:, 0] / np.maximum(sums[:, 1], 1))


def _worth(posterior: Doubles, told: Bools) -> Doubles:
    """(n,) what a tear must be worth, by how many change-overs nearby are tears; see `COMMON`.

    A machine that does not wait changes over at the refresh as seldom as at any other band.
    """
    kinds = np.stack([posterior[:, 0], posterior[:, 1:-1].sum(1)], 1) * told[:, None]
    whole, torn = (_nearby(kinds) + 0.5).T
    return np.asarray(np.clip(np.log(whole / torn), MOST_COMMON, COMMON))


def _finishing(ratio: Doubles, new: Bools) -> Bools:
    """(n,) pictures that only finish the one before: the rows that it left unchanged change, and no others.

    After a tear near the top they differ too little to be thought new.
    """
    bands = np.arange(1, ratio.shape[1] + 1)
    total = np.cumsum(ratio, 1)
    above = total / bands
    below = (total[:, -1:] - total) / np.maximum(ratio.shape[1] - bands, 1)
    here = (above >= FINISHED) & (below <= -FINISHED / 2)
    here[:, int(0.9 * bands.size) :] = False
    out = np.zeros(new.size, np.bool_)
    out[1:] = (here[1:] & (above[:-1] <= -FINISHED)).any(1) & new[:-1]
    return out


def _two_sided(ratio: Doubles, posterior: Doubles) -> Bools:
    """(n,) whether rows are seen to change below the likeliest tear, and above it with the next picture."""
    n, bands = ratio.shape
    row = posterior[:, 1:bands].argmax(1) + 1
    total = np.concatenate([np.zeros((n, 1)), np.cumsum(ratio, 1)], 1)
    at = np.arange(n)
    out = total[at, bands] - total[at, row] >= LEAST_SIDE
    out[:-1] &= total[at[1:], row[:-1]] >= LEAST_SIDE
    return np.asarray(out)


def _apart(posterior: Doubles) -> Bools:
    """(n,) whether the likeliest change-over is at least a refresh away from the one before and the next."""
    row, bands = posterior.argmax(1), posterior.shape[1] - 1
    out = np.ones(row.size, np.bool_)
    out[:-1] = row[1:] >= row[:-1]
    out[1:] &= (row[1:] >= row[:-1]) | (row[:-1] == bands)
    return out


def _followed(ratio: Doubles, posterior: Doubles, new: Bools) -> Bools:
    """(n,) whether the next picture is what follows a tear: it leaves the rows below as they are, or is torn itself.

    Where one refresh is wholly new and so is the next, rows that did not change need no tear: what they show paused.
    And the next picture must seem new, unless it has too few rows to finish: else the coder drew still rows anew.
    """
    n, bands = ratio.shape
    row = posterior[:, 1:bands].argmax(1) + 1
    total = np.concatenate([np.zeros((n, 1)), np.cumsum(ratio, 1)], 1)
    out = np.ones(n, np.bool_)
    out[:-1] = total[1:, bands] - total[np.arange(1, n), row[:-1]] <= 0
    out[:-1] |= posterior[1:, 1:bands].sum(1) >= 0.5
    out[:-1] &= new[1:] | (row[:-1] <= NEAR_TOP * bands)
    return out


def _trusted(ratio: Doubles) -> tuple[Doubles, Doubles]:
    """The evidence, weakened where it contradicts what explains it best; (n,) how much of it does."""
    bands = ratio.shape[1]
    best = _posterior(ratio * 0.4, ANYWHERE).argmax(1)
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


def _measurable(told: Bools, held: Bools, torn: Bools, new: Bools, misfit: Doubles) -> tuple[bool, str]:
    """held: (n,) pictures amid motion in which nothing seems to have begun."""
    if not told.any():
        return False, "nothing moves that tears could be seen in"
    if np.median(misfit[told]) > MOST_MISFIT:
        return False, "things move for themselves before a still picture: what changes does not show tears"
    torn = torn & told
    nearby = np.maximum(_within(told, COMMON_WITHIN), 1)
    if (_within(torn, COMMON_WITHIN) >= OFTEN * nearby).any():
        # A machine that tears often and is slower than the refresh leaves few pictures that are neither torn nor held.
        shares = (_within(told & (torn | held), w) / np.maximum(_within(told, w), 1) for w, _ in EXPLAINED)
        slower = any(np.median(part[torn]) >= most for part, (_, most) in zip(shares, EXPLAINED, strict=True))
    else:
        slower = bool((held & ~new)[told].mean() >= LEAST_HELD)
    return slower, "" if slower else "every refresh changes: a tear leaves nothing unchanged to tell it by"


def _amid_motion(change: Floats, new: Bools) -> Bools:
    """(n,) where what moves goes on moving: a hold there is the machine's, not the scene's."""
    n = change.size
    out = np.zeros(n, np.bool_)
    for k in range(1, n):
        near = slice(max(1, k - COMMON_WITHIN), k + COMMON_WITHIN + 1)
        usual = change[near][new[near]]
        before, after = change[max(1, k - AMID_WITHIN) : k], change[k + 1 : k + 1 + AMID_WITHIN]
        if usual.size and before.size and after.size:
            out[k] = min(before.max(), after.max()) >= AMID * np.median(usual)
    return out


def _interval(p: Doubles, misfit: float) -> tuple[int, int]:
    """Bands, half-open, that hold 95 % of a tear's place. p: over bands 1, 2, ...; a tear lies near their top."""
    p = p ** (WIDENED / max(1.0, misfit / MISFIT_ROWS))
    total = np.cumsum(p) / p.sum()
    low, high = int(np.searchsorted(total, 0.025)), int(np.searchsorted(total, 0.975))
    # The band in which the change-over lies changes in part and may count as either; so, coded, may its neighbours.
    return max(0, low - 1), min(high, p.size - 1) + 3


def _posterior(ratio: Doubles, penalty: float | Doubles) -> Doubles:
    """(n, bands + 1) probability of a change-over at each band; the last column: none. penalty: what a tear must be
    worth, everywhere or (n,) in each picture; below 0, what a change-over at the refresh must be worth."""
    out = np.empty((ratio.shape[0], ratio.shape[1] + 1))
    worth = np.broadcast_to(np.float64(penalty), ratio.shape[:1])
    refresh, torn = np.minimum(worth, 0), -np.maximum(worth, 0) - np.log(ratio.shape[1])
    _forward_backward()(np.ascontiguousarray(ratio), refresh, torn, out)
    return out


def _forward_backward() -> Callable[..., Any]:
    return compiled(forward_backward)


def forward_backward(ratio: Any, refresh: Any, torn: Any, out: Any) -> None:
    """Fill out with the probabilities that `_posterior` gives. Picture 0 has no evidence of its own.

    refresh, torn: (n,) logarithm of how likely a change-over at the refresh, and at any other band, is beforehand.
    """
    n, bands = ratio.shape
    forward = np.empty((n, bands + 1))
    sums = np.empty(bands + 1)
    low = np.empty(bands + 1)
    high = np.empty(bands + 1)
    prior = np.zeros(bands + 1)
    prior[0], prior[1:bands] = refresh[0], torn[0]
    forward[0] = prior
    for t in range(1, n):
        sums[0] = 0.0
        for r in range(bands):
            sums[r + 1] = sums[r] + ratio[t, r]
        whole = sums[bands]
        last = forward[t - 1]
        prior[0], prior[1:bands] = refresh[t], torn[t]
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
        prior[0], prior[1:bands] = refresh[t], torn[t]
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
