"""Written caption files in the hands of other makers' parsers: the same cues, times, styles and language."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree as ET

import pysrt
import pysubs2
import pytest
import webvtt
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ttconv.imsc.reader import to_model
from ttconv.isd import ISD
from ttconv.model import Br, ContentDocument, ContentElement, P, Span, Text
from ttconv.style_properties import FontStyleType, FontWeightType, StyleProperties

from assembler.captions.cues import Cue
from assembler.captions.files import frame_at, millisecond, write_all
from assembler.captions.reading import read_captions, styled_lines
from assembler.captions.styled import (
    JOINER,
    Run,
    plain,
    srt_escaped,
    srt_unescaped,
    styled_srt,
    styled_vtt,
    tagged,
    text_of,
)
from assembler.timing.rates import CANVAS_RATES

SIXTY = Fraction(60)
Timed = tuple[int, int, str]


def cue(start: int, end: int, *lines: str, marked: tuple[str, ...] = ()) -> Cue:
    return Cue(start, end, lines, "opening", 1, 0, 0, marked=marked)


def files(folder: Path, cues: list[Cue], rate: Fraction = SIXTY, language: str = "en") -> dict[str, Path]:
    return {path.suffix: path for path in write_all(cues, rate, folder / "a.b", language)}


def by_pysubs2(path: Path) -> list[Timed]:
    found = pysubs2.load(str(path), encoding="utf-8", format_="srt", keep_html_tags=True)
    return [(each.start, each.end, each.text.replace("\\N", "\n").replace(JOINER, "")) for each in found]


def by_pysrt(path: Path) -> list[Timed]:
    found = pysrt.open(str(path), encoding="utf-8", error_handling=pysrt.SubRipFile.ERROR_RAISE)
    return [(each.start.ordinal, each.end.ordinal, each.text.replace(JOINER, "")) for each in found]


def by_webvtt_py(path: Path) -> list[Timed]:
    def ms(stamp: str) -> int:
        hours, minutes, rest = stamp.split(":")
        seconds, part = rest.split(".")
        return ((int(hours) * 60 + int(minutes)) * 60 + int(seconds)) * 1000 + int(part)

    escapes = (("&lt;", "<"), ("&gt;", ">"), ("&amp;", "&"))  # which that parser leaves as they are
    found = []
    for item in webvtt.read(str(path)):
        text = item.raw_text
        for written, sign in escapes:
            text = text.replace(written, sign)
        found.append((ms(item.start), ms(item.end), text))
    return found


def paragraphs(element: ContentElement) -> list[P]:
    return [element] if isinstance(element, P) else [each for child in element for each in paragraphs(child)]


def text_in(element: ContentElement) -> str:
    if isinstance(element, Text):
        return element.get_text()
    return "\n" if isinstance(element, Br) else "".join(text_in(child) for child in element)


def model(path: Path) -> ContentDocument:
    document = to_model(ET.parse(path))
    assert document is not None
    return document


def by_ttconv(path: Path) -> list[Timed]:
    body = model(path).get_body()
    assert body is not None
    found = []
    for each in paragraphs(body):
        begin, end = each.get_begin() or Fraction(0), each.get_end()  # that model says nothing for 0
        assert end is not None
        assert begin * 1000 == int(begin * 1000) and end * 1000 == int(end * 1000)
        found.append((int(begin * 1000), int(end * 1000), text_in(each)))
    return found


READERS = {".srt": by_pysubs2, ".vtt": by_webvtt_py, ".ttml": by_ttconv}
HOSTILE = [
    "A < B & C --> D",
    "00:00:01,000 --> 00:00:02,000",
    "00:00:01.000 --> 00:00:02.000 align:start",
    "<b>bold</b> and </i> and <font color=red>",
    "&amp; &lt;i&gt; &#60; &nbsp;",
    "]]> <!-- <![CDATA[ <?x?> \"'",
    "{\\an8}up",
    "WEBVTT",
    "NOTE not a note",
    "STYLE",
    "42",
    "שלום, 60 תמונות בשנייה.",
    "\u200fHDR10 أفضل\u200f",
    "e\u0301 \U0001f3ae 中文",
    "a\u00adb\u200db",
]


@pytest.mark.parametrize("suffix", READERS)
@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_is_text_to_every_parser(tmp_path: Path, text: str, suffix: str) -> None:
    cues = [cue(0, 60, text, "second line"), cue(62, 120, "before", text), cue(122, 200, text), cue(202, 300, "end")]
    expected = [(millisecond(c.start_frame, SIXTY), millisecond(c.end_frame, SIXTY), "\n".join(c.lines)) for c in cues]
    path = files(tmp_path, cues)[suffix]
    assert READERS[suffix](path) == expected
    again = read_captions(path.read_bytes(), path.name)
    read = [(c.start_ms, c.end_ms, "\n".join(map(text_of, styled_lines(again, c)))) for c in again.cues]
    assert read == expected and again.repairs == ()


@pytest.mark.parametrize("suffix", READERS)
@pytest.mark.parametrize("hours", [1, 24, 26, 100, 999])
def test_long_programmes(tmp_path: Path, hours: int, suffix: str) -> None:
    start = hours * 3600 * 60
    path = files(tmp_path, [cue(start - 61, start - 1, "before"), cue(start, start + 30, "after")])[suffix]
    # pysubs2 reads two digits of the hours, pysrt all.
    read = READERS[suffix] if suffix != ".srt" or hours < 100 else by_pysrt
    assert [t[:2] for t in read(path)] == [
        (millisecond(start - 61, SIXTY), millisecond(start - 1, SIXTY)),
        (hours * 3_600_000, hours * 3_600_000 + 500),
    ]
    assert read_captions(path.read_bytes(), path.name).repairs == ()


MARKED = [
    ("<i>All of it</i>", [("All of it", "i")]),
    ("It <i>is <b>both</b></i> now", [("It ", ""), ("is ", "i"), ("both", "bi"), (" now", "")]),
    ("<u>a</u> <font color=red>b</font> {\\an8}c", [("a", "u"), (" b c", "")]),
    ("<i>open", [("open", "i")]),
    ("shut</i>", [("shut", "")]),
    ("<b>a<i>b</b>c</i>", [("a", "b"), ("b", "bi"), ("c", "i")]),
    ("A <player> & <3", [("A <player> & <3", "")]),
    (f"<{JOINER}i> is a tag", [("<i> is a tag", "")]),
]


@pytest.mark.parametrize(("written", "runs"), MARKED)
def test_a_persons_markup_means_the_same_in_all_files(
    tmp_path: Path, written: str, runs: list[tuple[str, str]]
) -> None:
    expected = (tuple(Run(*run) for run in runs),)
    assert styled_srt([written]) == expected
    paths = files(tmp_path, [cue(0, 60, "".join(text for text, _ in runs), marked=(written,))])
    for path in paths.values():
        file = read_captions(path.read_bytes(), path.name)
        assert styled_lines(file, file.cues[0]) == expected, path
        assert file.repairs == ()
    # The person's own way of writing it stays in SubRip.
    assert paths[".srt"].read_text("utf-8").split("\n")[2] == written
    (paragraph,) = paragraphs(model(paths[".ttml"]).get_body())
    isd = ISD.from_model(model(paths[".ttml"]), Fraction(1, 2))
    assert isd is not None and text_in(paragraph) == "".join(text for text, _ in runs)
    assert ttconv_runs(paragraph) == [(text, styles) for text, styles in runs]


def ttconv_runs(
    element: ContentElement, bold: bool = False, italic: bool = False, under: bool = False
) -> list[tuple[str, str]]:
    """Runs as the other maker's model has them."""
    if isinstance(element, Text):
        return [(element.get_text(), "b" * bold + "i" * italic + "u" * under)]
    if isinstance(element, Span):
        bold |= element.get_style(StyleProperties.FontWeight) is FontWeightType.bold
        italic |= element.get_style(StyleProperties.FontStyle) is FontStyleType.italic
        decoration = element.get_style(StyleProperties.TextDecoration)
        under |= bool(decoration and decoration.underline)
    return [run for child in element for run in ttconv_runs(child, bold, italic, under)]


def test_styles_over_several_lines(tmp_path: Path) -> None:
    lines = ("<i>one", "two</i> three")
    paths = files(tmp_path, [cue(0, 60, "one", "two three", marked=lines)])
    expected = ((Run("one", "i"),), (Run("two", "i"), Run(" three")))
    for path in paths.values():
        file = read_captions(path.read_bytes(), path.name)
        assert styled_lines(file, file.cues[0]) == expected, path
    assert "\n<i>one</i>\n<i>two</i> three\n" in paths[".vtt"].read_text("utf-8")


def test_a_caption_asked_for_at_the_top_stands_there(tmp_path: Path) -> None:
    paths = files(tmp_path, [cue(0, 60, "up", marked=("{\\an8}up",)), cue(60, 90, "down")])
    assert "00:00:00.000 --> 00:00:01.000 line:5%\n" in paths[".vtt"].read_text("utf-8")
    up, down = paragraphs(model(paths[".ttml"]).get_body())
    assert (up.get_region().get_id(), down.get_region().get_id()) == ("top", "foot")


@pytest.mark.parametrize("rate", CANVAS_RATES, ids=str)
def test_every_frame_comes_back_from_every_form(tmp_path: Path, rate: Fraction) -> None:
    # Source: IMSC 1.1, 'Synchronization': a time is shown from the frame closest to it that is not before it.
    starts = [*range(0, 240, 2), *range(10_000, 10_040, 2), 5_184_000]
    cues = [cue(start, start + 1, "x") for start in starts]
    for suffix, path in files(tmp_path, cues, rate).items():
        read = READERS[suffix](path)
        assert [(frame_at(a, rate), frame_at(b, rate)) for a, b, _ in read] == [(s, s + 1) for s in starts]


@pytest.mark.parametrize("rate", CANVAS_RATES, ids=str)
def test_the_head_of_a_ttml_file(tmp_path: Path, rate: Fraction) -> None:
    # Source: IMSC 1.1: the text profile's designator in contentProfiles, xml:lang on tt; TTML2: frameRate.
    path = files(tmp_path, [cue(0, 60, "one")], rate, "de-AT")[".ttml"]
    root = ET.parse(path).getroot()
    ttp, tts = "{http://www.w3.org/ns/ttml#parameter}", "{http://www.w3.org/ns/ttml#styling}"
    assert root.tag == "{http://www.w3.org/ns/ttml}tt"
    assert root.get("{http://www.w3.org/XML/1998/namespace}lang") == "de-AT"
    assert root.get(f"{ttp}contentProfiles") == "http://www.w3.org/ns/ttml/profile/imsc1.1/text"
    num, den = (root.get(f"{ttp}frameRateMultiplier") or "1 1").split()
    assert int(root.get(f"{ttp}frameRate") or 0) * Fraction(int(num), int(den)) == rate
    document = model(path)
    assert document.get_lang() == "de-AT"
    regions = list(root.iter("{http://www.w3.org/ns/ttml}region"))
    for region in regions:  # inside the graphics-safe area of EBU R 95, 5 % from each side
        x, y, w, h = (int(n) for n in re.findall(r"\d+", f"{region.get(f'{tts}origin')} {region.get(f'{tts}extent')}"))
        assert x >= 5 and y >= 5 and x + w <= 95 and y + h <= 95
    assert b"px" not in path.read_bytes()  # pixels would need an extent on the root


def test_right_to_left_text_is_told_so_in_ttml(tmp_path: Path) -> None:
    path = files(tmp_path, [cue(0, 60, "HDR10 أفضل", "أفضل")], language="ar")[".ttml"]
    assert 'tts:direction="rtl"' in path.read_text("utf-8")
    assert by_ttconv(path)[0][2] == "\u200fHDR10 أفضل\nأفضل"


def test_no_captions_make_a_ttml_file_that_can_be_read(tmp_path: Path) -> None:
    path = files(tmp_path, [])[".ttml"]
    assert by_ttconv(path) == []
    file = read_captions(path.read_bytes(), path.name)
    assert (file.cues, file.repairs, file.language) == ((), (), "en")


SIGNS = list("ab1 <>&/-\\{}:,.iuNh\n\r\t\u200f\u2028\u2060\u00a0\x00\x85\ufffeéא")
LINE = st.text(alphabet=st.one_of(st.sampled_from(SIGNS), st.characters()), max_size=24)


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(texts=st.lists(st.lists(LINE, min_size=1, max_size=3), max_size=5), as_markup=st.booleans(),
       rate=st.sampled_from(CANVAS_RATES), start=st.integers(0, 10**7))  # fmt: skip
def test_any_text_comes_back_alike_from_all_three_forms(
    tmp_path: Path, texts: list[list[str]], as_markup: bool, rate: Fraction, start: int
) -> None:
    cues = [
        cue(start + 100 * n, start + 100 * n + 90, *lines, marked=tuple(lines) if as_markup else ())
        for n, lines in enumerate(texts)
    ]
    found = {}
    for suffix, path in files(tmp_path, cues, rate).items():
        file = read_captions(path.read_bytes(), path.name)
        assert file.repairs == (), (suffix, file.repairs, path.read_bytes())
        lines = [tuple(_xml(run) for run in line) for each in file.cues for line in styled_lines(file, each)]
        found[suffix] = [(each.start_ms, each.end_ms) for each in file.cues], lines
    assert found[".srt"] == found[".vtt"] == found[".ttml"]


def _xml(run: Run) -> Run:
    """XML has no place for these two."""
    return Run(re.sub("[\ufffe\uffff]", "", run.text), run.styles)


@given(text=st.text(alphabet=st.sampled_from([*"<>/ib{}\\Nh-:,.0 1", JOINER]), max_size=20))
def test_escapes_of_subrip_are_undone(text: str) -> None:
    escaped = srt_escaped(text)
    assert srt_unescaped(escaped) == text
    assert not re.search(r"<\s*/?\s*[A-Za-z]|\{\\|-->", escaped)
    assert styled_srt([escaped]) == (plain(text),)


@given(text=st.text(max_size=30).filter(lambda text: "\n" not in text and "\r" not in text))
def test_escapes_of_webvtt_are_undone(text: str) -> None:
    def escape(part: str) -> str:
        return part.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")

    assert styled_vtt([tagged((Run(text, "bi"),), escape)]) == ((Run(text, "bi"),) if text else (),)
