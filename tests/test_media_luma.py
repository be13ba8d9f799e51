"""Luma as stored, picture by picture, of clips whose pictures carry numbers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from media_maker import number_in, number_picture, write_clip

from assembler.errors import MediaError
from assembler.media.luma import Luma, read_luma
from assembler.media.probe import probe


def number(luma: Luma) -> int:
    eight = (luma.lines[:, : luma.width] // luma.code).astype(np.uint8)
    return number_in(eight)


@pytest.mark.parametrize("first", [0, 1, 17, 39])
def test_reading_begins_at_any_picture_and_goes_on_to_the_end(tmp_path: Path, first: int) -> None:
    path = write_clip(tmp_path / "a.mp4", pictures=40, options={"g": "12", "bf": "3"})
    read = [(luma.index, number(luma)) for luma in read_luma(probe(path), first)]
    assert read == [(k, k) for k in range(first, 40)]


@pytest.mark.parametrize("start_s", [-1, 5])
def test_pictures_hidden_by_an_edit_list_are_not_read(tmp_path: Path, start_s: int) -> None:
    path = write_clip(tmp_path / "a.mp4", pictures=45, start_s=start_s, options={"g": "10"})
    info = probe(path)
    read = [number(luma) for luma in read_luma(info, 2)]
    assert len(read) == info.pictures - 2
    assert read == list(range(45 - len(read), 45))


def test_ten_bits_are_read_as_they_are(tmp_path: Path) -> None:
    path = write_clip(tmp_path / "a.mkv", pictures=3, pixel_format="yuv420p10le", codec="ffv1")
    for luma in read_luma(probe(path)):
        assert (luma.code, luma.lines.dtype) == (4, np.uint16)
        assert np.array_equal(luma.lines[:, : luma.width], number_picture(luma.index, 160, 90, bits=10))


@pytest.mark.parametrize("pixel_format", ["bgr0", "gbrp10le"])
def test_pictures_without_a_plane_of_luma_can_be_read(tmp_path: Path, pixel_format: str) -> None:
    deep = pixel_format == "gbrp10le"

    def draw(k: int, width: int, height: int) -> list[np.ndarray]:
        grey = number_picture(k, width, height, bits=10 if deep else 8)
        return [grey] * 3 if deep else [np.repeat(grey, 4, axis=1)]

    path = write_clip(tmp_path / "a.mkv", pictures=4, pixel_format=pixel_format, codec="ffv1", draw=draw)
    read = list(read_luma(probe(path)))
    assert [number(luma) for luma in read] == [0, 1, 2, 3]
    assert {luma.code for luma in read} == {4 if deep else 1}


def test_a_capture_that_was_replaced_since_is_refused(tmp_path: Path) -> None:
    path = write_clip(tmp_path / "a.mp4", pictures=40)
    info = probe(path)
    write_clip(path, pictures=20)
    with pytest.raises(MediaError, match="picture 21 is missing"):
        list(read_luma(info))
