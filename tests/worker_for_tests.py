"""A worker process whose jobs do what a test needs: answer, fail in every way, or never end."""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import time
from collections.abc import Iterator

from assembler.errors import MediaError, Place, Problem, StoryboardError
from assembler.media.processes import Words
from assembler.media.serving import Do, Tell, serve


def no_library(name: object) -> None:
    raise OSError("there is none here")


if os.environ.get("TEST_WITHOUT_DEATH_SIGNAL"):
    ctypes.CDLL = no_library  # type: ignore[assignment, misc]


@contextlib.contextmanager
def opened(setup: str) -> Iterator[Do]:
    if setup == "fails":
        raise MediaError("it cannot be set up", mend="do not")

    def do(job: tuple[str, int], tell: Tell) -> Words:
        what, value = job
        tell({"began": value, "pid": os.getpid()})
        if what == "fail":
            raise MediaError("it failed", mend="mend it", place=Place("a.yaml", 3, value))
        if what == "problems":
            raise StoryboardError([Problem(None, "one"), Problem(Place("b.yaml", 1, 2), "two", "so")])
        if what == "fault":
            raise KeyError("ours")
        if what == "memory":
            raise MemoryError
        if what == "die":
            os.kill(os.getpid(), signal.SIGKILL)
        if what == "exit":
            os._exit(7)
        if what == "print":
            os.write(1, b"a library says something\n")
        while what == "busy":
            sum(range(100_000))
        if what == "sleep":
            time.sleep(600)
        return {"value": f"{setup} {value}"}

    yield do


if __name__ == "__main__":
    serve(opened)
