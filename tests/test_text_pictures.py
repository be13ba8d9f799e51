"""Labels, captions and marks as pictures: contrast, safe areas, baselines, shortening."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from assembler.media.planes import Planes, blank
from assembler.picture import captions, labels, look, marks
from assembler.picture.captions import caption_height, caption_overflows, caption_place, caption_sprite
from assembler.picture.labels import ELLIPSIS, fitted, label_height, label_overflows, label_sprite
from assembler.picture.marks import Marks
from assembler.picture.sprite import Sprite, blend
from assembler.picture.text import FontSet

FONTS = FontSet()
WHITE, BLACK = (255, 255, 255), (0, 0, 0)
HEIGHTS = [720, 1080, 2160]
NAMES = ["xxx", "Ågjpqy", "Щука", "שָׁלוֹם", "السنديان", "हिन्दी", "ปู่ที่", "o\u0302\u0302\u0302\u0302", "漢"]


def to_rgb(planes: Planes) -> np.ndarray:
    """Back to 0..255 R'G'B' in float64, chroma repeated. Source: Rec. ITU-R BT.709, limited range."""
    up = 1 if planes.bits == 8 else 4
    luma = (planes.y.astype(np.float64) / up - 16) / 219
    cb, cr = ((np.repeat(np.repeat(p, 2, 0), 2, 1).astype(np.float64) / up - 128) / 224 for p in (planes.u, planes.v))
    red, blue = luma + 1.5748 * cr, luma + 1.8556 * cb
    green = (luma - 0.2126 * red - 0.0722 * blue) / 0.7152
    return np.clip(np.stack([red, green, blue], -1), 0, 1) * 255


def shown(sprite: Sprite, footage: int, *, room: int = 40) -> np.ndarray:
    """The sprite over plain footage of a luma code, as R'G'B'."""
    canvas = blank(sprite.width + 2 * room, sprite.height + 2 * room, bits=sprite.bits, luma=footage)
    blend(canvas, sprite, room + sprite.left, room + sprite.top)
    return to_rgb(canvas)[room:-room, room:-room]


def opaque(sprite: Sprite) -> np.ndarray:
    return sprite.keep_y.max() - sprite.keep_y


# --- contrast --------------------------------------------------------------------------------


def test_contrast_ratios_are_those_of_the_guideline() -> None:
    # Source: WCAG 2 formula; values computed apart from our code and known from its tools.
    assert look.contrast(BLACK, WHITE) == pytest.approx(21.0)
    assert look.contrast((0x76,) * 3, WHITE) == pytest.approx(4.5422, abs=1e-3)
    assert look.contrast((0x77,) * 3, WHITE) == pytest.approx(4.4781, abs=1e-3)
    assert look.contrast((255, 0, 0), WHITE) == pytest.approx(3.9985, abs=1e-3)
    assert look.contrast((255, 255, 0), BLACK) == pytest.approx(19.556, abs=1e-3)


@pytest.mark.parametrize("colour", [look.INK, look.MUTED, *look.SUBJECT_COLOURS])
def test_words_and_lines_stand_out_from_the_bare_ground(colour: look.Rgb) -> None:
    # Source: WCAG 2, SC 1.4.3.
    assert look.contrast(colour, look.GROUND) >= 4.5


@pytest.mark.parametrize("footage", [16, 126, 235])
@pytest.mark.parametrize("bits", [8, 10])
def test_words_keep_their_contrast_over_any_footage(footage: int, bits: int) -> None:
    # Source: WCAG 2, SC 1.4.3, on the codes that are really written: the backing as blended against the text
    # colours, white footage (luma 235) being the worst.
    cases = [
        (label_sprite("HHH", "HHH", 2, 1080, 900, FONTS, backing=True, bits=bits), [look.INK, look.MUTED]),
        (caption_sprite(["HHH"], 1920, 1080, FONTS, bits), [look.INK]),
        (Marks(1080, FONTS, bits).sprite("00:00:00:00", "intro", True), [look.INK, look.MUTED]),
    ]
    for sprite, colours in cases:
        picture = shown(sprite, footage)
        backing = picture[sprite.height // 2, 4]  # inside the left margin, where no text is
        for colour in colours:
            assert look.contrast(colour, backing) >= 4.5


def test_a_rule_keeps_the_contrast_of_a_line_over_white() -> None:
    # Source: WCAG 2, SC 1.4.11 (3:1 for graphical objects).
    for colour in look.SUBJECT_COLOURS:
        assert look.contrast(colour, look.over(look.GROUND, labels.BACKING)) >= 3.0


def test_a_lighter_backing_would_not_do_for_notes() -> None:
    # Source: WCAG formula. Shows that the opacity is needed, not only enough: 80 % fails for muted words.
    assert look.contrast(look.MUTED, look.over(look.GROUND, 0.80)) < 4.5
    assert pytest.approx(0.80) == captions.BACKING
    assert labels.BACKING > captions.BACKING
    with pytest.raises(ValueError, match="dark"):
        look.backing_opacity((look.HAIRLINE, 4.5))


def test_safe_areas() -> None:
    # Source: EBU R 95 / SMPTE ST 2046-1 graphics-safe: 5 % in; sizes for three canvases.
    assert look.safe_area(1280, 720) == (64, 36, 1152, 648)
    assert look.safe_area(1920, 1080) == (96, 54, 1728, 972)
    assert look.safe_area(3840, 2160) == (192, 108, 3456, 1944)


def test_subject_styles_differ_in_colour_and_line() -> None:
    # Source: Okabe and Ito's palette; our rule: colour and line style together are unique for 16 subjects.
    assert look.SUBJECT_COLOURS[0] == (0xE6, 0x9F, 0x00)
    assert look.SUBJECT_COLOURS[1] == (0x56, 0xB4, 0xE9)
    assert look.SUBJECT_COLOURS[2] == (0x00, 0x9E, 0x73)
    assert look.SUBJECT_COLOURS[3] == (0xCC, 0x79, 0xA7)
    assert len({look.line_style(n) for n in range(4)}) == 4
    assert len({(look.subject_colour(n), look.line_style(n)) for n in range(16)}) == 16


# --- labels ----------------------------------------------------------------------------------


@pytest.mark.parametrize("canvas_h", HEIGHTS)
@pytest.mark.parametrize("name", NAMES)
def test_a_label_has_no_ink_in_its_outermost_ring(name: str, canvas_h: int) -> None:
    # Source: our rule: nothing is cut. With a backing, the ring may hold the plate but no letters or rule.
    bare = opaque(label_sprite(name, "gjpqy " + name, 1, canvas_h, canvas_h, FONTS, backing=False))
    # The rule starts at the placed column and the box may end with it, so only the rows count at the sides.
    assert bare[0].max() == 0 and bare[-1].max() == 0 and bare[:, 0].max() == 0 and bare[:, -1].max() == 0
    sprite = label_sprite(name, "gjpqy " + name, 1, canvas_h, canvas_h, FONTS, backing=True)
    picture = shown(sprite, 16)
    assert max(edge.max() for edge in (picture[0], picture[-1], picture[:, 0], picture[:, -1])) <= max(look.GROUND) + 2


@pytest.mark.parametrize("backing", [False, True])
def test_all_names_stand_on_one_baseline(backing: bool) -> None:
    # Source: our rule. Measured on pixels: the last rows of an H put before each name.
    rows = set()
    for name in NAMES:
        sprite = label_sprite("H " + name, "", 0, 1080, 1600, FONTS, backing=backing)
        picture = shown(sprite, 16)[:, :, 1]
        start = sprite.left + (14 if backing else 0)
        stem = picture[: sprite.top + label_height(1080, backing=backing) - 12, start + 2 : start + 7].max(axis=1)
        rows.add(int(np.nonzero(stem > 200)[0].max()) - sprite.top)
        assert (sprite.box_height, sprite.box_width % 2) == (label_height(1080, backing=backing), 0)
    assert len(rows) == 1


@pytest.mark.parametrize("order", range(4))
@pytest.mark.parametrize("canvas_h", HEIGHTS)
def test_the_rule_repeats_the_line_style_of_the_subject(order: int, canvas_h: int) -> None:
    # Source: our rule: marks of a style are all alike and the rule ends on a whole mark.
    sprite = label_sprite("", "", order, canvas_h, canvas_h, FONTS, backing=False)
    alpha = opaque(sprite)
    row = alpha[np.nonzero(alpha.max(axis=1))[0][0]] > 0
    edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
    on = (edges[1::2] - edges[::2]).tolist()
    expected = {0: (1, 1), 1: (4, 1), 2: (None, 1), 3: (5, 2)}[order]
    assert len(set(on)) == expected[1]
    assert expected[0] in (None, len(on))
    assert 0.9 < (edges[-1] - edges[0]) / (66 * canvas_h / 1080) < 1.1
    assert on[0] == on[-1]


@pytest.mark.parametrize("backing", [False, True])
@pytest.mark.parametrize("room", [40, 90, 160, 333, 500, 900])
@pytest.mark.parametrize(
    "name", ["Ash", "A subject with quite a long name", "Donaudampfschifffahrtskapitän", "שם ארוך מאוד של מחשב"]
)
def test_a_label_is_never_wider_than_its_room(name: str, room: int, backing: bool) -> None:
    # Source: our rule. Below the width of rule, margins and an ellipsis there is nothing left to shorten.
    note = "desktop, native 2160 lines, measured"
    sprite = label_sprite(name, note, 0, 1080, room, FONTS, backing=backing)
    least = 66 + 2 * 14 + 4
    assert sprite.width <= max(room, least) + 2
    full = label_sprite(name, note, 0, 1080, 10_000, FONTS, backing=backing)
    assert label_overflows(name, note, 1080, room, FONTS, backing=backing) is (full.box_width > room)


def test_shortened_labels_fit_to_the_pixel() -> None:
    # Source: arithmetic: name, gap of 15 px and note are together no wider than any room from a word up.
    for room in range(120, 460, 3):
        name, note = fitted("Ash", "a b c d e f g h i j k l m n o p", 1080, room, FONTS, backing=False)
        taken = FONTS.width(name, 30, bold=True) + (15 + FONTS.width(note, look.NOTE_PX) if note else 0)
        assert taken <= room
        if note.endswith(ELLIPSIS):
            assert taken > room - 36  # and no more is taken away than has to be: the widest word and its space


def test_the_note_gives_way_first_then_the_name() -> None:
    # Source: our rule.
    name, note = "Ash", "desktop, native lines"
    wide = int(FONTS.width(name, 30, bold=True) + 15 + FONTS.width("desktop, native" + ELLIPSIS, look.NOTE_PX)) + 4
    assert fitted(name, note, 1080, wide, FONTS, backing=False) == ("Ash", "desktop, native" + ELLIPSIS)
    assert fitted(name, note, 1080, wide - 48, FONTS, backing=False) == ("Ash", "desktop" + ELLIPSIS)
    assert fitted(name, note, 1080, 70, FONTS, backing=False) == ("Ash", "")
    assert fitted("Two words", note, 1080, 100, FONTS, backing=False) == ("Two" + ELLIPSIS, "")
    assert fitted("Elmwood", "", 1080, 90, FONTS, backing=False)[0].startswith("E")
    assert fitted("Elmwood", "", 1080, 90, FONTS, backing=False)[0].endswith(ELLIPSIS)


# --- captions --------------------------------------------------------------------------------

LINES = [["xxx"], ["Ågjpqy"], ["שלום (60)"], ["مُدَرِّسَةٌ"], ["हिन्दी"], ["ปู่ที่"], ["o\u0302\u0302\u0302\u0302\u0302"], ["漢"]]


@pytest.mark.parametrize("canvas_h", HEIGHTS)
@pytest.mark.parametrize("lines", [*LINES, ["Ash holds sixty;", "Birch falls."], ["Ågjpqy " * 60], ["a" * 300]])
def test_a_caption_stays_whole_and_inside_the_safe_area(lines: list[str], canvas_h: int) -> None:
    # Source: EBU R 95 graphics-safe area; no letters in the outermost ring.
    canvas_w = canvas_h * 16 // 9
    sprite = caption_sprite(lines, canvas_w, canvas_h, FONTS)
    x0, y0, safe_w, safe_h = look.safe_area(canvas_w, canvas_h)
    x, y = caption_place(sprite, canvas_w, y0 + safe_h)
    assert x >= x0 and x + sprite.box_width <= x0 + safe_w
    assert abs((x + sprite.box_width / 2) - canvas_w / 2) <= 2
    assert y + sprite.box_height <= y0 + safe_h
    picture = shown(sprite, 16)
    assert max(edge.max() for edge in (picture[0], picture[-1], picture[:, 0], picture[:, -1])) <= max(look.GROUND) + 2


def test_captions_with_as_many_lines_share_box_height_and_baselines() -> None:
    # Source: our rule; the baseline is found on the pixels of an H put before each text.
    feet = set()
    for (text,) in LINES:
        sprite = caption_sprite(["H " + text], 1920, 1080, FONTS)
        assert sprite.box_height == caption_height(1, 1080)
        picture = shown(sprite, 16)[:, :, 1]
        rtl = FONTS.direction_of("H " + text)
        assert rtl == 0
        columns = np.nonzero(picture.max(axis=0) > 200)[0]
        stem = picture[:, columns.min() : columns.min() + 4].max(axis=1)
        feet.add(int(np.nonzero(stem > 200)[0].max()) - sprite.top)
    assert len(feet) == 1


def test_lines_of_a_caption_are_centred_on_each_other() -> None:
    # Source: our rule, measured as ink against the middle of the box; side bearings allow 3 px.
    for lines in (["HHHHHHHHHH", "HHH"], ["שלום שלום שלום", "אבג"]):
        sprite = caption_sprite(lines, 1920, 1080, FONTS)
        ink = shown(sprite, 16)[:, :, 1] > 120
        middle = sprite.left + sprite.box_width / 2
        for half in (ink[: sprite.height // 2], ink[sprite.height // 2 :]):
            columns = np.nonzero(half.any(axis=0))[0]
            assert (columns.min() + columns.max() + 1) / 2 == pytest.approx(middle, abs=3)


def test_a_caption_reads_in_one_direction() -> None:
    # Common practice, no source: the second line begins with foreign words; as the first reads from the right, so
    # does it. Of all these letters only the foreign j's reach below the baseline, so they show where the words stand.
    lines = ["שלום שלום", "jjj אבגד"]
    for shown_lines, at_right in ((lines, True), (lines[1:], False)):
        sprite = caption_sprite(shown_lines, 1920, 1080, FONTS)
        picture = shown(sprite, 16)[:, :, 1]
        last_baseline = sprite.top + sprite.box_height - caption_height(1, 1080) + 42
        below = np.nonzero((picture[last_baseline + 3 :] > 120).any(axis=0))[0]
        assert below.size
        assert bool(below.mean() > sprite.width / 2) is at_right


def test_what_overflows_a_caption() -> None:
    # Source: our rule: wider than the safe area, or more than three lines.
    assert not caption_overflows(["Ash holds sixty here;", "Birch falls."], 1920, 1080, FONTS)
    assert caption_overflows(["m" * 80], 1920, 1080, FONTS)
    assert not caption_overflows(["a"] * 3, 1920, 1080, FONTS)
    assert caption_overflows(["a"] * 4, 1920, 1080, FONTS)


def test_captions_with_nothing_to_see_change_nothing() -> None:
    # Source: definition.
    for lines in ([], [""], ["  ", ""]):
        canvas = blank(64, 64, luma=77)
        blend(canvas, caption_sprite(lines, 1920, 1080, FONTS), 0, 0)
        assert canvas.y.min() == canvas.y.max() == 77


# --- marks -----------------------------------------------------------------------------------


@pytest.mark.parametrize("bits", [8, 10])
@pytest.mark.parametrize("canvas_h", [480, *HEIGHTS])
def test_marks_keep_their_width_and_place_from_frame_to_frame(canvas_h: int, bits: int) -> None:
    # Source: our rule: tabular figures, so nothing moves while the timecode counts.
    made = Marks(canvas_h, FONTS, bits)
    sprites = [made.sprite(code, "opening", False) for code in ("00:00:00:00", "11:11:11:11", "23:59:58:47")]
    assert len({(s.width, s.height, s.left, s.top) for s in sprites}) == 1
    changed = [np.nonzero((sprites[0].y != s.y).any(axis=0))[0] for s in sprites[1:]]
    figures_end = min(int(c.max()) for c in changed)
    assert figures_end < sprites[0].width
    assert all(np.array_equal(sprites[0].y[:, figures_end + 20 :], s.y[:, figures_end + 20 :]) for s in sprites[1:])


def test_a_frames_figures_do_not_stay_for_the_next() -> None:
    # Source: definition: the same arguments give the same sprite, whatever was drawn between.
    made = Marks(1080, FONTS)
    first = made.sprite("01:02:03:04", "opening", True)
    made.sprite("11:11:11:11", "opening", True)
    again = made.sprite("01:02:03:04", "opening", True)
    for name in ("y", "u", "v", "keep_y", "keep_c"):
        assert np.array_equal(getattr(first, name), getattr(again, name))


def test_each_figure_is_drawn_where_it_is_called() -> None:
    # Source: definition: changing one figure changes the picture in its cell only.
    made = Marks(1080, FONTS)
    one, other = made.sprite("00:00:00:00", "a", False), made.sprite("00:00:70:00", "a", False)
    columns = np.nonzero((one.y != other.y).any(axis=0))[0]
    assert 0 < columns.max() - columns.min() < 16
    assert one.width * 0.2 < columns.min() < one.width * 0.8


def test_a_thousand_frames_draw_the_plate_once() -> None:
    # Source: our rule: only figures are copied per frame.
    made = Marks(1080, FONTS)
    for frame in range(1000):
        made.sprite(f"00:00:{frame // 60:02}:{frame % 60:02}", "opening", frame > 500)
    assert made._plate.cache_info().misses == 2
    assert made._cell.cache_info().misses <= 11


def test_marks_grow_with_the_canvas_but_stay_readable() -> None:
    # Source: our sizes: 19 px at 1080 lines, never under 15.
    sizes = [look.mark_px(h) for h in (360, 720, 1080, 2160)]
    assert sizes == [15.0, 15.0, 19.0, 38.0]
    assert Fraction(Marks(2160, FONTS).height, Marks(1080, FONTS).height) == pytest.approx(2, abs=0.15)


@pytest.mark.parametrize(
    "segment", ["a", "x" * 500, "много слов в имени сегмента " * 9, "gjpqy", "o\u0302\u0302\u0302\u0302", ""]
)
@pytest.mark.parametrize("scratch", [False, True])
def test_ids_of_any_length_fit(segment: str, scratch: bool) -> None:
    # Source: our rule; a 16:9 canvas of 1080 lines leaves captions the middle.
    sprite = Marks(1080, FONTS).sprite("00:00:00;00", segment, scratch)
    assert sprite.box_width <= 620
    picture = shown(sprite, 16)
    assert max(edge.max() for edge in (picture[0], picture[-1], picture[:, 0], picture[:, -1])) <= max(look.GROUND) + 2


def test_the_word_scratch_is_there_only_when_it_is_so() -> None:
    # Source: our rule: the word adds its own width and a gap.
    made = Marks(1080, FONTS)
    plain, scratch = (made.sprite("00:00:00:00", "intro", flag) for flag in (False, True))
    added = scratch.box_width - plain.box_width
    assert added == pytest.approx(FONTS.width(marks.SCRATCH, 19, bold=True) + 14, abs=3)
