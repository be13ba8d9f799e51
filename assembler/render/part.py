"""Make one part: paint its frames, mix dissolve and fade, draw captions and marks, encode.

A job and a stage go in, a file comes out; nothing else is read or changed. While a frame is
composed, the panes' next pictures are being read and the frame before is being encoded.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Protocol

from assembler.media.planes import Planes, blank
from assembler.media.writer import PartWriter
from assembler.render.jobs import Burn, Fade, PartJob
from assembler.render.mixing import mix, mix_colour
from assembler.timeline.model import PlacedShot
from assembler.timing.timecode import frame_to_label


class Interrupted(KeyboardInterrupt):
    """The person, or the system, asked the run to end. The command ends with exit code 130."""


@dataclass(frozen=True, slots=True)
class Mark:
    """What a draft's small mark says on one frame."""

    timecode: str
    segment: str
    scratch: bool


class Painter(Protocol):
    """Paints a shot's frames in rising order; `paint` writes the whole canvas."""

    def paint(self, k: int, canvas: Planes) -> None: ...


class Tools(Protocol):
    """What a part is drawn with. `picture_tools` gives the real ones."""

    def painter(self, shot: PlacedShot, first: int) -> AbstractContextManager[Painter]:
        """Opens a shot at a frame."""

    def draw_over(self, canvas: Planes, shot: PlacedShot, caption: Burn | None, mark: Mark | None) -> None:
        """Blends a caption's lines (none: no caption) and the frame's mark over a frame of the shot.
        Called for every frame, so it keeps what it drew."""

    @property
    def ground(self) -> tuple[int, int, int]:
        """Y, U, V codes of the ground, in the canvas's bits."""


@dataclass(frozen=True, slots=True)
class PartTimes:
    """Where a part's time went, in seconds. paint: reading and composing; draw: dissolve, fade,
    captions and marks; wait: for the encoder; encode: in the encoder's thread, beside the others;
    whole: from start to finish."""

    frames: int = 0
    paint_s: float = 0.0
    draw_s: float = 0.0
    wait_s: float = 0.0
    encode_s: float = 0.0
    whole_s: float = 0.0

    def __add__(self, other: PartTimes) -> PartTimes:
        return PartTimes(
            self.frames + other.frames,
            self.paint_s + other.paint_s,
            self.draw_s + other.draw_s,
            self.wait_s + other.wait_s,
            self.encode_s + other.encode_s,
            self.whole_s + other.whole_s,
        )


def render_part(
    job: PartJob,
    tools: Tools,
    path: Path,
    *,
    on_frame: Callable[[], None] = lambda: None,
    cancelled: Callable[[], bool] = lambda: False,
    before_landing: Callable[[], None] = lambda: None,
) -> PartTimes:
    """Make the part and land it at `path`.

    on_frame: called after each frame. cancelled: asked before each frame; true raises Interrupted and
    nothing is left behind. before_landing: called when all frames are drawn; if it raises, nothing is left behind
    either. Raises MediaError, MissingPartError or RenderError.
    """
    began = time.perf_counter()
    paint_s = draw_s = 0.0
    with ExitStack() as open_things:
        writer = open_things.enter_context(
            PartWriter(path, width=job.width, height=job.height, rate=job.rate, settings=job.settings)
        )
        drawn = open_things.enter_context(DrawnPart(job, tools))
        for frame in range(job.frames):
            if cancelled():
                raise Interrupted
            canvas = writer.canvas()
            started = time.perf_counter()
            drawn.paint(frame, canvas)
            painted = time.perf_counter()
            drawn.draw(frame, canvas)
            draw_s += time.perf_counter() - painted
            paint_s += painted - started
            writer.submit()
            on_frame()
        before_landing()
        writer.close()
    whole_s = time.perf_counter() - began
    return PartTimes(job.frames, paint_s, draw_s, writer.wait_s, writer.encode_s, whole_s)


class DrawnPart:
    """A part's frames, drawn one after the other in rising order. A context manager.

    first: the first frame, counted from the part's start, that will be asked for.
    """

    def __init__(self, job: PartJob, tools: Tools, first: int = 0) -> None:
        self._job, self._tools = job, tools
        self._open = ExitStack()
        try:
            self._painter = self._open.enter_context(tools.painter(job.shot, job.first + first))
            self._dissolving = self._open.enter_context(_Dissolving(job, tools, first))
        except BaseException:
            self._open.close()
            raise

    def paint(self, frame: int, canvas: Planes) -> None:
        """The shot itself, on the whole canvas."""
        self._painter.paint(self._job.first + frame, canvas)

    def draw(self, frame: int, canvas: Planes) -> None:
        """What comes over it: dissolve, fades, caption and mark."""
        self._dissolving.draw(frame, canvas)
        for fade in self._job.fades:
            mix_colour(canvas, self._tools.ground, ground_share(fade, frame))
        _draw_over(self._job, self._tools, frame, canvas)

    def __enter__(self) -> DrawnPart:
        return self

    def __exit__(self, *error: object) -> None:
        self._open.close()


def incoming_share(frame: int, done: int, length: int) -> Fraction:
    """How much of the new picture shows in a dissolve: never none and never all, in even steps."""
    return min(Fraction(1), Fraction(done + frame + 1, length + 1))


def ground_share(fade: Fade, frame: int) -> Fraction:
    """How much of the ground shows: all at the programme's outermost frame of the fade, none beyond it."""
    return 1 - Fraction(min(max(fade.at + fade.step * frame, 0), fade.length), fade.length)


class _Dissolving:
    """The outgoing picture, open for as long as it shows. A context manager."""

    def __init__(self, job: PartJob, tools: Tools, first: int = 0) -> None:
        self._open = ExitStack()
        self._dissolve = job.dissolve
        self._painter: Painter | None = None
        if job.dissolve is not None and job.dissolve.done + first < job.dissolve.length:
            begin = job.dissolve.first + first
            self._painter = self._open.enter_context(tools.painter(job.dissolve.shot, begin))
            self._old = blank(job.width, job.height, bits=job.settings.bits)

    def draw(self, frame: int, canvas: Planes) -> None:
        if self._painter is None or self._dissolve is None:
            return
        dissolve = self._dissolve
        if dissolve.done + frame >= dissolve.length:
            self._painter = None
            self._open.close()
            return
        self._painter.paint(dissolve.first + frame, self._old)
        mix(canvas, self._old, 1 - incoming_share(frame, dissolve.done, dissolve.length))

    def __enter__(self) -> _Dissolving:
        return self

    def __exit__(self, *error: object) -> None:
        self._open.close()


def _draw_over(job: PartJob, tools: Tools, frame: int, canvas: Planes) -> None:
    mark, stamp = None, job.stamp
    if stamp is not None:
        timecode = frame_to_label(stamp.first_frame + frame, job.rate)
        if stamp.within:  # no segment is so long that hours need saying, but where one is they are said
            timecode = "+" + timecode.removeprefix("00:")
        mark = Mark(timecode, stamp.segment, any(frame in span for span in stamp.scratch))
    shown = (burn for burn in job.captions if burn.lines and burn.start_frame <= frame < burn.end_frame)
    caption = next(shown, None)
    if caption is not None or mark is not None:
        tools.draw_over(canvas, job.shot, caption, mark)
