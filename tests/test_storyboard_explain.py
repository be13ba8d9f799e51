"""`explain` tells what a key is, and finds the key that was meant."""

from __future__ import annotations

import pytest

from assembler.errors import UsageError
from assembler.storyboard import explain
from assembler.storyboard.explanations import key_paths


def test_the_top_lists_every_key() -> None:
    text = explain("")
    for key in ("storyboard*", "title*", "canvas", "subjects", "captures", "narration", "fonts", "segments*"):
        assert f"    {key} " in text
    assert explain("  ") == text


def test_a_key_shows_what_it_takes_its_default_and_examples() -> None:
    text = explain("segments.show.split.line")
    assert text.startswith("segments.show.split.line\n")
    assert "takes         a number from 0 to 1\n" in text
    assert "takes         {from: 0.2, to: 0.8}\n" in text
    assert "default       0.5\n" in text
    assert "example       line: 0.5\n" in text
    assert "from*" in text


def test_keys_below_are_listed_once_though_a_list_may_hold_them_too() -> None:
    assert explain("segments.show").count("side-by-side  Two to four panes") == 1


def test_words_are_explained() -> None:
    assert "nearest       shows every pixel as a square" in explain("segments.show.full.scaling")


def test_limits_are_shown() -> None:
    assert "a whole number from 60 to 400" in explain("narration.pace")


def test_positions_may_be_written() -> None:
    assert explain("segments[0].show[1].full") == explain("segments.show.full")


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("line-up", "captures.line-up"),
        ("segment", "segments"),
        ("segments.show.splt", "segments.show.split"),
        ("capture.line-up", "captures.line-up"),
        ("voice", "narration.voice"),
        ("segments.shw", "segments.show"),
    ],
)
def test_the_key_that_was_meant_is_suggested(written: str, meant: str) -> None:
    with pytest.raises(UsageError) as caught:
        explain(written)
    assert caught.value.problems[0].mend == f"did you mean `{meant}`?"


def test_a_key_like_no_other_is_refused_plainly() -> None:
    with pytest.raises(UsageError, match="no key `\\\\x1bqqqq`"):
        explain("\x1bqqqq")


def test_paths_are_all_different_and_many() -> None:
    assert len(key_paths()) > 150
