"""The demo's footage is what its truth file says, read back from the encoded files alone."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from scipy import signal

from assembler.measure.clock import Clock
from assembler.measure.overrides import read_by_hand

DEMO = Path(__file__).parents[1] / "projects_demo" / "harbour_lights"
LINES, SECONDS = 360, 3.4


@pytest.fixture(scope="module")
def demo() -> Iterator[Any]:
    sys.path.insert(0, str(DEMO))
    try:
        import make_footage

        yield make_footage
    finally:
        sys.path.remove(str(DEMO))


@pytest.fixture(scope="module")
def footage(demo: Any, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("footage")
    demo.make(folder, lines=LINES, seconds=SECONDS, only=("ash_quay", "birch_quay"), workers=1)
    return folder, json.loads((folder / "truth.json").read_text())


@pytest.fixture(scope="module")
def lumas(footage: tuple[Path, dict[str, Any]]) -> dict[str, list[np.ndarray]]:
    return {name: _lumas(footage[0] / f"{name}.mp4") for name in ("ash_quay", "birch_quay")}


def _luma(frame: av.VideoFrame) -> np.ndarray:
    plane = frame.planes[0]
    return np.frombuffer(plane, np.uint8).reshape(plane.height, plane.line_size)[:, : plane.width].copy()


def _lumas(path: Path) -> list[np.ndarray]:
    with av.open(str(path)) as file:
        return [_luma(frame) for frame in file.decode(video=0)]


def _strength(change: np.ndarray) -> float:
    """How much of a picture changed, the strip's own rows left out: it counts even where nothing else moves."""
    return float(np.mean(change[: LINES - 8]))


def _changes(pictures: list[np.ndarray]) -> np.ndarray:
    return np.array([
        _strength(np.abs(b.astype(int) - a.astype(int))) for a, b in pairwise(pictures)
    ])


def test_every_captured_frame_carries_its_own_number(lumas: dict[str, list[np.ndarray]]) -> None:
    # Source: the strip's definition (frame n is the n-th picture in the file); 3.4 s at 60 a second = 204.
    from strip import read_strip

    for pictures in lumas.values():
        assert [read_strip(picture) for picture in pictures] == list(range(204))


def test_strip_is_read_after_scaling_and_another_encode(demo: Any, tmp_path: Path) -> None:
    # Source: common practice for drafts, no source: 640 wide, H.264 at crf 23.
    from strip import draw_strip, read_strip

    numbers = [0, 1, 839, 2730, 1365, 4095] * 4
    rng = np.random.default_rng(1)
    path = tmp_path / "again.mp4"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=60, options={"crf": "23", "preset": "ultrafast"})
        stream.width, stream.height, stream.pix_fmt = 640, 360, "yuv420p"
        for pts, number in enumerate(numbers):
            luma = rng.integers(16, 60, (1080, 1920), np.uint8)
            draw_strip(luma, number)
            frame = demo._frame((luma, np.full((540, 960), 128, np.uint8), np.full((540, 960), 128, np.uint8)))
            small = frame.reformat(640, 360)
            small.pts, small.time_base = pts, Fraction(1, 60)
            out.mux(stream.encode(small))
        out.mux(stream.encode(None))
    assert [read_strip(picture) for picture in _lumas(path)] == numbers


def test_strip_refuses_a_picture_between_two_frames(demo: Any) -> None:
    # Source: 5 and 10 differ in four bits, so their mean has grey cells, by arithmetic.
    from strip import draw_strip, read_strip

    a, b = np.full((1080, 1920), 30, np.uint8), np.full((1080, 1920), 30, np.uint8)
    draw_strip(a, 5)
    draw_strip(b, 10)
    with pytest.raises(ValueError, match="neither"):
        read_strip(((a.astype(int) + b) // 2).astype(np.uint8))
    with pytest.raises(ValueError, match="no test strip"):
        read_strip(np.full((1080, 1920), 30, np.uint8))


def test_pictures_repeat_exactly_where_the_truth_says(
    footage: tuple[Path, dict[str, Any]], lumas: dict[str, list[np.ndarray]]
) -> None:
    # Source: the truth file for which frame is new; that a repeat moves far less than a new picture is the check.
    for name, pictures in lumas.items():
        new = np.array(footage[1]["captures"][name]["new"][1:])
        changes = _changes(pictures)
        assert changes[new].min() > 0.3, name
        if name == "ash_quay":
            assert new.all()
        else:
            assert 10 <= (~new).sum() <= 14  # from frame 180 every second of 24 repeats
            assert changes[~new].max() < 0.5 * changes[new].min()


def test_birch_began_21_frames_after_ash(lumas: dict[str, list[np.ndarray]]) -> None:
    # Source: the storyboard's `offset: -21 f`; the nearest picture is searched for, not looked up.
    def shape(picture: np.ndarray) -> np.ndarray:
        part = picture[: LINES - 12].astype(float)
        return (part - part.mean()) / part.std()

    ash = [shape(picture) for picture in lumas["ash_quay"][:48]]
    for index in (0, 7, 20):
        birch = shape(lumas["birch_quay"][index])
        away = [float(np.mean((birch - picture) ** 2)) for picture in ash]
        assert int(np.argmin(away)) == index + 21


def test_torn_pictures_join_two_moments(demo: Any) -> None:
    # Source: the definition of a tear: above the row the older picture, from it on the newer one.
    from dataclasses import replace

    from recipe import TAKES, shown, truth

    take = next(take for take in TAKES if take.id == "birch_quay")
    told = {tear["frame"]: tear for tear in truth(take, LINES)["tears"]}
    assert sorted(told) == [732, 735, 738, 741, 744, 747]
    machine = demo._Machine(replace(take, frames=760), LINES)
    rows = shown(take)
    old, torn, whole = (machine.captured(rows[index]) for index in (740, 741, 742))
    cut = told[741]["row"]
    assert cut == 624 * LINES // 1080 // 2 * 2
    for number, by in ((0, 1), (1, 2), (2, 2)):
        assert np.array_equal(torn[number][: cut // by], old[number][: cut // by])
        assert np.array_equal(torn[number][cut // by :], whole[number][cut // by :])
    assert not np.array_equal(old[0][cut:], whole[0][cut:])
    assert not np.array_equal(old[0][:cut], whole[0][:cut])


def test_held_pictures_follow_the_recipe() -> None:
    # Source: counted by hand from the storyboard's words: two refreshes; one, then three; six; three.
    sys.path.insert(0, str(DEMO))
    try:
        from recipe import TAKES, shown
    finally:
        sys.path.remove(str(DEMO))
    rows = shown(next(take for take in TAKES if take.id == "birch_quay"))
    new = "".join("N" if row.new else "." for row in rows)
    assert new[:180] == "N" * 180
    assert new[180:300] == "N." * 60
    assert new[480:600] == "NN.." * 30
    assert new[660:666] == "N....."
    assert new[720:780] == "N.." * 20
    assert new.count("N") == 840 - 60 - 60 - 5 - 40
    assert [row.scene for row in rows[480:488]] == [501, 502, 502, 502, 505, 506, 506, 506]


def test_bell_is_heard_at_its_scene_time_on_both_machines(footage: tuple[Path, dict[str, Any]]) -> None:
    # Source: the recipe (a bell at 2.5 s of the scene; Birch's sound begins 21/60 s later); found as the first
    # rise of the band round the bell's second partial, which the water has not.
    for name, begins in (("ash_quay", Fraction(0)), ("birch_quay", Fraction(21, 60))):
        with av.open(str(footage[0] / f"{name}.mp4")) as file:
            resampler = av.AudioResampler(format="fltp", layout="mono", rate=48000)
            blocks = []
            for frame in file.decode(audio=0):
                assert frame.pts is not None
                if frame.pts * frame.time_base < 0:
                    continue
                blocks += [part.to_ndarray()[0] for part in resampler.resample(frame)]
        heard = np.concatenate(blocks)
        band = signal.sosfiltfilt(signal.butter(2, (1950, 3000), "band", fs=48000, output="sos"), heard)
        level = np.sqrt(np.convolve(band**2, np.ones(96) / 96, mode="same"))
        first = int(np.argmax(level > 0.5 * level.max()))
        assert abs(first / 48000 - float(Fraction(5, 2) - begins)) < 0.012, name
        told = footage[1]["captures"][name]["sounds"][0]
        assert told["name"] == "bell"
        assert told["capture_s"] == pytest.approx(float(Fraction(5, 2) - begins))


def test_footage_is_made_once_and_made_again_when_a_file_is_gone(demo: Any, tmp_path: Path) -> None:
    # Source: the tool's own promise, no outside source.
    def make() -> dict[str, Any]:
        return demo.make(tmp_path, lines=LINES, seconds=0.1, only=("ash_quay",), workers=1)

    first = make()
    stamp = (tmp_path / "ash_quay.mp4").stat().st_mtime_ns
    assert make() == first
    assert (tmp_path / "ash_quay.mp4").stat().st_mtime_ns == stamp
    (tmp_path / "ash_quay.mp4").unlink()
    assert make() == first
    assert (tmp_path / "ash_quay.mp4").exists()
    made = ["ash_quay.mp4", "ash_quay.mp4.by-hand.yaml", "truth.json"]
    assert sorted(path.name for path in tmp_path.iterdir()) == made
    shutil.rmtree(tmp_path)


def test_measuring_is_told_to_leave_the_strip_out_and_a_persons_verdicts_stay(demo: Any, tmp_path: Path) -> None:
    demo.make(tmp_path, lines=LINES, seconds=0.1, only=("ash_quay",), workers=1)
    path = tmp_path / "ash_quay.mp4.by-hand.yaml"
    found = read_by_hand(path.read_text(), path.name, Clock.even(6, Fraction(60), LINES), LINES * 16 // 9)
    (mask,) = found.masks
    assert mask.x == 0 and mask.y + mask.height == LINES and mask.width >= 16 * 12 * LINES / 1080
    path.write_text("pictures: {3: repeat}\n")
    demo.make(tmp_path, lines=LINES, seconds=0.1, only=("ash_quay",), workers=1)
    assert path.read_text() == "pictures: {3: repeat}\n"


def test_colours_are_tagged_as_bt709_limited(footage: tuple[Path, dict[str, Any]]) -> None:
    # Source: ITU-T H.273: 1 is BT.709 for primaries, transfer and matrix; FFmpeg's range 1 is limited.
    with av.open(str(footage[0] / "birch_quay.mp4")) as file:
        frame = next(file.decode(video=0))
        assert (frame.color_primaries, frame.color_trc, frame.colorspace, frame.color_range) == (1, 1, 1, 1)
        assert (frame.width, frame.height) == (640, 360)
