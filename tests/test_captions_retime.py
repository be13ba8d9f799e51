"""Corrected captions through edits: what must hold whatever is edited, and single cases."""

from __future__ import annotations

import random

import pytest
from captions_edits import (
    EDITS,
    as_file,
    board,
    corrections,
    demand_nothing_lost,
    demand_sound,
    demand_undone,
    edit,
    stored,
)
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assembler.captions.retime import first_file, retime
from assembler.captions.script import plain_words


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
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


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**9), st.sampled_from(EDITS))
def test_an_edit_undone_gives_the_file_back(seed: int, kind: str) -> None:
    rng = random.Random(seed)
    here = board(rng)
    first = first_file(here.timeline())
    cues, _ = corrections(as_file(first), 3, rng)
    there = retime(edit(here, kind, rng).timeline(), stored(first.record), cues)
    back = retime(here.timeline(), stored(there.record), as_file(there))
    demand_undone(first, cues, back)


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
    script = result.record.script
    lines = [plain_words(script.words[line.first : line.stop]) for line in script.lines]
    for each in record.aside:
        # What stands aside does so because its words are gone, not for convenience. The same words as a piece of
        # another line were always another cue's.
        assert not each.by_hand or plain_words(each.words) not in lines
