"""What every shot of a render is painted with: the canvas, the captures, the fonts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from assembler.measure.model import Cadence
from assembler.media.info import CaptureInfo
from assembler.media.proxies import Proxies
from assembler.picture.geometry import type_height
from assembler.picture.text import FontSet
from assembler.storyboard.model import Subject


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """width, height: of the picture painted, even. canvas: the programme's own size, which a draft's
    may be smaller than. bits: 8 or 10. captures: by capture id. folder: the project's.
    allow_code: whether Python files of the project may be run. measured: cadences by capture id.
    proxies: by capture id, of captures that are read by proxy where a pane allows it. quick: a draft, whose pictures
    may be scaled down in a cheaper way.
    """

    width: int
    height: int
    bits: int
    rate: Fraction
    subjects: Mapping[str, Subject]
    captures: Mapping[str, CaptureInfo]
    fonts: FontSet
    folder: Path
    canvas: tuple[int, int]
    allow_code: bool = False
    measured: Mapping[str, Cadence] = field(default_factory=dict)
    proxies: Mapping[str, Proxies] = field(default_factory=dict)
    quick: bool = False

    @property
    def scale(self) -> Fraction:
        """Pixels painted for one pixel of the programme's canvas."""
        return Fraction(self.width, self.canvas[0])

    @property
    def type_height(self) -> int:
        """The height that sizes of type are a share of."""
        return type_height(self.width, self.height)
