"""Parts made in a process of its own.

    python -m assembler.render.worker

A job is a run of parts, by their numbers. It tells {"part": n} when one begins, {"frames": n} on the way and
{"made": n, "times": […]} when one has landed.
"""

from __future__ import annotations

import contextlib
import dataclasses
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING

# No more than this: a process watches its parent from `serve` on, and libraries take a while to load.
from assembler.media.processes import Words
from assembler.media.serving import Do, Tell, serve

if TYPE_CHECKING:
    from assembler.render.workers import Work

_TELL_EVERY_S = 0.2


@contextlib.contextmanager
def _opened(work: Work) -> Iterator[Do]:
    from assembler.media.threads import limit_decoding
    from assembler.render.tools import PictureTools
    from assembler.render.workers import make_part

    limit_decoding(work.threads)
    with PictureTools(work.stage) as tools:

        def do(run: tuple[int, ...], tell: Tell) -> Words:
            for number in run:
                tell({"part": number})
                told = _Told(tell)
                times = make_part(work.jobs[number], tools, work.paths[number], work.sources, on_frame=told.frame)
                told.rest()
                tell({"made": number, "times": dataclasses.astuple(times)})
            return {}

        yield do


class _Told:
    """Frames told of in lots, some times a second."""

    def __init__(self, tell: Tell) -> None:
        self._tell = tell
        self._frames = 0
        self._last = time.monotonic()

    def frame(self) -> None:
        self._frames += 1
        if time.monotonic() - self._last >= _TELL_EVERY_S:
            self.rest()

    def rest(self) -> None:
        if self._frames:
            self._tell({"frames": self._frames})
        self._frames, self._last = 0, time.monotonic()


if __name__ == "__main__":
    serve(_opened)
