"""What the README shows is what the tool does."""

from __future__ import annotations

import os
import re
import shutil
from fractions import Fraction
from pathlib import Path

import pytest
from media_maker import Sound, tone, write_clip, write_sound

from assembler.cli.main import main
from assembler.measure.clock import Clock
from assembler.measure.overrides import read_by_hand
from assembler.storyboard import explain, read_storyboard

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_readmes_storyboard_can_be_read() -> None:
    text = re.findall(r"```yaml\n(.*?)```", README, re.DOTALL)[0]
    board = read_storyboard(text, "README.md")
    assert [segment.id for segment in board.segments] == ["opening", "verdict"]


def test_the_readmes_verdicts_by_hand_can_be_read() -> None:
    text = re.findall(r"```yaml\n(.*?)```", README, re.DOTALL)[1]
    found = read_by_hand(text, "README.md", Clock.even(2000, Fraction(60)), 1920)
    assert len(found.pictures) == 2 and len(found.masks) == 1 and len(found.tears) == 2


def test_keys_that_the_readme_explains_can_be_explained() -> None:
    keys = re.findall(r"assembler explain ([a-z.-]+)", README)
    assert keys
    for key in keys:
        assert explain(key)


def test_the_readmes_finding_is_printed_word_for_word(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for folder in ("footage", "takes"):
        (tmp_path / folder).mkdir()
    write_clip(tmp_path / "footage" / "a.mp4", pictures=120, rate=30, colour=(1, 1, 1, 1))
    write_sound(tmp_path / "takes" / "opening-1.wav", Sound(tone(300, seconds=2.0, level=0.3)))
    (tmp_path / "storyboard.yaml").write_text(
        "storyboard: 1\ntitle: t\ncanvas: {size: 640x360, rate: 30}\ncaptures:\n  a: {file: footage/a.mp4}\n"
        "segments:\n  - id: opening\n    lasts: 1.5 s\n    say: Ten words of speech that will not fit this segment.\n"
        "    show: {full: a}\n  - {id: verdict, lasts: 2 s, show: {full: a}}\n"
    )
    monkeypatch.chdir(tmp_path)
    assert main(["check"]) == 1
    shown = capsys.readouterr().out
    (example,) = re.findall(r"```\n(storyboard.yaml:\d+:\d+: error.*?)```", README, re.DOTALL)
    assert example in shown


def test_readme_and_project_files_point_to_files_that_exist() -> None:
    for target in re.findall(r"\]\(([^)#:]+)\)", README):
        assert (ROOT / target).is_file(), target
    for name in re.findall(r"\b(?:projects_demo|benchmarks|fonts)/[\w./-]*\w", README):
        if not name.endswith(("footage", "draft.mp4")):
            assert (ROOT / name).exists(), name


def test_the_check_run_calls_the_readmes_test_command() -> None:
    (command,) = re.findall(r"^(python3 -m venv.*pytest.*)$", README, re.MULTILINE)
    assert command in (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert os.access(ROOT / ".ci" / "run", os.X_OK)


def test_the_readmes_captions_become_what_it_says(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = shutil.copytree(ROOT / "projects_demo" / "recut", tmp_path / "recut")
    assert main(["retime", str(folder), "--dry-run"]) == 0
    (example,) = re.findall(r"```\n(new  .*?)```", README, re.DOTALL)
    assert capsys.readouterr().out == example
    corrected = (folder / "captions" / "en.srt").read_bytes()
    # Without the record, from the two storyboards; and undone, byte for byte.
    (folder / "captions" / "en.timing.json").unlink()
    assert main(["retime", str(folder), "--was", str(folder / "first.yaml")]) == 0
    assert "ninety pictures each second" in (folder / "captions" / "en.srt").read_text()
    shutil.copy(folder / "first.yaml", folder / "storyboard.yaml")
    assert main(["retime", str(folder)]) == 0
    assert (folder / "captions" / "en.srt").read_bytes() == corrected
