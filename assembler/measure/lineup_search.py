"""Where in the one capture the other lies, to a tenth of a second, over all their length.

The shorter capture is cut into windows; each is laid along the longer one at every place at once (by Fourier
transforms), and the windows' scores are added up along straight lines, so that clocks which run apart by up to
MOST_DRIFT_PPM do not smear the match.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import cast

import numpy as np
import numpy.typing as npt

from assembler.measure.lineup_tracks import Cells, Floats, Track, calm, evened

MOST_DRIFT_PPM = 6000.0
_KEPT = 32
"""Directions of change kept of all the cells."""
_WINDOW_S = 30.0
_LEAST_COMMON_S = 2.0
_LEAST_LAGS = 40
_MOST_DRIFTS = 121


@dataclass(frozen=True, slots=True)
class Found:
    """b's time = offset_s + (1 + drift) * a's time, roughly. score: standard deviations above chance; second:
    the best score elsewhere, at second_s."""

    offset_s: float
    drift: float
    score: float
    second: float
    second_s: float


def search(a: Track, b: Track, cells_a: Cells, cells_b: Cells) -> Found | None:
    """None where the captures are too short to tell a match from chance."""
    swap = a.end_s > b.end_s
    short, long = (b, a) if swap else (a, b)
    step = 0.05 if long.end_s < 100 else 0.1
    both = (cells_b, cells_a) if swap else (cells_a, cells_b)
    changes = [
        track.change(np.arange(int(track.end_s / step), dtype=np.float64) * step, cells)
        for track, cells in zip((short, long), both, strict=True)
    ]
    if min(len(c) for c in changes) * step < _LEAST_COMMON_S:
        return None
    even = [evened(c, calm(c)) for c in changes]
    lines = _main_directions(even[0], even[1])
    found = _along_lines(even[0] @ lines, even[1] @ lines, step)
    if found is None or not swap:
        return found
    rate = 1 / (1 + found.drift)
    return Found(-found.offset_s * rate, rate - 1, found.score, found.second, -found.second_s * rate)


def _main_directions(first: Floats, second: Floats) -> Floats:
    """(cells, kept) orthonormal directions along which both change most."""
    spread = first.T @ first / len(first) + second.T @ second / len(second)
    _, vectors = np.linalg.eigh(spread.astype(np.float64))
    return cast(Floats, vectors[:, ::-1][:, :_KEPT].astype(np.float32))


def _along_lines(short: Floats, long: Floats, step: float) -> Found | None:
    from scipy.fft import irfft, next_fast_len, rfft  # here, not above: it takes long to load, and few commands need it

    n, m = len(short), len(long)
    windows = max(1, round(n * step / _WINDOW_S))
    edges = np.linspace(0, n, windows + 1).astype(np.int64)
    centres = (edges[:-1] + edges[1:]) / 2 - n / 2
    reach = int(np.ceil(MOST_DRIFT_PPM * 1e-6 * n / 2)) + 1  # steps a window's place may be off by
    total = n + m
    match = np.zeros((windows, total + 2 * reach), np.float32)
    energy = np.zeros_like(match)
    size = next_fast_len(m + int(np.diff(edges).max()), real=True)
    spectrum = rfft(long, size, axis=0)
    weight = rfft(np.square(long).sum(axis=1), size)
    for w, (low, high) in enumerate(pairwise(edges)):
        part = short[low:high]
        crossed = np.einsum("ij,ij->i", spectrum, rfft(part, size, axis=0).conj())
        shared = weight * rfft(np.square(part).sum(axis=1), size).conj()
        # Place k of the long one under the window's start; the capture's own start then lies at k - low.
        length = high - low
        at = reach + n - low - (length - 1)
        for row, values in ((match[w], crossed), (energy[w], shared)):
            back = irfft(values, size)
            row[at : at + length - 1] = back[size - (length - 1) :]
            row[at + length - 1 : at + length - 1 + m] = back[:m]
    np.maximum(energy, 0, out=energy)
    drifts = np.arange(-reach + 1, reach) / max(1.0, n / 2)
    drifts = drifts[:: max(1, -(-drifts.size // _MOST_DRIFTS))] if reach > 1 else np.zeros(1)
    drifts = drifts - drifts[np.argmin(np.abs(drifts))]
    # A line between two that are tried passes no window further off than this.
    loose = int(np.diff(drifts)[0] * n / 4) if drifts.size > 1 else 0
    if loose:
        match = np.stack([_widest(row, loose) for row in match])
    enough = _LEAST_COMMON_S / step * float(np.square(short).sum(axis=1).mean() * np.square(long).sum(axis=1).mean())
    best: tuple[float, float, npt.NDArray[np.float64], npt.NDArray[np.bool_]] | None = None
    for drift in drifts:
        score, valid = _summed(match, energy, np.round(drift * centres).astype(np.int64), reach, total, enough)
        if valid.sum() < _LEAST_LAGS:
            return None
        top = float(score.max())
        if best is None or top > best[0] or (top == best[0] and abs(drift) < abs(best[1])):
            best = top, float(drift), score, valid
    assert best is not None
    _, drift, score, valid = best
    peak = int(np.argmax(score))
    far = valid & (np.abs(np.arange(total) - peak) > 1.0 / step)
    if far.sum() < _LEAST_LAGS:
        return None
    middle = float(np.median(score[far]))
    spread = 1.4826 * float(np.median(np.abs(score[far] - middle)))
    elsewhere = int(np.argmax(np.where(far, score, -np.inf)))
    # The lag holds at the short one's middle; at its start the clocks have yet to run apart.
    offset = (peak - n) * step - drift * n / 2 * step
    z = [(float(score[k]) - middle) / max(spread, 1e-9) for k in (peak, elsewhere)]
    return Found(offset, drift, z[0], z[1], (elsewhere - n) * step - drift * n / 2 * step)


def _summed(
    match: Floats, energy: Floats, shifts: npt.NDArray[np.int64], reach: int, total: int, enough: float
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_]]:
    """Scores (total,) of the windows' matches, each shifted, and where enough is in common to say."""
    above, below = np.zeros(total), np.zeros(total)
    for w, shift in enumerate(shifts):
        cut = slice(reach + shift, reach + shift + total)
        above += match[w, cut]
        below += energy[w, cut]
    valid = below > enough
    return np.where(valid, above / np.sqrt(np.maximum(below, 1e-9)), -np.inf), valid


def _widest(row: Floats, by: int) -> Floats:
    """The largest within `by` places either way."""
    out = row.copy()
    for k in range(1, by + 1):
        np.maximum(out[k:], row[:-k], out=out[k:])
        np.maximum(out[:-k], row[k:], out=out[:-k])
    return out
