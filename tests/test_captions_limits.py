"""Reading limits against the published numbers, and the findings about cues that break them."""

from __future__ import annotations

from fractions import Fraction

import pytest

from assembler.captions.cues import Cue
from assembler.captions.limits import BROADCAST, LIMITS, ONLINE, SLOW, characters, cps_of_wpm, reading_speed
from assembler.captions.violations import violations
from assembler.timing.rates import NTSC_24, NTSC_30, NTSC_60

RATES = [NTSC_24, Fraction(24), Fraction(25), NTSC_30, Fraction(30), Fraction(50), NTSC_60, Fraction(60)]


def cue(start: int, end: int, *lines: str, line: int = 1) -> Cue:
    return Cue(start, end, lines, "opening", line, 0, 0)


def test_the_profiles_carry_the_published_numbers() -> None:
    # Sources: published timed-text style guides (42 characters, 2 lines, 20 and 17 a second, 5/6 s, 7 s);
    # BBC subtitle guidelines (37 characters, 180 words a minute, hang 1.5 s, no gap or one of 1 s);
    # DCMP Captioning Key (32 characters from memory, 40 frames of 30, 6 s, 140 and 160 words a minute).
    assert (ONLINE.chars_per_line, ONLINE.lines, ONLINE.max_cps, ONLINE.target_cps) == (42, 2, 20, 17)
    assert (ONLINE.min_s, ONLINE.max_s, ONLINE.gap_frames) == (Fraction(5, 6), 7, 2)
    assert (BROADCAST.chars_per_line, BROADCAST.hang_s) == (37, Fraction(3, 2))
    assert (BROADCAST.gap_frames, BROADCAST.join_s) == (0, 1)
    assert BROADCAST.target_cps == cps_of_wpm(180) == 15
    assert (SLOW.chars_per_line, SLOW.max_s, SLOW.min_frames(Fraction(30))) == (32, 6, 40)
    assert (SLOW.target_cps, SLOW.max_cps) == (cps_of_wpm(140), cps_of_wpm(160))


def test_bbc_seconds_a_word_are_the_broadcast_maximum() -> None:
    # Source: BBC subtitle guidelines, about 0.3 s a word; five characters a word is common practice.
    assert BROADCAST.max_cps == Fraction(5) / Fraction(3, 10)
    # The same guidelines: four words stay 1.2 s.
    assert BROADCAST.min_s == 4 * Fraction(3, 10)


@pytest.mark.parametrize(
    ("characters_shown", "speed", "seconds"),
    [(84, 20, "4.200"), (84, 17, "4.941"), (84, 15, "5.600"), (74, 15, "4.933")],
)
def test_a_full_cue_needs_the_published_time(characters_shown: int, speed: int, seconds: str) -> None:
    # Source: arithmetic of the published limits: 2 x 42 and 2 x 37 characters at 20, 17 and 15 a second.
    half = characters_shown // 2
    lines = ("n" * half, "n" * half)
    frames = round(Fraction(characters_shown, speed) * 1000)
    assert f"{frames / 1000:.3f}" == seconds
    assert abs(reading_speed(lines, frames, Fraction(1000)) - speed) < Fraction(1, 100)


def test_words_a_minute_become_characters_a_second() -> None:
    # Source: 12 words at 160, 180, 200 a minute last 4.5, 4.0, 3.6 s; 12 words of five characters are 60.
    for rate, seconds in [(160, "4.5"), (180, "4.0"), (200, "3.6")]:
        assert 60 / cps_of_wpm(rate) == Fraction(seconds)


def test_the_least_time_in_whole_frames_is_the_published_one() -> None:
    # Source: 5/6 s rounded up, computed from the published limit for each rate.
    assert [ONLINE.min_frames(rate) for rate in RATES] == [20, 20, 21, 25, 25, 42, 50, 50]


def test_two_frames_of_gap_last_the_published_time() -> None:
    # Source: 2 frames in milliseconds at each rate, three decimals.
    listed = ["83.417", "83.333", "80.000", "66.733", "66.667", "40.000", "33.367", "33.333"]
    assert [f"{float(1000 * ONLINE.gap_frames / rate):.3f}" for rate in RATES] == listed


def test_max_frames_never_last_longer_than_the_limit() -> None:
    for limits in LIMITS.values():
        for rate in RATES:
            assert limits.max_frames(rate) / rate <= limits.max_s < (limits.max_frames(rate) + 1) / rate


def test_spaces_count_and_what_is_not_seen_does_not() -> None:
    # Spaces: published timed-text guides (common practice). Marks: Unicode categories Mn, Me, Cf.
    assert characters("60 frames") == 9
    assert characters("e\u0301te\u0301") == 3
    assert characters("\u200fשלום\u200f") == 4
    assert reading_speed(("60 frames", "a second"), 60, Fraction(60)) == 17


def test_a_cue_at_its_limits_breaks_none() -> None:
    full = ("n" * 42, "n" * 42)
    rate = Fraction(60)
    cues = [cue(0, 252, *full), cue(254, 254 + 420, "word"), cue(676, 726, "word")]
    assert violations(cues, rate, ONLINE) == ()


@pytest.mark.parametrize(
    ("broken", "kind", "measured", "limit"),
    [
        (cue(0, 250, "n" * 42, "n" * 42), "too-fast", Fraction(84 * 60, 250), 20),
        (cue(0, 49, "word"), "too-short", Fraction(49, 60), Fraction(5, 6)),
        (cue(0, 421, "word"), "too-long", Fraction(421, 60), 7),
        (cue(0, 300, "n" * 43), "too-wide", 43, 42),
        (cue(0, 300, "one", "two", "three"), "too-many-lines", 3, 2),
        (cue(0, 300, "word"), "too-close", 1, 2),
    ],
)
def test_each_limit_is_reported_with_its_figures(broken: Cue, kind: str, measured: Fraction, limit: Fraction) -> None:
    gap = 1 if kind == "too-close" else 2
    after = cue(broken.end_frame + gap, broken.end_frame + 200, "next", line=2)
    (found,) = violations([broken, after], Fraction(60), ONLINE)
    assert (found.kind, found.number, found.segment, found.line) == (kind, 1, "opening", 1)
    assert (found.measured, found.limit) == (measured, limit)
    assert str(found).startswith("caption 1 ")


def test_an_overlap_is_a_gap_below_nothing() -> None:
    (found,) = violations([cue(0, 100, "one"), cue(90, 200, "two")], Fraction(60), ONLINE)
    assert (found.kind, found.measured) == ("too-close", -10)
