"""Encode canvas pictures into one part: a small mp4 that later joins others by stream copy.

    with PartWriter(path, width=1280, height=720, rate=Fraction(60)) as writer:
        for k in range(frames):
            paint(k, writer.canvas())      # views into a frame's own memory, lent until submit
            writer.submit()                # encoding goes on in its own thread

A part starts with a picture that needs no other one, refers to nothing outside itself and carries
the same codec header as every other part of the same settings. It lands under its name only when
every submitted picture was read back from the finished file.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Literal, Self

import av
import numpy as np

from assembler.errors import MediaError, MissingPartError, RenderError
from assembler.media.landing import landing, write_error
from assembler.media.opening import open_media
from assembler.media.planes import Plane, Planes
from assembler.media.processor import has_avx512

BT709: Final = (1, 1, 1)
"""Primaries, transfer and matrix. Source: Rec. ITU-T H.273 code points."""
_LIMITED = 1
_LENT_FRAMES = 3
_REORDER = 2  # pictures; what both codecs need with pictures that refer to later ones, in two levels
_GRAIN = 10_000
"""The mp4 writer doubles a coarser clock until it reaches this; choosing it ourselves keeps it exact."""


@dataclass(frozen=True, slots=True)
class EncoderSettings:
    """How parts are encoded. Parts that are to be joined must share these.

    crf: constant quality, lower is better. quantiser: one for all pictures in its place, of H.264, lower is better; the
    codec then need not judge each picture beforehand; 0 = by crf. between: pictures of H.264 that lean on both sides,
    always so many in a row; 0 lets the preset choose. keyint_s: seconds at most between pictures that can be
    sought to. threads: one number on every machine, because pictures coded by another number of threads are not the
    same to the bit; 0 lets the codec choose. max_rate, buffer: what a decoder takes, in bits a second and bits held
    back (VBV); 0 = no cap. level: of the codec, such as "4.2"; empty lets the codec choose. references: pictures kept
    to refer to, of H.264; 0 lets the preset choose. lookahead: pictures of H.264 that are looked at ahead, to spend
    more on what later ones lean on; 0 lets the preset choose. primaries, transfer, matrix: H.273 code points.
    """

    codec: Literal["libx264", "libx265"] = "libx264"
    preset: str = "veryfast"
    crf: int = 23
    quantiser: int = 0
    between: int = 0
    keyint_s: Fraction = Fraction(2)
    bits: Literal[8, 10] = 8
    threads: int = 4
    max_rate: int = 0
    buffer: int = 0
    level: str = ""
    references: int = 0
    lookahead: int = 0
    primaries: int = BT709[0]
    transfer: int = BT709[1]
    matrix: int = BT709[2]

    @property
    def pixel_format(self) -> str:
        """The codec's name for the canvas's layout."""
        return "yuv420p" if self.bits == 8 else "yuv420p10le"

    def options(self, rate: Fraction) -> dict[str, str]:
        """Codec options at a picture rate."""
        keyint = max(1, round(self.keyint_s * rate))
        if self.codec == "libx264":
            # stitchable: the codec's header must not depend on crf, lookahead or threads.
            inner = f"stitchable=1:open-gop=0:keyint={keyint}:min-keyint={min(keyint, max(1, keyint // 10))}"
            if has_avx512():
                # There, at widths other than whole multiples of 128, it reads memory nobody wrote, and the
                # same pictures come out a little different each time.
                inner += ":asm=avx2"
            inner += self._limits()
            if self.lookahead:
                inner += f":mbtree=1:rc-lookahead={self.lookahead}"
            if self.references:
                inner += f":ref={self.references}"
            if self.between:
                inner += f":bframes={self.between}:b-adapt=0"
            profile = "high" if self.bits == 8 else "high10"
            quality = {"qp": str(self.quantiser)} if self.quantiser else {"crf": str(self.crf)}
            return {"preset": self.preset, **quality, "profile": profile, "x264-params": inner}
        # info=0: otherwise the settings are written into the header, which must be equal in every part.
        inner = f"info=0:open-gop=0:keyint={keyint}:log-level=none"
        if self.threads:
            inner += f":pools={self.threads}"
        inner += self._limits()
        if self.level:
            inner += ":high-tier=0"
        profile = "main" if self.bits == 8 else "main10"
        return {"preset": self.preset, "crf": str(self.crf), "profile": profile, "x265-params": inner}

    def _limits(self) -> str:
        """Cap and level, in the words that both codecs share."""
        words = f":{'level' if self.codec == 'libx264' else 'level-idc'}={self.level}" if self.level else ""
        if not self.max_rate:
            return words
        # Half full at the start: a joined programme goes from one part's buffer to the next's, and what each part
        # may spend beyond the cap is what its buffer begins with.
        words += f":vbv-maxrate={self.max_rate // 1000}:vbv-bufsize={self.buffer // 1000}:vbv-init=0.5"
        # Both plan by how far the pictures have come that are coded just then in other threads, so that with more than
        # one at a time the same pictures come out a little different each time. HEVC still shares out rows.
        return f"{words}:{'threads' if self.codec == 'libx264' else 'frame-threads'}=1"


def clock_of(rate: Fraction) -> tuple[Fraction, int]:
    """The mp4 clock a rate is exact on, and how many of its ticks a picture lasts.

    60 pictures a second: (1/15360, 256); 60000/1001: (1/60000, 1001).
    """
    doubled = 1
    while rate.numerator * doubled < _GRAIN:
        doubled *= 2
    return Fraction(1, rate.numerator * doubled), rate.denominator * doubled


def count_pictures(path: Path) -> int:
    """Pictures in a finished part, by reading its packets; 0 when it cannot be read to its end."""
    try:
        with open_media(path) as part:
            return sum(1 for packet in part.demux(part.streams.video[0]) if packet.size)
    except (MediaError, OSError, ValueError, IndexError, av.FFmpegError):
        return 0


class PartWriter:
    """Writes one part of `width` x `height` pixels (even) at an exact rate. A context manager:
    leaving it cleanly closes the part; leaving it by an error removes what was written.

    Pictures are encoded in a thread of their own. What goes wrong there is raised by the next
    `canvas`, `submit` or `close`: MissingPartError (codec or disk space), else RenderError.
    """

    def __init__(
        self, path: Path, *, width: int, height: int, rate: Fraction, settings: EncoderSettings | None = None
    ) -> None:
        if width % 2 or height % 2:
            raise RenderError(f"a canvas of {width}x{height} cannot be encoded", mend="use an even width and height")
        self._path = path.absolute()
        self._size = (width, height)
        self._rate = rate
        self._settings = settings or EncoderSettings()
        self._free: queue.Queue[av.VideoFrame] = queue.Queue()
        for _ in range(_LENT_FRAMES):
            self._free.put(self._new_frame())
        self._waiting: queue.Queue[av.VideoFrame | None] = queue.Queue()
        self._lent: av.VideoFrame | None = None
        self._submitted = 0
        self._muxed = 0
        self._error: BaseException | None = None
        self._stop = threading.Event()
        self._encode_s = 0.0
        self._wait_s = 0.0
        self._landing = contextlib.ExitStack()
        partial = self._landing.enter_context(landing(self._path, shared=True))
        try:
            self._container, self._stream = self._open(partial)
        except BaseException as error:
            self._abandon(error)
            raise
        self._partial = partial
        self._closed = False
        self._thread = threading.Thread(target=self._encode, name=f"encode {path.name}", daemon=True)
        self._thread.start()

    @property
    def encode_s(self) -> float:
        """Seconds the encoder thread has worked."""
        return self._encode_s

    @property
    def wait_s(self) -> float:
        """Seconds the caller has waited for the encoder."""
        return self._wait_s

    def canvas(self) -> Planes:
        """The next picture's planes to write on: all of them, what stands there is an older picture.

        The views belong to the caller until `submit`; asking again before that gives the same picture.
        """
        if self._lent is None:
            began = time.perf_counter()
            self._lent = self._take_free()
            self._wait_s += time.perf_counter() - began
            # A codec may still hold the memory; then this moves the frame to memory of its own.
            self._lent.make_writable()
        return frame_planes(self._lent, self._settings.bits)

    def submit(self) -> None:
        """Hand the picture drawn on the canvas to the encoder."""
        self._raise_error()
        if self._lent is None:
            raise ValueError("nothing to submit: ask for a canvas first")
        _, step = clock_of(self._rate)
        self._lent.pts = self._submitted * step
        self._submitted += 1
        self._waiting.put(self._lent)
        self._lent = None

    def write(self, planes: Planes) -> None:
        """Copy a picture of the canvas's size and bits, and submit it."""
        canvas = self.canvas()
        canvas.y[:], canvas.u[:], canvas.v[:] = planes.y, planes.u, planes.v
        self.submit()

    def close(self) -> None:
        """Finish the part, read it back and give it its name."""
        if self._closed:
            return
        self._closed = True
        try:
            self._waiting.put(None)
            self._thread.join()
            self._raise_error()
            if not self._submitted:
                raise RenderError(f"{self._path}: a part without pictures")
            found = count_pictures(self._partial)
            if found != self._submitted:
                raise RenderError(
                    f"{self._path}: {self._submitted} pictures were encoded but {found} can be read back",
                    mend="run again; if it happens again, check the disk",
                )
        except BaseException as error:
            self._abandon(error)
            raise
        self._landing.close()

    def discard(self) -> None:
        """Stop and remove what was written."""
        if self._closed:
            return
        self._closed = True
        self._stop.set()
        self._waiting.put(None)
        self._thread.join()
        self._abandon(RenderError("stopped"))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is None:
            self.close()
        else:
            self.discard()

    def _open(self, partial: Path) -> tuple[Any, Any]:
        settings = self._settings
        try:
            container = av.open(str(partial), "w", format="mp4")
        except (OSError, av.FFmpegError) as error:
            raise write_error(self._path, error) from error
        try:
            stream = container.add_stream(settings.codec, rate=self._rate, options=settings.options(self._rate))
            stream.width, stream.height = self._size
            stream.pix_fmt = settings.pixel_format
            clock, _ = clock_of(self._rate)
            stream.time_base = clock
            stream.sample_aspect_ratio = Fraction(1)
            context = stream.codec_context
            context.sample_aspect_ratio = Fraction(1)
            context.time_base = clock
            context.thread_count = settings.threads
            context.color_primaries = settings.primaries
            context.color_trc = settings.transfer
            context.colorspace = settings.matrix
            context.color_range = _LIMITED
            if settings.codec == "libx265":
                context.codec_tag = "hvc1"
            context.open()
        except (OSError, ValueError, av.FFmpegError) as error:
            container.close()
            raise MissingPartError(
                f"the encoder {settings.codec} with preset {settings.preset} could not be started: {error}",
                mend="`assembler doctor` lists the codecs at hand",
            ) from error
        return container, stream

    def _new_frame(self) -> av.VideoFrame:
        frame = av.VideoFrame(*self._size, self._settings.pixel_format)
        frame.time_base = clock_of(self._rate)[0]
        frame.color_primaries = self._settings.primaries
        frame.color_trc = self._settings.transfer
        frame.colorspace = self._settings.matrix
        frame.color_range = _LIMITED
        return frame

    def _take_free(self) -> av.VideoFrame:
        while True:
            self._raise_error()
            with contextlib.suppress(queue.Empty):
                return self._free.get(timeout=0.2)

    def _encode(self) -> None:
        """The encoder thread: until None comes, or an error, or a stop."""
        try:
            try:
                while (frame := self._waiting.get()) is not None and not self._stop.is_set():
                    began = time.perf_counter()
                    self._mux(self._stream.encode(frame))
                    self._encode_s += time.perf_counter() - began
                    self._free.put(frame)
                if not self._stop.is_set() and self._submitted:
                    began = time.perf_counter()
                    self._mux(self._stream.encode(None))
                    self._encode_s += time.perf_counter() - began
            finally:
                self._container.close()
        except BaseException as error:
            self._error = error

    def _mux(self, packets: list[Any]) -> None:
        # Decoding times are counted here: those of libx265 are random in parts shorter than its own delay.
        _, step = clock_of(self._rate)
        # libx265 does not tell its depth; a part's clock may start earlier than it needs to, not later.
        delay = max(_REORDER, self._stream.codec_context.reorder_depth)
        for packet in packets:
            packet.dts = (self._muxed - delay) * step
            self._muxed += 1
            self._container.mux(packet)

    def _raise_error(self) -> None:
        error = self._error
        if error is not None:
            raise write_error(self._path, error) from error

    def _abandon(self, error: BaseException) -> None:
        with contextlib.suppress(BaseException):
            self._landing.__exit__(type(error), error, error.__traceback__)


def frame_planes(frame: av.VideoFrame, bits: int) -> Planes:
    """Writable views of a 4:2:0 frame's planes, padding left out. Keep the frame while they are used."""
    kind = np.dtype(np.uint8 if bits == 8 else np.uint16)
    views: list[Plane] = []
    for plane in frame.planes:
        if plane.line_size <= 0:
            # Rows stored upwards: a reshape would silently reach outside the picture.
            raise RenderError("a picture stored upside down cannot be drawn on")
        memory = np.frombuffer(plane, kind)  # type: ignore[call-overload]
        views.append(memory.reshape(plane.height, plane.line_size // kind.itemsize)[:, : plane.width])
    return Planes(*views)
