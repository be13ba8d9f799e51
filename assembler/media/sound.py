"""Sound of a capture as 48 kHz float samples, each at its exact place on the capture's clock.

Sample 0 is the moment the capture's first picture shows. Late starts and gaps are silence. Mono comes
out of both channels at its own level; more than two channels are mixed down by the resampler.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import cast

import numpy as np
import numpy.typing as npt
from av import AudioFrame, AudioResampler
from av.audio.stream import AudioStream
from av.container import InputContainer

from assembler.errors import MediaError
from assembler.media.closing import Closing
from assembler.media.info import SoundInfo
from assembler.media.opening import open_media, our_errors, refuse_cut_off, unreadable
from assembler.timing.rates import SAMPLE_RATE, nearest_frame

Samples = npt.NDArray[np.float32]

_PREROLL_S = Fraction(1, 4)
"""Sound decoded and thrown away after a seek: coders overlap blocks and need some to settle."""
_SEEK_AHEAD = 10 * SAMPLE_RATE
"""A jump ahead by more than this seeks; a shorter one is read through."""
MAX_WHOLE_S = 30 * 60
"""Longest sound that is read as one piece."""
_JITTER_S = Fraction(1, 50)
"""Stamps within this of where the samples put them are rounding, not gaps."""


def read_sound(path: Path, info: SoundInfo, start_s: Fraction, samples: int, channels: int = 2) -> Samples:
    """Sound from `start_s` (capture clock; may be negative) on.

    Returns (samples, channels) float32 at 48 kHz, silent where there is no sound; channels is 1 or 2.
    Raises MediaError where the sound cannot be decoded.
    """
    if channels not in (1, 2):
        raise ValueError(f"sound is read as 1 or 2 channels, not {channels}")
    with SoundReader(path, info) as reader:
        stereo = reader.read(nearest_frame(start_s, Fraction(SAMPLE_RATE)), samples)
    return stereo if channels == 2 else np.ascontiguousarray(stereo.mean(axis=1, keepdims=True), np.float32)


class SoundReader(Closing):
    """Reads forward in blocks; going back, or far ahead, seeks. A context manager.

    Places are whole samples at 48 kHz on the capture clock. Errors are MediaError.
    """

    def __init__(self, path: Path, info: SoundInfo) -> None:
        self._path = path
        self._info = info
        self._container: InputContainer | None = None
        self._blocks: Iterator[tuple[int, Samples]] = iter(())
        self._kept: deque[tuple[int, Samples]] = deque()
        self._reached: int | None = None  # everything before this place has been decoded; None before the first

    def close(self) -> None:
        """Release the file."""
        self._blocks, self._reached = iter(()), None
        self._kept.clear()
        if self._container is not None:
            self._container.close()
        self._container = None

    def read(self, start_sample48: int, samples: int) -> Samples:
        """(samples, 2) float32 from place `start_sample48` (may be negative) on."""
        out = np.zeros((samples, 2), np.float32)
        end = start_sample48 + samples
        starts = self._kept[0][0] if self._kept else self._reached
        unready = starts is None or self._reached is None or not starts <= start_sample48 <= self._reached + _SEEK_AHEAD
        if unready:
            self._go_to(start_sample48)
        assert self._reached is not None
        while self._reached < end:
            with our_errors(self._path, Fraction(max(0, self._reached), SAMPLE_RATE)):
                block = next(self._blocks, None)
            if block is None:
                self._reached = end
                break
            self._kept.append(block)
            self._reached = block[0] + len(block[1])
        for place, values in self._kept:
            low, high = max(place, start_sample48), min(place + len(values), end)
            if low < high:
                out[low - start_sample48 : high - start_sample48] = values[low - place : high - place]
        while self._kept and self._kept[0][0] + len(self._kept[0][1]) <= end:
            self._kept.popleft()
        return out

    def _go_to(self, place: int) -> None:
        """Start decoding at or before a place."""
        self.close()
        with our_errors(self._path, Fraction(0)):
            self._container = open_media(self._path)
            stream = self._container.streams.audio[0]
            first = next(self._container.decode(stream), None)
            if first is None or first.pts is None or first.time_base is None:
                raise unreadable(self._path, "its sound cannot be decoded", Fraction(0))
            # The first sample's stamp in the file stands for info.start_s on the capture clock.
            origin = first.pts * first.time_base
            wanted_s = Fraction(place, SAMPLE_RATE) - self._info.start_s - _PREROLL_S
            if wanted_s > Fraction(1, 2) and stream.time_base:
                self._container.seek(int((origin + wanted_s) / stream.time_base), stream=stream)
                frames = self._container.decode(stream)
                later = next(frames, None)
                if later is not None and later.pts is not None and _at(later) - origin <= wanted_s:
                    self._follow(_chain(later, frames), origin, first.samples)
                    return
                self._container.close()
                self._container = open_media(self._path)
            else:
                self._container.close()
                self._container = open_media(self._path)
            self._follow(self._container.decode(self._container.streams.audio[0]), origin, None)

    def _follow(self, frames: Iterator[AudioFrame], origin: Fraction, lead: int | None) -> None:
        self._blocks = self._placed(frames, origin, lead)
        self._reached = -(1 << 62)

    def _placed(
        self, frames: Iterator[AudioFrame], origin: Fraction, lead: int | None
    ) -> Iterator[tuple[int, Samples]]:
        """Resampled blocks and their places. `lead`: samples of the file's first frame, when reading begins
        at a later one."""
        rate = self._info.rate
        resampler: AudioResampler | None = None
        start_s, done = Fraction(0), 0  # where the present unbroken run began, and how many samples it has
        place = 0
        for frame in frames:
            if frame.pts is None:
                raise unreadable(self._path, "a piece of its sound has no time stamp", Fraction(place, SAMPLE_RATE))
            if frame.sample_rate != rate:
                raise unreadable(self._path, "its sound changes rate on the way", Fraction(place, SAMPLE_RATE))
            at_s = _at(frame) - origin
            if resampler is None or abs(at_s - (start_s + Fraction(done, rate))) > _JITTER_S:
                if resampler is not None:
                    for values in self._resampled(resampler, None):
                        yield place, values
                        place += len(values)
                if lead is not None and resampler is None:
                    # Whole frames lie between the first and this one, which says more than a stamp that the
                    # container may have rounded to milliseconds.
                    whole = lead + round((at_s * rate - lead) / frame.samples) * frame.samples
                    if abs(Fraction(whole, rate) - at_s) <= 2 * (frame.time_base or 0):
                        at_s = Fraction(whole, rate)
                # One channel stays one here: the mixer would lower it by 3 dB on the way to two.
                layout = "mono" if self._info.channels == 1 else "stereo"
                resampler = AudioResampler(format="fltp", layout=layout, rate=SAMPLE_RATE)
                start_s, done = at_s, 0
                place = nearest_frame(start_s + self._info.start_s, Fraction(SAMPLE_RATE))
            done += frame.samples
            frame.pts = None  # the place is counted here; the resampler would bend time to follow the stamps
            for values in self._resampled(resampler, frame):
                yield place, values
                place += len(values)
        if resampler is not None:
            for values in self._resampled(resampler, None):
                yield place, values
                place += len(values)

    def _resampled(self, resampler: AudioResampler, frame: AudioFrame | None) -> Iterator[Samples]:
        for made in resampler.resample(frame):
            values = cast(Samples, made.to_ndarray().T)
            if values.size:
                yield np.repeat(values, 2, axis=1) if values.shape[1] == 1 else values


def _at(frame: AudioFrame) -> Fraction:
    assert frame.pts is not None
    return Fraction(frame.pts * (frame.time_base or Fraction(0)))


def _chain(first: AudioFrame, rest: Iterator[AudioFrame]) -> Iterator[AudioFrame]:
    yield first
    yield from rest


def decode_all(path: Path) -> Samples:
    """A whole file's sound, (n, 1 or 2) float32 at 48 kHz, from its first sample.

    Raises MediaError when it has no sound, is cut off, cannot be decoded to its end or is too long for one piece.
    """
    blocks: list[Samples] = []
    length = 0
    for block in decode_blocks(path):
        length += len(block)
        if length > MAX_WHOLE_S * SAMPLE_RATE:
            raise MediaError(f"'{path}' is longer than {MAX_WHOLE_S // 60} minutes", mend="cut it into its takes")
        blocks.append(block)
    return np.concatenate(blocks) if blocks else np.zeros((0, 1), np.float32)


def decode_blocks(path: Path) -> Iterator[Samples]:
    """The same, piece by piece, however long it is. Raises MediaError, from the first piece on."""
    with open_media(path) as container:
        refuse_cut_off(path)
        if not container.streams.audio:
            raise MediaError(f"'{path}' has no sound", mend="name a sound file")
        stream: AudioStream = container.streams.audio[0]
        if cast(object, stream.codec_context) is None:
            raise MediaError(f"'{path}': its sound is coded in a way not known here", mend="save it as .wav or .flac")
        resampler: AudioResampler | None = None
        for frame in _decoded(path, container, stream):
            if resampler is None:
                layout = "mono" if frame.layout.nb_channels == 1 else "stereo"
                resampler = AudioResampler(format="fltp", layout=layout, rate=SAMPLE_RATE)
            frame.pts = None
            with our_errors(path):
                made = resampler.resample(frame)
            yield from (cast(Samples, each.to_ndarray().T) for each in made)
        if resampler is not None:
            yield from (cast(Samples, each.to_ndarray().T) for each in resampler.resample(None))


def _decoded(path: Path, container: InputContainer, stream: AudioStream) -> Iterator[AudioFrame]:
    """A file's frames; a failure says how far they went."""
    length = 0
    frames = container.decode(stream)
    while True:
        with our_errors(path, Fraction(length, stream.rate) if stream.rate else None):
            frame = next(frames, None)
        if frame is None:
            return
        length += frame.samples
        yield frame
