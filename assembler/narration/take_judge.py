"""How much speaks for it that a try at a line is a whole, right reading of it.

Finding a line's words proves little: an aligner that must find words finds them. So what was heard freely is held
against the line where the two differ: both wordings are aligned with the same sound, and the better fit tells.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import pairwise

import numpy as np

from assembler.media.recording import FRAME, Levels
from assembler.narration.recogniser import HARDLY_LEAVE, Heard
from assembler.narration.rival import better_by
from assembler.narration.spoken import plain
from assembler.narration.take_hits import Hit
from assembler.narration.take_listen import Listener, Stretch, quiet_db
from assembler.narration.take_sure import EarTry
from assembler.timing.rates import SAMPLE_RATE

FRAMES_S = SAMPLE_RATE // FRAME
_BEFORE_S, _AFTER_S = 0.25, 0.35
_A_WORD_S, _A_SLOW_WORD_S = 0.45, 0.7  # room for a word of the line that was not heard
_SAME_S = 0.06
# Whether the aligner finds a line in long speech hangs on where the sound is cut; frames more at either end.
_TRIES = ((0, 0), (25, 85), (10, 25), (0, 40), (15, -10), (-10, -10))
# A pause after one of the first words: those may be a false start, if the whole line fits behind it too.
_FALSE_START, _BROKEN_OFF_S, FITS = 3, 0.5, -5.0
_EXPECTED = 20  # how much more often than any other the line is expected in a second hearing


@dataclass(frozen=True, slots=True)
class Evidence:
    """What is known of a try. start_s, end_s: of its speech, from the recording's start.

    share: of the line's words heard freely, in order. refused: the aligner could not find the line at all.
    worst, mean: fit of the line's words, log likelihood a frame. rival: by how much what was heard fits better than
    the line where they differ (0 where they do not). again: share of the line's words heard by somebody who expects
    this line above all. extra: words heard inside the try that are not the line's.
    loud_s: sound inside the try under no word. hole_s: the longest pause inside it. lead: share of
    the line that comes before the first of its words that was heard. short: how far the line falls short of the
    reader's own measure (take_fit.shortfall), None where it was not measured. ear: what a listener who knows no script
    made of it, where that one found it; then nothing else was asked.
    """

    start_s: float
    end_s: float
    share: float
    refused: bool
    worst: float
    mean: float
    rival: float
    again: float
    extra: int
    loud_s: float
    hole_s: float
    heard: str
    lead: float = 0.0
    words: tuple[Heard, ...] = ()
    short: float | None = None
    ear: EarTry | None = None


def judge(
    hit: Hit,
    line: Sequence[str],
    stream: Sequence[Heard],
    sounding: Sequence[Stretch],
    levels: Levels,
    listener: Listener,
    sentences: Sequence[Sequence[str]],
) -> Evidence:
    """Look closely at one try. stream: the words heard in the recording; sounding: its stretches of sound; sentences:
    what else may be said."""
    first, past, least, most = _window(hit, line, stream, sounding, levels.db.size)
    found = None
    for before, after in _TRIES:
        low, high = max(least, first - before), min(most, past + after)
        if high > low and (found := listener.align(low, high, line)) is not None:
            first, past = low, high
            found, first = _begun_again(found, line, first, past, listener)
            break
    if (found is None or min(word.score for word in found) < FITS) and (wider := _wider(hit, line, stream, levels)):
        # A pause within the line parts it where some of its words were not heard.
        across = listener.align(*wider, line)
        if across is not None and min(word.score for word in across) >= FITS:
            (first, past), found = wider, across
    share, lead = hit.share(len(line)), hit.pairs[0][0] / len(line)
    start_s, end_s = stream[hit.first].start_s, stream[hit.past - 1].end_s
    if found is None:
        inside = _inside(stream, start_s, end_s)
        again = _again(line, start_s, end_s, levels, listener, sentences)
        return Evidence(start_s, end_s, share, True, -20.0, -20.0, 0.0, again, 0, 0.0, 0.0, _text(inside), lead)
    return weigh(found, first, past, share, lead, line, stream, levels, listener, sentences)


def weigh(
    found: tuple[Heard, ...],
    first: int,
    past: int,
    share: float,
    lead: float,
    line: Sequence[str],
    stream: Sequence[Heard],
    levels: Levels,
    listener: Listener,
    sentences: Sequence[Sequence[str]],
) -> Evidence:
    """What is known of a try whose words were found in the frames from first to past."""
    start_s, end_s = found[0].start_s, found[-1].end_s
    inside = _inside(stream, start_s, end_s)
    lengths = np.array([max(0.01, word.end_s - word.start_s) for word in found])
    scores = np.array([word.score for word in found])
    matcher = SequenceMatcher(None, [word.casefold() for word in line], [word.word for word in inside], autojunk=False)
    agreed = sum(block.size for block in matcher.get_matching_blocks())
    return Evidence(
        start_s,
        end_s,
        max(share, agreed / len(line)) if agreed else share,
        False,
        float(scores.min()),
        float((scores * lengths).sum() / lengths.sum()),
        _rival(found, inside, matcher, first, past, listener),
        1.0 if agreed == len(line) == len(inside) else _again(line, start_s, end_s, levels, listener, sentences),
        len(inside) - agreed,
        _loud_s(found, levels),
        max((after.start_s - before.end_s for before, after in pairwise(found)), default=0.0),
        _text(inside),
        lead,
        found,
    )


def _window(
    hit: Hit, line: Sequence[str], stream: Sequence[Heard], sounding: Sequence[Stretch], frames: int
) -> tuple[int, int, int, int]:
    """Where to look for the whole line, in frames: the try and what its missing words need, but no other words.
    Then how far that may be widened: to the words heard before and after."""
    lead, tail = hit.pairs[0][0], len(line) - 1 - hit.pairs[-1][0]
    start_s, end_s = stream[hit.first].start_s, stream[hit.past - 1].end_s
    low_s, high_s = start_s - _BEFORE_S - _A_WORD_S * lead, end_s + _AFTER_S + _A_WORD_S * tail
    least, most = 0, frames
    if lead == 0 and hit.first > 0:
        least = int(stream[hit.first - 1].end_s * FRAMES_S)
    if tail == 0 and hit.past < len(stream):
        most = min(frames, int(stream[hit.past].start_s * FRAMES_S) + 1)
    # A pause before the first word or after the last one ends the line, whatever was not heard of it.
    low, high = max(least, int(low_s * FRAMES_S)), min(most, int(high_s * FRAMES_S) + 1)
    for stretch in sounding:
        if stretch.first <= start_s * FRAMES_S + 5 and start_s * FRAMES_S - 5 <= stretch.past:
            low = max(low, stretch.first - 15)
        if stretch.first <= end_s * FRAMES_S + 5 and end_s * FRAMES_S - 5 <= stretch.past:
            high = min(high, stretch.past + 15)
    return low, max(high, low + 1), least, most


def _wider(hit: Hit, line: Sequence[str], stream: Sequence[Heard], levels: Levels) -> tuple[int, int] | None:
    """Frames with room beyond the next pause for words that were not heard; None where all ends were heard."""
    lead, tail = hit.pairs[0][0], len(line) - 1 - hit.pairs[-1][0]
    if not lead and not tail:
        return None
    start_s, end_s = stream[hit.first].start_s, stream[hit.past - 1].end_s
    low_s, high_s = start_s - _BEFORE_S - _A_SLOW_WORD_S * lead, end_s + _AFTER_S + _A_SLOW_WORD_S * tail
    if not lead and hit.first:
        low_s = max(low_s, stream[hit.first - 1].end_s)
    if not tail and hit.past < len(stream):
        high_s = min(high_s, stream[hit.past].start_s)
    return max(0, int(low_s * FRAMES_S)), min(levels.db.size, int(high_s * FRAMES_S) + 1)


def _begun_again(
    found: tuple[Heard, ...], line: Sequence[str], first: int, past: int, listener: Listener
) -> tuple[tuple[Heard, ...], int]:
    """The line without a false start of a word or two before a pause, where the rest holds all of it as well."""
    for before, after in pairwise(found[: _FALSE_START + 1]):
        if after.start_s - before.end_s >= _BROKEN_OFF_S:
            low = round((before.end_s + after.start_s) / 2 * FRAMES_S)
            later = listener.align(low, past, line)
            if later is not None and min(word.score for word in later) >= FITS:
                return later, low
    return found, first


def _inside(stream: Sequence[Heard], start_s: float, end_s: float) -> list[Heard]:
    return [word for word in stream if start_s - _SAME_S <= (word.start_s + word.end_s) / 2 <= end_s + _SAME_S]


def _text(words: Sequence[Heard]) -> str:
    return plain([word.word for word in words])


def _rival(
    found: Sequence[Heard],
    inside: Sequence[Heard],
    matcher: SequenceMatcher[str],
    first: int,
    past: int,
    listener: Listener,
) -> float:
    """How much better the words heard fit than the line's, at worst over a fifth of a second; 0 where they agree."""
    if not inside or all(code[0] == "equal" for code in matcher.get_opcodes()):
        return 0.0
    other = listener.align(first, past, [word.word for word in inside])
    if other is None:
        return 0.0
    return better_by(other, found)


def _again(
    line: Sequence[str],
    start_s: float,
    end_s: float,
    levels: Levels,
    listener: Listener,
    sentences: Sequence[Sequence[str]],
) -> float:
    """A second hearing of the try alone, by somebody who knows which line it may be: strange voices need that. The
    share of the line's words it finds, less its other words."""
    first = max(0, round(start_s * FRAMES_S) - 10)
    past = min(levels.db.size, round(end_s * FRAMES_S) + 10)
    expected = [list(line)] * _EXPECTED + list(sentences)
    heard = [word.word for word in listener.decode(first, past, expected, HARDLY_LEAVE)]
    matcher = SequenceMatcher(None, [word.casefold() for word in line], heard, autojunk=False)
    agreed = sum(block.size for block in matcher.get_matching_blocks())
    return agreed / max(len(line), len(heard))


def _loud_s(found: Sequence[Heard], levels: Levels) -> float:
    """Seconds inside the try in which there is sound under no word."""
    first, past = round(found[0].start_s * FRAMES_S), round(found[-1].end_s * FRAMES_S)
    loud = levels.db[first:past] >= quiet_db(levels) + 3.0
    for word in found:
        loud[max(0, round(word.start_s * FRAMES_S) - first - 3) : round(word.end_s * FRAMES_S) - first + 3] = False
    return float(np.count_nonzero(loud)) / FRAMES_S
