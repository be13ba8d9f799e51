"""Written words, their spoken forms, and how long lines will take."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assembler.narration.english.numbers import cardinal, decimal, ordinal, paired
from assembler.narration.estimate import estimate, spread, syllables
from assembler.narration.spoken import spoken, spoken_words
from assembler.narration.words import split_words


def test_a_lone_sign_belongs_to_the_word_before() -> None:
    assert split_words("Ash — the big one — holds 26 %.") == ("Ash —", "the", "big", "one —", "holds", "26 %.")
    assert split_words("— Ash") == ("— Ash",)
    assert split_words("…") == ("…",)
    assert split_words("  ") == ()


@given(st.text(max_size=80))
def test_no_written_sign_is_lost(text: str) -> None:
    assert "".join("".join(word.split()) for word in split_words(text)) == "".join(text.split())


# Source: common practice of technical English, read aloud: the table of written and spoken forms that the
# captioning and narration trades share has no standard behind it.
READINGS = {
    "1440p": ("fourteen forty P", 3),
    "1080p": ("ten eighty P", 3),
    "2160p": ("twenty-one sixty P", 3),
    "4K": ("four K", 2),
    "720p": ("seven twenty P", 3),
    "3840x2160": ("thirty-eight forty by twenty-one sixty", 5),
    "60": ("sixty", 1),
    "fps": ("frames per second", 3),
    "60fps": ("sixty frames per second", 4),
    "16.7": ("sixteen point seven", 3),
    "ms": ("milliseconds", 1),
    "59.94": ("fifty-nine point nine four", 4),
    "26.6%": ("twenty-six point six percent", 4),
    "0.1%": ("zero point one percent", 4),
    "99th": ("ninety-ninth", 1),
    "120Hz": ("one hundred twenty hertz", 4),
    "10-bit": ("ten bit", 2),
    "2.5x": ("two point five times", 4),
    "4:2:0": ("four two zero", 3),
    "HDR10": ("H D R ten", 4),
    "v1.10": ("version one point ten", 4),
    "1,234": ("one thousand two hundred thirty-four", 5),
    "3-5": ("three to five", 3),
    "-14": ("minus fourteen", 2),
    "1ms": ("one millisecond", 2),
    "26 %": ("twenty-six percent", 2),
}


@pytest.mark.parametrize("written", READINGS)
def test_technical_words_are_read_as_people_read_them(written: str) -> None:
    said, count = READINGS[written]
    assert spoken(written) == said
    assert spoken_words(written) == count


def test_punctuation_behind_a_word_is_kept_for_the_voice() -> None:
    assert spoken('"1440p",') == 'fourteen forty P",'
    assert spoken("(60fps).") == "sixty frames per second)."
    assert spoken("harbour?") == "harbour?"


def test_numbers_keep_every_digit() -> None:
    assert decimal("3.240") == "three point two four zero"
    assert cardinal(1_000_001) == "one million one"
    assert cardinal(0) == "zero"
    assert [ordinal(n) for n in (1, 2, 3, 5, 12, 20, 21, 100)] == [
        *("first", "second", "third", "fifth", "twelfth", "twentieth", "twenty-first", "one hundredth"),
    ]
    assert [paired(n) for n in (1080, 1500, 4000, 1005, 720, 4090)] == [
        *("ten eighty", "fifteen hundred", "four thousand", "one thousand five"),
        *("seven twenty", "forty ninety"),
    ]


@given(st.text(min_size=1, max_size=20))
def test_every_written_word_has_a_spoken_count(text: str) -> None:
    for word in split_words(text):
        assert spoken_words(word) >= 1
        assert "\n" not in spoken(word)


@pytest.mark.parametrize(
    ("word", "count"), [("harbour", 2), ("frame", 1), ("table", 2), ("resolution", 4), ("holds", 1), ("quay", 1)]
)
def test_syllables_of_plain_words(word: str, count: int) -> None:
    # By hand, from any English dictionary.
    assert syllables(word) == count


def test_ordinary_text_is_estimated_at_its_pace() -> None:
    # 35 words, no number; by hand: at 160 a minute 13.125 s. Tolerance: common practice, no source.
    text = (
        "Both machines run the same scene from the same start and the first one keeps a steady picture through "
        "the whole walk along the harbour while the second one slows down near the water again"
    )
    assert len(text.split()) == 35
    assert estimate(text, 160).samples / 48_000 == pytest.approx(13.125, rel=0.15)
    # Twice the pace, half the time: exact but for rounding and the least length of a word.
    assert estimate(text, 320).samples == pytest.approx(estimate(text, 160).samples / 2, rel=0.02)


def test_punctuation_inside_a_line_makes_it_longer_and_at_its_end_does_not() -> None:
    bare = estimate("first one then the other", 160).samples
    assert estimate("first one, then the other", 160).samples == bare + 48_000 * 25 // 100
    assert estimate("first one. then the other", 160).samples == bare + 48_000 * 60 // 100
    assert estimate("first one then the other.", 160).samples == bare


@given(st.text(min_size=1, max_size=120), st.integers(80, 300))
def test_words_of_an_estimate_follow_each_other(text: str, pace: int) -> None:
    speech = estimate(text, pace)
    assert tuple(word.text for word in speech.words) == split_words(text)
    edges = [edge for word in speech.words for edge in (word.start_sample, word.end_sample)]
    assert edges == sorted(edges)
    assert not edges or (edges[0] == 0 and edges[-1] == speech.samples)


def test_words_of_a_take_fill_it() -> None:
    words = spread("Two machines, one harbour.", 96_000)
    assert words[0].start_sample == 0
    assert words[-1].end_sample == 96_000
    # The pause at the comma lies between the words.
    assert words[2].start_sample - words[1].end_sample > 4_800
    assert spread("", 100) == ()
