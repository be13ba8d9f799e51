"""Several captures measured at once, each in a process of its own, and how many at once will pay."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from assembler.errors import AssemblerError
from assembler.measure.masks import Rectangle
from assembler.measure.store import Stopped
from assembler.media.info import CaptureInfo
from assembler.media.processes import FAULT, GONE, answers, failure, free_bytes, processors

_CORES_EACH = 2
"""Processors that one capture keeps busy: decoding, which runs on several threads, takes the most of it."""
_LEAST_BYTES, _PICTURES_HELD = 250 << 20, 30
"""Memory of a worker: libraries and compiled code, and what decoding holds at once."""

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """A capture to measure. masks, proxy: as `measure_capture` has them."""

    name: str
    info: CaptureInfo
    masks: tuple[Rectangle, ...]
    proxy: Path | None = None


def workers_that_pay(captures: Sequence[CaptureInfo]) -> int:
    """How many captures to measure at once on this machine; 1 where one process is best."""
    if len(captures) < 2:
        return 1
    most = max(_bytes_of(info) for info in captures)
    free = free_bytes()
    fit = len(captures) if free is None else int(free // (2 * most))  # half of what is free is left alone
    return max(1, min(len(captures), processors() // _CORES_EACH, fit))


def measure_at_once(
    tasks: Sequence[Task],
    cache_dir: Path,
    workers: int,
    *,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Mapping[str, AssemblerError]:
    """Measure every task, `workers` at once, the longest first; what was found lies in cache_dir.

    progress: called, in this thread, with a task's name, its pictures done and in all. cancelled: asked several times
    a second; true raises Stopped. Returns the errors of captures that could not be measured. Raises AssemblerError
    where a worker came to its end without an answer.
    """
    longest = sorted(tasks, key=lambda task: task.info.pictures, reverse=True)
    failed: dict[str, AssemblerError] = {}

    def check() -> None:
        if cancelled is not None and cancelled():
            raise Stopped

    jobs = [(task.info, task.masks, task.proxy) for task in longest]
    with closing(answers("assembler.measure.worker", cache_dir, jobs, workers, check=check)) as said:
        for number, words in said:
            name = longest[number].name
            if "done" in words and progress is not None:
                progress(name, words["done"], words["total"])
            elif "error" in words:
                error = failure(words, f"measuring '{name}'", "assembler measure --workers 1")
                if words["error"] in (GONE, FAULT):
                    raise error
                failed[name] = error
    return failed


def _bytes_of(info: CaptureInfo) -> int:
    """About what measuring one capture takes: twice a byte's room for luma and chroma of each picture held."""
    wide = 1 if info.bits == 8 else 2
    return _LEAST_BYTES + _PICTURES_HELD * info.width * info.height * 3 // 2 * wide
