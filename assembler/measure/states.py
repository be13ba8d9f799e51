"""What can be said of each moment: something moves, nothing does, it is dark, or it cannot be told.

A picture that repeats while the scene moves is a missed frame; the same in a menu is nothing. What
parts the two is how much of the picture ever changes nearby, and for how long nothing does.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from assembler.measure.features import COLUMN, Floats
from assembler.measure.model import State

Bools = npt.NDArray[np.bool_]

STILL_S = 0.5
"""Nothing new for longer than this is still, unless it is a hold within motion."""
HITCH_S = 1.0
"""A hold within motion shorter than this is a missed frame, not a still."""
SMALL_AREA = 0.005
SMALL_BLOCKS = 8
"""Motion in less than this share of the picture, or in this many blocks, is a sign on a still picture."""
ALONE_S = 1 / 6
"""A change that lies in so few blocks for the most part is a sign's, too, where nothing else moves for so long."""
DARK_ABOVE_BLACK, DARK_DEVIATION, DARK_LARGEST = 8.0, 2.5, 12.0
UNSURE_SHARE = 0.35
"""Above this share of undecided pictures nearby, nothing is counted."""
UNSURE = (0.05, 0.95)


def states(
    pairs: Floats, light: Floats, p_new: Floats, ever: Floats, rate: float, *, black: float = 16.0
) -> npt.NDArray[np.uint8]:
    """(n,) of `State`. ever: largest change of each block over the capture. rate: pictures a second.

    black: the 8-bit code of black, 16 or (full range) 0.
    """
    n = p_new.size
    out = np.full(n, State.MOVING, np.uint8)
    if n == 0:
        return out
    still = max(2, round(STILL_S * rate))
    broad = broadly_new(pairs, p_new, ever, max(1, round(ALONE_S * rate)))
    unsure = (p_new > UNSURE[0]) & (p_new < UNSURE[1]) & (pairs[:, COLUMN["area"]] > 0)
    share = _windowed_mean(unsure, still)
    # Only what seems new over a broad area makes motion; between two such pictures lies a hold.
    for first, end in gaps(broad):
        held = end - first
        inside = first > 0 and end < n
        if held <= still or (inside and held < HITCH_S * rate and _moves(broad, first, end, still)):
            continue
        out[first:end] = State.STILL
    for first, end in _lone(out, still):
        # A moment of change between stills, such as a menu page: too short to have a rate.
        out[first:end] = State.STILL
    # What stands still is first shown by a new picture: that one ends the motion, and is no longer part of it.
    begins = np.flatnonzero((out[1:] == State.STILL) & (out[:-1] == State.MOVING))
    out[begins] = State.STILL
    out[(share > UNSURE_SHARE) & (out == State.MOVING)] = State.UNDECIDED
    mean, deviation, largest = light.T
    dark = (mean < black + DARK_ABOVE_BLACK) & (deviation < DARK_DEVIATION) & (largest < black + DARK_LARGEST)
    out[dark] = State.DARK
    return out


def broadly_new(pairs: Floats, p_new: Floats, ever: Floats, reach: int) -> Bools:
    """(n,) True where a picture is likely new over more than a sign's area. reach: pictures, see `ALONE_S`."""
    blocks = ever.size
    moving_share = max(float((ever > 0.5).mean()) if blocks else 1.0, 1 / max(blocks, 1))
    area = pairs[:, COLUMN["area"]] / moving_share
    least = max(SMALL_AREA, SMALL_BLOCKS / max(blocks, 1) / moving_share)
    # Slow motion of the whole picture changes no block by much, but lies in the middle of them all.
    slow = pairs[:, COLUMN["mid_block"]] > 0.12
    broad = (p_new >= 0.5) & ((area > least) | slow)
    # Hard coders smear a sign over blocks beside it, but by far the most of the change stays where the sign is.
    gathered = pairs[:, COLUMN["mean"]] * blocks <= SMALL_BLOCKS * pairs[:, COLUMN["max_block"]]
    at = np.flatnonzero(broad)
    apart = np.diff(at, prepend=-reach - 1, append=broad.size + reach) > reach
    broad[at[apart[:-1] & apart[1:] & gathered[at]]] = False
    return np.asarray(broad)


def gaps(new: Bools) -> Iterator[tuple[int, int]]:
    """Half-open stretches of pictures with nothing new."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (~new).astype(np.int8), [0]])))
    for first, end in edges.reshape(-1, 2):
        yield int(first), int(end)


def _moves(broad: Bools, first: int, end: int, reach: int) -> bool:
    """Whether there is motion on both sides of a hold: several new pictures within half a second."""
    least = max(2, reach // 8)
    return int(broad[max(0, first - reach) : first].sum()) >= least and int(broad[end : end + reach].sum()) >= least


def _lone(state: npt.NDArray[np.uint8], still: int) -> Iterator[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (state == State.MOVING).astype(np.int8), [0]])))
    for first, end in edges.reshape(-1, 2):
        within = first > 0 and end < state.size
        if within and end - first < max(2, still // 6):
            yield int(first), int(end)


def _windowed_mean(values: Bools, reach: int) -> npt.NDArray[np.float64]:
    """Mean over about `reach` pictures around each."""
    total = np.concatenate([[0], np.cumsum(values)])
    at = np.arange(values.size)
    first, end = np.maximum(at - reach // 2, 0), np.minimum(at + reach // 2 + 1, values.size)
    return np.asarray((total[end] - total[first]) / (end - first))
