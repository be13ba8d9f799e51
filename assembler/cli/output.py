"""What commands print: findings as text or JSON, on the right stream."""

from __future__ import annotations

import argparse
import contextlib
import errno
import io
import json
import os
import sys
import time
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from assembler.errors import AssemblerError, Edit, Finding, Mend, MissingPartError, Place, Problem, RenderError

JSON_VERSION = 1


def ready() -> None:
    """See that both streams are there, and that no letter is beyond them."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:  # closed before we were started
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115  open to the end
        elif isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def out(text: str) -> None:
    """A line of result. A reader that has gone, as `head` does, is no error; raises when it cannot be written."""
    try:
        sys.stdout.write(text + "\n")
    except OSError as error:
        _lost(error)


def finish() -> None:
    """Hand over what is still held back of the result. Raises as `out` does."""
    try:
        sys.stdout.flush()
    except OSError as error:
        _lost(error)


def _lost(error: OSError) -> None:
    # What is held back would fail again when the program ends.
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    if isinstance(error, BrokenPipeError):
        return
    kind: type[AssemblerError] = MissingPartError if error.errno == errno.ENOSPC else RenderError
    what = f"the result could not be written: {error.strerror or error}"
    raise kind(what, mend="see where the output of this command goes") from error


def err(text: str) -> None:
    """A line of message. That nobody can read it is no reason to stop."""
    with contextlib.suppress(OSError):
        sys.stderr.write(text + "\n")


def counted(count: int, noun: str) -> str:
    """'1 part', '2 parts'."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def whole_count(text: str) -> int:
    """A count of processes, for the parser of options."""
    if not text.isascii() or not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"'{text}' is not a count; write how many at once, such as 2")
    return int(text)


class Patience:
    """Says what is being waited for, once it has taken a while and every ten seconds from then on."""

    FIRST_S, EVERY_S = 2.0, 10.0

    def __init__(self, tell: Callable[[str], None] = err, *, now: Callable[[], float] = time.monotonic) -> None:
        self._tell, self._now = tell, now
        self._next = now() + self.FIRST_S

    def __call__(self, text: str) -> None:
        if self._now() >= self._next:
            self._next = self._now() + self.EVERY_S
            self._tell(text)


def as_dict(value: Problem | Finding | Any) -> dict[str, object]:
    """A problem or finding as plain data."""
    place: Place | None = value.place
    mends: tuple[Mend, ...] = getattr(value, "mends", ())
    return {
        "severity": getattr(value, "severity", "error"),
        "code": getattr(value, "code", "unusable"),
        "file": place.file if place else None,
        "line": place.line if place else None,
        "column": place.column if place else None,
        "what": value.what,
        "mend": value.mend or ", or ".join(mend.what for mend in mends),
        "mends": [
            {"kind": mend.kind, "what": mend.what, "edits": [_edit_as_dict(edit) for edit in mend.edits]}
            for mend in mends
        ],
    }


def _edit_as_dict(edit: Edit) -> dict[str, object]:
    """An edit with its values as values; null where the key is not there."""
    return {
        "path": edit.path,
        "old": None if edit.old is None else json.loads(edit.old),
        "new": None if edit.new is None else json.loads(edit.new),
    }


def print_json(command: str | None, content: Mapping[str, object]) -> None:
    """The whole result of a command as one JSON object on stdout."""
    out(as_json({"assembler": JSON_VERSION, "command": command, **content}))


def as_json(document: Mapping[str, object]) -> str:
    """JSON text, with its letters escaped where stdout has no room for them."""
    text = json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False)
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeError:
        return json.dumps(document, ensure_ascii=True, indent=2, allow_nan=False)
    return text


def print_findings(findings: Iterable[Finding], *, to_stdout: bool) -> None:
    """Findings as text, one after the other."""
    for found in findings:
        (out if to_stdout else err)(str(found))


def tally(findings: Iterable[Finding]) -> str:
    """'2 errors, 1 warning', or 'no findings'."""
    counts = {"error": 0, "warning": 0, "note": 0}
    for found in findings:
        counts[found.severity] += 1
    words = [counted(count, name) for name, count in counts.items() if count]
    return ", ".join(words) or "no findings"
