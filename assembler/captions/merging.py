"""A person's correction and a reworded line, brought together where they do not contradict each other."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import SequenceMatcher

Hunk = tuple[int, int, int, int]
"""Base words from, to, and the words that stand there instead, from, to."""


def follow(lines: Sequence[str], old: Sequence[str], new: Sequence[str]) -> tuple[str, ...] | None:
    """Caption lines that a person corrected, brought to narration that was reworded.

    lines: as the person left them. old: the narration's words they were made from; new: its words now.
    Returns the lines with both changes, or None where both changed the same words.
    """
    words = [word for line in lines for word in line.split()]
    first = [0]
    for line in lines:
        first.append(first[-1] + len(line.split()))
    ours, theirs = _hunks(old, words), _hunks(old, new)
    if any(_meet(one, other) for one in ours for other in theirs):
        return None
    merged: list[tuple[str, int | None]] = []
    here = mine = 0
    for hunk, is_ours in sorted([*((h, True) for h in ours), *((h, False) for h in theirs)]):
        start, end, other, stop = hunk
        for step in range(start - here):
            merged.append((words[mine + step], mine + step))
        mine += start - here
        if is_ours:
            merged += [(words[at], at) for at in range(other, stop)]
            mine = stop
        else:
            # The person's words for the same stretch are the old ones: they go.
            merged += [(new[at], mine if at == other and end > start else None) for at in range(other, stop)]
            mine += end - start
        here = end
    merged += [(words[mine + step], mine + step) for step in range(len(old) - here)]
    return _broken(merged, first[1:-1])


def _broken(merged: Sequence[tuple[str, int | None]], breaks: Sequence[int]) -> tuple[str, ...]:
    """Words in lines, a new one before the first word that stood at or after each of the person's breaks."""
    lines: list[list[str]] = [[]]
    waiting = list(breaks)
    for word, at in merged:
        if at is not None and waiting and at >= waiting[0]:
            while waiting and at >= waiting[0]:
                waiting.pop(0)
            if lines[-1]:
                lines.append([])
        lines[-1].append(word)
    return tuple(" ".join(line) for line in lines if line)


def _hunks(base: Sequence[str], other: Sequence[str]) -> list[Hunk]:
    codes = SequenceMatcher(None, base, other, autojunk=False).get_opcodes()
    return [(a, b, c, d) for tag, a, b, c, d in codes if tag != "equal"]


def _meet(one: Hunk, other: Hunk) -> bool:
    """Whether two changes touch: changes side by side cannot be told from changes of the same words."""
    return one[0] <= other[1] and other[0] <= one[1]
