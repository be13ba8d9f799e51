"""Readers kept open from one shot to the next, so that a programme reads its captures forward.

Opening a capture and decoding from its last keyframe costs as much as many pictures; the next shot most often goes on
where the one before left off. A process has one shelf, open while parts are made; it holds few readers, so that files
and memory stay few, too.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator

from assembler.media.info import CaptureInfo
from assembler.media.reader import PaneShape, PictureReader

MOST = 4
"""Readers that may lie idle: a programme seldom shows more captures at once."""
_MOST_PIXELS = 2 * 3840 * 2160
"""Pixels of their pictures, together; each decoder holds some tens of pictures."""

_turn = threading.Lock()
_idle: list[tuple[CaptureInfo, PictureReader]] = []
_open = 0


@contextlib.contextmanager
def shelf() -> Iterator[None]:
    """Within, readers that are given back are kept for whoever wants the same capture next."""
    global _open
    with _turn:
        _open += 1
    try:
        yield
    finally:
        with _turn:
            _open -= 1
            left = [] if _open else _idle[:]
            if not _open:
                _idle.clear()
        for _, reader in left:
            reader.close()


@contextlib.contextmanager
def lent(info: CaptureInfo, shape: PaneShape) -> Iterator[PictureReader]:
    """A reader of a capture for a pane: one from the shelf where it can be, else a new one. As PictureReader raises."""
    reader = _taken(info, shape) or PictureReader(info, shape)
    try:
        yield reader
    except BaseException:
        reader.close()
        raise
    for each in _put_back(info, reader):
        each.close()


def _taken(info: CaptureInfo, shape: PaneShape) -> PictureReader | None:
    with _turn:
        found = next((number for number, (other, _) in enumerate(_idle) if other is info), None)
        reader = None if found is None else _idle.pop(found)[1]
    if reader is not None:
        try:
            reader.reshape(shape)
        except BaseException:
            reader.close()
            raise
    return reader


def _put_back(info: CaptureInfo, reader: PictureReader) -> list[PictureReader]:
    """Keep a reader; returns those there is no room for, the longest idle first."""
    with _turn:
        if not _open:
            return [reader]
        _idle.append((info, reader))
        gone = []
        while len(_idle) > MOST or sum(each.width * each.height for each, _ in _idle) > _MOST_PIXELS:
            gone.append(_idle.pop(0)[1])
        return gone
