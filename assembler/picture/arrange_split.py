"""Draws a split: two pictures in one framing, divided at a line that stands still or moves evenly."""

from __future__ import annotations

from collections.abc import Sequence

from assembler.media.planes import Planes
from assembler.picture.arrange import Arranged, Label, drawn_labels, layout_of
from assembler.picture.geometry import Rect, near_even
from assembler.picture.ground import fill, overlap, put
from assembler.picture.look import GROUND, INK
from assembler.picture.page import Page
from assembler.picture.sprite import blend
from assembler.picture.stage import Stage
from assembler.storyboard.model import Split
from assembler.timeline.model import PlacedShot

_LEGIBLE = 0.5  # opacity from which a label can be read


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
        self._light = _light(stage)

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
        opacities = _opacities(self.labels, framing, line, self.stage, down=down)
        for label, opacity in zip(self.labels, opacities, strict=True):
            if label is not None:
                blend(canvas, label.sprite, label.x, label.y, opacity)
        self.paint_evidence(frame, canvas)


def legible_frames(shot: PlacedShot, stage: Stage) -> tuple[int | None, int | None]:
    """For each pane of a split, on how many frames of the shot its label can be read; None without a label."""
    assert isinstance(shot.arrangement, Split)
    down, layout = shot.arrangement.direction == "down", layout_of(shot, stage)
    labels, framing = drawn_labels(shot, stage, layout), layout.panes[0]
    length, frames = framing.height if down else framing.width, shot.span.frames
    lines = [line_at(shot.arrangement, frame, frames, length) for frame in range(frames)]
    seen = [_opacities(labels, framing, line, stage, down=down) for line in lines]
    counts = [sum(row[pane] >= _LEGIBLE for row in seen) for pane in range(2)]
    one, other = (None if label is None else count for label, count in zip(labels, counts, strict=True))
    return one, other


def _light(stage: Stage) -> int:
    """Thickness of the line's light middle."""
    return max(2, near_even(stage.type_height / 540))


def _opacities(
    labels: Sequence[Label | None], framing: Rect, line: int, stage: Stage, *, down: bool
) -> tuple[float, float]:
    """The labels' opacities for a place of the line: each goes as the line comes near, so that it never stands on
    the other's picture."""
    before, after = _parts(framing, line, down=down)
    light = _light(stage)
    fade = Page(stage.width, stage.height, 0).clear - 2 * light
    spares = [0, 0]
    for pane, label in enumerate(labels):
        if label is not None and pane == 0:
            spares[0] = before.bottom - label.rect.bottom if down else before.right - label.rect.right
        elif label is not None:
            spares[1] = label.rect.y - after.y if down else label.rect.x - after.x
    one, other = (min(1.0, max(0.0, (spare - 2 * light) / fade)) for spare in spares)
    return one, other


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
