"""What arrangements of captures share: open panes, labels, and the page beneath them.

A page is drawn once; each frame copies what the pictures leave uncovered, then the pictures, then
the labels that lie over them. The canvas given may be another one each frame, so nothing is left over.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from fractions import Fraction

from assembler.media.planes import Planes
from assembler.media.proxies import proxied_shape
from assembler.media.shelf import lent
from assembler.picture.evidence import Evidence, evidence_height
from assembler.picture.feed import PaneFeed
from assembler.picture.geometry import Rect
from assembler.picture.ground import filled, put, uncovered
from assembler.picture.labels import label_sprite
from assembler.picture.layout import Layout, lay_out
from assembler.picture.look import GROUND
from assembler.picture.panes import may_be_proxied, pane_shape, picture_size, quick_shape
from assembler.picture.sprite import Sprite, blend
from assembler.picture.stage import Stage
from assembler.timeline.model import PlacedPane, PlacedShot


@dataclass(frozen=True, slots=True)
class Label:
    """A pane's label, drawn, and the corner it goes to."""

    sprite: Sprite
    x: int
    y: int

    @property
    def rect(self) -> Rect:
        return Rect(self.x, self.y, self.sprite.box_width, self.sprite.box_height)


@dataclass(frozen=True, slots=True)
class OpenPane:
    """A pane that is being read, and the rectangle of the canvas its picture covers."""

    feed: PaneFeed
    rect: Rect

    def draw(self, frame: int, canvas: Planes, part: Rect | None = None) -> None:
        """Copy the picture of a frame of the shot; `part`: only within this rectangle of the canvas."""
        put(canvas, self.feed.at(frame), self.rect.x, self.rect.y, part)


class Arranged:
    """A shot's panes opened and its page set out; an arrangement adds how a frame is painted."""

    def __init__(self, shot: PlacedShot, stage: Stage, first: int = 0) -> None:
        self.shot = shot
        self.stage = stage
        self.layout = layout_of(shot, stage)
        self.base = filled(stage.width, stage.height, GROUND, bits=stage.bits)
        self.labels = tuple(drawn_labels(shot, stage, self.layout))
        if not self.layout.labels_over_picture:
            for label in self.labels:
                if label is not None:
                    blend(self.base, label.sprite, label.x, label.y)
        self._opened = ExitStack()
        try:
            self.panes = tuple(
                self._open(pane, rect, first) for pane, rect in zip(shot.panes, self.layout.panes, strict=True)
            )
        except BaseException:
            self._opened.close()
            raise
        self._evidence = Evidence(shot, stage, self.layout) if self.layout.evidence is not None else None
        if self._evidence is not None:
            around = self.layout.panes if self.layout.frame is None else (*self.layout.panes, self.layout.frame)
            self._evidence.settle(self.base, [*(pane.rect for pane in self.panes), *around])
        self.leave_uncovered([pane.rect for pane in self.panes])

    def paint(self, frame: int, canvas: Planes) -> None:
        """Paint the whole canvas for a frame of the shot."""
        self.paint_ground(canvas)
        for pane in self.panes:
            pane.draw(frame, canvas)
        self.paint_over(frame, canvas)

    def leave_uncovered(self, pictures: Sequence[Rect]) -> None:
        """Say what the pictures will cover of the page."""
        covered = [*pictures, *(() if self._evidence is None else self._evidence.covered)]
        self._ground = uncovered(self.stage.width, self.stage.height, covered)

    def paint_ground(self, canvas: Planes) -> None:
        """The page, where no picture covers it."""
        for rect in self._ground:
            put(canvas, self.base, 0, 0, rect)

    def paint_over(self, frame: int, canvas: Planes) -> None:
        """The graphs, and labels that lie over pictures."""
        self.paint_evidence(frame, canvas)
        if self.layout.labels_over_picture:
            for label in self.labels:
                if label is not None:
                    blend(canvas, label.sprite, label.x, label.y)

    def paint_evidence(self, frame: int, canvas: Planes) -> None:
        """The graphs, in step with the pictures that the panes show."""
        if self._evidence is not None:
            self._evidence.paint(frame, canvas)

    def close(self) -> None:
        """Stop reading."""
        self._opened.close()

    def _open(self, placed: PlacedPane, rect: Rect, first: int) -> OpenPane:
        info = self.stage.captures[placed.capture.id]
        fitted = pane_shape(placed.pane, info, rect, bits=self.stage.bits, scale=self.stage.scale)
        shape = quick_shape(fitted.shape, info) if self.stage.quick else fitted.shape
        proxies = self.stage.proxies.get(placed.capture.id)
        by_proxy = may_be_proxied(self.shot.arrangement, placed.pane) and proxied_shape(info, shape) is not None
        opened = proxies.opened if proxies is not None and by_proxy else lent
        feed = self._opened.enter_context(PaneFeed(info, shape, placed.picture, first, opened=opened))
        return OpenPane(feed, Rect(rect.x + fitted.x, rect.y + fitted.y, shape.width, shape.height))


def layout_of(shot: PlacedShot, stage: Stage) -> Layout:
    """A shot's geometry on this stage."""
    return lay_out(
        shot.arrangement,
        [picture_size(placed.pane, stage.captures[placed.capture.id]) for placed in shot.panes],
        stage.width,
        stage.height,
        labels=shot.labels and any(label_words(placed, stage) for placed in shot.panes),
        evidence_height=evidence_height(shot, stage),
        scale=Fraction(stage.scale),
    )


def label_words(placed: PlacedPane, stage: Stage) -> tuple[str, str, int] | None:
    """A pane's name, note and order of its subject (0 without one), or None where it has no label."""
    subject = stage.subjects.get(placed.capture.subject or "")
    if placed.pane.label is not None:
        return (placed.pane.label, "", subject.order if subject else 0) if placed.pane.label.strip() else None
    return (subject.name, subject.note, subject.order) if subject else None


def drawn_labels(shot: PlacedShot, stage: Stage, layout: Layout) -> Sequence[Label | None]:
    """The label of each pane, drawn, in its place."""
    labels: list[Label | None] = []
    for number, placed in enumerate(shot.panes):
        words, box = label_words(placed, stage), layout.label_boxes[number]
        if words is None or box is None:
            labels.append(None)
            continue
        name, note, order = words
        sprite = label_sprite(
            name,
            note,
            order,
            stage.type_height,
            box.width,
            stage.fonts,
            backing=layout.labels_over_picture,
            bits=stage.bits,
        )
        labels.append(Label(sprite, *layout.label_corner(number, sprite.box_width, sprite.box_height)))
    return labels
