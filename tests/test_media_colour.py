"""Colour bars of every common coding come out as the one coding we use, within a code.

Expected values: 100 % bars in BT.709, limited range, from Rec. ITU-T H.264 equations E-10 to E-12, tabled by hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from media_maker import write_clip

from assembler.errors import MediaError
from assembler.media.probe import probe
from assembler.media.reader import PaneShape, PictureReader

BARS = {  # R'G'B' -> (Y, Cb, Cr), 8 bits and 10 bits
    (1, 1, 1): ((235, 128, 128), (940, 512, 512)),
    (1, 1, 0): ((219, 16, 138), (877, 64, 553)),
    (0, 1, 1): ((188, 154, 16), (754, 615, 64)),
    (0, 1, 0): ((173, 42, 26), (691, 167, 105)),
    (1, 0, 1): ((78, 214, 230), (313, 857, 919)),
    (1, 0, 0): ((63, 102, 240), (250, 409, 960)),
    (0, 0, 1): ((32, 240, 118), (127, 960, 471)),
    (0, 0, 0): ((16, 128, 128), (64, 512, 512)),
}
# Luma weights KR, KB: H.264 table E-5. Code points: H.273 table 4.
WEIGHTS = {1: (0.2126, 0.0722), 5: (0.299, 0.114), 6: (0.299, 0.114), 9: (0.2627, 0.0593)}
WIDTH = 8


def bars(matrix: int, full: bool, bits: int, width: int, height: int, shared: tuple[int, int]) -> list[np.ndarray]:
    """The bars coded one way, side by side; rounding as in the standard."""
    red, blue = WEIGHTS[matrix]
    columns: list[tuple[float, ...]] = []
    unit = 1 << (bits - 8)
    for r, g, b in BARS:
        luma = red * r + (1 - red - blue) * g + blue * b
        cb, cr = (b - luma) / (2 * (1 - blue)), (r - luma) / (2 * (1 - red))
        top = (1 << bits) - 1
        if full:
            columns.append((top * luma, top * cb + 128 * unit, top * cr + 128 * unit))
        else:
            columns.append((unit * (219 * luma + 16), unit * (224 * cb + 128), unit * (224 * cr + 128)))
    kind = np.uint8 if bits == 8 else np.uint16
    codes = np.clip(np.floor(np.array(columns).T + 0.5), 0, (1 << bits) - 1).astype(kind)
    wide, high = width >> shared[0], height >> shared[1]
    return [
        np.tile(np.repeat(codes[0], width // WIDTH), (height, 1)),
        *(np.tile(np.repeat(codes[k], wide // WIDTH), (high, 1)) for k in (1, 2)),
    ]


def patches(path: Path, shape: PaneShape) -> list[tuple[int, int, int]]:
    with PictureReader(probe(path), shape) as reader:
        planes = reader.planes(0)
        found = []
        for bar in range(WIDTH):
            triple = []
            for plane in (planes.y, planes.u, planes.v):
                x = round((bar + 0.5) * plane.shape[1] / WIDTH)
                triple.append(int(plane[plane.shape[0] // 2, x]))
            found.append((triple[0], triple[1], triple[2]))
        assert planes.bits == shape.bits
    return found


def close(found: Sequence[tuple[int, int, int]], bits: int) -> bool:
    """Within one 8-bit code, so four 10-bit codes."""
    wanted = [values[bits == 10] for values in BARS.values()]
    return bool(np.abs(np.array(found) - np.array(wanted)).max() <= (1 if bits == 8 else 4))


FORMATS = [("yuv420p", 8, (1, 1)), ("yuv420p10le", 10, (1, 1)), ("yuv444p", 8, (0, 0)), ("yuv422p10le", 10, (1, 0))]


@pytest.mark.parametrize("scaling", ["lanczos", "bicubic", "area", "nearest"])
@pytest.mark.parametrize("layout", FORMATS, ids=lambda layout: layout[0])
@pytest.mark.parametrize("full", [False, True], ids=["limited", "full"])
@pytest.mark.parametrize("matrix", WEIGHTS)
def test_tagged_bars_come_out_as_ours(
    tmp_path: Path, matrix: int, full: bool, layout: tuple[str, int, tuple[int, int]], scaling: str
) -> None:
    pixel_format, bits, shared = layout
    planes = bars(matrix, full, bits, 256, 64, shared)
    tags = (1 if matrix == 1 else 6 if matrix in (5, 6) else 9, 1, matrix, 2 if full else 1)
    clip = write_clip(
        tmp_path / "a.mkv",
        pictures=1,
        size=(256, 64),
        pixel_format=pixel_format,
        codec="ffv1",
        colour=tags,
        draw=lambda *_: planes,
    )
    for out_bits in (8, 10):
        for size in ((256, 64), (128, 32), (384, 96)):
            found = patches(clip, PaneShape(*size, None, scaling, out_bits))
            assert close(found, out_bits), (size, out_bits, found)


@pytest.mark.parametrize("bits", [8, 10])
@pytest.mark.parametrize(("height", "matrix"), [(360, 6), (576, 6), (720, 1), (1080, 1)])
def test_untagged_bars_follow_the_rule_of_size(tmp_path: Path, height: int, matrix: int, bits: int) -> None:
    planes = bars(matrix, False, bits, 256, height, (1, 1))
    pixel_format = "yuv420p" if bits == 8 else "yuv420p10le"
    clip = write_clip(
        tmp_path / "a.mkv",
        pictures=1,
        size=(256, height),
        pixel_format=pixel_format,
        codec="ffv1",
        draw=lambda *_: planes,
    )
    assert probe(clip).colour.matrix == 2
    for size in ((256, height), (128, height // 4 * 2)):
        assert close(patches(clip, PaneShape(*size, None, "lanczos", bits)), bits)


def test_the_wrong_matrix_would_be_seen(tmp_path: Path) -> None:
    """The check can fail: 601 bars tagged as 709 are far off."""
    planes = bars(6, False, 8, 256, 64, (1, 1))
    clip = write_clip(
        tmp_path / "a.mkv", pictures=1, size=(256, 64), codec="ffv1", colour=(1, 1, 1, 1), draw=lambda *_: planes
    )
    assert not close(patches(clip, PaneShape(128, 32, None, "lanczos")), 8)


@pytest.mark.parametrize("codec", ["libx264", "libx265", "prores_ks"])
def test_tags_are_found_in_streams_and_containers(tmp_path: Path, codec: str) -> None:
    shared, pixel_format, bits = ((1, 0), "yuv422p10le", 10) if codec == "prores_ks" else ((1, 1), "yuv420p", 8)
    planes = bars(6, False, bits, 256, 64, shared)
    clip = write_clip(
        tmp_path / ("a.mov" if codec == "prores_ks" else "a.mp4"),
        pictures=1,
        size=(256, 64),
        pixel_format=pixel_format,
        codec=codec,
        colour=(6, 6, 6, 1),
        options={"qp": "0"}
        if codec == "libx264"
        else {"x265-params": "lossless=1"}
        if codec == "libx265"
        else {"qscale": "1"},
        draw=lambda *_: planes,
    )
    assert probe(clip).colour.matrix == 6
    assert close(patches(clip, PaneShape(128, 32, None, "lanczos")), 8)


def test_rgb_and_jpeg_coded_captures(tmp_path: Path) -> None:
    codes = np.array(list(BARS), np.uint8) * 255
    picture = np.tile(np.repeat(codes, 32, axis=0), (64, 1, 1))
    rgb = write_clip(
        tmp_path / "rgb.mkv",
        pictures=1,
        size=(256, 64),
        pixel_format="bgr0",
        codec="ffv1",
        draw=lambda *_: [np.dstack([picture[..., ::-1], np.zeros((64, 256), np.uint8)])],
    )
    jpeg = write_clip(
        tmp_path / "jpeg.avi",
        pictures=1,
        size=(256, 64),
        pixel_format="yuvj420p",
        codec="mjpeg",
        options={"qmin": "1", "qmax": "1"},
        draw=lambda *_: bars(5, True, 8, 256, 64, (1, 1)),
    )
    for clip in (rgb, jpeg):
        assert probe(clip).colour.full_range
        for size in ((256, 64), (128, 32)):
            for scaling in ("lanczos", "nearest"):
                for bits in (8, 10):
                    assert close(patches(clip, PaneShape(*size, None, scaling, bits)), bits)


@pytest.mark.parametrize("size", [(255, 63), (256, 63), (255, 64)])
def test_odd_sizes_are_converted_too(tmp_path: Path, size: tuple[int, int]) -> None:
    planes = [
        plane[: -(-size[1] // share), : -(-size[0] // share)]
        for plane, share in zip(bars(6, True, 8, 256, 64, (1, 1)), (1, 2, 2), strict=True)
    ]
    clip = write_clip(
        tmp_path / "a.mkv", pictures=1, size=size, codec="ffv1", colour=(6, 6, 6, 2), draw=lambda *_: planes
    )
    for scaling in ("lanczos", "nearest"):
        assert close(patches(clip, PaneShape(512, 128, None, scaling)), 8)


def test_codes_beyond_the_legal_range_live_on(tmp_path: Path) -> None:
    # Luma 250 with neutral chroma is whiter than white; it is the same code under either matrix.
    planes = [np.full((64, 64), 250, np.uint8), *(np.full((32, 32), 128, np.uint8) for _ in range(2))]
    clip = write_clip(
        tmp_path / "a.mkv", pictures=1, size=(64, 64), codec="ffv1", colour=(6, 6, 6, 1), draw=lambda *_: planes
    )
    with PictureReader(probe(clip), PaneShape(32, 32, None, "lanczos")) as reader:
        assert set(np.unique(reader.planes(0).y)) == {250}


def test_grey_captures_are_refused(tmp_path: Path) -> None:
    ramp = np.tile(np.arange(16, 208, 3, dtype=np.uint8), (32, 1))
    clip = write_clip(
        tmp_path / "a.mkv", pictures=1, size=(64, 32), pixel_format="gray", codec="ffv1", draw=lambda *_: [ramp]
    )
    with pytest.raises(MediaError, match="grey"), PictureReader(probe(clip), PaneShape(64, 32, None, "area")) as reader:
        reader.planes(0)


def test_a_matrix_that_cannot_be_converted_is_refused(tmp_path: Path) -> None:
    # 8 is YCgCo (H.273 table 4).
    clip = write_clip(tmp_path / "a.mkv", pictures=1, codec="ffv1", colour=(1, 1, 8, 1))
    with (
        pytest.raises(MediaError, match="matrix 8"),
        PictureReader(probe(clip), PaneShape(80, 44, None, "area")) as reader,
    ):
        reader.planes(0)
