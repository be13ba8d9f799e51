"""Still pictures for cards: PNG, JPEG and WebP, told by their content and kept to a size."""

from __future__ import annotations

import warnings
from pathlib import Path

from PIL import Image, ImageOps

from assembler.errors import MediaError
from assembler.media.opening import ordinary

MAX_PIXELS = 50_000_000
MAX_BYTES = 200_000_000

_MEND = "save it as a PNG, JPEG or WebP picture"


def load_still(path: Path) -> Image.Image:
    """A picture the right way up (EXIF orientation obeyed), in mode RGB, or RGBA where it has transparency.

    The first picture of an animation. Colour profiles are not applied: sRGB is taken for granted.
    Raises MediaError for a file that is missing, of another kind, too large or damaged.
    """
    ordinary(path)
    if path.stat().st_size > MAX_BYTES:
        raise MediaError(f"'{path}' is larger than {MAX_BYTES // 1_000_000} MB", mend="save it smaller")
    kind = _kind(path)
    if kind is None:
        raise MediaError(f"'{path}' is not a PNG, JPEG or WebP picture", mend=_MEND)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            with Image.open(path, formats=(kind,)) as picture:
                if picture.width * picture.height > MAX_PIXELS:
                    raise MediaError(
                        f"'{path}' is {picture.width}x{picture.height}; at most {MAX_PIXELS // 1_000_000} million "
                        "pixels are read",
                        mend="save it smaller",
                    )
                picture.load()
                upright = ImageOps.exif_transpose(picture)
                return _plain(upright)
    except (OSError, ValueError, SyntaxError, EOFError, Warning, Image.DecompressionBombError) as error:
        raise MediaError(f"'{path}' cannot be read: {error}", mend=_MEND) from error


def _kind(path: Path) -> str | None:
    """What the first bytes say it is. Sources: PNG (W3C) 5.2, JPEG ISO/IEC 10918-1 B.1.1.3, RFC 9649 2.4."""
    with path.open("rb") as file:
        start = file.read(12)
    if start.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if start.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if start[:4] == b"RIFF" and start[8:12] == b"WEBP":
        return "WEBP"
    return None


def _plain(picture: Image.Image) -> Image.Image:
    if picture.mode in ("I;16", "I;16B", "I"):  # 16-bit grey: converting would clip, not scale
        picture = picture.point(lambda value: value / 256).convert("L")
    clear = picture.has_transparency_data
    return picture.convert("RGBA" if clear else "RGB")
