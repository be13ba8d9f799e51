"""Work done in processes of its own: several at once, heard as it goes on, and none that outlives its asker.

    with contextlib.closing(answers("assembler.render.worker", setup, jobs, 2, check=check)) as said:
        for number, words in said:
            ...                              # "finished" or "error" is the last of a job

A module that is run this way calls `serving.serve`. However the asker ends, its processes do: they are killed on
the way out; where there is no way out, the system ends them (Linux) and their stdin closes, which they watch.
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
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from pathlib import Path
from typing import IO, Any

import assembler.errors
from assembler.errors import AssemblerError, Place, Problem, RenderError, StoryboardError

GONE, FAULT = "gone", "fault"
"""Errors that are no fault of the job: a process that came to its end without an answer, and a mistake of ours."""
_ASK_EVERY_S = 0.1

Words = dict[str, Any]
_Said = queue.Queue[tuple["_Process", Words]]


def answers(
    module: str, setup: object, jobs: Sequence[object], workers: int, *, check: Callable[[], None] = lambda: None
) -> Generator[tuple[int, Words], None, None]:
    """Hand the jobs out in their order, one at a time to each process; yields a job's number and what is said of it.

    module: what the processes run. setup: what each is told first; it and the jobs are pickled. check: called several
    times a second; what it raises ends everything. Close the iterator when it is left early.
    """
    told = pickle.dumps(setup)
    waiting = list(enumerate(jobs))[::-1]
    said: _Said = queue.Queue()
    running: dict[_Process, int] = {}
    try:
        while waiting and len(running) < workers:
            number, job = waiting.pop()
            process = _Process(module, said)
            running[process] = number
            process.send(told)
            process.send(pickle.dumps(job))
        while running:
            check()
            try:
                process, words = said.get(timeout=_ASK_EVERY_S)
            except queue.Empty:
                continue
            if process not in running:
                continue  # it had nothing left to do
            number = running[process]
            if "finished" not in words and "error" not in words:
                yield number, words
                continue
            if waiting and words.get("error") != GONE:
                running[process], job = waiting.pop()
                process.send(pickle.dumps(job))
            else:
                del running[process]
                process.end()
            if words.get("error") == GONE:
                check()  # whoever ends all processes at once, as a terminal does, has asked us to end, too
            yield number, words
    finally:
        for process in running:
            process.kill()
        for process in running:
            process.end()


def failure(words: Mapping[str, Any], doing: str, alone: str) -> AssemblerError:
    """What went wrong in a process, as an error of the kind it had there.

    words: an answer with "error" in it. doing: such as "measuring 'a'". alone: the command that uses one process only.
    """
    kind = str(words["error"])
    if kind == GONE:
        code = words["code"]
        how = f"by signal {-code}" if code < 0 else f"with code {code}"
        return RenderError(
            f"{doing} ended in the middle: its process was ended {how}",
            mend=f"run again: what was finished is kept; `{alone}` takes less memory",
        )
    if kind == FAULT:
        return RenderError(
            f"{doing} failed by a fault in assembler itself: {words['what']}",
            mend=f"run `{alone}` with ASSEMBLER_DEBUG=1 and report what it prints",
        )
    problems = [Problem(Place(*place) if place else None, what, mend) for place, what, mend in words["problems"]]
    if kind == StoryboardError.__name__:
        return StoryboardError(problems)
    first = problems[0]
    made = getattr(assembler.errors, kind)(first.what, mend=first.mend, place=first.place)
    assert isinstance(made, AssemblerError)
    return made


def processors() -> int:
    """Processors that this program may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def free_bytes() -> int | None:
    """Memory that programs can still have; None where the system does not say."""
    try:
        for line in Path("/proc/meminfo").read_text("ascii").splitlines():
            if line.startswith("MemAvailable:"):
                return int(line.split()[1]) << 10
    except (OSError, ValueError, IndexError):
        pass
    return None


class _Process:
    """One process, a thread that speaks to it and one that hears it; the last that is heard is an end of some kind."""

    def __init__(self, module: str, said: _Said) -> None:
        # The package is found where it was found here, whatever folder or path this program was started with.
        home = str(Path(assembler.errors.__file__).parent.parent)
        paths = [home, *filter(None, [os.environ.get("PYTHONPATH")])]
        self._process = subprocess.Popen(
            [sys.executable, "-m", module, str(os.getpid())],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=None if os.environ.get("ASSEMBLER_DEBUG") else subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
        )
        self._to_send: queue.Queue[bytes | None] = queue.Queue()
        self._threads = [
            threading.Thread(target=self._speak, daemon=True),
            threading.Thread(target=self._hear, args=(said,), daemon=True),
        ]
        for thread in self._threads:
            thread.start()

    def send(self, message: bytes) -> None:
        self._to_send.put(message)

    def kill(self) -> None:
        self._process.kill()

    def end(self) -> None:
        """See that the process is gone, at once if it still works."""
        self._process.kill()
        self._process.wait()
        self._to_send.put(None)
        for thread in self._threads:
            thread.join()

    def _speak(self) -> None:
        assert self._process.stdin is not None
        pipe = self._process.stdin
        with contextlib.suppress(OSError, ValueError):  # it has ended, which the other thread hears
            while (message := self._to_send.get()) is not None:
                pipe.write(b"%d\n" % len(message) + message)
                pipe.flush()
        with contextlib.suppress(OSError, ValueError):
            pipe.close()

    def _hear(self, said: _Said) -> None:
        assert self._process.stdout is not None
        with contextlib.suppress(OSError, ValueError):
            for words in _lines(self._process.stdout):
                said.put((self, words))
        said.put((self, {"error": GONE, "code": self._process.wait()}))


def _lines(pipe: IO[bytes]) -> Iterator[Words]:
    """What is said, line by line; a line cut short by the process's end is none."""
    with pipe:
        for line in pipe:
            try:
                yield json.loads(line)
            except ValueError:
                return
