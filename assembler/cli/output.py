"""What commands print: findings as text or JSON, on the right stream."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Mapping
from typing import Any

from assembler.errors import Finding, Place, Problem

JSON_VERSION = 1


def out(text: str) -> None:
    """A line of result."""
    sys.stdout.write(text + "\n")


def err(text: str) -> None:
    """A line of message."""
    sys.stderr.write(text + "\n")


def as_dict(value: Problem | Finding | Any) -> dict[str, object]:
    """A problem or finding as plain data."""
    place: Place | None = value.place
    return {
        "severity": getattr(value, "severity", "error"),
        "code": getattr(value, "code", "unusable"),
        "file": place.file if place else None,
        "line": place.line if place else None,
        "column": place.column if place else None,
        "what": value.what,
        "mend": value.mend,
    }


def print_json(command: str, content: Mapping[str, object]) -> None:
    """The whole result of a command as one JSON object on stdout."""
    document = {"assembler": JSON_VERSION, "command": command, **content}
    out(json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False))


def print_findings(findings: Iterable[Finding], *, to_stdout: bool) -> None:
    """Findings as text, one after the other."""
    for found in findings:
        (out if to_stdout else err)(str(found))


def tally(findings: Iterable[Finding]) -> str:
    """'2 errors, 1 warning', or 'no findings'."""
    counts = {"error": 0, "warning": 0, "note": 0}
    for found in findings:
        counts[found.severity] += 1
    words = [f"{count} {name}{'s' if count != 1 else ''}" for name, count in counts.items() if count]
    return ", ".join(words) or "no findings"
