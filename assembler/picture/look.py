"""The look: colours, line styles, sizes and safe areas, and the contrast that words must keep.

Sizes are given at 1080 lines and grow with the canvas height.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

Rgb = tuple[int, int, int]

GROUND: Rgb = (16, 19, 22)
INK: Rgb = (232, 234, 230)
MUTED: Rgb = (150, 156, 158)
HAIRLINE: Rgb = (52, 58, 62)
# Okabe and Ito's palette, in an order whose neighbours differ most: orange, sky blue, bluish green,
# reddish purple. A line style goes with each, so that greyscale is enough.
SUBJECT_COLOURS: tuple[Rgb, ...] = ((230, 159, 0), (86, 180, 233), (0, 158, 115), (204, 121, 167))

# On and off lengths in line thicknesses, square-ended; () is solid.
SOLID, DASHED, DOTTED, DASH_DOT = (), (3.0, 1.5), (1.0, 1.0), (3.5, 1.0, 1.0, 1.0)
LINE_STYLES: tuple[tuple[float, ...], ...] = (SOLID, DASHED, DOTTED, DASH_DOT)

NAME_PX, NOTE_PX, AXIS_PX, VALUE_PX, CAPTION_PX, MARK_PX = 30.0, 22.0, 19.0, 25.0, 38.0, 19.0
SMALLEST_MARK_PX = 15.0
CAPTION_LINE_HEIGHT = 1.25

SAFE_SHARE = 0.05  # graphics-safe area: 5 % in from each side. Source: EBU R 95, SMPTE ST 2046-1
TEXT_CONTRAST = 4.5  # Source: WCAG 2, SC 1.4.3
LINE_CONTRAST = 3.0  # Source: WCAG 2, SC 1.4.11
LIGHTEST_BACKING = 0.80
_WHITE: Rgb = (255, 255, 255)


def subject_colour(order: int) -> Rgb:
    """The colour of the subject that stands at `order` (from 0)."""
    return SUBJECT_COLOURS[order % len(SUBJECT_COLOURS)]


def line_style(order: int) -> tuple[float, ...]:
    """Its line style. Beyond four subjects both repeat, out of step, so that no pair is alike."""
    return LINE_STYLES[(order + order // len(SUBJECT_COLOURS)) % len(LINE_STYLES)]


def scaled(px_at_1080: float, canvas_h: int) -> float:
    """A size at 1080 lines, in pixels of this canvas."""
    return px_at_1080 * canvas_h / 1080


def whole(px_at_1080: float, canvas_h: int) -> int:
    """The same as at least one whole pixel: for gaps and lines that must look alike everywhere."""
    return max(1, round(scaled(px_at_1080, canvas_h)))


def even(value: float) -> int:
    """Rounded up to an even number: chroma has half the rows and columns."""
    return 2 * math.ceil(value / 2 - 1e-9)


def mark_px(canvas_h: int) -> float:
    """The size of burnt-in marks, which stay readable on small drafts."""
    return max(SMALLEST_MARK_PX, scaled(MARK_PX, canvas_h))


def safe_area(width: int, height: int) -> tuple[int, int, int, int]:
    """The graphics-safe area as x, y, width, height, even and inside the 5 % lines."""
    x, y = even(width * SAFE_SHARE), even(height * SAFE_SHARE)
    return x, y, width - 2 * x, height - 2 * y


def luminance(colour: Sequence[float]) -> float:
    """Relative luminance of an sRGB colour (0 to 255 each), 0 to 1. Source: WCAG 2."""
    linear = []
    for code in colour:
        c = code / 255
        linear.append(c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4)
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: Sequence[float], other: Sequence[float]) -> float:
    """Contrast ratio, 1 to 21. Source: WCAG 2."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def over(colour: Rgb, opacity: float, under: Rgb = _WHITE) -> tuple[float, float, float]:
    """What a colour looks like over another at an opacity."""
    red, green, blue = (a * opacity + b * (1 - opacity) for a, b in zip(colour, under, strict=True))
    return red, green, blue


def backing_opacity(*needs: tuple[Rgb, float]) -> float:
    """How opaque the ground under words must be so that each colour keeps its contrast over white
    footage: at least 80 %, in steps of 1 %. `needs` are (colour, contrast ratio) pairs.

    Raises ValueError for a colour that the ground itself is too light for.
    """
    for percent in range(round(LIGHTEST_BACKING * 100), 101):
        backing = over(GROUND, percent / 100)
        # 2 % in hand for the rounding to video codes.
        if all(contrast(colour, backing) >= 1.02 * ratio for colour, ratio in needs):
            return percent / 100
    raise ValueError("a colour is too dark for words on the ground")
