"""What a listener who knows no script (ear.py) says of a take: whether it bears the written words out or speaks
against them.

It may hear other words than the written ones because those were said, because it does not know the written ones, or
because it hears badly. Only the first makes them both very unlikely to it and unlike in sound.
"""

from __future__ import annotations

import threading
import weakref
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from assembler.narration.ear import LONGEST_S, Ear, available
from assembler.narration.ear_line import Comparison, Place, compare, words_of
from assembler.narration.recogniser import HEARD_RATE, Pcm
from assembler.narration.rival import heard_instead
from assembler.narration.spoken import SpokenToken, voiced

# How much less likely than what was heard (log) words are that are not believed; that are, where what was heard
# sounds like them; and where it does not. Set with benchmarks/align_speech.py on its tuned voices, in noise too, and on
# real recordings: of their 1881 wrong texts none would be believed with 4.7 and 3.6 instead of the latter two.
UNLIKELY, LIKELY, SURELY = 6.0, 4.0, 2.5
_OTHER_SHARE, _LEAST_OTHER = 0.5, 1.5
"""Of the sounds of two stretches of words, how many differ at least where they are different words."""
LEAST_HEARD = 0.5
"""Share of a line's words that has to be heard as written for the others to be believed: who hears less hears badly."""
_LEAST_BESIDES = 3.0  # sounds of a word besides the written ones

_making = threading.Lock()
_asking = threading.Lock()  # the first one who asks loads the network; it answers in a twentieth of a take's length
_made: weakref.ref[Ear] | None = None


@dataclass(frozen=True, slots=True)
class Opinion:
    """heard: the words heard, as they are said. against: what speaks against the written words, in words, or ''.
    for_it: whether the written words are borne out. With neither the listener does not know."""

    heard: tuple[str, ...]
    for_it: bool
    against: str


def shared_ear() -> Ear | None:
    """The ear that everybody in this program shares, as its network takes 100 MB, or None where there is none. It is
    given back when nobody holds it any more; several threads may ask it."""
    global _made
    if not available():
        return None
    with _making:
        ear = _made() if _made else None
        if ear is None:
            ear = Ear()
            _made = weakref.ref(ear)
        return ear


def opinion(pcm: Pcm, own: Sequence[str], added: Mapping[str, str], ear: Ear) -> Opinion | None:
    """What the ear says of a take; None where it is longer than the ear listens. own: the written words as they are
    said. added: pronunciations that the dictionary lacks."""
    if pcm.size > LONGEST_S * HEARD_RATE:
        return None
    tokens = [SpokenToken(0, 0, voiced(word), (word,), "") for word in own]
    with _asking:
        heeded = ear.heed(pcm)
        made = compare(tokens, ear.hears(heeded), lambda texts: ear.reads(heeded, texts), added)
    return weighed(own, made)


def weighed(own: Sequence[str], made: Comparison) -> Opinion:
    """What is to be thought of a comparison with the written words."""
    heard = words_of(made.heard)
    worst = max(filter(_speaks_against, made.places), key=lambda place: place.slack, default=None)
    if worst is not None:
        return Opinion(heard, False, heard_instead(worst.heard, [own[n] for n in worst.written]))
    return Opinion(heard, made.share >= LEAST_HEARD and all(map(_believed, made.places)), "")


def _speaks_against(place: Place) -> bool:
    if not place.written and place.apart >= _LEAST_BESIDES and place.slack >= LIKELY:
        return True  # no written word was misheard there, and those of two sounds alone are put in out of habit
    return _other(place) and place.slack >= UNLIKELY


def _believed(place: Place) -> bool:
    """Whether the written words may have been said in spite of what was heard."""
    if _other(place):
        return bool(place.written and place.heard) and place.slack < SURELY
    return place.slack < LIKELY


def _other(place: Place) -> bool:
    """Whether what was heard is another word, not the written one misheard or written otherwise."""
    return place.apart >= _LEAST_OTHER and place.apart > _OTHER_SHARE * place.sounds
