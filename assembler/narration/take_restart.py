"""A try that begins with a restart: the first words, broken off without a breath, and then the whole line.

Both lie in one stretch of sound, so the aligner may put the line's first words into what was broken off and the rest
into what followed. Where something speaks against a try, the line is looked for from later on as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from assembler.media.recording import Levels
from assembler.narration.recogniser import Heard
from assembler.narration.take_judge import FITS, FRAMES_S, Evidence, weigh
from assembler.narration.take_listen import Listener

_LEAST_S, _MOST_SHARE = 0.25, 0.6  # how much later it may begin; the line itself needs the rest
_MOST_STARTS = 6
_BEFORE, _AFTER = 6, 10  # frames around what is looked at
_LOUD_S, _EXTRA = 0.1, 2  # sound under no word, other words: signs that more was said than the line


def begun_later(
    before: Evidence,
    line: Sequence[str],
    stream: Sequence[Heard],
    levels: Levels,
    listener: Listener,
    sentences: Sequence[Sequence[str]],
) -> Evidence | None:
    """The try without what was said before the whole line began, or None where there is no better beginning."""
    if not before.refused and before.loud_s < _LOUD_S and before.extra < _EXTRA:
        return None
    latest_s = before.start_s + _MOST_SHARE * (before.end_s - before.start_s)
    starts = [word.start_s for word in stream if before.start_s + _LEAST_S <= word.start_s <= latest_s]
    past = min(int(levels.db.size), round(before.end_s * FRAMES_S) + _AFTER)
    best: tuple[float, int, tuple[Heard, ...]] | None = None
    for start_s in starts[:_MOST_STARTS]:
        first = max(0, round(start_s * FRAMES_S) - _BEFORE)
        found = listener.align(first, past, line)
        if found is None or (worst := min(word.score for word in found)) < max(FITS, before.worst):
            continue
        if best is None or worst > best[0]:
            best = worst, first, found
    if best is None:
        return None
    _, first, found = best
    made = weigh(found, first, past, 0.0, 0.0, line, stream, levels, listener, sentences)
    return replace(made, share=max(made.share, made.again))
