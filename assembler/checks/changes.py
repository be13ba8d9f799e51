"""Changes to a storyboard that a mend proposes: tried on the values, written as edits of the file, told in words.

All three come from the same list, so what was tried is what is proposed.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from assembler.errors import Edit
from assembler.storyboard.model import Freeze, Line, Pane, Segment, Shot, Storyboard
from assembler.timing.grammar import Time, parse_time
from assembler.timing.timecode import frame_to_label

Value = Time | Fraction | Freeze


@dataclass(frozen=True, slots=True)
class Change:
    """A key to write, and its value. segment, shot and pane count from 0, line from 1, as `Segment` holds them.

    key: `lasts` or `until` of the segment; `lasts` of a shot; `pause` or `stretch` of a line; `from` or `freeze` of a
    pane. A stretch is a Fraction as in the storyboard's values.
    """

    segment: int
    key: str
    value: Value
    line: int | None = None
    shot: int | None = None
    pane: int | None = None


def frames_time(frames: int, rate: Fraction) -> Time:
    """A time of whole frames, written as timecode."""
    return parse_time(frame_to_label(frames, rate), rate)


def short_time(milliseconds: int, rate: Fraction) -> Time:
    """A time of whole milliseconds, written in seconds."""
    return parse_time(f"{milliseconds / 1000:g} s", rate)


def text_of(value: Value) -> str:
    """A value as it is written in the storyboard."""
    if isinstance(value, Time):
        return value.text
    if isinstance(value, Freeze):
        assert value.start is not None
        return f"{{at: {value.start.text}}}"
    return f"{float(abs(value) * 100):g} % {'slower' if value < 0 else 'faster'}"


def changed(storyboard: Storyboard, changes: Sequence[Change]) -> Storyboard:
    """The storyboard as it would be read after the changes."""
    segments = list(storyboard.segments)
    for change in changes:
        segments[change.segment] = _changed_segment(segments[change.segment], change, storyboard.canvas.rate)
    return replace(storyboard, segments=tuple(segments))


def _changed_segment(segment: Segment, change: Change, rate: Fraction) -> Segment:
    value = change.value
    if change.line is not None:
        lines = list(segment.say)
        lines[change.line - 1] = _changed_line(lines[change.line - 1], change)
        return replace(segment, say=tuple(lines))
    if change.shot is not None:
        shots = list(segment.shots)
        shots[change.shot] = _changed_shot(shots[change.shot], change)
        # A length that was never written is the sum of the shots'.
        summed = segment.lasts is not None and "lasts" not in segment.places
        total = sum(shot.lasts.frames for shot in shots if shot.lasts is not None)
        return replace(segment, shots=tuple(shots), lasts=frames_time(total, rate) if summed else segment.lasts)
    assert isinstance(value, Time)
    if change.key == "until":
        return replace(segment, until=value)
    return replace(segment, lasts=value, fit=False)


def _changed_line(line: Line, change: Change) -> Line:
    if change.key == "pause":
        assert isinstance(change.value, Time)
        return replace(line, pause=change.value)
    assert isinstance(change.value, Fraction)
    return replace(line, stretch=change.value)


def _changed_shot(shot: Shot, change: Change) -> Shot:
    if change.pane is None:
        assert isinstance(change.value, Time)
        return replace(shot, lasts=change.value)
    panes: list[Pane] = list(shot.arrangement.panes)
    pane = panes[change.pane]
    places = dict(pane.places) | {change.key: pane.places.get(change.key) or pane.places[""]} if pane.places else {}
    if change.key == "from":
        assert isinstance(change.value, Time)
        panes[change.pane] = replace(pane, start=change.value, places=places)
    else:
        assert isinstance(change.value, Freeze)
        panes[change.pane] = replace(pane, freezes=(change.value,), places=places)
    return replace(shot, arrangement=replace(shot.arrangement, panes=tuple(panes)))  # type: ignore[arg-type]


def edits(storyboard: Storyboard, changes: Sequence[Change]) -> tuple[Edit, ...]:
    """The changes as edits of the file; none where the storyboard was not read from one."""
    if storyboard.written is None:
        return ()
    return tuple(_edit(storyboard, change) for change in changes)


def _edit(storyboard: Storyboard, change: Change) -> Edit:
    path, node = f"/segments/{change.segment}", storyboard.written["segments"][change.segment]
    short = ""  # the key that a value written in short stands for
    if change.line is not None:
        path, node = _entry(path + "/say", node["say"], change.line - 1)
        short = "text"
    elif change.shot is not None:
        path, node = _entry(path + "/show", node["show"], change.shot)
        if change.pane is not None:
            kind = storyboard.segments[change.segment].shots[change.shot].arrangement.kind
            path, node = f"{path}/{kind}", node[kind]
            if isinstance(node, dict) and "panes" in node:
                path, node = path + "/panes", node["panes"]
            path, node = _entry(path, node, change.pane)
            short = "capture"
    value = _plain(change.value)
    if not isinstance(node, dict):
        return Edit(path, json.dumps(node), json.dumps({short: node, change.key: value}))
    old = json.dumps(node[change.key]) if change.key in node else None
    return Edit(f"{path}/{change.key}", old, json.dumps(value))


def _entry(path: str, node: Any, number: int) -> tuple[str, Any]:
    """One of a list's entries, or the one value that stands in place of a list."""
    return (f"{path}/{number}", node[number]) if isinstance(node, list) else (path, node)


def _plain(value: Value) -> object:
    if isinstance(value, Freeze):
        assert value.start is not None
        return {"at": value.start.text}
    return text_of(value)


def told(storyboard: Storyboard, changes: Sequence[Change]) -> str:
    """What to write where: 'write `lasts: 00:00:02:24` in 'opening''. The same value for several lines is said once."""
    places: dict[tuple[int, str, str], list[str]] = {}
    for change in changes:
        where = []
        if change.line is not None:
            where.append(f"line {change.line}")
        if change.pane is not None:
            assert change.shot is not None
            shown = storyboard.segments[change.segment].shots[change.shot].arrangement.panes[change.pane].capture
            where.append(f"pane '{shown}'")
        if change.shot is not None and len(storyboard.segments[change.segment].shots) > 1:
            where.append(f"shot {change.shot + 1}")
        key = (change.segment, change.key, text_of(change.value))
        places.setdefault(key, []).append(" of ".join(where))
    parts = []
    for (segment, key_name, value), where in places.items():
        inside = _listed([part.removeprefix("line ") for part in where]) if where[0].startswith("line ") else where[0]
        if where[0].startswith("line "):
            inside = f"line{'s' if len(where) > 1 else ''} {inside}"
        of = f"{inside} of " if inside else ""
        parts.append(f"`{key_name}: {value}` in {of}'{storyboard.segments[segment].id}'")
    return "write " + _listed(parts)


def _listed(parts: Sequence[str]) -> str:
    """'a', 'a and b', 'a, b and c'."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
