"""Long rows of numbers kept in a file rather than in memory, added at the end and read from anywhere.

An hour has 3.6 million milliseconds. What is known of each of them lies here, so that a long programme takes no more
memory than a short one.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import IO

import numpy as np
import numpy.typing as npt

from assembler.media.landing import write_error

Rows = npt.NDArray[np.float32]

STRETCH = 60_000
"""Rows that are looked at together: a minute of milliseconds."""


class Spool:
    """Float32 rows of `columns` numbers. A new one lies in a file that has no name and goes with the object."""

    def __init__(self, columns: int = 1) -> None:
        self._columns = columns
        self._offset = 0
        self._file: IO[bytes] = tempfile.TemporaryFile(prefix="assembler-")  # noqa: SIM115  open as long as this lives
        self._turn = threading.Lock()
        self.size = 0

    @classmethod
    def of_file(cls, path: Path, offset: int, size: int) -> Spool:
        """Single numbers that lie in a file, `size` of them, from a byte on. Raises OSError."""
        spool = cls.__new__(cls)
        spool._columns, spool._offset, spool.size = 1, offset, size
        spool._file = path.open("rb")
        spool._turn = threading.Lock()
        return spool

    def __del__(self) -> None:
        with contextlib.suppress(AttributeError):  # where it could not be opened
            self._file.close()

    def add(self, rows: npt.NDArray[np.floating]) -> None:
        """Put (n,) or (n, columns) at the end. Raises MissingPartError when the disk is full."""
        data = np.ascontiguousarray(rows, "<f4").reshape(-1, self._columns)
        try:
            with self._turn:
                self._file.seek(0, os.SEEK_END)
                self._file.write(data.data)
        except OSError as error:
            raise write_error(Path(tempfile.gettempdir()), error) from error
        self.size += len(data)

    def read(self, first: int, end: int) -> Rows:
        """Rows `first` to `end`, (n,) where there is one column, else (n, columns); fewer where there are fewer."""
        count = max(0, min(end, self.size) - first) * self._columns
        with self._turn:
            self._file.seek(self._offset + 4 * self._columns * first)
            data = self._file.read(4 * count) if count else b""
        found = np.frombuffer(data, "<f4")
        return found if self._columns == 1 else found.reshape(-1, self._columns)

    def stretches(self) -> Iterator[tuple[int, Rows]]:
        """All rows in order: where each stretch begins, and its rows."""
        for first in range(0, self.size, STRETCH):
            yield first, self.read(first, first + STRETCH)
