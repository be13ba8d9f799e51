"""Broken caption files: every fault with its line, every caption that can be read, and nothing lost in silence."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

import pysrt
import pytest
import webvtt
from broken_captions import BASE, Broken, corpus, srt_lines, vtt_lines
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.captions.caption_file import CaptionFile
from assembler.captions.reading import read_captions, styled_lines
from assembler.captions.styled import text_of

CORPUS = corpus()


def read(file: CaptionFile) -> tuple[tuple[int, int, str], ...]:
    return tuple((cue.start_ms, cue.end_ms, "\n".join(cue.lines)) for cue in file.cues)


def test_the_corpus_is_as_large_as_it_is_said_to_be() -> None:
    assert len(CORPUS) >= 150
    assert len({case.name for case in CORPUS}) == len(CORPUS)
    assert len({case.data for case in CORPUS}) > 0.98 * len(CORPUS)


@pytest.mark.parametrize("case", CORPUS, ids=lambda case: case.name)
def test_a_broken_file_is_read_as_far_as_it_goes_and_says_where_it_is_broken(case: Broken) -> None:
    file = read_captions(case.data, case.name)
    assert read(file) == case.cues
    told = [(each.line_number, each.what, each.refused) for each in file.repairs]
    assert len(told) == len(case.faults), told
    places = [(line, refused) for line, _, refused in told]
    assert places == [(line, refused) for line, _, refused in sorted(case.faults)]
    for _, words, _ in case.faults:
        assert any(words in what for _, what, _ in told), told


@pytest.mark.parametrize(("form", "lines"), [("srt", srt_lines()), ("vtt", vtt_lines())])
def test_a_good_file_is_read_without_a_word(form: str, lines: list[str]) -> None:
    file = read_captions("\n".join(lines).encode(), f"a.{form}")
    assert (read(file), file.repairs, file.form) == (BASE, (), form)


def test_what_valid_files_hold_is_what_other_parsers_read() -> None:
    # Other makers' readers: pysrt and webvtt-py.
    theirs = [
        (i.start.ordinal, i.end.ordinal, i.text) for i in pysrt.from_string("\n".join(srt_lines()), error_handling=2)
    ]
    assert tuple(theirs) == BASE
    caught = webvtt.from_string("\n".join(vtt_lines()))
    assert [item.text for item in caught] == [text for _, _, text in BASE]


def line_events(file: CaptionFile) -> list[tuple[int, bool]]:
    """Lines where a caption begins (True) or something is left out (False)."""
    left_out = [(r.line_number, False) for r in file.repairs if r.refused or "left out" in r.what or "has no" in r.what]
    return sorted([*((cue.line_number, True) for cue in file.cues), *left_out])


@settings(max_examples=150, deadline=None)
@given(
    form=st.sampled_from(["srt", "vtt"]),
    edits=st.lists(
        st.tuples(st.sampled_from(["drop", "double", "swap", "empty", "join"]), st.integers(0, 10**6)), max_size=6
    ),
)
def test_no_text_is_lost_in_silence(form: str, edits: list[tuple[str, int]]) -> None:
    lines = srt_lines() if form == "srt" else vtt_lines()
    for what, where in edits:
        at = where % len(lines)
        if what == "drop" and len(lines) > 1:
            del lines[at]
        elif what == "double":
            lines.insert(at, lines[at])
        elif what == "swap" and at:
            lines[at - 1], lines[at] = lines[at], lines[at - 1]
        elif what == "empty":
            lines.insert(at, "")
        elif what == "join" and at:
            lines[at - 1 : at + 1] = [f"{lines[at - 1]} {lines[at]}"]
    file = read_captions("\n".join(lines).encode(), f"a.{form}")
    kept = "\n".join(line for cue in file.cues for line in (cue.identifier, *cue.lines))
    for number, line in enumerate(lines, 1):
        for words in re.findall(r"[A-Z][a-z]+ [a-z]+ ?\w*[.,]?", line) if "WEBVTT" not in line else ():
            if words not in kept:
                before = [taken for at, taken in line_events(file) if at <= number]
                # An identifier is refused with the times below it.
                told = any(each.line_number in (number, number + 1) for each in file.repairs)
                assert told or (before and not before[-1]), (words, lines, file.repairs)


BYTES = b"0123456789:,.-> \n\r\t\x00\xff\xfe\xef\xbb\xbf\xe4&<>{}\\WEBVTTNOTE"


@settings(max_examples=300, deadline=None)
@given(
    form=st.sampled_from(["srt", "vtt", "ttml"]),
    seed=st.integers(0, 10**9),
    count=st.integers(1, 30),
)
def test_no_bytes_make_a_traceback_and_every_fault_has_a_line_of_the_file(form: str, seed: int, count: int) -> None:
    rng = random.Random(seed)
    ttml = next(case.data for case in CORPUS if case.name == "plain.ttml")
    data = bytearray(
        {"srt": "\n".join(srt_lines()).encode(), "vtt": "\n".join(vtt_lines()).encode(), "ttml": ttml}[form]
    )
    changes: dict[int, Callable[[int], None]] = {
        0: lambda at: data.__setitem__(at, rng.choice(BYTES)),
        1: lambda at: data.insert(at, rng.choice(BYTES)),
        2: lambda at: data.pop(at) and None,
        3: lambda at: data.__setitem__(slice(at, at + rng.randrange(40)), b""),
    }
    for _ in range(count):
        if data:
            changes[rng.randrange(4)](rng.randrange(len(data)))
    check(bytes(data), form)


@settings(max_examples=150, deadline=None)
@given(data=st.binary(max_size=200), form=st.sampled_from(["srt", "vtt", "ttml"]))
def test_any_bytes_are_read(data: bytes, form: str) -> None:
    check(data, form)
    check(b"WEBVTT\n\n" + data, form)
    check(b"1\n00:00:01,000 --> 00:00:02,000\n" + data, form)


def check(data: bytes, form: str) -> None:
    file = read_captions(data, f"a.{form}")
    most = len(data) + 1
    assert all(1 <= each.line_number <= most and each.what for each in file.repairs)
    assert all(0 <= cue.start_ms < cue.end_ms and cue.lines and 1 <= cue.line_number <= most for cue in file.cues)
    assert [cue.start_ms for cue in file.cues] == sorted(cue.start_ms for cue in file.cues)
    for cue in file.cues:
        assert all(text_of(line) is not None for line in styled_lines(file, cue))


def test_a_large_broken_file_is_read_in_no_time() -> None:
    # 20,000 broken captions and lines of a hundred thousand signs; nothing here may grow with the square.
    block = "1\n00:00:01.5 -> 00:00:0O,000\n<b>a &\n\n"
    for form in ("srt", "vtt"):
        file = read_captions((block * 20_000).encode(), f"a.{form}")
        assert len([each for each in file.repairs if each.refused]) >= 20_000
    for line in (" " * 100_000, "-" * 100_000, "0:" * 50_000, "<" * 100_000, "00:00:01,000 --> " * 6_000):
        read_captions(f"1\n{line}\n00:00:01,000 --> 00:00:02,000\n{line}".encode(), "a.srt")
        read_captions(f"WEBVTT\n\n{line}\n00:01.000 --> 00:02.000\n{line}".encode(), "a.vtt")
