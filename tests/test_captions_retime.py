"""Corrected captions through edits: what must hold whatever is edited, and single cases."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from captions_maker import programme
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assembler.captions.caption_file import FileCue
from assembler.captions.files import frame_at, millisecond
from assembler.captions.limits import ONLINE
from assembler.captions.record import Record, from_json, to_json
from assembler.captions.retime import Result, first_file, retime
from assembler.captions.script import plain_words
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

    def timeline(self) -> Timeline:
        return programme(
            [lines for _, lines in self.segments], self.rate, ids=[name for name, _ in self.segments],
            chars_per_second=self.pace,
        )  # fmt: skip

    def copy(self) -> Board:
        return Board([(name, list(lines)) for name, lines in self.segments], self.rate, self.pace, self.made)


def sentence(rng: random.Random) -> str:
    parts = [f"{rng.choice(NOUNS)} {rng.choice(VERBS)} {rng.choice(ENDS)}" for _ in range(rng.randint(1, 3))]
    joined = ", and ".join(parts)
    return joined[0].upper() + joined[1:] + "."


def board(rng: random.Random, segments: int = 4) -> Board:
    made = [(f"s{number}", [sentence(rng) for _ in range(rng.randint(1, 3))]) for number in range(segments)]
    return Board(made, made=segments)


EDITS = ("move", "delete", "insert", "duplicate", "reword", "add line", "drop line", "move line", "split", "rename",
         "pace", "rate")  # fmt: skip


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
    if kind == "late":
        return replace(cue, start_ms=cue.start_ms + min(150, (cue.end_ms - cue.start_ms) // 3))
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


def demand_sound(result: Result, timeline: Timeline) -> None:
    """What holds for every file written: order, no overlap, inside the programme, cues on their words."""
    end_ms = millisecond(timeline.frames, timeline.rate)
    for before, after in pairwise(result.cues):
        assert before.start_ms < before.end_ms <= after.start_ms < after.end_ms
    script = result.record.script
    for cue in result.cues:
        assert 0 <= cue.start_ms < cue.end_ms <= end_ms
        if cue.first_word is None or cue.last_word is None:
            continue
        if not cue.by_hand:
            first, last = script.starts[cue.first_word], script.ends[cue.last_word]
            near = round(ONLINE.snap_s * timeline.rate)
            assert frame_at(cue.start_ms, timeline.rate) >= first - near
            assert frame_at(cue.end_ms, timeline.rate) <= last + round((ONLINE.hang_s + ONLINE.snap_s) * timeline.rate)
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


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 10**9), st.lists(st.sampled_from(EDITS), min_size=1, max_size=5))
def test_any_edits_leave_a_sound_file_and_lose_nothing(seed: int, kinds: list[str]) -> None:
    rng = random.Random(seed)
    here = board(rng)
    result = first_file(here.timeline())
    cues, _ = corrections(as_file(result), 3, rng)
    record = stored(result.record)
    for kind in kinds:
        here = edit(here, kind, rng)
        timeline = here.timeline()
        result = retime(timeline, record, cues)
        demand_sound(result, timeline)
        demand_nothing_lost(cues, result)
        record, cues = stored(result.record), as_file(result)
        again = retime(timeline, record, cues)
        assert again.unchanged
        assert as_file(again) == cues
        assert again.record == record


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**9), st.sampled_from(EDITS))
def test_an_edit_undone_gives_the_file_back(seed: int, kind: str) -> None:
    rng = random.Random(seed)
    here = board(rng)
    first = first_file(here.timeline())
    cues, _ = corrections(as_file(first), 3, rng)
    there = retime(edit(here, kind, rng).timeline(), stored(first.record), cues)
    back = retime(here.timeline(), stored(there.record), as_file(there))
    if kind == "reword":
        # A correction and a rewording of the same words leave the narration's words beside the correction.
        assert len(back.cues) == len(cues)
        return
    assert [(cue.start_ms, cue.end_ms, cue.lines) for cue in back.cues] == [
        (cue.start_ms, cue.end_ms, cue.lines) for cue in cues
    ]


@pytest.mark.parametrize("seed", range(12))
def test_corrections_of_a_third_of_the_cues_survive_ten_mixed_edits(seed: int) -> None:
    rng = random.Random(seed)
    here = board(rng, 6)
    result = first_file(here.timeline())
    cues, marks = corrections(as_file(result), 3, rng)
    assert len(marks) >= 4
    record = stored(result.record)
    for kind in rng.sample(EDITS, 10):
        here = edit(here, kind, rng)
        result = retime(here.timeline(), record, cues)
        record, cues = stored(result.record), as_file(result)
    text = " ".join(line for cue in cues for line in cue.lines)
    aside = " ".join(line for each in record.aside for line in each.lines)
    for mark in marks:
        assert (mark in text) or (mark in aside)
    said = plain_words(result.record.script.words)
    for each in record.aside:
        # What stands aside does so because its words are gone, not for convenience.
        words = plain_words(each.words)
        assert not any(said[at : at + len(words)] == words for at in range(len(said))) or not each.by_hand
