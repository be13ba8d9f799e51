"""Shots, stages and canvases for tests of the picture room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from media_maker import write_clip

from assembler.media.info import CaptureInfo
from assembler.media.planes import Planes, blank
from assembler.picture.painter import ShotPainter, Stage
from assembler.picture.text import FontSet
from assembler.storyboard.model import Arrangement, Capture, Subject
from assembler.timeline.model import PlacedPane, PlacedShot
from assembler.timing.spans import Span

SUBJECTS = {
    "ash": Subject(id="ash", name="Ash", note="desktop", order=0),
    "birch": Subject(id="birch", name="Birch", note="handheld", order=1),
}


@lru_cache(maxsize=1)
def fonts() -> FontSet:
    """One set for all tests: shaping fonts is slow to set up."""
    return FontSet()


def flat_clip(path: Path, lumas: Sequence[int], size: tuple[int, int] = (320, 180)) -> Path:
    """A lossless clip whose pictures are each of one luma."""

    def draw(luma: int, width: int, height: int) -> list[npt.NDArray[np.uint8]]:
        chroma = np.full((height // 2, width // 2), 128, np.uint8)
        return [np.full((height, width), luma, np.uint8), chroma, chroma]

    return write_clip(path, pictures=lumas, size=size, draw=draw, options={"qp": "0"}, colour=(1, 1, 1, 1))


def make_stage(
    captures: Mapping[str, CaptureInfo] | None = None,
    width: int = 640,
    height: int = 360,
    bits: int = 8,
    **more: Any,
) -> Stage:
    """A stage that is its own programme's size."""
    return Stage(
        width,
        height,
        bits,
        more.pop("rate", Fraction(60)),
        SUBJECTS,
        dict(captures or {}),
        fonts(),
        more.pop("folder", Path()),
        more.pop("canvas", (width, height)),
        **more,
    )


def make_shot(
    arrangement: Arrangement,
    pictures: Sequence[Sequence[int]] = (),
    *,
    frames: int | None = None,
    labels: bool = False,
    subjects: Sequence[str | None] = ("ash", "birch", None, None),
    tail: int = 0,
) -> PlacedShot:
    """A shot; pictures: for each pane, the capture's picture on each frame (tail included)."""
    count = frames if frames is not None else len(pictures[0]) - tail
    panes = tuple(
        PlacedPane(
            pane=pane,
            capture=Capture(id=pane.capture, file=f"{pane.capture}.mp4", subject=subjects[number % len(subjects)]),
            picture=np.array(shown, np.int32),
            wanted_s=Fraction(0),
            speed=Fraction(1),
            held=False,
            early_frames=0,
            late_frames=0,
        )
        for number, (pane, shown) in enumerate(zip(arrangement.panes, pictures, strict=True))
    )
    return PlacedShot(Span(100, 100 + count), arrangement, panes, labels, tail)


def painted(shot: PlacedShot, stage: Stage, frames: Sequence[int]) -> list[Planes]:
    """Frames of a shot, each on a canvas of its own that was full of something else before."""
    found = []
    with ShotPainter(shot, stage, first=frames[0]) as painter:
        for frame in frames:
            canvas = soiled(stage, frame)
            painter.paint(frame, canvas)
            found.append(canvas)
    return found


def soiled(stage: Stage, seed: int) -> Planes:
    """A canvas full of noise: whatever is not painted shows."""
    canvas = blank(stage.width, stage.height, bits=stage.bits)
    noise = np.random.default_rng(seed)
    for plane in (canvas.y, canvas.u, canvas.v):
        plane[:] = noise.integers(0, 1 << stage.bits, plane.shape)
    return canvas
