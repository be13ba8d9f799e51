"""The stored luma of every picture of a capture, in order, without conversion.

For measuring: what was coded is looked at as it is, neither scaled nor turned. Pictures of packed or
palette formats, which have no plane of luma, are turned into grey first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import cast

import numpy as np
import numpy.typing as npt
from av import VideoFrame
from av.container import InputContainer
from av.video.stream import VideoStream

from assembler.media.info import CaptureInfo
from assembler.media.opening import open_media, our_errors, unreadable
from assembler.media.probe import picture_stream

Lines = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]


@dataclass(frozen=True, slots=True, eq=False)
class Luma:
    """One picture's luma.

    lines: (height, stride) C-contiguous, uint8 or uint16 of at most 12 bits; only the first `width` columns
    are picture. code: how many of its codes make one 8-bit code. key: coded without leaning on others.
    """

    index: int
    lines: Lines
    width: int
    code: int
    key: bool


def read_luma(
    info: CaptureInfo, first: int = 0, also: Callable[[int, VideoFrame], None] | None = None
) -> Iterator[Luma]:
    """Every picture from number `first` on. The arrays keep their picture's memory alive.

    also: given each picture's number and the picture as it was decoded, where something else has a use for it.

    Raises MediaError, naming the time reached, for pictures that are missing, damaged or of changing size.
    """
    path, pts = info.path, info.pts.tolist()
    expected = first
    stored: tuple[int, int, str] | None = None
    with open_media(path) as container, our_errors(path):
        stream = picture_stream(path, container)
        if stream.time_base != info.time_base:
            raise unreadable(path, "it has changed since it was looked at")
        stream.thread_type = "AUTO"
        for frame in _from_before(info, container, stream, first):
            reached = info.time_s(min(expected, len(pts) - 1))
            if frame.pts is None:
                raise unreadable(path, "a picture has no time stamp", reached)
            if expected == len(pts) or frame.pts < pts[expected]:
                continue
            if frame.pts != pts[expected]:
                raise unreadable(path, f"picture {expected + 1} is missing", reached)
            shape = frame.width, frame.height, frame.format.name
            if stored not in (None, shape):
                raise unreadable(path, "its pictures change size or pixel format on the way", reached)
            if frame.is_corrupt:
                raise unreadable(path, "a picture is damaged", reached)
            stored = shape
            if also is not None:
                also(expected, frame)
            yield _luma(frame, expected)
            expected += 1
    if expected < len(pts):
        raise unreadable(path, f"picture {expected + 1} is missing", info.time_s(expected))


def _from_before(info: CaptureInfo, container: InputContainer, stream: VideoStream, first: int) -> Iterator[VideoFrame]:
    """Pictures from a keyframe at or before the first one wanted; from the file's start where none is found."""
    if first:
        container.seek(int(info.pts[first]), stream=stream)
        frames = container.decode(stream)
        landed = next(frames, None)
        if landed is not None and landed.key_frame and landed.pts is not None and landed.pts <= int(info.pts[first]):
            yield landed
            yield from frames
            return
        # A seek to the start is not exact in every container; times below the first are not shown anyway.
        container.seek(int(info.pts[0]) - round(1 / info.time_base), stream=stream)
    yield from container.decode(stream)


_PLANAR = ("yuv4", "yuvj4", "nv12", "nv16", "nv21", "nv24", "p010", "p210", "p410", "gray", "gbrp")
_LARGEST = 12
"""Bits of a code that sums of 4 x 4 differences are counted with."""


def _luma(frame: VideoFrame, index: int) -> Luma:
    """The first plane of planar formats (luma, or green), or grey made of the rest."""
    name, bits, key = frame.format.name, frame.format.components[0].bits, bool(frame.key_frame)
    if not name.startswith(_PLANAR) or not 8 <= bits <= 16:
        name, bits = ("gray", 8) if bits <= 8 else ("gray10le", 10)
        frame = frame.reformat(format=name)
    plane = frame.planes[0]
    wide = 1 if bits == 8 else 2
    kind: type[np.uint8] | type[np.uint16] = np.uint8 if wide == 1 else np.uint16
    # A flipped frame's lines run backwards in memory; a plain reshape would look outside it.
    assert plane.line_size > 0
    lines = cast(Lines, np.frombuffer(memoryview(plane), kind).reshape(plane.height, plane.line_size // wide))
    if (shift := (16 - bits if name.startswith("p") else 0) + max(0, bits - _LARGEST)) and wide == 2:
        lines = np.right_shift(lines, shift, dtype=np.uint16)  # some formats keep their codes in the upper bits
        bits = min(bits, _LARGEST)
    return Luma(index, lines, plane.width, 1 << (bits - 8), key)
