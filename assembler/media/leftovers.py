"""Files that killed runs left half written: told apart from those that somebody is writing, and removed.

A half-written file is named after the process that writes it (`a.4f2ap1234-9c1e.partial.mp4`). It is left over once
that process is gone; where that cannot be told (another machine on a shared folder, another naming), once it
has not grown for ten minutes.
"""

from __future__ import annotations

import contextlib
import functools
import glob
import hashlib
import os
import re
import secrets
import socket
import time
from pathlib import Path

PARTIAL = ".partial"
_NAMED = re.compile(rf"\.([0-9a-f]{{4}})p([0-9]{{1,10}})-[0-9a-f]{{8}}{re.escape(PARTIAL)}(\.|$)")
_LEFT_S = 600  # files grow as long as they are written, and none pauses for so long


def own_name(path: Path) -> Path:
    """A name for `path` while it is being written that no other process, here or elsewhere, uses."""
    own = f"{_machine()}p{os.getpid()}-{secrets.token_hex(4)}"
    return path.with_name(f"{path.stem}.{own}{PARTIAL}{path.suffix}")


def clear_left(folder: Path) -> None:
    """Remove what is left over in a folder and all below it. What somebody is still writing stays."""
    for where, _, names in os.walk(folder):
        for path in (Path(where) / name for name in names if PARTIAL in name):
            if is_left(path):
                with contextlib.suppress(OSError):
                    path.unlink()


def clear_left_of(path: Path) -> None:
    """Remove what is left over of a file, and of files beside it that differ from it in their ending."""
    with contextlib.suppress(OSError):
        for each in path.parent.glob(f"{glob.escape(path.stem)}.*{PARTIAL}*"):
            if is_left(each):
                each.unlink()


def is_left(path: Path) -> bool:
    """Whether nobody can be writing a half-written file any more."""
    named = _NAMED.search(path.name)
    if named is not None and named[1] == _machine() and os.name == "posix":
        return not _runs(int(named[2]))
    with contextlib.suppress(OSError):
        return time.time() - path.stat().st_mtime > _LEFT_S
    return False


@functools.cache
def _machine() -> str:
    """Where process numbers count: this machine, and on it this container."""
    where = socket.gethostname()
    with contextlib.suppress(OSError):
        where += str(Path("/proc/self/ns/pid").readlink())
    return hashlib.sha256(where.encode()).hexdigest()[:4]


def _runs(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:  # somebody else's: it runs
        return True
    with contextlib.suppress(OSError, IndexError):
        # What was ended and nobody has asked after yet writes nothing more. The name before may hold any sign.
        return Path(f"/proc/{pid}/stat").read_text("utf-8", "replace").rpartition(")")[2].split()[0] not in "ZX"
    return True
