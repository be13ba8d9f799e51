"""Rectangles of whole, even pixels, and the safe area."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from assembler.picture import look

GAP = 2
"""Pixels of ground between two pictures, and the width of a frame's line."""


@dataclass(frozen=True, slots=True)
class Rect:
    """Pixels from (x, y), `width` by `height`; `right` and `bottom` are just outside."""

    x: int
    y: int
    width: int
    height: int

    @property
    def right(self) -> int:
        return self.x + self.width

    @property
    def bottom(self) -> int:
        return self.y + self.height

    def holds(self, other: Rect) -> bool:
        """Whether `other` lies wholly inside."""
        return self.x <= other.x and self.y <= other.y and other.right <= self.right and other.bottom <= self.bottom

    def meets(self, other: Rect) -> bool:
        """Whether the two share a pixel."""
        return self.x < other.right and other.x < self.right and self.y < other.bottom and other.y < self.bottom

    def grown(self, by: int) -> Rect:
        """`by` pixels larger on every side."""
        return Rect(self.x - by, self.y - by, self.width + 2 * by, self.height + 2 * by)


def floor_even(value: Fraction | float) -> int:
    """The even number at or below."""
    return int(value // 2) * 2


def near_even(value: Fraction | float) -> int:
    """The nearest even number; a tie goes up."""
    return int((value + 1) // 2) * 2


def type_height(width: int, height: int) -> int:
    """The canvas height that type is scaled by: of a tall canvas, its width, so that lines hold as
    many words as on a square one."""
    return min(width, height)


def safe_area(width: int, height: int) -> Rect:
    """The graphics-safe area as a rectangle."""
    return Rect(*look.safe_area(width, height))
