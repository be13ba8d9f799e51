"""Proxies: small stand-ins of captures that cost much to decode, read in their place by drafts.

A proxy is cut into pieces of `PIECE` pictures, each a file of its own, so that only what is shown has to be made:

    <cache>/proxies/<key>/00000300.mp4      pictures 300 to 599, each at its own time

Whether a capture is read by proxy, and for which panes, follows from the capture and the pane alone, never from what
lies on disk or from how fast the machine is just now: the same storyboard always gives the same draft.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt

from assembler.errors import MediaError
from assembler.media.closing import Closing
from assembler.media.info import CaptureInfo, Colour
from assembler.media.opening import open_media
from assembler.media.planes import Planes
from assembler.media.probe import picture_stream
from assembler.media.reader import PaneShape, PictureReader

FOLDER = "proxies"
VERSION = 1
"""Raised by hand when proxies must be made anew."""
PIECE = 300
BOX = (1280, 720)
"""What a proxy fits in: the size of a draft (of a tall capture, on its side)."""

# Processor milliseconds of a picture, fitted to decoding on one machine (benchmarks/proxies.py holds them against
# the machine it runs on). Only their proportions matter, and on other machines those are much the same.
_MEGAPIXEL_MS = {"h264": 1.0, "hevc": 1.6, "vp9": 1.2, "av1": 1.6}
_MEGABIT_MS = {"h264": 10.5, "hevc": 10.5, "vp9": 9.0, "av1": 10.0}
_OTHER_MEGAPIXEL_MS, _OTHER_MEGABIT_MS = 1.5, 4.0
_SCALING_MS = 1.2  # a megapixel scaled down, by the pixels that go in
_PROXY_MS = 1.3 + _SCALING_MS  # a megapixel of a proxy, read and scaled
_CODING_MS = 2.4  # a megapixel of a proxy, encoded
_WORTH = 1.5


@dataclass(frozen=True, slots=True)
class Costs:
    """Processor time of one picture, estimated. reading: of the original, decoded and scaled for a pane; by_proxy: the
    same from a proxy; making: what a first draft spends more for making a proxy on the way, its reading included."""

    reading_ms: float
    by_proxy_ms: float
    making_ms: float


def proxy_size(info: CaptureInfo) -> tuple[int, int] | None:
    """Width and height of a capture's proxy, even; None where there is none to be made: the capture is hardly larger,
    its pixels are not square, or its light is not of the standard range."""
    box = BOX if info.width >= info.height else BOX[::-1]
    share = min(Fraction(box[0], info.width), Fraction(box[1], info.height))
    if share > Fraction(3, 4) or info.aspect not in (0, 1) or info.is_hdr() or info.interlaced:
        return None
    width, height = (max(2, round(side * share / 2) * 2) for side in (info.width, info.height))
    return width, height


def costs(info: CaptureInfo) -> Costs | None:
    """What reading costs with and without a proxy; None where there can be none or the file is not there."""
    size = proxy_size(info)
    if size is None:
        return None
    try:
        megabits = info.path.stat().st_size * 8 / 1e6 / max(1, info.pictures)
    except OSError:
        return None
    pixels, small = info.width * info.height / 1e6, size[0] * size[1] / 1e6
    deep = 1.0 if info.bits == 8 else 1.3
    decoding = pixels * deep * _MEGAPIXEL_MS.get(info.codec, _OTHER_MEGAPIXEL_MS)
    decoding += megabits * _MEGABIT_MS.get(info.codec, _OTHER_MEGABIT_MS)
    by_proxy = small * _PROXY_MS * deep
    return Costs(decoding + pixels * _SCALING_MS, by_proxy, by_proxy + small * _CODING_MS * deep)


def pays(info: CaptureInfo) -> bool:
    """Whether proxies are worth making: what is drawn is taken to be drawn once more, and that has to save half as much
    again as the proxies add to the first time."""
    found = costs(info)
    return found is not None and found.reading_ms - found.by_proxy_ms >= _WORTH * found.making_ms


def proxied_shape(info: CaptureInfo, shape: PaneShape) -> PaneShape | None:
    """What to ask of the proxy for a pane; None for a pane that has to be read from the original: one that counts
    pixels, that shows more detail than the proxy has, or whose crop lies between the proxy's pixels."""
    size = proxy_size(info)
    if size is None or shape.scaling == "nearest":
        return None
    crop = None
    if shape.crop is not None:
        across, down = Fraction(size[0], info.width), Fraction(size[1], info.height)
        exact = [value * share for value, share in zip(shape.crop, (across, down, across, down), strict=True)]
        if any(value.denominator != 1 for value in exact):
            return None
        crop = int(exact[0]), int(exact[1]), int(exact[2]), int(exact[3])
    wide, high = crop[2:] if crop is not None else size
    return replace(shape, crop=crop) if shape.width <= wide and shape.height <= high else None


def proxy_bits(info: CaptureInfo) -> int:
    """8 bits of 8, 10 of more."""
    return 8 if info.bits == 8 else 10


def proxy_shape(info: CaptureInfo) -> PaneShape:
    """How a proxy's pictures are made of the capture's. Raises ValueError for a capture that can have none."""
    size = proxy_size(info)
    if size is None:
        raise ValueError(f"'{info.path}' can have no proxy")
    return PaneShape(*size, None, "lanczos", proxy_bits(info))


def proxy_folder(cache: Path, info: CaptureInfo, content: str) -> Path:
    """Where a capture's pieces lie. content: a digest of the file; its name and place do not count."""
    colour = info.colour
    told = (info.time_base, info.rotation, colour.matrix, colour.full_range, proxy_size(info), info.bits, VERSION)
    digest = hashlib.sha256(f"{content} {told}".encode())
    digest.update(np.ascontiguousarray(info.pts).tobytes())
    return cache / FOLDER / digest.hexdigest()[:32]


def piece_path(folder: Path, piece: int) -> Path:
    """The file of a piece, named by its first picture."""
    return folder / f"{piece * PIECE:08d}.mp4"


def piece_span(info: CaptureInfo, piece: int) -> range:
    """The pictures of a piece."""
    return range(piece * PIECE, min((piece + 1) * PIECE, info.pictures))


def pieces_of(pictures: npt.NDArray[np.int32]) -> set[int]:
    """The pieces that hold some pictures."""
    return {int(piece) for piece in np.unique(pictures // PIECE)}


def piece_info(info: CaptureInfo, piece: int, path: Path) -> CaptureInfo | None:
    """A piece's file as something to read pictures from; None where it is missing, damaged, or has other times than
    the capture has."""
    span, size = piece_span(info, piece), proxy_size(info)
    try:
        with open_media(path) as container:
            stream = picture_stream(path, container)
            base = stream.time_base
            pts = [packet.pts for packet in container.demux(stream) if packet.size and packet.pts is not None]
            shape = stream.codec_context.width, stream.codec_context.height
    except (MediaError, av.FFmpegError):
        return None
    times = [info.time_s(number) - info.time_s(span[0]) for number in span]
    if base is None or size is None or shape != size or [at * base for at in pts] != times:
        return None
    pixel_format = "yuv420p" if proxy_bits(info) == 8 else "yuv420p10le"
    return replace(
        info,
        path=path,
        width=size[0],
        height=size[1],
        rotation=0,
        codec="h264",
        pixel_format=pixel_format,
        bits=proxy_bits(info),
        colour=Colour(info.colour.primaries, info.colour.transfer, 1, False),
        pts=np.array(pts, np.int64),
        time_base=base,
        sound=None,
    )


@dataclass(frozen=True, slots=True)
class Proxies:
    """One capture's proxy. pieces: those that are there; the capture's own pictures stand in for the others, which
    could not be made because something in them cannot be read."""

    folder: Path
    pieces: frozenset[int]

    def opened(self, info: CaptureInfo, shape: PaneShape) -> ProxyReader:
        """A reader of what `proxied_shape` allows."""
        return ProxyReader(info, shape, self)


class ProxyReader(Closing):
    """Reads a capture's pictures from its proxy; otherwise as PictureReader. A context manager.

    Raises ValueError for a shape that has to be read from the original, and MediaError for a piece that is damaged.
    """

    def __init__(self, info: CaptureInfo, shape: PaneShape, proxies: Proxies) -> None:
        small = proxied_shape(info, shape)
        if small is None:
            raise ValueError(f"{shape} cannot be read by proxy")
        self._info, self._shape, self._small = info, shape, small
        self._proxies = proxies
        self._piece: int | None = None
        self._reader: PictureReader | None = None

    def planes(self, index: int) -> Planes:
        """Picture `index` of the capture, as PictureReader.planes."""
        if not 0 <= index < self._info.pictures:
            raise IndexError(f"picture {index} of {self._info.pictures}")
        piece = index // PIECE
        by_proxy = piece in self._proxies.pieces
        wanted = piece if by_proxy else -1
        if self._reader is None or wanted != self._piece:
            self.close()
            self._reader = self._open(piece) if by_proxy else PictureReader(self._info, self._shape)
            self._piece = wanted
        return self._reader.planes(index - piece * PIECE if by_proxy else index)

    @property
    def lasting(self) -> bool:
        """As PictureReader.lasting."""
        return self._reader is not None and self._reader.lasting

    def _open(self, piece: int) -> PictureReader:
        path = piece_path(self._proxies.folder, piece)
        found = piece_info(self._info, piece, path)
        if found is None:
            raise MediaError(f"'{path}' cannot be read", mend="run again: it will be made anew")
        return PictureReader(found, self._small)

    def close(self) -> None:
        """Release the file. Planes already handed out stay readable."""
        if self._reader is not None:
            self._reader.close()
        self._reader = self._piece = None


def present(info: CaptureInfo, folder: Path, pieces: Iterable[int]) -> frozenset[int]:
    """Those of the pieces that lie on disk whole."""
    return frozenset(piece for piece in pieces if piece_info(info, piece, piece_path(folder, piece)) is not None)
