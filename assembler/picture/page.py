"""A canvas and the sizes that follow from it: of labels, captions, and the spaces between things."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from assembler.picture.captions import caption_height
from assembler.picture.geometry import Rect, near_even, safe_area, type_height
from assembler.picture.labels import label_height


@dataclass(frozen=True, slots=True)
class Page:
    """A canvas and the sizes that follow from it."""

    width: int
    height: int
    evidence: int  # height of the evidence band, 0 = none
    safe: Rect = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "safe", safe_area(self.width, self.height))

    def scaled(self, at_1080: int) -> int:
        return max(2, near_even(Fraction(at_1080 * type_height(self.width, self.height), 1080)))

    @property
    def label(self) -> int:
        """Height of the label over a picture."""
        return label_height(type_height(self.width, self.height), backing=True)

    @property
    def header_label(self) -> int:
        """Height of a label in a row above a picture."""
        return label_height(type_height(self.width, self.height), backing=False)

    @property
    def header(self) -> int:
        """Height of that row: the label and the space beneath it."""
        return self.header_label + self.scaled(14)

    @property
    def pad(self) -> int:
        """From a picture's edge to what lies over it."""
        return self.scaled(20)

    @property
    def space(self) -> int:
        """Between things that belong to different rows of the page."""
        return self.scaled(20)

    @property
    def clear(self) -> int:
        """From a label's box to the middle of a split: a line there is not near it."""
        return self.scaled(40)

    @property
    def caption(self) -> int:
        """Height of two lines of captions."""
        return caption_height(2, type_height(self.width, self.height))

    def foot(self, *, captions: bool, evidence: bool) -> int:
        """Height kept free at the canvas's foot for captions in a room of their own, and beneath the
        pictures for evidence in its own."""
        kept = self.height - self.safe.bottom + self.caption + self.space if captions else 0
        if evidence and self.evidence:
            kept += self.evidence + self.space
            kept += 0 if captions else self.height - self.safe.bottom
        return kept
