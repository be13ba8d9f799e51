"""Every error the person sees, and the place, fault and mend that each one carries.

    AssemblerError                  exit code
    ├── StoryboardError             2   the storyboard cannot be read; carries every problem found
    ├── UsageError                  2   an option, a project folder or an id that is not there
    ├── MediaError                  4   a capture, picture or take cannot be read (how far, if partly)
    ├── TextError                   4   words cannot be drawn
    ├── NarrationError              4   a line cannot be voiced
    ├── MissingPartError            3   codec, font, optional package or disk space missing
    └── RenderError                 4   the render could not go on

An interrupted run ends with exit code 130; findings of `check` that are errors end with 1.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A spot in a person's file. Lines and columns count from 1, as editors do."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault: where it is, what is wrong, how to mend it."""

    place: Place | None
    what: str
    mend: str = ""

    def __str__(self) -> str:
        head = f"{self.place}: error: {self.what}" if self.place else f"error: {self.what}"
        return f"{head}\n  mend: {self.mend}" if self.mend else head


@dataclass(frozen=True, slots=True)
class Edit:
    """One value to write in the storyboard.

    path: a JSON Pointer (RFC 6901) from the storyboard's root. old, new: the value as JSON text; None = no such key.
    """

    path: str
    old: str | None
    new: str | None


@dataclass(frozen=True, slots=True)
class Mend:
    """One way, enough by itself, to make a finding go away. `kind` is a stable short name, such as `borrow`.

    edits: what to write in the storyboard; none where a person has to do it, as with words to cut.
    """

    kind: str
    what: str
    edits: tuple[Edit, ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """Something `check` has to say. `code` is a stable short name, such as `narration-too-long`.

    mends: ways that were tried out and work, the cheapest first; `mend` is said where there are none.
    """

    severity: Literal["error", "warning", "note"]
    code: str
    place: Place | None
    what: str
    mend: str = ""
    mends: tuple[Mend, ...] = ()

    def __str__(self) -> str:
        head = f"{self.place}: " if self.place else ""
        ways = [mend.what for mend in self.mends] or [self.mend] * bool(self.mend)
        tail = "".join(f"\n  {'or' if number else 'mend'}: {way}" for number, way in enumerate(ways))
        return f"{head}{self.severity}: {self.what} [{self.code}]{tail}"


class AssemblerError(Exception):
    """An error with a message fit to show; `exit_code` is what the command ends with."""

    exit_code = 4

    def __init__(self, what: str, *, mend: str = "", place: Place | None = None) -> None:
        self.problems: tuple[Problem, ...] = (Problem(place, what, mend),)
        super().__init__(str(self.problems[0]))


class StoryboardError(AssemblerError):
    """The storyboard cannot be used. Carries every problem, sorted by place."""

    exit_code = 2

    def __init__(self, problems: Iterable[Problem]) -> None:
        found = sorted(problems, key=lambda p: (p.place is not None, p.place or Place("", 0, 0)))
        Exception.__init__(self, "\n".join(str(p) for p in found))
        self.problems = tuple(found)


class UsageError(AssemblerError):
    """The command was asked for something that is not there."""

    exit_code = 2


class MediaError(AssemblerError):
    """A media file cannot be read, or not to its end."""


class TextError(AssemblerError):
    """Words cannot be drawn as asked."""


class NarrationError(AssemblerError):
    """A narration line cannot be voiced or its take cannot be used."""


class MissingPartError(AssemblerError):
    """Something the machine lacks: a codec, a font, an optional package, disk space."""

    exit_code = 3


class RenderError(AssemblerError):
    """The render could not go on. What was already made is kept."""
