"""The choices file: what is read, what is refused with its place, and that a person's words stay as they are."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from assembler.errors import StoryboardError
from assembler.narration.choices import Chosen, load_choices, read_choices, save_choices, text_print

ORDER = {f"quay-{n}": n for n in range(1, 6)}


def entry(n: int, start: str = "1.5", **more: object) -> Chosen:
    told = {"verdict": "proposed", "confidence": 0.97, "why": "the only take", **more}
    return Chosen(
        key=f"quay-{n}", recording="takes/day one.wav", in_s=Fraction(start), out_s=Fraction(start) + 2,
        recording_print="ab12", text_print=text_print("Two machines."), **told,
    )  # type: ignore[arg-type]  # fmt: skip


def problem(text: str) -> str:
    with pytest.raises(StoryboardError) as caught:
        read_choices(text, "takes/choices.yaml")
    return str(caught.value)


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    path = tmp_path / "choices.yaml"
    missing = Chosen(key="quay-3", verdict="missing", why='nobody said "no": never')
    save_choices(path, [entry(2), missing, entry(1, "12.3456")], ORDER)
    found = load_choices(path)
    assert list(found) == ["quay-1", "quay-2", "quay-3"]
    assert found["quay-1"].in_s == Fraction("12.346") and found["quay-1"].usable
    assert found["quay-2"].recording == "takes/day one.wav" and not found["quay-2"].by_hand
    assert found["quay-3"].why == 'nobody said "no": never' and not found["quay-3"].usable
    assert path.read_text("utf-8").startswith("#")


def test_a_new_proposal_takes_the_place_of_an_untouched_one(tmp_path: Path) -> None:
    path = tmp_path / "choices.yaml"
    save_choices(path, [entry(1), entry(3)], ORDER)
    assert save_choices(path, [entry(1, "40"), entry(2)], ORDER) == ()
    assert [(key, float(each.in_s or 0)) for key, each in load_choices(path).items()] == [
        ("quay-1", 40.0), ("quay-2", 1.5), ("quay-3", 1.5)
    ]  # fmt: skip


def test_what_a_person_changed_or_wrote_stays_letter_for_letter(tmp_path: Path) -> None:
    path = tmp_path / "choices.yaml"
    save_choices(path, [entry(1), entry(2)], ORDER)
    mine = path.read_text("utf-8").replace("in: 1.500 s", "in: 1.250 s   # earlier breath", 1) + (
        "  # kept from the other day\n  quay-4: {verdict: chosen, recording: takes/b.wav, in: 3 s, out: 4 s}\n"
    )
    path.write_text(mine, "utf-8")
    # `in` was moved by hand without a word about it: the entry's own print tells.
    assert save_choices(path, [entry(n, "77") for n in range(1, 6)], ORDER) == ("quay-1", "quay-4")
    text = path.read_text("utf-8")
    assert "in: 1.250 s   # earlier breath" in text
    assert mine[mine.index("  # kept") :] in text
    found = load_choices(path)
    assert [float(found[f"quay-{n}"].in_s or 0) for n in range(1, 6)] == [1.25, 77, 77, 3, 77]
    assert [found[f"quay-{n}"].by_hand for n in range(1, 6)] == [True, False, False, True, False]


def test_a_choice_by_hand_replaces_any_entry_and_writing_it_again_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "choices.yaml"
    save_choices(path, [entry(1), entry(2)], ORDER)
    save_choices(path, [entry(1, "9", by_hand=True, verdict="chosen")], ORDER)
    once = path.read_bytes()
    save_choices(path, [entry(1, "9", by_hand=True, verdict="chosen")], ORDER)
    assert path.read_bytes() == once
    assert load_choices(path)["quay-1"].by_hand and float(load_choices(path)["quay-1"].in_s or 0) == 9


def test_a_person_can_say_that_there_is_no_take(tmp_path: Path) -> None:
    found = read_choices("takes:\n  quay-1: {verdict: missing, by: hand}\n", "f")
    assert found["quay-1"].by_hand and not found["quay-1"].usable


@pytest.mark.parametrize("text", ["", "# nothing yet\n", "takes:\n", "takes: {}\n"])
def test_an_empty_file_holds_no_choices_and_can_be_added_to(text: str, tmp_path: Path) -> None:
    path = tmp_path / "choices.yaml"
    path.write_text(text, "utf-8")
    assert load_choices(path) == {}
    save_choices(path, [entry(1)], ORDER)
    assert list(load_choices(path)) == ["quay-1"]
    assert text.startswith("#") is path.read_text("utf-8").startswith("# nothing yet")


@pytest.mark.parametrize(
    ("text", "where", "words"),
    [
        ("takes:\n  quay-1: {recording: a.wav, in: 4 s, out: 3 s}\n", ":2:39:", "ends before it begins"),
        ("takes:\n  quay-1: {recording: a.wav, in: 4 s}\n", ":2:3:", "lacks out"),
        ("takes:\n  quay-1: {recording: ../a.wav, in: 4 s, out: 5 s}\n", ":2:23:", ".."),
        ("takes:\n  quay-1: {recording: a.wav, in: 4, out: 5 s}\n", ":2:34:", "no unit"),
        ("takes:\n  quay-1: {recording: a.wav, in: 40 f, out: 5 s}\n", ":2:34:", "no frames"),
        ("takes:\n  quay-1: {verdict: perhaps}\n", ":2:21:", "must be proposed, flagged, missing or chosen"),
        ("takes:\n  quay: {verdict: missing}\n", ":2:3:", "<segment id>-<line number>"),
        ("takes:\n  quay-1: {verdict: missing}\n  quay-1: {verdict: missing}\n", ":3:3:", "twice"),
        ("takes: [\n", ":2:1:", "something is missing"),
        ("- one\n", ":1:1:", "begin it with takes:"),
    ],
)
def test_a_fault_is_told_with_its_line_and_column(text: str, where: str, words: str) -> None:
    told = problem(text)
    assert f"takes/choices.yaml{where}" in told and words in told


def test_a_file_that_cannot_be_added_to_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "choices.yaml"
    path.write_text("takes: {quay-1: {verdict: missing, by: hand}}\n", "utf-8")
    with pytest.raises(StoryboardError, match="lines of its own"):
        save_choices(path, [entry(2)], ORDER)
    assert path.read_text("utf-8") == "takes: {quay-1: {verdict: missing, by: hand}}\n"


def test_only_a_change_of_words_changes_the_print_of_a_text() -> None:
    assert text_print("Two machines, one harbour.") == text_print("two machines – one HARBOUR")
    assert text_print("Two machines, one harbour.") != text_print("Two machines, no harbour.")
