"""Finds font files and opens them safely: the fonts shipped with the package, and the user's own.

A font from outside is judged before a font library sees it: TrueType, OpenType or a collection by
its first bytes, no larger than a cap, every table inside the file, and outlines rather than bitmaps.
"""

from __future__ import annotations

import struct
import threading
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import freetype
import uharfbuzz

from assembler.errors import MissingPartError, TextError

MAIN = "B612"
FALLBACKS = ("NotoSans", "NotoSansArabic", "NotoSansHebrew", "NotoSansDevanagari", "NotoSansThai")
LARGEST_FILE_BYTES = 192 * 1024 * 1024  # a pan-CJK collection of every weight fits
MOST_FACES = 64
MOST_TABLES = 256
_SIGNATURES = (b"\x00\x01\x00\x00", b"OTTO", b"true")
_COLLECTION = b"ttcf"

# FreeType keeps one size and one glyph slot a face, so drawing takes turns.
RASTER_LOCK = threading.Lock()


@dataclass(frozen=True, eq=False)
class FontFace:
    """One face of a font file, opened by the shaper and the rasteriser on first use.

    slant: how far its letters lean for every unit of height; for italics of fonts that have none.
    """

    path: Path
    index: int = 0
    slant: float = 0.0

    @cached_property
    def hb_face(self) -> Any:
        return uharfbuzz.Face(uharfbuzz.Blob.from_file_path(str(self.path)), self.index)

    @cached_property
    def hb_font(self) -> Any:
        """Scaled so that one unit is one font unit."""
        font = uharfbuzz.Font(self.hb_face)
        font.synthetic_slant = self.slant
        return font

    @cached_property
    def ft_face(self) -> Any:
        """Use it only while holding RASTER_LOCK."""
        with self.path.open("rb") as stream:
            return freetype.Face(stream, self.index)

    @cached_property
    def units_per_em(self) -> int:
        return int(self.hb_face.upem)

    @cached_property
    def ascent_em(self) -> float:
        """How far the font says its lines reach above the baseline, in ems."""
        return float(self.hb_font.get_font_extents("ltr").ascender) / self.units_per_em

    @cached_property
    def descent_em(self) -> float:
        """The same below the baseline, positive."""
        return -float(self.hb_font.get_font_extents("ltr").descender) / self.units_per_em

    @cached_property
    def is_bold(self) -> bool:
        with RASTER_LOCK:
            return bool(self.ft_face.style_flags & freetype.FT_STYLE_FLAG_BOLD)

    @cached_property
    def _covered(self) -> Any:
        return self.hb_face.unicodes

    def has(self, code_point: int) -> bool:
        return code_point in self._covered


def fonts_folder() -> Path:
    """Where the shipped fonts lie: inside the installed package, or beside it in a checkout.

    Raises MissingPartError when neither is there.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_fonts", package.parent / "fonts"):
        if (folder / f"{MAIN}-Regular.otf").is_file():
            return folder
    raise MissingPartError(
        f"the fonts that come with assembler are not in {package / '_fonts'}",
        mend="install assembler again, or put the repository's fonts folder beside the package",
    )


@lru_cache(maxsize=4)
def shipped(bold: bool) -> tuple[FontFace, ...]:
    """The shipped faces of one weight, the main one first. Raises MissingPartError."""
    folder = fonts_folder()
    weight = "Bold" if bold else "Regular"
    paths = [folder / f"{MAIN}-{weight}.otf", *(folder / f"{name}-{weight}.ttf" for name in FALLBACKS)]
    absent = [path.name for path in paths if not path.is_file()]
    if absent:
        raise MissingPartError(f"{folder} lacks {', '.join(absent)}", mend="install assembler again")
    return tuple(FontFace(path) for path in paths)


@lru_cache(maxsize=64)
def user_faces(path: Path) -> tuple[FontFace, ...]:
    """Every face of a user's font file. Raises TextError that names the file and the fault."""
    offsets = _face_offsets(path)
    faces = tuple(FontFace(path, index) for index in range(len(offsets)))
    for face in faces:
        try:
            with RASTER_LOCK:
                drawable = face.ft_face.is_scalable
            readable = face.hb_face.glyph_count > 0 and 16 <= face.units_per_em <= 16_384
        except (freetype.FT_Exception, uharfbuzz.HarfBuzzError, ValueError) as error:
            raise _refused(path, f"cannot be opened ({error})") from error
        if not (drawable and readable):
            raise _refused(path, "has no outlines to draw with")
    return faces


def _face_offsets(path: Path) -> tuple[int, ...]:
    """Where each face's table list starts. Reads the headers only."""
    try:
        size = path.stat().st_size
        if not path.is_file():
            raise _refused(path, "is not a file")
        if size > LARGEST_FILE_BYTES:
            raise _refused(path, f"is larger than {LARGEST_FILE_BYTES // 1024**2} MiB")
        with path.open("rb") as stream:
            head = stream.read(12)
            if head[:4] == _COLLECTION and len(head) == 12:
                count = struct.unpack(">I", head[8:12])[0]
                if not 1 <= count <= MOST_FACES:
                    raise _refused(path, f"says it holds {count} faces")
                listed = stream.read(4 * count)
                if len(listed) < 4 * count:
                    raise _refused(path, "is cut short")
                offsets = struct.unpack(f">{count}I", listed)
            elif head[:4] in _SIGNATURES:
                offsets = (0,)
            else:
                raise _refused(path, "is not a TrueType or OpenType font")
            for offset in offsets:
                stream.seek(offset)
                _check_tables(path, stream.read(12 + 16 * MOST_TABLES), size)
    except OSError as error:
        raise _refused(path, f"cannot be read ({error.strerror or error})") from error
    return tuple(offsets)


def _check_tables(path: Path, header: bytes, size: int) -> None:
    """Every table must lie inside the file; a cut file otherwise draws nothing without a word."""
    if len(header) < 12 or header[:4] not in _SIGNATURES:
        raise _refused(path, "is cut short or damaged")
    count = struct.unpack(">H", header[4:6])[0]
    if not 1 <= count <= MOST_TABLES or len(header) < 12 + 16 * count:
        raise _refused(path, "is cut short or damaged")
    for number in range(count):
        start, length = struct.unpack(">II", header[12 + 16 * number + 8 : 12 + 16 * number + 16])
        if start + length > size:
            raise _refused(path, "is cut short: a table lies beyond its end")


def _refused(path: Path, fault: str) -> TextError:
    return TextError(f"font {path} {fault}", mend="name a whole .ttf, .otf or .ttc font under `fonts`")
