"""Lines made a little faster or slower at their own pitch, where the storyboard asks for it.

`stretch: 3 % faster` means 1.03 times the speed, so a line of n samples becomes one of n / 1.03, to the nearest
sample. Word times move in proportion; the sound is made once and kept with the other voiced lines.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from assembler.media.tempo import change_tempo
from assembler.narration import store
from assembler.narration.speech import Speech, Word
from assembler.storyboard.model import Line, Storyboard
from assembler.timing.rates import nearest_frame

_VERSION = "1"


def change_of(line: Line, storyboard: Storyboard) -> Fraction:
    """How much faster a line is to be said: 3/100, or -2/100 for slower; 0 = as it was spoken."""
    return storyboard.narration.stretch if line.stretch is None else line.stretch


def at_speed(speech: Speech, change: Fraction) -> Speech:
    """What is known of a line once it is said faster by `change` than it was spoken; its sound is left as it is."""
    spoken = speech.samples if speech.unstretched is None else speech.unstretched
    samples = nearest_frame(spoken / (1 + change), Fraction(1))
    share = Fraction(samples, speech.samples) if speech.samples else Fraction(1)
    words = tuple(
        Word(word.text, nearest_frame(word.start_sample * share, Fraction(1)),
             nearest_frame(word.end_sample * share, Fraction(1)))
        for word in speech.words
    )  # fmt: skip
    return replace(speech, samples=samples, words=words, unstretched=spoken if change else None)


def stretched(speech: Speech, change: Fraction, cache: Path) -> Speech:
    """The same with its sound. Raises MissingPartError or RenderError when the sound cannot be made or kept."""
    if not change:
        return speech
    timed = at_speed(speech, change)
    if speech.sound is None:
        return timed
    name = store.entry_name("stretch", _VERSION, speech.sound.stem, timed.samples)
    stored = store.find(cache, name)
    if stored is None:
        spoken = np.fromfile(speech.sound, "<f4").astype(np.float32, copy=False)
        stored = store.keep(cache, name, change_tempo(spoken, timed.samples))
    return replace(timed, sound=stored.sound)
