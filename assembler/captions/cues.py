"""Cues from the timeline: what is written when, in whole programme frames.

The words and their times come from the placed narration lines; fit.py chooses the breaks. Here the
cues of all segments are laid on one programme: none overlaps another, and a start or end that
falls near a shot change moves onto it where that breaks nothing.
"""

from __future__ import annotations

import unicodedata
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import groupby, pairwise
from math import floor
from typing import NamedTuple

from assembler.captions.breaks import BreakCosts
from assembler.captions.fit import Held, Run, choose, most_frame
from assembler.captions.limits import Limits, characters, limits_from, reading_speed
from assembler.timeline.model import PlacedLine, PlacedSegment, Timeline
from assembler.timing.rates import SAMPLE_RATE


@dataclass(frozen=True, slots=True)
class Cue:
    """Caption lines shown from start_frame up to, but not including, end_frame.

    first_word of narration line `line` (counted from 1) to last_word, both included and counted
    from 0 in the line's speech. A cue of several short lines ends in `last_line`; None = in `line`.
    marked: the lines as they stand in a person's SubRip file, where they hold markup; empty = as `lines`.
    file_line: the line of that file at which a cue stands that the person wrote or corrected; 0 = of none.
    """

    start_frame: int
    end_frame: int
    lines: tuple[str, ...]
    segment: str
    line: int
    first_word: int
    last_word: int
    last_line: int | None = None
    marked: tuple[str, ...] = ()
    file_line: int = field(default=0, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class HeldWords:
    """Words of one segment that stand together already: first_word of narration line `line` to last_word of
    `last_line`, both included. shown False: they have no cue. breaks: how many of its words are shown up to the
    end of each caption line, where that is known."""

    segment: str
    line: int
    first_word: int
    last_line: int
    last_word: int
    shown: bool = True
    breaks: tuple[int, ...] | None = None


class _Word(NamedTuple):
    """A written word on programme frames. first, last: its index in the speech; words that hold
    nothing to see are counted to their neighbour."""

    text: str
    width: int
    line: int
    first: int
    last: int
    start_frame: int
    end_frame: int


@dataclass(frozen=True, slots=True)
class _Laid:
    """A cue with what bounds its moves: its last word's end and the span of its segment."""

    cue: Cue
    natural_end: int
    segment: PlacedSegment


def make_cues(
    timeline: Timeline, limits: Limits | None = None, held: Iterable[HeldWords] = ()
) -> tuple[Cue, ...]:
    """The programme's cues in order; every written word is in exactly one of them.

    limits: None = those the storyboard names. held: words whose cue is decided; what cannot stand so
    (words that are not there, or not said one after the other) is left to be decided here. Words said
    after the programme's last frame have no cue, since nothing is shown there.
    """
    kept = limits or limits_from(timeline.storyboard.captions)
    rate = timeline.rate
    runs = list(_runs(timeline))
    laid: list[_Laid] = []
    decided: dict[str, list[HeldWords]] = {}
    for each in held:
        decided.setdefault(each.segment, []).append(each)
    for number, (segment, words) in enumerate(runs):
        following = runs[number + 1][1][0].start_frame if number + 1 < len(runs) else None
        lines = [word.line for word in words]
        run = Run(
            widths=[word.width for word in words],
            starts=[word.start_frame for word in words],
            ends=[word.end_frame for word in words],
            lines=lines,
            breaks=BreakCosts([word.text for word in words], lines, timeline.storyboard.language),
            fence_frame=segment.span.end_frame,
            next_frame=following,
        )
        standing, hidden = _held(words, decided.get(segment.segment.id, ()))
        for piece in choose(run, kept, rate, standing):
            if piece.first in hidden:
                continue
            chosen = words[piece.first : piece.stop]
            edges = (piece.first, *piece.splits, piece.stop)
            texts = tuple(" ".join(word.text for word in words[a:b]) for a, b in pairwise(edges))
            cue = Cue(
                start_frame=piece.start_frame,
                end_frame=piece.end_frame,
                lines=texts,
                segment=segment.segment.id,
                line=chosen[0].line,
                first_word=chosen[0].first,
                last_word=chosen[-1].last,
                last_line=chosen[-1].line if chosen[-1].line != chosen[0].line else None,
            )
            laid.append(_Laid(cue, chosen[-1].end_frame, segment))
    _part(laid, kept.gap_frames)
    _snap(laid, _shot_changes(timeline), kept, rate)
    return tuple(_within(laid, timeline.frames))


def frame_of_sample(sample: int, rate: Fraction) -> int:
    """The frame whose share of the sound holds a sample (counted by `sample_of_frame`)."""
    return -(-(2 * sample + 1) * rate.numerator // (2 * SAMPLE_RATE * rate.denominator)) - 1


def frame_after(sample: int, rate: Fraction) -> int:
    """The first frame that begins at or after a sample."""
    return -((1 - 2 * sample) * rate.numerator // (2 * SAMPLE_RATE * rate.denominator))


def _held(words: Sequence[_Word], decided: Iterable[HeldWords]) -> tuple[list[Held], set[int]]:
    """The decided cues that can stand in a run, as its words, and which of them are not shown."""
    if not decided:
        return [], set()
    first_at = {(word.line, index): at for at, word in enumerate(words) for index in range(word.first, word.last + 1)}
    found: list[tuple[int, int, HeldWords]] = []
    for each in decided:
        first = first_at.get((each.line, each.first_word))
        last = first_at.get((each.last_line, each.last_word))
        if first is not None and last is not None and first <= last:
            found.append((first, last + 1, each))
    standing: list[Held] = []
    hidden: set[int] = set()
    for first, stop, each in sorted(found, key=lambda one: one[:2]):
        if standing and first < standing[-1].stop:
            continue
        breaks = each.breaks
        known = breaks is not None and breaks[-1:] == (stop - first,)
        standing.append(Held(first, stop, tuple(first + at for at in breaks[:-1]) if breaks and known else None))
        if not each.shown:
            hidden.add(first)
    return standing, hidden


def _runs(timeline: Timeline) -> Iterator[tuple[PlacedSegment, list[_Word]]]:
    """The words of each segment in the order they are said."""
    said = [(segment, line) for segment in timeline.segments for line in segment.lines]
    said.sort(key=lambda pair: pair[1].start_sample)
    latest = 0
    for _, group in groupby(said, key=lambda pair: id(pair[0])):
        lines = list(group)
        words: list[_Word] = []
        for _, line in lines:
            for word in _words(line, timeline.rate):
                # Estimated times may run backwards by a little; captions may not.
                start = max(word.start_frame, latest)
                end = max(word.end_frame, start + 1)
                if start != word.start_frame or end != word.end_frame:
                    word = word._replace(start_frame=start, end_frame=end)
                words.append(word)
                latest = start
        if words:
            yield lines[0][0], words


def _words(placed: PlacedLine, rate: Fraction) -> list[_Word]:
    found: list[_Word] = []
    first = 0
    for index, word in enumerate(placed.speech.words):
        text = seen(word.text)
        if text:
            start = frame_of_sample(placed.start_sample + word.start_sample, rate)
            end = frame_after(placed.start_sample + word.end_sample, rate)
            found.append(_Word(text, characters(text), placed.number, first, index, start, end))
            first = index + 1
        elif found:
            found[-1] = found[-1]._replace(last=index)
            first = index + 1
    return found


def seen(text: str) -> str:
    """A text on one line, without control characters and needless space; "" if nothing of it shows."""
    if text.isascii() and text.isprintable() and text and " " not in text:
        return text
    plain = " ".join(text.split())
    if not plain.isprintable():
        kept = (char for char in plain if unicodedata.category(char) not in ("Cc", "Cs"))
        plain = " ".join("".join(kept).split())
    return plain if characters(plain) else ""


def _part(laid: list[_Laid], gap_frames: int) -> None:
    """Push cues apart that would overlap, which only happens where lines are said over each other."""
    free = 0
    for index, item in enumerate(laid):
        cue = item.cue
        if cue.start_frame < free:
            end = max(cue.end_frame, free + 1)
            laid[index] = replace(item, cue=replace(cue, start_frame=free, end_frame=end))
        free = laid[index].cue.end_frame + gap_frames


def _shot_changes(timeline: Timeline) -> list[int]:
    changes = {segment.span.start_frame for segment in timeline.segments}
    changes.update(shot.span.start_frame for segment in timeline.segments for shot in segment.shots)
    changes.add(timeline.frames)
    return sorted(changes)


def _snap(laid: list[_Laid], changes: Sequence[int], limits: Limits, rate: Fraction) -> None:
    """Move starts and ends onto shot changes a few frames away."""
    reach = floor(limits.snap_s * rate)
    join = floor(limits.join_s * rate)
    gap = limits.gap_frames
    for index, here in enumerate(laid):
        change = _nearest(changes, here.cue.start_frame, reach)
        if change is None:
            continue
        moved = _moved(here, change, here.cue.end_frame, limits, rate)
        if moved is not None and index and change - laid[index - 1].cue.end_frame < join:
            # The cue before ends just before this one, so it moves with it.
            before = laid[index - 1]
            closed = _moved(before, before.cue.start_frame, change - gap, limits, rate)
            if closed is None:
                continue
            laid[index - 1] = closed
        laid[index] = moved or here
    for index, here in enumerate(laid):
        change = _nearest(changes, here.cue.end_frame, reach)
        if change is None:
            continue
        left = laid[index + 1].cue.start_frame - change if index + 1 < len(laid) else join
        if left == gap or left >= join:
            laid[index] = _moved(here, here.cue.start_frame, change, limits, rate) or here


def _nearest(changes: Sequence[int], frame: int, reach: int) -> int | None:
    at = bisect_left(changes, frame)
    near = [change for change in changes[max(0, at - 1) : at + 1] if abs(change - frame) <= reach]
    return min(near, key=lambda change: (abs(change - frame), change), default=None)


def _moved(item: _Laid, start: int, end: int, limits: Limits, rate: Fraction) -> _Laid | None:
    """The cue with new ends, or None where that would make it worse to read."""
    cue, frames = item.cue, end - start
    before = cue.end_frame - cue.start_frame
    if frames < before:
        if frames < limits.min_frames(rate) or reading_speed(cue.lines, frames, rate) > limits.target_cps:
            return None
    elif frames > before and frames > limits.max_frames(rate):
        return None
    if end > cue.end_frame and end > most_frame(item.natural_end, item.segment.span.end_frame, limits, rate):
        return None
    return replace(item, cue=replace(cue, start_frame=start, end_frame=end))


def _within(laid: Iterable[_Laid], frames: int) -> Iterator[Cue]:
    for item in laid:
        if item.cue.start_frame < frames:
            yield replace(item.cue, end_frame=min(item.cue.end_frame, frames))
