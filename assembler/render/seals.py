"""A part's seal: its size and digest in a small file beside it, by which damage is noticed.

    <cache>/parts/<key>.mp4     <cache>/parts/<key>.seal

A part lands first and is sealed afterwards. One without a seal is judged by reading its pictures, and sealed then.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from pathlib import Path

from assembler.errors import AssemblerError
from assembler.media.landing import write_whole
from assembler.media.writer import count_pictures

ENDING = ".seal"


def seal(path: Path) -> None:
    """Seal a part that has just been made and read back. Raises MissingPartError or RenderError when it cannot."""
    write_whole(path.with_suffix(ENDING), json.dumps(_told(path)).encode())


def is_whole(path: Path, frames: int) -> bool:
    """Whether a part is what it was when it was made. frames: how many pictures it has to have."""
    try:
        told = json.loads(path.with_suffix(ENDING).read_bytes())
    except (OSError, ValueError):
        told = None
    try:
        if isinstance(told, dict):
            return path.stat().st_size == told.get("bytes") and _told(path) == told
        if count_pictures(path) != frames:
            return False
        with contextlib.suppress(AssemblerError):  # it will be looked at again next time
            seal(path)
        return True
    except OSError:
        return False


def remove(path: Path) -> None:
    """Remove a part and its seal. What cannot be removed stays."""
    for each in (path, path.with_suffix(ENDING)):
        with contextlib.suppress(OSError):
            each.unlink(missing_ok=True)


def _told(path: Path) -> dict[str, object]:
    with path.open("rb") as part:
        digest = hashlib.file_digest(part, "sha256").hexdigest()
        return {"bytes": part.tell(), "sha256": digest}
