"""The programme as a moviepy clip, for people who work in Python.

    programme = assembler.as_moviepy(timeline)
    programme.subclipped(10, 12).write_gif("detail.gif", fps=10)

Frames are drawn as a draft draws them, one at a time and only when they are asked for; nothing is encoded.
"""

from __future__ import annotations

import bisect
import contextlib
import tempfile
import threading
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from assembler.media.planes import Planes, blank
from assembler.render.part import DrawnPart
from assembler.timeline.model import Timeline
from assembler.timing.rates import SAMPLE_RATE
from assembler.timing.spans import Span

if TYPE_CHECKING:
    from moviepy import VideoClip

    from assembler.render.jobs import PartJob
    from assembler.render.tools import PictureTools

# A time that was k / rate before it went through floating point is frame k, not the one before.
_SLIP = 1e-6
# Going ahead by more than this opens the shot anew, at the frame asked for; less is read through.
_READ_THROUGH_FRAMES = 90


def as_moviepy(
    timeline: Timeline,
    *,
    size: tuple[int, int] | None = None,
    captions: bool | None = None,
    marks: bool = False,
    allow_code: bool = False,
) -> VideoClip:
    """The programme as a moviepy clip with sound, at its own rate; `close()` lets go of its files.

    At time t it shows what a draft shows then, as (height, width, 3) uint8; its sound is the mix, at 48 kHz, made when
    it is first asked for. Frames may be asked for in any order; in rising order is quick.
    size: width and height, even; None = the canvas's. captions: burnt in; None = as the storyboard says. marks: the
    corner of a draft. allow_code: run the project's own Python for `made` pictures.
    What `get_frame` raises: MediaError, RenderError or UsageError.
    """
    from moviepy import AudioClip, VideoClip

    frames = _Frames(timeline, size, captions, marks, allow_code)
    sound = _Sound(timeline)
    # Given their functions only now: moviepy asks for the first frame as soon as it is told of one.
    audio = AudioClip(duration=float(sound.samples / SAMPLE_RATE), fps=SAMPLE_RATE)
    audio.nchannels, audio.frame_function = 2, sound.at
    clip = VideoClip(duration=float(timeline.frames / timeline.rate))
    clip.frame_function, clip.size = frames.at, frames.size
    clip.fps, clip.audio = float(timeline.rate), audio

    def close() -> None:
        frames.close()
        sound.close()

    clip.close = close
    return clip


class _Frames:
    """A programme's frames as R'G'B', in any order."""

    def __init__(
        self, timeline: Timeline, size: tuple[int, int] | None, captions: bool | None, marks: bool, allow_code: bool
    ) -> None:
        from assembler.captions.project import captions_of
        from assembler.render.draft import DraftOptions, part_jobs

        self._timeline = timeline
        self._options = DraftOptions(size=size, burn_captions=captions, marks=marks, allow_code=allow_code)
        cues = captions_of(timeline, timeline.folder).cues
        self._jobs: tuple[PartJob, ...] = part_jobs(timeline, cues, self._options)
        self._starts = [0]
        for job in self._jobs[:-1]:
            self._starts.append(self._starts[-1] + job.frames)
        self.size = self._jobs[0].width, self._jobs[0].height
        self._canvas: Planes = blank(*self.size)
        self._tools: PictureTools | None = None
        self._open = contextlib.ExitStack()
        self._drawn: DrawnPart | None = None
        self._part, self._following = -1, 0
        self._last: tuple[int, npt.NDArray[np.uint8]] | None = None
        self._turn = threading.Lock()

    def at(self, t: float) -> npt.NDArray[np.uint8]:
        """(height, width, 3), the caller's own."""
        frame = min(max(0, int(t * float(self._timeline.rate) + _SLIP)), self._timeline.frames - 1)
        with self._turn:
            if self._last is None or self._last[0] != frame:
                self._last = frame, self._shown(frame)
            return self._last[1].copy()

    def close(self) -> None:
        """Let go of files. A frame that is asked for afterwards opens them again."""
        with self._turn:
            self._leave()
            if self._tools is not None:
                self._tools.close()
            self._tools = None

    def _shown(self, frame: int) -> npt.NDArray[np.uint8]:
        from assembler.picture.rgb import read_rgb

        part = bisect.bisect_right(self._starts, frame) - 1
        within = frame - self._starts[part]
        try:
            drawn = self._opened(part, within)
            drawn.paint(within, self._canvas)
            drawn.draw(within, self._canvas)
        except BaseException:
            self._leave()
            raise
        self._following = within + 1
        return read_rgb(self._canvas)

    def _opened(self, part: int, within: int) -> DrawnPart:
        ahead = within - self._following
        if self._drawn is not None and part == self._part and 0 <= ahead <= _READ_THROUGH_FRAMES:
            return self._drawn
        self._leave()
        if self._tools is None:
            from assembler.render.draft import stage_for
            from assembler.render.tools import PictureTools

            self._tools = PictureTools(stage_for(self._timeline, self._options))
        self._drawn = self._open.enter_context(DrawnPart(self._jobs[part], self._tools, within))
        self._part = part
        return self._drawn

    def _leave(self) -> None:
        self._drawn, self._part = None, -1
        self._open.close()


class _Sound:
    """A programme's sound, mixed once into a file that goes with it: an hour would fill 1.4 GB of memory."""

    def __init__(self, timeline: Timeline) -> None:
        from assembler.timing.rates import sample_of_frame

        self._timeline = timeline
        self.samples = sample_of_frame(timeline.frames, timeline.rate)
        self._mixed: npt.NDArray[np.float32] | None = None
        self._turn = threading.Lock()

    def at(self, t: float | npt.NDArray[np.float64]) -> npt.NDArray[np.float32]:
        """The nearest sample, (2,), or those of several times, (n, 2). Silence outside the programme."""
        with self._turn:
            mixed = self._mixed if self._mixed is not None else self._mix()
            places = np.rint(np.asarray(t, np.float64) * SAMPLE_RATE).astype(np.int64)
            there = (places >= 0) & (places < self.samples)
            found = np.asarray(mixed[np.clip(places, 0, max(0, self.samples - 1))])
            return np.where(there[..., None], found, np.float32(0))

    def close(self) -> None:
        """Give up the mix; sound that is asked for afterwards is mixed again."""
        with self._turn:
            self._mixed = None

    def _mix(self) -> npt.NDArray[np.float32]:
        from assembler.render.draft import CACHE_NAME
        from assembler.sound.mix import mix
        from assembler.sound.store import kept_levels

        timeline = self._timeline
        levels = kept_levels(timeline, timeline.folder / CACHE_NAME)
        with tempfile.TemporaryFile(prefix="assembler-") as file:  # the map holds on to what has no name any more
            for block in mix(timeline, span=Span(0, timeline.frames), levels=levels).blocks():
                file.write(np.ascontiguousarray(block, "<f4").tobytes())
            file.flush()
            self._mixed = np.memmap(file, "<f4", "r", shape=(self.samples, 2))
        return self._mixed
