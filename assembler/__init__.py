"""Turn a storyboard into a narrated comparison video.

    from assembler import load_storyboard

Names load on first use, so that the command line starts at once.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from assembler.errors import AssemblerError
    from assembler.render.programme_clip import as_moviepy
    from assembler.storyboard import Storyboard, load_storyboard

__all__ = ["AssemblerError", "Storyboard", "as_moviepy", "load_storyboard"]

_HOMES = {"AssemblerError": "assembler.errors", "as_moviepy": "assembler.render.programme_clip"}


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'assembler' has no attribute '{name}'")
    from importlib import import_module

    return getattr(import_module(_HOMES.get(name, "assembler.storyboard")), name)
