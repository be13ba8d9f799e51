"""Shows how far captures are measured, as a bar on a terminal and as lines elsewhere."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator


@contextlib.contextmanager
def measuring() -> Iterator[Callable[[str, int, int], None]]:
    """A listener for measuring; what was measured before is passed over in silence."""
    from assembler.render.progress import Meter, shower

    with contextlib.ExitStack() as opened:
        meters: dict[str, Meter] = {}
        begun: dict[str, int] = {}
        listener = None

        def tell(name: str, done: int, total: int) -> None:
            nonlocal listener
            if name not in meters:
                if done >= total:
                    return
                if listener is None:
                    listener = opened.enter_context(shower(sys.stderr))
                meters[name] = Meter(listener, f"measuring {name}", total, unit="pictures")
                meters[name].skip(done)
                begun[name] = done
                return
            meters[name].reach(done)

        yield tell
