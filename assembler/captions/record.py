"""The timing record: what each cue of a caption file stood on when it was last written.

It lies beside the caption file (`captions/en.timing.json`) and belongs into version control with it. A
person corrects the caption file; from the record it follows what they changed, and where the words of
each cue have gone since.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from assembler.captions.allocating import many_objects
from assembler.captions.limits import Limits
from assembler.captions.script import Script, ScriptLine, script_of
from assembler.errors import UsageError
from assembler.timeline.model import Timeline

VERSION = 1


@dataclass(frozen=True, slots=True)
class Shown:
    """What a stretch of programme shows in its first pane: from start_frame up to end_frame, the capture's
    time `capture_s` at the start, and capture seconds a programme second (0 while it is frozen)."""

    start_frame: int
    end_frame: int
    capture: str
    capture_s: Fraction
    speed: Fraction


@dataclass(frozen=True, slots=True)
class Stretch:
    """A segment as it lay on the programme's frames, and what it showed."""

    id: str
    start_frame: int
    end_frame: int
    shown: tuple[Shown, ...] = ()


@dataclass(frozen=True, slots=True)
class RecordedCue:
    """A cue as it was last written, and what it would have been without a person.

    start_ms, end_ms, lines: as in the file. first_word, last_word: its words in the script, both included,
    or None for a cue that belongs to a moment. auto_start_frame, auto_end_frame, auto: what the words
    alone gave. in_ms, out_ms: how far a person set the start from its first word's start, the end from its
    last word's end; None = nobody did. Without words: how far neighbours pushed its start, and the length it
    is to have where they leave it room.
    """

    start_ms: int
    end_ms: int
    lines: tuple[str, ...]
    first_word: int | None = None
    last_word: int | None = None
    auto_start_frame: int = 0
    auto_end_frame: int = 0
    auto: tuple[str, ...] = ()
    in_ms: int | None = None
    out_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Aside:
    """A cue that stands on nothing now. words: what it stood on, to know it again when they come back; before, after:
    words of its segment around it. Without
    lines: words that a person left without a cue. Without words: in_ms is its time into the segment, out_ms its length.
    """

    start_ms: int
    end_ms: int
    lines: tuple[str, ...]
    words: tuple[str, ...] = ()
    segment: str = ""
    by_hand: bool = True
    in_ms: int | None = None
    out_ms: int | None = None
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Record:
    """What a caption file stood on. layout: a digest of all that decides where cues lie; unchanged means that
    nothing has to move. dropped: stretches of words that a person left without a cue."""

    rate: Fraction
    layout: str
    limits: str
    script: Script
    stretches: tuple[Stretch, ...]
    cues: tuple[RecordedCue, ...]
    dropped: tuple[tuple[int, int], ...] = ()
    aside: tuple[Aside, ...] = ()


def layout_print(timeline: Timeline, limits: Limits, script: Script) -> str:
    """A digest of words, their frames, cuts and limits."""
    cuts = [(each.segment.id, each.span.start_frame, each.span.end_frame) for each in timeline.segments]
    shots = [shot.span.start_frame for each in timeline.segments for shot in each.shots]
    language = timeline.storyboard.language
    said = (script.lines, script.words, script.starts, script.ends)
    told = repr((str(timeline.rate), timeline.frames, said, cuts, shots, language, limits))
    return hashlib.sha256(told.encode()).hexdigest()[:32]


def limits_print(limits: Limits) -> str:
    """A digest of reading limits."""
    return hashlib.sha256(repr(limits).encode()).hexdigest()[:16]


def stretches_of(timeline: Timeline) -> tuple[Stretch, ...]:
    """The segments and what they show."""
    found = []
    for placed in timeline.segments:
        shown = []
        for shot in placed.shots:
            if shot.panes:
                pane = shot.panes[0]
                speed = Fraction(0) if pane.held else pane.speed
                shown.append(
                    Shown(shot.span.start_frame, shot.span.end_frame, pane.capture.id, pane.wanted_s, speed)
                )
        found.append(Stretch(placed.segment.id, placed.span.start_frame, placed.span.end_frame, tuple(shown)))
    return tuple(found)


def record_of(timeline: Timeline, limits: Limits, cues: Sequence[RecordedCue], **more: Any) -> Record:
    """The record of cues written for a timeline."""
    script = more.pop("script", None) or script_of(timeline)
    return Record(
        timeline.rate,
        layout_print(timeline, limits, script),
        limits_print(limits),
        script,
        stretches_of(timeline),
        tuple(cues),
        **more,
    )


@many_objects()
def to_json(record: Record) -> str:
    """The record as text: one line a cue and a narration line, so that differences read well."""
    head = {
        "timing": VERSION,
        "rate": str(record.rate),
        "layout": record.layout,
        "limits": record.limits,
    }
    script = record.script
    lines = [
        {
            "segment": line.segment,
            "line": line.number,
            "words": list(script.words[line.first : line.stop]),
            "frames": [
                frame
                for word in range(line.first, line.stop)
                for frame in (script.starts[word], script.ends[word])
            ],
        }
        for line in script.lines
    ]
    stretches = [
        {
            "segment": each.id,
            "frames": [each.start_frame, each.end_frame],
            "shown": [
                [one.start_frame, one.end_frame, one.capture, str(one.capture_s), str(one.speed)] for one in each.shown
            ],
        }
        for each in record.stretches
    ]
    blocks: dict[str, Sequence[object]] = {
        "segments": stretches,
        "lines": lines,
        "cues": [_cue_json(cue) for cue in record.cues],
        "dropped": [list(each) for each in record.dropped],
        "aside": [asdict(each) for each in record.aside],
    }
    text = ",\n".join(f"{_dump(name)}: {_dump(value)}" for name, value in head.items())
    for name, rows in blocks.items():
        inner = ",\n".join(_dump(row) for row in rows)
        text += f",\n{_dump(name)}: [\n{inner}\n]" if rows else f",\n{_dump(name)}: []"
    return "{\n" + text + "\n}\n"


@many_objects()
def from_json(text: str, path: Path) -> Record:
    """Read a record. Raises UsageError when it is damaged or of another version."""
    try:
        data = json.loads(text)
        if not isinstance(data, dict) or data.get("timing") != VERSION:
            raise UsageError(
                f"{path}: this timing record is not of a version that can be read",
                mend="take the one from version control, or give the storyboard it was made for with --was",
            )
        return _record(data)
    except UsageError:
        raise
    except (ValueError, TypeError, KeyError, IndexError, AttributeError, ZeroDivisionError) as error:
        raise UsageError(
            f"{path}: the timing record is damaged ({type(error).__name__}: {error})",
            mend="take it from version control, or give the storyboard it was made for with --was",
        ) from error


def _record(data: Mapping[str, Any]) -> Record:
    lines: list[ScriptLine] = []
    words: list[str] = []
    starts: list[int] = []
    ends: list[int] = []
    for row in data["lines"]:
        first = len(words)
        words += [str(word) for word in row["words"]]
        starts += [int(frame) for frame in row["frames"][::2]]
        ends += [int(frame) for frame in row["frames"][1::2]]
        lines.append(ScriptLine(str(row["segment"]), int(row["line"]), first, len(words)))
    if not len(words) == len(starts) == len(ends) or any(line.first >= line.stop for line in lines):
        raise ValueError("words and their frames do not agree")
    stretches = [
        Stretch(
            str(row["segment"]),
            int(row["frames"][0]),
            int(row["frames"][1]),
            tuple(Shown(int(a), int(b), str(c), Fraction(s), Fraction(v)) for a, b, c, s, v in row["shown"]),
        )
        for row in data["segments"]
    ]
    cues = []
    for row in data["cues"]:
        cue = _cue(row)
        for word in (cue.first_word, cue.last_word):
            if word is not None and not 0 <= word < len(words):
                raise ValueError(f"a cue stands on word {word} of {len(words)}")
        cues.append(cue)
    dropped = tuple((int(first), int(last)) for first, last in data["dropped"])
    if any(not 0 <= first <= last < len(words) for first, last in dropped):
        raise ValueError("words without a cue are not there")
    aside = tuple(
        Aside(**{**row, **{name: tuple(map(str, row.get(name, ()))) for name in ("lines", "words", "before", "after")}})
        for row in data["aside"]
    )
    script = Script(tuple(lines), tuple(words), tuple(starts), tuple(ends))
    rate = Fraction(data["rate"])
    if rate <= 0:
        raise ValueError("a rate must be above 0")
    return Record(rate, str(data["layout"]), str(data["limits"]), script, tuple(stretches), tuple(cues), dropped, aside)


def _cue_json(cue: RecordedCue) -> dict[str, Any]:
    row: dict[str, Any] = {"ms": [cue.start_ms, cue.end_ms]}
    if cue.first_word is not None:
        row |= {
            "words": [cue.first_word, cue.last_word],
            "auto_frames": [cue.auto_start_frame, cue.auto_end_frame],
            "auto": list(cue.auto),
        }
    if cue.lines != cue.auto:
        row["written"] = list(cue.lines)
    if cue.in_ms is not None:
        row["in_ms"] = cue.in_ms
    if cue.out_ms is not None:
        row["out_ms"] = cue.out_ms
    return row


def _cue(row: Mapping[str, Any]) -> RecordedCue:
    words, frames = row.get("words", (None, None)), row.get("auto_frames", (0, 0))
    auto = tuple(map(str, row.get("auto", ())))
    return RecordedCue(
        int(row["ms"][0]),
        int(row["ms"][1]),
        tuple(map(str, row.get("written", auto))),
        None if words[0] is None else int(words[0]),
        None if words[1] is None else int(words[1]),
        int(frames[0]),
        int(frames[1]),
        auto,
        None if row.get("in_ms") is None else int(row["in_ms"]),
        None if row.get("out_ms") is None else int(row["out_ms"]),
    )


_dump = json.JSONEncoder(ensure_ascii=False).encode
