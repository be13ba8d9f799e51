"""The one pass over a capture's pictures that feeds every measure.

Decoding runs in a thread of its own beside the arithmetic; both let go of the interpreter's lock.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Generator, Iterator
from pathlib import Path

from assembler.errors import MediaError
from assembler.measure.features import LEAST_SIDE, Notes, Watcher
from assembler.measure.masks import Rectangle, left_out, stored_size
from assembler.media.info import CaptureInfo
from assembler.media.luma import Luma, read_luma
from assembler.media.proxy_writing import Beside

_AHEAD = 6
"""Pictures decoded ahead; each holds its memory."""


def new_watcher(info: CaptureInfo, masks: tuple[Rectangle, ...]) -> Watcher:
    """masks: in stored pixels. Raises MediaError for pictures too small to measure."""
    width, height = stored_size(info)
    if min(width, height) < LEAST_SIDE:
        raise MediaError(
            f"'{info.path}': pictures of {width}x{height} are too small to measure",
            mend=f"measure the capture itself, of at least {LEAST_SIDE} pixels a side",
        )
    return Watcher(width, height, left_out(width, height, masks))


def notes_of(info: CaptureInfo, watcher: Watcher, first: int = 0, proxy: Path | None = None) -> Iterator[Notes]:
    """The notes of every picture from `first` on, one by one. The watcher has seen those before.

    proxy: where pieces of a proxy are made of the same pictures; None = nowhere.
    """
    with contextlib.ExitStack() as held:
        beside = None if proxy is None else held.enter_context(contextlib.closing(Beside(info, proxy)))
        also = None if beside is None else beside.take
        pictures = held.enter_context(contextlib.closing(_ahead(read_luma(info, first, also))))
        for luma in pictures:
            yield watcher.look(luma)


def _ahead(pictures: Iterator[Luma]) -> Generator[Luma, None, None]:
    """The same pictures, read by another thread."""
    waiting: queue.Queue[Luma | BaseException | None] = queue.Queue(_AHEAD)
    stop = threading.Event()

    def put(item: Luma | BaseException | None) -> bool:
        while not stop.is_set():
            with contextlib.suppress(queue.Full):
                waiting.put(item, timeout=0.2)
                return True
        return False

    def read() -> None:
        try:
            for luma in pictures:
                if not put(luma):
                    return
            put(None)
        except BaseException as error:
            put(error)
        finally:
            close = getattr(pictures, "close", None)
            if close is not None:
                close()

    thread = threading.Thread(target=read, name="decode", daemon=True)
    thread.start()
    try:
        while (item := waiting.get()) is not None:
            if isinstance(item, BaseException):
                raise item
            yield item
    finally:
        stop.set()
        with contextlib.suppress(queue.Empty):
            while True:
                waiting.get_nowait()
        thread.join()
