"""The timeline: a storyboard wholly resolved to frames and samples.

Pictures are counted in canvas frames, sound in samples at 48 kHz, both from the programme's start,
all spans half-open. Checks, captions, pictures, sound and exports read this and nothing earlier.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assembler.errors import Place
from assembler.measure.model import Cadence
from assembler.media.info import CaptureInfo, SoundInfo
from assembler.narration.speech import Speech
from assembler.storyboard.model import Arrangement, Capture, Graphs, Line, Music, Pane, Segment, Storyboard
from assembler.timing.spans import Span

Indexes = npt.NDArray[np.int32]


@dataclass(frozen=True, slots=True, eq=False)
class PlacedPane:
    """A pane with, for each frame of its shot, the picture of the capture that is shown.

    picture: (frames,) index into the capture's pictures in display order (read-only); before the
    first picture it is 0 and after the last one it is the last: `early` and `late` count those frames.
    wanted_s: capture time asked for at the shot's first frame, seconds from its first picture.
    speed: capture seconds a programme second; held: whether it is frozen for any of the shot.
    """

    pane: Pane
    capture: Capture
    picture: Indexes
    wanted_s: Fraction
    speed: Fraction
    held: bool
    early_frames: int
    late_frames: int


@dataclass(frozen=True, slots=True)
class Summed:
    """A capture of a summary, and the half-open stretch of its own time that is counted, in seconds. Where there is
    nothing to count the two are equal."""

    capture: Capture
    start_s: Fraction
    end_s: Fraction


@dataclass(frozen=True, slots=True, eq=False)
class PlacedShot:
    """One arrangement over `span`. The panes' pictures run on for `tail_frames` beyond the span,
    for a dissolve into what follows; `picture` has span.frames + tail_frames entries. summed: what a summary counts."""

    span: Span
    arrangement: Arrangement
    panes: tuple[PlacedPane, ...]
    labels: bool
    tail_frames: int = 0
    place: Place | None = None
    graphs: Graphs | None = None
    summed: tuple[Summed, ...] = ()


@dataclass(frozen=True, slots=True)
class PlacedLine:
    """A narration line where it is spoken. `number` counts from 1 within its segment.

    The speech runs from start_sample to start_sample + speech.samples; a word's times in `speech`
    count from the speech's own start.
    """

    segment: str
    number: int
    line: Line
    speech: Speech
    start_sample: int

    @property
    def end_sample(self) -> int:
        return self.start_sample + self.speech.samples


@dataclass(frozen=True, slots=True, eq=False)
class PlacedHear:
    """Capture sound from `start_sample` to `end_sample`, taken from the capture at `capture_s`
    (seconds from the capture's first picture)."""

    capture: Capture
    start_sample: int
    end_sample: int
    capture_s: Fraction
    gain_db: float


@dataclass(frozen=True, slots=True, eq=False)
class PlacedMusic:
    """Music from `start_sample` to `end_sample`; `info` is what was read of the file at `path`."""

    music: Music
    path: Path
    info: SoundInfo
    start_sample: int
    end_sample: int


@dataclass(frozen=True, slots=True, eq=False)
class PlacedSegment:
    """A segment on the programme's frames. `needed_frames`: what its narration needs, lead and tail
    included (0 without narration). `dissolve_frames`, `fade_in_frames`, `fade_out_frames` lie inside the span."""

    segment: Segment
    span: Span
    shots: tuple[PlacedShot, ...]
    lines: tuple[PlacedLine, ...]
    heard: tuple[PlacedHear, ...]
    needed_frames: int
    dissolve_frames: int = 0
    fade_in_frames: int = 0
    fade_out_frames: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Timeline:
    """The whole programme. `folder` is the project folder; `captures` holds what was read of each
    capture the programme shows, sums up or hears; `measured`, the cadence of those with a graph or summary."""

    storyboard: Storyboard
    folder: Path
    rate: Fraction
    frames: int
    segments: tuple[PlacedSegment, ...]
    captures: Mapping[str, CaptureInfo]
    measured: Mapping[str, Cadence] = field(default_factory=dict)
    music: tuple[PlacedMusic, ...] = ()

    @property
    def width(self) -> int:
        return self.storyboard.canvas.width

    @property
    def height(self) -> int:
        return self.storyboard.canvas.height
