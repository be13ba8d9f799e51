"""How loud a programme is to a listener: gating and loudness after ITU-R BS.1770-5, of K-weighted sound.

Works on a stream: sound goes in by blocks of any length, power comes out by the millisecond or more coarsely, and
every loudness is taken from that. Its windows lie on tenths of a second, so for the loudness of a whole it is enough to
know the power of each tenth: 36,000 numbers an hour, not 173 million samples.
"""

from __future__ import annotations

from math import gcd

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from assembler.timing.rates import SAMPLE_RATE

Sound = npt.NDArray[np.float32]  # (samples,) or (samples, channels) at 48 kHz
Power = npt.NDArray[np.float32]  # mean square, summed over channels; by the millisecond unless said otherwise

CHUNK = SAMPLE_RATE // 1000
"""Samples in the millisecond that power, peaks and gains are counted in."""
TENTH_MS = 100
"""The longest grain that every window of the whole's loudness and range consists of."""

_OFFSET_DB = -0.691
_ABSOLUTE_GATE_LUFS = -70.0
_RELATIVE_GATE_LU = -10.0
_RANGE_GATE_LU = -20.0
_BLOCK_MS, _STEP_MS = 400, 100
_MOMENTARY_MS, _SHORT_TERM_MS = 400, 3000


class PowerMeter:
    """Power of every whole grain of a stream of weighted blocks. grain_ms: its length in milliseconds."""

    def __init__(self, grain_ms: int = 1) -> None:
        self._grain = grain_ms * CHUNK
        self._rest = np.zeros(0)
        self._power: list[Power] = []

    def add(self, weighted: npt.NDArray[np.float64]) -> None:
        """Take the next (samples, channels)."""
        self.add_squares(np.einsum("ij,ij->i", weighted, weighted))

    def add_squares(self, squares: npt.NDArray[np.float64]) -> None:
        """The same, (samples,) already squared and summed over channels."""
        squares = np.concatenate((self._rest, squares)) if self._rest.size else squares
        whole = squares.size // self._grain * self._grain
        self._power.append(squares[:whole].reshape(-1, self._grain).mean(axis=1).astype(np.float32))
        self._rest = squares[whole:].copy()

    def power(self) -> Power:
        """(grains,) so far; a last part of a grain is left out, as the standard asks for no padding."""
        self._power = [np.concatenate(self._power)] if self._power else [np.zeros(0, np.float32)]
        return self._power[0]

    def take(self) -> Power:
        """The same, of what came since this was last asked for: what is taken is not kept."""
        taken = self.power()
        self._power = []
        return taken


def integrated_lufs(power: npt.NDArray[np.floating], grain_ms: int = 1) -> float | None:
    """Loudness of the whole, gated. None when it is silent or shorter than 0.4 s: there is no value then."""
    blocks = _windows(power, _BLOCK_MS, _STEP_MS, grain_ms)
    audible = blocks[_lufs(blocks) > _ABSOLUTE_GATE_LUFS]
    if not audible.size:
        return None
    gate = float(_lufs(audible.mean())) + _RELATIVE_GATE_LU
    loud = audible[_lufs(audible) > gate]
    return float(_lufs(loud.mean())) if loud.size else None


def lufs_of(power: float) -> float | None:
    """Loudness of a mean power, ungated. None at or below the absolute gate."""
    value = float(_lufs(power))
    return value if value > _ABSOLUTE_GATE_LUFS else None


def momentary_lufs(power: npt.NDArray[np.floating], step_ms: int = 100) -> npt.NDArray[np.float64]:
    """Loudness of each 0.4 s, one value every step."""
    return _lufs(_windows(power, _MOMENTARY_MS, step_ms))


def short_term_lufs(power: npt.NDArray[np.floating], step_ms: int = 100) -> npt.NDArray[np.float64]:
    """Loudness of each 3 s, one value every step."""
    return _lufs(_windows(power, _SHORT_TERM_MS, step_ms))


def loudness_range_lu(power: npt.NDArray[np.floating], grain_ms: int = 1) -> float | None:
    """How far the loud and the soft lie apart, after EBU Tech 3342: from the 10th to the 95th percentile of loudness
    over 3 s, gated at -70 LUFS and 20 LU under the mean. None when there is nothing that long. Under a minute it
    depends much on chance."""
    windows = _windows(power, _SHORT_TERM_MS, _STEP_MS, grain_ms)
    audible = windows[_lufs(windows) > _ABSOLUTE_GATE_LUFS]
    if not audible.size:
        return None
    loud = audible[_lufs(audible) > float(_lufs(audible.mean())) + _RANGE_GATE_LU]
    low, high = np.percentile(_lufs(loud), (10.0, 95.0))
    return float(high - low)


def amplitude(decibels: float) -> float:
    """What a gain in decibels multiplies samples by."""
    return float(10.0 ** (decibels / 20.0))


def _windows(
    power: npt.NDArray[np.floating], length_ms: int, step_ms: int, grain_ms: int = 1
) -> npt.NDArray[np.float64]:
    """Mean power of each whole window."""
    coarse_ms = gcd(length_ms, step_ms)
    grains = tenths(power, coarse_ms // grain_ms)
    length, step = length_ms // coarse_ms, step_ms // coarse_ms
    if grains.size < length:
        return np.zeros(0)
    return np.asarray(sliding_window_view(grains, length)[::step].mean(axis=1))


def tenths(power: npt.NDArray[np.floating], each: int = TENTH_MS) -> npt.NDArray[np.float64]:
    """Mean of every `each` numbers; what is left over at the end is left out."""
    return np.asarray(power[: power.size // each * each].reshape(-1, each).mean(axis=1, dtype=np.float64))


def _lufs(power: npt.NDArray[np.floating] | np.floating | float) -> npt.NDArray[np.float64]:
    with np.errstate(divide="ignore"):
        return np.asarray(_OFFSET_DB + 10.0 * np.log10(power), dtype=np.float64)
