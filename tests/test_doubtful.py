"""The sheet of doubtful pictures: what is on it, what it says to write, and what it will not write over."""

from __future__ import annotations

import json
import os
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from planted import Coder, encode, plan, scene, shown

from assembler.cli.main import main
from assembler.measure.clock import Clock
from assembler.measure.overrides import by_hand_path, read_by_hand
from assembler.media.planes import Planes, blank
from assembler.media.probe import probe
from assembler.picture.doubtful import DARKER, LIGHTER, coloured, draw_doubtful, factor_for, rgb_of, verdict_lines
from assembler.picture.look import GROUND
from assembler.picture.made import write_rgb
from assembler.picture.text import default_fonts

from graphs_maker import cadence  # isort: skip

SIZE = (320, 180)
FONTS = default_fonts()
RENDERS = scene("pan made1", 60, size=SIZE, speed=3)


@pytest.fixture(scope="module")
def capture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("footage") / "ash.mp4"
    return encode(
        path, shown(scene("pan made1", 60, size=SIZE, speed=3), plan("30", 120)), Coder("libx264", "fast", 20)
    )


def resized(luma: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    return np.asarray(Image.fromarray(luma.astype(np.float32)).resize(size, Image.Resampling.BOX))


def drawn(capture: Path, pictures: tuple[int, ...], path: Path) -> np.ndarray:
    draw_doubtful(probe(capture), cadence([True] * 120), pictures, by_hand_path(capture), path, FONTS)
    with Image.open(path) as image:
        assert image.format == "PNG"
        return np.asarray(image.convert("RGB")).astype(float)


# Where the first cell begins, and the second beside it; the small pictures' size, and the difference's.
TOP, LEFT, SECOND, SMALL, LARGE = 192, 56, 984, (288, 162), (584, 332)


def test_the_difference_of_a_new_picture_follows_the_scene_and_that_of_a_repeat_does_not(
    capture: Path, tmp_path: Path
) -> None:
    pixels = drawn(capture, (40, 41), tmp_path / "sheet.png")
    # Picture 40 shows the 21st render after the 20th; 41 shows it again. Orange less blue: grown lighter.
    true = resized(RENDERS[20].astype(float) - RENDERS[19], LARGE)
    alike = []
    for left in (LEFT, SECOND):
        cell = pixels[TOP : TOP + LARGE[1], left + 296 : left + 296 + LARGE[0]]
        alike.append(np.corrcoef((cell[..., 0] - cell[..., 2]).ravel(), true.ravel())[0, 1])
    assert alike[0] > 0.7 and abs(alike[1]) < 0.2


def test_the_small_pictures_are_the_one_before_and_the_doubtful_one(capture: Path, tmp_path: Path) -> None:
    pixels = drawn(capture, (40,), tmp_path / "sheet.png")
    for render, row in ((19, TOP), (20, TOP + SMALL[1] + 8)):
        seen = pixels[row : row + SMALL[1], LEFT : LEFT + SMALL[0]].mean(axis=2)
        far = [np.abs(seen - resized((RENDERS[k] - 16.0) * 255 / 219, SMALL)).mean() for k in range(15, 25)]
        assert 15 + int(np.argmin(far)) == render


def test_grown_light_and_grown_dark_have_their_own_colours_and_nothing_is_ground() -> None:
    shown_as = coloured(np.array([[0.0, 32.0, -32.0, 16.0]]), 4)
    assert [tuple(pixel) for pixel in shown_as[0, :3]] == [GROUND, LIGHTER, DARKER]
    half = [round((a + b) / 2) for a, b in zip(GROUND, LIGHTER, strict=True)]
    assert np.abs(shown_as[0, 3].astype(int) - half).max() <= 1


@pytest.mark.parametrize(("change", "factor"), [(0.0, 64), (1.9, 64), (2.1, 32), (60.0, 2), (120.0, 1), (219.0, 1)])
def test_the_factor_brings_a_faint_change_up_and_leaves_a_strong_one(change: float, factor: int) -> None:
    assert factor_for(np.full((90, 160), change)) == factor


@pytest.mark.parametrize("bits", [8, 10])
def test_colours_come_back_from_planes(bits: int) -> None:
    """The way there is the one that project pictures take, tested for itself against BT.709."""
    colours = np.array([[[200, 40, 40], [30, 160, 60]], [[40, 60, 220], [128, 128, 128]]], np.uint8)
    picture = colours.repeat(2, axis=0).repeat(2, axis=1)
    canvas: Planes = blank(4, 4, bits=bits)
    write_rgb(picture, canvas)
    assert np.abs(rgb_of(canvas).astype(int) - picture).max() <= 2


def test_the_lines_to_write_can_be_read_as_they_stand() -> None:
    verdicts = cadence([True, False, True, True, False])
    read = read_by_hand(verdict_lines((4, 2, 1), verdicts), "ash.by-hand.yaml", Clock.even(5, 60))
    assert read.pictures == ((1, False), (2, True), (4, False))


def test_the_command_draws_what_it_lists_and_leaves_out_what_was_decided(
    capture: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wanted = ["measure", str(capture), "--project", str(tmp_path), "--doubtful", str(tmp_path / "a.png"), "--json"]
    assert main(wanted) == 0
    doubt = json.loads(capsys.readouterr().out)["doubtful"]
    with Image.open(doubt["sheet"]) as image:
        assert image.width == 1920
    assert 1 <= len(doubt["pictures"]) <= 12 and 0 not in doubt["pictures"]
    Path(doubt["by_hand_file"]).write_text(doubt["lines"], encoding="utf-8")
    try:
        assert main(wanted) == 0
        later = json.loads(capsys.readouterr().out)
    finally:
        Path(doubt["by_hand_file"]).unlink()
    (summary,) = later["captures"].values()
    assert summary["by_hand"] == len(doubt["pictures"])
    assert not set(later["doubtful"]["pictures"]) & set(doubt["pictures"])


def test_the_capture_and_other_endings_are_refused(
    capture: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "sheet.png"
    os.link(capture, other)
    for path, said in ((other, "would take its place"), (tmp_path / "a.svg", "does not end in .png")):
        assert main(["measure", str(capture), "--project", str(tmp_path), "--doubtful", str(path)]) == 2
        assert said in capsys.readouterr().err
    assert other.samefile(capture)
    assert main(["measure", str(capture), str(other), "--project", str(tmp_path), "--doubtful", "b.png"]) == 2
    assert "pictures of one capture" in capsys.readouterr().err
