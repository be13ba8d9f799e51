"""What is in a large file, told without reading all of it."""

from __future__ import annotations

import hashlib
from pathlib import Path

from assembler.errors import MediaError

_CHUNK = 1 << 20


def content_print(path: Path) -> str:
    """A digest of a large file: its size and its head, middle and tail, one MiB each. MediaError: it cannot be read.

    A change that keeps the size and all three is not seen. Footage is written anew, not patched in place, and its
    index lies at the head or the tail, so this does not happen by editing.
    """
    digest = hashlib.sha256()
    try:
        size = path.stat().st_size
        digest.update(str(size).encode())
        with path.open("rb") as file:
            for start in sorted({0, max(0, size // 2 - _CHUNK // 2), max(0, size - _CHUNK)}):
                file.seek(start)
                digest.update(file.read(_CHUNK))
    except OSError as error:
        raise MediaError(f"'{path}' cannot be read: {error.strerror}", mend="check that it may be read") from error
    return digest.hexdigest()
