"""Where each word of an accepted take is said, and whether what was recorded is what is written.

Finding words that are known to be there says little about whether they are there: the search makes the best of any
text. So a take is also listened to by somebody who expects the segment's own lines among common words, in any order,
and four things are asked: does that listener hear the written words, does every word's sound fit it, is there speech
that no word accounts for, and speech that sounds of any kind account for far better? Only a take that passes all of
them is `aligned`; times are never taken from another.

A listener who knows the voice badly hears other words now and then. What it heard is then held against what is
written, in the same sound: where that fits hardly better, and no word too many was heard, the written words stand.
Else a listener who also knows British pronunciations is asked, and believed where it hears every word as written.

Where a listener is installed who knows no script at all (ear.py), it is asked first (align_ear.py). A take in which it
hears other words is doubted at once; in one in which it hears the written ones these have only to be found where the
speech is; of the others it says nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from assembler.narration import ear, pronounce, recogniser, store
from assembler.narration.align_ear import opinion, shared_ear
from assembler.narration.ear import Ear
from assembler.narration.pronounce import Pronouncer
from assembler.narration.recogniser import HARDLY_LEAVE, HEARD_RATE, Heard, Pcm, Recogniser, pcm16k
from assembler.narration.rival import better_by, difference, heard_more
from assembler.narration.scratch import available as voice_available
from assembler.timing.rates import SAMPLE_RATE

VERSION = "6"
"""Part of what is kept of an aligned take; changes when the same take would be judged otherwise."""

# Measured with benchmarks/align_speech.py: takes of the text as written lie on the good side of all three, but for
# voices that the recogniser hears badly.
LEAST_AGREEMENT = 0.97
LEAST_SCORE = -5.5
MOST_UNACCOUNTED_S = 0.30
# A short word's score swings: it may be worse where the shortfall from a passable one, times seconds, stays small.
_SHORT_SCORE, _PASSABLE, _SHORTFALL = -8.0, -4.0, 0.27
# For takes in which other words were heard: how much better those may fit where a second listener, who hardly doubts
# the line, hears it, and where that one does not either; and what must be so in both cases.
_BETTER, _BETTER_AGAIN = 2.3, 1.2
_LEAST_HEARD, _LEAST_HEARD_AGAIN = 0.51, 0.6
_OTHERWISE = (-5.0, 0.12)  # worst score, speech under no word
_AGAIN = 10  # how often the line is expected in a second hearing
_SPARE_S = 0.1  # of speech besides the words; a sound between two of them may be shorter
_LEAST_S = 0.02  # of a word; one that is shorter lies outside the recording

_LOUD = 0.5  # of the way from softest to loudest: speech, not a breath
_EDGE_FRAMES = 3
_FRAMES_S = 100
# What the listener may hear instead: without other words a lone line would be heard in anything.
_COMMON = tuple(
    sentence.split()
    for sentence in (
        "this is what we have been looking at all the time and it was not there before",
        "you can see that they would say something about it but she had no more to do with him",
        "how much of the old one did people want to keep when their work was over",
        "some other people came back from the house on the hill after dark",
        "I think he might know where your good friends will go next week",
        "there are many ways to make a small thing big and a new thing old",
        "four or five men took her to the water and then just left by train",
        "never mind which side wins because both could only lose at the end of a long day",
        "so let me show you why these numbers should be lower than most of us thought",
        "right now each part looks fine but nothing in here really works very well without help",
    )
)

Verdict = Literal["aligned", "doubtful", "refused", "unsayable"]


@dataclass(frozen=True, slots=True)
class Alignment:
    """What was made of a take.

    times: start and end of each spoken word in samples of the take (48 kHz), only where the verdict is `aligned`.
    verdict: `doubtful` = found, but something speaks against it; `refused` = the words cannot be found in it;
    `unsayable` = nobody knows how a word sounds. why: what speaks against it. heard: the words that were heard.
    agreement: share of heard and written words that are the same in the same order. worst: the least fitting word's
    score (`Heard.score`). unaccounted_s: the longest stretch of speech under no word.
    """

    verdict: Verdict
    times: tuple[tuple[int, int], ...] = ()
    why: str = ""
    heard: str = ""
    agreement: float = 0.0
    worst: float = 0.0
    unaccounted_s: float = 0.0


class Aligner:
    """Aligns takes; both helper programs are started by the first take that is not kept yet. A context manager.

    Raises MissingPartError from `align` when the recogniser is not installed, NarrationError when it breaks off.
    """

    def __init__(self, cache: Path) -> None:
        self._cache = cache
        self._recogniser: Recogniser | None = None
        self._pronouncer = Pronouncer()
        self._ear: Ear | None = None

    def __enter__(self) -> Aligner:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the helper programs."""
        self._ear = None
        self._pronouncer.close()
        if self._recogniser:
            self._recogniser.close()

    def align(self, sound: Path, words: Sequence[str], script: Sequence[Sequence[str]]) -> Alignment:
        """sound: a kept take, whose name changes with its content. words: what is said, as `SpokenToken.words`.
        script: the spoken words of the lines around it, its own too."""
        parts = (int(voice_available()), ear.VERSION if ear.available() else 0)
        versions = (VERSION, recogniser.VERSION, pronounce.VERSION, *parts)
        name = store.entry_name("align", *versions, sound.stem, *words, "", *(" ".join(line) for line in script))
        kept = _read(store.find_told(self._cache, name), len(words))
        if kept is None:
            self._recogniser = self._recogniser or Recogniser()
            samples = np.fromfile(sound, "<f4").astype(np.float32, copy=False)
            self._ear = self._ear or shared_ear()
            kept = align_take(samples, words, script, self._recogniser, self._pronouncer, self._ear)
            store.keep_told(self._cache, name, _told(kept))
        return kept


def align_take(
    samples: npt.NDArray[np.float32],
    words: Sequence[str],
    script: Sequence[Sequence[str]],
    listener: Recogniser,
    pronouncer: Pronouncer,
    second: Ear | None = None,
) -> Alignment:
    """Align one take. samples: (n,) mono at 48 kHz. second: who listens without knowing the script. Raises
    NarrationError when the recogniser breaks off."""
    own = [word.casefold() for word in words]
    lines = [[word.casefold() for word in line] for line in script]
    added = pronouncer.added([*own, *(word for line in lines for word in line)])
    sayable = [line for line in lines if all(listener.known(word) or word in added for word in line)]
    if dumb := [word for word in own if not (listener.known(word) or word in added)]:
        return Alignment("unsayable", why=f"nobody knows how {', '.join(map(repr, dict.fromkeys(dumb)))} sounds")
    if not own:
        return Alignment("unsayable", why="no word is written that could be said")
    pcm = pcm16k(np.nan_to_num(samples, posinf=0.0, neginf=0.0))
    told = opinion(pcm, own, added, second) if second else None
    if told and told.against:
        heard = " ".join(told.heard)
        return Alignment("doubtful", why=told.against, heard=heard, agreement=_agreement(own, told.heard))
    if told and told.for_it:
        found = listener.align(pcm, own, added)
        made = agreed(pcm, own, found, told.heard)
        if made.verdict == "aligned" and found is not None:
            return replace(made, times=_times(listener.finer(pcm, found, added)))
        if made.verdict == "refused":
            return made
    made = _listened(pcm, own, sayable, added, listener)
    if made.verdict != "doubtful":
        return made
    # The recogniser learnt from Americans. Who knows how the British speak, too, may hear the words as written; with so
    # many ways of saying everything, nothing less than that counts.
    ways = pronouncer.accented([*own, *(word for line in (*sayable, *_COMMON) for word in line)])
    other = _listened(pcm, own, sayable, ways, listener, lenient=False) if ways else made
    return other if other.verdict == "aligned" else made


def _listened(
    pcm: Pcm,
    own: list[str],
    sayable: list[list[str]],
    added: Mapping[str, str],
    listener: Recogniser,
    *,
    lenient: bool = True,
) -> Alignment:
    """What is to be made of a take by who knows these pronunciations. own: the line. sayable: those around it.
    lenient: whether the written words may stand though others were heard."""
    found = listener.align(pcm, own, added)
    # The line itself counts most, then its neighbours.
    heard = listener.decode(pcm, [*[own] * 3, *sayable * 2, *_COMMON], added)
    made = judged(pcm, own, found, heard)
    if lenient and found is not None and heard and made.agreement < LEAST_AGREEMENT:
        better = better_by(listener.align(pcm, [word.word for word in heard], added) or (), found)
        if better < _BETTER:
            expected = [*[own] * _AGAIN, *sayable * 2, *_COMMON]
            again = listener.decode(pcm, expected, added, leave=HARDLY_LEAVE)
            made = judged(pcm, own, found, heard, (better, [word.word for word in again]))
    if found is None or made.verdict != "aligned":
        return made
    # Who expects the wrong text may hear it: what was said besides then lies under words that are too long for it.
    spare = [each for each in listener.spare(pcm, own, added) if each.end_s - each.start_s >= _SPARE_S]
    if spare:
        first_s, length_s = spare[0].start_s, spare[0].end_s - spare[0].start_s
        why = f"{length_s:.1f} s of speech at {first_s:.2f} s sound like no written word"
        return replace(made, verdict="doubtful", times=(), why=why)
    return replace(made, times=_times(listener.finer(pcm, found, added)))


def judged(
    pcm: Pcm,
    own: Sequence[str],
    found: Sequence[Heard] | None,
    heard: Sequence[Heard],
    again: tuple[float, Sequence[str]] | None = None,
) -> Alignment:
    """What is to be made of the words found in a take, given what was heard in it without being told.

    again: how much better what was heard fits than the words found, and what is heard by who hardly doubts them.
    """
    said = [word.word for word in heard]
    if found is None:
        return _refused(own, said)
    unlike = next((word for word in found if not _passes(word)), None)
    made = _made(pcm, own, found, said, unlike)
    if made.agreement >= LEAST_AGREEMENT or (again and _stands(own, said, again, made.worst, made.unaccounted_s)):
        return made
    why = "; ".join(filter(None, (difference(own, said), made.why)))
    return replace(made, verdict="doubtful", times=(), why=why)


def agreed(pcm: Pcm, own: Sequence[str], found: Sequence[Heard] | None, said: Sequence[str]) -> Alignment:
    """What is to be made of the words found in a take that bears them out to who knows no script. said: what that
    listener heard."""
    if found is None:
        return _refused(own, said)
    unlike = next((word for word in found if word.score < _SHORT_SCORE), None)
    return _made(pcm, own, found, said, unlike)


def _refused(own: Sequence[str], said: Sequence[str]) -> Alignment:
    return Alignment("refused", (), "the words cannot be found in it", " ".join(said), _agreement(own, said))


def _made(
    pcm: Pcm, own: Sequence[str], found: Sequence[Heard], said: Sequence[str], unlike: Heard | None
) -> Alignment:
    """What is to be made of the sound of the words found. unlike: the first word whose sound does not fit it."""
    extra_s, extra_at = _unaccounted(pcm, found)
    why = []
    if outside := [word.word for word in found if word.end_s - word.start_s < _LEAST_S]:
        why.append(f"there is no room for '{outside[0]}'")
    elif unlike:
        why.append(f"'{unlike.word}' does not sound like it at {unlike.start_s:.2f} s")
    if extra_s > MOST_UNACCOUNTED_S:
        why.append(f"{extra_s:.1f} s of speech at {extra_at:.2f} s belong to no word")
    return Alignment(
        "doubtful" if why else "aligned", () if why else _times(found), "; ".join(why), " ".join(said),
        _agreement(own, said), min(word.score for word in found), extra_s,
    )  # fmt: skip


def _times(found: Sequence[Heard]) -> tuple[tuple[int, int], ...]:
    return tuple((round(word.start_s * SAMPLE_RATE), round(word.end_s * SAMPLE_RATE)) for word in found)


def _passes(word: Heard) -> bool:
    shortfall = (_PASSABLE - word.score) * (word.end_s - word.start_s)
    return word.score >= LEAST_SCORE or (word.score >= _SHORT_SCORE and shortfall < _SHORTFALL)


def _stands(
    own: Sequence[str], said: Sequence[str], again: tuple[float, Sequence[str]], worst: float, extra_s: float
) -> bool:
    """Whether the written words stand although others were heard that fit hardly better."""
    better, told = again
    least_score, most_extra_s = _OTHERWISE
    if worst < least_score or extra_s > most_extra_s:
        return False
    first, second = _agreement(own, said), _agreement(own, told)
    if second >= LEAST_AGREEMENT:
        return first >= _LEAST_HEARD and better < _BETTER
    more = heard_more(own, said) or heard_more(own, told)
    return max(first, second) >= _LEAST_HEARD_AGAIN and better < _BETTER_AGAIN and not more


def _agreement(own: Sequence[str], said: Sequence[str]) -> float:
    return _in_common(own, said) / max(len(own), len(said), 1)


def _in_common(first: Sequence[str], second: Sequence[str]) -> int:
    """Words that two lines have in common in the same order (longest common subsequence)."""
    row = [0] * (len(second) + 1)
    for word in first:
        before = 0
        for at, other in enumerate(second, start=1):
            before, row[at] = row[at], before + 1 if word == other else max(row[at], row[at - 1])
    return row[-1]


def _unaccounted(pcm: Pcm, found: Sequence[Heard]) -> tuple[float, float]:
    """Length and start of the longest loud stretch under no word, in seconds."""
    frame = HEARD_RATE // _FRAMES_S
    frames = pcm.size // frame
    power = np.mean(np.square(pcm[: frames * frame].reshape(frames, frame).astype(np.float64)), axis=1)
    level = 10.0 * np.log10(np.maximum(power, 1.0))
    low, high = np.percentile(level, (5.0, 95.0))
    loud = level > low + _LOUD * (high - low)
    for word in found:
        loud[max(0, int(word.start_s * _FRAMES_S) - _EDGE_FRAMES) : int(word.end_s * _FRAMES_S) + _EDGE_FRAMES] = False
    edges = np.flatnonzero(np.diff(np.concatenate(([False], loud, [False])).astype(np.int8)))
    lengths = edges[1::2] - edges[::2]
    if not lengths.size:
        return 0.0, 0.0
    longest = int(np.argmax(lengths))
    return float(lengths[longest]) / _FRAMES_S, float(edges[2 * longest]) / _FRAMES_S


def _told(made: Alignment) -> dict[str, Any]:
    figures = [round(made.agreement, 4), round(made.worst, 4), round(made.unaccounted_s, 4)]
    return {"verdict": made.verdict, "times": made.times, "why": made.why, "heard": made.heard, "figures": figures}


def _read(told: Mapping[str, Any] | None, words: int) -> Alignment | None:
    """What was kept, or None when it is not whole."""
    try:
        if told is None:
            return None
        times = tuple((int(start), int(end)) for start, end in told["times"])
        if told["verdict"] not in ("aligned", "doubtful", "refused", "unsayable"):
            return None
        if len(times) != (words if told["verdict"] == "aligned" else 0):
            return None
        agreement, worst, extra = map(float, told["figures"])
        return Alignment(told["verdict"], times, str(told["why"]), str(told["heard"]), agreement, worst, extra)
    except (KeyError, TypeError, ValueError):
        return None
