"""A second opinion on a try in which other words than the line's were heard.

The listener that knows no script (ear.py) hears words; the recogniser (recogniser.py) tells how well given words fit a
sound, frame by frame. So it is asked where the first one doubts: how well the line's words fit, and by how much those
that were heard fit better.
"""

from __future__ import annotations

from dataclasses import replace

from assembler.errors import NarrationError
from assembler.narration import recogniser
from assembler.narration.ear_line import words_of
from assembler.narration.pronounce import Pronouncer
from assembler.narration.rival import better_by
from assembler.narration.take_judge import FRAMES_S, Evidence
from assembler.narration.take_listen import Listener
from assembler.narration.take_recognised import sayable

_GULF = 6.0  # Comparison.gulf from which on a second opinion is asked for
_AROUND = 15  # frames
_NOWHERE = -20.0


def second_opinion(
    one: Evidence, words: tuple[str, ...], listener: Listener, pronouncer: Pronouncer, frames: int
) -> Evidence:
    """The try, with what the recogniser says of it; as it is where nothing is to be asked, or nobody there. words: the
    line's. frames: of the recording."""
    ear = one.ear
    if ear is None or ear.told.gulf < _GULF or not recogniser.available():
        return one
    heard = words_of(ear.told.heard)
    added = pronouncer.added({part for word in (*words, *heard) for part in (word, *word.split("-"))})
    line, other = sayable(words, added), sayable(heard, added)
    if not line or not other:
        return one
    first = max(0, round(one.start_s * FRAMES_S) - _AROUND)
    past = min(frames, round(one.end_s * FRAMES_S) + _AROUND)
    try:
        found = listener.align(first, past, line, added)
        rival = listener.align(first, past, other, added)
    except NarrationError:
        return one
    worst = min((word.score for word in found), default=_NOWHERE) if found else _NOWHERE
    return replace(one, ear=replace(ear, rival=better_by(rival or (), found or ()), worst=worst))
