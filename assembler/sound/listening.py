"""Hearing a programme's streams before they are mixed: how strong each is, and where their sum is high.

    <cache>/sound/pieces/<hash>.rows    what was heard of a piece, named by all of its streams' samples
"""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assembler.sound.keeping import engine, keep, kept
from assembler.sound.loudness import PowerMeter
from assembler.sound.spool import Spool
from assembler.sound.stems import Stems
from assembler.sound.streams import Gains, Streams
from assembler.sound.talk import STREAMS
from assembler.sound.truepeak import REACH, PeakMeter
from assembler.sound.weighting import KWeighting
from assembler.sound.windows import Window, windows, within
from assembler.timeline.model import Timeline
from assembler.timing.rates import SAMPLE_RATE, sample_of_frame

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.float32]
Progress = Callable[[int, int], None]

_AT_ONCE = 2  # threads that hear pieces


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

    def take() -> None:
        power, peaks = hearing.popleft().result()
        found.whole.add(power[:, STREAMS])
        found.streams.add(power[:, :STREAMS])
        found.peaks.add(peaks)

    with Streams(timeline, gains, stems) as streams, ThreadPoolExecutor(_AT_ONCE, "listening") as threads:
        for window in windows(blocks(streams), samples):
            hearing.append(threads.submit(_kept_rows, window, above, pieces))
            if len(hearing) == _AT_ONCE:
                take()
        while hearing:
            take()
    return found


def _kept_rows(window: Window, above: float, pieces: Path | None) -> tuple[Rows, Rows]:
    if pieces is None:
        return _rows(window, above)
    digest = hashlib.sha256(f"{engine()} {above} {window.lead} {window.last}".encode())
    digest.update(np.ascontiguousarray(window.sound, "<f4").data)
    path = pieces / f"{digest.hexdigest()[:40]}.rows"
    if (known := kept(path)) is not None:
        size = int.from_bytes(known[:4], "little")
        rows = np.frombuffer(known, "<f4", offset=4)
        return rows[: size * (STREAMS + 1)].reshape(size, STREAMS + 1), rows[size * (STREAMS + 1) :]
    power, peaks = _rows(window, above)
    data = (np.ascontiguousarray(part, "<f4").tobytes() for part in (power, peaks))
    keep(path, len(power).to_bytes(4, "little") + b"".join(data))
    return power, peaks


def _rows(window: Window, above: float) -> tuple[Rows, Rows]:
    """Power of each whole millisecond, (n, STREAMS + 1), that of the sum last, and its peaks, (n or n + 1,): that of a
    last part of a millisecond is told as well."""
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
    if window.last:
        peaks.end()
    else:
        peaks.add(_sum(sound[end : end + REACH]))
    return np.stack([meter.power() for meter in meters], axis=1), peaks.take()


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
