"""Making tens of thousands of objects that all stay: looking for circles among them would take a third of the time."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def many_objects() -> Iterator[None]:
    """Put the search for circles of objects off until after the block; also a decorator."""
    searching = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if searching:
            gc.enable()
