"""How loud the streams are while somebody speaks: over the whole programme, and segment by segment."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt

from assembler.sound.buses import heard_lines
from assembler.sound.ducking import spoken_spans
from assembler.sound.loudness import CHUNK, lufs_of
from assembler.sound.report import SegmentSound
from assembler.timeline.model import Timeline
from assembler.timing.rates import sample_of_frame

STREAMS = 4
"""Narration, captures, music, and the last two together."""


class _Sum:
    """Power of some milliseconds, added up."""

    def __init__(self) -> None:
        self._power = np.zeros(STREAMS)
        self.count = 0

    def add(self, streams: npt.NDArray[np.float32]) -> None:
        self._power += streams.sum(axis=0, dtype=np.float64)
        self.count += len(streams)

    def lufs(self) -> list[float | None]:
        """Of each stream; None where it is silent."""
        return [lufs_of(power / self.count) if self.count else None for power in self._power]


class Talk:
    """Takes the streams' power by the millisecond, from the beginning on."""

    def __init__(self, timeline: Timeline) -> None:
        self._spans = _joined(
            (max(0, start // CHUNK), -(-end // CHUNK)) for start, end in spoken_spans(heard_lines(timeline))
        )
        self._ends = [end for _, end in self._spans]
        self._all = _Sum()
        self._segments = [
            (
                placed.segment.id,
                sample_of_frame(placed.span.start_frame, timeline.rate) // CHUNK,
                sample_of_frame(placed.span.end_frame, timeline.rate) // CHUNK,
                _Sum(),
            )
            for placed in timeline.segments
        ]

    def add(self, first: int, streams: npt.NDArray[np.float32]) -> None:
        """(n, STREAMS) from a millisecond on."""
        end = first + len(streams)
        speaking = np.zeros(len(streams), np.bool_)
        for begins, ends in self._spans[bisect_right(self._ends, first) :]:
            if begins >= end:
                break
            speaking[max(0, begins - first) : ends - first] = True
        self._all.add(streams[speaking])
        for _, begins, ends, found in self._segments:
            within = slice(max(0, begins - first), max(0, ends - first))
            found.add(streams[within][speaking[within]])

    def narration_and_background(self) -> tuple[float | None, float | None]:
        """In LUFS, while somebody speaks; None where there is none."""
        narration, _, _, background = self._all.lufs()
        return narration, background

    def segments(self) -> Iterator[SegmentSound]:
        """Those in which somebody speaks."""
        for name, _, _, found in self._segments:
            if found.count:
                yield SegmentSound(name, *found.lufs())


def _joined(spans: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """In order; those that touch are one."""
    joined: list[tuple[int, int]] = []
    for begins, ends in sorted(spans):
        if ends <= begins:
            continue
        if joined and begins <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(ends, joined[-1][1]))
        else:
            joined.append((begins, ends))
    return joined
