"""Burnt-in captions as a person wrote them: italics lean, bold is bold, underlining stands, and some are at the top."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from test_text_pictures import shown

from assembler.captions.cues import Cue
from assembler.captions.files import styled_lines
from assembler.captions.styled import styled_srt, text_of
from assembler.cli.main import main
from assembler.media.planes import blank
from assembler.picture import look
from assembler.picture.captions import caption_overflows, caption_sprite
from assembler.picture.stage import Stage
from assembler.picture.text import SLANT, FontSet
from assembler.render.jobs import Burn
from assembler.render.tools import PictureTools

FONTS = FontSet()


def ink(*marked: str) -> np.ndarray:
    """(rows, columns) how much of each pixel is lettering, of a caption as it stands in a SubRip file."""
    return (shown(caption_sprite(styled_srt(marked), 1920, 1080, FONTS), 16)[:, :, 1] - look.GROUND[1]).clip(0)


def stem(picture: np.ndarray) -> np.ndarray:
    """The mean column of the ink in each row that holds much of it."""
    rows = picture[picture.sum(axis=1) > 300]
    return (rows * np.arange(rows.shape[1])).sum(axis=1) / rows.sum(axis=1)


def test_italics_lean_to_the_right_and_nothing_else_does() -> None:
    # An upright stem is at one column in every row; a leaning one moves by the slant for each row that it rises.
    for marked, slant in (("l", 0.0), ("<b>l</b>", 0.0), ("<i>l</i>", SLANT), ("<b><i>l</i></b>", SLANT)):
        columns = stem(ink(marked))
        middle = columns[len(columns) // 4 : -len(columns) // 4]  # the foot of the letter is bent
        assert np.diff(middle).mean() == pytest.approx(-slant, abs=0.03)


def test_letters_that_read_from_the_right_do_not_lean() -> None:
    # Common practice, no source: Hebrew and Arabic are not set in italics.
    assert np.array_equal(ink("<i>שלום</i>"), ink("שלום"))
    assert not np.array_equal(ink("<i>salom</i>"), ink("salom"))


def test_bold_letters_are_the_bold_fonts_own() -> None:
    alone = FONTS.line("quay", 40, bold=True)
    mixed = FONTS.line("the quay", 40, styles=("",) * 4 + ("b",) * 4)
    assert mixed.width_px == pytest.approx(FONTS.line("the ", 40).width_px + alone.width_px, abs=0.5)
    assert ink("<b>quay</b>").sum() > 1.15 * ink("quay").sum()


def test_underlining_runs_below_its_words_and_no_further() -> None:
    plain, ruled = ink("no <b></b>here no"), ink("no <u>here</u> no")
    added = ruled - plain
    rows, columns = np.nonzero(added > 100)
    letters = np.nonzero(plain.max(axis=0) > 100)[0]
    assert rows.min() > np.nonzero(plain.max(axis=1) > 100)[0].max()
    assert letters.min() + 30 < columns.min() < columns.max() < letters.max() - 30
    full = added[rows.min() : rows.max() + 1, columns.min() + 2 : columns.max() - 1].max(axis=0)
    assert full.min() > 150  # unbroken


def test_a_style_goes_on_over_lines_and_pieces_of_lines() -> None:
    lines = styled_srt(["<i>ll", "ll</i>"])
    assert [text_of(line) for line in lines] == ["ll", "ll"]
    assert np.array_equal(ink("<i>ll", "ll</i>"), ink("<i>ll</i>", "<i>ll</i>"))
    long = "<b>" + "wide words " * 12 + "</b>"
    assert caption_overflows(styled_srt([long]), 1920, 1080, FONTS)
    sprite = caption_sprite(styled_srt([long]), 1920, 1080, FONTS)
    assert sprite.box_width <= look.safe_area(1920, 1080)[2]


def test_a_caption_fits_or_not_in_the_letters_it_is_drawn_in() -> None:
    most = next(count for count in range(1, 200) if caption_overflows(["\u0449" * (count + 1)], 1920, 1080, FONTS))
    text = "\u0449" * most  # the bold of that letter is wider
    assert not caption_overflows(styled_srt([text]), 1920, 1080, FONTS)
    assert caption_overflows(styled_srt([f"<b>{text}</b>"]), 1920, 1080, FONTS)


def test_lines_without_markup_and_with_it_are_drawn_from_the_right_text() -> None:
    assert styled_lines(Cue(0, 9, ("a  b",), "s", 1, 0, 0)) == styled_srt(["a  b"])
    marked = Cue(0, 9, ("a b",), "s", 1, 0, 0, marked=("{\\an8}<i> a</i>  b ",))
    (line,) = styled_lines(marked)
    assert text_of(line) == "a b" and [run.styles for run in line] == ["i", ""]


@pytest.mark.parametrize("top", [False, True])
def test_a_caption_stands_at_the_foot_or_at_the_head_of_the_safe_area(top: bool, tmp_path: Path) -> None:
    stage = Stage(1920, 1080, 8, 30, {}, {}, FONTS, tmp_path, (1920, 1080))  # type: ignore[arg-type]
    canvas = blank(1920, 1080, luma=120)
    with PictureTools(stage) as tools:
        shot = type("Shot", (), {"graphs": None})()
        tools.draw_over(canvas, shot, Burn(0, 9, styled_srt(["Hello"]), top=top), None)  # type: ignore[arg-type]
    rows = np.nonzero((canvas.y != 120).any(axis=1))[0]
    _, y, _, height = look.safe_area(1920, 1080)
    distance = rows.min() - y if top else y + height - 1 - rows.max()
    assert 0 <= distance <= 1


STORYBOARD = """\
storyboard: 1
title: t
canvas: {size: 640x360, rate: 30}
narration: {voice: none}
segments:
  - {id: one, lasts: 3 s, say: 'All is well.', show: {card: Hello}}
  - {id: two, lasts: 3 s, show: {card: Hello}}
"""


def test_captions_a_person_wrote_are_found_fault_with_in_their_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "storyboard.yaml").write_text(STORYBOARD, encoding="utf-8")
    assert main(["retime", str(tmp_path)]) == 0
    file = tmp_path / "captions" / "en.srt"
    first = file.read_text(encoding="utf-8").replace("All is well.", "All is <b>well \U00020000</b>.")
    added = "\n2\n00:00:04,000 --> 00:00:05,500\n[" + "rain " * 30 + "]\n"
    file.write_text(first + added, encoding="utf-8")
    capsys.readouterr()
    assert main(["check", str(tmp_path), "--json"]) == 1
    findings = json.loads(capsys.readouterr().out)["findings"]
    places = {each["code"]: (each["file"], each["line"]) for each in findings if each["severity"] == "error"}
    lines = (first + added).splitlines()
    assert places == {
        "glyph-missing": ("captions/en.srt", 1 + lines.index("1")),
        "caption-overflow": ("captions/en.srt", 1 + lines.index("2")),
    }
