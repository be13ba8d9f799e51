"""Speech made a little faster or slower at its own pitch, to an exact number of samples.

libavfilter's `atempo` does it by overlapping pieces of the wave where they match. What comes out of it is a few
milliseconds early and not of an exact length, so silence goes in before and after, and the speech is cut out of
the middle at the place where it lies. In running speech a word then stands within some 40 ms of its time divided by
the speed, mostly within 20 ms: the filter moves its pieces by that much to make them match.
"""

from __future__ import annotations

from fractions import Fraction

import av
import numpy as np
import numpy.typing as npt
from av.filter import Graph

from assembler.errors import RenderError
from assembler.timing.rates import SAMPLE_RATE

_ROOM = SAMPLE_RATE // 4
_BLOCK = 8192
_EARLY = 512
"""Samples by which the filter is early: a quarter of its window, which is 2048 samples long at 48 kHz."""


def change_tempo(samples: npt.NDArray[np.float32], length: int) -> npt.NDArray[np.float32]:
    """Mono samples at 48 kHz, said in exactly `length` samples at the same pitch.

    Meant for changes of a few per cent; the filter takes half to twice the speed. Raises RenderError when it fails.
    """
    if length == samples.size or not samples.size:
        return np.resize(samples, length) if samples.size else np.zeros(length, np.float32)
    speed = Fraction(int(samples.size), length)
    wide = np.concatenate([np.zeros(_ROOM, np.float32), samples, np.zeros(2 * _ROOM, np.float32)])
    try:
        made = _filtered(wide.astype(np.float32, copy=False), float(speed))
    except (av.FFmpegError, ValueError) as error:
        raise RenderError(f"speech could not be stretched: {error}", mend="leave `stretch:` away") from error
    first = round(_ROOM / speed) - _EARLY
    return np.ascontiguousarray(made[first : first + length], np.float32)


def _filtered(samples: npt.NDArray[np.float32], speed: float) -> npt.NDArray[np.float32]:
    graph = Graph()
    clock = Fraction(1, SAMPLE_RATE)
    source = graph.add_abuffer(format="flt", sample_rate=SAMPLE_RATE, layout="mono", time_base=clock)
    tempo = graph.add("atempo", f"{speed:.9f}")
    sink = graph.add("abuffersink")
    source.link_to(tempo)
    tempo.link_to(sink)
    graph.configure()
    made: list[npt.NDArray[np.float32]] = []

    def drain() -> None:
        while True:
            try:
                frame = sink.pull()
            except (BlockingIOError, EOFError):
                return
            assert isinstance(frame, av.AudioFrame)
            made.append(np.array(frame.to_ndarray(), np.float32).reshape(-1))

    for place in range(0, samples.size, _BLOCK):
        part = np.ascontiguousarray(samples[place : place + _BLOCK]).reshape(1, -1)
        frame = av.AudioFrame.from_ndarray(part, format="flt", layout="mono")
        frame.sample_rate, frame.pts, frame.time_base = SAMPLE_RATE, place, clock
        source.push(frame)
        drain()
    source.push(None)
    drain()
    return np.concatenate(made)
