"""How long pictures stood: shares of frames by the length of their hold, on rows that several captures share.

A hold on a recording is a whole number of refreshes; where a tear tells a part of one, it counts with the nearest
whole number, at least one. Captures of different refresh share a row where their holds are as good as equal.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from assembler.measure.figures import FrameTimes

_ALIKE = 0.03  # holds this near are one row, as 16.67 and 16.68 ms are
Holds = Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Distribution:
    """levels_ms: the holds that have a row, rising. shares: for each capture the part of one of its frames on each
    row, or () where no frame was seen whole. others: for each capture the part on no row."""

    levels_ms: tuple[float, ...]
    shares: tuple[tuple[float, ...], ...]
    others: tuple[float, ...]


def holds(frames: FrameTimes, refresh_ms: float) -> Holds:
    """How many frames stood for each whole number of refreshes."""
    counts = np.maximum(1, np.rint(frames.ms / refresh_ms)).astype(np.int64)
    values, many = np.unique(counts, return_counts=True)
    return {int(value): int(count) for value, count in zip(values, many, strict=True)}


def distribution(captures: Sequence[tuple[FrameTimes, float]], most: int = 8) -> Distribution:
    """Shares of several captures, each with the milliseconds of its refresh, on at most `most` rows.

    Every hold up to the longest has a row where that is few enough; else those that occur; else the commonest.
    """
    found = [(holds(frames, unit), unit) for frames, unit in captures]
    longest = max((max(each, default=0) * unit for each, unit in found), default=0.0)
    units = [unit for each, unit in found if each]
    every = [count * unit for unit in units for count in range(1, int(longest / unit * (1 + _ALIKE)) + 1)]
    levels = _merged(every)
    if len(levels) > most:
        levels = _merged([count * unit for each, unit in found for count in each])
    if len(levels) > most:
        weight = [max(_share(each, unit, level) for each, unit in found if each) for level in levels]
        kept = sorted(range(len(levels)), key=lambda number: -weight[number])[: most - 1]
        levels = [levels[number] for number in sorted(kept)]
    shares = tuple(tuple(_share(each, unit, level) for level in levels) if each else () for each, unit in found)
    others = []
    for each, unit in found:
        missed = sum(many for count, many in each.items() if not any(_alike(count * unit, level) for level in levels))
        others.append(missed / sum(each.values()) if each else 0.0)
    return Distribution(tuple(levels), shares, tuple(others))


def _share(each: Holds, unit: float, level: float) -> float:
    return sum(many for count, many in each.items() if _alike(count * unit, level)) / max(1, sum(each.values()))


def _alike(one: float, other: float) -> bool:
    return abs(one - other) <= _ALIKE * other


def _merged(values: Sequence[float]) -> list[float]:
    kept: list[float] = []
    for value in sorted(values):
        if not kept or not _alike(value, kept[-1]):
            kept.append(value)
    return kept
