"""The K filter over a stream of blocks: what a listener's head and ear do to a sound, after ITU-R BS.1770-5.

A recursive filter's next output depends on its last, which plain array arithmetic cannot follow. Here the sound is
taken a millisecond at a time: within one, the outputs are a matrix times the inputs; from one to the next only the
filter's four inner values are handed on, and those of all milliseconds follow from each other by doubling. It does
what scipy.signal.sosfilt does, without the time that loading scipy.signal takes, longer than most mixes do.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# ITU-R BS.1770-5, annex 1, tables 1 and 2, for 48 kHz: the head's shelf, then the low cut. Each b0 b1 b2, a1 a2.
_STAGES = (
    (1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585),
    (1.0, -2.0, 1.0, -1.99004745483398, 0.99007225036621),
)
_RUN = 48  # samples
_AT_ONCE = 400  # runs to a matrix product: small enough that the matrix library keeps to one thread
_FORGOTTEN = 1e-18


def _step(states: Floats, sample: float) -> float:
    """One sample through both stages; `states` (4,) moves on."""
    for stage, (b0, b1, b2, a1, a2) in enumerate(_STAGES):
        out = b0 * sample + states[2 * stage]
        states[2 * stage] = b1 * sample - a1 * out + states[2 * stage + 1]
        states[2 * stage + 1] = b2 * sample - a2 * out
        sample = out
    return sample


def _matrices() -> tuple[Floats, Floats, Floats, Floats]:
    """For a run: outputs from inputs (_RUN, _RUN) and from the states before it (_RUN, 4); the states after each of
    its samples from those before it (_RUN + 1, 4, 4), and after it from inputs (4, _RUN)."""
    outputs, from_states = np.zeros((_RUN, _RUN)), np.zeros((_RUN, 4))
    moved, from_inputs = np.zeros((_RUN + 1, 4, 4)), np.zeros((4, _RUN))
    for number in range(4):
        states = np.zeros(4)
        states[number] = 1.0
        moved[0, :, number] = states
        for at in range(_RUN):
            from_states[at, number] = _step(states, 0.0)
            moved[at + 1, :, number] = states
    states = np.zeros(4)
    pulse = np.zeros(_RUN)
    for at in range(_RUN):
        pulse[at] = _step(states, 1.0 if at == 0 else 0.0)
        from_inputs[:, _RUN - 1 - at] = states
    for at in range(_RUN):
        outputs[at:, at] = pulse[: _RUN - at]
    return outputs, from_states, moved, from_inputs


_OUTPUTS, _FROM_STATES, _MOVED, _FROM_INPUTS = _matrices()


def _leaps() -> tuple[Floats, ...]:
    """What 1, 2, 4, … runs of silence make of the states, until nothing is left of them."""
    leaps = [_MOVED[_RUN]]
    while np.abs(leaps[-1]).max() > _FORGOTTEN:
        leaps.append(leaps[-1] @ leaps[-1])
    return tuple(np.ascontiguousarray(leap.T) for leap in leaps)


# Runs lie in rows, as they do in memory, so that nothing need be turned round: hence all is transposed.
_LEAPS = _leaps()
_ROW_OUTPUTS, _ROW_FROM_STATES, _ROW_FROM_INPUTS = (
    np.ascontiguousarray(matrix.T) for matrix in (_OUTPUTS, _FROM_STATES, _FROM_INPUTS)
)


class KWeighting:
    """The K filter over a stream of blocks, its state kept from one to the next."""

    def __init__(self, channels: int) -> None:
        self._states = np.zeros((channels, 4))

    def weigh(self, block: npt.NDArray[np.floating]) -> Floats:
        """(samples, channels) in, the same weighted out."""
        if not block.any() and np.abs(self._states).max() < 1e-12:
            return np.zeros(block.shape)
        samples, channels = block.shape
        sides = np.ascontiguousarray(block.T, np.float64)
        weighted = np.empty((channels, samples))
        whole = samples // _RUN * _RUN
        step = max(1, _AT_ONCE // channels) * _RUN
        for first in range(0, whole, step):
            part = slice(first, min(first + step, whole))
            weighted[:, part] = self._runs(sides[:, part])
        if rest := samples - whole:
            last = sides[:, whole:]
            weighted[:, whole:] = last @ _OUTPUTS[:rest, :rest].T + self._states @ _FROM_STATES[:rest].T
            self._states = self._states @ _MOVED[rest].T + last @ _FROM_INPUTS[:, _RUN - rest :].T
        return weighted.T

    def _runs(self, sides: Floats) -> Floats:
        """(channels, samples), whole runs, in; the same weighted out."""
        channels, samples = sides.shape
        runs = samples // _RUN
        inputs = sides.reshape(channels * runs, _RUN)
        after = (inputs @ _ROW_FROM_INPUTS).reshape(channels, runs, 4)
        after[:, 0] += self._states @ _LEAPS[0]
        for power, leap in enumerate(_LEAPS):
            if (reach := 1 << power) >= runs:
                break
            earlier = np.ascontiguousarray(after[:, :-reach]).reshape(-1, 4)
            after[:, reach:] += (earlier @ leap).reshape(channels, runs - reach, 4)
        before = np.concatenate((self._states[:, None], after[:, :-1]), axis=1).reshape(-1, 4)
        self._states = after[:, -1].copy()
        outputs = inputs @ _ROW_OUTPUTS
        outputs += before @ _ROW_FROM_STATES
        return outputs.reshape(channels, samples)
