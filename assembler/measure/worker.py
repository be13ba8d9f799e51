"""One capture measured in a process of its own, so that a machine's processors can all be at work.

    python -m assembler.measure.worker

The job comes on stdin, as a pickle of our own making. Each line on stdout is JSON: {"done": n, "total": n} on the way,
and at the end {"finished": true}, or {"error": kind, "what": …, "mend": …}. What was found lies on disk by then, where
the asker takes it up. The process ends with its stdin, however the asker came to its end.
"""

from __future__ import annotations

import contextlib
import json
import os
import pickle
import signal
import sys
import threading
import time
from typing import IO, Any

_TELL_EVERY_S = 0.2


def main() -> None:
    """Do the one job."""
    # Who asked decides when to stop: an interrupt reaches every process of a terminal, and only one should answer it.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    answers = os.fdopen(os.dup(1), "wb", buffering=0)
    os.dup2(2, 1)  # whatever a library prints must not come between the answers
    job = sys.stdin.buffer.read(int(sys.stdin.buffer.readline() or b"0"))
    if not job:
        return
    threading.Thread(target=_end_with, args=(sys.stdin.buffer,), daemon=True).start()
    _tell(answers, _done(answers, *pickle.loads(job)))
    # Not waiting for anything that a library may have left running.
    os._exit(0)


def _done(answers: IO[bytes], info: Any, cache_dir: Any, masks: Any) -> dict[str, object]:
    from assembler.errors import AssemblerError
    from assembler.measure.store import measure_capture

    told = 0.0

    def progress(done: int, total: int) -> None:
        nonlocal told
        if done == total or time.monotonic() - told >= _TELL_EVERY_S:
            told = time.monotonic()
            _tell(answers, {"done": done, "total": total})

    try:
        measure_capture(info, cache_dir, masks=masks, progress=progress)
    except AssemblerError as error:
        return {"error": type(error).__name__, "what": error.problems[0].what, "mend": error.problems[0].mend}
    except Exception as error:
        return {"error": "fault", "what": f"{type(error).__name__}: {error}"}
    return {"finished": True}


def _tell(answers: IO[bytes], words: dict[str, object]) -> None:
    with contextlib.suppress(OSError):  # nobody listens any more; stdin says so too
        answers.write(json.dumps(words).encode() + b"\n")


def _end_with(pipe: IO[bytes]) -> None:
    pipe.read()
    os._exit(1)


if __name__ == "__main__":
    main()
