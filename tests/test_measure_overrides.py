"""Verdicts by hand: what is read, what is refused and where, and what they change."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.errors import StoryboardError
from assembler.measure.clock import Clock
from assembler.measure.figures import figures
from assembler.measure.model import Cadence, State
from assembler.measure.overrides import (
    ByHand,
    HandSpan,
    Mask,
    apply_overrides,
    by_hand_path,
    load_by_hand,
    read_by_hand,
    unsure_pictures,
)

SIXTY = Fraction(60)
CLOCK = Clock.even(1800, SIXTY)
WHOLE = """\
# checked on a wet Tuesday
pictures: {1234: new, 1240: repeat}
spans:
  - {from: 3.2 s, to: 4.0 s, is: still}
  - {from: 300 f, to: "00:00:06:00", is: moving}
masks: [{x: 20, y: 20, w: 200, h: 60, why: a counter}]
tears: {741: {row: 624}, 802: none}
"""


def cadence(n: int = 1800) -> Cadence:
    p = np.tile([0.9, 0.1], n // 2).astype(np.float32)
    rows, none = np.full(n, -1, dtype=np.int32), np.zeros(n, np.float32)
    return Cadence(p, np.zeros(n, np.uint8), rows, rows.copy(), none, none > 1, True, "", True, "")


def problems(text: str | bytes, clock: Clock = CLOCK) -> list[tuple[int, int, str]]:
    with pytest.raises(StoryboardError) as caught:
        read_by_hand(text, "ash.mp4.by-hand.yaml", clock, 1920)
    assert all(p.mend and p.place for p in caught.value.problems)
    assert "storyboard" not in str(caught.value)
    return [(p.place.line, p.place.column, p.what) for p in caught.value.problems]


def test_every_kind_of_verdict_is_read() -> None:
    assert read_by_hand(WHOLE, "a", CLOCK, 1920) == ByHand(
        ((1234, True), (1240, False)),
        (HandSpan(Fraction("3.2"), Fraction(4), State.STILL), HandSpan(Fraction(5), Fraction(6), State.MOVING)),
        (Mask(20, 20, 200, 60, "a counter"),),
        ((741, 624), (802, None)),
    )


def test_the_file_lies_beside_the_capture_and_may_be_missing_or_empty(tmp_path: Path) -> None:
    capture = tmp_path / "ash quay.mp4"
    assert by_hand_path(capture).name == "ash quay.mp4.by-hand.yaml"
    assert load_by_hand(capture, CLOCK) == ByHand()
    by_hand_path(capture).write_text("# nothing yet\n")
    assert load_by_hand(capture, CLOCK) == ByHand()
    by_hand_path(capture).write_text(WHOLE)
    assert len(load_by_hand(capture, CLOCK, 1920).pictures) == 2
    by_hand_path(capture).write_text("pictures: {1: maybe}\n")
    with pytest.raises(StoryboardError, match=r"ash quay.mp4.by-hand.yaml:1:15: error: .*new or repeat"):
        load_by_hand(capture, CLOCK)


@pytest.mark.parametrize(("text", "where", "part"), [
    ("pictures: {12: new, 12: repeat}", (1, 21), "written twice"),
    ("pictures: {1800: new}", (1, 12), "last one is 1799"),
    ("pictures: {first: new}", (1, 12), "cannot be the number"),
    ("pictures: {01: new}", (1, 12), "cannot be the number"),
    ("pictures: {0: repeat}", (1, 12), "cannot be a repeat"),
    ("pictures: {7: no}", (1, 15), "new or repeat"),
    ("pictures: [7]", (1, 11), "not a list"),
    ("picture: {7: new}", (1, 1), "no key `picture`"),
    ("spans: [{from: 4 s, to: 3 s, is: still}]", (1, 21), "ends before it begins"),
    ("spans: [{from: 40 s, to: 41 s, is: still}]", (1, 10), "after the capture's end"),
    ("spans: [{from: 1, to: 2 s, is: still}]", (1, 16), "no unit"),
    ("spans: [{from: 1 s, to: 2 s, is: asleep}]", (1, 34), "moving, still, dark or undecided"),
    ("spans: [{from: 1 s, is: dark}]", (1, 9), "no `to`"),
    ("spans:\n- {from: 1 s, to: 3 s, is: still}\n- {from: 2 s, to: 4 s, is: dark}", (3, 3), "overlaps the one on line"),
    ("masks: [{x: 0, y: 0, w: 10, h: 10}]", (1, 9), "no `why`"),
    ("masks: [{x: 1900, y: 0, w: 100, h: 10, why: x}]", (1, 25), "beyond the picture of 1920x1080"),
    ("masks: [{x: 0, y: 1000, w: 100, h: 100, why: x}]", (1, 33), "beyond the picture"),
    ("tears: {741: {row: 1080}}", (1, 20), "1080 rows"),
    ("tears: {741: {row: 6.5}}", (1, 20), "whole number"),
    ("tears: {741: some}", (1, 14), "none"),
    ("pictures: {9: repeat}\ntears: {9: {row: 5}}", (2, 9), "torn here and a repeat"),
    ("- 1", (1, 1), "must hold keys"),
    ("pictures: {1: new", (1, 11), "no matching"),
    ("pictures: !!python/object:os.system {1: new}", (1, 11), "cannot be used here"),
    ("a: &a [1]\nb: 1\n--- \nc: 1", (3, 1), "second document"),
])  # fmt: skip
def test_each_fault_has_its_place(text: str, where: tuple[int, int], part: str) -> None:
    found = problems(text)
    assert found[0][:2] == where and part in found[0][2], found


def test_all_faults_are_told_at_once() -> None:
    text = "pictures: {5000: new, 3: old}\nspans: [{from: 2 s, to: 1 s, is: still}]\ntears: {4: {row: 0}}\nmask: []\n"
    assert [line for line, _, _ in problems(text)] == [1, 1, 2, 3, 4]


def test_variable_timing_has_no_frames_to_count_by() -> None:
    loose = Clock(np.cumsum(np.arange(100) % 7 + 10), Fraction(1, 1000), 16, None, 1080)
    found = problems("spans: [{from: 3 f, to: 1 s, is: still}]", loose)
    assert "timing is variable" in found[0][2]
    assert read_by_hand("spans: [{from: 0.5 s, to: 1 s, is: still}]", "a", loose).spans


def test_verdicts_take_the_place_of_the_measured_ones_and_nothing_else_changes() -> None:
    before = cadence()
    after = apply_overrides(before, read_by_hand(WHOLE, "a", CLOCK), CLOCK)
    changed = np.flatnonzero(after.manual)
    np.testing.assert_array_equal(changed, [*range(192, 240), *range(300, 360), 741, 802, 1234, 1240])
    assert (after.p_new[[1234, 1240, 741]] == [1, 0, 1]).all() and not before.manual.any()
    assert (after.state[192:240] == State.STILL).all() and after.state[240] == State.MOVING
    assert (after.tear_first_row[741], after.tear_last_row[741], after.p_tear[741]) == (624, 625, 1)
    kept = ~after.manual
    for name in ("p_new", "state", "tear_first_row", "tear_last_row", "p_tear"):
        np.testing.assert_array_equal(getattr(after, name)[kept], getattr(before, name)[kept])


def test_a_hand_checked_span_loses_its_doubt() -> None:
    before = cadence(120)
    clock = Clock.even(120, SIXTY)
    judged = ByHand(pictures=tuple((k, k % 2 == 0) for k in range(120)))
    wide, narrow = figures(before, clock).average_hz, figures(apply_overrides(before, judged, clock), clock).average_hz
    assert narrow.value == wide.value == pytest.approx(30.0)
    assert (narrow.high - narrow.low) < 0.2 * (wide.high - wide.low)


def test_the_least_certain_pictures_come_first_and_judged_ones_not_at_all() -> None:
    base = cadence(100)
    base.p_new[[10, 20, 30]] = [0.5, 0.45, 0.6]
    base.state[40:] = State.STILL
    base.p_new[50] = 0.5
    assert unsure_pictures(base, 3) == (10, 20, 30)
    judged = apply_overrides(base, ByHand(pictures=((20, True),)), Clock.even(100, SIXTY))
    assert unsure_pictures(judged, 2) == (10, 30)


VERDICTS = st.fixed_dictionaries({}, optional={
    "pictures": st.dictionaries(st.integers(1, 1799), st.sampled_from(["new", "repeat"]), max_size=20),
    "masks": st.lists(st.fixed_dictionaries({
        "x": st.integers(0, 900), "y": st.integers(0, 500), "w": st.integers(1, 900), "h": st.integers(1, 500),
        "why": st.sampled_from(["counter", "clock"])}), max_size=3),
})  # fmt: skip


@given(VERDICTS)
@settings(max_examples=50)
def test_what_yaml_itself_writes_is_read_as_it_was_meant(written: dict[str, object]) -> None:
    # Source: PyYAML's own writer.
    read = read_by_hand(yaml.safe_dump(written), "a", CLOCK, 1920)
    pictures = written.get("pictures", {})
    assert dict(read.pictures) == {number: verdict == "new" for number, verdict in pictures.items()}
    assert [mask.rectangle for mask in read.masks] == [
        (mask["x"], mask["y"], mask["w"], mask["h"]) for mask in written.get("masks", [])
    ]


@given(st.text(max_size=80) | st.binary(max_size=80))
@settings(max_examples=150)
def test_any_text_is_read_or_refused_with_places(text: str | bytes) -> None:
    try:
        read_by_hand(text, "a", CLOCK)
    except StoryboardError as error:
        assert all(problem.place for problem in error.problems)
