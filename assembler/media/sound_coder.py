"""The programme's sound as AAC, and what a player makes of it: coded and decoded again in one go, block by block."""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt

from assembler.errors import RenderError
from assembler.media.landing import landing, write_error
from assembler.timing.rates import SAMPLE_RATE

SoundBlock = npt.NDArray[np.float32]

FRAME = 1024
"""Samples that are coded together, and that a decoder gives out before the first."""
CLOCK = Fraction(1, SAMPLE_RATE)
"""What places of packets count in."""
_AT_ONCE, _AHEAD = 32, 3  # packets that are heard in one go, and how many goes coding may be ahead


@dataclass(frozen=True, slots=True)
class SoundCoding:
    """bit_rate: bits a second. quick: about three times as fast, a little less close to what went in."""

    bit_rate: int = 256_000
    quick: bool = False


def _options(coding: SoundCoding) -> dict[str, str]:
    # Without the coder's noise of its own making: it is not what was heard, and its peaks are anywhere.
    options = {"aac_pns": "0"}
    if coding.quick:
        # Without the search for the best use of few bits: at these bit rates there are enough of them, and what
        # comes out is, band by band, about as close to what went in.
        options |= {"aac_coder": "fast", "aac_is": "0", "aac_ms": "0", "aac_tns": "0"}
    return options


def open_coder(coding: SoundCoding) -> Any:
    """A coder whose packets are for no file yet."""
    coder: Any = av.CodecContext.create("aac", "w")
    coder.options = _options(coding)
    coder.sample_rate, coder.layout, coder.format = SAMPLE_RATE, "stereo", "fltp"
    coder.bit_rate, coder.time_base = coding.bit_rate, CLOCK
    return coder


def coded_frames(sound: SoundBlock, first: int = 0) -> Iterator[Any]:
    """A sound, (samples, 2), frame by frame as a coder takes it, the last one shorter. first: place of its first
    sample."""
    for place in range(0, len(sound), FRAME):
        planar = np.ascontiguousarray(sound[place : place + FRAME].T)
        frame = av.AudioFrame.from_ndarray(planar, "fltp", "stereo")
        frame.sample_rate, frame.time_base, frame.pts = SAMPLE_RATE, CLOCK, first + place
        yield frame


class SoundCoder:
    """Codes for a stream of its own in a container that is being written."""

    def __init__(self, container: Any, coding: SoundCoding) -> None:
        self.stream = container.add_stream("aac", rate=SAMPLE_RATE, layout="stereo", options=_options(coding))
        self.stream.bit_rate = coding.bit_rate
        self._held = np.zeros((0, 2), np.float32)
        self._sent = self.received = 0

    def add(self, block: SoundBlock) -> Iterator[Any]:
        """Take the next (samples, 2) and give out the packets that are done. Raises RenderError for another shape."""
        if block.ndim != 2 or block.shape[1] != 2:
            raise RenderError(f"a sound block must be (samples, 2), not {block.shape}")
        self.received += len(block)
        self._held = np.concatenate((self._held, block.astype(np.float32, copy=False)))
        whole = len(self._held) // FRAME * FRAME
        yield from self._coded(self._held[:whole])
        self._held = self._held[whole:]

    def end(self) -> Iterator[Any]:
        """The packets that are left."""
        yield from self._coded(self._held)
        yield from self.stream.encode(None)

    def _coded(self, sound: SoundBlock) -> Iterator[Any]:
        for frame in coded_frames(sound, self._sent):
            self._sent += frame.samples
            yield from self.stream.encode(frame)


@contextlib.contextmanager
def sound_file(path: Path, coding: SoundCoding) -> Iterator[tuple[Any, SoundCoder]]:
    """A file for sound alone (mp4) that is being written, and what codes for it."""
    # A clock that the sound's own rate divides: the usual milliseconds would cut up to 1 ms off its end.
    # In fragments, so that no index of the whole is held meanwhile: an hour's is 17 MB.
    options = {"movie_timescale": str(SAMPLE_RATE), "movflags": "+delay_moov", "frag_duration": "10000000"}
    with av.open(str(path), "w", format="mp4", container_options=options) as container:
        yield container, SoundCoder(container, coding)


def code_sound(
    blocks: Iterable[SoundBlock], path: Path, coding: SoundCoding, heard: Callable[[SoundBlock], None] | None = None
) -> int:
    """Code a sound into a file of its own (mp4), which `join_parts` copies from; returns its number of samples.

    blocks: float32 (samples, 2) at 48 kHz. heard: given the same sound as it comes out of a decoder, block by block and
    in all as long. What either raises ends it, and no file is left. Raises MissingPartError when the disk is full.
    """
    with landing(path, shared=True) as partial:
        try:
            with sound_file(partial, coding) as (container, coder), _apart(heard) as back:
                for block in blocks:
                    for packet in coder.add(block):
                        _put(container, coder, packet, back)
                for packet in coder.end():
                    _put(container, coder, packet, back)
                if back is not None:
                    back.end(coder.received)
        except (OSError, av.FFmpegError) as error:
            raise write_error(path, error) from error
    return coder.received


@contextlib.contextmanager
def _apart(heard: Callable[[SoundBlock], None] | None) -> Iterator[_Apart | None]:
    """What hears the sound again, where anything does; the thread has ended when this has."""
    if heard is None:
        yield None
        return
    with ThreadPoolExecutor(1, "hearing") as thread:
        try:
            yield _Apart(thread, _Back(heard))
        except BaseException:
            thread.shutdown(wait=True, cancel_futures=True)
            raise


class _Apart:
    """Has packets decoded and heard in a thread, in their order, while the next ones are coded. What is raised there
    is raised here, a few packets later."""

    def __init__(self, thread: ThreadPoolExecutor, back: _Back) -> None:
        self._thread, self._back = thread, back
        self._packets: list[bytes] = []
        self._header: bytes | None = None
        self._running: deque[Future[None]] = deque()

    def add(self, packet: bytes, header: bytes | None) -> None:
        self._packets.append(packet)
        self._header = header
        if len(self._packets) == _AT_ONCE:
            self._hand_over()

    def end(self, samples: int) -> None:
        self._hand_over()
        self._running.append(self._thread.submit(self._back.end, samples))
        while self._running:
            self._running.popleft().result()

    def _hand_over(self) -> None:
        packets, self._packets = self._packets, []
        self._running.append(self._thread.submit(self._hear, packets, self._header))
        while len(self._running) > _AHEAD:
            self._running.popleft().result()

    def _hear(self, packets: Iterable[bytes], header: bytes | None) -> None:
        for packet in packets:
            self._back.add(packet, header)


def _put(container: Any, coder: SoundCoder, packet: Any, back: _Apart | None) -> None:
    if back is not None:
        back.add(bytes(packet), coder.stream.codec_context.extradata)
    container.mux(packet)


class _Back:
    """Decodes what was coded. The last samples are filled up to a whole frame by the coder: they are kept until it is
    known how many were meant."""

    def __init__(self, heard: Callable[[SoundBlock], None]) -> None:
        self._heard = heard
        self._decoder: Any = None
        self._given = -FRAME
        self._waiting: list[SoundBlock] = []

    def add(self, packet: bytes, header: bytes | None) -> None:
        if self._decoder is None:
            self._decoder = av.CodecContext.create("aac", "r")
            self._decoder.extradata = header
        self._take(self._decoder.decode(av.Packet(packet)))
        if sum(map(len, self._waiting)) >= SAMPLE_RATE:
            self._give(keep=2 * FRAME)

    def end(self, samples: int) -> None:
        if self._decoder is not None:
            self._take(self._decoder.decode(None))
        self._give(keep=0, end=samples)

    def _take(self, frames: Iterable[Any]) -> None:
        self._waiting.extend(map(samples_of, frames))

    def _give(self, keep: int, end: int | None = None) -> None:
        if not self._waiting:
            return
        whole = np.concatenate(self._waiting)
        count = len(whole) - keep
        block = whole[max(0, -self._given) : count if end is None else min(count, end - self._given)]
        self._waiting = [whole[count:]] if keep else []
        self._given += count
        if len(block):
            self._heard(np.ascontiguousarray(block, np.float32))


def samples_of(frame: Any) -> SoundBlock:
    """(samples, 2) of what a decoder gave out: float32, a plane for each channel."""
    return np.stack([np.frombuffer(plane, np.float32)[: frame.samples] for plane in frame.planes], axis=1)


class CodedPackets:
    """Reads a file of `code_sound` packet by packet, into a stream of its own in a container that is being written."""

    def __init__(self, container: Any, source: Any, path: Path) -> None:
        self._container = container
        template = source.streams.audio[0]
        self.stream = container.add_stream_from_template(template, opaque=True)
        self._path = path
        self._packets = (packet for packet in source.demux(template) if packet.size and packet.pts is not None)
        self.reached = -FRAME

    def feed_to(self, sample: int | None) -> None:
        """Copy whole packets up to a sample; None: all. Raises RenderError when the file is damaged."""
        try:
            while sample is None or self.reached < sample:
                packet = next(self._packets, None)
                if packet is None:
                    return
                self.reached = packet.pts + packet.duration
                packet.stream = self.stream
                self._container.mux(packet)
        except ValueError as error:
            mend = "delete it and render again"
            raise RenderError(f"{self._path}: the programme's sound is damaged: {error}", mend=mend) from error
