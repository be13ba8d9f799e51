"""The invented programme: a harbour at dusk and at night, as any machine could draw it.

`Scene(kind, lines).draw(frame)` gives the picture of one sixtieth of a second at a native height;
the same frame at another height is the same moment.
"""

from __future__ import annotations

import math

import boats
import numpy as np
import skyline
from art import Canvas, Field, Layer, Sprite, blurred, colour, fineness, halved, luma_chroma, smooth_noise
from moods import MOODS
from scipy import ndimage
from water import MARGIN, Water

RATE = 60
HORIZON = skyline.HORIZON
EARLIEST, LATEST = -40, 900  # scene frames that can be drawn
SHORE_STEP, NEAR_STEP, CLOUD_STEP = 0.5, 2.0, 0.25  # scene pixels the camera passes each frame
SAIL = (520.0, 0.75, 806.0)  # x at frame 0, pixels a frame, water line
FERRY = (1990.0, -1.5, 612.0)
BEAM_TURN_S = 9


def _planes(rgb: Field) -> tuple[Field, Field, Field]:
    """Opaque R'G'B' (rows, columns, 3) as y, u, v."""
    y, u, v = luma_chroma(rgb, np.ones(rgb.shape[:2], np.float32))
    return y.astype(np.float32), halved(u), halved(v)


def _ink(rgb: tuple[float, float, float]) -> tuple[float, float, float]:
    y, u, v = luma_chroma(np.array([[rgb]], np.float32), np.ones((1, 1), np.float32))
    return float(y[0, 0]), float(u[0, 0]), float(v[0, 0])


class Scene:
    """Everything that can be made once, made once; `draw` only moves it.

    `width` is 16:9 of the lines, or a little more where that is not a whole even number.
    """

    def __init__(self, kind: str, lines: int) -> None:
        self.mood = MOODS[kind]
        self.lines, self.width, self.scale = lines, -(-lines * 8 // 9) * 2, lines / 1080
        self._canvas = Canvas.empty(self.width, lines)
        self._make_sky()
        fine = fineness(lines)
        self._shore = Sprite(skyline.draw(self.mood, fine), lines)
        self._sail, self._ferry, self._festoon, self._rail = (
            Sprite(soft, lines, sharp)
            for soft, sharp in (
                made(self.mood, fine) for made in (boats.sailing_boat, boats.ferry, boats.festoon, boats.railing)
            )
        )
        self._mast = Sprite(boats.mast(self.mood, fine), lines)
        self._soft_boats = {s: blurred(s.at(0, 0), 3 * self.scale) for s in (self._sail, self._ferry)}
        self._water = Water(self.width, lines, round(HORIZON * self.scale), seed=5)
        self._make_mirror()
        self._body = _ink(self.mood.body)
        # Ordered by a fixed noise: gradients keep finer steps than a code, and nothing moves that should not.
        rng = np.random.default_rng(2)
        self._dither = rng.random((lines, self.width), np.float32)
        self._dither_half = rng.random((lines // 2, self.width // 2), np.float32) + 128

    def _make_sky(self) -> None:
        mood, scale = self.mood, self.scale
        rows = round(HORIZON * scale)
        y = ((np.arange(rows) + 0.5) / scale)[:, None]
        x = ((np.arange(self.width) + 0.5) / scale)[None, :]
        up = y / HORIZON
        stops = [share for share, _ in mood.sky]
        rgb = np.stack(
            [np.interp(up, stops, [ink[i] for _, ink in mood.sky]) * np.ones_like(x) for i in range(3)], axis=2
        )
        away = ((x - mood.light_x) / 620) ** 2 + ((y - HORIZON + mood.light_up) / 250) ** 2
        rgb += (mood.glow_strength * np.exp(-away))[..., None] * (np.array(mood.glow) - rgb)
        if mood.stars:
            self._add_night_sky(rgb, x, y)
        self._sky = _planes(rgb.astype(np.float32))

        # Clouds: long and thin towards the horizon, as a flat layer looks from below.
        extra = math.ceil((LATEST - EARLIEST + 8) * CLOUD_STEP * scale) + 4
        noise = smooth_noise(512, 2048, 34, 90, np.random.default_rng(11))
        wide = ((np.arange(self.width + extra)[None, :] + 0.5) / scale) * 0.72
        tall = 150 * np.log(1 + (HORIZON - y) / 46)
        field = ndimage.map_coordinates(
            noise, np.stack(np.broadcast_arrays(tall % 512, wide % 2048)), order=1, mode="grid-wrap"
        )
        below = ndimage.map_coordinates(
            noise, np.stack(np.broadcast_arrays((tall - 16) % 512, wide % 2048)), order=1, mode="grid-wrap"
        )
        thin = np.clip((HORIZON - y) / 90, 0, 1) * np.clip(1.15 - 0.6 * (1 - up), 0, 1)
        density = np.clip((field - 0.75 + mood.cloud_cover * 2) * 0.55, 0, 1)
        density = density * density * (3 - 2 * density)
        self._cloud = (0.72 * density * thin).astype(np.float32)
        edge = np.clip((field - below) * 1.6, 0, 1) * density * thin
        self._cloud_light = (0.9 * edge * (1 - 0.72 * density * thin)).astype(np.float32)
        warm = np.exp(-(((x - mood.light_x) / 900) ** 2) - ((HORIZON - y) / 420) ** 2)[..., None]
        shade = np.array(mood.cloud) * (0.75 + 0.35 * warm) * np.ones((*away.shape, 1))
        lit = np.array(mood.cloud_high) + (np.array(mood.cloud_lit) - np.array(mood.cloud_high)) * warm
        self._cloud_shift = tuple(a - b for a, b in zip(_planes(shade.astype(np.float32)), self._sky, strict=True))
        self._cloud_lit = tuple(a - b for a, b in zip(_planes(lit.astype(np.float32)), self._sky, strict=True))

    def _add_night_sky(self, rgb: np.ndarray, x: np.ndarray, y: np.ndarray) -> None:
        """Stars and the moon, drawn into the sky."""
        mood, rng = self.mood, np.random.default_rng(8)
        for _ in range(mood.stars):
            sx, sy, size = rng.uniform(0, 1920), 470 * rng.random() ** 1.3, 0.25 + 0.75 * rng.random() ** 5
            tint = np.array(colour("#fff1dd")) if rng.random() < 0.3 else np.array(colour("#dfe8ff"))
            reach = 5
            column, row = int(sx * self.scale), int(sy * self.scale)
            part = np.s_[max(0, row - reach) : row + reach, max(0, column - reach) : column + reach]
            away = (x[:, part[1]] - sx) ** 2 + (y[part[0]] - sy) ** 2
            rgb[part] += (size * 0.8 * (1 - sy / 560) * np.exp(-away / (0.7 + 0.9 * size)))[..., None] * tint
        away = np.hypot(x - mood.light_x, y - (HORIZON - mood.light_up))
        disc = np.clip((34 - away) * self.scale + 0.5, 0, 1)[..., None]
        seas = ndimage.zoom(smooth_noise(64, 64, 9, 9, rng), 1, order=1)
        spots = np.interp(seas[(y[:, 0] % 64).astype(int)][:, (x[0] % 64).astype(int)], [-1.5, 1.5], [0.86, 1.0])
        rgb += disc * (np.array(colour("#f2f0e2")) * spots[..., None] - rgb)
        rgb += (0.30 * np.exp(-np.maximum(away - 34, 0) / 46))[..., None] * np.array(colour("#8ea4d8")) * (1 - disc)

    def _make_mirror(self) -> None:
        """What the water sees: the sky once, and the shore's own reflection as wide as its pan."""
        sky = Canvas.empty(self.width, round(HORIZON * self.scale))
        self._paint_sky(sky, 0)
        rows, columns = self._water.mirror_shape

        def turned(plane: Field, blur: tuple[float, float]) -> Field:
            soft = ndimage.gaussian_filter(plane[::-1], blur, mode="nearest")
            return np.pad(soft, ((MARGIN, max(0, rows - MARGIN - soft.shape[0])), (MARGIN, MARGIN)), mode="edge")[:rows]

        half = (sky.y[0::2, 0::2] + sky.y[1::2, 0::2] + sky.y[0::2, 1::2] + sky.y[1::2, 1::2]) / 4
        planes = [turned(plane, (7 * self.scale, 9 * self.scale)) for plane in (half, sky.u, sky.v)]
        y = np.abs((np.arange(rows) - MARGIN) * 2 / self.scale)[:, None]
        x = ((np.arange(columns) - MARGIN) * 2 / self.scale)[None, :]
        mood = self.mood
        wide, tall = mood.path_size
        path = mood.path * np.exp(-(((x - mood.light_x) / wide) ** 2) - (np.abs(y - mood.light_up) / tall) ** 1.4)
        _, u, v = _ink(mood.path_ink)
        share = np.clip(path / 130, 0, 1) * 0.9
        self._path = tuple(p.astype(np.float32)[MARGIN:] for p in (path, 1 - share, share * u, share * v))
        self._sky_mirror = Canvas(*(np.ascontiguousarray(plane, np.float32) for plane in planes))
        self._mirror = Canvas(*(plane.copy() for plane in (planes[0], planes[1], planes[2])))

        shore = self._shore.at(0, 0)
        fine, light = shore.y, np.maximum(shore.y - (16 + 75) * shore.alpha, 0)
        both = [fine[0::2, 0::2], fine[1::2, 0::2], fine[0::2, 1::2], fine[1::2, 1::2]]
        glint = [light[0::2, 0::2], light[1::2, 0::2], light[0::2, 1::2], light[1::2, 1::2]]
        blur = (2.6 * self.scale, 1.4 * self.scale)
        wide_blur = (9 * self.scale, 1.6 * self.scale)

        def under(plane: Field, spread: tuple[float, float]) -> Field:
            return ndimage.gaussian_filter(plane[::-1], spread, mode="constant").astype(np.float32)

        self._shore_mirror = Layer(
            under(sum(both) / 4, blur) + 2.6 * under(sum(glint) / 4, wide_blur),  # type: ignore[arg-type]
            under(shore.half_alpha, blur),
            1.5 * under(shore.u, wide_blur),
            1.5 * under(shore.v, wide_blur),
            under(shore.half_alpha, blur),
        )

    def _paint_sky(self, canvas: Canvas, frame: int) -> None:
        drift = (frame - EARLIEST) * CLOUD_STEP * self.scale
        whole, part = int(drift), drift - int(drift)
        shades = []
        for strip in (self._cloud, self._cloud_light):
            near = strip[:, whole : whole + self.width]
            shades.append(near * (1 - part) + strip[:, whole + 1 : whole + 1 + self.width] * part)
        rows = self._sky[0].shape[0]
        for number, target in enumerate((canvas.y, canvas.u, canvas.v)):
            by = 1 if number == 0 else 2
            place = target[: rows // by]
            np.multiply(self._cloud_shift[number], shades[0][::by, ::by], out=place)
            place += self._sky[number]
            place += self._cloud_lit[number] * shades[1][::by, ::by]

    def _paint_beam(self, canvas: Canvas, frame: int) -> tuple[float, float]:
        """The turning light, smooth and slow; returns the lamp's place on the screen."""
        lamp_x, lamp_y = skyline.LANTERN[0] - SHORE_STEP * frame, skyline.LANTERN[1]
        angle = 2 * math.pi * frame / (RATE * BEAM_TURN_S) + 0.6
        top, bottom = round((lamp_y - 150) * self.scale) // 2 * 2, round((lamp_y + 150) * self.scale) // 2 * 2
        x = (np.arange(self.width, dtype=np.float32) + 0.5) / self.scale - lamp_x
        y = ((np.arange(top, bottom, dtype=np.float32) + 0.5) / self.scale - lamp_y)[:, None]
        facing = math.cos(angle)
        reach = 620 * abs(facing) + 40
        along = np.where(np.sign(x) == np.sign(facing), np.abs(x), -np.abs(x) * 12) if facing else x * 0 - 999
        light = np.exp(np.where(along > 0, -along / reach, np.maximum(along, -900) / 30)) * min(1.0, abs(facing) * 2.5)
        light *= np.clip(1 - along / 1500, 0, 1) ** 2
        width = 5 + 0.062 * np.abs(x)
        beam = self.mood.beam * light * np.exp(-((y / width) ** 2)) * (1 + 0.8 * np.exp(-np.abs(x) / 120))
        towards = max(0.0, math.sin(angle)) ** 3  # as it turns to us the lamp swells, over more than a second
        beam += self.mood.beam * (0.9 + 1.1 * towards) * np.exp(-np.hypot(x, y) / (16 + 16 * towards))
        canvas.y[top:bottom] += beam
        _, u, v = _ink(colour("#ffe2a8"))
        soft = beam[::2, ::2] / 150
        canvas.u[top // 2 : bottom // 2] += soft * u
        canvas.v[top // 2 : bottom // 2] += soft * v
        return lamp_x, towards

    def _paint_mirror(self, frame: int, lamp_x: float, towards: float) -> None:
        """Lay the shore, where the pan has brought it, and the lamp on the sky's reflection."""
        for target, source in zip(
            (self._mirror.y, self._mirror.u, self._mirror.v),
            (self._sky_mirror.y, self._sky_mirror.u, self._sky_mirror.v),
            strict=True,
        ):
            np.copyto(target, source)
        x = MARGIN + round((skyline.LEFT - SHORE_STEP * frame) * self.scale / 2)
        shore, mirror = self._shore_mirror, self._mirror
        left, right = max(0, -x), min(shore.y.shape[1], mirror.y.shape[1] - x)
        rows = shore.y.shape[0]
        for target, source in ((mirror.y, shore.y), (mirror.u, shore.u), (mirror.v, shore.v)):
            place = target[MARGIN : MARGIN + rows, x + left : x + right]
            place *= 1 - shore.alpha[:, left:right]
            place += source[:, left:right]
        # The light's path lies over the shore's reflection: low light comes between the houses too.
        light, left_of, u, v = self._path
        mirror.y[MARGIN:] += light
        for target, share in ((mirror.u, u), (mirror.v, v)):
            target[MARGIN:] *= left_of
            target[MARGIN:] += share
        column = MARGIN + round(lamp_x * self.scale / 2)
        row = MARGIN + round((HORIZON - skyline.LANTERN[1]) * self.scale / 2)
        high, wide = round(40 * self.scale), round(12 * self.scale)
        part = mirror.y[row - high : row + high, max(0, column - wide) : max(0, column + wide)]
        away_y = np.linspace(-2.2, 2.2, part.shape[0])[:, None] ** 2
        away_x = (np.arange(part.shape[1]) + max(0, column - wide) - column)[None, :] / max(1.0, 4 * self.scale)
        part += (24 + 70 * towards) * np.exp(-away_y - away_x**2)
        for target in (mirror.y, mirror.u, mirror.v):
            # Waves that tip the other way look below the horizon line: fold the first rows over.
            target[:MARGIN] = target[2 * MARGIN - 1 : MARGIN - 1 : -1]

    def _reflect(
        self, canvas: Canvas, sprite: Sprite, x: float, water_line: float, floats: int, strength: float
    ) -> None:
        """Lay a boat upside down on the water, bent by the waves under it."""
        layer = self._soft_boats[sprite]
        height, width = layer.y.shape
        left = round(x * self.scale) // 2 * 2
        top = round((water_line - 3) * self.scale) // 2 * 2
        rows = min(round(floats * self.scale), canvas.y.shape[0] - top) // 2 * 2
        start, end = max(0, left), min(self.width, left + width) // 2 * 2
        if end <= start:
            return
        under = self._water.bent[:, top - self._water.horizon :][:, :rows, start:end]
        row = np.arange(rows, dtype=np.float32)[:, None]
        column = np.arange(start, end, dtype=np.float32)[None, :]
        flat_row = (row + (top - self._water.horizon)) / 2 + MARGIN
        down = 2.0 * (under[0] - flat_row)
        side = 2.2 * (under[1] - column / 2 - MARGIN)
        grow = np.minimum(1.0, 0.25 + row / (60 * self.scale))  # close to the hull the picture is still whole
        source_row = floats * self.scale - np.abs(row + down * grow)
        source_column = column - left + side * grow
        np.clip(source_row, 0, height - 1, out=source_row)
        np.clip(source_column, 0, width - 1, out=source_column)
        index = source_row.astype(np.intp) * width + source_column.astype(np.intp)
        half_row, half_column = (part[::2, ::2] / 2 for part in (source_row, source_column))
        half_index = half_row.astype(np.intp) * (width // 2) + half_column.astype(np.intp)
        fade = strength * (1 - 0.6 * row / max(1, rows))
        for target, source, alpha, where, by in (
            (canvas.y, layer.y, layer.alpha, index, 1),
            (canvas.u, layer.u, layer.half_alpha, half_index, 2),
            (canvas.v, layer.v, layer.half_alpha, half_index, 2),
        ):
            place = target[top // by : (top + rows) // by, start // by : end // by]
            weight = fade[::by]
            place *= 1 - weight * alpha.ravel()[where]
            place += weight * source.ravel()[where] * 0.9

    def _paint_front(self, canvas: Canvas, frame: int) -> None:
        """The near quay: it passes faster than the far shore."""
        start = -(NEAR_STEP * frame) % boats.PERIOD - boats.PERIOD
        while start < 1920:
            self._mast.lay_on(canvas, start + boats.PERIOD / 2 - 6, boats.WIRES_END)
            self._festoon.lay_on(canvas, start, 0)
            self._rail.lay_on(canvas, start, boats.RAIL_TOP)
            start += boats.PERIOD

    def draw(self, frame: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Y, U, V of one scene frame, uint8, BT.709 limited, 4:2:0. Frame may be a little negative."""
        if not EARLIEST <= frame <= LATEST:
            raise ValueError(f"scene frame {frame} is outside {EARLIEST} to {LATEST}")
        canvas, second = self._canvas, frame / RATE
        self._paint_sky(canvas, frame)
        lamp_x, towards = self._paint_beam(canvas, frame)
        self._shore.lay_on(canvas, skyline.LEFT - SHORE_STEP * frame, skyline.TOP)
        self._paint_mirror(frame, lamp_x, towards)
        self._water.move(second)
        self._water.paint(canvas, self._mirror, self._body)

        ferry_x = FERRY[0] + FERRY[1] * frame
        self._reflect(canvas, self._ferry, ferry_x, FERRY[2], boats.FERRY_FLOAT, 0.75)
        self._ferry.lay_on(canvas, ferry_x, FERRY[2] - boats.FERRY_FLOAT)
        sail_x, bob = SAIL[0] + SAIL[1] * frame, round(4 * math.sin(2 * math.pi * second / 3.7)) / 2
        self._reflect(canvas, self._sail, sail_x, SAIL[2] + bob, boats.SAIL_FLOAT, 0.7)
        self._sail.lay_on(canvas, sail_x, SAIL[2] + bob - boats.SAIL_FLOAT)
        self._paint_front(canvas, frame)

        y = canvas.y + self._dither
        np.clip(y, 16, 235, out=y)
        return (
            y.astype(np.uint8),
            np.clip(canvas.u + self._dither_half, 20, 236).astype(np.uint8),
            np.clip(canvas.v + self._dither_half, 20, 236).astype(np.uint8),
        )
