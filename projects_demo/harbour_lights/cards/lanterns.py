"""The closing card: paper lanterns drift up over still water. A moviepy clip made with numpy alone."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from moviepy import VideoClip

GROUND = np.array([16, 19, 22], np.float32)
WARM = np.array([255, 176, 92], np.float32)
PALE = np.array([255, 226, 176], np.float32)


def _lantern(size: float) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """A lantern about `size` pixels wide, centred: with the alpha of its paper; and its light on the water."""
    reach = int(3.2 * size) + 1
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(np.float32) / size
    wide = 0.50 - 0.10 * np.clip(y / 0.62, -1, 1)  # narrower towards the flame below
    soft = size * 0.8
    inside = np.clip((wide - np.abs(x)) * soft + 0.5, 0, 1) * np.clip((0.62 - np.abs(y)) * soft + 0.5, 0, 1)
    flame = 0.42 + 0.58 * np.exp(-(x**2) / 0.12 - (y - 0.45) ** 2 / 0.30)
    glow = 0.26 * np.exp(-(x**2 + (y - 0.1) ** 2) / 1.4)
    picture = (inside * flame)[..., None] * (WARM + (PALE - WARM) * (flame**3)[..., None])
    light = (glow * (1 - inside))[..., None] * WARM
    # On the water it is upside down, smeared by ripples, and adds light without covering anything.
    smear = max(1, round(size * 0.12))
    mirror = sum(np.roll(picture[::-1], shift, 0) for shift in range(-2 * smear, 2 * smear + 1, smear)) / 5
    lantern = np.concatenate([picture + light, inside[..., None]], axis=2)
    return lantern.astype(np.float32), (0.55 * mirror + 0.8 * light).astype(np.float32)


def clip(width: int, height: int, rate: float, seconds: float, lanterns: int = 26, seed: int = 4) -> VideoClip:
    """A moviepy clip of `seconds`: `lanterns` of them, the far ones small, slow and dim."""
    rng = np.random.default_rng(seed)
    water = round(height * 0.80)
    rise = np.linspace(0, 1, water, dtype=np.float32)[:, None, None]
    sky = GROUND + rise**2.2 * np.array([20, 22, 44], np.float32)
    deep = np.linspace(1, 0, height - water, dtype=np.float32)[:, None, None]
    ground = np.concatenate([sky, GROUND * 0.8 + deep**1.6 * np.array([14, 17, 36], np.float32)])
    # A fixed fine grain, weaker than one code, keeps the gradient from showing steps.
    page = np.broadcast_to(ground, (height, width, 3)) + rng.random((height, width, 1), np.float32)

    nearness = np.sort(rng.random(lanterns)) ** 1.6
    sizes = height * (0.012 + 0.040 * nearness)
    made = [_lantern(float(size)) for size in sizes]
    start_x, sway = rng.random(lanterns), rng.random(lanterns) * 6.3
    start_y = 0.15 + 0.95 * rng.random(lanterns)

    def lay(canvas: npt.NDArray[np.float32], sprite: npt.NDArray[np.float32], x: float, y: float, share: float) -> None:
        rows, columns = sprite.shape[:2]
        # Between whole pixels, so that a slow lantern glides and does not step.
        whole_x, whole_y = int(np.floor(x)), int(np.floor(y))
        part_x, part_y = x - whole_x, y - whole_y
        moved = sprite[:-1, :-1] * ((1 - part_x) * (1 - part_y)) + sprite[:-1, 1:] * (part_x * (1 - part_y))
        moved = moved + sprite[1:, :-1] * ((1 - part_x) * part_y) + sprite[1:, 1:] * (part_x * part_y)
        left, top = whole_x - columns // 2, whole_y - rows // 2
        a, b = max(0, -left), max(0, -top)
        c, d = min(columns - 1, width - left), min(rows - 1, canvas.shape[0] - top)
        if c <= a or d <= b:
            return
        cut, place = moved[b:d, a:c], canvas[top + b : top + d, left + a : left + c]
        if cut.shape[2] == 4:
            place *= 1 - cut[..., 3:] * share
        place += cut[..., :3] * share

    def picture(t: float) -> npt.NDArray[np.uint8]:
        canvas = page.copy()
        sky_part, water_part = canvas[:water], canvas[water:]
        for number, (paper, mirror) in enumerate(made):
            near = float(nearness[number])
            up = (0.012 + 0.030 * near) * t
            x = width * (float(start_x[number]) * 1.1 - 0.05 + 0.010 * t * (0.4 + near))
            x += height * 0.006 * np.sin(0.9 * t + float(sway[number]))
            y = water * (float(start_y[number]) - up)
            dim = 0.55 + 0.45 * near
            lay(sky_part, paper, x, y, dim)
            mirrored = (water - y) * 0.30  # the water is seen at a low angle, so reflections stand short
            ripple = height * 0.003 * np.sin(2.1 * t + 3 * float(sway[number]))
            lay(water_part, mirror, x + ripple, mirrored, 0.8 * dim)
        opening = min(1.0, t / 0.8)
        eased = opening * opening * (3 - 2 * opening)
        return np.clip(GROUND + (canvas - GROUND) * eased, 0, 255).astype(np.uint8)

    return VideoClip(picture, duration=seconds).with_fps(rate)
