"""Making the pieces of a proxy: from a capture alone, or beside something else that decodes it.

Pictures are coded each by itself, so that reading begins anywhere at once, by the coder that was cheapest to read
again for its error (benchmarks/proxies.py). The same pictures always give the same bytes: one thread, no clock.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import av

from assembler.errors import MediaError, RenderError
from assembler.media.convert import source_of
from assembler.media.info import CaptureInfo
from assembler.media.landing import landing, write_error
from assembler.media.planes import Planes
from assembler.media.processor import has_avx512
from assembler.media.proxies import (
    PIECE,
    piece_info,
    piece_path,
    piece_span,
    present,
    proxy_bits,
    proxy_shape,
)
from assembler.media.reader import PictureReader, conversion
from assembler.media.writer import frame_planes

QP = 20
"""One for every picture, so that the error is bounded whatever is shown: below a code (benchmarks/RESULTS.md)."""
_LIMITED = 1


class PieceWriter:
    """Writes one piece, picture by picture in order. A context manager: it lands when it is left cleanly, complete and
    with the capture's times; else nothing stays. Raises MissingPartError or RenderError when it cannot be written, and
    MediaError for times that do not come back as they were."""

    def __init__(self, info: CaptureInfo, folder: Path, piece: int) -> None:
        self._info, self._folder, self._piece = info, folder, piece
        self._span = piece_span(info, piece)
        self._shape = proxy_shape(info)
        self._written = 0
        self._landing = contextlib.ExitStack()
        self._path = piece_path(folder, piece)

    def __enter__(self) -> PieceWriter:
        self._partial = self._landing.enter_context(landing(self._path, shared=True))
        try:
            self._container, self._stream = self._open()
            self._frame = av.VideoFrame(self._shape.width, self._shape.height, self._stream.pix_fmt)
        except BaseException as error:
            self._landing.__exit__(type(error), error, error.__traceback__)
            raise
        self._frame.time_base = self._info.time_base
        colour = self._info.colour
        self._frame.color_primaries, self._frame.color_trc = colour.primaries, colour.transfer
        self._frame.colorspace, self._frame.color_range = 1, _LIMITED
        return self

    @property
    def complete(self) -> bool:
        """Whether the piece has all its pictures."""
        return self._written == len(self._span)

    def write(self, planes: Planes) -> None:
        """The next picture, of `proxy_shape`."""
        self._frame.make_writable()
        canvas = frame_planes(self._frame, self._shape.bits)
        canvas.y[:], canvas.u[:], canvas.v[:] = planes.y, planes.u, planes.v
        self._frame.pts = int(self._info.pts[self._span[self._written]] - self._info.pts[self._span[0]])
        self._written += 1
        try:
            self._container.mux(self._stream.encode(self._frame))
        except (OSError, av.FFmpegError) as error:
            raise write_error(self._path, error) from error

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: Any) -> None:
        try:
            if error is None and not self.complete:
                raise RenderError(f"{self._path}: {self._written} of {len(self._span)} pictures were written")
            try:
                if error is None:
                    self._container.mux(self._stream.encode(None))
                self._container.close()
            except (OSError, av.FFmpegError) as failure:
                if error is None:
                    raise write_error(self._path, failure) from failure
            if error is None and piece_info(self._info, self._piece, self._partial) is None:
                raise MediaError(f"the times of '{self._info.path}' cannot be written as they are")
        except BaseException as failure:
            self._landing.__exit__(type(failure), failure, failure.__traceback__)
            raise
        if error is not None:
            self._landing.__exit__(kind, error, trace)
            return
        self._landing.close()

    def _open(self) -> tuple[Any, Any]:
        inner = "keyint=1:scenecut=0:threads=1:force-cfr=1" + (":asm=avx2" if has_avx512() else "")
        bits = proxy_bits(self._info)
        options = {"preset": "ultrafast", "tune": "fastdecode", "qp": str(QP), "x264-params": inner}
        try:
            container = av.open(str(self._partial), "w", format="mp4")
        except (OSError, av.FFmpegError) as error:
            raise write_error(self._path, error) from error
        stream = container.add_stream("libx264", rate=60, options=options)
        stream.width, stream.height = self._shape.width, self._shape.height
        stream.pix_fmt = "yuv420p" if bits == 8 else "yuv420p10le"
        stream.time_base = self._info.time_base
        context = stream.codec_context
        context.time_base = self._info.time_base
        context.thread_count = 1
        context.color_primaries, context.color_trc = self._info.colour.primaries, self._info.colour.transfer
        context.colorspace, context.color_range = 1, _LIMITED
        return container, stream


def make_pieces(
    info: CaptureInfo, folder: Path, pieces: Iterable[int], on_pictures: Callable[[int], None] = lambda count: None
) -> frozenset[int]:
    """Make pieces from the capture. Returns those that were made: not those in which something cannot be read.

    on_pictures: told of pictures done, now and then; what it raises ends the work, and finished pieces stay.
    Raises MissingPartError or RenderError when they cannot be written.
    """
    made = set()
    with PictureReader(info, proxy_shape(info)) as reader:
        for piece in sorted(pieces):
            span = piece_span(info, piece)
            with contextlib.suppress(MediaError), PieceWriter(info, folder, piece) as writer:
                for number in span:
                    writer.write(reader.planes(number))
                    on_pictures(1)
            if writer.complete:
                made.add(piece)
    return frozenset(made)


class Beside:
    """Makes pieces from pictures that something else decodes, in the same pass. Those that are there are left alone.

    Feed it every picture from the start of a piece on, in order, by `take`; close it at the end.
    """

    def __init__(self, info: CaptureInfo, folder: Path) -> None:
        self._info, self._folder = info, folder
        self._shape = proxy_shape(info)
        self._convert: Callable[[av.VideoFrame], Planes] | None = None
        self._writer: PieceWriter | None = None

    def take(self, index: int, frame: av.VideoFrame) -> None:
        """Picture `index`, as it was decoded. Raises MissingPartError or RenderError when it cannot be written."""
        piece, offset = divmod(index, PIECE)
        if offset == 0 and not present(self._info, self._folder, (piece,)):
            self._writer = PieceWriter(self._info, self._folder, piece).__enter__()
        if self._writer is None:
            return
        with contextlib.suppress(MediaError):  # then there is no such piece, and drafts read the original
            try:
                self._writer.write(self._converted(frame))
            except BaseException as error:
                self._end(error)
                raise
            if self._writer.complete:
                self._end(None)

    def close(self) -> None:
        """Leave nothing half written."""
        self._end(RenderError("stopped"))

    def _end(self, error: BaseException | None) -> None:
        writer, self._writer = self._writer, None
        if writer is not None:
            writer.__exit__(type(error) if error else None, error, None)

    def _converted(self, frame: av.VideoFrame) -> Planes:
        if self._convert is None:
            info = self._info
            source = source_of(info.path, info.colour, frame.width, frame.height, frame.format.name)
            self._convert = conversion(source, (0, 0, info.width, info.height), self._shape, info.rotation)
        return self._convert(frame)
