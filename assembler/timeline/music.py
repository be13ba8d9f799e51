"""Where music plays: one stretch for each run of segments that it was asked under."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from assembler.media.info import SoundInfo
from assembler.storyboard.model import Music
from assembler.timeline.model import PlacedMusic, Timeline
from assembler.timing.rates import sample_of_frame

SoundFiles = Mapping[str, tuple[Path, SoundInfo]]
"""Sound files that could be read, under the names they are written by."""


def place_music(timeline: Timeline, files: SoundFiles) -> tuple[PlacedMusic, ...]:
    """Every stretch of music, by its start; music whose file could not be read is left out."""
    placed = [
        PlacedMusic(music, *files[music.file], start, end)
        for music in timeline.storyboard.sound.music
        if music.file in files
        for start, end in _stretches(timeline, music)
    ]
    return tuple(sorted(placed, key=lambda each: each.start_sample))


def _stretches(timeline: Timeline, music: Music) -> Iterator[tuple[int, int]]:
    """First and past-last programme sample of each stretch. A gap between two segments ends one."""
    if not music.segments:
        yield 0, sample_of_frame(timeline.frames, timeline.rate)
        return
    start: int | None = None
    end = 0
    for placed in timeline.segments:
        wanted = placed.segment.id in music.segments
        if start is not None and not wanted:
            yield start, end
            start = None
        if wanted:
            start = sample_of_frame(placed.span.start_frame, timeline.rate) if start is None else start
            end = sample_of_frame(placed.span.end_frame, timeline.rate)
    if start is not None:
        yield start, end
