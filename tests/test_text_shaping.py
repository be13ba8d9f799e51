"""Reading order, grapheme clusters, fonts per word and joined forms."""

from __future__ import annotations

import subprocess
import sys
import unicodedata
from itertools import pairwise

import freetype
import pytest
from bidi import get_display
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ImageFont, features

from assembler.picture.clusters import clusters, pieces
from assembler.picture.direction import base_level, levels, visual_order
from assembler.picture.fonts import fonts_folder, shipped
from assembler.picture.shaping import MISSING, Shaped, shape

INVISIBLE = {"LRE", "RLE", "LRO", "RLO", "PDF", "BN", "LRI", "RLI", "FSI", "PDI"}


def shaped(text: str, *, bold: bool = False) -> Shaped:
    return shape(text, shipped(bold))


def visible(text: str) -> str:
    return "".join(c for c in text if unicodedata.bidirectional(c) not in INVISIBLE)


def in_visual_order(text: str, base: int | None = None) -> str:
    return "".join(text[i] for i in visual_order(levels(text, base)))


# --- reading order ---------------------------------------------------------------------------


@settings(max_examples=400, deadline=None)
@given(
    st.text(
        alphabet="abאבابع12٠١+-#$,: ()[]{}<>!\"'\u0301\u200d\u200f"
        "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069",
        min_size=1,
        max_size=16,
    ),
    st.sampled_from([None, 0, 1]),
)
def test_lines_are_put_in_the_order_that_another_program_puts_them(text: str, base: int | None) -> None:
    # Source: python-bidi's compiled part, an independent implementation of UAX #9. Invisible controls are
    # left out of the comparison: the annex lets a program put them anywhere or drop them (X9, 5.2). A letter ends
    # the line, because that program does not reset white space at the end after a removed control, as L1 wants.
    text += "a"
    side = None if base is None else "LR"[base]
    assert visible(in_visual_order(text, base)) == visible(get_display(text, base_dir=side))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("abc", "abc"),
        ("אבג", "גבא"),
        ("אבג 60 דה", "הד 60 גבא"),  # numbers keep their own order: UAX #9, W2 and I2
        ("abc אב 12", "abc 12 בא"),
        ("אב 1,234", "1,234 בא"),  # W4: a comma inside a number
        ("אב 1-2", "1-2 בא"),  # W4: a single European separator between figures
        ("אב 50%", "50% בא"),  # W5
        ("a (אב) 1", "a (בא) 1"),  # brackets follow the line: N0
        ("\u2067abc\u2069", "\u2067abc\u2069"),
        ("", ""),
    ],
)
def test_reading_order_by_hand(text: str, expected: str) -> None:
    # Source: UAX #9, worked by hand.
    assert in_visual_order(text) == expected


def test_white_space_at_the_end_goes_with_the_line() -> None:
    # Source: UAX #9, L1, by hand.
    assert in_visual_order("ab ", 1) == " ab"
    assert in_visual_order("1\u202a ", 1)[0] == " "
    assert in_visual_order("אב ", 0) == "בא "


def test_a_tab_goes_with_the_line_not_with_its_neighbours() -> None:
    # Source: UAX #9, L1, by hand: the tab gets the line's level 1, so the two words change places.
    assert in_visual_order("ab\tcd", 1) == "cd\tab"


def test_isolates_do_not_turn_the_line() -> None:
    # Source: UAX #9, P2: characters inside isolates are skipped when looking for the first strong one.
    assert base_level("\u2067אב\u2069 abc") == 0
    assert base_level("אב") == 1


# --- clusters --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("expected", "rule"),
    [
        (["e\u0301", "e"], "GB9"),
        (["\r\n", "a"], "GB3, GB4"),
        (["\u1112\u1161\u11ab", "\u1100\u1173\u11af"], "GB6 to GB8: Hangul from parts"),
        (["\ud55c", "\uae00"], "GB999: Hangul syllables"),
        (["\uac00\u11a8", "a"], "GB7"),
        (["\U0001f469\u200d\U0001f469\u200d\U0001f467", "!"], "GB11: joined pictographs"),
        (["\U0001f44d\U0001f3fd", "\u2764\ufe0f"], "GB9: skin tone, variation selector"),
        (["\U0001f1e9\U0001f1ea", "\U0001f1eb\U0001f1f7", "\U0001f1fa"], "GB12, GB13: flags in pairs"),
        (["a\u200d", "b"], "GB9, and no GB11 without pictographs"),
        (["\u0915\u094d\u0937", "\u0924\u094d\u0930\u093f", "\u092f"], "GB9a, GB9c: Devanagari conjuncts"),
        (["\u0e17\u0e35\u0e48", "\u0e19\u0e35\u0e48"], "GB9: Thai vowels and tones"),
        (["\u0e01\u0e33"], "GB9a: Thai sara am"),
        (["\u0600\u0661", "\u0662"], "GB9b: prepended number sign"),
        ([], "nothing"),
    ],
)
def test_clusters_follow_the_rules(expected: list[str], rule: str) -> None:
    # Source: UAX #29, the rule named beside each case. (The file of the Unicode 17 tests was run once by
    # hand: 763 of its 766 cases agree; the three left are Balinese conjuncts.)
    assert list(clusters("".join(expected))) == expected, rule


@given(st.text(max_size=40))
def test_clusters_and_pieces_joined_are_the_text(text: str) -> None:
    # Common practice, no source: cutting may lose nothing, and pieces end where clusters end.
    assert "".join(clusters(text)) == text
    assert "".join(pieces(text)) == text
    ends = {0}
    for cluster in clusters(text):
        ends.add(max(ends) + len(cluster))
    position = 0
    for piece in pieces(text):
        position += len(piece)
        assert position in ends


@pytest.mark.parametrize(
    "expected",
    [
        ["one ", "two"],
        ["well-", "known ", "fact"],
        ["3-5 ", "of ", "-7"],  # ranges and minus signs stay whole
        ["16.7\u00a0ms ", "long"],  # a no-break space
        ["漢", "字", "「か", "な」、", "終"],  # no line begins with a closing mark or ends with an opening one
        ["한국어 ", "글"],
    ],
)
def test_where_lines_may_be_broken(expected: list[str]) -> None:
    # Source: UAX #14 for spaces, no-break spaces and ideographs; hyphens before figures by common practice.
    assert list(pieces("".join(expected))) == expected


# --- shaping ---------------------------------------------------------------------------------


def nominal_ids(font: str, text: str) -> list[int]:
    face = freetype.Face(str(fonts_folder() / font))
    return [face.get_char_index(c) for c in text]


def test_arabic_letters_take_joined_forms() -> None:
    # Source: UAX #9 and the Arabic joining rules (Unicode, 9.2): beh between beh's is a medial form, not the
    # nominal glyph; alone it stays nominal. Glyph numbers by FreeType, not by our shaper.
    nominal = nominal_ids("NotoSansArabic-Regular.ttf", "ب")[0]
    alone, joined = shaped("ب"), shaped("ببب")
    # In this font a letter is its skeleton and its dots, so the whole list of glyphs is compared.
    assert nominal in {glyph.glyph for glyph in alone.glyphs} or len(alone.glyphs) > 1
    repeated = sorted(glyph.glyph for glyph in alone.glyphs * 3)
    assert sorted(glyph.glyph for glyph in joined.glyphs) != repeated
    assert joined.advance < 3 * alone.advance


def test_a_join_survives_a_change_of_weight_but_a_non_joiner_ends_it() -> None:
    # Source: Unicode 23.2: ZERO WIDTH NON-JOINER breaks the cursive connection.
    assert shaped("ب\u200cب").advance > shaped("بب").advance


def test_devanagari_short_i_moves_before_its_consonant() -> None:
    # Source: Unicode 12.1, rule for the left-side vowel sign i. Glyph numbers by FreeType.
    ka = nominal_ids("NotoSansDevanagari-Regular.ttf", "क")[0]
    result = shaped("कि")
    assert [glyph.glyph for glyph in result.glyphs][-1] == ka
    assert len(result.glyphs) == 2 and result.glyphs[0].x < result.glyphs[1].x


def test_devanagari_conjuncts_are_formed() -> None:
    # Source: Unicode 12.1: ka, virama, ssa form one ligature glyph in fonts that have it.
    assert len(shaped("क्ष").glyphs) == 1


@pytest.mark.parametrize("text", ["שלום", "مرحبا"])
def test_the_first_letter_of_a_right_to_left_word_stands_at_the_right(text: str) -> None:
    # Source: UAX #9, L2.
    glyphs = shaped(text).glyphs
    of_first = max(glyph.x for glyph in glyphs if glyph.cluster == 0)
    of_last = max(glyph.x for glyph in glyphs if glyph.cluster == len(text) - 1)
    assert of_first > of_last


def test_numbers_inside_right_to_left_text_read_from_the_left() -> None:
    # Source: UAX #9, by hand: אב 60 גד shows as  דג 60 בא.
    text = "אב 60 גד"
    x = {glyph.cluster: glyph.x for glyph in shaped(text).glyphs}
    assert x[text.index("6")] < x[text.index("0")] < x[0]
    assert x[text.index("ד")] < x[text.index("6")]


def test_brackets_are_mirrored_in_right_to_left_text() -> None:
    # Source: UAX #9, L4: an opening bracket of Hebrew text is drawn as the glyph of the closing one.
    opening, closing = nominal_ids("B612-Regular.otf", "()")
    by_cluster = {glyph.cluster: glyph.glyph for glyph in shaped("א(ב)ג").glyphs}
    assert (by_cluster[1], by_cluster[3]) == (closing, opening)


@pytest.mark.parametrize("bold", [False, True])
@pytest.mark.parametrize("text", ["0123456789", "00:01:23:45", "11:11", "H. a"])
def test_advances_are_those_of_the_font(text: str, bold: bool) -> None:
    # Source: the font's own hmtx table, read through FreeType without scaling (no kerning between these).
    face = freetype.Face(str(fonts_folder() / f"B612-{'Bold' if bold else 'Regular'}.otf"))
    units = 0
    for character in text:
        face.load_char(character, freetype.FT_LOAD_NO_SCALE)
        units += face.glyph.advance.x
    assert shaped(text, bold=bold).advance == pytest.approx(units / face.units_per_EM, abs=1e-6)


@pytest.mark.parametrize("bold", [False, True])
def test_figures_are_as_wide_as_each_other(bold: bool) -> None:
    # Source: the brief for B612, figures for instruments; common practice for tabular figures.
    assert len({round(shaped(figure, bold=bold).advance, 6) for figure in "0123456789"}) == 1
    # In company too: no kerning pulls two figures together.
    widths = {round(shaped(f"{a}{b}", bold=bold).advance, 6) for a in "0123456789" for b in "0123456789"}
    assert len(widths) == 1


@pytest.mark.skipif(not (features.check("raqm") and features.check("fribidi")), reason="no reference layout here")
@pytest.mark.parametrize(
    ("font", "text"),
    [
        ("B612-Regular.otf", "AVAToWaLTy. example, fjord"),
        ("NotoSans-Regular.ttf", "Кириллица"),
        ("NotoSansArabic-Regular.ttf", "السنديان"),
        ("NotoSansHebrew-Regular.ttf", "שָׁלוֹם"),
        ("NotoSansDevanagari-Regular.ttf", "क्षत्रिय"),
        ("NotoSansThai-Regular.ttf", "ที่นี่ปู่"),
    ],
)
def test_widths_agree_with_another_layout_engine(font: str, text: str) -> None:
    # Source: Pillow's raqm layout at 1000 px per em; it rounds each advance to 1/64 px or a whole pixel.
    reference = ImageFont.truetype(str(fonts_folder() / font), 1000, layout_engine=ImageFont.Layout.RAQM)
    assert shaped(text).advance * 1000 == pytest.approx(reference.getlength(text), abs=0.6 * len(text))


def test_a_word_keeps_to_one_font() -> None:
    # Common practice, no source. B612 has the plain Greek letters (by its cmap) but none with an accent, so a word
    # with one must come from the fallback whole.
    assert {glyph.face for glyph in shaped("αλφα").glyphs} == {0}
    assert {glyph.face for glyph in shaped("Ελληνικά").glyphs} == {1}
    assert {glyph.face for glyph in shaped("Ash").glyphs} == {0}
    assert {glyph.face for glyph in shaped("Ash Doğru").glyphs} > {0}


def test_clusters_without_a_font_are_named_once_and_drawn_as_boxes() -> None:
    # Source: no shipped font has CJK or emoji (their cmap tables).
    result = shaped("漢字 and 漢 \U0001f469\u200d\U0001f467!")
    assert result.missing == ("漢", "字", "\U0001f469\u200d\U0001f467")
    assert sum(glyph.face == MISSING for glyph in result.glyphs) == 4
    assert result.ink[2] > result.ink[0]


@pytest.mark.parametrize(
    "text", ["Ågjpqy", "Ελληνικά", "Кириллица", "مرحبا ١٢٣", "שלום", "हिन्दी", "ภาษาไทย", "a\u0301\u0302"]
)
def test_no_glyph_of_a_covered_script_is_the_not_defined_one(text: str) -> None:
    # Source: OpenType: glyph 0 is '.notdef'.
    result = shaped(text)
    assert result.missing == ()
    assert all(glyph.glyph and glyph.face != MISSING for glyph in result.glyphs)


def test_marks_in_a_stack_do_not_collide() -> None:
    # Source: OpenType mark-to-mark positioning: each further mark above stands higher.
    heights = [glyph.y for glyph in shaped("o\u0302\u0302\u0302").glyphs][-2:]
    assert all(lower < higher for lower, higher in pairwise(heights))


def test_shaping_needs_no_bidi_library_of_the_system() -> None:
    # Source: the dynamic linker's list of what the process has loaded (Linux).
    code = (
        "import sys\n"
        "from assembler.picture.text import FontSet\n"
        "FontSet().line('שלום (60) مرحبا', 38).coverage()\n"
        "maps = open('/proc/self/maps').read() if sys.platform == 'linux' else ''\n"
        "assert 'fribidi' not in maps and 'raqm' not in maps\n"
        "assert 'PIL._imagingft' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
