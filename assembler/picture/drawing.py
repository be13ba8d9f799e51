"""Words and flat shapes drawn into small RGBA pictures, for cards. Knows nothing of moviepy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assembler.picture.ground import RGB
from assembler.picture.text import FontSet, ShapedLine

Pixels = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """A drawn thing at rest: rgba (height, width, 4) uint8, straight alpha, its corner at (x, y) of the
    canvas, all even."""

    rgba: Pixels
    x: int
    y: int

    @property
    def width(self) -> int:
        return int(self.rgba.shape[1])

    @property
    def height(self) -> int:
        return int(self.rgba.shape[0])


class Drawing:
    """A canvas-sized sheet, cut to what was drawn on it. Ink beyond the canvas is cut off."""

    def __init__(self, width: int, height: int) -> None:
        self._cover = np.zeros((height, width), np.uint8)
        self._colour = np.zeros((height, width, 3), np.uint8)

    def words(self, line: ShapedLine, x: float, baseline: float, colour: RGB) -> None:
        """Draw a line with its pen starting at x on the baseline."""
        self._over(line.coverage(), round(x) - line.origin_x, round(baseline) - line.baseline_row, colour)

    def bar(self, x: float, y: float, width: float, height: float, colour: RGB) -> None:
        """A filled rectangle of whole pixels."""
        self._over(np.full((max(1, round(height)), max(1, round(width))), 255, np.uint8), round(x), round(y), colour)

    def block(self) -> Block | None:
        """What was drawn, cut out; None if nothing was."""
        rows, columns = np.flatnonzero(self._cover.any(axis=1)), np.flatnonzero(self._cover.any(axis=0))
        if not rows.size:
            return None
        top, left = int(rows[0]) // 2 * 2, int(columns[0]) // 2 * 2
        bottom, right = -(-(int(rows[-1]) + 1) // 2) * 2, -(-(int(columns[-1]) + 1) // 2) * 2
        cut = np.dstack((self._colour[top:bottom, left:right], self._cover[top:bottom, left:right]))
        return Block(np.ascontiguousarray(cut), left, top)

    def _over(self, cover: Pixels, x: int, y: int, colour: RGB) -> None:
        height, width = self._cover.shape
        x0, y0 = max(0, x), max(0, y)
        x1, y1 = min(width, x + cover.shape[1]), min(height, y + cover.shape[0])
        if x0 >= x1 or y0 >= y1:
            return
        cover = cover[y0 - y : y1 - y, x0 - x : x1 - x]
        # Things on a card do not overlap: where two meet at soft edges, the stronger one stands.
        stronger = cover > self._cover[y0:y1, x0:x1]
        self._cover[y0:y1, x0:x1][stronger] = cover[stronger]
        self._colour[y0:y1, x0:x1][stronger] = colour


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Wrapped lines of one style. height_px: from the first line's capitals to the last baseline."""

    lines: tuple[ShapedLine, ...]
    leading_px: float
    cap_px: float
    fits: bool

    @property
    def height_px(self) -> float:
        return self.cap_px + self.leading_px * (len(self.lines) - 1) if self.lines else 0.0

    def draw(self, drawing: Drawing, x: float, top: float, width: float, colour: RGB) -> float:
        """Draw it with its first capitals' tops at `top`; returns the last baseline. Text that reads
        from the right is set at the right of the width."""
        baseline = top + self.cap_px
        for number, line in enumerate(self.lines):
            start = x + width - line.width_px if line.right_to_left else x
            drawing.words(line, start, baseline + number * self.leading_px, colour)
        return baseline + self.leading_px * max(0, len(self.lines) - 1)


def paragraph(
    text: str,
    sizes: Sequence[float],
    width: float,
    most_lines: int,
    fonts: FontSet,
    *,
    bold: bool = False,
    leading: float = 1.3,
) -> Paragraph:
    """Wrap a text at the first of `sizes` (pixels, large to small) at which it takes no more than
    `most_lines` and no word is broken; else at the last one, cut to the lines allowed (`fits` is False)."""
    text = " ".join(text.split())
    base = fonts.direction_of(text)
    for size in sizes:
        wrapped = fonts.wrap(text, size, width, bold=bold) if text else ()
        unbroken = all(fonts.width(word, size, bold=bold) <= width for word in text.split())
        fits = unbroken and len(wrapped) <= most_lines
        if fits or size == sizes[-1]:
            lines = tuple(fonts.line(part, size, bold=bold, base=base) for part in wrapped[:most_lines])
            return Paragraph(lines, leading * size, fonts.cap_height_px(size, bold=bold), fits)
    raise ValueError("a paragraph needs a size")
