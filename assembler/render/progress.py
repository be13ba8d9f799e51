"""One stream of progress events, and two ways to show it: a bar on a terminal, lines elsewhere.

What is shown goes to the error stream; text from the project is never read as markup.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Protocol, Self, TextIO

LINE_EVERY_S = 10.0
_TOLD_FROM_S = 0.05  # a speed from less is that of the clock


@dataclass(frozen=True, slots=True)
class Event:
    """A stage has come to `done` of `total` (frames, or what `unit` says). per_s: units a second
    lately, 0 when not known yet. eta_s: seconds left in the stage, None when not known.
    note: what is being worked on."""

    stage: str
    done: int
    total: int
    unit: str = "frames"
    per_s: float = 0.0
    eta_s: float | None = None
    note: str = ""


Listener = Callable[[Event], None]


class Meter:
    """Counts a stage and tells a listener, at most every `every_s` seconds and always at its ends."""

    def __init__(
        self,
        listener: Listener | None,
        stage: str,
        total: int,
        *,
        unit: str = "frames",
        every_s: float = 0.2,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self._listener = listener
        self._stage, self._total, self._unit = stage, total, unit
        self._every_s, self._now = every_s, now
        self._done = 0
        self._counted = 0  # without what was skipped: kept parts say nothing of the speed
        self._began = self._told = now()
        self.note = ""
        self._tell()

    @property
    def done(self) -> int:
        return self._done

    def add(self, count: int = 1) -> None:
        """Work done."""
        self._done += count
        self._counted += count
        now = self._now()
        if now - self._told >= self._every_s or self._done >= self._total:
            self._told = now
            self._tell()

    def reach(self, done: int) -> None:
        """Work done, as a count from the start."""
        self.add(done - self._done)

    def skip(self, count: int) -> None:
        """Work that need not be done."""
        self._done += count
        self._tell()

    def _tell(self) -> None:
        if self._listener is None:
            return
        spent = self._now() - self._began
        per_s = self._counted / spent if self._counted and spent >= _TOLD_FROM_S else 0.0
        left = self._total - self._done
        eta_s = left / per_s if per_s else (0.0 if left == 0 else None)
        self._listener(Event(self._stage, self._done, self._total, self._unit, per_s, eta_s, self.note))


class Shower(Protocol):
    """Something that shows events while it is open. A context manager."""

    def __call__(self, event: Event) -> None: ...
    def __enter__(self) -> Self: ...
    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...


class Lines:
    """A plain line when a stage begins and ends, and every ten seconds between."""

    def __init__(self, stream: TextIO, *, every_s: float = LINE_EVERY_S, now: Callable[[], float] = time.monotonic):
        self._stream, self._every_s, self._now = stream, every_s, now
        self._told: dict[str, float] = {}  # when of each stage; several may run at once

    def __call__(self, event: Event) -> None:
        now = self._now()
        begins, ends = event.stage not in self._told, event.done >= event.total
        if begins or ends or now - self._told[event.stage] >= self._every_s:
            self._told[event.stage] = now
            with contextlib.suppress(OSError):  # that nobody reads them is no reason to stop
                self._stream.write(line_of(event) + "\n")
                self._stream.flush()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        return None


class Bar:
    """A bar that redraws itself, for a terminal."""

    def __init__(self, stream: TextIO) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn
        from rich.table import Column

        # rich must not decide for itself: a variable of the environment can make it take a pipe for a terminal.
        console = Console(file=stream, force_terminal=True, markup=False, emoji=False, highlight=False)
        self._bar: Any = Progress(
            TextColumn("{task.description}", markup=False, table_column=Column(no_wrap=True, min_width=8)),
            BarColumn(bar_width=None, table_column=Column(ratio=1)),
            TextColumn("{task.fields[words]}", markup=False, table_column=Column(no_wrap=True, overflow="ellipsis")),
            console=console,
            transient=False,
            refresh_per_second=5,
        )
        self._tasks: dict[str, Any] = {}

    def __call__(self, event: Event) -> None:
        if event.stage not in self._tasks:
            self._tasks[event.stage] = self._bar.add_task(event.stage, total=event.total, words="")
        self._bar.update(
            self._tasks[event.stage], completed=event.done, total=event.total, words=_figures(event)
        )

    def __enter__(self) -> Self:
        self._bar.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._bar.stop()


def shower(stream: TextIO) -> Shower:
    """A bar where the stream is a terminal that can redraw, else lines."""
    return Bar(stream) if stream.isatty() and os.environ.get("TERM", "") not in ("", "dumb") else Lines(stream)


def line_of(event: Event) -> str:
    """An event as one line of text."""
    return f"{event.stage}: {_figures(event)}"


def _figures(event: Event) -> str:
    share = 100 * event.done // event.total if event.total else 100
    words = f"{event.done} of {event.total} {event.unit} ({share} %)"
    if event.per_s:
        words += f", {event.per_s:.1f} a second"
    if event.eta_s is not None and event.done < event.total:
        words += f", {_length(event.eta_s)} left"
    # A name from the project must not move the cursor or begin a new line.
    note = "".join(letter for letter in event.note if letter.isprintable())
    return f"{words}, {note}" if note and event.done < event.total else words


def _length(seconds: float) -> str:
    minutes, rest = divmod(max(0, round(seconds)), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes:02} min"
    return f"{minutes} min {rest:02} s" if minutes else f"{rest} s"
