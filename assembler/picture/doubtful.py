"""A sheet of the pictures whose verdicts are least certain, for a person to decide by eye.

For each: the picture before it and itself, small, and how the light changed between them, enlarged and amplified.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from PIL import Image

from assembler.measure.model import Cadence
from assembler.media.info import CaptureInfo
from assembler.media.planes import Planes
from assembler.media.reader import PaneShape, PictureReader
from assembler.picture.geometry import near_even
from assembler.picture.graph_draw import PixelPen
from assembler.picture.graph_figure import PixelPage, save_image
from assembler.picture.look import GROUND, HAIRLINE, INK, MUTED, SUBJECT_COLOURS
from assembler.picture.text import FontSet

WIDTH = 1920
MOST = 12
LIGHTER, DARKER = SUBJECT_COLOURS[0], SUBJECT_COLOURS[1]
_MARGIN, _GAP, _COLUMNS = 56, 8, 2
_CELL = (WIDTH - 2 * _MARGIN - 48) // _COLUMNS
_LARGE = (584, 332)  # the difference fits in this
_TITLE_PX, _HEAD_PX, _TEXT_PX, _CODE_PX = 32.0, 22.0, 19.0, 20.0
_FACTORS = (1, 2, 4, 8, 16, 32, 64)
_DEEP = 4  # codes of 10 bits to one of 8

Pixels = npt.NDArray[np.uint8]
Doubles = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """A doubtful picture and the one before it. before, after: R'G'B' (h, w, 3). change: how the luma changed,
    (2 h + gap, .) in 8-bit codes, drawn `factor` times as strong."""

    picture: int
    before: Pixels
    after: Pixels
    change: Doubles
    factor: int


def verdict_lines(pictures: Sequence[int], cadence: Cadence) -> str:
    """The entry of a by-hand file that says of each picture what was measured, as YAML."""
    said = [f"{k}: {'new' if cadence.is_new[k] else 'repeat'}" for k in sorted(pictures)]
    return "pictures: {" + ", ".join(said) + "}"


def draw_doubtful(
    info: CaptureInfo, cadence: Cadence, pictures: Sequence[int], by_hand: Path, path: Path, fonts: FontSet
) -> None:
    """Write the sheet as PNG; it lands whole or not at all. pictures: 1 or more, none of them 0.

    by_hand: the file to which verdicts go. Raises MediaError where the capture cannot be read, RenderError or
    MissingPartError where the sheet cannot be written.
    """
    save_image(sheet(info, cadence, pictures, by_hand, fonts), path)


def sheet(info: CaptureInfo, cadence: Cadence, pictures: Sequence[int], by_hand: Path, fonts: FontSet) -> Image.Image:
    """The sheet, in the order the pictures are given in."""
    pairs = {pair.picture: pair for pair in _pairs(info, sorted(pictures))}
    tall = next(iter(pairs.values())).change.shape[0]
    cell_h = 40 + tall + 36
    top = _MARGIN + 96
    foot = top + cell_h * math.ceil(len(pictures) / _COLUMNS)
    words = _how(cadence, pictures, by_hand, fonts)
    page = PixelPage(WIDTH, foot + sum(line[3] for line in words) + _MARGIN, fonts)
    page.pen.words(f"Least certain pictures of {info.path.name}", _TITLE_PX, _MARGIN, _MARGIN + 28, INK, bold=True)
    _legend(page.pen, _MARGIN + 66, fonts)
    placed = []
    for number, picture in enumerate(pictures):
        x = _MARGIN + (number % _COLUMNS) * (_CELL + 48)
        y = top + number // _COLUMNS * cell_h
        placed.append((x, y + 40, pairs[picture]))
        _head(page.pen, x, y + 26, pairs[picture], info, float(cadence.p_new[picture]), fonts)
    page.pen.bar(_MARGIN, foot - 12, WIDTH - _MARGIN, foot - 11, HAIRLINE)
    y = foot
    for text, size, colour, height in words:
        y += height
        page.pen.words(text, size, _MARGIN, y, colour)
    image = page.image()
    for x, y, pair in placed:
        high, wide = pair.before.shape[:2]
        image.paste(Image.fromarray(pair.before), (x, y))
        image.paste(Image.fromarray(pair.after), (x, y + high + _GAP))
        image.paste(Image.fromarray(coloured(pair.change, pair.factor)), (x + wide + _GAP, y))
    return image


def coloured(change: Doubles, factor: int) -> Pixels:
    """R'G'B' of a change of luma in 8-bit codes: ground where there is none, and towards the colour of lighter or
    of darker, fully there at 128 codes / factor."""
    strength = np.clip(np.abs(change) * factor / 128, 0, 1)[..., None]
    ground = np.array(GROUND, np.float64)
    towards = np.where((change > 0)[..., None], np.array(LIGHTER, np.float64), np.array(DARKER, np.float64))
    return np.asarray(np.rint(ground + (towards - ground) * strength), np.uint8)


def factor_for(change: Doubles) -> int:
    """The strongest factor, a power of 2, at which all but a fiftieth of the change is within what can be drawn."""
    most = float(np.quantile(np.abs(change), 0.98))
    return max([factor for factor in _FACTORS if factor * most <= 128], default=1)


def _pairs(info: CaptureInfo, pictures: Sequence[int]) -> list[Pair]:
    """The pairs, read forward through the capture."""
    wide, high = _sizes(info)
    large = 2 * wide + _GAP, 2 * high + _GAP
    found = []
    with PictureReader(info, PaneShape(*large, None, "area", 10)) as reader:
        for picture in pictures:
            before, after = reader.planes(picture - 1), reader.planes(picture)
            change = (after.y.astype(np.float64) - before.y) / _DEEP
            small = [_small(planes, wide, high) for planes in (before, after)]
            found.append(Pair(picture, small[0], small[1], change, factor_for(change)))
    return found


def _sizes(info: CaptureInfo) -> tuple[int, int]:
    """Width and height (even) of a small picture; two of them and a gap are as high as the difference."""
    shape = float(info.aspect or 1) * info.width / info.height
    high = min(_LARGE[1], _LARGE[0] / shape)
    wide = max(2, near_even((high * shape - _GAP) / 2))
    return wide, max(2, near_even(wide / shape))


def _small(planes: Planes, width: int, height: int) -> Pixels:
    picture = Image.fromarray(rgb_of(planes))
    return np.asarray(picture.resize((width, height), Image.Resampling.BOX))


def rgb_of(planes: Planes) -> Pixels:
    """R'G'B' (h, w, 3), full range, of BT.709 limited-range planes. Source: Rec. ITU-R BT.709, items 3.2 to 3.5."""
    deep = 1 if planes.bits == 8 else _DEEP
    luma = (planes.y.astype(np.float64) / deep - 16) / 219
    blue, red = (
        (plane.astype(np.float64) / deep - 128).repeat(2, axis=0).repeat(2, axis=1) / 224
        for plane in (planes.u, planes.v)
    )
    r, b = luma + 1.5748 * red, luma + 1.8556 * blue
    g = (luma - 0.2126 * r - 0.0722 * b) / 0.7152
    return np.asarray(np.rint(np.clip(np.dstack((r, g, b)), 0, 1) * 255), np.uint8)


def _head(pen: PixelPen, x: float, baseline: int, pair: Pair, info: CaptureInfo, p_new: float, fonts: FontSet) -> None:
    name = f"picture {pair.picture}"
    pen.words(name, _HEAD_PX, x, baseline, INK, bold=True)
    x += fonts.width(name, _HEAD_PX, bold=True) + 18
    about = f"at {float(info.time_s(pair.picture)):.3f} s   p(new) {p_new:.3f}   difference ×{pair.factor}"
    pen.words(about, _TEXT_PX, x, baseline, MUTED)


def _legend(pen: PixelPen, baseline: int, fonts: FontSet) -> None:
    """What lies where in each cell, and what the colours mean."""
    x = float(_MARGIN)
    where = "Left: the picture before, above; the doubtful one, below. Right: their difference:"
    for text, colour in ((where, MUTED), ("lighter", LIGHTER), ("darker", DARKER)):
        pen.words(text, _TEXT_PX, x, baseline, colour, bold=colour != MUTED)
        x += fonts.width(text, _TEXT_PX, bold=colour != MUTED) + 14


def _how(
    cadence: Cadence, pictures: Sequence[int], by_hand: Path, fonts: FontSet
) -> list[tuple[str, float, tuple[int, int, int], int]]:
    """Text, size, colour and line height of what stands beneath the pictures."""
    says = (
        "New: the difference draws edges of things in the picture, light beside dark, where they moved. "
        "Repeat: only blocks or grain, which follow nothing in the picture. "
        "The factor tells how faint it is: at ×64 even a repeat's coding noise is bright. "
        f"Write what you see into {by_hand.name}, beside the capture, or into the `pictures:` that it has already. "
        "These are the verdicts as measured; keep the pictures that you have looked at, change those that are wrong, "
        "and run the command again:"
    )
    width = WIDTH - 2 * _MARGIN
    lines = [(line, _TEXT_PX, INK, 30) for line in fonts.wrap(says, _TEXT_PX, width)]
    code = fonts.wrap(verdict_lines(pictures, cadence), _CODE_PX, width)
    # A flow mapping may run over lines, but what goes on must be indented.
    return lines + [("  " * bool(n) + line, _CODE_PX, LIGHTER, 40 if n == 0 else 30) for n, line in enumerate(code)]
