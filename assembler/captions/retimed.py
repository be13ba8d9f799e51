"""What became of a caption file's cues, and how they are kept apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from assembler.captions.caption_file import FileCue
from assembler.captions.files import frame_at, millisecond
from assembler.captions.limits import Limits
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


def part(
    cues: Sequence[Retimed], starts: Sequence[int], rate: Fraction, frames: int, limits: Limits
) -> list[Retimed | None]:
    """Cues in order that do not overlap and keep their gap where there is room; None where there is none.

    starts: the frame each word of the script starts at; no cue is cut off before its words start.
    """
    gap, least = limits.gap_frames, limits.min_frames(rate)
    placed: list[Retimed | None] = []
    before: int | None = None  # index in `placed` of the last cue that stands
    for cue in cues:
        wanted = frame_at(cue.start_ms, rate)
        start, end = wanted, min(frame_at(cue.end_ms, rate), frames)
        if before is not None:
            last = placed[before]
            assert last is not None
            last_start, last_end = frame_at(last.start_ms, rate), frame_at(last.end_ms, rate)
            if last_end + gap > start and (last.by_hand or cue.by_hand or last_end > start):
                edge = start - gap
                # What stands for words starts with them; what does not gives way, but never wholly.
                few = min(least if last.first_word is not None else least // 2, last_end - last_start)
                if edge - last_start < few:
                    edge = max(edge, min(last_start + few, (last_start + end - gap) // 2))
                if last.first_word is not None:
                    edge = max(edge, starts[last.first_word] + 1)
                last_end = max(last_start + 1, min(last_end, edge))
                placed[before] = _ending(last, last_end, rate)
                start = max(start, last_end + gap)
        if start >= end:
            end = min(frames, start + max(1, min(least // 2, end - wanted)))
        if start >= frames:
            placed.append(None)
            continue
        moved = cue
        if start != wanted:
            moved = replace(moved, start_ms=millisecond(start, rate))
        before_ms = 0 if before is None or (last := placed[before]) is None else last.end_ms
        if moved.start_ms < before_ms:  # both lie within one frame
            moved = replace(moved, start_ms=before_ms)
        moved = _ending(moved, end, rate)
        if cue.was is not None and moved is not cue and cue.state in ("kept", "moved", "re-timed"):
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
    """What a cue with unchanged text became."""
    if (was.start_ms, was.end_ms) == (start_ms, end_ms):
        return "kept"
    same_length = abs((was.end_ms - was.start_ms) - (end_ms - start_ms)) <= 1
    return "moved" if same_length else "re-timed"
