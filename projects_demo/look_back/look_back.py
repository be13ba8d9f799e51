"""A moment of the programme shown again, at two thirds of its size, on a quiet ground."""

from __future__ import annotations

from pathlib import Path

from moviepy import ColorClip, CompositeVideoClip, VideoClip

import assembler
from assembler.prepare import prepare


def look_back(width: int, height: int, rate: float, seconds: float, start: float = 0.0) -> VideoClip:
    """The programme from `start` on, for as long as the shot lasts. It must not reach into this shot itself."""
    programme = assembler.as_moviepy(prepare(Path(__file__).parent).timeline, size=(width, height))
    moment = programme.subclipped(start, start + seconds).resized(2 / 3).with_position("center")
    ground = ColorClip((width, height), color=(40, 46, 52), duration=seconds)
    return CompositeVideoClip([ground, moment], size=(width, height))
