"""Every broken storyboard gives exactly its problems, each at its place, and nothing but StoryboardError."""

from __future__ import annotations

import pytest
import yaml
from broken_storyboards import BROKEN, HEAD, Broken, bare, pane, show

from assembler.errors import StoryboardError
from assembler.storyboard import read_storyboard
from assembler.storyboard.reader import MOST_PROBLEMS


def fault(text: str | bytes) -> StoryboardError:
    with pytest.raises(StoryboardError) as caught:
        read_storyboard(text, "story.yaml")
    return caught.value


def check(broken: Broken) -> None:
    problems = fault(broken.text).problems
    assert [(p.place.line, p.place.column) for p in problems if p.place] == list(broken.places)
    assert len(problems) == len(broken.says)
    for part, problem in zip(broken.says, problems, strict=True):
        assert part in problem.what
        assert problem.mend


@pytest.mark.parametrize("broken", BROKEN, ids=lambda broken: broken.name)
def test_a_broken_storyboard_gives_its_problems_at_their_places(broken: Broken) -> None:
    # Source: the places are marked by hand in the table; lines and columns count from 1 as editors count.
    check(broken)


@pytest.mark.parametrize("broken", BROKEN, ids=lambda broken: broken.name)
def test_places_and_words_are_the_same_without_libyaml(broken: Broken, monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: the same table; PyYAML is installed without libyaml on some machines.
    monkeypatch.setattr(yaml, "__with_libyaml__", False)
    check(broken)


def test_names_in_the_table_are_unique() -> None:
    assert len({broken.name for broken in BROKEN}) == len(BROKEN) >= 60


@pytest.mark.parametrize(
    ("text", "place"),
    [
        (b"storyboard: 1\r\ntitle: T\r\nsegmnts: []\r\n", (3, 1)),
        (b"\xef\xbb\xbfstoryboard: 1\ntitle: T\nsegmnts: []\n", (3, 1)),
        (b"\xef\xbb\xbf{segmnts: [], title: T, storyboard: 1}\n", (1, 2)),
        ("storyboard: 1\ntitle: 'Zażółć 🦆'\nsegments: [{id: 'żółw', lasts: 1 s, show: {card: C}}]\n", (3, 17)),
        ("storyboard: 1\ntitle: T\nsegments: [{show: {card: 🦆🦆}, id: 🦆, lasts: 1 s}]\n", (3, 35)),
    ],
    ids=["CRLF", "byte order mark", "byte order mark, same line", "letters beyond ASCII", "beyond 16 bits"],
)
def test_columns_count_characters(text: str | bytes, place: tuple[int, int]) -> None:
    # Source: counted by hand; a character is one column whatever its bytes, and a byte order mark is none.
    problem = fault(text).problems[0]
    assert problem.place is not None
    assert (problem.place.line, problem.place.column) == place


def test_a_message_reads_as_place_fault_and_mend() -> None:
    # Source: the form agreed for all messages, file:line:column: error: what, then a line with the mend.
    text = bare("captions: {limits: onlin}\n")
    assert str(fault(text)) == (
        "story.yaml:4:20: error: `limits` must be online, broadcast or slow, not 'onlin'\n"
        "  mend: did you mean 'online'?"
    )


def test_a_bad_rate_does_not_hide_other_faults() -> None:
    # Source: our rule: the remaining times are then read at 60 frames a second, where label 59 exists and 60 does not.
    text = "storyboard: 1\ntitle: T\ncanvas: {rate: 7}\nsegments:\n" + (
        "  - {id: a, at: 00:00:00:59, lasts: 1 s, show: {card: C}}\n"
        "  - {id: b, at: 00:00:09:60, lasts: 1 s, show: {card: C}}\n"
    )
    assert [(p.place.line, p.place.column) for p in fault(text).problems if p.place] == [(3, 16), (6, 17)]


def test_control_characters_never_reach_the_terminal() -> None:
    # Source: ECMA-48, CSI begins with ESC (0x1B) or 0x9B; both could change what a terminal shows.
    text = show('{full: "take [1] [/b] \\e[31m\\x9b2J.mp4"}\n')
    message = str(fault(text))
    assert "take [1] [/b] \\x1b[31m\\x9b2J.mp4" in message
    assert not [c for c in message if (ord(c) < 32 and c != "\n") or 0x7F <= ord(c) < 0xA0]


def test_control_characters_in_the_file_name_are_escaped() -> None:
    with pytest.raises(StoryboardError) as caught:
        read_storyboard(b"", "\x1b[2J.yaml")
    assert str(caught.value).startswith("\\x1b[2J.yaml:1:1: ")


def test_text_that_turns_direction_is_shown_escaped() -> None:
    # Source: Unicode, U+202E RIGHT-TO-LEFT OVERRIDE is category Cf; it would reorder the message.
    assert "\\u202e" in str(fault(show('{full: "a\\u202Eb"}\n')))


def test_long_text_is_shortened_in_messages() -> None:
    assert len(str(fault(show("{full: " + "x" * 5000 + "}\n")))) < 400


def test_more_than_a_hundred_problems_end_with_their_number() -> None:
    # Source: our limit; 250 unknown keys are 100 problems shown and 150 counted.
    problems = fault(bare("".join(f"unknown-{number}: 1\n" for number in range(250)))).problems
    assert len(problems) == MOST_PROBLEMS + 1
    assert "150 more" in problems[-1].what


def test_a_fault_in_a_repeated_part_is_told_once() -> None:
    text = HEAD + "segments:\n  - {id: a, lasts: 2 s, show: {side-by-side: [&p {capture: quay, sped: 2}, *p, *p]}}\n"
    assert len(fault(text).problems) == 1


@pytest.mark.parametrize(
    ("text", "mend"),
    [
        (bare("canvas: {size: 9999x9999, rate: 60}\n"), "such as 1920x1080"),
        ("storyboard:1\ntitle:Two machines\n", "put a space after each ':'"),
        (show("side-by-side"), "such as {full: ash-quay}"),
        (show("quay"), "such as {full: ash-quay}"),
        (pane("{capture: quay, speed: 1/4}"), "such as 0.25"),
    ],
    ids=["a canvas too large and odd", "no space after colons", "an arrangement alone", "a capture alone", "a ratio"],
)
def test_the_mend_shows_what_can_be_written(text: str, mend: str) -> None:
    (problem,) = fault(text).problems
    assert mend in problem.mend


def test_a_time_before_zero_is_told_apart_from_no_time_at_all() -> None:
    (problem,) = fault(pane("{capture: quay, from: -1 s}")).problems
    assert problem.what == "'-1 s' lies before 0, which a time here cannot"
