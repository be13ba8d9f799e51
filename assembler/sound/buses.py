"""The streams that come from lines and captures, read forward by blocks, each at its place and its own level."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assembler.errors import NarrationError
from assembler.sound.edges import FADE, TAKE_IN, TAKE_OUT, faded
from assembler.sound.stems import Reader, Stems
from assembler.timeline.model import PlacedHear, PlacedLine, Timeline
from assembler.timing.rates import SAMPLE_RATE, nearest_frame, sample_of_frame

Mono = npt.NDArray[np.float32]
Stereo = npt.NDArray[np.float32]


def heard_lines(timeline: Timeline) -> tuple[PlacedLine, ...]:
    """The lines that have sound, by their start."""
    lines = (line for segment in timeline.segments for line in segment.lines if line.speech.sound is not None)
    return tuple(sorted(lines, key=lambda line: line.start_sample))


def read_speech(path: Path, first: int, samples: int) -> Mono:
    """Part of a voiced line's file. Raises NarrationError when it is gone or shorter than it was."""
    try:
        part = np.fromfile(path, "<f4", count=samples, offset=4 * first)
    except OSError as error:
        raise NarrationError(f"the voiced line {path.name} is gone", mend="run the command again") from error
    if part.size < samples:
        raise NarrationError(f"the voiced line {path.name} is too short", mend=f"delete {path} and run again")
    return part.astype(np.float32, copy=False)


class NarrationBus:
    """Every heard line at its place, mono. gain_of: the amplitude of a line."""

    def __init__(self, timeline: Timeline, gain_of: Callable[[PlacedLine], float]) -> None:
        self._lines = heard_lines(timeline)
        self._gain_of = gain_of
        self._programme_end = sample_of_frame(timeline.frames, timeline.rate)
        self._next = 0
        self._open: list[PlacedLine] = []

    def read(self, start: int, samples: int) -> Mono | None:
        """The next stretch, which begins where the last one ended or later; None where nobody speaks."""
        end = start + samples
        while self._next < len(self._lines) and self._lines[self._next].start_sample < end:
            self._open.append(self._lines[self._next])
            self._next += 1
        self._open = [line for line in self._open if line.end_sample > start]
        if not self._open:
            return None
        block = np.zeros(samples, np.float32)
        for line in self._open:
            low, high = max(start, line.start_sample), min(end, line.end_sample)
            assert line.speech.sound is not None
            part = read_speech(line.speech.sound, low - line.start_sample, high - low)
            # A line that the programme's end cuts off goes out there as it would at its own end.
            heard = min(line.end_sample, self._programme_end) - line.start_sample
            edges = (TAKE_IN, TAKE_OUT) if line.speech.kind == "take" else (FADE, FADE)
            shape = faded(low - line.start_sample, high - low, heard, *edges)
            block[low - start : high - start] += part * shape * np.float32(self._gain_of(line))
        return block


class CaptureBus:
    """Every heard stretch of capture sound at its place. Use as a context manager."""

    def __init__(self, timeline: Timeline, stems: Stems) -> None:
        placed = (heard for segment in timeline.segments for heard in segment.heard)
        known = (heard for heard in placed if _has_sound(timeline, heard))
        self._heard = _joined(known)
        self._captures = timeline.captures
        self._next = 0
        self._stems = stems
        self._open: list[tuple[PlacedHear, Reader]] = []

    def __enter__(self) -> CaptureBus:
        return self

    def __exit__(self, *_: object) -> None:
        for _heard, reader in self._open:
            reader.close()
        self._open = []

    def read(self, start: int, samples: int) -> Stereo | None:
        """The next stretch, which begins where the last one ended or later; None where nothing is heard."""
        end = start + samples
        while self._next < len(self._heard) and self._heard[self._next].start_sample < end:
            self._start(self._heard[self._next], start)
            self._next += 1
        if not self._open:
            return None
        block = np.zeros((samples, 2), np.float32)
        for heard, reader in self._open:
            low, high = max(start, heard.start_sample), min(end, heard.end_sample)
            part = reader.read(_capture_sample(heard) + low - heard.start_sample, high - low)
            shape = faded(low - heard.start_sample, high - low, heard.end_sample - heard.start_sample)
            block[low - start : high - start] += part * (shape * np.float32(10.0 ** (heard.gain_db / 20.0)))[:, None]
        self._close_before(end)
        return block

    def _start(self, heard: PlacedHear, start: int) -> None:
        if heard.end_sample <= max(start, heard.start_sample):
            return
        info = self._captures[heard.capture.id]
        assert info.sound is not None
        samples = heard.end_sample - heard.start_sample
        self._open.append((heard, self._stems.open(info.path, info.sound, _capture_sample(heard), samples)))

    def _close_before(self, end: int) -> None:
        for heard, reader in self._open:
            if heard.end_sample <= end:
                reader.close()
        self._open = [pair for pair in self._open if pair[0].end_sample > end]


def _has_sound(timeline: Timeline, heard: PlacedHear) -> bool:
    """Whether there is anything to hear; a capture that could not be read is missing altogether."""
    info = timeline.captures.get(heard.capture.id)
    return info is not None and info.sound is not None


def _joined(heard: Iterable[PlacedHear]) -> list[PlacedHear]:
    """Stretches by their start. One that goes on where another ends, in the same capture and as loud, is one with it:
    a cut between two pictures of a capture that runs on is not to be heard."""
    joined: list[PlacedHear] = []
    ending: dict[tuple[str, float, int], int] = {}  # capture, gain and last sample -> place in `joined`
    for stretch in sorted(heard, key=lambda heard: heard.start_sample):
        place = ending.pop((stretch.capture.id, stretch.gain_db, stretch.start_sample), None)
        if place is not None and _goes_on(joined[place], stretch):
            joined[place] = replace(joined[place], end_sample=stretch.end_sample)
        else:
            place = len(joined)
            joined.append(stretch)
        ending[stretch.capture.id, stretch.gain_db, stretch.end_sample] = place
    return joined


def _goes_on(before: PlacedHear, after: PlacedHear) -> bool:
    """Whether a stretch takes up its capture where the one before it leaves it, to within a sample of rounding."""
    left = _capture_sample(before) + after.start_sample - before.start_sample
    return abs(left - _capture_sample(after)) <= 1


def _capture_sample(heard: PlacedHear) -> int:
    """Where a heard stretch begins in its capture, in 48 kHz samples from the capture's first picture."""
    return nearest_frame(heard.capture_s, Fraction(SAMPLE_RATE))
