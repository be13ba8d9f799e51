"""Whether other words fit a sound better than the words that are thought to be in it, and which those are."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import SequenceMatcher

import numpy as np
import numpy.typing as npt

from assembler.narration.recogniser import Heard

_FRAMES_S = 100
_WINDOW = 20  # frames over which a difference in fit has to last


def better_by(other: Sequence[Heard], found: Sequence[Heard]) -> float:
    """How much better other words, found in the same sound, fit than these: log likelihood a frame, at worst over a
    fifth of a second; 0 where they never do."""
    if not other or not found:
        return 0.0
    first_s = min(other[0].start_s, found[0].start_s)
    frames = round((max(other[-1].end_s, found[-1].end_s) - first_s) * _FRAMES_S) + 1
    ours, theirs = _by_frame(found, first_s, frames), _by_frame(other, first_s, frames)
    both = ~np.isnan(ours) & ~np.isnan(theirs)
    gain = np.where(both, theirs - ours, 0.0)
    if gain.size < _WINDOW:
        return 0.0
    return max(0.0, float(np.convolve(gain, np.ones(_WINDOW) / _WINDOW, mode="valid").max()))


def heard_more(written: Sequence[str], heard: Sequence[str]) -> bool:
    """Whether more words were heard than are written anywhere where the two differ: a word may be missing."""
    codes = SequenceMatcher(None, written, heard, autojunk=False).get_opcodes()
    return any(kind != "equal" and d - c > b - a for kind, a, b, c, d in codes)


def difference(written: Sequence[str], heard: Sequence[str]) -> str:
    """The first place where what was heard parts from what is written, in words."""
    if not heard:
        return "no word was heard"
    for kind, a, b, c, d in SequenceMatcher(None, written, heard, autojunk=False).get_opcodes():
        if kind != "equal":
            return heard_instead(heard[c:d], written[a:b])
    return "other words were heard"


def heard_instead(heard: Sequence[str], written: Sequence[str]) -> str:
    """What was heard in place of what is written, in words; either may be empty."""
    if not heard:
        return f"'{' '.join(written)}' was not heard"
    return f"'{' '.join(heard)}' was heard " + (f"for '{' '.join(written)}'" if written else "besides")


def _by_frame(words: Sequence[Heard], first_s: float, frames: int) -> npt.NDArray[np.float64]:
    scores = np.full(frames, np.nan)
    for word in words:
        scores[round((word.start_s - first_s) * _FRAMES_S) : round((word.end_s - first_s) * _FRAMES_S)] = word.score
    return scores
