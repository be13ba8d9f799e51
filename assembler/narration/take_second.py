"""A second opinion on a try in which other words than the line's were heard.

The listener that knows no script (ear.py) hears words; the recogniser (recogniser.py) tells how well given words fit a
sound, frame by frame. So it is asked where the first one doubts: how well the line's words fit, and by how much those
that were heard fit better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from statistics import median

from assembler.errors import NarrationError
from assembler.narration import recogniser
from assembler.narration.ear_line import words_of
from assembler.narration.pronounce import Pronouncer
from assembler.narration.recogniser import Heard
from assembler.narration.rival import better_by
from assembler.narration.take_judge import FRAMES_S, Evidence
from assembler.narration.take_listen import Listener
from assembler.narration.take_recognised import sayable

_GULF = 6.0  # Comparison.gulf from which on a second opinion is asked for
_AROUND = 15  # frames
_NOWHERE = -20.0
_BEST = 6  # tries by which it is told how well the recogniser hears a reader
_DEAF, _FOLLOWS = -8.0, -4.0  # its worst word in those: no opinion of such a reader counts, and all of it does


class SecondOpinion:
    """Asks the recogniser about tries in one recording. listener: asks it. frames: of the recording. trust: how much
    its opinion of this reader counts, from 0 to 1."""

    def __init__(self, listener: Listener, pronouncer: Pronouncer, frames: int, trust: float) -> None:
        self._listener, self._pronouncer, self._frames, self._trust = listener, pronouncer, frames, trust

    def meet(self, best: Sequence[tuple[Evidence, tuple[str, ...]]]) -> float:
        """Learn, and say, how much the recogniser's opinion of a reader counts. best: tries and the words of their
        lines, the best first."""
        if not recogniser.available():
            return self._trust
        worst = [_worst(self._words(one, words)) for one, words in best[:_BEST]]
        if worst:
            self._trust = min(1.0, max(0.0, (median(worst) - _DEAF) / (_FOLLOWS - _DEAF)))
        return self._trust

    def of(self, one: Evidence, words: tuple[str, ...]) -> Evidence:
        """The try, with what the recogniser says of it; as it is where nothing is to be asked, or nobody there."""
        ear = one.ear
        if ear is None or ear.told.gulf < _GULF or not self._trust or not recogniser.available():
            return one
        found = self._words(one, words)
        heard = self._words(one, words_of(ear.told.heard))
        return replace(one, ear=replace(ear, rival=better_by(heard, found), worst=_worst(found), trust=self._trust))

    def _words(self, one: Evidence, words: tuple[str, ...]) -> tuple[Heard, ...]:
        """Where words lie in a try; none where they cannot be found there."""
        added = self._pronouncer.added_with_parts(words)
        first = max(0, round(one.start_s * FRAMES_S) - _AROUND)
        past = min(self._frames, round(one.end_s * FRAMES_S) + _AROUND)
        known = sayable(words, added)
        if not known:
            return ()
        try:
            return self._listener.align(first, past, known, added) or ()
        except NarrationError:
            return ()


def _worst(found: Sequence[Heard]) -> float:
    return min((word.score for word in found), default=_NOWHERE)
