"""Water that reflects: every pixel looks up what stands above the horizon, bent by moving waves.

The waves are a few sines whose phases are fixed pictures, so one matrix product a frame gives the
bend at every pixel: sin(p + wt) = sin p cos wt + cos p sin wt.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from art import Canvas, Field, smooth_noise
from scipy import ndimage

MARGIN = 90  # mirror pixels round the reflected picture, so that no bend leaves it


@dataclass(frozen=True, slots=True)
class Wave:
    """towards: crests per e-fold of distance; across: per unit of x over distance; weight: share of the bend."""

    towards: float
    across: float
    wander: float
    hertz: float
    weight: float


WAVES = (
    Wave(5.5, 0.7, 0.55, 0.31, 0.55),
    Wave(11.0, -1.9, 0.70, 0.47, 0.60),
    Wave(17.0, 3.1, 0.80, 0.62, 0.50),
    Wave(27.0, -5.3, 0.95, 0.83, 0.42),
    Wave(41.0, 8.9, 1.10, 1.07, 0.34),
)


class Water:
    """The lower part of the picture, from `horizon` (rows of this picture) down.

    The mirror has half the picture's resolution: reflections are soft, and it costs a quarter.
    """

    def __init__(self, width: int, height: int, horizon: int, seed: int) -> None:
        self.width, self.rows, self.horizon = width, height - horizon, horizon
        scale = height / 1080
        rng = np.random.default_rng(seed)
        depth = ((np.arange(self.rows, dtype=np.float32) + 0.5) / scale)[:, None]
        x = ((np.arange(width, dtype=np.float32) + 0.5) / scale - 960)[None, :]
        fold = np.log(depth + 14)
        spread = x / (depth + 60)
        noise = smooth_noise(512, 512, 20, 20, rng)
        place = np.stack(np.broadcast_arrays(fold * 110 % 512, (spread * 60) % 512))
        bend = 5 + 0.15 * depth  # scene pixels of reflection moved by a full slope
        basis: list[Field] = []
        self._hertz: list[float] = []
        for number, wave in enumerate(WAVES):
            wander = ndimage.map_coordinates(np.roll(noise, 97 * number, (0, 1)), place, order=1, mode="grid-wrap")
            phase = 2 * np.pi * (wave.towards * fold + wave.across * spread + wave.wander * wander)
            crest = (depth + 14) / wave.towards * scale  # pixels between crests; too fine ones would sparkle
            size = wave.weight * bend * np.clip((crest - 1.5) / 3, 0, 1) * scale / 2
            basis += [(size * np.sin(phase)).astype(np.float32), (size * np.cos(phase)).astype(np.float32)]
            self._hertz.append(wave.hertz)
        flat_row = np.arange(self.rows, dtype=np.float32)[:, None] / 2 + MARGIN
        flat_column = np.arange(width, dtype=np.float32)[None, :] / 2 + MARGIN
        basis += [np.broadcast_to(part, (self.rows, width)) for part in (flat_row, flat_column)]
        self._basis = np.stack([part.ravel() for part in basis]).astype(np.float32)
        self.mirror_shape = (self.rows // 2 + 2 * MARGIN, width // 2 + 2 * MARGIN)
        self.shine = (0.50 + 0.42 * np.exp(-depth / 120)).astype(np.float32)
        self.bent = np.zeros((2, self.rows, width), np.float32)

    def move(self, second: float) -> None:
        """Set the waves for a moment; `bent` then holds the mirror row and column of every pixel."""
        weights = np.zeros((2, self._basis.shape[0]), np.float32)
        for number, hertz in enumerate(self._hertz):
            angle = 2 * np.pi * hertz * second
            sideways = 0.45 * (-1) ** number
            for part, value in ((0, np.cos(angle)), (1, np.sin(angle))):
                weights[0, 2 * number + part] = value
                weights[1, 2 * number + part] = sideways * value
        weights[0, -2] = weights[1, -1] = 1
        np.matmul(weights, self._basis, out=self.bent.reshape(2, -1))

    def paint(self, canvas: Canvas, mirror: Canvas, body: tuple[float, float, float]) -> None:
        """Fill the water from the mirror (all three planes of `mirror_shape`, row 0 of it MARGIN
        rows under the horizon); `body` is the water's own y, u, v."""
        index = self.bent[0].astype(np.intp)
        index *= self.mirror_shape[1]
        index += self.bent[1].astype(np.intp)
        place = canvas.y[self.horizon :]
        np.take(mirror.y.ravel(), index, out=place, mode="clip")
        place *= self.shine
        place += body[0] * (1 - self.shine)
        np.minimum(place, 226, out=place)
        half = np.ascontiguousarray(index[::2, ::2])
        shine = self.shine[::2]
        for target, source, own in ((canvas.u, mirror.u, body[1]), (canvas.v, mirror.v, body[2])):
            part = target[self.horizon // 2 :]
            np.take(source.ravel(), half, out=part, mode="clip")
            part *= shine
            part += own * (1 - shine)
