"""What is kept of a programme's sound to save work, and how it is told that it is still what it should be.

Such a file tells whether it is whole, so none need be forced to the disk.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import os
from collections.abc import Callable, Iterable
from importlib import metadata
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assembler.media.landing import write_whole

Data = bytes | npt.NDArray[np.float32]

_DIGEST = 32


@functools.cache
def engine() -> str:
    """A digest of the code that reads, measures, mixes and codes sound, and the version of what it does so with."""
    here = Path(__file__).resolve().parent
    digest = hashlib.sha256(f"av {metadata.version('av')}".encode())
    media = [here.parent / "media" / name for name in ("sound.py", "sound_coder.py", "coded_pieces.py")]
    for path in (*sorted(here.glob("*.py")), *media):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def kept_or_made(
    folder: Path, kind: str, told: str, parts: Iterable[Data], make: Callable[[], bytes]
) -> tuple[Path, bytes]:
    """What comes of some facts, some data and this code alone: as an earlier run kept it, else made and kept, and the
    file it is kept in. kind: the file's ending. Raises MissingPartError when the disk is full."""
    digest = hashlib.sha256(f"{engine()} {told}".encode())
    for part in parts:
        data = memoryview(part) if isinstance(part, bytes) else np.ascontiguousarray(part, "<f4").data
        digest.update(data.nbytes.to_bytes(8, "little"))
        digest.update(data)
    path = folder / f"{digest.hexdigest()[:40]}.{kind}"
    found = kept(path)
    if found is None:
        found = make()
        keep(path, found)
    return path, found


def keep(path: Path, data: bytes) -> None:
    """Keep some bytes under a name. Raises MissingPartError when the disk is full."""
    write_whole(path, hashlib.sha256(data).digest() + data, lasting=False)


def kept(path: Path) -> bytes | None:
    """What `keep` was given; None when there is none or it is damaged. What is asked for counts as used."""
    try:
        found = path.read_bytes()
    except OSError:
        return None
    digest, data = found[:_DIGEST], found[_DIGEST:]
    if hashlib.sha256(data).digest() != digest:
        return None
    with contextlib.suppress(OSError):
        os.utime(path)
    return data


def make_room(folder: Path, pattern: str, room_bytes: int) -> None:
    """Remove the files that were used longest ago, until the others fit."""
    with contextlib.suppress(OSError):
        known = [(path.stat().st_mtime_ns, path.stat().st_size, path) for path in folder.glob(pattern)]
        for _, size, path in sorted(known, reverse=True):
            room_bytes -= size
            if room_bytes < 0:
                path.unlink(missing_ok=True)
