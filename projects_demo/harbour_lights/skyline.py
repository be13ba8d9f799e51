"""The far shore: hills, two rows of buildings, cranes, the lighthouse on its mole, the quay lamps."""

from __future__ import annotations

import numpy as np
from art import Raster, Rgb, colour, mix
from moods import Mood

TOP, LEFT, WIDTH = 216, -90, 2540  # where the raster lies in scene pixels at scene frame 0
HORIZON = 558
LANTERN = (472.0, 347.0)  # the lighthouse's lamp
LAMPS = tuple(range(700, 2450, 83))  # quay lamps


def _hills(raster: Raster, mood: Mood) -> None:
    for lift, height, ink in ((0.0, 96, mood.hill), (1.7, 62, mix(mood.hill, mood.shore, 0.45))):
        xs = np.arange(LEFT, LEFT + WIDTH + 12, 6)
        shape = 0.5 + 0.3 * np.sin(xs / 310 + lift) + 0.14 * np.sin(xs / 127 + 2 * lift) + 0.05 * np.sin(xs / 41)
        raster.below(xs, HORIZON - height * shape, ink)


def _windows(
    raster: Raster, box: tuple[float, float, float, float], step: tuple[int, int], mood: Mood
) -> None:
    x0, y0, x1, y1 = box
    wide, high = step[0] - 4, step[1] - 5
    across = int((x1 - x0 - 4) // step[0])
    # Its own numbers, always as many: the same windows stand in every mood, and only more of them are lit.
    own = np.random.default_rng(round(x0 * 8))
    start = x0 + (x1 - x0 - across * step[0] + 4) / 2
    for row in range(int((y1 - y0 - 6) // step[1])):
        floor_lit = own.random() < 0.10  # an office floor left on
        for column in range(across):
            x, y = start + column * step[0], y0 + 6 + row * step[1]
            order, warmth, cool, strength = (float(value) for value in own.random(4))
            if order < (0.8 if floor_lit else mood.lit):
                warm = mix(colour("#ffd28a"), colour("#ffb45e"), warmth)
                ink = colour("#d5e6ff") if cool < 0.10 else warm
                raster.rect(x, y, x + wide, y + high, ink, 0.55 + 0.45 * strength)
                raster.glow(x + wide / 2, y + high / 2, 5, ink, mood.window_glow)
            else:
                raster.rect(x, y, x + wide, y + high, mood.glass, 0.5)


def _row(raster: Raster, mood: Mood, rng: np.random.Generator, ink: Rgb, tall: tuple[int, int], near: bool) -> None:
    x = 600.0 if near else 640.0
    while x < LEFT + WIDTH - 40:
        middle = np.exp(-(((x - 1330) / 420) ** 2))  # towers gather in the middle
        wide = float(rng.integers(44, 118))
        high = float(rng.integers(*tall)) * (0.55 + 0.85 * middle)
        y = HORIZON - 10 - high
        shade = mix(ink, mood.hill, float(rng.uniform(0, 0.22)))
        raster.rect(x, y, x + wide, HORIZON, shade)
        raster.rect(x, y, x + 3, HORIZON, mix(shade, mood.rim, 0.55))  # the side the light comes from
        roof = rng.integers(0, 6)
        if roof == 0:
            raster.polygon([(x, y), (x + wide / 2, y - wide * 0.34), (x + wide, y)], shade)
        elif roof == 1:
            raster.rect(x + wide * 0.22, y - 14, x + wide * 0.62, y, shade)
        elif roof == 2:
            raster.rect(x + wide / 2 - 1, y - 46, x + wide / 2 + 1, y, shade)
            raster.glow(x + wide / 2, y - 46, 4, colour("#ff5a46"), 0.8)
        elif roof == 3:
            raster.polygon([(x, y), (x, y - 22), (x + wide, y)], shade)
        step = (9, 12) if near else (8, 10)
        _windows(raster, (x, y, x + wide, HORIZON - 22), step, mood)
        x += wide + (float(rng.integers(0, 14)) if rng.random() < 0.8 else float(rng.integers(26, 70)))


def _spire(raster: Raster, x: float, mood: Mood) -> None:
    ink = mix(mood.shore, mood.hill, 0.12)
    raster.rect(x - 15, 424, x + 15, HORIZON, ink)
    raster.polygon([(x - 18, 424), (x, 318), (x + 18, 424)], ink)
    raster.line((x, 318), (x, 300), 2, ink)
    raster.line((x - 5, 306), (x + 5, 306), 2, ink)
    raster.disc(x, 440, 7, colour("#ffe2a6"))
    raster.glow(x, 440, 12, colour("#ffcf80"), 0.5)


def _crane(raster: Raster, x: float, reach: float, mood: Mood) -> None:
    ink = mix(mood.shore, colour("#000000"), 0.2)
    for leg in (-26, 26):
        raster.line((x + leg, HORIZON), (x + leg * 0.55, 430), 4, ink)
    raster.line((x - 20, 492), (x + 20, 492), 3, ink)
    raster.rect(x - 17, 412, x + 19, 434, ink)
    raster.rect(x - 4, 350, x + 2, 412, ink)
    tip = (x + reach, 392.0)
    raster.line((x - 70, 404), (x + reach, 404), 2.5, ink)
    raster.line((x - 70, 396), tip, 2, ink)
    for share in np.linspace(0, 1, 19):
        at = x - 70 + share * (reach + 70)
        raster.line((at, 404), (at + (reach + 70) / 38, 395), 1.2, ink)
    raster.line((x - 1, 350), tip, 1.3, ink)
    raster.line((x - 1, 350), (x - 68, 398), 1.3, ink)
    raster.line((x + reach * 0.7, 404), (x + reach * 0.7, 474), 1.0, ink)
    raster.glow(x + reach, 392, 4, colour("#ff6a4a"), 0.9)


def _lighthouse(raster: Raster, mood: Mood) -> None:
    x, lamp = LANTERN
    rock = mix(mood.shore, colour("#000000"), 0.25)
    raster.polygon(
        [(LEFT, HORIZON), (LEFT, 540), (120, 528), (250, 531), (360, 516), (430, 506), (530, 507), (585, 524),
         (640, 545), (690, HORIZON)],
        rock,
    )
    white, shade = mood.tower, mix(mood.tower, mood.shore, 0.55)
    foot, head = 510, lamp + 14
    raster.polygon([(x - 20, foot), (x - 12, head), (x + 12, head), (x + 20, foot)], white, mix(white, shade, 0.5))
    raster.polygon([(x + 4, foot), (x + 2, head), (x + 12, head), (x + 20, foot)], shade)
    for top in (386, 446):
        raster.polygon([(x - 15.5, top), (x + 15.5, top), (x + 17.5, top + 27), (x - 17.5, top + 27)], mood.band)
    raster.rect(x - 17, lamp + 9, x + 17, lamp + 14, rock)
    raster.rect(x - 10, lamp - 10, x + 10, lamp + 9, mix(colour("#ffe9b0"), mood.shore, 0.25))
    for bar in (-10, -4, 3, 9):
        raster.rect(x + bar, lamp - 10, x + bar + 1.5, lamp + 9, rock)
    raster.polygon([(x - 13, lamp - 10), (x, lamp - 26), (x + 13, lamp - 10)], rock)
    for rail in (lamp - 1, lamp + 4):
        raster.line((x - 17, rail), (x + 17, rail), 1, rock)
    for house, wide, high in ((300.0, 52, 30), (352.0, 34, 22), (206.0, 44, 24)):
        raster.rect(house, 524 - high, house + wide, 533, rock)
        raster.polygon([(house - 4, 524 - high), (house + wide / 2, 506 - high), (house + wide + 4, 524 - high)], rock)
        for window in np.arange(house + 7, house + wide - 9, 14):
            raster.rect(window, 531 - high, window + 6, 539 - high, colour("#ffcf86"), 0.95)
            raster.glow(window + 3, 535 - high, 8, colour("#ffb760"), 0.4)


def _quay(raster: Raster, mood: Mood) -> None:
    wall = mix(mood.shore, colour("#000000"), 0.4)
    raster.rect(640, HORIZON - 12, LEFT + WIDTH, HORIZON, wall)
    for x in LAMPS:
        raster.rect(x - 0.75, HORIZON - 42, x + 0.75, HORIZON - 12, wall)
        raster.disc(x, HORIZON - 43, 3, colour("#fff0c8"))
        raster.glow(x, HORIZON - 43, 9, colour("#ffc878"), 0.75)
        raster.glow(x, HORIZON - 36, 24, colour("#ff9c4a"), 0.20)


def draw(mood: Mood, fine: int) -> Raster:
    """The whole shore, for one mood, with `fine` samples a scene pixel."""
    rng = np.random.default_rng(20)
    raster = Raster(LEFT, TOP, WIDTH, HORIZON - TOP, fine, fine_y=2)
    _hills(raster, mood)
    _row(raster, mood, rng, mix(mood.shore, mood.hill, 0.5), (110, 205), near=False)
    _row(raster, mood, rng, mood.shore, (42, 130), near=True)
    _spire(raster, 858, mood)
    for x, reach in ((1830, 150), (2010, 168), (2300, 150)):
        _crane(raster, x, reach, mood)
    _lighthouse(raster, mood)
    _quay(raster, mood)
    return raster
