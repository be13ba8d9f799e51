"""Music, read forward by blocks: levelled, looped where asked, faded in and out."""

from __future__ import annotations

import contextlib
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from assembler.sound.edges import FADE, faded
from assembler.sound.loudness import TENTH_MS, PowerMeter, amplitude
from assembler.sound.sessions import NARRATION_LUFS, levelling_gain
from assembler.sound.stems import Reader, Stems
from assembler.sound.weighting import KWeighting
from assembler.timeline.model import PlacedMusic, Timeline
from assembler.timing.rates import SAMPLE_RATE, nearest_frame

BELOW_NARRATION_LU = 4.0
"""How far music lies below the narration before it is lowered under speech. Common practice, no source."""

Stereo = npt.NDArray[np.float32]


def music_gains(timeline: Timeline, stems: Stems) -> dict[str, float]:
    """The amplitude that brings each file to its level, `gain` not counted, by its path."""
    files = {str(placed.path): placed for placed in timeline.music}
    return {name: _gain(placed, stems) for name, placed in files.items()}


def _opened(placed: PlacedMusic, stems: Stems) -> Reader:
    """The whole file, whatever of it is heard."""
    return stems.open(placed.path, placed.info, 0, _samples(placed.info.duration_s))


def _gain(placed: PlacedMusic, stems: Stems) -> float:
    weighting, meter = KWeighting(2), PowerMeter(TENTH_MS)
    samples = _samples(placed.info.duration_s)
    with contextlib.closing(_opened(placed, stems)) as reader:
        for start in range(0, samples, SAMPLE_RATE):
            meter.add(weighting.weigh(reader.read(start, min(SAMPLE_RATE, samples - start))))
    return levelling_gain(meter.power(), NARRATION_LUFS - BELOW_NARRATION_LU, TENTH_MS)


def heard_samples(placed: PlacedMusic) -> int:
    """How long a stretch is heard: to its end, or to the file's where it is not looped."""
    asked = placed.end_sample - placed.start_sample
    return asked if placed.music.loop and _piece(placed) else min(asked, _piece(placed))


def _piece(placed: PlacedMusic) -> int:
    """Samples from where it begins in the file to the file's end."""
    return max(0, _samples(placed.info.duration_s) - _samples(placed.music.start.seconds))


def _samples(seconds: Fraction) -> int:
    return nearest_frame(seconds, Fraction(SAMPLE_RATE))


class MusicBus:
    """Every stretch of music at its place, both channels. Use as a context manager. gains: by path."""

    def __init__(self, timeline: Timeline, gains: dict[str, float], stems: Stems) -> None:
        self._waiting = [placed for placed in timeline.music if heard_samples(placed)]
        self._gains = gains
        self._stems = stems
        self._open: list[tuple[PlacedMusic, Reader]] = []

    def __enter__(self) -> MusicBus:
        return self

    def __exit__(self, *_: object) -> None:
        for _placed, reader in self._open:
            reader.close()
        self._open = []

    def read(self, start: int, samples: int) -> Stereo | None:
        """The next stretch, which begins where the last one ended or later; None where there is no music."""
        end = start + samples
        while self._waiting and self._waiting[0].start_sample < end:
            placed = self._waiting.pop(0)
            self._open.append((placed, _opened(placed, self._stems)))
        block: Stereo | None = None
        for placed, reader in self._open:
            low, high = max(start, placed.start_sample), min(end, placed.start_sample + heard_samples(placed))
            if low < high:
                block = np.zeros((samples, 2), np.float32) if block is None else block
                block[low - start : high - start] += self._part(placed, reader, low - placed.start_sample, high - low)
        for placed, reader in self._open:
            if placed.start_sample + heard_samples(placed) <= end:
                reader.close()
        self._open = [pair for pair in self._open if pair[0].start_sample + heard_samples(pair[0]) > end]
        return block

    def _part(self, placed: PlacedMusic, reader: Reader, first: int, samples: int) -> Stereo:
        """(samples, 2) from `first` on, counted from where the stretch begins."""
        music, piece = placed.music, _piece(placed)
        part = np.empty((samples, 2), np.float32)
        done = 0
        while done < samples:
            within = (first + done) % piece
            count = min(samples - done, piece - within)
            read = reader.read(_samples(music.start.seconds) + within, count)
            # The seam of a loop, which need not fit, is faded; the stretch's own ends are faded below.
            part[done : done + count] = read * faded(within, count, piece, FADE, FADE)[:, None]
            done += count
        edges = (max(FADE, _samples(music.fade_in.seconds)), max(FADE, _samples(music.fade_out.seconds)))
        level = self._gains.get(str(placed.path), 1.0) * amplitude(music.gain_db)
        return part * (faded(first, samples, heard_samples(placed), *edges) * np.float32(level))[:, None]
