"""Small drawings kept as premultiplied planes, and their blending onto a canvas of planes.

    out = (canvas * (full - alpha) + colour * alpha + half) / full

in whole numbers on the sprite's rectangle only: exact where alpha is nothing or full, within one
code elsewhere. `full` is a power of two, so that the division is a shift; for 8 bits every step
fits 16-bit numbers, which is what makes it quick.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from assembler.media.planes import Plane, Planes

KR, KB = 0.2126, 0.0722  # Rec. ITU-R BT.709
KG = 1.0 - KR - KB
Numbers = npt.NDArray[Any]  # uint16 for 8 bits, uint32 for 10
Floats = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Sprite:
    """A drawing of even size.

    y: (height, width) colour * alpha + half; u, v: the same at half size. keep_y, keep_c: full -
    alpha at each size. left, top: how far ink reaches left of and above the point where the sprite
    is placed (even; 0 for nearly all). box_width, box_height: the room it takes in a layout (even).
    """

    y: Numbers
    u: Numbers
    v: Numbers
    keep_y: Numbers
    keep_c: Numbers
    bits: int
    left: int
    top: int
    box_width: int
    box_height: int

    @property
    def width(self) -> int:
        return int(self.y.shape[1])

    @property
    def height(self) -> int:
        return int(self.y.shape[0])

    @classmethod
    def from_rgba(cls, rgba: npt.NDArray[np.uint8], bits: int = 8) -> Sprite:
        """From (height, width, 4) uint8, straight alpha, sRGB-coded. Sizes are made even with
        transparent pixels at the right and bottom."""
        share = rgba.astype(np.float32) * np.float32(1 / 255)
        alpha: Floats = share[..., 3]
        colour: Floats = share[..., :3] * alpha[..., None]
        return cls.from_premultiplied(colour, alpha, bits)

    @classmethod
    def from_premultiplied(
        cls,
        rgb: Floats,
        alpha: Floats,
        bits: int = 8,
        *,
        left: int = 0,
        top: int = 0,
        box: tuple[int, int] | None = None,
    ) -> Sprite:
        """From (height, width, 3) R'G'B' already multiplied by alpha (height, width), all 0 to 1.

        box: width and height in a layout; the whole sprite if None.
        """
        if bits not in (8, 10) or left % 2 or top % 2:
            raise ValueError("a sprite has 8 or 10 bits and even offsets")
        rows, columns = alpha.shape[0] % 2, alpha.shape[1] % 2
        if rows or columns:
            rgb = np.pad(rgb, ((0, rows), (0, columns), (0, 0)))
            alpha = np.pad(alpha, ((0, rows), (0, columns)))
        full, kind, step = _scale(bits)
        red, green, blue = rgb[..., 0], rgb[..., 1], rgb[..., 2]
        luma = KR * red + KG * green + KB * blue
        alpha_half = _halved(alpha)
        cb = _halved((blue - luma) / (2 * (1 - KB))) * 224
        cr = _halved((red - luma) / (2 * (1 - KR))) * 224
        half = full // 2

        def numbers(values: Floats, scale: int) -> Numbers:
            return np.asarray(np.rint(values * np.float32(scale)), kind)

        width, height = (alpha.shape[1], alpha.shape[0]) if box is None else box
        return cls(
            y=numbers(luma * 219 + 16 * alpha, full * step) + kind(half),
            u=numbers(cb + 128 * alpha_half, full * step) + kind(half),
            v=numbers(cr + 128 * alpha_half, full * step) + kind(half),
            keep_y=kind(full) - numbers(alpha, full),
            keep_c=kind(full) - numbers(alpha_half, full),
            bits=bits,
            left=left,
            top=top,
            box_width=width,
            box_height=height,
        )


def _scale(bits: int) -> tuple[int, Any, int]:
    """The number that means full alpha, the type to count in, and codes per 8-bit code."""
    return (256, np.uint16, 1) if bits == 8 else (4096, np.uint32, 4)


def _halved(values: Floats) -> Floats:
    """Mean of each 2 by 2 pixels: premultiplied, so that clear pixels lend no colour to the edge."""
    rows = values[0::2] + values[1::2]
    return np.asarray((rows[:, 0::2] + rows[:, 1::2]) * np.float32(0.25), np.float32)


def blend(canvas: Planes, sprite: Sprite, x: int, y: int, opacity: float = 1.0) -> None:
    """Lay a sprite over the canvas, in place, with its point at column x and row y (both even).

    What lies beyond the canvas is cut. opacity: 0 to 1, for fades.
    """
    if x % 2 or y % 2:
        raise ValueError(f"a sprite lies at even places, not {x}, {y}")
    if canvas.bits != sprite.bits:
        raise ValueError(f"a {sprite.bits}-bit sprite on a {canvas.bits}-bit canvas")
    part = round(min(max(opacity, 0.0), 1.0) * 256)
    if part == 0:
        return
    x, y = x - sprite.left, y - sprite.top
    x0, y0 = max(x, 0), max(y, 0)
    x1, y1 = min(x + sprite.width, canvas.width), min(y + sprite.height, canvas.height)
    if x0 >= x1 or y0 >= y1:
        return
    whole = (slice(y0, y1), slice(x0, x1))
    whole_from = (slice(y0 - y, y1 - y), slice(x0 - x, x1 - x))
    half = (slice(y0 // 2, y1 // 2), slice(x0 // 2, x1 // 2))
    half_from = (slice((y0 - y) // 2, (y1 - y) // 2), slice((x0 - x) // 2, (x1 - x) // 2))
    blend_plane(canvas.y[whole], sprite.y[whole_from], sprite.keep_y[whole_from], sprite.bits, part)
    blend_plane(canvas.u[half], sprite.u[half_from], sprite.keep_c[half_from], sprite.bits, part)
    blend_plane(canvas.v[half], sprite.v[half_from], sprite.keep_c[half_from], sprite.bits, part)


def blend_plane(under: Plane, colour: Numbers, keep: Numbers, bits: int, part: int = 256) -> None:
    """Lay one plane's colour * alpha + half over another of its shape, in place. part: of 256, for fades."""
    full, kind, _ = _scale(bits)
    shift = full.bit_length() - 1
    if part == 256:
        # Steps that change no type on the way: they need no buffers, which small pieces spend half their time on.
        mixed = under.astype(kind)
        mixed *= keep
    else:
        # A fade multiplies alpha once more by part / 256; 32-bit numbers hold it at either depth.
        shift += 8
        keep = keep.astype(np.uint32)
        keep *= np.uint32(part)
        keep += np.uint32(full * (256 - part))
        colour = colour.astype(np.uint32)
        colour *= np.uint32(part)
        colour += np.uint32((256 - part) * (full // 2))  # `colour` carries the half only `part` times
        mixed = np.multiply(under, keep, dtype=np.uint32)
    mixed += colour
    mixed >>= shift
    under[...] = mixed
