"""What is known of a capture after one demux pass and one decoded picture."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True)
class Colour:
    """How codes mean light: H.273 code points, 2 = not tagged. `assumed` names what an untagged
    file was taken for, in words, or is empty."""

    primaries: int
    transfer: int
    matrix: int
    full_range: bool
    assumed: str = ""


@dataclass(frozen=True, slots=True)
class SoundInfo:
    """A sound stream: rate in samples a second, channels, and where its first sample lies in
    seconds against the capture's first picture (negative = earlier)."""

    rate: int
    channels: int
    start_s: Fraction
    duration_s: Fraction


@dataclass(frozen=True, slots=True, eq=False)
class CaptureInfo:
    """A readable capture.

    pts: (n,) int64, rising, presentation times of every picture shown (edit lists obeyed), in
    time_base units. Picture k is on screen from pts[k] to pts[k+1]; the last one for
    last_duration (same units). width, height: after rotation, square pixels not assumed (`aspect`
    is the sample aspect ratio). rotation: degrees clockwise that the picture must be turned by.
    frame_rate: exact when the spacing is even to the clock's grain, else None (variable).
    """

    path: Path
    width: int
    height: int
    aspect: Fraction
    rotation: Literal[0, 90, 180, 270]
    codec: str
    pixel_format: str
    bits: int
    colour: Colour
    pts: npt.NDArray[np.int64]
    time_base: Fraction
    last_duration: int
    frame_rate: Fraction | None
    sound: SoundInfo | None
    interlaced: bool

    @property
    def pictures(self) -> int:
        return int(self.pts.size)

    @property
    def duration_s(self) -> Fraction:
        """From the first picture's start to the last one's end."""
        return (int(self.pts[-1]) - int(self.pts[0]) + self.last_duration) * self.time_base

    def time_s(self, picture: int) -> Fraction:
        """When a picture comes on screen, seconds from the first."""
        return (int(self.pts[picture]) - int(self.pts[0])) * self.time_base

    def is_hdr(self) -> bool:
        """PQ (16) or HLG (18) transfer. Source: Rec. ITU-T H.273 code points."""
        return self.colour.transfer in (16, 18)
