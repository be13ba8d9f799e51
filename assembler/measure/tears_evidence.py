"""Whether a band of rows changed: what its change, that of the small picture and those nearby say together.

A small network, fitted on planted tears (benchmarks/fit_tears.py). How far a band changes when it changes depends
on what it shows, and how far when it does not on the coder; so every measure also enters against what the same
band lately did. Much of what coders add averages out in the small picture, which so sees slow motion.

Some of what the network is told says nothing of whether this band changed: what the other bands did, and how much of
it can be seen. A second, smaller network is told only that; what it says for a change is taken away (Bayes' rule), or
bands that show nothing would seem to change wherever others do, and a thing that moves before a still wall would prove
that the wall was drawn anew.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from assembler.measure import tears_weights as weights
from assembler.measure.features import THUMB_ROWS, Notes

Doubles = npt.NDArray[np.float64]
Floats = npt.NDArray[np.float32]
Bytes = npt.NDArray[np.uint8]

MOST = 5.0
"""Natural logarithm beyond which a band by itself says no more."""
_LEAST_SHARE, _LEAST_STEP, _BLIND = 0.01, 0.02, 0.05
"""What is added to shares and to 8-bit codes before taking logarithms; the share of a band that does not tell."""
_REACH, _GRID = 24, 8
"""Pictures on either side that a band is held against; places at which that is worked out."""
_WIDTHS, _OF_BANDS = (1, 3, 8), 90
"""Bands on either side that are averaged, in pictures of so many bands."""
_QUANTILES = (0.1, 0.5, 0.9)
_MOST_INPUT, _BLOCK = 4.0, 128

_HISTORY = ("over low", "over high", "over middle", "spread", "before over high", "after over high")
NAMES = (
    *("change", "share", "tells", "seen", *(f"change in {w}" for w in _WIDTHS), *(f"change {h}" for h in _HISTORY)),
    *("half of the bands", "most bands", "few bands", "new"),
    *(f"{what}{h}" for what in ("step", "large step") for h in ("", *(f" {h}" for h in _HISTORY))),
)
_AROUND = ("half of the bands", "most bands", "few bands", "new", "tells", "seen")
AROUND = tuple(NAMES.index(name) for name in _AROUND)
"""Places of the inputs that the second network is told."""


class _Network(NamedTuple):
    centre: Doubles
    spread: Doubles
    inward: Doubles
    hidden_bias: Doubles
    outward: Doubles
    straight: Doubles
    bias: float

    def logit(self, inputs: Doubles) -> Doubles:
        """inputs: (..., m)."""
        x = standardised(inputs, self.centre, self.spread)
        # Not by matrix product: libraries sum the rows at a block's edge in another order than those within.
        hidden = np.tanh(np.einsum("...m,um->...u", x, self.inward) + self.hidden_bias)
        z = np.einsum("...u,u->...", hidden, self.outward) + np.einsum("...m,m->...", x, self.straight)
        return np.asarray(z + self.bias)


def _network(of: str = "") -> _Network:
    """The numbers whose names begin with `of`."""

    def part(name: str) -> Doubles:
        return np.asarray(getattr(weights, of + name), np.float64)

    inward = (part("CENTRE"), part("SPREAD"), part("INWARD"), part("HIDDEN_BIAS"))
    return _Network(*inward, part("OUTWARD"), part("STRAIGHT"), float(part("BIAS")))


class BandEvidence:
    """What the network says of any pictures of a capture."""

    def __init__(self, notes: Notes, p_new: Floats) -> None:
        """p_new: (n,) probability that each picture is new, as the cadence model has it."""
        self._notes = notes
        self._p = p_new
        self._whole, self._around = _network(), _network("AROUND_")

    def __call__(self, first: int, end: int) -> Doubles:
        """(end - first, bands) logarithm of how much likelier the notes are if a band changed than if it did not."""
        out = np.zeros((end - first, self._notes.level.shape[1]))
        for a in range(first, end, _BLOCK):
            b = min(a + _BLOCK, end)
            inputs = self.inputs(a, b)
            # Where all else says that nothing changed it is left in: a repeat changes no band, but what is new need not
            # change every one.
            told = self._whole.logit(inputs) - np.maximum(self._around.logit(inputs[:, :, AROUND]), 0)
            out[a - first : b - first] = np.clip(told, -MOST, MOST)
        if first == 0:
            out[:1] = 0  # what comes before it is not known
        return out

    def inputs(self, first: int, end: int) -> Doubles:
        """(end - first, bands, len(NAMES))."""
        notes, n = self._notes, self._notes.level.shape[0]
        low, high = max(0, first - _REACH - _GRID), min(n, end + _REACH + _GRID)
        level = notes.level[low:high]
        bands = level.shape[1]
        share = np.maximum(level.astype(np.float64) - 1, 0) / 254
        change = np.log(np.where(level > 0, share + _LEAST_SHARE, _BLIND))
        here = slice(first - low, end - low)
        columns = [change[here], share[here], level[here] > 0, notes.seen[first:end] / 255.0]
        columns += [_averaged(change[here], max(1, round(w * bands / _OF_BANDS))) for w in _WIDTHS]
        columns += _against_history(change, low, first, end, n)
        ordered = np.sort(share[here], 1)
        columns += [ordered[:, int(part * bands), None] for part in (0.5, 0.85, 0.15)]
        p = np.clip(self._p[first:end].astype(np.float64), 1e-4, 1 - 1e-4)
        columns.append(np.log(p / (1 - p))[:, None])
        row = np.minimum(((np.arange(bands) + 0.5) / bands * THUMB_ROWS).astype(np.int64), THUMB_ROWS - 1)
        for step in self._steps(low, high):
            whole = [step[here], *_against_history(step, low, first, end, n)]
            columns += [column[:, row] for column in whole]
        return np.stack([np.broadcast_to(column, (end - first, bands)) for column in columns], 2).astype(np.float64)

    def _steps(self, low: int, high: int) -> tuple[Doubles, Doubles]:
        """Logarithms of the mean, and of nearly the largest, change along each row of the small picture: (n, 18)."""
        small = self._notes.thumbs[max(low - 1, 0) : high].astype(np.float32) / 256
        step = np.zeros((high - low, *small.shape[1:]), np.float32)
        step[1 if low == 0 else 0 :] = np.abs(np.diff(small, axis=0))
        large = np.sort(step, 2)[:, :, -3]
        return tuple(np.log(each.astype(np.float64) + _LEAST_STEP) for each in (step.mean(2), large))  # type: ignore[return-value]


def standardised(inputs: Doubles, centre: Doubles, spread: Doubles) -> Doubles:
    """The inputs as the network takes them; nothing counts for more than `_MOST_INPUT` deviations."""
    return np.clip((inputs - centre) / spread, -_MOST_INPUT, _MOST_INPUT)


def _averaged(values: Doubles, reach: int) -> Doubles:
    """(n, bands) means over the bands so near, fewer at the edges."""
    bands = values.shape[1]
    total = np.concatenate([np.zeros((values.shape[0], 1)), np.cumsum(values, 1)], 1)
    low = np.maximum(np.arange(bands) - reach, 0)
    high = np.minimum(np.arange(bands) + reach + 1, bands)
    return np.asarray((total[:, high] - total[:, low]) / (high - low))


def _against_history(values: Doubles, start: int, first: int, end: int, n: int) -> list[Doubles]:
    """Values of the pictures first to end against those of the pictures around; see `_HISTORY`.

    values: (m, columns) of the pictures from `start` on, with all within reach; n: pictures of the capture.
    """
    grid = np.arange(first // _GRID, (max(end - 1, first)) // _GRID + 2)
    low, middle, high = (np.empty((grid.size, values.shape[1])) for _ in _QUANTILES)
    for i, place in enumerate(grid * _GRID):
        centre = min(int(place), n - 1)
        near = values[max(1, centre - _REACH) - start : centre + _REACH + 1 - start]  # the first has no change
        ordered = np.sort(near if len(near) else values[:1], 0)
        for quantile, part in zip((low, middle, high), _QUANTILES, strict=True):
            quantile[i] = ordered[round(part * (len(ordered) - 1))]
    at = np.arange(first, end)
    left = at // _GRID - grid[0]
    share = ((at % _GRID) / _GRID)[:, None]
    low, middle, high = (q[left] * (1 - share) + q[left + 1] * share for q in (low, middle, high))
    here, before, after = (values[np.clip(at + by, 0, n - 1) - start] for by in (0, -1, 1))
    return [here - low, here - high, here - middle, high - low, before - high, after - high]
