"""`assembler figures --plot`: which stretch is drawn, at what size, and which files it will not take the place of."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from PIL import Image
from planted import Coder, encode, plan, scene, shown

from assembler.cli.main import main

BOARD = """\
storyboard: 1
title: t
canvas: {size: 320x180, rate: 60}
subjects: {ash: {name: Ash}, birch: {name: Birch}}
captures:
  ash-quay: {file: ash.mp4, subject: ash}
  birch-quay: {file: birch.mp4, subject: birch, line-up: {with: ash-quay, offset: 12 f}}
segments:
  - {id: both, lasts: 48 f, show: {side-by-side: [{capture: ash-quay, from: 30 f}, birch-quay]}, graphs: [cadence]}
  - id: cut
    show:
      - {lasts: 12 f, full: {capture: ash-quay, from: 30 f}}
      - {lasts: 12 f, side-by-side: [{capture: ash-quay, from: 60 f}, birch-quay]}
  - id: apart
    lasts: 20 f
    show: {side-by-side: [{capture: ash-quay, from: 0 f, speed: 0.5}, {capture: birch-quay, from: 12 f}]}
  - {id: words, lasts: 10 f, show: {card: {title: Hello, picture: card.png}}}
"""


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("project")
    pictures = scene("pan made1", 120, size=(320, 180), speed=2)
    for name, kind in (("ash", "60"), ("birch", "30")):
        encode(folder / f"{name}.mp4", shown(pictures, plan(kind, 120)), Coder("libx264", "ultrafast", 16))
    Image.new("RGB", (64, 36)).save(folder / "card.png")
    (folder / "storyboard.yaml").write_text(BOARD, encoding="utf-8")
    return folder


def words(path: Path) -> list[str]:
    return [
        each.text or "" for each in ElementTree.fromstring(path.read_bytes()).iter("{http://www.w3.org/2000/svg}text")
    ]


def seconds(path: Path) -> list[float]:
    """What stands at the time axis."""
    return [float(text[:-2]) for text in words(path) if re.fullmatch(r"-?[0-9.]+ s", text)]


def test_the_figure_shows_what_the_segment_shows_with_its_own_graphs(project: Path, tmp_path: Path) -> None:
    path = tmp_path / "new folder" / "both.svg"
    assert main(["figures", str(project), "--only", "both", "--plot", str(path)]) == 0
    # 48 frames from the 30th at 60 a second: from 0.5 to 1.3 s.
    assert min(seconds(path)) == 0.5 and 1.2 <= max(seconds(path)) <= 1.3
    assert {"Ash", "Birch"} <= set(words(path))
    assert "new pictures a second" not in words(path)


def test_cut_shots_are_one_stretch_from_first_to_last(project: Path, tmp_path: Path) -> None:
    path = tmp_path / "cut.svg"
    assert main(["figures", str(project), "--only", "cut", "--plot", str(path), "--graphs", "frame-rate"]) == 0
    assert min(seconds(path)) == 0.5 and 1.1 <= max(seconds(path)) <= 1.2
    assert "new pictures a second" in words(path)


def test_lined_up_captures_are_in_step_in_the_whole_figure(
    project: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "whole.svg"
    assert main(["figures", str(project), "--plot", str(path), "--json"]) == 0
    said = capsys.readouterr()
    assert json.loads(said.out)["rows"] and "not lined up" not in said.err
    # The second began 12 of its frames earlier: the axis begins at -0.2 s of the first and ends at its end, 2 s.
    assert min(seconds(path)) == -0.2 and max(seconds(path)) == 2


def test_a_png_has_the_size_asked_for(project: Path, tmp_path: Path) -> None:
    path = tmp_path / "both.PNG"
    assert main(["figures", str(project), "--only", "both", "--plot", str(path), "--size", "801x301"]) == 0
    with Image.open(path) as image:
        assert image.format == "PNG" and image.size == (801, 301)


@pytest.mark.parametrize("used", ["card.png", "ash.mp4", "storyboard.yaml"])
def test_no_file_of_the_project_is_written_over(
    used: str, project: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "figure.png"
    os.link(project / used, other)
    before = other.read_bytes()
    assert main(["figures", str(project), "--plot", str(other)]) == 2
    assert "would take its place" in capsys.readouterr().err
    assert other.read_bytes() == before and (project / used).samefile(other)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--plot", "a.jpg"], "a.jpg does not end in .png or .svg"),
        (["--plot", "a.png", "--size", "100x100"], "a figure cannot be 100x100"),
        (["--plot", "a.png", "--size", "big"], "'big' is not a size"),
        (["--plot", "a.png", "--graphs", "rate"], "there is no graph 'rate'"),
        (["--plot", "a.png", "--graphs", "cadence,cadence"], "named twice"),
        (["--plot", "a.png", "--only", "bath"], "did you mean 'both'?"),
        (["--plot", "a.png", "--only", "words"], "segment 'words' shows no capture running"),
        (["--plot", "a.png", "--only", "apart"], "does not show its captures in one step"),
        (["--graphs", "cadence"], "say where to draw it with --plot"),
    ],
)
def test_what_cannot_be_drawn_is_said_and_nothing_is_written(
    arguments: list[str],
    said: str,
    project: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["figures", str(project), *arguments]) == 2
    assert said in capsys.readouterr().err
    assert not list(tmp_path.iterdir())
