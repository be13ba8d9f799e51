"""Paints the frames of one shot.

with ShotPainter(shot, stage, first=0) as painter:
    for k in range(frames):
        painter.paint(k, canvas)
"""

from __future__ import annotations

from typing import Protocol

from assembler.errors import RenderError
from assembler.media.closing import Closing
from assembler.media.planes import Planes
from assembler.picture.arrange import Arranged
from assembler.picture.arrange_difference import DifferencePicture
from assembler.picture.arrange_inset import InsetPicture
from assembler.picture.arrange_split import SplitPicture
from assembler.picture.stage import Stage
from assembler.storyboard.model import Card, Difference, Inset, Made, Split, Summary
from assembler.timeline.model import PlacedShot

__all__ = ["ShotPainter", "Stage"]


class Picture(Protocol):
    """An arrangement at work."""

    def paint(self, frame: int, canvas: Planes) -> None:
        """Paint the whole canvas for a frame of the shot."""

    def close(self) -> None:
        """Let go of files and threads."""


class ShotPainter(Closing):
    """Paints a shot frame by frame. A context manager.

    first: the first frame that will be asked for; frames then rise, up to the end of the shot's tail.
    Raises MediaError where a capture cannot be read, RenderError where a picture cannot be made.
    """

    def __init__(self, shot: PlacedShot, stage: Stage, first: int = 0) -> None:
        self._stage = stage
        self._frames = shot.span.frames + shot.tail_frames
        self._picture = _opened(shot, stage, first)

    def paint(self, k: int, canvas: Planes) -> None:
        """Paint frame k of the shot, counted from its start, on the whole canvas."""
        if not 0 <= k < self._frames:
            raise ValueError(f"frame {k} is outside the shot's {self._frames}")
        if (canvas.width, canvas.height, canvas.bits) != (self._stage.width, self._stage.height, self._stage.bits):
            raise ValueError("the canvas has not the stage's size or depth")
        self._picture.paint(k, canvas)

    def close(self) -> None:
        """Stop reading ahead and let go of files."""
        self._picture.close()


def _opened(shot: PlacedShot, stage: Stage, first: int) -> Picture:
    arrangement = shot.arrangement
    if isinstance(arrangement, Card | Summary):
        from assembler.picture.cards import CardPicture  # brings moviepy, which most shots do without

        return CardPicture(shot, stage)
    if isinstance(arrangement, Made):
        from assembler.picture.made import MadePicture

        return MadePicture(shot, stage)
    if missing := [placed.capture.id for placed in shot.panes if placed.capture.id not in stage.captures]:
        raise RenderError(f"capture '{missing[0]}' has not been read", place=shot.place)
    kinds = {Split: SplitPicture, Inset: InsetPicture, Difference: DifferencePicture}
    return kinds.get(type(arrangement), Arranged)(shot, stage, first)
