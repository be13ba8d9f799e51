"""Turns a line of text into placed glyphs: direction, font for each cluster, joined and reordered forms.

Sizes are in ems here: outlines are never hinted, so one shaping serves every size. Nothing depends
on what the operating system has installed.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import uharfbuzz

from assembler.picture.clusters import clusters, is_blank, is_ignorable
from assembler.picture.direction import base_level, levels, visual_order
from assembler.picture.fonts import FontFace

# The hollow box that stands for a cluster no font can draw, in ems.
BOX_ADVANCE = 0.66
BOX_LEFT, BOX_RIGHT, BOX_TOP = 0.07, 0.59, 0.70
BOX_STROKE = 0.05
MISSING = -1


@dataclass(frozen=True, slots=True)
class PlacedGlyph:
    """A glyph of face number `face` with its origin at (x, y) ems from the pen's start, y upwards.

    face is MISSING for the hollow box. `cluster` is the first character's index in the text.
    """

    face: int
    glyph: int
    x: float
    y: float
    cluster: int


@dataclass(frozen=True, slots=True)
class Shaped:
    """Glyphs from left to right. `ink` is (left, bottom, right, top) in ems, y upwards; all zero
    when there is nothing to see. `missing` lists clusters that no font can draw, in reading order.
    `underlined`: from where to where, in ems from the pen's start, a line runs below the words."""

    glyphs: tuple[PlacedGlyph, ...]
    advance: float
    ink: tuple[float, float, float, float]
    missing: tuple[str, ...]
    right_to_left: bool
    underlined: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class _Run:
    """Characters start to stop in one face, one direction and one script, underlined or not."""

    start: int
    stop: int
    face: int
    level: int
    script: str
    underlined: bool


def drawable_text(text: str) -> str:
    """Controls and line separators become spaces, lone surrogates the replacement character."""
    return "".join(
        " " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else "\ufffd" if unicodedata.category(c) == "Cs" else c
        for c in text
    )


@lru_cache(maxsize=8192)
def script_of(character: str) -> str:
    """ISO 15924 tag, or "" for characters that any script uses."""
    buffer = uharfbuzz.Buffer()
    buffer.add_codepoints([ord(character)])
    buffer.guess_segment_properties()
    script = buffer.script
    return "" if script in (None, "Zyyy", "Zinh", "Zzzz") else str(script)


def choose_faces(parts: Sequence[str], faces: Sequence[FontFace]) -> list[int]:
    """For each cluster the number of the face that draws it, MISSING where none can.

    A word stays in one face wherever one face has all of it: single letters from another face
    would stand out. Blank clusters go with what stands before them.
    """
    chosen = [MISSING] * len(parts)
    start = 0
    while start < len(parts):
        script = _cluster_script(parts[start])
        stop = start + 1
        while script and stop < len(parts) and _cluster_script(parts[stop]) == script:
            stop += 1
        word = parts[start:stop]
        whole = next((n for n, face in enumerate(faces) if all(_can_draw(face, part) for part in word)), None)
        for position in range(start, stop):
            if whole is not None:
                chosen[position] = whole
            else:
                chosen[position] = next(
                    (n for n, face in enumerate(faces) if _can_draw(face, parts[position])), MISSING
                )
        start = stop
    for position, part in enumerate(parts):
        if is_blank(part):
            before = chosen[position - 1] if position else 0
            if chosen[position] == MISSING or (before > 0 and _can_draw(faces[before], part)):
                chosen[position] = max(before, 0)
    return chosen


def _cluster_script(cluster: str) -> str:
    return next((script for script in map(script_of, cluster) if script), "")


def _can_draw(face: FontFace, cluster: str) -> bool:
    for form in (cluster, unicodedata.normalize("NFC", cluster), unicodedata.normalize("NFD", cluster)):
        if all(face.has(ord(c)) or is_ignorable(c) for c in form):
            return True
    return False


def _choose_styled(
    parts: Sequence[str], sets: Sequence[Sequence[FontFace]], styles: Sequence[str], found: Sequence[int]
) -> list[int]:
    """As `choose_faces`, of all sets one after the other. sets: regular, bold, italic, bold italic. Letters that read
    from the right do not lean: their scripts know no italics."""
    of_set = [choose_faces(parts, faces) for faces in sets]
    chosen: list[int] = []
    index = 0
    for position, part in enumerate(parts):
        number = ("b" in styles[index]) + 2 * ("i" in styles[index] and found[index] % 2 == 0)
        face = of_set[number][position]
        chosen.append(face if face == MISSING else sum(map(len, sets[:number])) + face)
        index += len(part)
    return chosen


def _runs(parts: Sequence[str], chosen: Sequence[int], found: Sequence[int], styles: Sequence[str]) -> list[_Run]:
    """Cut into runs of one face, level, script and line below. Shared characters take the script before them,
    at the start of the text the one after."""
    scripts = [_cluster_script(part) for part in parts]
    current = next((script for script in scripts if script), "Latn")
    runs: list[_Run] = []
    index = 0
    for part, script, face in zip(parts, scripts, chosen, strict=True):
        current = script or current
        kind = (face, found[index], current, bool(styles) and "u" in styles[index])
        stop = index + len(part)
        last = runs[-1] if runs else None
        if last and face != MISSING and (last.face, last.level, last.script, last.underlined) == kind:
            runs[-1] = _Run(last.start, stop, *kind)
        else:
            runs.append(_Run(index, stop, *kind))
        index = stop
    return runs


def shape(text: str, faces: Sequence[FontFace], *, language: str = "en", base: int | None = None) -> Shaped:
    """Shape one line. `text` must have been through `drawable_text`.

    base: 0 or 1 forces the line's direction; None takes it from the text.
    """
    return shape_styled(text, (faces,), (), language=language, base=base)


def shape_styled(
    text: str, sets: Sequence[Sequence[FontFace]], styles: Sequence[str], *, language: str, base: int | None
) -> Shaped:
    """As `shape`. styles: for each character any of the letters b, i and u, and then the sets are the regular faces,
    bold, italic and bold italic ones; or none, and then there is one set. Glyphs count the faces of all sets in order.
    """
    parts = clusters(text)
    if base is None:
        base = base_level(text)
    found = levels(text, base)
    chosen = _choose_styled(parts, sets, styles, found) if styles else choose_faces(parts, sets[0])
    faces = [face for each in sets for face in each]
    runs = _runs(parts, chosen, found, styles)
    ruled: list[tuple[float, float]] = []
    code_points = [ord(c) for c in text]
    glyphs: list[PlacedGlyph] = []
    lost: dict[int, str] = {}
    pen = 0.0
    for number in visual_order([run.level for run in runs]):
        run = runs[number]
        before = pen
        if run.face == MISSING:
            lost[run.start] = text[run.start : run.stop]
            glyphs.append(PlacedGlyph(MISSING, 0, pen, 0.0, run.start))
            pen += BOX_ADVANCE
        else:
            pen = _shape_run(run, faces[run.face], code_points, language, glyphs, pen)
        if run.underlined:
            follows = bool(ruled) and ruled[-1][1] == before
            start = ruled.pop()[0] if follows else before
            ruled.append((start, pen))
    glyphs, gone = _boxed(glyphs, parts)
    lost.update(gone)
    missing = tuple(dict.fromkeys(lost[start] for start in sorted(lost)))
    return Shaped(tuple(glyphs), pen, _ink(glyphs, faces), missing, bool(base), tuple(ruled))


def _shape_run(
    run: _Run, face: FontFace, code_points: list[int], language: str, glyphs: list[PlacedGlyph], pen: float
) -> float:
    buffer = uharfbuzz.Buffer()
    # The whole line goes along as context, so that letters join across a change of font.
    buffer.add_codepoints(code_points, run.start, run.stop - run.start)
    buffer.direction = "rtl" if run.level % 2 else "ltr"
    buffer.script = run.script
    buffer.language = language
    uharfbuzz.shape(face.hb_font, buffer, {})
    em = face.units_per_em
    for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        x, y = pen + position.x_offset / em, position.y_offset / em
        glyphs.append(PlacedGlyph(run.face, info.codepoint, x, y, info.cluster))
        pen += position.x_advance / em
    return pen


def _boxed(glyphs: list[PlacedGlyph], parts: Sequence[str]) -> tuple[list[PlacedGlyph], dict[int, str]]:
    """Put the hollow box where a font answered with its own 'not defined' glyph after all."""
    if all(glyph.glyph or glyph.face == MISSING for glyph in glyphs):
        return glyphs, {}
    cluster_at = [part for part in parts for _ in part]
    lost: dict[int, str] = {}
    result = []
    for glyph in glyphs:
        if glyph.glyph == 0 and glyph.face != MISSING:
            lost[glyph.cluster] = cluster_at[glyph.cluster]
            glyph = PlacedGlyph(MISSING, 0, glyph.x, glyph.y, glyph.cluster)
        result.append(glyph)
    return result, lost


def _ink(glyphs: Sequence[PlacedGlyph], faces: Sequence[FontFace]) -> tuple[float, float, float, float]:
    left = bottom = float("inf")
    right = top = float("-inf")
    for glyph in glyphs:
        if glyph.face == MISSING:
            box = (glyph.x + BOX_LEFT, glyph.y, glyph.x + BOX_RIGHT, glyph.y + BOX_TOP)
        else:
            face = faces[glyph.face]
            extents = face.hb_font.get_glyph_extents(glyph.glyph)
            if extents is None or not (extents.width and extents.height):
                continue
            em = face.units_per_em
            x, y = glyph.x + extents.x_bearing / em, glyph.y + extents.y_bearing / em
            box = (x, y + extents.height / em, x + extents.width / em, y)
        left, bottom = min(left, box[0]), min(bottom, box[1])
        right, top = max(right, box[2]), max(top, box[3])
    return (left, bottom, right, top) if left <= right else (0.0, 0.0, 0.0, 0.0)
