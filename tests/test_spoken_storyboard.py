"""The storyboard's keys for what is said, and `check --spoken`."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from assembler.cli.main import main
from assembler.errors import StoryboardError
from assembler.narration.lines import voice
from assembler.narration.scratch import available
from assembler.storyboard import explain, read_storyboard

BOARD = """\
storyboard: 1
title: Two machines
language: {language}
lexicon:
  QX 4090: Q X forty ninety
  nowhere: no where
narration: {{voice: {voice}}}
segments:
  - id: opening
    say:
      - "Ash shows 1440p — the QX 4090 holds it."
      - "In June: 2048 samples."
      - {{text: "v1.2.3 it is.", spoken: "Version one two three it is."}}
    show: {{card: {{title: Hi}}}}
"""


def board(language: str = "en", voice: str = "none") -> str:
    return BOARD.format(language=language, voice=voice)


def test_the_lexicon_and_spoken_words_are_read_with_their_places() -> None:
    made = read_storyboard(board(voice="{scratch: en-us+f3}"), "s.yaml")
    assert made.lexicon == {"QX 4090": "Q X forty ninety", "nowhere": "no where"}
    assert (made.narration.voice, made.narration.speaker) == ("scratch", "en-us+f3")
    line = made.segments[0].say[2]
    assert line.spoken == "Version one two three it is."
    place = line.at("spoken")
    assert place is not None and (place.line, place.column) == (13, 33)
    assert read_storyboard(board(voice="scratch"), "s.yaml").narration.speaker == ""


@pytest.mark.parametrize(
    ("old", "new", "where", "what"),
    [
        ("forty ninety\n", "4090\n", (5, 12), "'4090' holds digits"),
        ("Q X forty ninety\n", "''\n", (5, 12), "nothing is said by ''"),
        ("no where\n", "a @ b\n", (6, 12), "'@' in 'a @ b' cannot be said"),
        ("  nowhere:", "  '!?':", (6, 3), "'!?' cannot be a written word"),
        ("one two three it", "1.2.3 it", (13, 41), "'1.2.3' holds digits"),
        ("voice: none", "voice: {scratch: 'f 3'}", (7, 30), "cannot be the name of a voice"),
        ("voice: none", "voice: nobody", (7, 20), "scratch, none"),
    ],
)
def test_what_cannot_be_said_is_an_error_at_its_place(old: str, new: str, where: tuple[int, int], what: str) -> None:
    with pytest.raises(StoryboardError) as caught:
        read_storyboard(board().replace(old, new), "s.yaml")
    [problem] = caught.value.problems
    assert what in str(problem)
    assert problem.mend
    assert problem.place is not None and (problem.place.line, problem.place.column) == where


def test_the_keys_explain_themselves() -> None:
    assert "Q X forty ninety" in explain("lexicon")
    assert "what the lexicon and the rules" in explain("segments.say.spoken")
    assert "en-us+f3" in explain("narration.voice.scratch")


def run(folder: Path, text: str, *options: str, capsys: pytest.CaptureFixture[str]) -> str:
    (folder / "storyboard.yaml").write_text(text, encoding="utf-8")
    assert main(["check", "--spoken", *options, str(folder)]) == 0
    return capsys.readouterr().out


def test_check_spoken_shows_every_line_with_the_doubtful_marked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shown = run(tmp_path, board(), capsys=capsys)
    assert "ash shows fourteen forty P — the Q X forty ninety holds it." in shown
    assert "    1440p -> fourteen forty P" in shown
    assert "two thousand forty-eight? samples." in shown
    assert "  ? 2048 -> two thousand forty-eight   read as a number, not as a year" in shown
    assert "opening, line 3, as its spoken: says" in shown
    assert 'lexicon:\n  "2048": two thousand forty-eight\n' in shown
    assert "no line uses these entries of the lexicon: nowhere" in shown
    assert shown.endswith("storyboard.yaml: 3 lines, 24 spoken words, 1 doubtful\n")


def test_the_lexicon_line_to_paste_settles_the_doubt(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    settled = board().replace("  nowhere: no where\n", '  "2048": two thousand forty-eight\n')
    assert run(tmp_path, settled, capsys=capsys).endswith(", 0 doubtful\n")


def test_check_spoken_as_json_keeps_the_mapping(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = json.loads(run(tmp_path, board(), "--json", capsys=capsys))["spoken"]
    assert (told["rules"], told["doubtful"], told["lexicon_unused"]) == (True, 1, ["nowhere"])
    first = told["lines"][0]
    assert [word["spoken"] for word in first["words"]][:3] == ["ash", "shows", "fourteen forty p"]
    assert all(first["text"][w["start"] : w["end"]] == w["written"] for w in first["words"])
    assert first["words"][2]["words"] == ["fourteen", "forty", "p."]
    assert told["lines"][2]["by_hand"] is True


def test_a_language_without_rules_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shown = run(tmp_path, board("de"), capsys=capsys)
    assert "there are no rules for the language 'de': words are said as they are written" in shown
    found = voice(read_storyboard(board("de"), "s.yaml"), tmp_path, tmp_path / "cache").findings
    assert "spoken-no-rules" in [finding.code for finding in found]
    found = voice(read_storyboard(board("en"), "s.yaml"), tmp_path, tmp_path / "cache").findings
    assert "spoken-no-rules" not in [finding.code for finding in found]


@pytest.mark.skipif(not available(), reason="the scratch voice is not installed")
def test_an_unknown_voice_is_one_error_with_the_choices(tmp_path: Path) -> None:
    text = board(voice="{scratch: en-us+f33}")
    [found] = voice(read_storyboard(text, "s.yaml"), tmp_path, tmp_path / "cache").findings
    assert (found.severity, found.code) == ("error", "scratch-voice-unknown")
    assert "has no voice 'en-us+f33'" in found.what
    assert "did you mean f3?" in found.mend
    assert "m1, m2" in found.mend


def test_a_lines_own_words_change_its_length_and_are_counted(tmp_path: Path) -> None:
    made = voice(read_storyboard(board(), "s.yaml"), tmp_path, tmp_path / "cache")
    assert [made.speech["opening", number].said for number in (1, 2, 3)] == [12, 6, 6]
    shorter = board().replace("Version one two three it is.", "That is it.")
    less = voice(read_storyboard(shorter, "s.yaml"), tmp_path, tmp_path / "cache")
    assert less.speech["opening", 3].said == 3
    assert less.speech["opening", 3].samples < made.speech["opening", 3].samples
    assert [word.text for word in less.speech["opening", 3].words] == ["v1.2.3", "it", "is."]
