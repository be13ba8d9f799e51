"""`assembler measure` on the command line: what it will not write over, and how many it measures at once."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from media_maker import write_clip

from assembler.cli.main import main

STORYBOARD = """\
storyboard: 1
title: Guard
canvas: {size: 640x360, rate: 30}
captures:
  one: {file: footage/one.mp4, log: {file: logs/one.csv}}
narration: {voice: none}
segments:
  - {id: s, lasts: 1 s, show: {full: {capture: one}}}
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    for name in ("footage", "logs"):
        (tmp_path / name).mkdir()
    write_clip(tmp_path / "footage" / "one.mp4", pictures=30)
    (tmp_path / "logs" / "one.csv").write_text("frame,ms\n1,16.7\n", encoding="utf-8")
    (tmp_path / "footage" / "one.by-hand.csv").write_text("", encoding="utf-8")
    (tmp_path / "storyboard.yaml").write_text(STORYBOARD, encoding="utf-8")
    return tmp_path


def test_verdicts_are_written_and_written_again(project: Path) -> None:
    out = project / "verdicts.csv"
    for _ in range(2):
        assert main(["measure", "one", "--project", str(project), "--csv", str(out)]) == 0
    rows = list(csv.DictReader(out.read_text("utf-8").splitlines()))
    assert [int(row["picture"]) for row in rows] == list(range(30))


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("footage/one.mp4", "does not end in .csv"),
        ("storyboard.yaml", "does not end in .csv"),
        ("footage", "is a folder"),
        ("logs/one.csv", "is a file that is used here"),
        ("notes.csv", "holds something else than verdicts"),
        ("link.csv", "is a file that is used here"),
    ],
)
def test_no_file_of_the_person_s_is_written_over(
    project: Path, capsys: pytest.CaptureFixture[str], name: str, said: str
) -> None:
    (project / "notes.csv").write_text("mine,1\n", encoding="utf-8")
    (project / "link.csv").symlink_to(project / "footage" / "one.mp4")
    before = {path: path.read_bytes() for path in project.rglob("*") if path.is_file()}
    assert main(["measure", "one", "--project", str(project), "--csv", str(project / name)]) == 2
    assert said in capsys.readouterr().err
    assert {path: path.read_bytes() for path in project.rglob("*") if path.is_file()} == before


def test_a_log_is_safe_without_a_storyboard_too(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = project / "logs" / "one.csv"
    before = log.read_bytes()
    assert main(["measure", str(project / "footage" / "one.mp4"), "--project", str(project), "--csv", str(log)]) == 2
    assert "holds something else" in capsys.readouterr().err
    assert log.read_bytes() == before


@pytest.mark.parametrize("workers", ["0", "two", "1.5"])
def test_workers_are_a_count(project: Path, capsys: pytest.CaptureFixture[str], workers: str) -> None:
    assert main(["measure", "--project", str(project), "--workers", workers]) == 2
    assert "such as 2" in capsys.readouterr().err
