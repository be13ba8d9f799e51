"""Captures measured in a process of its own, so that a machine's processors can all be at work.

    python -m assembler.measure.worker

It tells {"done": n, "total": n} on the way. What was found lies on disk at the end, where the asker takes it up.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

# No more than this: a process watches its parent from `serve` on, and libraries take a while to load.
from assembler.media.processes import Words
from assembler.media.serving import Do, Tell, serve

if TYPE_CHECKING:
    from assembler.measure.masks import Rectangle
    from assembler.media.info import CaptureInfo

_TELL_EVERY_S = 0.2


@contextlib.contextmanager
def _opened(cache_dir: Path) -> Iterator[Do]:
    from assembler.measure.store import measure_capture

    def do(job: tuple[CaptureInfo, tuple[Rectangle, ...], Path | None], tell: Tell) -> Words:
        told = 0.0

        def progress(done: int, total: int) -> None:
            nonlocal told
            if done == total or time.monotonic() - told >= _TELL_EVERY_S:
                told = time.monotonic()
                tell({"done": done, "total": total})

        info, masks, proxy = job
        measure_capture(info, cache_dir, masks=masks, proxy=proxy, progress=progress)
        return {}

    yield do


if __name__ == "__main__":
    serve(_opened)
