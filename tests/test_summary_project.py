"""A summary in a storyboard: read, measured by itself, checked, rendered, made again when its figures change, drawn."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from PIL import Image
from planted import Coder, encode, plan, scene, shown

from assembler.cli.main import main
from assembler.measure.lows import LOWS
from assembler.storyboard import load_storyboard
from assembler.storyboard.model import Summary

HEAD = """\
storyboard: 1
title: t
canvas: {size: 640x360, rate: 60}
subjects: {ash: {name: Ash}, birch: {name: Birch}}
captures:
  ash-quay: {file: ash.mp4, subject: ash}
  birch-quay: {file: birch.mp4, subject: birch, line-up: {with: ash-quay, offset: 12 f}}
segments:
"""
SUMMARY = "  - {id: sums, lasts: 10 f, show: {summary: %s}}\n"


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("project")
    pictures = scene("pan made1", 180, size=(320, 180), speed=2)
    for name, kind in (("ash", "60"), ("birch", "30")):
        encode(folder / f"{name}.mp4", shown(pictures, plan(kind, 180)), Coder("libx264", "ultrafast", 16))
    return folder


def write(project: Path, segments: str) -> None:
    (project / "storyboard.yaml").write_text(HEAD + segments, encoding="utf-8")


def check(project: Path, summary: str, capsys: pytest.CaptureFixture[str]) -> list[dict[str, str]]:
    write(project, SUMMARY % summary)
    main(["check", str(project), "--json"])
    found: list[dict[str, str]] = json.loads(capsys.readouterr().out)["findings"]
    return [each for each in found if each["severity"] != "note"]


def texts(path: Path) -> list[str]:
    parts = ElementTree.fromstring(path.read_bytes()).iter("{http://www.w3.org/2000/svg}text")
    return [each.text or "" for each in parts]


@pytest.mark.parametrize(
    ("summary", "said"),
    [
        ("{captures: [ash-quay, ash-quay]}", "the capture 'ash-quay' is summed up twice"),
        ("[ash-quay, cedar-quay]", "cedar-quay"),
        ("{title: Alone}", "captures"),
        ("{captures: [ash-quay], from: 2 s, to: 1 s}", "counts up to 1 s"),
    ],
)
def test_what_cannot_be_summed_up_is_refused_with_its_place(
    project: Path, summary: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    write(project, SUMMARY % summary)
    assert main(["check", str(project)]) == 2
    told = capsys.readouterr().err
    assert "storyboard.yaml:9:" in told and said in told


def test_captures_are_measured_by_themselves_and_nothing_is_found(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert check(project, "{captures: [ash-quay, birch-quay], title: Both}", capsys) == []


def test_a_stretch_outside_a_capture_is_found(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = check(project, "{captures: [ash-quay, birch-quay], from: 30 s}", capsys)
    assert [(each["code"], each["severity"]) for each in found] == [("summary-not-counted", "error")] * 2
    assert "nothing of it lies between" in found[0]["what"]


def test_a_lined_up_capture_is_counted_over_the_same_moments(project: Path, tmp_path: Path) -> None:
    write(project, SUMMARY % "{captures: [ash-quay, birch-quay], from: 0.5 s, to: 2 s}")
    drawn = tmp_path / "sums.svg"
    assert main(["figures", str(project), "--only", "sums", "--summary", str(drawn)]) == 0
    found = texts(drawn)
    # 12 frames of 60 a second: what Ash shows at 0.5 s, Birch shows at 0.7 s.
    assert "00:00.500 to 00:02.000" in found and "00:00.700 to 00:02.200" in found


def test_the_card_says_what_the_table_says(
    project: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write(project, SUMMARY % "{captures: [ash-quay, birch-quay], title: Both}")
    drawn, picture = tmp_path / "sums.svg", tmp_path / "sums.png"
    assert main(["figures", str(project), "--only", "sums", "--json", "--summary", str(drawn)]) == 0
    rows = json.loads(capsys.readouterr().out)["rows"]
    found = texts(drawn)
    assert [row["capture"] for row in rows] == ["ash-quay", "birch-quay"]
    for row, planted in zip(rows, (60, 30), strict=True):
        # The rates were put into the captures before they were encoded.
        assert row["average_hz"]["value"] == pytest.approx(planted, rel=0.02)
        assert f"{row['average_hz']['value']:.1f}" in found
        assert f"{row['low_1_percent_hz']['value']:.1f}" in found
        assert f"{row['longest_hold_ms']['value']:.1f} ms" in found
    assert "Both" in found and "Ash" in found and "Birch" in found
    assert main(["figures", str(project), "--only", "sums", "--summary", str(picture), "--size", "1280x720"]) == 0
    with Image.open(picture) as image:
        assert image.size == (1280, 720)


def test_the_definition_of_lows_is_the_summarys_own_or_that_of_the_command(project: Path, tmp_path: Path) -> None:
    # Every definition that is measured can be named in a storyboard.
    write(project, SUMMARY % "{captures: [ash-quay], lows: C}")
    drawn = tmp_path / "sums.svg"
    command = ["figures", str(project), "--only", "sums", "--summary", str(drawn)]
    assert main(command) == 0 and "a second, definition C" in texts(drawn)
    assert main([*command, "--lows", "A-linear"]) == 0 and "a second, definition A-linear" in texts(drawn)
    for name in LOWS:
        write(project, SUMMARY % f"{{captures: [ash-quay], lows: {name}}}")
        (shot,) = load_storyboard(project / "storyboard.yaml").segments[0].shots
        assert isinstance(shot.arrangement, Summary) and shot.arrangement.lows == name


def test_a_still_too_small_or_over_a_capture_is_refused(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(project, SUMMARY % "[ash-quay]")
    assert main(["figures", str(project), "--summary", str(project / "a.png"), "--size", "500x200"]) == 2
    assert "a summary cannot be 500x200" in capsys.readouterr().err
    assert main(["figures", str(project), "--summary", str(project / "ash.mp4")]) == 2
    assert not (project / "a.png").exists()


def test_the_part_is_kept_until_its_figures_change(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(project, SUMMARY % "[ash-quay, birch-quay]")

    def made() -> int:
        assert main(["draft", str(project), "--json"]) == 0
        count: int = json.loads(capsys.readouterr().out)["parts_made"]
        return count

    assert made() == 1
    assert made() == 0
    by_hand = project / "birch.mp4.by-hand.yaml"
    by_hand.write_text("pictures: {41: new}\n", encoding="utf-8")
    try:
        assert made() == 1
    finally:
        by_hand.unlink()
    assert made() == 0


def test_a_capture_is_heard_once(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(project, "  - {id: one, lasts: 10 f, show: {full: ash-quay}, hear: [ash-quay, {capture: ash-quay}]}\n")
    assert main(["check", str(project)]) == 2
    told = capsys.readouterr().err
    assert "storyboard.yaml:9:" in told and "the capture 'ash-quay' is heard twice" in told


def test_a_gap_is_no_segment(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(project, "  - {id: one, lasts: 10 f, show: {full: ash-quay}}\n"
                   "  - {id: two, at: 25 f, lasts: 10 f, show: {full: birch-quay}}\n")  # fmt: skip
    main(["check", str(project), "--json"])
    document = json.loads(capsys.readouterr().out)
    assert [each["id"] for each in document["segments"]] == ["one", "two"]
    assert document["gaps"] == [{"start_frame": 10, "end_frame": 25}]


@pytest.mark.parametrize(
    ("line", "hidden"),
    [
        ("0.5", []),
        ("0.05", ["ash-quay"]),
        ("0.95", ["birch-quay"]),
        ("{from: 0.2, to: 0.8}", []),
        ("{from: 0, to: 0.1}", ["ash-quay"]),
    ],
)
def test_a_split_label_that_its_line_hides_is_found(
    project: Path, line: str, hidden: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    write(project, f"  - {{id: one, lasts: 2 s, show: {{split: {{panes: [ash-quay, birch-quay], line: {line}}}}}}}\n")
    main(["check", str(project), "--json"])
    found = [each for each in json.loads(capsys.readouterr().out)["findings"] if each["code"] == "label-hidden"]
    assert [name for each in found for name in ("ash-quay", "birch-quay") if name in each["what"]] == hidden
