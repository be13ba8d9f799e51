"""What the harbour sounds like: water all the time, a bell buoy and a horn at times of the scene."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from recipe import EVENTS, RATE, Take
from scipy import signal

SAMPLE_RATE = 48_000
Sound = npt.NDArray[np.float32]

# Birch's speaker path: a little lower in pitch, and duller.
PITCH = {"ash": 1.0, "birch": 0.97}
DULL_HZ = {"ash": 9000.0, "birch": 4200.0}


def _bell(pitch: float) -> Sound:
    t = np.arange(int(2.6 * SAMPLE_RATE)) / SAMPLE_RATE
    parts = ((1.0, 1.0, 1.5), (2.0, 0.5, 2.4), (2.41, 0.42, 3.4), (3.9, 0.22, 6.0))
    tone = sum(size * np.sin(2 * np.pi * 620 * pitch * ratio * t) * np.exp(-decay * t) for ratio, size, decay in parts)
    return (0.16 * np.minimum(1, t / 0.002) * tone).astype(np.float32)


def _horn(pitch: float) -> Sound:
    t = np.arange(int(1.9 * SAMPLE_RATE)) / SAMPLE_RATE
    shape = np.minimum(1, t / 0.03) * np.clip((1.9 - t) / 0.5, 0, 1)
    tone = sum(np.sin(2 * np.pi * 138 * pitch * n * t + 0.3 * n) / n**1.3 for n in range(1, 8))
    fifth = sum(np.sin(2 * np.pi * 207 * pitch * n * t) / n**1.4 for n in range(1, 6))
    return (0.11 * shape * (tone + 0.6 * fifth)).astype(np.float32)


def _water(samples: int, seed: int) -> Sound:
    """Lapping: noise through a band, its strength slowly rising and falling."""
    noise = np.random.default_rng(seed).standard_normal(samples + SAMPLE_RATE)
    band = signal.sosfilt(signal.butter(2, (220, 1500), "band", fs=SAMPLE_RATE, output="sos"), noise)[SAMPLE_RATE:]
    t = np.arange(samples) / SAMPLE_RATE
    laps = 0.5 + 0.3 * np.sin(2 * np.pi * 0.43 * t + seed) + 0.2 * np.sin(2 * np.pi * 1.07 * t + 2 * seed)
    return (0.035 * laps**1.5 * band).astype(np.float32)


def make_sound(take: Take) -> Sound:
    """(samples, 2) at 48 kHz, as long as the capture's pictures."""
    samples = take.frames * SAMPLE_RATE // RATE
    name = take.machine.name
    # The same water on both machines: it belongs to the scene, so the noise starts at a scene time.
    late = (take.first + RATE) * SAMPLE_RATE // RATE
    sides = [_water(samples + late, seed)[late:] for seed in (3, 4)]
    for event in EVENTS[take.scene]:
        tone = (_bell if event.name == "bell" else _horn)(PITCH[name])
        start = round((event.scene_s - take.first / RATE) * SAMPLE_RATE)
        cut, end = max(0, -start), min(samples, start + len(tone))
        for side, share in zip(sides, (1.0, 0.7) if event.name == "bell" else (0.8, 1.0), strict=True):
            if end > max(0, start):
                side[max(0, start) : end] += share * tone[cut : cut + end - max(0, start)]
    dull = signal.butter(1, DULL_HZ[name], "low", fs=SAMPLE_RATE, output="sos")
    return np.stack([signal.sosfilt(dull, side) for side in sides], axis=1).astype(np.float32)
