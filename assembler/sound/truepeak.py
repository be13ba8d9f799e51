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
_REACH = 12  # samples on either side that a point between samples is made from
_PIECE = 1024  # small enough that the matrix library keeps to one thread: many would wait for each other


def _weights() -> npt.NDArray[np.float32]:
    """(_UP, 2 _REACH + 1): what each of the samples around one adds to the points from it up to the next."""
    taps = 2 * _UP * _REACH + 1
    low_pass = np.sinc((np.arange(taps) - taps // 2) / _UP) * np.kaiser(taps, 5.0)
    low_pass *= _UP / low_pass.sum()
    padded = np.concatenate((low_pass, np.zeros(_UP - 1)))
    # The point k/_UP after sample i takes sample i + j by low_pass[_UP (_REACH - j) + k], j from -_REACH to _REACH.
    return np.ascontiguousarray(padded.reshape(2 * _REACH + 1, _UP)[::-1].T, np.float32)


_WEIGHTS = _weights()
_MOST = float(np.abs(_WEIGHTS).sum(axis=1).max())
"""No point between samples is higher than this many times the highest sample around it."""


class PeakMeter:
    """True peak of every millisecond of a stream, over all its channels.

    above: only the highest of all is wanted, and the milliseconds over this amplitude. Others may be given too low;
    with infinity none are kept.
    """

    def __init__(self, channels: int, *, above: float = 0.0) -> None:
        self._above = above
        self.highest = 0.0
        # What lies before the first sample is silence; the last samples wait for those after them.
        self._waiting = np.zeros((_REACH, channels), np.float32)
        self._rest = np.zeros(0, np.float32)
        self._peaks: list[Peaks] = []

    def add(self, block: npt.NDArray[np.float32]) -> None:
        """Take the next (samples, channels)."""
        joined = np.concatenate((self._waiting, block))
        if joined.shape[0] <= 2 * _REACH:
            self._waiting = joined
            return
        self._waiting = joined[-2 * _REACH :].copy()
        points = _between(joined, min(self.highest, self._above))
        self.highest = max(self.highest, float(points.max()))
        if np.isfinite(self._above):
            self._count(points)

    def end(self) -> None:
        """The stream is over: nothing but silence follows."""
        self.add(np.zeros((_REACH, self._waiting.shape[1]), np.float32))
        if self._rest.size:
            self._peaks.append(self._rest.max(keepdims=True))
        self._rest = np.zeros(0, np.float32)

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
    """Highest absolute point from each sample up to the next, for all but the first and last _REACH samples. Pieces
    that hold nothing above `known` may be given as 0."""
    samples = joined.shape[0] - 2 * _REACH
    highest = np.zeros(samples, np.float32)
    for channel in joined.T:
        if not channel.any():
            continue
        around = sliding_window_view(channel, 2 * _REACH + 1)
        for first in range(0, samples, _PIECE):
            piece = slice(first, first + _PIECE)
            if known and float(np.abs(channel[first : first + _PIECE + 2 * _REACH]).max()) * _MOST < known:
                continue
            fine = _WEIGHTS @ np.ascontiguousarray(around[piece]).T
            np.abs(fine, out=fine)
            np.maximum(highest[piece], fine.max(axis=0), out=highest[piece])
    return highest


def decibels(peak: float) -> float | None:
    """A peak in dB of full scale; None for silence."""
    return 20.0 * float(np.log10(peak)) if peak > 0 else None
