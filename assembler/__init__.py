"""Turn a storyboard into a narrated comparison video.

    from assembler import load_storyboard

Names load on first use, so that the command line starts at once.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from assembler.errors import AssemblerError
    from assembler.storyboard import Storyboard, load_storyboard

__all__ = ["AssemblerError", "Storyboard", "load_storyboard"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'assembler' has no attribute '{name}'")
    from importlib import import_module

    return getattr(import_module("assembler.errors" if name == "AssemblerError" else "assembler.storyboard"), name)
