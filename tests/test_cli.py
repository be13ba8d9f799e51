"""The command line as a person meets it: what is refused, in what words, with which exit code, on which stream."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from assembler.cli.main import main

CARD = """\
storyboard: 1
title: t
canvas: {size: 160x90, rate: 30}
segments:
  - {id: one, lasts: fit, say: Hello there., show: {card: Hello}}
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    folder = tmp_path / "project"
    folder.mkdir()
    (folder / "storyboard.yaml").write_text(CARD, encoding="utf-8")
    return folder


def test_a_project_that_may_not_be_written_to_can_be_checked(
    project: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = os.access

    def read_only(path: str | Path, mode: int) -> bool:
        return asked(path, mode) and not (mode & os.W_OK and Path(path).is_relative_to(project))

    monkeypatch.setattr(os, "access", read_only)
    assert main(["check", str(project)]) == 0
    assert "1 segments" in capsys.readouterr().out
    assert [path.name for path in project.iterdir()] == ["storyboard.yaml"]


def test_retime_says_when_its_folder_cannot_be_made(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (project / "out").write_text("a file where a folder should be")
    assert main(["retime", str(project)]) == 4
    said = capsys.readouterr().err
    assert "could not be written" in said and "fault in assembler" not in said
