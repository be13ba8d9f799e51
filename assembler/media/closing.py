"""What is closed when its `with` is left."""

from __future__ import annotations

from typing import Self


class Closing:
    """A context manager of itself, for what has a `close`."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of all that is held."""
        raise NotImplementedError
