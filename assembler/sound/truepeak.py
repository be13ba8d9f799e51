"""The highest point of the wave between its samples, from 8 times oversampling.

ITU-R BS.1770-5, annex 2, asks for 4 times or more. A sine just under half the sample rate may be read low by
20 log10 cos(pi / 16) = 0.17 dB; four times could miss 0.69 dB.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from assembler.sound.loudness import CHUNK

Peaks = npt.NDArray[np.float32]

_UP = 8
REACH = 12
"""Samples on either side that a point between samples is made from."""
_PIECE = 42  # milliseconds: small enough that the matrix library keeps to one thread, many would wait for each other


def _weights() -> npt.NDArray[np.float32]:
    """(_UP, 2 REACH + 1): what each of the samples around one adds to the points from it up to the next."""
    taps = 2 * _UP * REACH + 1
    low_pass = np.sinc((np.arange(taps) - taps // 2) / _UP) * np.kaiser(taps, 5.0)
    low_pass *= _UP / low_pass.sum()
    padded = np.concatenate((low_pass, np.zeros(_UP - 1)))
    # The point k/_UP after sample i takes sample i + j by low_pass[_UP (REACH - j) + k], j from -REACH to REACH.
    return np.ascontiguousarray(padded.reshape(2 * REACH + 1, _UP)[::-1].T, np.float32)


_WEIGHTS = _weights()
_MOST = float(np.abs(_WEIGHTS).sum(axis=1).max())
"""No point between samples is higher than this many times the highest sample around it."""


class PeakMeter:
    """True peak of every millisecond of a stream, over all its channels.

    above: only the highest of all is wanted, and the milliseconds over this amplitude. Others may be given too low;
    with infinity none are kept. before: the last samples before the first, REACH of them; none are silence.
    """

    def __init__(
        self, channels: int, *, above: float = 0.0, before: npt.NDArray[np.float32] | None = None
    ) -> None:
        self._above = above
        self.highest = 0.0
        # The last samples wait for those after them.
        self._waiting = np.zeros((REACH, channels), np.float32)
        if before is not None and len(before):
            self._waiting[-len(before) :] = before
        self._rest = np.zeros(0, np.float32)
        self._peaks: list[Peaks] = []

    def add(self, block: npt.NDArray[np.float32]) -> None:
        """Take the next (samples, channels)."""
        joined = np.concatenate((self._waiting, block))
        if joined.shape[0] <= 2 * REACH:
            self._waiting = joined
            return
        self._waiting = joined[-2 * REACH :].copy()
        # A point is at least as high as the sample it begins at, so nothing lower need be looked for.
        reached = max(self.highest, float(np.abs(joined[REACH:-REACH]).max()))
        points = _between(joined, min(reached, self._above))
        self.highest = max(self.highest, float(points.max()))
        if np.isfinite(self._above):
            self._count(points)

    def end(self) -> None:
        """The stream is over: nothing but silence follows."""
        self.add(np.zeros((REACH, self._waiting.shape[1]), np.float32))
        self._peaks.append(self.rest())
        self._rest = np.zeros(0, np.float32)

    def rest(self) -> Peaks:
        """The peak of the part of a millisecond that is not whole yet, (1,); (0,) where there is none."""
        return self._rest.max(keepdims=True) if self._rest.size else self._rest

    def peaks(self) -> Peaks:
        """(milliseconds,) of everything added, the last part of a millisecond included. Ends the stream."""
        self.end()
        return self.take()

    def take(self) -> Peaks:
        """(milliseconds,) that became whole since this was last asked for: what is taken is not kept."""
        taken = np.concatenate(self._peaks) if self._peaks else np.zeros(0, np.float32)
        self._peaks = []
        return taken

    def _count(self, points: Peaks) -> None:
        points = np.concatenate((self._rest, points))
        whole = points.size // CHUNK * CHUNK
        self._peaks.append(points[:whole].reshape(-1, CHUNK).max(axis=1))
        self._rest = points[whole:].copy()


def _between(joined: npt.NDArray[np.float32], known: float) -> npt.NDArray[np.float32]:
    """Highest absolute point from each sample up to the next, for all but the first and last REACH samples. Stretches
    of a millisecond that hold nothing above `known` may be given as 0."""
    samples = joined.shape[0] - 2 * REACH
    highest = np.zeros(-(-samples // CHUNK) * CHUNK, np.float32)
    chunks = highest.reshape(-1, CHUNK)
    for channel in joined.T:
        if not channel.any():
            continue
        padded = np.zeros(highest.size + 2 * REACH, np.float32)
        padded[: channel.size] = channel
        around = sliding_window_view(padded, 2 * REACH + 1)
        where = _worth_looking(padded, known)
        for first in range(0, where.size, _PIECE):
            piece = where[first : first + _PIECE]
            whole = piece[-1] - piece[0] == piece.size - 1
            chosen = slice(piece[0] * CHUNK, (piece[-1] + 1) * CHUNK) if whole else _samples_of(piece)
            fine = _WEIGHTS @ np.ascontiguousarray(around[chosen]).T
            np.abs(fine, out=fine)
            chunks[piece] = np.maximum(chunks[piece], fine.max(axis=0).reshape(-1, CHUNK))
    return highest[:samples]


def _worth_looking(padded: npt.NDArray[np.float32], known: float) -> npt.NDArray[np.int64]:
    """The milliseconds in which a point above `known` is possible."""
    if not known:
        return np.arange(padded.size // CHUNK)
    # A millisecond's points are made from its two halves, from the one before and from the one after.
    halves = np.abs(padded).reshape(-1, REACH * 2).max(axis=1)
    around = np.maximum(np.maximum(halves[:-2:2], halves[1:-1:2]), halves[2::2])
    return np.flatnonzero(around * np.float32(_MOST) >= known)


def _samples_of(chunks: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    return (chunks[:, None] * CHUNK + np.arange(CHUNK)).ravel()


def decibels(peak: float) -> float | None:
    """A peak in dB of full scale; None for silence."""
    return 20.0 * float(np.log10(peak)) if peak > 0 else None
