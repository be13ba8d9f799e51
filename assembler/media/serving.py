"""The other end of `processes.answers`: a process that does jobs one after the other and says how it goes.

Setup and jobs come on stdin, each as its length on a line and a pickle of our own making. Each line on stdout is
JSON: what the job tells on the way, and at its end {"finished": true, …} or {"error": kind, …}. The process ends with
its stdin, at once and whatever it is doing.
"""

from __future__ import annotations

import contextlib
import ctypes
import json
import os
import pickle
import queue
import signal
import sys
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import IO, Any

from assembler.errors import AssemblerError
from assembler.media.processes import FAULT, Words

Tell = Callable[[Words], None]
Do = Callable[[Any, Tell], Words]
"""Does a job, tells of it on the way, and returns what is said at its end beside "finished"."""
_SET_PARENT_DEATH_SIGNAL = 1  # from linux/prctl.h


def serve(opened: Callable[[Any], AbstractContextManager[Do]]) -> None:
    """Do jobs until stdin closes. opened: is given the setup, and gives what does the jobs."""
    # Who asked decides when to stop: a terminal, or a system that ends a service, sends these to every process of a
    # run, and only one should answer them.
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_IGN)
    _end_with(int(sys.argv[1]))
    answers = os.fdopen(os.dup(1), "wb", buffering=0)
    os.dup2(2, 1)  # whatever a library prints must not come between the answers
    messages: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    threading.Thread(target=_receive, args=(sys.stdin.buffer, messages), daemon=True).start()

    def tell(words: Words) -> None:
        with contextlib.suppress(OSError):  # nobody listens any more; stdin says so too
            answers.write(json.dumps(words).encode() + b"\n")

    def attempt(doing: Callable[[], Words]) -> Words:
        try:
            return doing() | {"finished": True}
        except AssemblerError as error:
            told = [[_place(problem.place), problem.what, problem.mend] for problem in error.problems]
            return {"error": type(error).__name__, "problems": told}
        except MemoryError:
            mend = "run again with `--workers 1`, or free some memory; what was finished is kept"
            return {"error": "MissingPartError", "problems": [[None, "there is not enough memory", mend]]}
        except Exception as error:
            return {"error": FAULT, "what": f"{type(error).__name__}: {error}"}

    with contextlib.ExitStack() as held:
        do: list[Do] = []

        def begun(setup: bytes) -> Words:
            do.append(held.enter_context(opened(pickle.loads(setup))))
            return {}

        setup = messages.get()
        while True:
            job = messages.get()
            # A setup that fails is the first job's failure; the next job tries it again.
            words = attempt(lambda: begun(setup)) if not do else {}
            tell(words if "error" in words else attempt(lambda job=job: do[0](pickle.loads(job), tell)))  # type: ignore[misc]


def _place(place: Any) -> list[object] | None:
    return None if place is None else [place.file, place.line, place.column]


def _receive(pipe: IO[bytes], messages: queue.SimpleQueue[bytes]) -> None:
    with contextlib.suppress(OSError, ValueError):
        while length := pipe.readline():
            messages.put(pipe.read(int(length)))
    # Not waiting for anything that a library may have left running.
    os._exit(0)


def _end_with(parent: int) -> None:
    """Have the system end this process with its parent, where it can; stdin does it elsewhere, a little later."""
    if sys.platform == "linux":
        with contextlib.suppress(OSError, AttributeError):
            ctypes.CDLL(None).prctl(_SET_PARENT_DEATH_SIGNAL, signal.SIGKILL)
    if os.getppid() != parent:  # it ended before it could be tied to us
        os._exit(0)
