"""Lines of which too little was heard to find them: looked for where the script's order says they must lie.

A line is read between the lines that stand around it in the script. What sounds there and is no other line's try is
held against it, in runs of about the line's length. That finds what it is told to find, so a person would be asked, if
the reader's own measure (take_fit.py) did not tell afterwards whether the line was said.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from assembler.media.recording import Levels
from assembler.narration.recogniser import Heard
from assembler.narration.take_choice import ATTEMPT, SURE, confidence
from assembler.narration.take_judge import FRAMES_S, Evidence, weigh
from assembler.narration.take_listen import Listener, Stretch
from assembler.narration.take_restart import begun_later

_MOST_S = 120.0  # of recording between two lines in which a third may be looked for
_SHORTEST, _LONGEST = 0.65, 1.6  # of the length that a line has at the reader's pace
_PAUSE = 120  # frames within a line
_LEAST_SURE = 0.25  # share of the lines with a sure try; of a reader who is heard worse nobody knows enough to look
_PAD = 15
_SAME = 0.7  # overlap with a try from which on it is that try
_LEAST_SCORE, _LEAST_AGAIN = -9.0, 0.2


def looked_for(
    seen: Mapping[str, Sequence[Evidence]],
    known: Mapping[str, Sequence[str]],
    stream: Sequence[Heard],
    sounding: Sequence[Stretch],
    levels: Levels,
    listener: Listener,
    sentences: Sequence[Sequence[str]],
    step: Callable[[], None] = lambda: None,
) -> dict[str, list[Evidence]]:
    """Further tries at lines that have no sure one, by line. step: called now and then; may raise to end it."""
    sure = {key: [one for one in tries if confidence(one) >= SURE] for key, tries in seen.items()}
    if sum(bool(tries) for tries in sure.values()) < _LEAST_SURE * len(sure):
        return {}
    pace = _pace(sure, known)
    taken = [(one.start_s, one.end_s) for tries in sure.values() for one in tries]
    found: dict[str, list[Evidence]] = {}
    for key, words in known.items():
        if sure[key] or not words or pace is None:
            continue
        low_s, high_s = _between(key, sure, levels.seconds)
        if not 0.0 < high_s - low_s <= _MOST_S:
            continue
        free = [each for each in sounding if _free(each, low_s, high_s, taken)]
        length_s = pace * _letters(words)
        for first, past in _runs(free, _SHORTEST * length_s * FRAMES_S, _LONGEST * length_s * FRAMES_S):
            step()
            if any(_shared(one, first / FRAMES_S, past / FRAMES_S) > _SAME for one in seen[key]):
                continue
            low, high = max(0, first - _PAD), min(int(levels.db.size), past + _PAD)
            heard = listener.align(low, high, words)
            if heard is None or min(word.score for word in heard) < _LEAST_SCORE:
                continue
            made = weigh(heard, low, high, 0.0, 0.0, words, stream, levels, listener, sentences)
            later = begun_later(made, words, stream, levels, listener, sentences)
            if later is not None and confidence(later) > confidence(made):
                made = later
            known_try = any(_shared(one, made.start_s, made.end_s) > _SAME for one in seen[key])
            if made.again >= _LEAST_AGAIN and not known_try:
                # It was looked for as a whole; how much of it was heard says little of a reader who is heard badly.
                found.setdefault(key, []).append(replace(made, share=max(made.share, made.again, ATTEMPT)))
    return {key: _apart(tries) for key, tries in found.items()}


def _shared(one: Evidence, start_s: float, end_s: float) -> float:
    """Intersection over union of a try and a stretch."""
    shared = min(one.end_s, end_s) - max(one.start_s, start_s)
    return max(0.0, shared) / (max(one.end_s, end_s) - min(one.start_s, start_s))


def _letters(words: Sequence[str]) -> int:
    return sum(map(len, words))


def _pace(sure: Mapping[str, Sequence[Evidence]], known: Mapping[str, Sequence[str]]) -> float | None:
    """Seconds a letter in what the reader said for sure; None where nothing is sure."""
    spoken = [(one.end_s - one.start_s, _letters(known[key])) for key, tries in sure.items() for one in tries]
    return sum(seconds for seconds, _ in spoken) / sum(letters for _, letters in spoken) if spoken else None


def _between(key: str, sure: Mapping[str, Sequence[Evidence]], end_s: float) -> tuple[float, float]:
    """Where a line must lie that was read in the script's order: from its forerunner's first sure try to the next
    line's."""
    keys = list(sure)
    at = keys.index(key)
    low_s = next((sure[each][0].end_s for each in reversed(keys[:at]) if sure[each]), 0.0)
    after = (sure[each][0].start_s for each in keys[at + 1 :] if sure[each])
    return low_s, next((start_s for start_s in after if start_s >= low_s), end_s)


def _free(stretch: Stretch, low_s: float, high_s: float, taken: Sequence[tuple[float, float]]) -> bool:
    first_s, past_s = stretch.first / FRAMES_S, stretch.past / FRAMES_S
    if first_s < low_s - 0.1 or past_s > high_s + 0.1:
        return False
    return all(min(past_s, end) - max(first_s, start) < 0.5 * (past_s - first_s) for start, end in taken)


def _runs(free: Sequence[Stretch], shortest: float, longest: float) -> list[tuple[int, int]]:
    """Stretches and runs of neighbouring ones, in frames, that are neither too short nor too long."""
    breaks = {n for n, (one, other) in enumerate(pairwise(free)) if other.first - one.past > _PAUSE}
    runs = []
    for n, stretch in enumerate(free):
        for m in range(n, len(free)):
            if shortest <= free[m].past - stretch.first <= longest:
                runs.append((stretch.first, free[m].past))
            if m in breaks or free[m].past - stretch.first > longest:
                break
    return runs


def _apart(tries: Sequence[Evidence]) -> list[Evidence]:
    """The best of those that overlap, in order of time."""
    kept: list[Evidence] = []
    for one in sorted(tries, key=lambda each: -confidence(each)):
        if all(one.end_s <= other.start_s or one.start_s >= other.end_s for other in kept):
            kept.append(one)
    return sorted(kept, key=lambda each: each.start_s)
