"""Sound as a second witness to how two captures line up.

Generalised cross-correlation with phase transform (Knapp and Carter, 1976), near to where the pictures say. It
speaks only where one place stands out clearly, several times over; else it says nothing.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from assembler.measure.lineup_drift import Line
from assembler.timing.rates import SAMPLE_RATE

Samples = npt.NDArray[np.float32]
Sound = tuple[Samples, float, Samples, float]
"""a's samples, (n,) or (n, channels) at 48 kHz, where they start on a's clock in seconds, and the same of b."""

LEAST_RATIO = 2.5
"""How many times the next peak the highest must be."""
_PIECE_S, _LEAST_PIECE_S = 8.0, 2.0
_MOST_PIECES = 8
_REACH_S = 1.25
_LOW_HZ, _HIGH_HZ = 80.0, 8000.0
_APART_S = 0.003
"""Peaks nearer than this are one: echoes of the room and ringing of the coder."""
_ALIKE_S = 0.005
"""Pieces that speak must say the same within this."""
_QUIET = 1e-4


def heard_offset(sound: Sound, line: Line) -> float | None:
    """How much later than `line` (where b stands at a's 0, and how much faster its clock runs) the sounds lie.

    Seconds; None where nothing stands out.
    """
    samples_a, start_a, samples_b, start_b = sound
    end_a = start_a + len(samples_a) / SAMPLE_RATE
    end_b = start_b + len(samples_b) / SAMPLE_RATE
    rate = 1 + line[1]
    low, high = max(start_a, (start_b - line[0]) / rate), min(end_a, (end_b - line[0]) / rate)
    if high - low < _LEAST_PIECE_S:
        return None
    length = min(_PIECE_S, high - low)
    count = int(np.clip((high - low) / length, 1, _MOST_PIECES))
    starts = np.linspace(low, high - length, count)
    said: list[float] = []
    for start in starts:
        ours = _piece(samples_a, start - start_a, length)
        theirs = _piece(samples_b, line[0] + rate * (start - _REACH_S) - start_b, rate * (length + 2 * _REACH_S))
        if line[1]:
            # As fast as ours, or the peak would be smeared over the piece.
            wanted = np.arange(int(theirs.size / rate)) * rate
            theirs = np.interp(wanted, np.arange(theirs.size), theirs).astype(np.float32)
        lag = _lag(ours, theirs)
        if lag is not None:
            said.append(lag - _REACH_S)
    if not said:
        return None
    middle = float(np.median(said))
    alike = sum(abs(lag - middle) <= _ALIKE_S for lag in said)
    # One piece of many that speaks, or pieces that contradict each other, are no witness.
    return middle if alike >= max(1, count / 3) and alike > 2 * (len(said) - alike) else None


def _piece(samples: Samples, from_s: float, length_s: float) -> Samples:
    """(k,) of one channel, silence where there is none."""
    first, count = round(from_s * SAMPLE_RATE), round(length_s * SAMPLE_RATE)
    out = np.zeros(count, np.float32)
    low, high = max(0, first), min(len(samples), first + count)
    if low < high:
        part = samples[low:high]
        out[low - first : high - first] = part if part.ndim == 1 else part.mean(axis=1)
    return out


def _lag(ours: Samples, theirs: Samples) -> float | None:
    """Seconds into `theirs` at which `ours` begins; None where no place stands out."""
    from scipy.fft import irfft, next_fast_len, rfft  # here, not above: it takes long to load, and few commands need it

    if min(float(np.sqrt(np.square(s).mean())) for s in (ours, theirs)) < _QUIET:
        return None
    size = next_fast_len(ours.size + theirs.size, real=True)
    crossed = rfft(theirs, size) * rfft(ours, size).conj()
    hertz = np.arange(crossed.size) * SAMPLE_RATE / size
    strength = np.abs(crossed)
    # Where one is silent the phase is chance; a floor keeps it from counting as much as sound.
    floor = 1e-3 * float(np.median(strength[(hertz > _LOW_HZ) & (hertz < _HIGH_HZ)]))
    crossed *= ((hertz > _LOW_HZ) & (hertz < _HIGH_HZ)) / (strength + floor + 1e-20)
    places = np.abs(irfft(crossed, size)[: theirs.size - ours.size + 1])
    peak = int(np.argmax(places))
    apart = round(_APART_S * SAMPLE_RATE)
    rest = np.concatenate([places[: max(0, peak - apart)], places[peak + apart :]])
    if rest.size == 0 or places[peak] < LEAST_RATIO * float(rest.max()):
        return None
    return peak / SAMPLE_RATE
