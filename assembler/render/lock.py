"""One run at a time in a project folder."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path

from assembler.errors import UsageError
from assembler.media.landing import write_error

LOCK_NAME = "lock"


@contextlib.contextmanager
def only_run(cache: Path) -> Iterator[None]:
    """Hold the project's lock. Raises UsageError when another run holds it.

    The system lets go of the lock when its holder ends, however it ends, so none is ever stale.
    The file keeps the holder's process number, for the message alone.
    """
    path = cache / LOCK_NAME
    try:
        cache.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as error:
        raise write_error(path, error) from error
    try:
        if not _taken(handle):
            holder = os.pread(handle, 20, 0).decode("ascii", "replace").strip() if hasattr(os, "pread") else ""
            who = f" (process {holder})" if holder.isdigit() else ""
            raise UsageError(
                f"another run is working in {cache.parent}{who}", mend="wait until it has finished, or end it"
            )
        with contextlib.suppress(OSError):  # only for the message: a full disk must be told of elsewhere
            os.ftruncate(handle, 0)
            os.write(handle, f"{os.getpid()}\n".encode())
        yield
    finally:
        os.close(handle)


def _taken(handle: int) -> bool:
    if sys.platform == "win32":
        import msvcrt

        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    import fcntl

    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True  # a file system without locks: better to run than not to
    return True
