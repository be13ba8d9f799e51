"""Pictures of a capture, cropped, scaled and converted for a pane, by picture number.

Reading forward costs one decode a picture; skipped pictures are decoded but not converted; a jump
past a keyframe or backward seeks, and lands on exactly the picture asked for.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from av import VideoFrame
from av.container import InputContainer
from av.video.stream import VideoStream

from assembler.media.closing import Closing
from assembler.media.convert import Converter, Source, native_steps, scaling_steps, source_of
from assembler.media.info import CaptureInfo
from assembler.media.opening import open_media, our_errors, unreadable
from assembler.media.pick import Picker
from assembler.media.planes import Plane, Planes
from assembler.media.probe import picture_stream
from assembler.media.threads import decoding_threads

_WORTH_SEEKING = 8
"""Pictures a keyframe must save before a seek, which empties the decoder, is cheaper than decoding on."""
_SKIP_BY_PICTURE = ("h264", "hevc")
"""Coders whose decoders can be told picture by picture what to leave out; the AV1 decoder, for one,
listens only when it is opened."""


@dataclass(frozen=True, slots=True)
class PaneShape:
    """What a pane wants: its size (even), the part of the capture to show (x, y, width, height in
    capture pixels after rotation; None = all), how to scale (lanczos, bicubic, area, nearest), bits
    (8 or 10)."""

    width: int
    height: int
    crop: tuple[int, int, int, int] | None
    scaling: str
    bits: int = 8

    def __post_init__(self) -> None:
        if self.width < 2 or self.height < 2 or self.width % 2 or self.height % 2:
            raise ValueError(f"a pane's size must be even, not {self.width}x{self.height}")
        if self.scaling not in ("lanczos", "bicubic", "area", "nearest"):
            raise ValueError(f"no scaling called '{self.scaling}'")
        if self.bits not in (8, 10):
            raise ValueError(f"pictures have 8 or 10 bits, not {self.bits}")


class PictureReader(Closing):
    """Reads one capture for one pane. A context manager; not shared between threads.

    Raises MediaError for a capture that cannot be decoded, naming the time reached, and for colour that
    cannot be converted; ValueError for a crop outside the capture.
    """

    def __init__(self, info: CaptureInfo, shape: PaneShape) -> None:
        self._info = info
        self._shape = shape
        self._crop = _checked_crop(info, shape)
        self._pts = [int(p) for p in info.pts]
        self._convert: Callable[[VideoFrame], Planes] | None = None
        self._stored: tuple[int, int, str] | None = None
        self._container: InputContainer | None = None
        self._stream: VideoStream | None = None
        self._frames: Iterator[VideoFrame] = iter(())
        self._keys: list[int] = []
        self._skip_to: int | None = None
        self._next = 0  # number of the picture the decoder gives next, while it runs unbroken
        self._running = False
        self._held: dict[int, Planes] = {}
        self._scales = False

    def close(self) -> None:
        """Release the file. Planes already handed out stay readable."""
        self._frames, self._running = iter(()), False
        if self._container is not None:
            self._container.close()
        self._container = self._stream = None

    def reshape(self, shape: PaneShape) -> None:
        """Go on for another pane, from where the file is open at. Raises ValueError for a crop outside the capture."""
        if shape != self._shape:
            self._crop = _checked_crop(self._info, shape)
            self._shape, self._convert = shape, None
            self._held.clear()

    @property
    def lasting(self) -> bool:
        """Whether the picture given last stays as it is for as long as it is referred to, and costs no more memory than
        its own: what was scaled does, while views of a decoded picture hold all of that, and the decoder waits for it.
        """
        return self._scales

    def planes(self, index: int) -> Planes:
        """Picture `index` (from 0). The planes are valid until the next call but one, unless they are `lasting`; do not
        write to them."""
        if not 0 <= index < len(self._pts):
            raise IndexError(f"picture {index} of {len(self._pts)}")
        if index not in self._held:
            with our_errors(self._info.path, self._info.time_s(index)):
                frame = self._frame(index)
                planes = self._converter(frame)(frame)
            if len(self._held) > 1:
                del self._held[next(iter(self._held))]
            self._held[index] = planes
        else:
            self._held[index] = self._held.pop(index)  # now the newest
        return self._held[index]

    def _frame(self, index: int) -> VideoFrame:
        """Decode up to a picture and return it."""
        target = self._pts[index]
        try:
            if not self._running or index < self._next or self._seek_is_shorter(index):
                return self._sought(target, index)
            return self._advanced(target, index)
        except BaseException:
            self._running = False
            raise

    def _seek_is_shorter(self, index: int) -> bool:
        if index - self._next < _WORTH_SEEKING:
            return False
        # Keyframes are listed by decode time, which runs a little before the time shown: a seek that
        # saves less than hoped is slower, never wrong.
        at = bisect_right(self._keys, self._pts[index]) - 1
        return at >= 0 and bisect_left(self._pts, self._keys[at]) - self._next >= _WORTH_SEEKING

    def _advanced(self, target: int, index: int) -> VideoFrame:
        """Read on to a picture ahead."""
        if index > self._next:
            self._skip_to = target
        for frame in self._frames:
            if frame.pts == target:
                self._next = index + 1
                return self._checked(frame)
            if frame.pts is not None and frame.pts > target:
                break
        raise unreadable(self._info.path, f"picture {index + 1} is missing", self._info.time_s(index))

    def _sought(self, target: int, index: int) -> VideoFrame:
        """Land on a keyframe at or before a picture, and read on to it."""
        back, step = 0, max(1, round(Fraction(1, 2) / self._info.time_base))
        while True:
            want = target - back
            from_start = want <= self._pts[0]
            # A seek to the very start is not reliable in every container; a fresh opening is.
            if from_start or self._container is None:
                self._open()
            if not from_start:
                assert self._container is not None
                self._container.seek(want, stream=self._stream)
                self._frames = self._decoded()
            self._skip_to = target
            first = next(self._frames, None)
            # A first picture that is not a keyframe may lean on pictures from before the landing.
            if from_start or (first is not None and first.pts is not None and first.key_frame and first.pts <= target):
                break
            back = back * 2 or step
        self._running = True
        if first is not None and first.pts == target:
            self._next = index + 1
            return self._checked(first)
        return self._advanced(target, index)

    def _open(self) -> None:
        self.close()
        self._container = open_media(self._info.path)
        self._stream = picture_stream(self._info.path, self._container)
        if self._stream.time_base != self._info.time_base:
            raise unreadable(self._info.path, "it has changed since it was looked at")
        self._stream.thread_type = "AUTO"
        self._stream.codec_context.thread_count = decoding_threads()
        self._keys = sorted(entry.timestamp for entry in self._stream.index_entries if entry.is_keyframe)
        self._frames = self._decoded()

    def _decoded(self) -> Iterator[VideoFrame]:
        """Pictures in the order shown, from where the container stands."""
        assert self._container is not None and self._stream is not None
        context, skipping = self._stream.codec_context, False
        may_skip = self._info.codec in _SKIP_BY_PICTURE
        if may_skip:
            context.skip_frame = "DEFAULT"
        for packet in self._container.demux(self._stream):
            if packet.is_corrupt:
                raise unreadable(self._info.path, "a packet is not whole", self._reached(packet.pts))
            # Pictures nothing leans on need no decoding on the way to a later one.
            skip = may_skip and self._skip_to is not None and packet.pts is not None and packet.pts < self._skip_to
            if skip != skipping:
                context.skip_frame, skipping = ("NONREF" if skip else "DEFAULT"), skip
            yield from packet.decode()

    def _reached(self, pts: int | None) -> Fraction | None:
        return None if pts is None else (pts - self._pts[0]) * self._info.time_base

    def _checked(self, frame: VideoFrame) -> VideoFrame:
        self._skip_to = None
        stored = (frame.width, frame.height, frame.format.name)
        if self._stored not in (None, stored):
            raise unreadable(
                self._info.path, "its pictures change size or pixel format on the way", self._reached(frame.pts)
            )
        self._stored = stored
        if frame.is_corrupt:
            raise unreadable(self._info.path, "a picture is damaged", self._reached(frame.pts))
        return frame

    def _converter(self, frame: VideoFrame) -> Callable[[VideoFrame], Planes]:
        """Made from the first picture, whose size and pixel format are then held to."""
        if self._convert is None:
            info = self._info
            source = source_of(info.path, info.colour, frame.width, frame.height, frame.format.name)
            self._convert = conversion(source, self._crop, self._shape, info.rotation)
            self._scales = not picks(source, self._crop, self._shape)
        return self._convert


def picks(source: Source, crop: tuple[int, int, int, int], shape: PaneShape) -> bool:
    """Whether a pane's pixels are chosen from a capture's, without mixing any."""
    _, shifts = native_steps(source, shape.bits)
    return shape.scaling == "nearest" or ((shape.width, shape.height) == crop[2:] and shifts == (1, 1))


def conversion(
    source: Source, crop: tuple[int, int, int, int], shape: PaneShape, rotation: int
) -> Callable[[VideoFrame], Planes]:
    """How to turn decoded pictures into a pane's planes, by the least work that is exact."""
    size = shape.width, shape.height
    steps, shifts = native_steps(source, shape.bits)
    if picks(source, crop, shape):
        pick = Picker(crop, size, shifts, rotation)
        if not steps:
            return lambda frame: pick(*views(frame))
        native = Converter(source, steps)
        return lambda frame: pick(*views(native(frame)))
    stored = stored_crop(crop, source.width, source.height, rotation)
    scaled = Converter(source, scaling_steps(source, stored, size, rotation, shape.scaling, shape.bits))
    return lambda frame: Planes(*views(scaled(frame)))


def views(frame: VideoFrame) -> tuple[Plane, Plane, Plane]:
    """A frame's first three planes as arrays, without copying; they keep the frame alive."""
    kind: type[np.uint8] | type[np.uint16] = np.uint8 if frame.format.components[0].bits == 8 else np.uint16
    wide = np.dtype(kind).itemsize
    arrays = []
    for plane in frame.planes[:3]:
        # A flipped frame's lines run backwards in memory; a plain reshape would look outside it.
        assert plane.line_size > 0
        lines = np.frombuffer(memoryview(plane), kind).reshape(plane.height, plane.line_size // wide)
        arrays.append(lines[:, : plane.width])
    return arrays[0], arrays[1], arrays[2]


def stored_crop(crop: tuple[int, int, int, int], width: int, height: int, rotation: int) -> tuple[int, int, int, int]:
    """A crop in turned pixels as one in stored pixels. width, height: as stored."""
    x, y, wide, high = crop
    if rotation == 90:
        return y, height - x - wide, high, wide
    if rotation == 180:
        return width - x - wide, height - y - high, wide, high
    if rotation == 270:
        return width - y - high, x, high, wide
    return crop


def _checked_crop(info: CaptureInfo, shape: PaneShape) -> tuple[int, int, int, int]:
    if shape.crop is None:
        return 0, 0, info.width, info.height
    x, y, width, height = shape.crop
    if min(x, y) < 0 or min(width, height) < 1 or x + width > info.width or y + height > info.height:
        raise ValueError(f"the crop {shape.crop} lies outside the capture, {info.width}x{info.height}")
    return shape.crop
