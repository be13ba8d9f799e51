"""How a capture's picture is fitted into its rectangle: what part of it, how large, and where.

picture_size(pane, info)                 -> display size, for layout.lay_out
pane_shape(pane, info, rect, ...)        -> PlacedPicture(shape for the reader, x, y in the rectangle)
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from assembler.media.info import CaptureInfo
from assembler.media.reader import PaneShape
from assembler.picture.geometry import Rect, floor_even, near_even
from assembler.storyboard.model import Arrangement, Difference, Pane

_SIMPLE = tuple(sorted({Fraction(n, d) for n in range(1, 7) for d in range(1, 7)} | {Fraction(1, 8)}, reverse=True))
"""Scales at which pixels fall evenly; a picture that nearly has one is given it."""

_TRIM = 6
"""Canvas pixels a picture may lose at its edges to keep a simple scale or to touch its neighbours."""


@dataclass(frozen=True, slots=True)
class PlacedPicture:
    """What to ask of the reader, and where that picture lies within its rectangle (even pixels)."""

    shape: PaneShape
    x: int
    y: int


def framing(pane: Pane, info: CaptureInfo) -> tuple[int, int, int, int]:
    """The part of the capture that is shown: x, y, width and height in its pixels, inside it."""
    if pane.crop is None:
        return 0, 0, info.width, info.height
    x, y = min(max(0, pane.crop.x), info.width - 2), min(max(0, pane.crop.y), info.height - 2)
    return x, y, max(2, min(pane.crop.w, info.width - x)), max(2, min(pane.crop.h, info.height - y))


def may_be_proxied(arrangement: Arrangement, pane: Pane) -> bool:
    """Whether a pane's picture may come from a proxy, as far as the storyboard tells: not where differences are
    magnified, pixels are to be counted, or one pixel is to be one."""
    return not isinstance(arrangement, Difference) and pane.scaling != "nearest" and pane.fitting != "actual"


_QUICK_FROM = 2
"""Capture pixels to a pixel, both ways, from which averaging them looks about as good as a filter with side lobes. It
takes half the time or less."""


def quick_shape(shape: PaneShape, info: CaptureInfo) -> PaneShape:
    """The same for a draft: what is scaled down far is averaged, by `area`, whatever smooth way was asked for."""
    wide, high = shape.crop[2:] if shape.crop is not None else (info.width, info.height)
    far = wide >= _QUICK_FROM * shape.width and high >= _QUICK_FROM * shape.height
    return replace(shape, scaling="area") if far and shape.scaling != "nearest" else shape


def picture_size(pane: Pane, info: CaptureInfo) -> tuple[int, int]:
    """Width and height of what is shown, made square: the width is stretched by the sample aspect."""
    _, _, width, height = framing(pane, info)
    return max(1, round(width * (info.aspect or 1))), height


def pane_shape(
    pane: Pane, info: CaptureInfo, rect: Rect, *, bits: int = 8, scale: Fraction = Fraction(1)
) -> PlacedPicture:
    """Fit a pane's picture into its rectangle.

    `fit` shows the whole framing, on the ground where the shapes differ; up to 6 canvas pixels of an
    edge give way to a simple scale or to a neighbour's gap. With `nearest` scaling it takes the
    largest whole zoom, so that every capture pixel is as large as the next. `fill` crops around the
    centre. `actual` makes one capture pixel `scale` canvas pixels (1 in a picture of the programme's
    own size), cropped or surrounded by ground, around the centre.
    """
    x, y, width, height = framing(pane, info)
    across = info.aspect or Fraction(1)  # canvas pixels a capture pixel takes sideways, for each it takes upwards
    wide = width * across
    if pane.fitting == "actual":
        share = scale
    elif pane.fitting == "fill":
        share = max(Fraction(rect.width) / wide, Fraction(rect.height, height))
    else:
        share = _fit_share(pane, rect, wide, height, square=across == 1)
    rounded = floor_even if share.denominator == 1 else near_even  # at a whole zoom, rather cut a column than smear all
    shown_width = min(rect.width, max(2, rounded(share * wide)))
    shown_height = min(rect.height, max(2, rounded(share * height)))
    part = _part(width, shown_width / (share * across)), _part(height, shown_height / share)
    crop = (x + _start(width, part[0]), y + _start(height, part[1]), *part)
    whole = crop == (0, 0, info.width, info.height)
    return PlacedPicture(
        PaneShape(shown_width, shown_height, None if whole else crop, pane.scaling, bits),
        floor_even(Fraction(rect.width - shown_width, 2)),
        floor_even(Fraction(rect.height - shown_height, 2)),
    )


def _fit_share(pane: Pane, rect: Rect, wide: Fraction, height: int, *, square: bool) -> Fraction:
    """Canvas pixels for a capture pixel (upwards) at which the framing fits its rectangle."""
    inside = min(Fraction(rect.width) / wide, Fraction(rect.height, height))
    if pane.scaling == "nearest" and square and inside >= 1:
        return Fraction(int(inside))

    def trimmed(share: Fraction) -> bool:
        """Whether the picture covers its rectangle at this scale and loses next to nothing."""
        return 0 <= share * wide - rect.width <= _TRIM and 0 <= share * height - rect.height <= _TRIM

    covering = max(Fraction(rect.width) / wide, Fraction(rect.height, height))
    return next((share for share in (*_SIMPLE, covering) if trimmed(share)), inside)


def _part(whole: int, wanted: Fraction) -> int:
    """Capture pixels of a side that are shown: all, or as many as asked for."""
    rounded = int(wanted + Fraction(1, 2))
    # Within a pixel of the whole, the last odd pixel is scaled away rather than cut.
    return whole if rounded >= whole else max(1, rounded)


def _start(whole: int, part: int) -> int:
    """Where a centred part begins. Even where it can be: chroma is found at even pixels."""
    return floor_even(Fraction(whole - part, 2))
