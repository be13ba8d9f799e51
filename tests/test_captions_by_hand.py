"""What a person does to a caption file besides correcting words, carried through edits of the programme."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import product

from captions_edits import (
    BY_HAND,
    EDITS,
    as_file,
    board,
    by_hand,
    demand_nothing_lost,
    demand_sound,
    demand_undone,
    edit,
    stored,
)
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assembler.captions.binding import shown_words
from assembler.captions.moments import moment_of, place
from assembler.captions.record import Record, Shown, Stretch
from assembler.captions.retime import first_file, retime
from assembler.captions.script import Script

SEEDS = st.integers(0, 10**9)


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(SEEDS, st.lists(st.sampled_from(BY_HAND), min_size=1, max_size=5),
       st.lists(st.sampled_from(EDITS), min_size=1, max_size=4))  # fmt: skip
def test_any_hand_and_any_edits_leave_a_sound_file_and_lose_nothing(
    seed: int, done: list[str], edits: list[str]
) -> None:
    rng = random.Random(seed)
    here = board(rng, 3)
    result = first_file(here.timeline())
    record, cues = stored(result.record), by_hand(as_file(result), done, rng)
    for number, kind in enumerate(edits):
        here = edit(here, kind, rng)
        timeline = here.timeline()
        result = retime(timeline, record, cues)
        demand_sound(result, timeline)
        demand_nothing_lost(cues, result)
        record, cues = stored(result.record), as_file(result)
        again = retime(timeline, record, cues)
        assert again.unchanged
        assert (as_file(again), again.record) == (cues, record)
        cues = by_hand(cues, [rng.choice(BY_HAND)], rng, f"{number}x")


@settings(max_examples=50, deadline=None)
@given(SEEDS, st.lists(st.sampled_from(BY_HAND), min_size=1, max_size=4), st.sampled_from(EDITS))
def test_an_edit_undone_gives_back_what_was_set_by_hand(seed: int, done: list[str], kind: str) -> None:
    rng = random.Random(seed)
    here = board(rng, 3)
    first = first_file(here.timeline())
    cues = by_hand(as_file(first), done, rng)
    there = retime(edit(here, kind, rng).timeline(), stored(first.record), cues)
    back = retime(here.timeline(), stored(there.record), as_file(there))
    parted = "join" in done and kind not in ("pace", "rate", "retake", "limits", "rename", "duplicate")
    if parted or ("add" in done and kind == "move line"):
        # A cue over two lines ends where the lines are parted, and one without words goes to where the last line of
        # its segment went.
        demand_sound(back, here.timeline())
        return
    demand_undone(first, cues, back)


def test_an_edit_undone_gives_back_the_file_byte_for_byte_in_nearly_all_cases() -> None:
    exact = Counter[bool]()
    for seed, kind in product(range(8), EDITS):
        rng = random.Random(seed)
        here = board(rng, 3)
        first = first_file(here.timeline())
        done = rng.choices([each for each in BY_HAND if each not in ("join", "add")], k=rng.randint(1, 4))
        cues = by_hand(as_file(first), done, rng)
        there = retime(edit(here, kind, rng).timeline(), stored(first.record), cues)
        exact[demand_undone(first, cues, retime(here.timeline(), stored(there.record), as_file(there)))] += 1
    assert exact[False] <= exact.total() // 100


def shown(start: int, end: int, at_s: int, speed: Fraction) -> Stretch:
    return Stretch("walk", start, end, (Shown(start, end, "ash", Fraction(at_s), speed),))


def test_a_cue_without_words_goes_with_the_footage_it_stands_on() -> None:
    rate = Fraction(50)
    script = Script((), (), (), ())
    record = Record(rate, "", "", script, (shown(0, 500, 10, Fraction(1)),), ())
    moment = moment_of(record, Fraction(4))
    assert moment is not None
    assert (moment.capture, moment.capture_s) == ("ash", 14)
    # The segment starts 2 s later; its footage 1 s further in; at half the speed; without the moment; frozen.
    assert place(moment, [shown(100, 600, 10, Fraction(1))], {}, rate) == 6
    assert place(moment, [shown(0, 500, 11, Fraction(1))], {}, rate) == 3
    assert place(moment, [shown(0, 500, 10, Fraction(1, 2))], {}, rate) == 8
    assert place(moment, [shown(0, 500, 15, Fraction(1))], {}, rate) is None
    assert place(moment, [shown(0, 500, 14, Fraction(0))], {}, rate) is None
    # Another segment shows it now, or the segment has another id.
    renamed = replace(shown(0, 500, 10, Fraction(1)), id="stroll")
    assert place(moment, [renamed], {"walk": "stroll"}, rate) == 4
    assert place(moment, [renamed], {}, rate) is None


def test_words_that_only_look_like_markup_count_as_words() -> None:
    # Source: SubRip has no standard; what players act on is b, i, u, s and font.
    lines = ("<i>Press</i> <enter> at the", "{\\an8}<b>quay</b> < 5 {x}")
    assert shown_words(lines) == ["Press", "<enter>", "at", "the", "quay", "<", "5", "{x}"]
