"""Pictures by number: the right one in any order, whole pixels kept whole, nothing silently wrong."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from clip_variants import HIDDEN, VARIANTS
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from media_maker import BT709, fill_frame, number_in, write_clip

from assembler.errors import MediaError
from assembler.media.probe import probe
from assembler.media.reader import PaneShape, PictureReader, stored_crop

LOSSLESS = {"qp": "0"}


@pytest.mark.parametrize("variant", VARIANTS)
def test_any_order_of_numbers_gives_those_pictures(variant: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    name, how = VARIANTS[variant]
    hidden = HIDDEN.get(variant, 0)
    info = probe(write_clip(tmp_path_factory.mktemp("clip") / name, pictures=40, **how))
    last = info.pictures - 1
    runs = st.tuples(st.integers(0, last), st.integers(1, 8)).map(lambda run: list(range(run[0], run[0] + run[1])))

    @settings(max_examples=8, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
    @given(order=st.lists(runs, min_size=1, max_size=5), scaling=st.sampled_from(["lanczos", "nearest"]))
    def check(order: list[list[int]], scaling: str) -> None:
        with PictureReader(info, PaneShape(96, 54, None, scaling)) as reader:
            for index in (i for run in order for i in run if i <= last):
                assert number_in(reader.planes(index).y) == index + hidden

    check()
    with PictureReader(info, PaneShape(96, 54, None, "area")) as reader:
        assert [number_in(reader.planes(i).y) for i in range(info.pictures)] == [*range(hidden, hidden + info.pictures)]


def noise(width: int, height: int, *, bits: int = 8, shared: int = 2, seed: int = 5) -> list[np.ndarray]:
    """Random legal planes; chroma shared by `shared` x `shared` luma pixels."""
    random = np.random.default_rng(seed)
    kind = np.uint8 if bits == 8 else np.uint16
    sizes = [(height, width)] + [(-(-height // shared), -(-width // shared))] * 2
    return [random.integers(64 << (bits - 8), 200 << (bits - 8), size).astype(kind) for size in sizes]


def still_clip(path: Path, planes: Sequence[np.ndarray], pixel_format: str = "yuv420p", **more: Any) -> Path:
    """A lossless clip of a few equal pictures."""
    height, width = planes[0].shape
    more.setdefault("colour", BT709)
    return write_clip(
        path, pictures=3, size=(width, height), pixel_format=pixel_format, codec="ffv1", draw=lambda *_: planes, **more
    )


def shown(path: Path, shape: PaneShape) -> list[np.ndarray]:
    with PictureReader(probe(path), shape) as reader:
        planes = reader.planes(1)
        return [planes.y.copy(), planes.u.copy(), planes.v.copy()]


@pytest.mark.parametrize("bits", [8, 10])
@pytest.mark.parametrize("crop", [(0, 0, 32, 20), (8, 6, 16, 10), (7, 5, 16, 10), (9, 0, 13, 11)])
def test_a_fourfold_nearest_zoom_shows_each_pixel_as_a_block(
    tmp_path: Path, bits: int, crop: tuple[int, int, int, int]
) -> None:
    planes = noise(32, 20, bits=bits)
    clip = still_clip(tmp_path / "a.mkv", planes, "yuv420p" if bits == 8 else "yuv420p10le")
    x, y, width, height = crop
    luma, *chroma = shown(clip, PaneShape(4 * width, 4 * height, crop, "nearest", bits))
    assert np.array_equal(luma, np.kron(planes[0][y : y + height, x : x + width], np.ones((4, 4), planes[0].dtype)))
    for got, full in zip(chroma, planes[1:], strict=True):
        # Chroma of a luma pixel is the sample it shares; the output's chroma sits on even output pixels.
        for_each = np.kron(full, np.ones((2, 2), full.dtype))[y : y + height, x : x + width]
        assert np.array_equal(got, np.kron(for_each, np.ones((2, 2), full.dtype)))


def test_nearest_keeps_chroma_of_fully_sampled_captures(tmp_path: Path) -> None:
    planes = noise(32, 20, shared=1)
    clip = still_clip(tmp_path / "a.mkv", planes, "yuv444p")
    got = shown(clip, PaneShape(64, 40, None, "nearest"))
    for values, source in zip(got[1:], planes[1:], strict=True):
        assert np.array_equal(values, source)


@pytest.mark.parametrize("scaling", ["lanczos", "bicubic", "area", "nearest"])
@pytest.mark.parametrize("crop", [None, (4, 2, 16, 10), (5, 2, 16, 10), (4, 3, 16, 10), (5, 3, 16, 10)])
def test_a_crop_shown_at_its_own_size_is_not_touched(
    tmp_path: Path, scaling: str, crop: tuple[int, int, int, int] | None
) -> None:
    planes = noise(32, 20)
    x, y, width, height = crop or (0, 0, 32, 20)
    luma, *chroma = shown(still_clip(tmp_path / "a.mkv", planes), PaneShape(width, height, crop, scaling))
    assert np.array_equal(luma, planes[0][y : y + height, x : x + width])
    if x % 2 == 0 and y % 2 == 0:
        for got, full in zip(chroma, planes[1:], strict=True):
            assert np.array_equal(got, full[y // 2 : (y + height) // 2, x // 2 : (x + width) // 2])


@pytest.mark.parametrize("zoom", [1, 2])
@pytest.mark.parametrize("x", [4, 5])
@pytest.mark.parametrize("y", [4, 5])
def test_chroma_stays_under_its_luma_for_odd_crops(tmp_path: Path, zoom: int, x: int, y: int) -> None:
    """Ramps: a shared sample, sited on the left luma pixel of its pair and between its two lines."""
    across = np.tile((40 + 4 * np.arange(32)).astype(np.uint8), (40, 1))  # 2 codes a luma pixel
    down = np.tile((40 + 4 * np.arange(40)).astype(np.uint8)[:, None], (1, 32))
    luma = np.full((80, 64), 100, np.uint8)
    clip = still_clip(tmp_path / "a.mkv", [luma, across, down])
    _, u, v = shown(clip, PaneShape(48 * zoom, 64 * zoom, (x, y, 48, 64), "bicubic"))
    middle = 12 * zoom
    # By hand: output chroma c lies at output luma 2c; that is source luma x + (2c + 1/2) / zoom - 1/2.
    source_x = x + (2 * middle + 0.5) / zoom - 0.5
    assert abs(float(u[10, middle]) - (40 + 2 * source_x)) <= 1
    # Down, chroma c lies at output luma 2c + 1/2, and source sample j at luma 2j + 1/2.
    source_y = y + (2 * middle + 1) / zoom - 0.5
    assert abs(float(v[middle, 10]) - (40 + 2 * (source_y - 0.5))) <= 1


@pytest.mark.parametrize("zoom", [1, 2])
def test_chroma_of_fully_sampled_captures_lands_on_left_pixels(tmp_path: Path, zoom: int) -> None:
    ramp = np.tile((40 + 3 * np.arange(64)).astype(np.uint8), (32, 1))
    clip = still_clip(tmp_path / "a.mkv", [np.full((32, 64), 100, np.uint8), ramp, ramp], "yuv444p")
    _, u, _ = shown(clip, PaneShape(64 * zoom, 32 * zoom, None, "bicubic"))
    middle = 16 * zoom
    # Source: left siting is what H.264 and HEVC mean where nothing else is said (H.264 annex E, chroma_loc 0).
    assert abs(float(u[10, middle]) - (40 + 3 * ((2 * middle + 0.5) / zoom - 0.5))) <= 0.8


@pytest.mark.parametrize("scaling", ["nearest", "bicubic"])
@pytest.mark.parametrize("rotation", [90, 180, 270])
@pytest.mark.parametrize("crop", [None, (2, 8, 12, 18)])
def test_pictures_are_turned_the_way_players_turn_them(
    tmp_path: Path, rotation: int, scaling: str, crop: tuple[int, int, int, int] | None
) -> None:
    imageio_ffmpeg = pytest.importorskip("imageio_ffmpeg")
    import subprocess

    random = np.random.default_rng(3)
    planes = [
        np.kron(random.integers(64, 200, (h, w)), np.ones((8, 8))).astype(np.uint8) for h, w in ((5, 8), (3, 4), (3, 4))
    ]
    planes = [planes[0], planes[1][:20, :32], planes[2][:20, :32]]
    clip = write_clip(
        tmp_path / "a.mp4",
        pictures=2,
        size=(64, 40),
        rotation=rotation,
        colour=BT709,
        options=LOSSLESS,
        draw=lambda *_: planes,
    )
    info = probe(clip)
    # Outside source: the ffmpeg program turns pictures by itself before it hands them on.
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-i", str(clip), "-frames:v", "1"]
    raw = subprocess.run(
        [*command, "-f", "rawvideo", "-pix_fmt", "yuv420p", "-"], capture_output=True, check=True
    ).stdout
    turned = np.frombuffer(raw, np.uint8)[: 64 * 40].reshape(info.height, info.width)
    x, y, width, height = crop or (0, 0, info.width, info.height)
    expected = np.kron(turned[y : y + height, x : x + width], np.ones((4, 4), np.uint8))
    with PictureReader(info, PaneShape(4 * width, 4 * height, crop, scaling)) as reader:
        luma = reader.planes(0).y.astype(int)
    if scaling == "nearest":
        assert np.array_equal(luma, expected)
    else:  # equal but at the edges of the drawn blocks
        assert np.mean(np.abs(luma - expected) <= 1) > 0.6


@given(
    rotation=st.sampled_from([0, 90, 180, 270]),
    data=st.data(),
)
def test_a_crop_names_the_same_pixels_before_turning(rotation: int, data: st.DataObject) -> None:
    stored = np.arange(12 * 17).reshape(12, 17)
    turned = np.rot90(stored, -rotation // 90)
    x = data.draw(st.integers(0, turned.shape[1] - 1))
    y = data.draw(st.integers(0, turned.shape[0] - 1))
    width = data.draw(st.integers(1, turned.shape[1] - x))
    height = data.draw(st.integers(1, turned.shape[0] - y))
    left, top, wide, high = stored_crop((x, y, width, height), 17, 12, rotation)
    cut = np.rot90(stored[top : top + high, left : left + wide], -rotation // 90)
    assert np.array_equal(cut, turned[y : y + height, x : x + width])


def test_a_repeated_picture_is_the_same_planes_and_two_live_on(tmp_path: Path) -> None:
    info = probe(write_clip(tmp_path / "a.mp4", pictures=20))
    with PictureReader(info, PaneShape(80, 44, None, "lanczos")) as reader:
        first = reader.planes(3)
        assert reader.planes(3) is first
        reader.planes(4)
        assert number_in(first.y) == 3
        assert reader.planes(3) is first  # going back by one, as a frozen pane may, decodes nothing
        kept = first.y
    assert number_in(kept) == 3
    with pytest.raises(IndexError), PictureReader(info, PaneShape(80, 44, None, "lanczos")) as reader:
        reader.planes(20)


@pytest.mark.parametrize(
    ("scaling", "size", "lasting"),
    [("area", 80, True), ("lanczos", 96, True), ("nearest", 80, False), ("lanczos", 160, False)],
)
def test_scaled_pictures_stay_as_they_are_for_as_long_as_they_are_held(
    tmp_path: Path, scaling: str, size: int, lasting: bool
) -> None:
    # Those that are picked are views of what was decoded, which nobody should hold for long.
    path = write_clip(tmp_path / "clip.mp4", pictures=40, size=(160, 96))
    held, copies = [], []
    with PictureReader(probe(path), PaneShape(size, size * 96 // 160 // 2 * 2, None, scaling)) as reader:
        for index in range(40):
            planes = reader.planes(index)
            assert reader.lasting == lasting
            held.append(planes)
            copies.append([plane.copy() for plane in (planes.y, planes.u, planes.v)])
    if lasting:
        for planes, copy in zip(held, copies, strict=True):
            assert all(np.array_equal(a, b) for a, b in zip((planes.y, planes.u, planes.v), copy, strict=True))
        assert len({plane[0].tobytes() for plane in copies}) == 40


def test_shapes_that_cannot_be_are_refused(tmp_path: Path) -> None:
    info = probe(write_clip(tmp_path / "a.mp4", pictures=1))
    for crop in ((0, 0, 161, 90), (-1, 0, 10, 10), (0, 85, 10, 6), (0, 0, 0, 5)):
        with pytest.raises(ValueError, match="outside"):
            PictureReader(info, PaneShape(80, 44, crop, "lanczos"))
    for shape in ((81, 44, "lanczos", 8), (80, 0, "lanczos", 8), (80, 44, "blur", 8), (80, 44, "area", 12)):
        with pytest.raises(ValueError, match=r"even|scaling|bits"):
            PaneShape(shape[0], shape[1], None, shape[2], shape[3])


def test_a_damaged_picture_is_an_error_with_its_time(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "a.mp4", pictures=60, options={"g": "15"})
    info = probe(clip)
    with av.open(str(clip)) as container:
        packet = next(p for p in container.demux(video=0) if p.pts == int(info.pts[40]))
        at, size = packet.pos, packet.size
    data = bytearray(clip.read_bytes())
    data[at : at + size] = bytes(size)
    clip.write_bytes(data)
    with PictureReader(info, PaneShape(80, 44, None, "lanczos")) as reader:
        assert number_in(reader.planes(20).y) == 20
        with pytest.raises(MediaError, match=r"a\.mp4' cannot be read past 00:01\.[23]\d\d"):
            for index in range(21, 60):
                reader.planes(index)
        assert number_in(reader.planes(50).y) == 50  # what lies beyond the fault can still be had


@pytest.mark.parametrize(
    ("rate", "why"), [(25, "has changed"), (Fraction(30_000, 1_001), "has changed"), (15, "picture 8 is missing")]
)
def test_a_capture_that_changed_after_probing_is_noticed(tmp_path: Path, rate: Fraction, why: str) -> None:
    clip = write_clip(tmp_path / "a.mp4", pictures=30)
    info = probe(clip)
    write_clip(clip, pictures=30, rate=rate)
    with (
        pytest.raises(MediaError, match=why),
        PictureReader(info, PaneShape(80, 44, None, "area")) as reader,
    ):
        reader.planes(7)


def test_a_change_of_picture_size_is_noticed(tmp_path: Path) -> None:
    """An intra-only stream may change size in the middle; its header does not say so."""
    path = tmp_path / "a.avi"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("mjpeg", rate=30)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuvj420p"
        for k in range(10):
            small = k >= 5
            coder = av.CodecContext.create("mjpeg", "w")
            coder.width, coder.height = (32, 24) if small else (64, 48)
            coder.pix_fmt, coder.time_base = "yuvj420p", Fraction(1, 30)
            frame = av.VideoFrame(coder.width, coder.height, "yuvj420p")
            fill_frame(frame, [np.full((plane.height, plane.width), 100, np.uint8) for plane in frame.planes])
            frame.pts = k
            for packet in coder.encode(frame):
                packet.stream, packet.pts, packet.dts, packet.time_base = stream, k, k, Fraction(1, 30)
                out.mux(packet)
    with PictureReader(probe(path), PaneShape(32, 24, None, "area")) as reader:
        reader.planes(3)
        with pytest.raises(MediaError, match="change size"):
            reader.planes(6)
