"""Draws a split: two pictures in one framing, divided at a line that stands still or moves evenly."""

from __future__ import annotations

from assembler.media.planes import Planes
from assembler.picture.arrange import Arranged
from assembler.picture.geometry import Rect, near_even
from assembler.picture.ground import fill, overlap, put
from assembler.picture.look import GROUND, INK
from assembler.picture.page import Page
from assembler.picture.sprite import blend
from assembler.picture.stage import Stage
from assembler.storyboard.model import Split
from assembler.timeline.model import PlacedShot


def line_at(split: Split, frame: int, frames: int, length: int) -> int:
    """Where the line stands, in even pixels from the framing's edge: at the first value on the first
    frame of the shot, at the second on its last and thereafter."""
    start, end = split.line
    share = min(frame, frames - 1) / (frames - 1) if frames > 1 else 0.0
    return min(max(0, near_even((start + (end - start) * share) * length)), length - length % 2)


class SplitPicture(Arranged):
    """The first pane left of the line or above it, the second one on its other side."""

    def __init__(self, shot: PlacedShot, stage: Stage, first: int = 0) -> None:
        super().__init__(shot, stage, first)
        assert isinstance(shot.arrangement, Split)
        self._split = shot.arrangement
        self._framing = self.layout.panes[0]
        # The line is light with dark edges, so that it is seen on any footage.
        self._light = max(2, near_even(stage.type_height / 540))
        self._fade = Page(stage.width, stage.height, 0).clear - 2 * self._light

    def paint(self, frame: int, canvas: Planes) -> None:
        """Paint the whole canvas for a frame of the shot."""
        framing, one, other = self._framing, *self.panes
        down = self._split.direction == "down"
        length = framing.height if down else framing.width
        line = line_at(self._split, frame, self.shot.span.frames, length)
        before, after = _parts(framing, line, down=down)
        self.paint_ground(canvas)
        if one.rect != other.rect:  # where one picture is smaller, the page shows beside it, not the frame before
            put(canvas, self.base, 0, 0, framing)
        one.draw(frame, canvas, before)
        other.draw(frame, canvas, after)
        if 0 < line < length:
            for width, colour in ((3 * self._light, GROUND), (self._light, INK)):
                fill(canvas, _bar(framing, line, width, down=down), colour)
        first, second = self.labels
        if first is not None:
            rect = first.rect
            spare = before.bottom - rect.bottom if down else before.right - rect.right
            blend(canvas, first.sprite, first.x, first.y, self._shown(spare))
        if second is not None:
            rect = second.rect
            spare = rect.y - after.y if down else rect.x - after.x
            blend(canvas, second.sprite, second.x, second.y, self._shown(spare))
        self.paint_evidence(frame, canvas)

    def _shown(self, spare: int) -> float:
        """A label's opacity, given the pixels between it and the line: it goes as the line comes near, so
        that it never stands on the other's picture."""
        return min(1.0, max(0.0, (spare - 2 * self._light) / self._fade))


def _parts(framing: Rect, line: int, *, down: bool) -> tuple[Rect, Rect]:
    x, y, width, height = framing.x, framing.y, framing.width, framing.height
    if down:
        return Rect(x, y, width, line), Rect(x, y + line, width, height - line)
    return Rect(x, y, line, height), Rect(x + line, y, width - line, height)


def _bar(framing: Rect, line: int, width: int, *, down: bool) -> Rect:
    """A bar with the line in its middle, clipped to the framing."""
    start = line - near_even(width / 2)
    if down:
        return overlap(Rect(framing.x, framing.y + start, framing.width, width), framing)
    return overlap(Rect(framing.x + start, framing.y, width, framing.height), framing)
