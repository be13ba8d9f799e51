"""Several captures measured at once, each in a process of its own, and how many at once will pay.

Whatever ends the asker ends them too: they are killed on the way out, and where there is no way out (the asker
was killed) their stdin closes, which they watch.
"""

from __future__ import annotations

import contextlib
import json
import os
import pickle
import queue
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import assembler.errors
from assembler.errors import AssemblerError
from assembler.measure.masks import Rectangle
from assembler.measure.store import Stopped
from assembler.media.info import CaptureInfo

_CORES_EACH = 2
"""Processors that one capture keeps busy: decoding, which runs on several threads, takes the most of it."""
_LEAST_BYTES, _PICTURES_HELD = 250 << 20, 30
"""Memory of a worker: libraries and compiled code, and what decoding holds at once."""
_ASK_EVERY_S = 0.1

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """A capture to measure. masks: as `measure_capture` has them."""

    name: str
    info: CaptureInfo
    masks: tuple[Rectangle, ...]


def workers_that_pay(captures: Sequence[CaptureInfo]) -> int:
    """How many captures to measure at once on this machine; 1 where one process is best."""
    if len(captures) < 2:
        return 1
    most = max(_bytes_of(info) for info in captures)
    free = _free_bytes()
    fit = len(captures) if free is None else int(free // (2 * most))  # half of what is free is left alone
    return max(1, min(len(captures), _processors() // _CORES_EACH, fit))


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
    waiting = sorted(tasks, key=lambda task: task.info.pictures, reverse=True)
    said: queue.Queue[tuple[_Worker, dict[str, Any]]] = queue.Queue()
    running: set[_Worker] = set()
    failed: dict[str, AssemblerError] = {}
    try:
        while waiting or running:
            while waiting and len(running) < workers:
                running.add(_Worker(waiting.pop(0), cache_dir, said))
            if cancelled is not None and cancelled():
                raise Stopped
            try:
                worker, words = said.get(timeout=_ASK_EVERY_S)
            except queue.Empty:
                continue
            if "done" in words:
                if progress is not None:
                    progress(worker.task.name, words["done"], words["total"])
                continue
            running.remove(worker)
            worker.end()
            if "finished" not in words:
                failed[worker.task.name] = _error(worker, words)
        return failed
    finally:
        for worker in running:
            worker.end()


class _Worker:
    """One process and the thread that hears it; the last of what it says is an end of some kind."""

    def __init__(self, task: Task, cache_dir: Path, said: queue.Queue[tuple[_Worker, dict[str, Any]]]) -> None:
        self.task = task
        # The package is found where it was found here, whatever folder or path this program was started with.
        home = str(Path(assembler.errors.__file__).parent.parent)
        paths = [home, *filter(None, [os.environ.get("PYTHONPATH")])]
        self._process = subprocess.Popen(
            [sys.executable, "-m", "assembler.measure.worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=None if os.environ.get("ASSEMBLER_DEBUG") else subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        )
        job = pickle.dumps((task.info, cache_dir, task.masks))
        threading.Thread(target=self._converse, args=(job, said), daemon=True).start()

    def _converse(self, job: bytes, said: queue.Queue[tuple[_Worker, dict[str, Any]]]) -> None:
        assert self._process.stdin is not None and self._process.stdout is not None
        with contextlib.suppress(OSError, ValueError):
            self._process.stdin.write(b"%d\n" % len(job) + job)
            self._process.stdin.flush()
            for words in _lines(self._process.stdout):
                said.put((self, words))
                if "done" not in words:
                    return
        with contextlib.suppress(OSError):
            said.put((self, {"error": "gone", "code": self._process.wait()}))

    def end(self) -> None:
        """See that the process is gone, at once if it still works."""
        assert self._process.stdin is not None
        self._process.kill()
        self._process.wait()
        with contextlib.suppress(OSError):
            self._process.stdin.close()


def _lines(pipe: IO[bytes]) -> Any:
    """What is said, line by line; a line cut short by the worker's end is none."""
    with pipe:
        for line in pipe:
            try:
                yield json.loads(line)
            except ValueError:
                return


def _error(worker: _Worker, words: Mapping[str, Any]) -> AssemblerError:
    """Ours of the same kind, where it is a kind of ours. Raises what is no fault of the capture."""
    name, kind = worker.task.name, str(words["error"])
    if kind == "gone":
        code = words["code"]
        how = f"by signal {-code}" if code < 0 else f"with code {code}"
        raise AssemblerError(
            f"measuring '{name}' ended in the middle: its process was ended {how}",
            mend="run again: what was finished is kept; `assembler measure --workers 1` takes less memory",
        )
    if kind == "fault":
        raise AssemblerError(
            f"measuring '{name}' failed by a fault in assembler itself: {words['what']}",
            mend="run `assembler measure --workers 1` with ASSEMBLER_DEBUG=1 and report what it prints",
        )
    made = getattr(assembler.errors, kind)(words["what"], mend=words["mend"])
    assert isinstance(made, AssemblerError)
    return made


def _processors() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _bytes_of(info: CaptureInfo) -> int:
    """About what measuring one capture takes: twice a byte's room for luma and chroma of each picture held."""
    wide = 1 if info.bits == 8 else 2
    return _LEAST_BYTES + _PICTURES_HELD * info.width * info.height * 3 // 2 * wide


def _free_bytes() -> int | None:
    """Memory that programs can still have; None where the system does not say."""
    try:
        for line in Path("/proc/meminfo").read_text("ascii").splitlines():
            if line.startswith("MemAvailable:"):
                return int(line.split()[1]) << 10
    except (OSError, ValueError, IndexError):
        pass
    return None
