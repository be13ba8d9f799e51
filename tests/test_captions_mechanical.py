"""Mechanical re-timing: exact arithmetic, files outside any project, and what becomes of files that are there."""

from __future__ import annotations

from fractions import Fraction
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assembler.captions.caption_file import FileCue
from assembler.captions.mechanical import (
    Change,
    change_times,
    read_anchors,
    read_cuts,
    read_rates,
    read_shift,
)
from assembler.captions.reading import read_captions
from assembler.cli.main import main

SRT = "1\n00:00:01,000 --> 00:00:02,000\n<i>First</i>\n\n2\n00:00:03,000 --> 00:00:04,500\nSecond\nline\n\n" \
      "3\n01:00:00,000 --> 01:00:02,000\nThird\n"  # fmt: skip
NAMES = {"23.976": Fraction(24000, 1001), "24": Fraction(24), "25": Fraction(25), "29.97": Fraction(30000, 1001),
         "30": Fraction(30), "47.952": Fraction(48000, 1001), "48": Fraction(48), "50": Fraction(50),
         "59.94": Fraction(60000, 1001), "60": Fraction(60), "119.88": Fraction(120000, 1001), "120": Fraction(120),
         "23.98": Fraction(24000, 1001), "24000/1001": Fraction(24000, 1001), "12.5": Fraction(25, 2)}  # fmt: skip


@pytest.mark.parametrize(("old", "new"), list(product(NAMES, NAMES)))
def test_every_rate_change_is_exact(old: str, new: str) -> None:
    # Source: frame n stays frame n, so a time t becomes t * old / new; SMPTE rates are multiples of 1000/1001.
    assert read_rates(f"{old}:{new}") == NAMES[old] / NAMES[new]


def test_two_hours_of_film_at_25_land_on_the_same_frames() -> None:
    # Source: frame numbers. Cues on whole frames at 23.976 are on the same frames at 25, within the millisecond of SRT.
    frames = range(0, 2 * 3600 * 24, 997)
    cues = [FileCue(round(Fraction(n * 1001, 24)), round(Fraction((n + 24) * 1001, 24)), ("x",)) for n in frames]
    changed = change_times(cues, Change(factor=read_rates("23.976:25")))
    assert [round(Fraction(start * 25, 1000)) for _, start, _ in changed.cues] == list(frames)
    assert all(abs(start - n * 40) <= 1 for n, (_, start, _) in zip(frames, changed.cues, strict=True))


def test_anchors_meet_their_times_and_run_on_outside() -> None:
    change = Change(anchors=read_anchors(["00:10.000=12.5s", "100s=01:44.500", "60s=1:03.000"]))
    assert [change(Fraction(old)) for old in (10, 60, 100)] == [Fraction("12.5"), 63, Fraction("104.5")]
    assert change(Fraction(35)) == Fraction("12.5") + 25 * Fraction("50.5") / 50
    assert change(Fraction(0)) == Fraction("12.5") - 10 * Fraction("50.5") / 50
    assert change(Fraction(140)) == Fraction("104.5") + 40 * Fraction("41.5") / 40


def test_cuts_close_up_and_take_cues_that_are_mostly_in_them() -> None:
    cues = [FileCue(0, 1000, ("before",)), FileCue(1500, 2600, ("trimmed",)), FileCue(1900, 3000, ("gone",)),
            FileCue(4000, 5000, ("after",))]  # fmt: skip
    changed = change_times(cues, Change(cuts=read_cuts(["2.1s-3.1s"])))
    assert [(cue.lines[0], start, end) for cue, start, end in changed.cues] == [
        ("before", 0, 1000), ("trimmed", 1500, 2100), ("after", 3000, 4000),
    ]  # fmt: skip
    assert [(cue.lines[0], why) for cue, why in changed.removed] == [("gone", "most of it was cut")]
    assert read_cuts(["5s-6s", "1s-2s", "2s-3s"]) == ((1, 3), (5, 6))


def test_a_shift_before_nothing_trims_or_removes_and_never_folds() -> None:
    # Source: pysrt's shift clamps both ends to 0 and leaves a cue without length (its tracker, number 19).
    cues = [FileCue(0, 900, ("gone",)), FileCue(500, 2000, ("trimmed",))]
    changed = change_times(cues, Change(shift_s=read_shift("-1s")))
    assert [(cue.lines[0], start, end) for cue, start, end in changed.cues] == [("trimmed", 0, 1000)]
    assert [why for _, why in changed.removed] == ["it would end before 0"]


@given(st.integers(-5000, 10**7), st.lists(st.integers(0, 10**8), min_size=2, max_size=40, unique=True),
       st.sampled_from(["23.976:25", "25:23.976", "59.94:60", "30:24"]))  # fmt: skip
def test_order_and_length_survive_any_shift_and_rate(shift_ms: int, edges: list[int], rates: str) -> None:
    edges.sort()
    cues = [FileCue(a, b, ("x",), at) for at, (a, b) in enumerate(zip(edges[::2], edges[1::2], strict=False))]
    changed = change_times(cues, Change(shift_s=Fraction(shift_ms, 1000), factor=read_rates(rates)))
    assert len(changed.cues) + len(changed.removed) == len(cues)
    for _, start, end in changed.cues:
        assert 0 <= start < end
    starts = [start for _, start, _ in changed.cues]
    assert starts == sorted(starts)
    back = change_times([FileCue(s, e, c.lines) for c, s, e in changed.cues],
                        Change(-Fraction(shift_ms, 1000) / read_rates(rates), 1 / read_rates(rates)))  # fmt: skip
    # There and back: within the millisecond that a file can hold, stretched by the rate.
    if not changed.removed and all(start > 0 for start in starts) and not back.removed:
        for cue, start, _ in back.cues:
            original = next(c for c, s, e in changed.cues if (s, e) == (cue.start_ms, cue.end_ms))
            assert abs(start - original.start_ms) <= 1


@pytest.mark.parametrize("wrong", [["--shift", "soon"], ["--shift", "3f"], ["--rate", "25"], ["--rate", "0:25"],
                                   ["--anchor", "1s=2s"], ["--anchor", "1s=9s", "--anchor", "2s=3s"],
                                   ["--out", "x.srt"],
                                   ["--cut", "5s-4s"], ["--cut", "5s"], ["--rate", "x:25"], ["--rate", "1/0:25"],
                                   ["--cut", "0s-5000s"], ["--shift", "1s", "--by-words"]])  # fmt: skip
def test_what_cannot_be_meant_is_refused_and_nothing_is_written(tmp_path: Path, wrong: list[str]) -> None:
    path = tmp_path / "talk.srt"
    path.write_text(SRT)
    assert main(["retime", str(path), *wrong]) == 2
    assert [each.name for each in tmp_path.iterdir()] == ["talk.srt"]
    assert path.read_text() == SRT


def test_a_file_is_written_anew_with_the_old_one_beside_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "talk.srt"
    path.write_bytes(b"\xef\xbb\xbf" + SRT.replace("\n", "\r\n").encode())
    before = path.read_bytes()
    assert main(["retime", str(path), "--shift", "1.5s", "--dry-run"]) == 0
    assert path.read_bytes() == before
    assert "by +1.500 s  <i>First</i>" in capsys.readouterr().out
    assert main(["retime", str(path), "--cut", "00:00:00.500-00:00:02.500", "--shift", "+1.5s"]) == 0
    assert (tmp_path / "talk.before.srt").read_bytes() == before
    data = path.read_bytes()
    assert data.startswith(b"\xef\xbb\xbf1\r\n00:00:02,500 --> 00:00:04,000\r\nSecond\r\nline\r\n")
    removed = read_captions((tmp_path / "talk.removed.srt").read_bytes(), "talk.removed.srt")
    assert [(cue.start_ms, cue.lines) for cue in removed.cues] == [(1000, ("<i>First</i>",))]
    # A second cut adds to the list; the file in between is kept, too.
    assert main(["retime", str(path), "--cut", "00:00:02.000-00:00:04.500"]) == 0
    removed = read_captions((tmp_path / "talk.removed.srt").read_bytes(), "talk.removed.srt")
    assert [cue.lines for cue in removed.cues] == [("<i>First</i>",), ("Second", "line")]
    assert (tmp_path / "talk.before-2.srt").read_bytes() == before
    assert (tmp_path / "talk.before.srt").read_bytes() == data


def test_webvtt_keeps_everything_that_is_not_a_time(tmp_path: Path) -> None:
    path, new = tmp_path / "talk.vtt", tmp_path / "new.vtt"
    path.write_text(
        "WEBVTT - a talk\n\nSTYLE\n::cue { color: white }\n\nNOTE about\nthis\n\nfirst\n"
        "00:01.000 --> 00:02.000 line:10% align:start\n"
        "<v Ann>One <00:01.500>two\n\nNOTE between\n\n00:03.000 --> 00:04.000\nThree &amp; four\n"
    )
    assert main(["retime", str(path), "--rate", "25:50", "--shift", "10s", "--out", str(new)]) == 0
    assert new.read_text() == (
        "WEBVTT - a talk\n\nSTYLE\n::cue { color: white }\n\nNOTE about\nthis\n\nfirst\n"
        "00:00:10.500 --> 00:00:11.000 line:10% align:start\n<v Ann>One <00:00:10.750>two\n\nNOTE between\n\n"
        "00:00:11.500 --> 00:00:12.000\nThree &amp; four\n"
    )
    assert not (tmp_path / "talk.before.vtt").exists()
    assert main(["retime", str(new), "--cut", "10s-11.2s"]) == 0
    assert "NOTE between" in new.read_text()
    assert "first" not in new.read_text()
