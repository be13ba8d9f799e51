"""Plain plane work: colours as codes, filled rectangles, copied rectangles, and what is left uncovered."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from assembler.media.planes import Planes, blank
from assembler.picture.geometry import Rect

RGB = tuple[int, int, int]


def codes(colour: RGB, bits: int = 8) -> tuple[int, int, int]:
    """Y', Cb, Cr of a colour, limited range. Source: Rec. ITU-R BT.709, items 3.2 to 3.4."""
    red, green, blue = (value / 255 for value in colour)
    luma = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    up = 1 if bits == 8 else 4
    return (
        round((16 + 219 * luma) * up),
        round((128 + 224 * (blue - luma) / 1.8556) * up),
        round((128 + 224 * (red - luma) / 1.5748) * up),
    )


def filled(width: int, height: int, colour: RGB, *, bits: int) -> Planes:
    """New planes of one colour."""
    planes = blank(width, height, bits=bits)
    fill(planes, Rect(0, 0, width, height), colour)
    return planes


def fill(canvas: Planes, rect: Rect, colour: RGB) -> None:
    """Paint a rectangle (even, inside the canvas) in one colour."""
    luma, blue, red = codes(colour, canvas.bits)
    x, y, right, bottom = rect.x // 2, rect.y // 2, rect.right // 2, rect.bottom // 2
    canvas.y[rect.y : rect.bottom, rect.x : rect.right] = luma
    canvas.u[y:bottom, x:right] = blue
    canvas.v[y:bottom, x:right] = red


def put(canvas: Planes, picture: Planes, x: int, y: int, part: Rect | None = None) -> None:
    """Copy a picture onto the canvas with its corner at (x, y); `part`: only what lies in this
    rectangle of the canvas. Everything even and inside the canvas."""
    to = Rect(x, y, picture.width, picture.height)
    if part is not None:
        to = overlap(to, part)
    if to.width <= 0 or to.height <= 0:
        return
    left, top = to.x - x, to.y - y
    canvas.y[to.y : to.bottom, to.x : to.right] = picture.y[top : top + to.height, left : left + to.width]
    rows, columns = slice(to.y // 2, to.bottom // 2), slice(to.x // 2, to.right // 2)
    from_rows = slice(top // 2, (top + to.height) // 2)
    from_columns = slice(left // 2, (left + to.width) // 2)
    canvas.u[rows, columns] = picture.u[from_rows, from_columns]
    canvas.v[rows, columns] = picture.v[from_rows, from_columns]


def overlap(one: Rect, other: Rect) -> Rect:
    """What two rectangles share; of no width or height where they share nothing."""
    x, y = max(one.x, other.x), max(one.y, other.y)
    return Rect(x, y, max(0, min(one.right, other.right) - x), max(0, min(one.bottom, other.bottom) - y))


def uncovered(width: int, height: int, covered: Sequence[Rect]) -> tuple[Rect, ...]:
    """The canvas without some rectangles, as rectangles that do not overlap."""
    edges = sorted({0, height, *(rect.y for rect in covered), *(rect.bottom for rect in covered)})
    left: list[Rect] = []
    for top, bottom in pairwise(edges):
        x = 0
        for rect in sorted((r for r in covered if r.y <= top and bottom <= r.bottom), key=lambda r: r.x):
            if rect.x > x:
                left.append(Rect(x, top, rect.x - x, bottom - top))
            x = max(x, rect.right)
        if x < width:
            left.append(Rect(x, top, width - x, bottom - top))
    return tuple(left)
