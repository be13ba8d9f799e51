"""Where in a stream of heard words a line may have been read: words in, stretches of the stream out.

Local alignment (Smith and Waterman 1981) of the line's words with what was heard, again and again beside what was
found before, so that every try at a line is found, whole or broken off, wherever it lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from assembler.narration.recogniser import Heard

LEAST_SHARE = 0.4
"""Of a line's words that have to be heard, in order, for a try at it."""
_MISS = -0.75
_HOLE = -2.0
_HOLE_S = 2.0


@dataclass(frozen=True, slots=True)
class Hit:
    """A try at a line. first, past: its words in the stream (half-open). pairs: (word of the line, word of the stream)
    for those that agree."""

    first: int
    past: int
    pairs: tuple[tuple[int, int], ...]

    def share(self, words: int) -> float:
        return len(self.pairs) / words


def find_hits(line: Sequence[str], stream: Sequence[Heard]) -> tuple[Hit, ...]:
    """Every try at a line, by place in the stream; none overlaps another."""
    if not line or not stream:
        return ()
    heard = [word.word for word in stream]
    ends = [word.end_s for word in stream]
    starts = [word.start_s for word in stream]
    hits: list[Hit] = []
    for first, past in _promising(line, heard):
        open_spans = [(first, past)]
        while open_spans:
            low, high = open_spans.pop()
            hit = _best(line, heard, starts, ends, low, high)
            if hit is None or hit.share(len(line)) < LEAST_SHARE:
                continue
            hits.append(hit)
            open_spans += [(low, hit.first), (hit.past, high)]
    return tuple(sorted(hits, key=lambda hit: hit.first))


def _promising(line: Sequence[str], heard: Sequence[str]) -> list[tuple[int, int]]:
    """Stretches of the stream with enough of the line's words near each other to hold a try at it."""
    words = set(line)
    marked = np.fromiter((word in words for word in heard), np.int64, len(heard))
    reach = 2 * len(line) + 4
    total = np.concatenate(([0], np.cumsum(marked)))
    at = np.arange(len(heard))
    near = total[np.minimum(at + reach, len(heard))] - total[at]
    dense = np.flatnonzero((near >= max(1.0, LEAST_SHARE * len(line))) & (marked > 0))
    spans: list[tuple[int, int]] = []
    for start in dense.tolist():
        if spans and start <= spans[-1][1]:
            spans[-1] = spans[-1][0], min(start + reach, len(heard))
        else:
            spans.append((start, min(start + reach, len(heard))))
    return spans


def _best(
    line: Sequence[str], heard: Sequence[str], starts: Sequence[float], ends: Sequence[float], low: int, high: int
) -> Hit | None:
    width = high - low
    # score[i][j]: best alignment that ends with line word i and heard word j, both counted from 1
    before = [0.0] * (width + 1)
    back: list[list[int]] = [[0] * (width + 1)]  # 0 begins here, 1 both, 2 line word left out, 3 heard word extra
    top, where = 0.0, (0, 0)
    for i, word in enumerate(line, start=1):
        row, steps = [0.0] * (width + 1), [0] * (width + 1)
        for j in range(1, width + 1):
            at = low + j - 1
            hole = _HOLE if j > 1 and starts[at] - ends[at - 1] > _HOLE_S else 0.0
            same = heard[at] == word
            both = before[j - 1] + (hole if before[j - 1] else 0.0) + (1.0 if same else _MISS)
            choices = (0.0, both, before[j] + _MISS, row[j - 1] + _MISS + hole)
            # The later of equal beginnings wins, so a restart is left outside.
            step = max(range(4), key=choices.__getitem__)
            row[j], steps[j] = choices[step], step
            if same and row[j] >= top and row[j] > 0:
                top, where = row[j], (i, j)
        before = row
        back.append(steps)
    if not top:
        return None
    i, j = where
    pairs = []
    while i and j and (step := back[i][j]):
        if step == 1:
            if line[i - 1] == heard[low + j - 1]:
                pairs.append((i - 1, low + j - 1))
            i, j = i - 1, j - 1
        elif step == 2:
            i -= 1
        else:
            j -= 1
    pairs.reverse()
    return Hit(pairs[0][1], pairs[-1][1] + 1, tuple(pairs)) if pairs else None
