"""How well a line fits the sound of a try, by the measure of the reader's own sounds.

Each sound of a line is held against whichever of all sounds fits best there. How far it falls short of that differs
from one sound to the next, from reader to reader and from room to room: a voice that the recogniser knows badly falls
far short everywhere. So every sound is measured against the same reader's same sound in tries that are trusted, and
a word that was not said falls short of that.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from assembler.narration.recogniser import Sound

_FRAMES_S = 100
_A_WORD = 15  # frames of a word that counts in full
_AS_MUCH = 30.0  # frames of the reader's other sounds that every sound's own measure counts beside its own

Usual = Mapping[str, float]
"""How well each sound of a reader fits as a rule; that of '' for sounds that were not heard."""


def usual(tries: Iterable[Sequence[Sound]]) -> Usual:
    """The reader's measure from trusted tries; empty where there is none."""
    sums: dict[str, float] = defaultdict(float)
    frames: dict[str, int] = defaultdict(int)
    for sounds in tries:
        for sound in sounds:
            length = _frames(sound)
            sums[sound.name] += sound.score * length
            frames[sound.name] += length
    total = sum(frames.values())
    if not total:
        return {}
    level = sum(sums.values()) / total
    own = {name: (sums[name] + level * _AS_MUCH) / (frames[name] + _AS_MUCH) for name in sums}
    return {**own, "": level}


def shortfall(sounds: Sequence[Sound], measure: Usual) -> float:
    """How far the worst word of a line falls short of the reader's measure: log likelihood a frame, for words shorter
    than 0.15 s taken for less, as so few frames swing. Below 0 where every word is better than usual."""
    short: dict[int, float] = defaultdict(float)
    frames: dict[int, int] = defaultdict(int)
    for sound in sounds:
        length = _frames(sound)
        short[sound.word] += (measure.get(sound.name, measure[""]) - sound.score) * length
        frames[sound.word] += length
    return max(short[word] / frames[word] * math.sqrt(min(1.0, frames[word] / _A_WORD)) for word in short)


def _frames(sound: Sound) -> int:
    return max(1, round((sound.end_s - sound.start_s) * _FRAMES_S))
