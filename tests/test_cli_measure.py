"""`assembler measure` on the command line: what it will not write over, and how many it measures at once."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
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


def test_seconds_without_a_rate_are_told_in_words_and_in_json(
    project: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    command = ["measure", "one", "--project", str(project)]
    assert main(command) == 0 and "no rate for" not in capsys.readouterr().out
    # As if the least doubt were too much: every second of a capture that can be counted is kept back.
    monkeypatch.setattr("assembler.measure.figures.MOST_WRONG", -1.0)
    assert main(command) == 0
    assert "no rate for 100% of its seconds: capture too compressed for frame counting" in capsys.readouterr().out
    assert main([*command, "--json"]) == 0
    assert '"seconds_too_compressed": 1.0' in capsys.readouterr().out


LINED_UP = """\
storyboard: 1
title: Offsets
canvas: {size: 640x360, rate: 60}
captures:
  one: {file: one.mp4}
  two: {file: two.mp4, line-up: {with: one, offset: OFFSET}}
narration: {voice: none}
segments:
  - {id: s, lasts: 1 s, show: {side-by-side: [{capture: one, from: 2 s}, {capture: two}]}}
"""


def codes(capsys: pytest.CaptureFixture[str], project: Path, offset: str) -> list[str]:
    (project / "storyboard.yaml").write_text(LINED_UP.replace("OFFSET", offset), encoding="utf-8")
    capsys.readouterr()
    main(["check", str(project), "--json"])
    return [found["code"] for found in json.loads(capsys.readouterr().out)["findings"]]


def test_a_written_offset_is_held_against_the_pictures_once_they_are_measured(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rng = np.random.default_rng(5)
    wide = np.repeat(np.repeat(rng.integers(30, 220, (30, 300), np.uint8), 12, 0), 12, 1)
    path = np.cumsum(rng.integers(1, 5, 60).repeat(10))  # a pan that changes its speed

    def draw(k: int, width: int, height: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        grey = np.full((height // 2, width // 2), 128, np.uint8)
        return wide[:height, path[k] : path[k] + width], grey, grey

    for name, first in (("one", 0), ("two", 45)):  # two begins three quarters of a second later
        numbers = range(first, first + 420)
        write_clip(tmp_path / f"{name}.mp4", pictures=numbers, rate=60, size=(640, 360), draw=draw)
    assert "line-up-contradicted" not in codes(capsys, tmp_path, "0 f")  # nothing is known, and nothing is waited for
    assert not list((tmp_path / ".assembler").rglob("part-*"))
    assert main(["measure", "--project", str(tmp_path)]) == 0
    assert "line-up-contradicted" in codes(capsys, tmp_path, "0 f")
    assert "line-up-contradicted" not in codes(capsys, tmp_path, "-45 f")
