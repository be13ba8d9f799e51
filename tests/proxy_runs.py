"""A draft by proxy of small clips in a process of its own, killed at a moment of the making of proxies.

    python proxy_runs.py PROJECT [write N | land N | landed N]

Killed at the N-th picture written to a proxy, or at the N-th piece, just before or after it gets its name.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from assembler import prepare as preparing
from assembler.media import landing, proxies, proxy_writing
from assembler.media.writer import EncoderSettings
from assembler.render import proxies as render_proxies
from assembler.render.draft import DraftOptions, render_draft

PIECE = 8
OPTIONS = DraftOptions(size=(640, 360), marks=False, settings=EncoderSettings(preset="ultrafast"), proxies=True)


def killed_at(owner: Any, name: str, number: int, *, after: bool = False) -> None:
    """End this process, as kill -9 does, at the n-th call that has to do with proxies."""
    real: Callable[..., Any] = getattr(owner, name)
    calls = 0

    def counted(*told: Any, **named: Any) -> Any:
        nonlocal calls
        ours = name == "write" or proxies.FOLDER in Path(told[-1]).parts
        calls += ours
        if ours and calls == number and not after:
            os.kill(os.getpid(), signal.SIGKILL)
        found = real(*told, **named)
        if ours and calls == number:
            os.kill(os.getpid(), signal.SIGKILL)
        return found

    setattr(owner, name, counted)


def main() -> None:
    for module in (proxies, proxy_writing):
        module.PIECE = PIECE  # type: ignore[attr-defined]
    for module in (render_proxies, preparing):
        with contextlib.suppress(AttributeError):
            module.pays = lambda info: info.width >= 1920  # type: ignore[attr-defined]
    if len(sys.argv) > 2:
        moment, number = sys.argv[2], int(sys.argv[3])
        if moment == "write":
            killed_at(proxy_writing.PieceWriter, "write", number)
        else:
            killed_at(landing, "land", number, after=moment == "landed")
    prepared = preparing.prepare(Path(sys.argv[1]), proxies=True)
    assert not prepared.blocking, prepared.blocking
    render_draft(prepared.timeline, prepared.cues, OPTIONS, fonts=prepared.fonts)


if __name__ == "__main__":
    main()
