"""Lines of text ready to draw: measured, wrapped, and rasterised on a baseline that stays put.

A style is a size and a weight of one FontSet. Its ascent and descent come from the fonts, never
from a string's ink, so every string of a style sits on the same baseline.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

from PIL import Image

from assembler.errors import TextError
from assembler.picture.clusters import clusters, is_space, pieces
from assembler.picture.direction import base_level, reads_from_right
from assembler.picture.fonts import FontFace, shipped, user_faces
from assembler.picture.raster import Coverage, draw_glyphs
from assembler.picture.shaping import PlacedGlyph, Shaped, drawable_text, shape_styled

LONGEST_LINE = 4000  # characters; a caption has 80, and one line of these is already 80 000 px wide
LARGEST_SIZE_PX = 2000.0
SLANT = 0.2  # tan 11.3 degrees; common practice, no source: italics lean by 8 to 15 degrees
RIGHT_TO_LEFT_LANGUAGES = frozenset(("ar", "dv", "fa", "he", "ku", "ps", "sd", "ug", "ur", "yi"))


@dataclass(frozen=True, slots=True, eq=False)
class ShapedLine:
    """One line of one style.

    width_px: how far the pen moves. ascent_px, descent_px: the style's line box above and below the
    baseline. ink_px: (left, top, right, bottom) of what is drawn, from the pen's start on the
    baseline, y downwards; all zero when nothing is seen. missing: clusters that no font can draw.
    underlined_px: from where to where a line belongs below the words; `coverage` does not hold it.
    """

    text: str
    size_px: float
    width_px: float
    ascent_px: int
    descent_px: int
    ink_px: tuple[float, float, float, float]
    missing: tuple[str, ...]
    right_to_left: bool
    underlined_px: tuple[tuple[float, float], ...]
    _glyphs: tuple[PlacedGlyph, ...] = field(repr=False)
    _faces: tuple[FontFace, ...] = field(repr=False)

    @property
    def origin_x(self) -> int:
        """The column of `coverage` where the pen starts. There is always an empty column beside the ink."""
        return max(1, 1 + math.ceil(-self.ink_px[0]))

    @property
    def baseline_row(self) -> int:
        """The first row of `coverage` below the baseline."""
        return max(self.ascent_px, 1 + math.ceil(-self.ink_px[1]))

    def coverage(self) -> Coverage:
        """uint8 (rows, columns), 255 = full: the style's line box, larger where ink reaches beyond."""
        below = max(self.descent_px, 1 + math.ceil(self.ink_px[3]))
        right = max(math.ceil(self.width_px) + 1, 1 + math.ceil(self.ink_px[2]))
        size = (self.baseline_row + below, self.origin_x + right)
        return draw_glyphs(self._glyphs, self._faces, self.size_px, size, self.origin_x, self.baseline_row)

    def coverage_at(self, shape: tuple[int, int], x: float, baseline_row: int) -> Coverage:
        """Coverage of a given shape with the pen starting at column x, which may be a fraction."""
        return draw_glyphs(self._glyphs, self._faces, self.size_px, shape, x, baseline_row)

    def image(self) -> Image.Image:
        """The coverage as a Pillow picture of mode L, to use as a mask."""
        return Image.fromarray(self.coverage())


class FontSet:
    """The fonts of a programme: the shipped main one, then the user's, then the shipped fallbacks.

    language: BCP 47, for forms that a language prefers, and for the direction of mixed lines.
    Raises MissingPartError without shipped fonts, TextError for a user font that cannot be used.
    """

    def __init__(self, extra: tuple[Path, ...] = (), language: str = "en") -> None:
        self.extra = tuple(extra)
        self.language = language
        self._faces: dict[bool, tuple[FontFace, ...]] = {}
        own = [face for path in self.extra for face in user_faces(Path(path))]
        for bold in (False, True):
            main, *fallbacks = shipped(bold)
            # Of the user's faces those of the wanted weight go first, otherwise as they were named.
            wanted = sorted(own, key=lambda face: face.is_bold is not bold)
            self._faces[bold] = (main, *wanted, *fallbacks)
        # No italics are shipped: the letters are made to lean.
        leaning = {bold: tuple(replace(face, slant=SLANT) for face in faces) for bold, faces in self._faces.items()}
        self._styled = (self._faces[False], self._faces[True], leaning[False], leaning[True])
        self._all_styled = tuple(face for faces in self._styled for face in faces)
        self._shape: Callable[[str, bool, int | None, tuple[str, ...]], Shaped] = lru_cache(maxsize=2048)(
            self._shape_new
        )

    def __reduce__(self) -> tuple[type[FontSet], tuple[tuple[Path, ...], str]]:
        return FontSet, (self.extra, self.language)

    def line(
        self, text: str, size_px: float, *, bold: bool = False, base: int | None = None, styles: tuple[str, ...] = ()
    ) -> ShapedLine:
        """Shape one line at a size in pixels per em. Line breaks in it count as spaces.

        base: 0 = reads from the left, 1 = from the right, None = as the text says. styles: for each character any of
        the letters b, i and u (bold, italic, underlined), in place of `bold`.
        Raises TextError for a text or a size beyond all use.
        """
        if not 1.0 <= size_px <= LARGEST_SIZE_PX:
            raise TextError(f"text size {size_px:g} px is not between 1 and {LARGEST_SIZE_PX:g}", mend="choose another")
        size_px = round(size_px * 64) / 64  # the rasteriser's grain
        shaped = self._shape(text, bold, base, styles)
        left, bottom, right, top = (edge * size_px for edge in shaped.ink)
        return ShapedLine(
            text=text,
            size_px=size_px,
            width_px=shaped.advance * size_px,
            ascent_px=self.ascent_px(size_px, bold=bold),
            descent_px=self.descent_px(size_px, bold=bold),
            ink_px=(left, -top, right, -bottom),
            missing=shaped.missing,
            right_to_left=shaped.right_to_left,
            underlined_px=tuple((start * size_px, end * size_px) for start, end in shaped.underlined),
            _glyphs=shaped.glyphs,
            _faces=self._all_styled if styles else self._faces[bold],
        )

    def width(self, text: str, size_px: float, *, bold: bool = False) -> float:
        """How far the pen moves, in pixels."""
        return self._shape(text, bold, None, ()).advance * size_px

    def wrap(self, text: str, size_px: float, max_width_px: float, *, bold: bool = False) -> tuple[str, ...]:
        """Lines no wider than max_width_px, broken at spaces, hyphens and between CJK characters.

        A word that is wider by itself is broken between clusters; only a single cluster may be wider.
        Line breaks in the text are kept. An empty text gives one empty line.
        """
        found: list[str] = []
        for paragraph in text.splitlines() or [""]:
            current = ""
            for piece in pieces(paragraph.strip()):
                if not current or self._fits(current + piece, size_px, max_width_px, bold):
                    current += piece
                else:
                    found.append(_right_trimmed(current))
                    current = piece
                if not self._fits(current, size_px, max_width_px, bold):
                    *broken, current = self._break_word(current, size_px, max_width_px, bold)
                    found.extend(broken)
            found.append(_right_trimmed(current))
        return tuple(found)

    def missing(self, text: str) -> tuple[str, ...]:
        """Grapheme clusters that no font of either weight's set can draw, each once."""
        lost = [part for bold in (False, True) for part in self._shape(text, bold, None, ()).missing]
        return tuple(dict.fromkeys(lost))

    def ascent_px(self, size_px: float, *, bold: bool = False) -> int:
        """The style's reach above the baseline: the most that any of its fonts asks for."""
        return math.ceil(max(face.ascent_em for face in self._faces[bold]) * size_px)

    def descent_px(self, size_px: float, *, bold: bool = False) -> int:
        """The same below the baseline."""
        return math.ceil(max(face.descent_em for face in self._faces[bold]) * size_px)

    def cap_height_px(self, size_px: float, *, bold: bool = False) -> float:
        """How high the main font's capitals stand: what captions and labels are centred by."""
        return -self.line("H", size_px, bold=bold).ink_px[1]

    def _fits(self, text: str, size_px: float, max_width_px: float, bold: bool) -> bool:
        return self.width(_right_trimmed(text), size_px, bold=bold) <= max_width_px

    def _break_word(self, word: str, size_px: float, max_width_px: float, bold: bool) -> list[str]:
        found = [""]
        for cluster in clusters(word):
            if found[-1] and not self._fits(found[-1] + cluster, size_px, max_width_px, bold):
                found.append("")
            found[-1] += cluster
        return found

    def _shape_new(self, text: str, bold: bool, base: int | None, styles: tuple[str, ...]) -> Shaped:
        if len(text) > LONGEST_LINE:
            raise TextError(
                f"a text of {len(text)} characters begins with {text[:40]!r}; at most {LONGEST_LINE} can be drawn",
                mend="shorten it or split it",
            )
        text = drawable_text(text)
        if base is None:
            base = self.direction_of(text)
        sets = self._styled if styles else (self._faces[bold],)
        return shape_styled(text, sets, styles, language=self.language, base=base)

    def direction_of(self, text: str) -> int:
        """1 when a text reads from the right. In a right-to-left language, a line that begins with
        a foreign name still does, if any of its letters do."""
        if self.language.split("-")[0].lower() in RIGHT_TO_LEFT_LANGUAGES and reads_from_right(text):
            return 1
        return base_level(text)


def _right_trimmed(text: str) -> str:
    while text and is_space(text[-1]):
        text = text[:-1]
    return text


@lru_cache(maxsize=1)
def default_fonts() -> FontSet:
    """The shipped fonts alone."""
    return FontSet()


def missing_glyphs(text: str) -> list[str]:
    """Clusters that the shipped fonts cannot draw."""
    return list(default_fonts().missing(text))
