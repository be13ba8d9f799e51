"""The real drawing tools of a part: the picture room's painters, captions and marks."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from types import TracebackType
from typing import Self

from assembler.media.planes import Planes
from assembler.picture.captions import caption_sprite
from assembler.picture.geometry import even, safe_area
from assembler.picture.marks import Marks
from assembler.picture.painter import ShotPainter, Stage
from assembler.picture.sprite import Sprite, blend
from assembler.render.part import Painter
from assembler.timeline.model import PlacedShot


class PictureTools:
    """Draws on one stage. A context manager.

    A shot that is cut into several parts is kept open from one to the next: seeking in its captures
    anew would cost more than a second of pictures.
    """

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._safe = safe_area(stage.width, stage.height)
        self._marks = Marks(stage.height, stage.fonts, stage.bits)
        self._caption: tuple[tuple[str, ...], Sprite] | None = None
        self._kept: _Counting | None = None

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

    def draw_caption(self, canvas: Planes, shot: PlacedShot, lines: tuple[str, ...]) -> None:
        """Centred, standing on the floor of the safe area."""
        stage = self._stage
        if self._caption is None or self._caption[0] != lines:
            self._caption = lines, caption_sprite(lines, stage.width, stage.height, stage.fonts, stage.bits)
        sprite = self._caption[1]
        blend(canvas, sprite, even((stage.width - sprite.width) / 2), self._safe.bottom - sprite.height)

    def draw_mark(self, canvas: Planes, timecode: str, segment: str, scratch: bool) -> None:
        """At the bottom left of the safe area."""
        sprite = self._marks.sprite(timecode, segment, scratch)
        blend(canvas, sprite, self._safe.x, self._safe.bottom - sprite.height)

    @property
    def ground(self) -> tuple[int, int, int]:
        """The look's ground as codes."""
        raise NotImplementedError

    def close(self) -> None:
        """Close what is kept open."""
        if self._kept is not None:
            self._kept.close()
            self._kept = None

    def __enter__(self) -> Self:
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
