"""What became of a caption file's cues, and how they are kept apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from assembler.captions.caption_file import FileCue
from assembler.captions.files import frame_at, millisecond
from assembler.captions.record import Record

State = Literal["kept", "moved", "re-timed", "reworded", "new", "set aside"]


@dataclass(frozen=True, slots=True)
class Retimed:
    """A cue of the new file. was: the cue of the old one it comes from. by_hand: it carries a correction.
    look: what a person should look at, or empty."""

    start_ms: int
    end_ms: int
    lines: tuple[str, ...]
    state: State
    was: FileCue | None = None
    by_hand: bool = False
    look: str = ""
    first_word: int | None = None
    last_word: int | None = None
    segment: str = ""


@dataclass(frozen=True, slots=True)
class SetAside:
    """A cue of the old file that has no place now, and why."""

    was: FileCue
    why: str


@dataclass(frozen=True, slots=True)
class Result:
    """The new file's cues in order, what was set aside by this run, cues that went into others when their
    words changed, the new record, and whether nothing had to be done."""

    cues: tuple[Retimed, ...]
    aside: tuple[SetAside, ...]
    replaced: tuple[FileCue, ...]
    restored: int
    record: Record
    unchanged: bool


def part(cues: Sequence[Retimed], rate: Fraction, frames: int, gap_frames: int) -> list[Retimed | None]:
    """Cues in order that do not overlap and keep their gap where there is room; None where there is none."""
    placed: list[Retimed | None] = []
    before: int | None = None  # index in `placed` of the last cue that stands
    for cue in cues:
        start, end = frame_at(cue.start_ms, rate), min(frame_at(cue.end_ms, rate), frames)
        if before is not None:
            last = placed[before]
            assert last is not None
            last_start, last_end = frame_at(last.start_ms, rate), frame_at(last.end_ms, rate)
            if last_end + gap_frames > start and (last.by_hand or cue.by_hand or last_end > start):
                last_end = max(last_start + 1, min(last_end, start - gap_frames))
                placed[before] = _ending(last, last_end, rate)
                start = max(start, last_end + (gap_frames if last_end + gap_frames < end else 0))
        if start >= end or start >= frames:
            end = min(frames, start + 1)
        if start >= frames:
            placed.append(None)
            continue
        moved = cue
        if start != frame_at(cue.start_ms, rate):
            moved = replace(moved, start_ms=millisecond(start, rate))
        moved = _ending(moved, end, rate)
        if cue.was is not None and cue.state in ("kept", "moved", "re-timed"):
            moved = replace(moved, state=moved_state(cue.was, moved.start_ms, moved.end_ms))
        before = len(placed)
        placed.append(moved)
    return placed


def _ending(cue: Retimed, end_frame: int, rate: Fraction) -> Retimed:
    if end_frame == frame_at(cue.end_ms, rate):
        return cue
    moved = replace(cue, end_ms=millisecond(end_frame, rate))
    if cue.was is not None and cue.state in ("kept", "moved", "re-timed"):
        moved = replace(moved, state=moved_state(cue.was, moved.start_ms, moved.end_ms))
    return moved


def moved_state(was: FileCue, start_ms: int, end_ms: int) -> State:
    if (was.start_ms, was.end_ms) == (start_ms, end_ms):
        return "kept"
    same_length = abs((was.end_ms - was.start_ms) - (end_ms - start_ms)) <= 1
    return "moved" if same_length else "re-timed"
