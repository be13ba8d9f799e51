"""Caption files read back by parsers of other makers, hostile text included."""

from __future__ import annotations

import io
import os
import re
from fractions import Fraction
from pathlib import Path

import pysrt
import pysubs2
import pytest
import webvtt
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assembler.captions.cues import Cue
from assembler.captions.files import millisecond, write_srt, write_vtt
from assembler.errors import AssemblerError
from assembler.timing.rates import CANVAS_RATES, nearest_frame

SIXTY = Fraction(60)
JOINER = "\u2060"
HOSTILE = [
    "A < B & C --> D",
    "00:00:01,000 --> 00:00:02,000",
    "00:00:01.000 --> 00:00:02.000 align:start",
    "<b>bold</b> and </i> and <font color=red>",
    "&amp; &lt;i&gt; &#60; &nbsp;",
    "{\\an8}up \\N down",
    "WEBVTT",
    "NOTE not a note",
    "STYLE",
    "42",
    "\ufeff1",
    "שלום, 60 תמונות בשנייה.",
    "\u200fHDR10 أفضل\u200f",
    "e\u0301 \U0001f3ae 中文",
]


def cue(start: int, end: int, *lines: str) -> Cue:
    return Cue(start, end, lines, "opening", 1, 0, 0)


def plain(text: str) -> str:
    return text.replace(JOINER, "")


def read_srt(path: Path) -> list[tuple[int, int, str]]:
    found = pysubs2.load(str(path), encoding="utf-8", format_="srt", keep_html_tags=True)
    return [(event.start, event.end, plain(event.text).replace("\\N", "\n")) for event in found]


def read_vtt(path: Path) -> list[tuple[int, int, str]]:
    def ms(stamp: str) -> int:
        hours, minutes, seconds = stamp.split(":")
        return (int(hours) * 60 + int(minutes)) * 60_000 + round(float(seconds) * 1000)

    return [(ms(item.start), ms(item.end), item.text) for item in webvtt.read(str(path))]


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_is_read_back_as_it_was(tmp_path: Path, text: str) -> None:
    cues = [cue(0, 60, text, "second line"), cue(62, 120, "before", text), cue(122, 200, text), cue(202, 300, "end")]
    write_srt(cues, SIXTY, tmp_path / "a.srt")
    write_vtt(cues, SIXTY, tmp_path / "a.vtt", "en")
    expected = [(millisecond(c.start_frame, SIXTY), millisecond(c.end_frame, SIXTY), "\n".join(c.lines)) for c in cues]
    if "\\N" not in text:  # the parser's own sign for a new line
        assert read_srt(tmp_path / "a.srt") == expected
    written = (tmp_path / "a.srt").read_text("utf-8")
    theirs = [(i.start.ordinal, i.end.ordinal, plain(i.text)) for i in pysrt.from_string(written, error_handling=2)]
    assert theirs == expected
    # webvtt-py leaves the three escapes of the standard as they are written.
    raw = [(a, b, t.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")) for a, b, t in read_vtt(
        tmp_path / "a.vtt"
    )]
    assert raw == expected


def test_text_in_webvtt_is_escaped_as_the_standard_says(tmp_path: Path) -> None:
    # Source: WebVTT, cue text: raw & and < are not text; --> must not stand in a payload.
    write_vtt([cue(0, 60, "A < B & C --> D")], SIXTY, tmp_path / "a.vtt", "en")
    assert "A &lt; B &amp; C --&gt; D\n" in (tmp_path / "a.vtt").read_text("utf-8")


def test_subrip_text_holds_neither_markup_nor_timing(tmp_path: Path) -> None:
    # Common practice: players act on <b> <i> <u> <s> <font> and {\an8}; SubRip has no escape.
    cues = [cue(60 * n, 60 * n + 50, text) for n, text in enumerate(HOSTILE)]
    write_srt(cues, SIXTY, tmp_path / "a.srt")
    texts = [line for line in (tmp_path / "a.srt").read_text("utf-8").splitlines() if "," not in line[:10]]
    assert not [line for line in texts if re.search(r"<\s*/?\s*[a-zA-Z]|\{\\|-->", line)]


def test_figures_and_comparisons_are_left_alone(tmp_path: Path) -> None:
    write_srt([cue(0, 60, "1 < 2 and 3 > 2, -> 60 fps {a}")], SIXTY, tmp_path / "a.srt")
    assert "1 < 2 and 3 > 2, -> 60 fps {a}\n" in (tmp_path / "a.srt").read_text("utf-8")


def test_blank_lines_and_control_characters_do_not_end_a_cue(tmp_path: Path) -> None:
    # A blank line ends a cue in both formats, so none may stand inside one.
    text = "one\n\n\ntwo\r\n\x00\x07 \u2028three\x0b\ud800four"
    cues = [cue(0, 60, text, "", "  ", "\u200b"), cue(62, 120, "", "\n \n"), cue(122, 180, "after")]
    write_srt(cues, SIXTY, tmp_path / "a.srt")
    write_vtt(cues, SIXTY, tmp_path / "a.vtt", "en")
    expected = ["one\ntwo\nthree\nfour", "after"]
    assert [text for _, _, text in read_srt(tmp_path / "a.srt")] == expected
    assert [text for _, _, text in read_vtt(tmp_path / "a.vtt")] == expected
    assert (tmp_path / "a.srt").read_text("utf-8").split("\n")[0] == "1"
    assert "\n2\n00:00:02,033 --> " in (tmp_path / "a.srt").read_text("utf-8")


def test_the_bytes_of_a_subrip_file(tmp_path: Path) -> None:
    # Common practice: counters from 1, HH:MM:SS,mmm with a comma, a blank line, LF, UTF-8 without a mark.
    write_srt([cue(0, 90, "Zwei Geräte,", "ein Hafen."), cue(92, 150, "Gut.")], SIXTY, tmp_path / "a.srt")
    assert (tmp_path / "a.srt").read_bytes() == (
        "1\n00:00:00,000 --> 00:00:01,500\nZwei Geräte,\nein Hafen.\n\n2\n00:00:01,533 --> 00:00:02,500\nGut.\n\n"
    ).encode()


def test_the_bytes_of_a_webvtt_file(tmp_path: Path) -> None:
    # Source: WebVTT: the word, a blank line, full stops in times, a blank line between cues.
    write_vtt([cue(0, 90, "Two machines,", "one harbour."), cue(92, 150, "Good.")], SIXTY, tmp_path / "a.vtt", "en")
    assert (tmp_path / "a.vtt").read_bytes() == (
        b"WEBVTT\n\nNOTE language: en\n\n00:00:00.000 --> 00:00:01.500\nTwo machines,\none harbour.\n\n"
        b"00:00:01.533 --> 00:00:02.500\nGood.\n"
    )


def test_no_cues_make_files_that_can_be_read(tmp_path: Path) -> None:
    write_srt([], SIXTY, tmp_path / "a.srt")
    write_vtt([], SIXTY, tmp_path / "a.vtt", "en")
    assert (tmp_path / "a.srt").read_bytes() == b""
    assert (tmp_path / "a.vtt").read_bytes() == b"WEBVTT\n\nNOTE language: en\n"
    assert read_vtt(tmp_path / "a.vtt") == []


@pytest.mark.parametrize(
    ("milliseconds", "srt", "vtt"),
    [
        (3_599_999, "00:59:59,999", "00:59:59.999"),
        (3_600_000, "01:00:00,000", "01:00:00.000"),
        (86_400_000, "24:00:00,000", "24:00:00.000"),
        (360_000_000, "100:00:00,000", "100:00:00.000"),
    ],
)
def test_long_times_are_written_out(tmp_path: Path, milliseconds: int, srt: str, vtt: str) -> None:
    # Source: WebVTT timestamp grammar; the same values with a comma in SubRip (common practice).
    cues = [cue(milliseconds, milliseconds + 900, "late")]
    write_srt(cues, Fraction(1000), tmp_path / "a.srt")
    write_vtt(cues, Fraction(1000), tmp_path / "a.vtt", "en")
    assert f"\n{srt} --> " in (tmp_path / "a.srt").read_text("utf-8")
    assert f"\n{vtt} --> " in (tmp_path / "a.vtt").read_text("utf-8")
    assert read_vtt(tmp_path / "a.vtt")[0][0] == milliseconds


@pytest.mark.parametrize("rate", CANVAS_RATES, ids=str)
def test_the_frame_nearest_to_a_written_millisecond_is_the_frame(rate: Fraction) -> None:
    # Source: computed for every frame below 100000 at six rates; here a spread of frames at every rate.
    for frame in [*range(2000), *range(2000, 100_000, 97), 99_999, 5_184_000]:
        assert nearest_frame(Fraction(millisecond(frame, rate), 1000), rate) == frame


@pytest.mark.parametrize("rate", CANVAS_RATES, ids=str)
def test_a_player_shows_a_caption_from_its_first_frame_to_its_last(rate: Fraction) -> None:
    # Source: WebVTT, cue active flag: start <= time < end; time is that of the picture, exact or cut to milliseconds.
    for frame in [*range(2000), *range(2000, 100_000, 97), 99_999, 5_184_000]:
        written = Fraction(millisecond(frame, rate), 1000)
        assert (frame - 1) / rate < written <= frame / rate
        assert (frame - 1) * 1000 // rate < written * 1000 <= frame * 1000 // rate


def test_right_to_left_lines_that_begin_with_other_letters_are_marked(tmp_path: Path) -> None:
    # Source: Unicode bidirectional algorithm, rules P2 and P3: the first strong letter decides.
    write_vtt([cue(0, 60, "HDR10 أفضل", "أفضل HDR10", "60")], SIXTY, tmp_path / "a.vtt", "ar-EG")
    assert read_vtt(tmp_path / "a.vtt")[0][2] == "\u200fHDR10 أفضل\nأفضل HDR10\n\u200f60"
    write_vtt([cue(0, 60, "HDR10 أفضل")], SIXTY, tmp_path / "b.vtt", "en")
    assert "\u200f" not in (tmp_path / "b.vtt").read_text("utf-8")


@pytest.mark.parametrize(
    "cues",
    [
        [cue(10, 10, "empty")],
        [cue(-1, 10, "before the start")],
        [cue(0, 20, "one"), cue(19, 30, "two")],
        [cue(50, 60, "one"), cue(0, 30, "two")],
    ],
)
def test_cues_that_are_no_sequence_are_refused(tmp_path: Path, cues: list[Cue]) -> None:
    with pytest.raises(ValueError, match="caption"):
        write_srt(cues, SIXTY, tmp_path / "a.srt")
    with pytest.raises(ValueError, match="caption"):
        write_vtt(cues, SIXTY, tmp_path / "a.vtt", "en")
    assert list(tmp_path.iterdir()) == []


def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    old = tmp_path / "a.srt"
    old.write_text("a person's work")

    def broken(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", broken)
    with pytest.raises(AssemblerError, match=r"a\.srt"):
        write_srt([cue(0, 60, "new")], SIXTY, old)
    assert old.read_text() == "a person's work"
    assert list(tmp_path.iterdir()) == [old]


def test_a_folder_in_the_way_is_told_as_ours(tmp_path: Path) -> None:
    (tmp_path / "a.srt").mkdir()
    with pytest.raises(AssemblerError, match=r"a\.srt"):
        write_srt([cue(0, 60, "new")], SIXTY, tmp_path / "a.srt")


SIGNS = list("ab1 <>&/-\\{}\n\r\t\u200f\u2028\u00a0\x00éא")
LINE = st.text(alphabet=st.one_of(st.sampled_from(SIGNS), st.characters()), max_size=30)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    texts=st.lists(st.lists(LINE, min_size=1, max_size=3), max_size=6),
    rate=st.sampled_from(CANVAS_RATES),
    start=st.integers(0, 10**7),
)
def test_any_text_gives_files_of_one_reading(
    tmp_path: Path, texts: list[list[str]], rate: Fraction, start: int
) -> None:
    cues = [cue(start + 100 * n, start + 100 * n + 90, *lines) for n, lines in enumerate(texts)]
    write_srt(cues, rate, tmp_path / "a.srt")
    write_vtt(cues, rate, tmp_path / "a.vtt", "en")
    srt = (tmp_path / "a.srt").read_bytes().decode("utf-8")
    theirs = pysrt.SubRipFile.stream(io.StringIO(srt, newline="\n"), error_handling=2)
    listed = [(item.start.ordinal, item.end.ordinal, plain(item.text)) for item in theirs]
    times = [(nearest_frame(Fraction(a, 1000), rate), nearest_frame(Fraction(b, 1000), rate)) for a, b, _ in listed]
    assert set(times) <= {(c.start_frame, c.end_frame) for c in cues}
    vtt = read_vtt(tmp_path / "a.vtt")
    assert [(a, b) for a, b, _ in vtt] == [(a, b) for a, b, _ in listed]
    assert [len(text.split("\n")) for _, _, text in vtt] == [len(text.split("\n")) for _, _, text in listed]
    visible = ["".join(ch for line in c.lines for ch in line if ch.isalnum()) for c in cues]
    kept = ["".join(ch for ch in text if ch.isalnum()) for _, _, text in listed]
    assert kept == [text for text, c in zip(visible, cues, strict=True) if (c.start_frame, c.end_frame) in times]
