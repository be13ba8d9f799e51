"""Drawing for the demo's scenery: shapes on a fine raster, shrunk to the pixels of one machine.

Everything is measured in scene pixels: 1920 x 1080 whatever the size rendered. A raster holds 4
samples a scene pixel each way (2 for small pictures), so that 1080, 720, 360 and 240 lines all take
a whole number of samples a pixel, at any quarter-pixel position.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

Field = npt.NDArray[np.float32]
Rgb = tuple[float, float, float]


def fineness(lines: int) -> int:
    """Samples a scene pixel that suit a picture of so many lines."""
    return 4 if lines > 400 else 2


def colour(code: str) -> Rgb:
    """`"#ff8800"` as three shares of one, still gamma-coded."""
    return int(code[1:3], 16) / 255, int(code[3:5], 16) / 255, int(code[5:7], 16) / 255


def mix(a: Rgb, b: Rgb, share: float) -> Rgb:
    """`share` of the way from a to b."""
    return tuple(x + (y - x) * share for x, y in zip(a, b, strict=True))  # type: ignore[return-value]


def smooth_noise(rows: int, columns: int, grain_rows: float, grain_columns: float, rng: np.random.Generator) -> Field:
    """Tileable noise of mean 0 and spread 1; features grow with the two grains (samples).

    Made in the frequency domain (amplitude falling with frequency), so its edges join.
    """
    fy = np.fft.fftfreq(rows)[:, None] * grain_rows
    fx = np.fft.rfftfreq(columns)[None, :] * grain_columns
    amplitude = (0.06 + fy**2 + fx**2) ** -1.15
    amplitude[0, 0] = 0
    phases = np.exp(2j * np.pi * rng.random(amplitude.shape))
    noise = np.fft.irfft2(amplitude * phases, s=(rows, columns))
    return ((noise - noise.mean()) / noise.std()).astype(np.float32)


def luma_chroma(rgb: Field, alpha: Field) -> tuple[Field, Field, Field]:
    """Premultiplied R'G'B' to premultiplied Y (from 16) and U, V (around 0), BT.709 limited range."""
    r, g, b = rgb[..., 0], rgb[..., 1], rgb[..., 2]
    y = 0.2126 * r + 0.7152 * g + 0.0722 * b
    u = 224 * (b - y) / 1.8556
    v = 224 * (r - y) / 1.5748
    return 219 * y + 16 * alpha, u, v


def halved(plane: Field) -> Field:
    """Half size each way for chroma, sited left: 1-2-1 across the even columns, pairs of rows."""
    rows = (plane[0::2] + plane[1::2]) * 0.5
    padded = np.pad(rows, ((0, 0), (1, 1)), mode="edge")
    return (0.25 * padded[:, 0:-2:2] + 0.5 * padded[:, 1:-1:2] + 0.25 * padded[:, 2::2]).astype(np.float32)


@dataclass(frozen=True, slots=True)
class Layer:
    """A premultiplied picture: y and its alpha; u, v and theirs at half size. Sizes are even."""

    y: Field
    alpha: Field
    u: Field
    v: Field
    half_alpha: Field

    def lay_on(self, canvas: Canvas, x: int, y: int, opacity: float = 1.0) -> None:
        """Blend onto the canvas with the top left corner at even (x, y); what sticks out is cut."""
        height, width = self.y.shape
        left, top = max(0, -x), max(0, -y)
        right, bottom = min(width, canvas.y.shape[1] - x), min(height, canvas.y.shape[0] - y)
        if right <= left or bottom <= top:
            return
        for target, source, alpha, by in (
            (canvas.y, self.y, self.alpha, 1),
            (canvas.u, self.u, self.half_alpha, 2),
            (canvas.v, self.v, self.half_alpha, 2),
        ):
            part = np.s_[top // by : bottom // by, left // by : right // by]
            place = target[(y + top) // by : (y + bottom) // by, (x + left) // by : (x + right) // by]
            if opacity == 1.0:
                place *= 1 - alpha[part]
                place += source[part]
            else:
                place *= 1 - opacity * alpha[part]
                place += opacity * source[part]


@dataclass(frozen=True, slots=True)
class Canvas:
    """The picture being made, as floats: y in codes (16 to 235), u and v around 0 at half size."""

    y: Field
    u: Field
    v: Field

    @staticmethod
    def empty(width: int, height: int) -> Canvas:
        half = (height // 2, width // 2)
        return Canvas(np.zeros((height, width), np.float32), np.zeros(half, np.float32), np.zeros(half, np.float32))


def layer(rgba: Field) -> Layer:
    """A layer from premultiplied R'G'B'A (rows, columns, 4)."""
    y, u, v = luma_chroma(np.minimum(rgba[..., :3], 1), rgba[..., 3])  # glows add up; none is whiter than white
    alpha = np.ascontiguousarray(rgba[..., 3])
    return Layer(y.astype(np.float32), alpha, halved(u), halved(v), halved(alpha))


class Raster:
    """A premultiplied picture of the scene rectangle from (x, y), `width` by `height` scene pixels,
    with `fine` samples a scene pixel across and `fine_y` down."""

    def __init__(self, x: float, y: float, width: int, height: int, fine: int, fine_y: int | None = None) -> None:
        self.x, self.y, self.width, self.height = x, y, width, height
        self.fine, self.fine_y = fine, fine_y or fine
        self.rgba = np.zeros((height * self.fine_y, width * fine, 4), np.float32)

    def _cut(self, x0: float, y0: float, x1: float, y1: float) -> tuple[Field, Field, Field]:
        """The samples in a rectangle, with the scene x of its columns and y of its rows."""
        left, right = (round((value - self.x) * self.fine) for value in (x0, x1))
        top, bottom = (round((value - self.y) * self.fine_y) for value in (y0, y1))
        left, top = max(0, left), max(0, top)
        part = self.rgba[top : max(top, bottom), left : max(left, right)]
        xs = (np.arange(part.shape[1], dtype=np.float32) + left + 0.5) / self.fine + self.x
        ys = (np.arange(part.shape[0], dtype=np.float32) + top + 0.5) / self.fine_y + self.y
        return part, xs[None, :], ys[:, None]

    def rect(self, x0: float, y0: float, x1: float, y1: float, ink: Rgb, alpha: float = 1.0) -> None:
        part, _, _ = self._cut(x0, y0, x1, y1)
        part *= 1 - alpha
        part += np.array([*ink, 1.0], np.float32) * alpha

    def cover(self, mask: npt.NDArray[np.bool_], part: Field, top: Rgb, bottom: Rgb | None = None) -> None:
        """Ink the masked samples; two inks shade from the top of the part to its bottom."""
        share = np.linspace(0, 1, part.shape[0], dtype=np.float32)[:, None, None]
        first, last = (np.array([*ink, 1], np.float32) for ink in (top, bottom or top))
        np.copyto(part, first + (last - first) * share, where=mask[..., None])

    def polygon(self, points: Sequence[tuple[float, float]], top: Rgb, bottom: Rgb | None = None) -> None:
        """Fill by the even-odd rule."""
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        part, x, y = self._cut(min(xs), min(ys), max(xs), max(ys))
        inside = np.zeros(part.shape[:2], bool)
        for (xa, ya), (xb, yb) in zip(points, [*points[1:], points[0]], strict=True):
            if ya != yb:
                inside ^= ((ya > y) != (yb > y)) & (x < (xb - xa) * (y - ya) / (yb - ya) + xa)
        self.cover(inside, part, top, bottom)

    def line(self, a: tuple[float, float], b: tuple[float, float], width: float, ink: Rgb, sag: float = 0) -> None:
        """A straight line, or one that hangs `sag` lower in its middle."""
        pad = width + abs(sag)
        part, x, y = self._cut(
            min(a[0], b[0]) - width, min(a[1], b[1]) - pad, max(a[0], b[0]) + width, max(a[1], b[1]) + pad
        )
        dx, dy = b[0] - a[0], b[1] - a[1]
        length = float(np.hypot(dx, dy))
        along = ((x - a[0]) * dx + (y - a[1]) * dy) / length**2
        away = ((x - a[0]) * dy - (y - a[1]) * dx) / length + 4 * sag * along * (1 - along) * dx / length
        self.cover((np.abs(away) < width / 2) & (along >= 0) & (along <= 1), part, ink)

    def disc(self, x0: float, y0: float, radius: float, ink: Rgb) -> None:
        part, x, y = self._cut(x0 - radius, y0 - radius, x0 + radius, y0 + radius)
        self.cover((x - x0) ** 2 + (y - y0) ** 2 < radius**2, part, ink)

    def glow(self, x0: float, y0: float, radius: float, ink: Rgb, strength: float) -> None:
        """Light added without covering anything."""
        part, x, y = self._cut(x0 - 3 * radius, y0 - 3 * radius, x0 + 3 * radius, y0 + 3 * radius)
        light = np.exp(-((y - y0) ** 2) / radius**2) * (strength * np.exp(-((x - x0) ** 2) / radius**2))
        part[..., :3] += light[..., None] * np.array(ink, np.float32)

    def below(self, xs: npt.NDArray[np.float64], tops: npt.NDArray[np.float64], ink: Rgb) -> None:
        """Fill all that lies under a curve of (xs, tops)."""
        part, x, y = self._cut(self.x, float(tops.min()), self.x + self.width, self.y + self.height)
        self.cover(y >= np.interp(x, xs, tops), part, ink)

    def shrunk(self, lines: int, shift_x: int = 0, shift_y: int = 0, *, sharp: bool = False) -> Field:
        """The raster in pixels of a picture `lines` high, moved right and down by whole samples.

        sharp: one sample a pixel, as a renderer without smoothing draws it, so that its edges keep
        the stair-steps of the native grid; else the mean of all samples.
        """
        box_x, box_y = 1080 * self.fine // lines, 1080 * self.fine_y // lines
        rows, columns = self.rgba.shape[:2]
        out_rows, out_columns = (-(-(rows + shift_y) // box_y), -(-(columns + shift_x) // box_x))
        out_rows, out_columns = out_rows + out_rows % 2, out_columns + out_columns % 2
        padded = np.zeros((out_rows * box_y, out_columns * box_x, 4), np.float32)
        padded[shift_y : shift_y + rows, shift_x : shift_x + columns] = self.rgba
        if sharp:
            return np.ascontiguousarray(padded[box_y // 2 :: box_y, box_x // 2 :: box_x])
        down = sum(padded[i::box_y] for i in range(box_y))
        return np.asarray(sum(down[:, i::box_x] for i in range(box_x)) / (box_x * box_y), np.float32)


def over(top: Field, bottom: Field) -> Field:
    """One premultiplied picture on another of the same size."""
    return np.asarray(top + bottom * (1 - top[..., 3:]), np.float32)


def blurred(source: Layer, spread: float) -> Layer:
    """The layer, softened by a Gaussian of `spread` pixels."""
    planes = (source.y, source.alpha, source.u, source.v, source.half_alpha)
    spreads = (spread, spread, spread / 2, spread / 2, spread / 2)
    return Layer(*(ndimage.gaussian_filter(p, s, mode="constant") for p, s in zip(planes, spreads, strict=True)))


class Sprite:
    """Something small that moves: shrunk for each quarter-pixel position when first wanted there."""

    def __init__(self, soft: Raster, lines: int, sharp: Raster | None = None) -> None:
        self._soft, self._sharp, self._lines = soft, sharp, lines
        self._made: dict[tuple[int, int], Layer] = {}

    def lay_on(self, canvas: Canvas, x: float, y: float, opacity: float = 1.0) -> None:
        """Blend with the raster's own corner at scene position (x, y)."""
        fine = self._soft.fine
        pair_x = pair_y = 2 * 1080 * fine // self._lines  # chroma needs even places
        fine_x, fine_y = round(x * fine), round(y * fine)
        made = self.at(fine_x % pair_x, fine_y % pair_y)
        made.lay_on(canvas, fine_x // pair_x * 2, fine_y // pair_y * 2, opacity)

    def at(self, shift_x: int, shift_y: int) -> Layer:
        """The layer, moved by less than two pixels' samples."""
        key = (shift_x, shift_y)
        if key not in self._made:
            rgba = self._soft.shrunk(self._lines, shift_x, shift_y)
            if self._sharp is not None:
                rgba = over(self._sharp.shrunk(self._lines, shift_x, shift_y, sharp=True), rgba)
            self._made[key] = layer(rgba)
        return self._made[key]
