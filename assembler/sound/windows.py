"""A long sound cut into pieces, each with so much of what lies around it as filters and coders reach."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from assembler.media.coded_pieces import LEAD
from assembler.media.sound_coder import FRAME
from assembler.sound.loudness import CHUNK
from assembler.timing.rates import SAMPLE_RATE

Sound = npt.NDArray[np.float32]

FRAMES = 375
"""Frames of the coder in a piece that is coded: 8 s, and so whole tenths of a second and milliseconds too."""
SAMPLES = FRAMES * FRAME
MILLISECONDS = SAMPLES // CHUNK


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """A piece and what lies around it. sound: (samples, channels). first, end: places in it of the piece's own first
    sample, and after its last. last: the sound ends with it."""

    sound: Sound
    first: int
    end: int
    last: bool


def windows(sound: Iterator[Sound], edges: Sequence[int], before: int, after: int) -> Iterator[Window]:
    """The pieces between `edges`, which rise from 0 to the end of a sound that is given in blocks of any length.
    before, after: samples around a piece that go with it, as far as there are any."""
    held, begins = None, 0
    for start, end in pairwise(edges):
        parts = [next(sound) if held is None else held]
        reached, wanted = begins + len(parts[0]), min(end + after, edges[-1])
        while reached < wanted:
            parts.append(next(sound))
            reached += len(parts[-1])
        held = np.concatenate(parts)
        first = max(0, start - before)
        yield Window(held[first - begins : wanted - begins], start - first, end - first, end == edges[-1])
        begun = max(0, end - before)
        held, begins = held[begun - begins :].copy(), begun


def coded_windows(sound: Iterator[Sound], samples: int) -> Iterator[Window]:
    """The pieces that a sound of so many samples is coded in: what lies around them are whole frames, filled up with
    silence where there is less."""
    edges = [*range(0, samples, SAMPLES), samples]
    for window in windows(sound, edges, LEAD * FRAME, FRAME):
        if window.last or not (short := -len(window.sound) % FRAME):
            yield window
        else:
            filled = np.concatenate((window.sound, np.zeros((short, window.sound.shape[1]), np.float32)))
            yield Window(filled, window.first, window.end, window.last)


def within(first: int, end: int) -> Iterator[tuple[int, int]]:
    """A stretch by the second, so that what is reckoned of it takes little memory."""
    for start in range(first, end, SAMPLE_RATE):
        yield start, min(start + SAMPLE_RATE, end)
