"""A long sound cut into pieces of one length, each with so much of what lies around it as filters and coders reach."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assembler.media.coded_pieces import LEAD
from assembler.media.sound_coder import FRAME
from assembler.sound.loudness import CHUNK
from assembler.timing.rates import SAMPLE_RATE

Sound = npt.NDArray[np.float32]

FRAMES = 375
"""Frames of the coder in a piece, which are 8 s, and so whole tenths of a second and milliseconds too."""
SAMPLES = FRAMES * FRAME
MILLISECONDS = SAMPLES // CHUNK


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """A piece and what lies around it. sound: (samples, channels). lead: frames of it before the piece's first. last:
    the sound ends with it; else one whole frame of the next piece follows, filled up with silence where there is less.
    """

    sound: Sound
    lead: int
    last: bool

    @property
    def first(self) -> int:
        """Place of the piece's own first sample in it."""
        return self.lead * FRAME

    @property
    def end(self) -> int:
        """Place after the piece's own last sample in it."""
        return len(self.sound) if self.last else self.first + SAMPLES


def within(first: int, end: int) -> Iterator[tuple[int, int]]:
    """A stretch by the second, so that what is reckoned of it takes little memory."""
    for start in range(first, end, SAMPLE_RATE):
        yield start, min(start + SAMPLE_RATE, end)


def windows(sound: Iterator[Sound], samples: int) -> Iterator[Window]:
    """The pieces of a sound of `samples` samples, given in blocks of any length."""
    if not samples:
        return
    frames = -(-samples // FRAME)
    held, begins = next(sound), 0
    for first in range(0, frames, FRAMES):
        last = first + FRAMES >= frames
        end = samples if last else (first + FRAMES + 1) * FRAME
        parts, reached = [held], begins + len(held)
        while reached < min(end, samples):
            parts.append(next(sound))
            reached += len(parts[-1])
        held = np.concatenate(parts)
        lead = min(first, LEAD)
        window = held[(first - lead) * FRAME - begins : end - begins]
        if not last and (short := -len(window) % FRAME):
            window = np.concatenate((window, np.zeros((short, window.shape[1]), np.float32)))
        yield Window(window, lead, last)
        begun = max(0, first + FRAMES - LEAD) * FRAME
        held, begins = held[begun - begins :].copy(), begun
