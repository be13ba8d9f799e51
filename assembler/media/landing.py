"""Files that appear whole or not at all.

A file is written under a partial name beside its place, forced to the disk, then renamed. Whatever
goes wrong before the rename leaves the old file, if there was one, and no partial one.
"""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from assembler.errors import AssemblerError, MissingPartError, RenderError
from assembler.media.leftovers import PARTIAL, own_name

_NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})


def partial_name(path: Path) -> Path:
    """Where a file is written before it lands: `draft.mp4` is `draft.partial.mp4` until then."""
    return path.with_name(f"{path.stem}{PARTIAL}{path.suffix}")


def write_error(path: Path, error: BaseException) -> AssemblerError:
    """What a failed write to `path` means to the person."""
    number = getattr(error, "errno", None)
    if number in _NO_ROOM:
        return MissingPartError(
            f"{path}: no room left on the disk",
            mend=f"free some space where {path.parent} lies, then run again: finished parts are kept",
        )
    if number in (errno.EACCES, errno.EPERM, errno.EROFS):
        return MissingPartError(
            f"{path}: this folder cannot be written to",
            mend=f"allow writing in {path.parent}, or work in another folder",
        )
    reason = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return RenderError(f"{path}: could not be written: {reason}")


@contextlib.contextmanager
def landing(path: Path, *, shared: bool = False, lasting: bool = True) -> Iterator[Path]:
    """Lend a partial name to write to; on a clean leave the file is synced and renamed to `path`.

    shared: other runs may be writing the same file just now, so the partial name is of this run alone. lasting: False =
    a power cut may leave it damaged, which whoever reads it notices; it is not forced to the disk.
    Makes the folder. Raises MissingPartError when the disk is full or may not be written.
    """
    partial = own_name(path) if shared else partial_name(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise write_error(path, error) from error
    try:
        yield partial
        land(partial, path, lasting=lasting)
    except BaseException:
        with contextlib.suppress(OSError):
            partial.unlink(missing_ok=True)
        raise


@contextlib.contextmanager
def writing(path: Path, *, lasting: bool = True) -> Iterator[BinaryIO]:
    """Lend an open file that on a clean leave appears as `path`, whole, whoever else is writing it; lasting: as
    `landing` has it. An OSError raised meanwhile counts as one of writing. Raises MissingPartError or RenderError."""
    with landing(path, shared=True, lasting=lasting) as partial:
        try:
            with partial.open("wb") as file:
                yield file
        except OSError as error:
            raise write_error(path, error) from error


def write_whole(path: Path, data: bytes, *, lasting: bool = True) -> None:
    """Write a small file at once, as `writing` does."""
    with writing(path, lasting=lasting) as file:
        file.write(data)


def land(partial: Path, path: Path, *, lasting: bool = True) -> None:
    """Force a written file to the disk, unless it need not last, and give it its name."""
    try:
        if lasting:
            with partial.open("rb+") as written:
                os.fsync(written.fileno())
        partial.replace(path)
        if lasting:
            _sync_folder(path.parent)
    except OSError as error:
        raise write_error(path, error) from error


def _sync_folder(folder: Path) -> None:
    # Without this a power cut may undo the rename. Not every system lets a folder be opened.
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
