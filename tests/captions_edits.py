"""Programmes as people edit them, and caption files as people correct them, by chance: for the tests of re-timing."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from captions_maker import programme, spoken

from assembler.captions.caption_file import FileCue
from assembler.captions.files import frame_at, millisecond
from assembler.captions.record import Record, from_json, to_json
from assembler.captions.retime import limits_of
from assembler.captions.retimed import Result, Retimed
from assembler.timeline.model import Timeline

SIXTY = Fraction(60)
NOUNS = ["Ash", "Birch", "the harbour", "the ferry", "a lamp", "the quay", "the window", "the far pier", "moonlight"]
VERBS = ["holds", "shows", "draws", "repeats", "loses", "keeps", "misses", "follows"]
ENDS = ["sixty frames a second", "every second picture", "1440p", "the water", "a thin line", "16.7 ms", "its place",
        "twice as long", "nothing at all", "the same moment, though later"]  # fmt: skip


@dataclass
class Board:
    """What a person edits: segments of lines, by id."""

    segments: list[tuple[str, list[str]]]
    rate: Fraction = SIXTY
    pace: float = 13.0
    made: int = 0
    limits: str = "online"
    takes: dict[str, float] = field(default_factory=dict)
    """Lines that were recorded at a pace of their own, in characters a second."""

    def timeline(self) -> Timeline:
        return programme(
            [[spoken(line, self.takes.get(line, self.pace)) for line in lines] for _, lines in self.segments],
            self.rate, ids=[name for name, _ in self.segments], limits=self.limits,
        )  # fmt: skip

    def copy(self) -> Board:
        return replace(self, segments=[(name, list(lines)) for name, lines in self.segments], takes=dict(self.takes))


def sentence(rng: random.Random) -> str:
    parts = [f"{rng.choice(NOUNS)} {rng.choice(VERBS)} {rng.choice(ENDS)}" for _ in range(rng.randint(1, 3))]
    joined = ", and ".join(parts)
    return joined[0].upper() + joined[1:] + "."


def board(rng: random.Random, segments: int = 4) -> Board:
    made = [(f"s{number}", [sentence(rng) for _ in range(rng.randint(1, 3))]) for number in range(segments)]
    return Board(made, made=segments)


EDITS = ("move", "delete", "insert", "duplicate", "reword", "add line", "drop line", "move line", "split", "rename",
         "pace", "rate", "retake", "limits")  # fmt: skip


def edit(board: Board, kind: str, rng: random.Random) -> Board:
    """The board after one edit."""
    made = board.copy()
    at = rng.randrange(len(made.segments))
    name, lines = made.segments[at]
    made.made += 1
    fresh = f"s{made.made}"
    if kind == "move":
        made.segments.insert(rng.randrange(len(made.segments)), made.segments.pop(at))
    elif kind == "delete" and len(made.segments) > 1:
        made.segments.pop(at)
    elif kind == "insert":
        made.segments.insert(at, (fresh, [sentence(rng)]))
    elif kind == "duplicate":
        made.segments.insert(at + 1, (fresh, list(lines)))
    elif kind == "reword":
        number = rng.randrange(len(lines))
        words = lines[number].split()
        words[rng.randrange(len(words))] = rng.choice(["tomorrow", "1080p", "seldom"])
        lines[number] = " ".join(words)
    elif kind == "add line":
        lines.insert(rng.randint(0, len(lines)), sentence(rng))
    elif kind == "drop line" and len(lines) > 1:
        lines.pop(rng.randrange(len(lines)))
    elif kind == "move line":
        line = lines.pop(rng.randrange(len(lines)))
        made.segments[rng.randrange(len(made.segments))][1].append(line)
        made.segments = [each for each in made.segments if each[1]]
    elif kind == "split" and len(lines) > 1:
        made.segments[at] = (name, lines[:1])
        made.segments.insert(at + 1, (fresh, lines[1:]))
    elif kind == "rename":
        made.segments[at] = (fresh, lines)
    elif kind == "pace":
        made.pace = rng.choice([10.0, 12.0, 15.0])
    elif kind == "rate":
        made.rate = rng.choice([SIXTY, Fraction(24), Fraction(60000, 1001), Fraction(50)])
    elif kind == "retake":
        made.takes[rng.choice(lines)] = rng.choice([8.0, 11.0, 16.0, 22.0])
    elif kind == "limits":
        made.limits = rng.choice(["broadcast", "slow", "online"])
    return made


def as_file(result: Result) -> list[FileCue]:
    return [FileCue(cue.start_ms, cue.end_ms, cue.lines, number) for number, cue in enumerate(result.cues, 1)]


def stored(record: Record) -> Record:
    """The record as it comes back from its file."""
    back = from_json(to_json(record), Path("en.timing.json"))
    assert back == record
    return back


def correct(cue: FileCue, kind: str, mark: str) -> FileCue:
    """A cue as a person leaves it. mark: a word that stands in no narration."""
    words = " ".join(cue.lines).split()
    if kind == "word":
        return replace(cue, lines=(" ".join([*words[:-1], mark]),))
    if kind == "tag":
        return replace(cue, lines=(f"<i>{words[0]}</i> {mark}", *([" ".join(words[1:])] if words[1:] else [])))
    if kind == "break" and len(words) > 1:
        return replace(cue, lines=(words[0] + f" {mark}", " ".join(words[1:])))
    return cue


def corrections(cues: Sequence[FileCue], share: int, rng: random.Random) -> tuple[list[FileCue], list[str]]:
    """A file with every `share`th cue corrected, and the words by which to know them."""
    made, marks = [], []
    for at, cue in enumerate(cues):
        if at % share == 0:
            mark = f"corrected{at}"
            cue = correct(cue, rng.choice(["word", "tag", "break"]), mark)
            if any(mark in line for line in cue.lines):
                marks.append(mark)
        made.append(cue)
    return made, marks


ROOM_MS = 100
"""More than the least gap at every rate."""
BY_HAND = ("late", "early", "longer", "shorter", "delete", "add", "join", "divide", "word", "tag", "break")


def by_hand(cues: Sequence[FileCue], kinds: Sequence[str], rng: random.Random, name: str = "") -> list[FileCue]:
    """A file after a person did each of some things to one of its cues; the times stay in order."""
    made = list(cues)
    for number, kind in enumerate(kinds):
        if not made:
            break
        at = rng.randrange(len(made))
        cue = made[at]
        length = cue.end_ms - cue.start_ms
        before = made[at - 1].end_ms if at else 0
        after = made[at + 1].start_ms if at + 1 < len(made) else cue.end_ms
        words = " ".join(cue.lines).split()
        if kind == "late":
            made[at] = replace(cue, start_ms=cue.start_ms + min(300, length // 3))
        elif kind == "early":
            made[at] = replace(cue, start_ms=min(cue.start_ms, max(before + ROOM_MS, cue.start_ms - 250)))
        elif kind == "longer":
            made[at] = replace(cue, end_ms=max(cue.end_ms, min(after - ROOM_MS, cue.end_ms + 400)))
        elif kind == "shorter":
            made[at] = replace(cue, end_ms=cue.end_ms - min(300, length // 3))
        elif kind == "delete" and len(made) > 3:
            made.pop(at)
        elif kind == "add" and length > 1000:
            made[at] = replace(cue, end_ms=cue.end_ms - 600)
            made.insert(at + 1, FileCue(cue.end_ms - 500, cue.end_ms - 100, (f"[rain {name}{number}]",)))
        elif kind == "join" and at + 1 < len(made):
            other = made.pop(at + 1)
            made[at] = replace(cue, end_ms=other.end_ms, lines=(*cue.lines, *other.lines))
        elif kind == "divide" and len(words) > 1 and length > 800:
            half = len(words) // 2
            middle = cue.start_ms + length * len(" ".join(words[:half])) // len(" ".join(words))
            if not cue.start_ms + 3 * ROOM_MS < middle < cue.end_ms - 3 * ROOM_MS:
                continue
            made[at] = replace(cue, end_ms=middle - ROOM_MS, lines=(" ".join(words[:half]),))
            made.insert(at + 1, replace(cue, start_ms=middle, lines=(" ".join(words[half:]),)))
        elif kind in ("word", "tag", "break"):
            made[at] = correct(cue, kind, f"mark{name}{number}")
    return [replace(cue, line_number=number) for number, cue in enumerate(made, 1)]


def set_off(cue: Retimed, result: Result) -> bool:
    """Whether a person set a time of a cue."""
    recorded = result.record.cues[result.cues.index(cue)]
    return recorded.in_ms is not None or recorded.out_ms is not None


def demand_sound(result: Result, timeline: Timeline) -> None:
    """What holds for every file written: order, no overlap, inside the programme, cues on their words."""
    end_ms = millisecond(timeline.frames, timeline.rate)
    for before, after in pairwise(result.cues):
        assert before.start_ms < before.end_ms <= after.start_ms < after.end_ms
    limits, rate = limits_of(timeline), timeline.rate
    if not result.unchanged:
        for before, after in pairwise(result.cues):
            gap = frame_at(after.start_ms, rate) - frame_at(before.end_ms, rate)
            assert gap >= limits.gap_frames
    script = result.record.script
    for cue in result.cues:
        assert 0 <= cue.start_ms < cue.end_ms <= end_ms
        if cue.first_word is None or cue.last_word is None:
            continue
        first, last = script.starts[cue.first_word], script.ends[cue.last_word]
        if not (cue.by_hand and set_off(cue, result)):
            assert frame_at(cue.start_ms, rate) < last
            assert frame_at(cue.end_ms, rate) > first
        if not cue.by_hand:
            near = round(limits.snap_s * rate)
            assert frame_at(cue.start_ms, rate) >= first - near
            assert frame_at(cue.end_ms, rate) <= last + round((limits.hang_s + limits.snap_s) * rate)
    # Every word that is said stands in exactly one cue.
    covered = Counter(
        word
        for cue in result.cues
        if cue.first_word is not None and cue.last_word is not None
        for word in range(cue.first_word, cue.last_word + 1)
    )
    covered.update(word for first, last in result.record.dropped for word in range(first, last + 1))
    assert covered == Counter(range(len(script.words)))


def demand_nothing_lost(was: Sequence[FileCue], result: Result) -> None:
    """Every old cue goes on, was set aside, or gave its words to cues that were made anew."""
    carried = {cue.was.line_number for cue in result.cues if cue.was}
    listed = {each.was.line_number for each in result.aside} | {cue.line_number for cue in result.replaced}
    assert {cue.line_number for cue in was} <= carried | listed


def demand_undone(first: Result, cues: Sequence[FileCue], back: Result) -> bool:
    """After an edit and its undoing a person's own cues are what they were, byte for byte, and the text is. Returns
    whether the file is, too: where nobody touched the cues, words may be laid anew as well another way."""
    auto = {(cue.start_ms, cue.end_ms, cue.lines) for cue in first.cues}
    was, now = [[(cue.start_ms, cue.end_ms, cue.lines) for cue in file] for file in (cues, back.cues)]
    assert {cue for cue in was if cue not in auto} <= set(now)
    text, text_now = [" ".join(line for _, _, lines in file for line in lines) for file in (was, now)]
    assert text_now == text
    return now == was
