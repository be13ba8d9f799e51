"""Small programmes made by code, and drawing tools that need no footage, for the tests of rendering.

    timeline = programme(tmp_path, [Scene("a", [30]), Scene("b", [20, 25], dissolve=6)])
    render_draft(timeline, cues, options, open_tools=number_tools, mix_sound=quiet)

Every frame of a shot carries the number of the picture its pane shows, so that the draft can be read back.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from media_maker import number_in, number_picture

from assembler.captions.cues import Cue
from assembler.captions.styled import text_of
from assembler.media.info import CaptureInfo, Colour
from assembler.media.planes import Planes
from assembler.media.writer import EncoderSettings, frame_planes
from assembler.narration.speech import Speech
from assembler.render.draft import DraftOptions, OpenTools
from assembler.render.jobs import Burn
from assembler.render.part import Mark
from assembler.storyboard.model import (
    Arrangement,
    Canvas,
    CaptionSettings,
    Capture,
    Line,
    Narration,
    Pane,
    Panes,
    Segment,
    Shot,
    Storyboard,
    Subject,
)
from assembler.timeline.model import PlacedLine, PlacedPane, PlacedSegment, PlacedShot, Timeline
from assembler.timing.grammar import parse_time
from assembler.timing.spans import Span

WIDTH, HEIGHT = 160, 90
QUICK = EncoderSettings(preset="ultrafast", crf=15)
PLAIN = DraftOptions(marks=False, settings=QUICK)
GROUND = (32, 130, 127)


@dataclass
class Scene:
    """A segment: its shots' lengths in frames, and the picture number each shot begins with."""

    id: str
    shots: Sequence[int]
    first_pictures: Sequence[int] = ()
    dissolve: int = 0
    fade_in: int = 0
    fade_out: int = 0
    chapter: str | None = None
    scratch: Sequence[tuple[int, int]] = ()  # samples, within the programme
    arrangement: Arrangement | None = None


def programme(folder: Path, scenes: Sequence[Scene], rate: Fraction = Fraction(30)) -> Timeline:
    """A timeline with one capture, `film`, whose pictures are numbered in a row from scene to scene."""
    (folder / "footage").mkdir(exist_ok=True)
    film = folder / "footage" / "film.mp4"
    if not film.exists():
        film.write_bytes(b"not a film, but a file with a content")
    info = CaptureInfo(
        path=film, width=WIDTH, height=HEIGHT, aspect=Fraction(1), rotation=0, codec="h264", pixel_format="yuv420p",
        bits=8, colour=Colour(1, 1, 1, False), pts=np.arange(5_000), time_base=1 / rate, last_duration=1,
        frame_rate=rate, sound=None, interlaced=False,
    )  # fmt: skip
    capture = Capture(id="film", file="footage/film.mp4", subject="ash")
    pane = Pane(capture="film")
    placed: list[PlacedSegment] = []
    here, picture = 0, 0
    for number, scene in enumerate(scenes):
        tail = scenes[number + 1].dissolve if number + 1 < len(scenes) else 0
        start, shots = here, []
        for place, length in enumerate(scene.shots):
            first = scene.first_pictures[place] if scene.first_pictures else picture
            over = tail if place == len(scene.shots) - 1 else 0
            shown = np.arange(first, first + length + over, dtype=np.int32)
            arrangement = scene.arrangement or Panes(kind="full", panes=(pane,))
            panes = (PlacedPane(pane, capture, shown, Fraction(0), Fraction(1), False, 0, 0),)
            shots.append(PlacedShot(Span(here, here + length), arrangement, panes, True, over))
            here, picture = here + length, first + length
        segment = Segment(
            id=scene.id, chapter=scene.chapter, shots=tuple(Shot(arrangement=shot.arrangement) for shot in shots)
        )
        lines = tuple(
            PlacedLine(scene.id, k, Line(text="Words."), Speech("scratch", end - begin, ()), begin)
            for k, (begin, end) in enumerate(scene.scratch, 1)
        )
        placed.append(
            PlacedSegment(
                segment, Span(start, here), tuple(shots), lines, (), 0, scene.dissolve, scene.fade_in, scene.fade_out
            )
        )
    time = parse_time("0.25 s", rate)
    storyboard = Storyboard(
        title="Test", canvas=Canvas(width=WIDTH, height=HEIGHT, rate=rate),
        subjects={"ash": Subject(id="ash", name="Ash")}, captures={"film": capture},
        narration=Narration(lead=time, pause=time, tail=time), captions=CaptionSettings(),
        segments=tuple(p.segment for p in placed),
    )  # fmt: skip
    return Timeline(storyboard, folder, rate, here, tuple(placed), {"film": info})


def cue(start_frame: int, end_frame: int, *lines: str) -> Cue:
    return Cue(start_frame, end_frame, lines, "a", 1, 0, 0)


@dataclass
class NumberTools:
    """Tools that paint picture numbers, a bright corner for captions, and note what they were asked."""

    opened: list[int] = field(default_factory=list)  # first frames of the shots opened
    captions: list[tuple[str, ...]] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    before_paint: Callable[[], None] = lambda: None
    ground: tuple[int, int, int] = GROUND

    @contextlib.contextmanager
    def painter(self, shot: PlacedShot, first: int) -> Iterator[NumberPainter]:
        self.opened.append(first)
        yield NumberPainter(shot, self.before_paint)

    def draw_over(self, canvas: Planes, shot: PlacedShot, caption: Burn | None, mark: Mark | None) -> None:
        if caption is not None:
            self.captions.append(tuple(map(text_of, caption.lines)))
            canvas.u[-10:, :10] = 240
        if mark is not None:
            self.marks.append(mark)


class NumberPainter:
    def __init__(self, shot: PlacedShot, before_paint: Callable[[], None]) -> None:
        self.shot, self.before_paint = shot, before_paint

    def paint(self, k: int, canvas: Planes) -> None:
        self.before_paint()
        number = int(self.shot.panes[0].picture[k])
        canvas.y[:] = number_picture(number, canvas.width, canvas.height, bits=canvas.bits)
        canvas.u[:] = canvas.v[:] = 128 << (canvas.bits - 8)


def with_tools(tools: NumberTools) -> OpenTools:
    return lambda timeline, options: contextlib.nullcontext(tools)


class Quiet:
    """Silence as long as a span."""

    report = "quiet"

    def __init__(self, timeline: Timeline, span: Span, tell: Callable[[float, float], None]) -> None:
        self.samples = round(span.frames * 48_000 / timeline.rate)

    def blocks(self) -> Iterator[np.ndarray]:
        for start in range(0, self.samples, 48_000):
            yield np.zeros((min(48_000, self.samples - start), 2), np.float32)


def pictures(path: Path) -> list[Planes]:
    """Copies of a file's decoded pictures."""
    with av.open(str(path)) as container:
        views = [frame_planes(frame, 8) for frame in container.decode(video=0)]
        return [Planes(view.y.copy(), view.u.copy(), view.v.copy()) for view in views]


def numbers(path: Path) -> list[int]:
    """The number each picture of a file carries."""
    return [number_in(picture.y) for picture in pictures(path)]
