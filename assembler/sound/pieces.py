"""Sound coded and heard piece by piece, each piece kept by what goes into it.

    <cache>/sound/pieces/<hash>.aac     packets of a piece, named by the samples they are coded from
    <cache>/sound/pieces/<hash>.heard   what is heard of one, named by its packets and those beside them

Many edits leave much of a programme's sound as it is, and so does bringing a few peaks under the limit: only pieces in
which a sample changes are coded again.
"""

from __future__ import annotations

import contextlib
import struct
import tempfile
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assembler.errors import RenderError
from assembler.media.coded_pieces import CodedPiece, code_piece, decode_packets, write_pieces
from assembler.media.sound_coder import FRAME, SoundCoding
from assembler.sound.hearing import Heard, hear_part, together
from assembler.sound.keeping import kept, kept_or_made
from assembler.sound.windows import MILLISECONDS, SAMPLES, Window, coded_windows
from assembler.timing.rates import SAMPLE_RATE

Sound = npt.NDArray[np.float32]
Progress = Callable[[int, int], None]

_BEFORE, _AFTER = 10, 2  # packets that are decoded with a piece's own, so that the filters hear it as in the whole
_AT_ONCE = 2  # threads that code and hear


class Pieces:
    """Codes a programme, or a span of it, as often as it has to be mixed. A context manager.

    folder: where pieces are kept; None = nowhere. limit: an amplitude that no peak is to pass.
    """

    def __init__(self, folder: Path | None, coding: SoundCoding, limit: float) -> None:
        self._held = contextlib.ExitStack()
        self._folder = folder or Path(self._held.enter_context(tempfile.TemporaryDirectory(prefix="assembler-")))
        self._coding = coding
        self._limit = limit
        self._threads = ThreadPoolExecutor(_AT_ONCE, "coding")
        self._held.callback(self._threads.shutdown, wait=True, cancel_futures=True)
        self._pieces: list[Path] = []
        self._samples = 0

    def __enter__(self) -> Pieces:
        return self

    def __exit__(self, *_: object) -> None:
        self._held.close()

    def code(self, sound: Iterator[Sound], samples: int, progress: Progress | None = None) -> Heard:
        """Code a sound of so many samples, given in blocks of any length, and hear it as a player does.

        progress: called with seconds coded and in all. Raises MissingPartError when the disk is full.
        """
        self._pieces, self._samples = [], samples
        coding: deque[Future[tuple[Path, CodedPiece]]] = deque()
        hearing: deque[Future[Heard]] = deque()
        found: list[Heard] = []
        around: deque[CodedPiece] = deque(maxlen=3)

        def coded() -> None:
            path, piece = coding.popleft().result()
            self._pieces.append(path)
            around.append(piece)
            if len(self._pieces) > 1:
                hear(around[-3] if len(around) == 3 else None, around[-2], piece)

        def hear(before: CodedPiece | None, piece: CodedPiece, after: CodedPiece | None) -> None:
            place = len(found) + len(hearing)
            hearing.append(self._threads.submit(self._hear, before, piece, after, samples - place * SAMPLES))
            while len(hearing) > _AT_ONCE:
                found.append(hearing.popleft().result())
            if progress:
                progress(min(len(found) * SAMPLES, samples) // SAMPLE_RATE, -(-samples // SAMPLE_RATE))

        for window in coded_windows(sound, samples):
            coding.append(self._threads.submit(self._code, window))
            if len(coding) == _AT_ONCE:
                coded()
        while coding:
            coded()
        hear(around[-2] if len(around) > 1 else None, around[-1], None)
        found.extend(each.result() for each in hearing)
        if progress:
            progress(-(-samples // SAMPLE_RATE), -(-samples // SAMPLE_RATE))
        return together([(place * MILLISECONDS, heard) for place, heard in enumerate(found)])

    def write(self, path: Path) -> None:
        """Put what was coded last into one file."""
        write_pieces(map(_packets, self._pieces), self._samples, self._coding, path)

    def _code(self, window: Window) -> tuple[Path, CodedPiece]:
        def make() -> bytes:
            return _packed(code_piece(window.sound, window.first // FRAME, self._coding, last=window.last))

        told = f"{self._coding} {window.first} {window.last}"
        path, packed = kept_or_made(self._folder, "aac", told, [window.sound], make)
        return path, _unpacked(packed)

    def _hear(
        self, before: CodedPiece | None, piece: CodedPiece, after: CodedPiece | None, samples_left: int
    ) -> Heard:
        """before, after: the pieces beside it, None where it is the first or the last. samples_left: from its first."""
        lead = before.packets[-_BEFORE:] if before else ()
        packets = (*lead, *piece.packets, *(after.packets[:_AFTER] if after else ()))
        ends = "" if after else f"ends after {samples_left}"

        def make() -> bytes:
            sound = decode_packets(piece.header, packets)[FRAME:]  # the first packet's lack what lies before
            first = len(lead) * FRAME
            if after is None:
                sound = sound[: first + samples_left]
            return hear_part(sound, first, min(first + SAMPLES, len(sound)), self._limit).as_bytes()

        told = f"{self._limit} {len(lead)} {ends}"
        return Heard.of_bytes(kept_or_made(self._folder, "heard", told, [piece.header, *packets], make)[1])


def _packets(path: Path) -> tuple[bytes, ...]:
    packed = kept(path)
    if packed is None:
        raise RenderError(f"{path}: this piece of sound is gone or damaged", mend="run again")
    return _unpacked(packed).packets


def _packed(piece: CodedPiece) -> bytes:
    lengths = [len(piece.header), *map(len, piece.packets)]
    return struct.pack(f"<{1 + len(lengths)}I", len(lengths), *lengths) + piece.header + b"".join(piece.packets)


def _unpacked(data: bytes) -> CodedPiece:
    (count,) = struct.unpack_from("<I", data)
    parts, place = [], 4 + 4 * count
    for length in struct.unpack_from(f"<{count}I", data, 4):
        parts.append(data[place : place + length])
        place += length
    return CodedPiece(parts[0], tuple(parts[1:]))
