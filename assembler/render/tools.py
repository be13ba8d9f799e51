"""The real drawing tools of a part: the picture room's painters, captions and marks."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from types import TracebackType
from typing import Self

import numpy as np

from assembler.media.planes import Planes, blank
from assembler.media.shelf import shelf
from assembler.picture.arrange import layout_of
from assembler.picture.captions import caption_place, caption_sprite
from assembler.picture.geometry import safe_area
from assembler.picture.look import GROUND, even
from assembler.picture.marks import Marks
from assembler.picture.painter import ShotPainter, Stage
from assembler.picture.sprite import Sprite, blend
from assembler.render.jobs import Burn
from assembler.render.part import Mark, Painter
from assembler.timeline.model import PlacedShot


class PictureTools:
    """Draws on one stage. A context manager.

    A shot that is cut into several parts is kept open from one to the next: seeking in its captures
    anew would cost more than a second of pictures.
    """

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._safe = safe_area(stage.width, stage.height)
        self._marks = Marks(stage.type_height, stage.fonts, stage.bits)
        self._caption: tuple[tuple[Burn, int], Sprite, int, int] | None = None
        self._floor: tuple[PlacedShot, int] | None = None
        plain = np.full((2, 2, 4), (*GROUND, 255), np.uint8)
        dot = blank(2, 2, bits=stage.bits)
        blend(dot, Sprite.from_rgba(plain, stage.bits), 0, 0)
        self._ground = (int(dot.y[0, 0]), int(dot.u[0, 0]), int(dot.v[0, 0]))
        self._kept: _Counting | None = None
        self._shelf = contextlib.ExitStack()

    @contextlib.contextmanager
    def painter(self, shot: PlacedShot, first: int) -> Iterator[Painter]:
        """The shot, open at a frame."""
        kept, self._kept = self._kept, None
        if kept is not None and (kept.shot is not shot or kept.following != first):
            kept.close()
            kept = None
        using = kept if kept is not None else _Counting(ShotPainter(shot, self._stage, first), shot, first)
        try:
            yield using
        except BaseException:
            using.close()
            raise
        if using.following < shot.span.frames and self._kept is None:
            self._kept = using
        else:
            using.close()

    def draw_over(self, canvas: Planes, shot: PlacedShot, caption: Burn | None, mark: Mark | None) -> None:
        """The caption stands centred on the floor of the safe area, where the programme will have it, or at its head.
        The mark stands at its left, and moves above a caption that reaches so far."""
        floor = self._floor_of(shot)
        if caption is not None:
            drawn, x, y = self._caption_of(caption, floor)
        if mark is not None:
            sprite = self._marks.sprite(mark.timecode, mark.segment, mark.scratch)
            if caption is not None and not caption.top and x < self._safe.x + sprite.box_width:
                floor = even(y - sprite.box_height / 4)
            blend(canvas, sprite, self._safe.x, floor - sprite.box_height)
        if caption is not None:
            blend(canvas, drawn, x, y)

    def _floor_of(self, shot: PlacedShot) -> int:
        """Where captions end: the foot of the safe area, or above graphs that lie there."""
        if self._floor is None or self._floor[0] is not shot:
            bottom = layout_of(shot, self._stage).caption_bottom_y if shot.graphs else self._safe.bottom
            self._floor = shot, bottom
        return self._floor[1]

    def _caption_of(self, caption: Burn, floor: int) -> tuple[Sprite, int, int]:
        if self._caption is None or self._caption[0] != (caption, floor):
            stage = self._stage
            sprite = caption_sprite(caption.lines, stage.width, stage.type_height, stage.fonts, stage.bits)
            place = caption_place(sprite, stage.width, floor, self._safe.y if caption.top else None)
            self._caption = (caption, floor), sprite, *place
        return self._caption[1:]

    @property
    def ground(self) -> tuple[int, int, int]:
        """The look's ground as codes."""
        return self._ground

    def close(self) -> None:
        """Close what is kept open."""
        if self._kept is not None:
            self._kept.close()
            self._kept = None
        self._shelf.close()

    def __enter__(self) -> Self:
        self._shelf.enter_context(shelf())
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


class _Counting:
    """A painter that knows which frame comes next."""

    def __init__(self, painter: ShotPainter, shot: PlacedShot, first: int) -> None:
        self.shot = shot
        self.following = first
        self._open = contextlib.ExitStack()
        self._painter = self._open.enter_context(painter)

    def paint(self, k: int, canvas: Planes) -> None:
        self._painter.paint(k, canvas)
        self.following = k + 1

    def close(self) -> None:
        self._open.close()
