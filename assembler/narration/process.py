"""A helper program of ours that is asked over pipes: one line of JSON and raw bytes there, the same back.

What may hang, stop its whole process or has a licence of its own runs in such a program. Killing it ends any wait.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading
from typing import Any

from assembler.errors import NarrationError


class HelperProcess:
    """Starts `python -m module` with the first question and again whenever it has ended.

    name: what messages call it, such as 'the scratch voice'. Raises NarrationError from `ask` when it stops or does
    not answer in time; what it answers, {"error": …} too, is the asker's to judge.
    """

    def __init__(self, module: str, name: str) -> None:
        self._module = module
        self._name = name
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int | None:
        """The running program's number; None where none runs."""
        return self._process.pid if self._process else None

    def close(self) -> None:
        """End the program; the next question starts a new one."""
        process, self._process = self._process, None
        if process is None:
            return
        assert process.stdin is not None and process.stdout is not None
        with contextlib.suppress(OSError):
            process.stdin.close()
        try:
            process.wait(timeout=2)
        except subprocess.TimeoutExpired:
            _kill(process)
            process.wait()
        process.stdout.close()

    def ask(self, request: dict[str, object], raw: bytes, timeout_s: float) -> tuple[dict[str, Any], bytes]:
        """Send a request and what belongs to it; the answer's head and the head's "bytes" bytes after it."""
        process = self._running()
        assert process.stdin is not None and process.stdout is not None
        # Killing the process ends the read below, on every system; no other wait on a pipe does.
        late = threading.Event()

        def stop() -> None:
            late.set()
            _kill(process)

        timer = threading.Timer(timeout_s, stop)
        timer.daemon = True
        timer.start()
        try:
            process.stdin.write(json.dumps(request).encode() + b"\n" + raw)
            process.stdin.flush()
            line = process.stdout.readline()
            head: dict[str, Any] = json.loads(line) if line else {}
            count = int(head.get("bytes", 0))
            answer = process.stdout.read(count) if count else b""
        except (OSError, ValueError):
            head, count, answer = {}, 0, b""
        finally:
            timer.cancel()
        if not head or len(answer) < count:
            self.close()
            if late.is_set():
                raise NarrationError(f"{self._name} did not answer within {timeout_s:g} s")
            raise NarrationError(f"{self._name} stopped in the middle of a line")
        if head.get("spent"):
            self.close()
        return head, answer

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            self.close()
            self._process = subprocess.Popen(
                [sys.executable, "-m", self._module],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                start_new_session=True,  # one kill reaches the copies it makes of itself
            )
        return self._process


def _kill(process: subprocess.Popen[bytes]) -> None:
    if hasattr(os, "killpg"):
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
    else:
        process.kill()
