"""Lines of one style share a baseline and are never cut; wrapping; fonts from outside."""

from __future__ import annotations

import pickle
import struct
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.errors import MissingPartError, TextError
from assembler.picture import fonts as fonts_module
from assembler.picture.clusters import clusters
from assembler.picture.fonts import fonts_folder, user_faces
from assembler.picture.raster import draw_glyphs
from assembler.picture.text import FontSet, missing_glyphs

FONTS = FontSet()
SCRIPTS = {
    "latin": "Ågjpqy ÖÉ Ðž",
    "greek": "Ελληνικά ψξ",
    "cyrillic": "Щука жёй",
    "arabic": "مُدَرِّسَةٌ إلى",
    "hebrew": "שָׁלוֹם עוֹלָם",
    "devanagari": "हिन्दी क्षत्रिय श्रृं",
    "thai": "ภาษาไทย ที่นี่ ปู่ ญู",
    "stack": "Z\u0338\u0321a\u0334l\u031b\u0332\u0308o\u0323\u0301\u0308\u0302\u0303\u0304\u0305\u0306\u0307",
    "lone marks": "\u0301\u0302 \u0e48",
    "mixed": "מחשב 16.7 ms (Ash) ١٢",
    "leaning": "jfjf ƒ/j",
    "no font": "漢字 \U0001f469\u200d\U0001f467",
    "empty": "",
    "spaces": "   ",
    "very long": "Ågjpqy " * 200,
}


def ring(picture: np.ndarray) -> int:
    """The brightest value in the outermost rows and columns."""
    edges = (picture[0], picture[-1], picture[:, 0], picture[:, -1])
    return max(int(edge.max()) for edge in edges)


@pytest.mark.parametrize("size", [12.67, 15.0, 30.0, 38.0, 76.0])
@pytest.mark.parametrize("bold", [False, True])
@pytest.mark.parametrize("script", SCRIPTS)
def test_no_ink_touches_the_edge(script: str, bold: bool, size: float) -> None:
    # Source: our rule: text is never cut, so the outermost ring of pixels is empty.
    cover = FONTS.line(SCRIPTS[script], size, bold=bold).coverage()
    assert ring(cover) == 0
    assert bool(cover.max()) is bool(SCRIPTS[script].strip())


def test_room_is_made_for_ink_beyond_the_line_box() -> None:
    # Source: by construction; the same text drawn with 200 px around it shows all its ink.
    for text in SCRIPTS.values():
        line = FONTS.line(text, 38)
        tight = line.coverage()
        wide = line.coverage_at(
            (tight.shape[0] + 400, tight.shape[1] + 400), line.origin_x + 200, line.baseline_row + 200
        )
        assert int(wide.sum(dtype=np.int64)) == int(tight.sum(dtype=np.int64))


@pytest.mark.parametrize("bold", [False, True])
def test_every_string_of_a_style_has_one_line_box(bold: bool) -> None:
    # Source: our rule: ascent and descent belong to the style.
    boxes = {(line.ascent_px, line.descent_px) for line in (FONTS.line(t, 38, bold=bold) for t in SCRIPTS.values())}
    assert len(boxes) == 1


def test_the_line_box_holds_what_its_fonts_ask_for() -> None:
    # Source: hhea of the shipped fonts: Noto Sans Arabic asks for 1.374 em up and 0.738 em down, B612 for less.
    assert (FONTS.ascent_px(100), FONTS.descent_px(100)) == (138, 74)


@pytest.mark.parametrize("script", ["latin", "cyrillic", "hebrew"])
def test_letters_stand_on_the_baseline(script: str) -> None:
    # Source: type design: flat-footed letters end at the baseline, so rows below it are empty.
    text = {"latin": "HxEi", "cyrillic": "ПиНк", "hebrew": "בה"}[script]
    line = FONTS.line(text, 40)
    cover = line.coverage()
    assert cover[line.baseline_row - 1].max() > 200
    assert cover[line.baseline_row + 1 :].max() == 0


def test_ink_lies_where_the_line_says() -> None:
    # Source: our own promise, measured on the pixels.
    for text in ("Ågjpqy", "مرحبا", "ที่นี่", "漢"):
        line = FONTS.line(text, 50)
        rows, columns = np.nonzero(line.coverage())
        left, top, right, bottom = line.ink_px
        assert columns.min() - line.origin_x == pytest.approx(left, abs=1)
        assert columns.max() + 1 - line.origin_x == pytest.approx(right, abs=1)
        assert rows.min() - line.baseline_row == pytest.approx(top, abs=1)
        assert rows.max() + 1 - line.baseline_row == pytest.approx(bottom, abs=1)


def test_a_fraction_of_a_pixel_moves_the_ink_by_it() -> None:
    # Source: arithmetic: the centre of mass of the coverage moves with the pen.
    line = FONTS.line("lill", 30)
    columns = np.arange(80)

    def centre(x: float) -> float:
        cover = line.coverage_at((60, 80), x, 40).sum(axis=0, dtype=np.float64)
        return float((cover * columns).sum() / cover.sum())

    assert centre(10.5) - centre(10.0) == pytest.approx(0.5, abs=0.02)
    assert centre(11.25) - centre(10.0) == pytest.approx(1.25, abs=0.02)


def test_full_ink_is_full_and_area_is_right() -> None:
    # Source: the glyph is a plain bar in this font; area by its outline box: width * height.
    line = FONTS.line("|", 100)
    left, top, right, bottom = line.ink_px
    area = line.coverage().sum(dtype=np.float64) / 255
    assert area == pytest.approx((right - left) * (bottom - top), rel=0.01)


def test_ink_that_overlaps_stays_full() -> None:
    # Source: arithmetic: coverage adds up to full and no further; uint8 would start again at nothing.
    line = FONTS.line("|", 100)
    shape, faces = (150, 80), line._faces
    once = draw_glyphs(line._glyphs, faces, 100, shape, 10, 110)
    twice = draw_glyphs(line._glyphs * 2, faces, 100, shape, 10, 110)
    assert once.max() == 255
    assert np.array_equal(twice, np.minimum(once.astype(int) * 2, 255))


# --- wrapping --------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.sampled_from(
            [
                "Ash",
                "holds",
                "16.7\u00a0ms",
                "well-known",
                "שלום",
                "हिन्दी",
                "漢字漢字",
                "ปู่ที่",
                "a\u0301\u0302",
                "extraordinarily-overlong",
            ]
        ),
        max_size=12,
    ),
    st.integers(60, 500),
)
def test_wrapped_lines_fit_and_lose_nothing(words: list[str], room: int) -> None:
    # Common practice, no source: what is not white space survives in order, lines fit, clusters stay whole.
    text = " ".join(words)
    lines = FONTS.wrap(text, 30, room)
    assert "".join("".join(lines).split(" ")) == text.replace(" ", "")
    for line in lines:
        assert FONTS.width(line, 30) <= room or len(clusters(line)) == 1
    assert set(clusters("".join(lines))) <= set(clusters(text))


def test_wrapping_by_hand() -> None:
    # Source: by hand: breaks at spaces, keeps written line breaks, cuts an overlong word between clusters.
    assert FONTS.wrap("one two", 30, 10_000) == ("one two",)
    assert FONTS.wrap("one two", 30, FONTS.width("one tw", 30)) == ("one", "two")
    assert FONTS.wrap("one\ntwo", 30, 10_000) == ("one", "two")
    assert FONTS.wrap("", 30, 100) == ("",)
    accents = "e\u0301\u0302" * 6
    lines = FONTS.wrap(accents, 30, FONTS.width(accents[:9], 30))
    assert lines == ("e\u0301\u0302" * 3, "e\u0301\u0302" * 3)


# --- limits and fonts from outside -----------------------------------------------------------


def test_texts_and_sizes_beyond_all_use_are_refused() -> None:
    # Common practice, no source: a cap before memory is asked for.
    with pytest.raises(TextError, match="characters"):
        FONTS.line("a" * 5000, 30)
    for size in (0.0, -3.0, 1e6, float("nan")):
        with pytest.raises(TextError, match="size"):
            FONTS.line("a", size)


def test_line_breaks_and_controls_count_as_spaces() -> None:
    # Source: our rule.
    assert FONTS.line("a\tb\nc\u2028d", 30).width_px == FONTS.line("a b c d", 30).width_px
    assert FONTS.missing("a\tb\x07") == ()


def test_missing_clusters_are_listed_once() -> None:
    # Source: cmap tables of the shipped fonts.
    assert FONTS.missing("漢字 Ash 漢") == ("漢", "字")
    assert missing_glyphs("Ash 60") == []


def test_a_users_font_comes_before_the_shipped_fallbacks(tmp_path: Path) -> None:
    # Source: our rule: main font, then the user's, then the fallbacks.
    mine = tmp_path / "mine é.ttf"
    mine.write_bytes((fonts_folder() / "NotoSans-Bold.ttf").read_bytes())
    own = FontSet((mine,))
    assert [f.path for f in own._faces[False]][1] == mine
    # A bold face drawn for regular text is wider than the shipped regular one.
    assert own.width("Щука", 100) > FONTS.width("Щука", 100)
    assert own.width("Ash", 100) == FONTS.width("Ash", 100)


def test_a_font_collection_is_read(tmp_path: Path) -> None:
    # Source: OpenType, 'ttcf' header: the same font under a collection header, offsets moved by its 16 bytes.
    single = bytearray((fonts_folder() / "NotoSansThai-Regular.ttf").read_bytes())
    for number in range(struct.unpack(">H", single[4:6])[0]):
        at = 12 + 16 * number + 8
        single[at : at + 4] = struct.pack(">I", struct.unpack(">I", single[at : at + 4])[0] + 16)
    path = tmp_path / "two.ttc"
    path.write_bytes(b"ttcf" + struct.pack(">IIII", 0x00010000, 1, 16, 0)[:12] + bytes(single))
    (face,) = user_faces(path)
    assert face.has(ord("ก"))
    assert FontSet((path,)).line("ก", 30).coverage().max() > 0


@pytest.mark.parametrize(
    ("name", "content", "fault"),
    [
        ("bitmap.bdf", b"STARTFONT 2.1\n", "not a TrueType"),
        ("bitmap.pcf", b"\x01fcp" + bytes(100), "not a TrueType"),
        ("web.woff2", b"wOF2" + bytes(100), "not a TrueType"),
        ("empty.ttf", b"", "not a TrueType"),
        ("head.ttf", b"\x00\x01\x00\x00", "cut short"),
        ("many.ttc", b"ttcf" + struct.pack(">II", 0x00010000, 1_000_000), "faces"),
        ("listless.ttc", b"ttcf" + struct.pack(">II", 0x00010000, 2) + b"\x00", "cut short"),
    ],
)
def test_what_is_no_whole_outline_font_is_refused(tmp_path: Path, name: str, content: bytes, fault: str) -> None:
    # Source: OpenType file signatures; the file is named in the message.
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(TextError, match=fault) as caught:
        FontSet((path,))
    assert name in str(caught.value)


@pytest.mark.parametrize("share", [0.01, 0.3, 0.99])
def test_a_cut_font_is_refused(tmp_path: Path, share: float) -> None:
    # Source: the font's own table list says how long it must be.
    whole = (fonts_folder() / "B612-Bold.otf").read_bytes()
    path = tmp_path / "cut.otf"
    path.write_bytes(whole[: int(len(whole) * share)])
    with pytest.raises(TextError, match="cut short"):
        FontSet((path,))


def test_a_huge_font_is_refused_before_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: our cap.
    monkeypatch.setattr(fonts_module, "LARGEST_FILE_BYTES", 1000)
    path = tmp_path / "huge.otf"
    path.write_bytes((fonts_folder() / "B612-Bold.otf").read_bytes())
    with pytest.raises(TextError, match="larger"):
        FontSet((path,))


def test_a_missing_font_is_named(tmp_path: Path) -> None:
    # Source: our rule: the message says which file.
    with pytest.raises(TextError, match=r"absent\.ttf"):
        FontSet((tmp_path / "absent.ttf",))
    with pytest.raises(TextError, match="not a file"):
        FontSet((tmp_path,))


def test_without_the_shipped_fonts_the_machine_lacks_a_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: our rule: exit code 3, environment.
    monkeypatch.setattr(fonts_module, "__file__", str(tmp_path / "assembler" / "picture" / "fonts.py"))
    with pytest.raises(MissingPartError):
        fonts_folder()


def test_the_installed_package_finds_its_fonts_inside_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: pyproject.toml, force-include: fonts are `assembler/_fonts` in the wheel.
    inside = tmp_path / "assembler" / "_fonts"
    inside.mkdir(parents=True)
    (inside / "B612-Regular.otf").touch()
    monkeypatch.setattr(fonts_module, "__file__", str(tmp_path / "assembler" / "picture" / "fonts.py"))
    assert fonts_folder() == inside


def test_a_font_set_travels_between_processes() -> None:
    # Source: pickle round trip.
    again = pickle.loads(pickle.dumps(FontSet(language="he")))
    assert again.language == "he"
    assert again.line("Ash", 30).width_px == FONTS.line("Ash", 30).width_px


def test_the_language_decides_the_direction_of_mixed_lines() -> None:
    # Common practice, no source: a Hebrew line that opens with a foreign name still reads from the right.
    assert FontSet(language="he").line("Ash זה כאן", 30).right_to_left
    assert not FontSet(language="en").line("Ash זה כאן", 30).right_to_left
    assert not FontSet(language="he").line("Ash only", 30).right_to_left
