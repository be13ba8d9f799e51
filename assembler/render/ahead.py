"""Listen to the programme while its pictures are made: levels have to be known before the sound is mixed.

The thread only reads and counts; progress is told by the caller's own thread, when it comes to wait.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor, wait
from typing import Generic, TypeVar

from assembler.render.part import Interrupted
from assembler.render.progress import Meter

T = TypeVar("T")
Tell = Callable[[float, float], None]

_TELL_S = 0.1


class Listening(Generic[T]):
    """Work that goes on in a thread of its own. work: is given what to call with seconds done and in all, which
    raises Interrupted when it is to end."""

    def __init__(self, work: Callable[[Tell], T], cancelled: Callable[[], bool]) -> None:
        self._cancelled = cancelled
        self._ended = threading.Event()
        self._done_s = 0.0
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="listening")
        self._work: Future[T] = self._pool.submit(work, self._tell)

    def _tell(self, done_s: float, _total_s: float) -> None:
        if self._ended.is_set() or self._cancelled():
            raise Interrupted
        self._done_s = done_s

    def result(self, meter: Meter) -> T:
        """Wait for what came of it. Raises what the work raised."""
        while not self._work.done():
            wait([self._work], timeout=_TELL_S)
            self._show(meter)
        found = self._work.result()
        self._show(meter)
        return found

    def _show(self, meter: Meter) -> None:
        if (reached := round(self._done_s)) != meter.done:  # what was told is not told again
            meter.reach(reached)

    def end(self) -> None:
        """Have the work end, if it has not, and wait until it has."""
        self._ended.set()
        self._pool.shutdown(cancel_futures=True)


@contextlib.contextmanager
def listening(work: Callable[[Tell], T], cancelled: Callable[[], bool]) -> Iterator[Listening[T]]:
    """The work goes on within, and no longer."""
    begun = Listening(work, cancelled)
    try:
        yield begun
    finally:
        begun.end()
