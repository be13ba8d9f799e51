"""Stills: told by content, the right way up, within a size, and never a Pillow warning or error."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from assembler.errors import MediaError
from assembler.media import stills
from assembler.media.stills import load_still

LEFT_RED = np.zeros((8, 16, 3), np.uint8)
LEFT_RED[:, :8, 0] = 255
LEFT_RED[:, 8:, 2] = 255


@pytest.mark.parametrize(("kind", "options"), [("PNG", {}), ("WEBP", {"lossless": True}), ("JPEG", {"quality": 95})])
def test_kinds_are_told_by_content_not_by_name(tmp_path: Path, kind: str, options: dict[str, object]) -> None:
    Image.fromarray(LEFT_RED).save(tmp_path / "picture.dat", kind, **options)
    picture = load_still(tmp_path / "picture.dat")
    assert (picture.mode, picture.size) == ("RGB", (16, 8))
    assert np.abs(np.asarray(picture).astype(int)[:, [2, 13]] - LEFT_RED[:, [2, 13]]).max() <= 8


def test_other_kinds_are_refused(tmp_path: Path) -> None:
    for kind in ("GIF", "BMP", "TIFF", "PPM", "PDF"):
        Image.fromarray(LEFT_RED).save(tmp_path / "picture.png", kind)
        with pytest.raises(MediaError, match="not a PNG, JPEG or WebP"):
            load_still(tmp_path / "picture.png")
    (tmp_path / "eps.png").write_text("%!PS-Adobe-3.0 EPSF-3.0\n")
    for name, why in (("eps.png", "not a PNG"), ("none.png", "cannot be opened"), (".", "ordinary")):
        with pytest.raises(MediaError, match=why):
            load_still(tmp_path / name)


@pytest.mark.parametrize(
    ("orientation", "red"),  # Source: Exif 2.3, tag 274: where row 0 and column 0 of the stored picture belong
    [(1, "left"), (2, "right"), (3, "right"), (4, "left"), (5, "top"), (6, "top"), (7, "bottom"), (8, "bottom")],
)
def test_orientation_is_obeyed(tmp_path: Path, orientation: int, red: str) -> None:
    exif = Image.Exif()
    exif[274] = orientation
    Image.fromarray(LEFT_RED).save(tmp_path / "a.png", exif=exif)
    picture = np.asarray(load_still(tmp_path / "a.png"))
    side = {"left": picture[:, 0], "right": picture[:, -1], "top": picture[0], "bottom": picture[-1]}[red]
    assert np.all(side[:, 0] == 255)
    assert picture.shape[:2] == ((8, 16) if red in ("left", "right") else (16, 8))


def test_transparency_survives_and_other_modes_become_plain(tmp_path: Path) -> None:
    alpha = np.dstack([LEFT_RED, np.full((8, 16), 77, np.uint8)])
    Image.fromarray(alpha).save(tmp_path / "rgba.png")
    assert load_still(tmp_path / "rgba.png").getpixel((0, 0)) == (255, 0, 0, 77)
    palette = Image.fromarray(LEFT_RED).quantize(4)
    palette.save(tmp_path / "palette.png", transparency=palette.getpixel((0, 0)))
    assert load_still(tmp_path / "palette.png").getpixel((0, 0)) == (255, 0, 0, 0)
    Image.fromarray(LEFT_RED).convert("L").save(tmp_path / "grey.png")
    assert load_still(tmp_path / "grey.png").mode == "RGB"
    Image.fromarray(np.full((8, 8), 0x8000, np.uint16)).save(tmp_path / "deep.png")
    assert load_still(tmp_path / "deep.png").getpixel((3, 3)) == (128, 128, 128)
    Image.fromarray(LEFT_RED).convert("CMYK").save(tmp_path / "cmyk.jpg")
    assert load_still(tmp_path / "cmyk.jpg").mode == "RGB"


def test_large_pictures_are_refused_before_they_are_decoded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    for width, height in ((30_000, 30_000), (8_000, 7_000)):  # a decompression bomb to Pillow, and one only to us
        head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
        (tmp_path / "bomb.png").write_bytes(b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", b"") + chunk(b"IEND", b""))
        with pytest.raises(MediaError, match="bomb"):
            load_still(tmp_path / "bomb.png")
    Image.fromarray(LEFT_RED).save(tmp_path / "a.png")
    monkeypatch.setattr(stills, "MAX_BYTES", 10)
    with pytest.raises(MediaError, match="larger than"):
        load_still(tmp_path / "a.png")


def test_damaged_pictures_are_refused(tmp_path: Path) -> None:
    for kind in ("PNG", "JPEG", "WEBP"):
        noise = np.random.default_rng(0).integers(0, 255, (64, 64, 3), np.uint8)
        Image.fromarray(noise).save(tmp_path / "whole", kind)
        data = (tmp_path / "whole").read_bytes()
        (tmp_path / "short").write_bytes(data[: len(data) // 2])
        with pytest.raises(MediaError, match="short' cannot be read"):
            load_still(tmp_path / "short")
