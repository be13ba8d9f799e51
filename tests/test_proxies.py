"""Proxies: the capture's own times and pictures, read only where that shows no less, and chosen by what is shown."""

from __future__ import annotations

import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from media_maker import BT601, BT709, Array, number_in, write_clip

from assembler.errors import RenderError
from assembler.media import proxies, proxy_writing
from assembler.media.info import CaptureInfo
from assembler.media.luma import read_luma
from assembler.media.probe import probe
from assembler.media.proxies import Proxies, piece_info, piece_path, proxied_shape, proxy_shape, proxy_size
from assembler.media.proxy_writing import Beside, PieceWriter, make_pieces
from assembler.media.reader import PaneShape, PictureReader

SIZE = (1920, 1080)
PANE = PaneShape(640, 360, None, "lanczos")


@pytest.fixture(autouse=True)
def short_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pieces of few pictures, so that small clips have several."""
    for module in (proxies, proxy_writing):
        monkeypatch.setattr(module, "PIECE", 4)


def clip(path: Path, **more: Any) -> CaptureInfo:
    """Numbered pictures of a capture large enough for a proxy."""
    return probe(write_clip(path, **{"pictures": 10, "rate": 60, "size": SIZE, "colour": BT709} | more))


def proxy_of(info: CaptureInfo, folder: Path) -> Proxies:
    pieces = range(-(-info.pictures // 4))
    assert make_pieces(info, folder, pieces) == frozenset(pieces)
    return Proxies(folder, frozenset(pieces))


def times(info: CaptureInfo, folder: Path) -> list[Fraction]:
    """The times that the pieces carry, each piece moved to where its first picture is."""
    found = []
    for piece in range(-(-info.pictures // 4)):
        read = piece_info(info, piece, piece_path(folder, piece))
        assert read is not None
        found += [info.time_s(piece * 4) + int(at) * read.time_base for at in read.pts]
    return found


UNEVEN = [0, 1001, 1002, 4004, 9009, 9010, 20000, 20001, 33333, 90001]


@pytest.mark.parametrize(
    ("name", "more"),
    [
        ("even.mp4", {}),
        ("ntsc.mp4", {"rate": Fraction(60000, 1001)}),
        ("uneven.mp4", {"pts": UNEVEN}),
        ("uneven.mkv", {"pts": UNEVEN, "time_base": Fraction(1, 1000)}),
        ("late.mkv", {"start_s": Fraction(5)}),
        ("b-pictures.mp4", {"codec": "libx265", "options": {"x265-params": "bframes=3"}}),
    ],
)
def test_every_picture_is_there_at_its_own_time(tmp_path: Path, name: str, more: dict[str, Any]) -> None:
    info = clip(tmp_path / name, **more)
    proxy = proxy_of(info, tmp_path / "proxy")
    # Source: the capture's own timestamps, and the numbers drawn into its pictures.
    assert times(info, proxy.folder) == [info.time_s(k) for k in range(info.pictures)]
    with proxy.opened(info, PANE) as reader:
        for index in (0, 1, 2, 3, 4, 7, 8, 9, 5, 0):
            assert number_in(reader.planes(index).y) == index


def scene(number: int, width: int, height: int) -> list[Array]:
    """Soft colours and detail that move; codes in the legal range."""
    y, x = np.mgrid[:height, :width].astype(np.float32)
    luma = 128 + 60 * np.sin((x + 9 * number) / 31) + 40 * np.cos(y / 23 + x / 57)
    cy, cx = np.mgrid[: height // 2, : width // 2].astype(np.float32)
    blue, red = 128 + 70 * np.sin(cx / 90 + number), 128 + 70 * np.cos(cy / 70)
    return [plane.clip(16, 235).astype(np.uint8) for plane in (luma, blue, red)]


@pytest.mark.parametrize("colour", [BT709, BT601, (1, 1, 1, 2), None])
def test_colours_are_those_of_the_original(tmp_path: Path, colour: tuple[int, int, int, int] | None) -> None:
    info = clip(tmp_path / "a.mp4", pictures=4, colour=colour, draw=scene, options={"crf": "8"})
    proxy = proxy_of(info, tmp_path / "proxy")
    with PictureReader(info, PANE) as original, proxy.opened(info, PANE) as reader:
        for index in range(4):
            one, other = original.planes(index), reader.planes(index)
            for a, b in ((one.y, other.y), (one.u, other.u), (one.v, other.v)):
                error = a.astype(np.int16) - b
                # Tolerance of ours: a code on average, no bias to be seen. From memory: 48 dB is a code of error.
                assert abs(error.mean()) < 0.3
                assert np.sqrt((error.astype(float) ** 2).mean()) < 1.0
    read = piece_info(info, 0, piece_path(proxy.folder, 0))
    assert read is not None
    tagged = probe(read.path).colour
    assert (tagged.primaries, tagged.transfer) == (info.colour.primaries, info.colour.transfer)
    assert (tagged.matrix, tagged.full_range, tagged.assumed) == (1, False, "")  # converted once, and said so


def test_ten_bits_stay_ten(tmp_path: Path) -> None:
    info = clip(tmp_path / "a.mp4", pictures=4, pixel_format="yuv420p10le", codec="libx265")
    proxy = proxy_of(info, tmp_path / "proxy")
    assert probe(piece_path(proxy.folder, 0)).bits == 10
    with proxy.opened(info, PaneShape(640, 360, None, "lanczos", 10)) as reader:
        assert reader.planes(3).y.dtype == np.uint16
        assert number_in(reader.planes(3).y) == 3


def test_turned_captures_stand_upright(tmp_path: Path) -> None:
    info = clip(tmp_path / "a.mp4", pictures=4, rotation=90)
    assert proxy_size(info) == (404, 720) or proxy_size(info) == (406, 720) or proxy_size(info) == (720, 1280)
    shape = PaneShape(360, 640, None, "lanczos")
    with PictureReader(info, shape) as original, proxy_of(info, tmp_path / "proxy").opened(info, shape) as reader:
        assert np.abs(original.planes(2).y.astype(int) - reader.planes(2).y).mean() < 1


@pytest.mark.parametrize(
    ("shape", "crop"),
    [
        (PaneShape(1280, 720, None, "lanczos"), None),
        (PaneShape(640, 360, (0, 0, 960, 540), "lanczos"), (0, 0, 640, 360)),
        (PaneShape(320, 180, (300, 150, 900, 600), "area"), (200, 100, 600, 400)),
    ],
)
def test_what_shows_no_more_than_the_proxy_has_is_read_from_it(
    tmp_path: Path, shape: PaneShape, crop: tuple[int, int, int, int] | None
) -> None:
    info = clip(tmp_path / "a.mp4", pictures=1)
    small = proxied_shape(info, shape)
    assert small is not None
    assert small.crop == crop
    assert (small.width, small.height, small.scaling) == (shape.width, shape.height, shape.scaling)


@pytest.mark.parametrize(
    "shape",
    [
        PaneShape(1282, 720, None, "lanczos"),  # larger than the proxy
        PaneShape(960, 540, (0, 0, 960, 540), "lanczos"),  # one capture pixel to a pixel
        PaneShape(640, 360, None, "nearest"),  # pixels are to be counted
        PaneShape(320, 180, (1, 0, 960, 540), "lanczos"),  # begins between the proxy's pixels
    ],
)
def test_what_shows_more_is_read_from_the_original(tmp_path: Path, shape: PaneShape) -> None:
    assert proxied_shape(clip(tmp_path / "a.mp4", pictures=1), shape) is None


def test_a_small_capture_has_none(tmp_path: Path) -> None:
    info = clip(tmp_path / "a.mp4", pictures=2, size=(1280, 720))
    assert proxy_size(info) is None
    assert not proxies.pays(info)


def test_cost_decides(tmp_path: Path) -> None:
    # Our own rule: large HEVC pays, 1080p of few bits does not. Measured in benchmarks/proxies.py.
    light = clip(tmp_path / "a.mp4", pictures=2)
    assert not proxies.pays(light)
    heavy = clip(tmp_path / "b.mp4", pictures=2, codec="libx265", size=(3840, 2160))
    assert proxies.pays(heavy)
    assert not proxies.pays(probe(write_clip(tmp_path / "c.mp4", pictures=2, size=(640, 360))))


def test_the_pass_that_measures_makes_the_same_bytes(tmp_path: Path) -> None:
    info = clip(tmp_path / "a.mp4", draw=scene)
    alone = proxy_of(info, tmp_path / "alone")
    beside = Beside(info, tmp_path / "beside")
    assert sum(1 for _ in read_luma(info, 0, beside.take)) == 10
    beside.close()
    for piece in alone.pieces:
        made = piece_path(tmp_path / "beside", piece)
        assert made.read_bytes() == piece_path(alone.folder, piece).read_bytes()
    assert len(list((tmp_path / "beside").iterdir())) == 3


def test_a_stop_leaves_whole_pieces_only(tmp_path: Path) -> None:
    info = clip(tmp_path / "a.mp4")
    done = []

    def told(count: int) -> None:
        done.append(count)
        if len(done) == 6:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        make_pieces(info, tmp_path / "proxy", (0, 1, 2), told)
    assert [path.name for path in (tmp_path / "proxy").iterdir()] == ["00000000.mp4"]


def test_a_killed_process_leaves_nothing_that_is_taken_for_a_piece(tmp_path: Path) -> None:
    info = clip(tmp_path / "a.mp4")
    code = f"""
import os, sys
sys.path.insert(0, {str(Path(proxies.__file__).parents[2])!r})
from pathlib import Path
from assembler.media import proxies, proxy_writing
from assembler.media.probe import probe
for module in (proxies, proxy_writing):
    module.PIECE = 4
done = []
def told(count):
    done.append(count)
    if len(done) == 7:
        os.kill(os.getpid(), 9)
proxy_writing.make_pieces(probe(Path({str(info.path)!r})), Path({str(tmp_path / "proxy")!r}), (0, 1, 2), told)
"""
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == -9
    assert proxies.present(info, tmp_path / "proxy", (0, 1, 2)) == {0}


def test_a_piece_that_lacks_pictures_or_times_is_not_there(tmp_path: Path) -> None:
    info, other = clip(tmp_path / "a.mp4"), clip(tmp_path / "b.mp4", pts=UNEVEN)
    folder = proxy_of(other, tmp_path / "proxy").folder
    assert proxies.present(info, folder, (0, 1, 2)) == frozenset()
    path = piece_path(folder, 1)
    path.write_bytes(path.read_bytes()[:-300])
    assert proxies.present(other, folder, (0, 1, 2)) == {0, 2}
    with PictureReader(info, proxy_shape(info)) as reader:
        first = reader.planes(0)
    with pytest.raises(RenderError), PieceWriter(info, tmp_path / "short", 0) as writer:
        writer.write(first)
    assert list((tmp_path / "short").iterdir()) == []


def test_where_the_capture_cannot_be_read_its_own_pictures_stand_in(tmp_path: Path) -> None:
    info = clip(tmp_path / "a.mp4")
    proxy = proxy_of(info, tmp_path / "proxy")
    with Proxies(proxy.folder, frozenset({0, 2})).opened(info, PANE) as reader:
        assert [number_in(reader.planes(index).y) for index in range(10)] == list(range(10))
    piece_path(proxy.folder, 1).unlink()
    with proxy.opened(info, PANE) as reader, pytest.raises(Exception, match="cannot be read"):
        reader.planes(5)
