"""`assembler retime` in a project: the person's file, translations beside it, and what is written when."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from assembler.cli.main import main
from assembler.media.leftovers import own_name

BOARD = """\
storyboard: 1
title: Two machines
narration: {voice: none}
segments:
- id: opening
  show: {card: {title: One}}
  say: [Ash keeps its place for now., The quay follows the water and the far lamp.]
- id: after
  show: {card: {title: Two}}
  say: [Birch misses every second picture.]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "storyboard.yaml").write_text(BOARD)
    assert main(["retime", str(tmp_path)]) == 0
    return tmp_path


def edited(folder: Path) -> None:
    first = "- id: first\n  show: {card: {title: Zero}}\n  say: [A line that is new.]\n"
    text = BOARD.replace("- id: opening", first + "- id: opening")
    (folder / "storyboard.yaml").write_text(text.replace("Birch misses every second picture.", "Gone."))


def times(path: Path) -> list[str]:
    return [line for line in path.read_text().splitlines() if "-->" in line]


def german(folder: Path) -> str:
    """A translation with its cues where the narration's are, made by a person."""
    lines = [f"{n}\n{time}\nZeile {n}\n\n" for n, time in enumerate(times(folder / "captions" / "en.srt"), 1)]
    (folder / "captions" / "de.srt").write_text("".join(lines))
    return "".join(lines)


def test_translations_ride_along_and_nothing_of_them_is_lost(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    captions = folder / "captions"
    before = german(folder)
    edited(folder)
    capsys.readouterr()
    assert main(["retime", str(folder), "--dry-run"]) == 0
    shown = capsys.readouterr()
    assert "de: set aside" in shown.out
    assert "de: no caption for first, line 1: A line that is new." in shown.out
    assert (captions / "de.srt").read_text() == before
    assert main(["retime", str(folder), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["translations"]["de"]
    assert [cue["state"] for cue in told["captions"]] == ["moved", "moved"]
    assert [each["lines"] for each in told["aside"]] == [["Zeile 3"]]
    assert [line["segment"] for line in told["untranslated"]] == ["first", "after"]
    # Cue for cue where the narration's own captions went.
    assert times(captions / "de.srt") == times(captions / "en.srt")[1:3]
    assert (captions / "de.before.srt").read_text() == before
    assert "Zeile 3" in (captions / "de.aside.srt").read_text()
    # Twice is once, and undoing the edit brings all of it back.
    names = {path.name: path.read_bytes() for path in captions.iterdir()}
    assert main(["retime", str(folder)]) == 0
    assert {path.name: path.read_bytes() for path in captions.iterdir()} == names
    (folder / "storyboard.yaml").write_text(BOARD)
    assert main(["retime", str(folder)]) == 0
    assert (captions / "de.srt").read_text() == before
    assert not (captions / "de.aside.srt").exists()


def test_a_translation_that_cannot_be_read_stops_everything(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    german(folder)
    broken = folder / "captions" / "de.srt"
    broken.write_text(broken.read_text() + "\n4\n00:00:09,000 --> 00:00:08,000\nrückwärts\n")
    edited(folder)
    names = {path.name: path.read_bytes() for path in (folder / "captions").iterdir()}
    assert main(["retime", str(folder)]) == 2
    assert "captions/de.srt:" in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in (folder / "captions").iterdir()} == names


def findings_of(folder: Path, capsys: pytest.CaptureFixture[str]) -> list[tuple[str, str, str]]:
    capsys.readouterr()
    main(["check", str(folder), "--json"])
    found = json.loads(capsys.readouterr().out)["findings"]
    return [(f"{each['file']}:{each['line']}", each["code"], each["what"]) for each in found if "srt" in each["file"]]


def test_check_tells_of_translations_that_the_programme_left_behind(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    german(folder)
    assert findings_of(folder, capsys) == []
    edited(folder)
    assert findings_of(folder, capsys) == [
        ("captions/de.srt:1", "captions-behind",
         "the programme changed since this file was written: 2 moved, 1 set aside"),
        ("captions/de.srt:1", "captions-untranslated",
         "2 lines of the narration have no caption in 'de'; the first: \"A line that is new.\""),
        ("captions/en.srt:1", "captions-behind",
         "the programme changed since this file was written: 2 moved, 2 new, 1 set aside"),
    ]  # fmt: skip
    assert main(["retime", str(folder)]) == 0
    assert [code for _, code, _ in findings_of(folder, capsys)] == ["captions-untranslated"]
    broken = folder / "captions" / "de.srt"
    broken.write_text(broken.read_text() + "\n4\n00:00:09,000 --> 00:00:08,000\nrückwärts\n")
    assert "caption-unreadable" in [code for _, code, _ in findings_of(folder, capsys)]


def test_what_a_killed_run_left_half_written_goes_with_the_next(folder: Path) -> None:
    # A process number above any that this system gives (Linux: at most 4194304), by this machine's own mark.
    mark = own_name(folder / "en.srt").name.split(".")[1].partition("p")[0]
    left = [
        folder / "captions" / f"{name}.{mark}p4194305-0a1b2c3d.partial.{end}"
        for name, end in (("en", "srt"), ("other", "srt"))
    ]
    for path in left:
        path.write_text("half")
    edited(folder)
    assert main(["retime", str(folder)]) == 0
    assert [path.exists() for path in left] == [False, True]  # what is not its own it leaves
