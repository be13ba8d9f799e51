"""All that a programme is made of, block by block: narration, and under it captures and music, lowered."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assembler.sound.buses import CaptureBus, NarrationBus, heard_lines
from assembler.sound.ducking import Ducking, spoken_spans
from assembler.sound.music import MusicBus, music_gains
from assembler.sound.sessions import session_gains, session_of
from assembler.sound.stems import Stems
from assembler.timeline.model import Timeline

Mono = npt.NDArray[np.float32]
Stereo = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Gains:
    """What narration and music are levelled by: amplitudes by session (sessions.py) and by music file."""

    sessions: dict[str, float]
    music: dict[str, float]


def settle_gains(timeline: Timeline, stems: Stems) -> Gains:
    """Measure every session and every music file."""
    return Gains(session_gains(timeline), music_gains(timeline, stems))


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """A stretch of each stream: narration (n,), captures and music (n, 2), levelled and lowered."""

    narration: Mono
    captures: Stereo
    music: Stereo

    def sum(self) -> Stereo:
        """(n, 2), all of them together."""
        return self.captures + self.music + self.narration[:, None]


class Streams:
    """The programme's streams, read forward. A context manager. stems: where decoded sound is kept."""

    def __init__(self, timeline: Timeline, gains: Gains, stems: Stems) -> None:
        self._narration = NarrationBus(timeline, lambda line: gains.sessions.get(session_of(line), 1.0))
        self._captures = CaptureBus(timeline, stems)
        self._music = MusicBus(timeline, gains.music, stems)
        self._ducking = Ducking(spoken_spans(heard_lines(timeline)), timeline.storyboard.sound.duck_db)
        self._held = ExitStack()

    def __enter__(self) -> Streams:
        self._held.enter_context(self._captures)
        self._held.enter_context(self._music)
        return self

    def __exit__(self, *_: object) -> None:
        self._held.close()

    def read(self, start: int, samples: int) -> Block:
        """The next stretch, which begins where the last one ended or later."""
        voice = self._narration.read(start, samples)
        beds = [self._captures.read(start, samples), self._music.read(start, samples)]
        lowered = self._ducking.gains(start, samples) if any(bed is not None for bed in beds) else None
        if lowered is not None:
            beds = [None if bed is None else bed * lowered[:, None] for bed in beds]
        captures, music = (np.zeros((samples, 2), np.float32) if bed is None else bed for bed in beds)
        return Block(np.zeros(samples, np.float32) if voice is None else voice, captures, music)
