"""One gain for all that was recorded together, so that a reader's own loud and soft words stay what they are.

A session is a recording: the lines cut from one file share a gain. A recording of which the programme uses less than
`SHORTEST_S` cannot be measured alone and goes with all the recordings of its folder. The scratch voice is a session
of its own.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from assembler.sound.buses import heard_lines, read_speech
from assembler.sound.loudness import Power, PowerMeter, amplitude, integrated_lufs
from assembler.sound.weighting import KWeighting
from assembler.timeline.model import PlacedLine, Timeline
from assembler.timing.rates import SAMPLE_RATE

NARRATION_LUFS = -16.0
"""What every session is brought to before the programme's own gain. Common practice, no source."""
MOST_GAIN_DB = 20.0
"""What is quieter than this below its target stays quiet: silence and hiss are not made loud."""
SHORTEST_S = 3
_GRAIN_MS = 10
_STEP_DB = 0.1
"""Levels go in steps too small to be heard, so that a changed word leaves all other lines sample for sample as they
were, and what was coded of them is right still."""


def session_of(line: PlacedLine) -> str:
    """The session a heard line belongs to."""
    source = line.speech.source
    return line.speech.kind if source is None else str(source)


def session_gains(timeline: Timeline) -> dict[str, float]:
    """The amplitude that brings each session to the narration's loudness; 1 for one that has no loudness."""
    sessions: dict[str, list[PlacedLine]] = {}
    for line in heard_lines(timeline):
        sessions.setdefault(session_of(line), []).append(line)
    powers = {name: _power(lines) for name, lines in sessions.items()}
    folders: dict[str, list[Power]] = {}
    for name, lines in sessions.items():
        folders.setdefault(_folder(lines[0]), []).append(powers[name])
    return {
        name: levelling_gain(
            powers[name] if _long(lines) else np.concatenate(folders[_folder(lines[0])]), NARRATION_LUFS, _GRAIN_MS
        )
        for name, lines in sessions.items()
    }


def levelling_gain(power: Power, target_lufs: float, grain_ms: int) -> float:
    """The amplitude that brings a sound to a loudness; 1 for one that has none."""
    loudness = integrated_lufs(power, grain_ms)
    if loudness is None:
        return 1.0
    return amplitude(round(min(target_lufs - loudness, MOST_GAIN_DB) / _STEP_DB) * _STEP_DB)


def _long(lines: Sequence[PlacedLine]) -> bool:
    return sum(line.speech.samples for line in lines) >= SHORTEST_S * SAMPLE_RATE


def _folder(line: PlacedLine) -> str:
    source = line.speech.source
    return line.speech.kind if source is None else str(source.parent)


def _power(lines: Sequence[PlacedLine]) -> Power:
    weighting, meter = KWeighting(1), PowerMeter(_GRAIN_MS)
    for line in lines:
        assert line.speech.sound is not None
        for first in range(0, line.speech.samples, SAMPLE_RATE):
            block = read_speech(line.speech.sound, first, min(SAMPLE_RATE, line.speech.samples - first))
            # Heard from both channels, hence counted twice.
            meter.add(np.repeat(weighting.weigh(block[:, None]), 2, axis=1))
    return meter.power()
