"""Giving memory back to the system.

Where several threads work with large arrays the allocator keeps what they free, each thread's apart, and a long
programme's join would come on top of it.
"""

from __future__ import annotations

import contextlib
import ctypes
import sys


def give_back() -> None:
    """Return what is free to the system, where the C library can (glibc's malloc_trim); nothing else changes."""
    if sys.platform == "linux":
        with contextlib.suppress(OSError, AttributeError):
            ctypes.CDLL(None).malloc_trim(0)
