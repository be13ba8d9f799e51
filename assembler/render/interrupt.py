"""End a run in good order when the person or the system asks for it."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from types import FrameType


@contextlib.contextmanager
def watch_interrupts() -> Iterator[Callable[[], bool]]:
    """Within, SIGINT and SIGTERM raise a flag instead; yields the question whether it is up.

    A second signal ends the run at once, as it would have without us. Outside the main thread, where
    signals cannot be watched, the flag stays down.
    """
    asked = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield asked.is_set
        return
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}

    def restore() -> None:
        for number, handler in before.items():
            # None stands for a handler that was not set from Python and cannot be put back from here.
            signal.signal(number, handler if handler is not None else signal.SIG_DFL)

    def ask(_number: int, _frame: FrameType | None) -> None:
        asked.set()
        restore()

    for number, handler in before.items():
        if handler is not signal.SIG_IGN:
            signal.signal(number, ask)
    try:
        yield asked.is_set
    finally:
        restore()
