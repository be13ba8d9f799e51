"""Hearing a programme's streams before they are mixed: how strong each is, and where their sum is high.

    <cache>/sound/pieces/<hash>.rows    what was heard of a piece, named by all of its streams' samples

Pieces begin where segments do, so that what was heard of a segment still stands when an edit before it moves it. Rows
of a piece count milliseconds from its own beginning, those of the programme from the programme's: where the two do not
meet, power is shared out by the time, and a peak counts for both milliseconds that it may lie in.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assembler.sound.keeping import kept_or_made
from assembler.sound.loudness import CHUNK, PowerMeter
from assembler.sound.spool import Spool
from assembler.sound.stems import Stems
from assembler.sound.streams import Gains, Streams
from assembler.sound.talk import STREAMS
from assembler.sound.truepeak import REACH, PeakMeter
from assembler.sound.weighting import KWeighting
from assembler.sound.windows import SAMPLES, Window, windows, within
from assembler.timeline.model import Timeline
from assembler.timing.rates import SAMPLE_RATE, sample_of_frame

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.float32]
Progress = Callable[[int, int], None]

_AT_ONCE = 2  # threads that hear pieces
_BEFORE = SAMPLE_RATE // 5  # samples in which the filters forget what they heard before


@dataclass(frozen=True, slots=True, eq=False)
class Listened:
    """By the millisecond: weighted power of the sum, its true peaks, and power of narration, captures, music and of the
    last two together."""

    whole: Spool
    peaks: Spool
    streams: Spool


def listen(
    timeline: Timeline, gains: Gains, stems: Stems, above: float, pieces: Path | None, progress: Progress | None
) -> Listened:
    """Hear a programme. above: an amplitude; peaks that are lower may be given too low, but for the highest of all.
    pieces: the folder where what was heard is kept; None = nowhere. progress: called with seconds done and in all."""
    samples = sample_of_frame(timeline.frames, timeline.rate)
    found = Listened(Spool(), Spool(), Spool(STREAMS))
    grid = _Grid(found)
    seconds = 0

    def blocks(streams: Streams) -> Iterator[Rows]:
        nonlocal seconds
        for start in range(0, samples, SAMPLE_RATE):
            block = streams.read(start, min(SAMPLE_RATE, samples - start))
            yield np.column_stack((block.narration, block.captures, block.music))
            seconds += 1
            if progress:
                progress(seconds, -(-samples // SAMPLE_RATE))

    hearing: deque[Future[tuple[Rows, Rows]]] = deque()
    edges = _edges(timeline, samples)
    with Streams(timeline, gains, stems) as streams, ThreadPoolExecutor(_AT_ONCE, "listening") as threads:
        for window in windows(blocks(streams), edges, _BEFORE, REACH):
            hearing.append(threads.submit(_kept_rows, window, above, pieces))
            if len(hearing) == _AT_ONCE:
                grid.add(edges[grid.pieces + 1], *hearing.popleft().result())
        while hearing:
            grid.add(edges[grid.pieces + 1], *hearing.popleft().result())
    grid.end()
    return found


def _edges(timeline: Timeline, samples: int) -> list[int]:
    """Where segments begin, and in long ones every 8 s."""
    starts = {sample_of_frame(placed.span.start_frame, timeline.rate) for placed in timeline.segments} | {0}
    marks = [*sorted(start for start in starts if 0 <= start < samples), samples]
    return [edge for start, end in pairwise(marks) for edge in range(start, end, SAMPLES)] + [samples]


class _Grid:
    """Puts rows of pieces that follow each other on the programme's own milliseconds."""

    def __init__(self, found: Listened) -> None:
        self._found = found
        self._reached = 0  # samples
        self._energy = np.zeros((1, STREAMS + 1))  # of the millisecond that is not whole yet
        self._peak = np.zeros(1, np.float32)
        self.pieces = 0

    def add(self, end: int, energy: Rows, peaks: Rows) -> None:
        """A piece that goes from where the last one ended to the sample `end`."""
        start, self._reached = self._reached, end
        self.pieces += 1
        first = start // CHUNK
        edges = np.minimum(start + CHUNK * np.arange(len(energy) + 1), end)
        marks = np.clip(CHUNK * np.arange(first, -(-end // CHUNK) + 1), start, end)
        summed = np.concatenate((np.zeros((1, STREAMS + 1)), np.cumsum(energy, axis=0, dtype=np.float64)))
        here = np.stack([np.diff(np.interp(marks, edges, column)) for column in summed.T], axis=1)
        # The piece's milliseconds that the first and the last moment of each of the programme's lie in.
        low, high = (marks[:-1] - start) // CHUNK, (marks[1:] - 1 - start) // CHUNK
        highest = np.maximum(peaks[low], peaks[high])
        here[0] += self._energy[0]
        highest[0] = max(highest[0], self._peak[0])
        if end % CHUNK:
            self._energy, self._peak = here[-1:], highest[-1:]
            here, highest = here[:-1], highest[:-1]
        else:
            self._energy, self._peak = np.zeros_like(self._energy), np.zeros_like(self._peak)
        power = (here / CHUNK).astype(np.float32)
        self._found.whole.add(power[:, STREAMS])
        self._found.streams.add(power[:, :STREAMS])
        self._found.peaks.add(highest)

    def end(self) -> None:
        """No piece follows: a last part of a millisecond has a peak, but no power, as it is not whole."""
        if self._reached % CHUNK:
            self._found.peaks.add(self._peak)


def _kept_rows(window: Window, above: float, pieces: Path | None) -> tuple[Rows, Rows]:
    if pieces is None:
        return _rows(window, above)

    def make() -> bytes:
        return np.column_stack(_rows(window, above)).astype("<f4", copy=False).tobytes()

    told = f"{above} {window.first} {window.end} {window.last}"
    rows = np.frombuffer(kept_or_made(pieces, "rows", told, [window.sound], make)[1], "<f4")
    energy, peaks = np.split(rows.reshape(-1, STREAMS + 2), [STREAMS + 1], axis=1)
    return energy, peaks[:, 0]


def _rows(window: Window, above: float) -> tuple[Rows, Rows]:
    """Weighted energy of each millisecond of a piece, (n, STREAMS + 1), that of the sum last, and its peaks, (n,).
    The last millisecond may be shorter."""
    sound, first, end = window.sound, window.first, window.end
    weigh = KWeighting(1), KWeighting(2), KWeighting(2)
    meters = [PowerMeter() for _ in range(STREAMS + 1)]
    peaks = PeakMeter(2, above=above, before=_sum(sound[max(0, first - REACH) : first]))
    for start, stop in ((0, first), *within(first, end)):
        parts = zip(weigh, _streams(sound[start:stop]), strict=True)
        # The filter is linear, so the sum's weighted samples are the sum of the parts'.
        voice, captures, music = (filtered.weigh(part) for filtered, part in parts)
        if start < first:
            continue  # only for the filters to settle
        for meter, squares in zip(meters, _squares(voice[:, 0], captures, music), strict=True):
            meter.add_squares(squares)
        peaks.add(_sum(sound[start:stop]))
    # Filled up to a whole millisecond, so that what there is of it counts.
    for meter in meters:
        meter.add_squares(np.zeros(-(end - first) % CHUNK))
    after = _sum(sound[end : end + REACH])
    peaks.add(np.concatenate((after, np.zeros((REACH - len(after), 2), np.float32))))
    highest = np.concatenate((peaks.take(), peaks.rest()))
    return np.stack([meter.power() * np.float32(CHUNK) for meter in meters], axis=1), highest


def _streams(sound: Rows) -> tuple[Rows, Rows, Rows]:
    """Narration (n, 1), captures and music (n, 2)."""
    return sound[:, :1], sound[:, 1:3], sound[:, 3:]


def _sum(sound: Rows) -> Rows:
    narration, captures, music = _streams(sound)
    return np.asarray(captures + music + narration)


def _squares(voice: Floats, captures: Floats, music: Floats) -> tuple[Floats, ...]:
    """(n,) weighted, squared and summed over both channels: narration, which is in both, captures, music, the last two
    together, and all of them. voice: (n,); captures, music: (n, 2)."""
    spoken = 2.0 * np.square(voice)
    with_music = music.any()
    heard, played = _square(captures), _square(music) if with_music else np.zeros(len(music))
    background = captures + music if with_music else captures
    below = _square(background) if with_music else heard
    return spoken, heard, played, below, spoken + below + 2.0 * voice * (background[:, 0] + background[:, 1])


def _square(sound: Floats) -> Floats:
    return np.asarray(np.einsum("ij,ij->i", sound, sound))
