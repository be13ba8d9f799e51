"""Each cost of a cue decides a choice that nothing else would. Sentences are given by width and time."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from assembler.captions.fit import Piece, Run, choose
from assembler.captions.limits import ONLINE, SLOW, Limits

SIXTY = Fraction(60)


def run(*sentences: tuple[int, int], silent: int = 0, after: int | None = None, fence: int = 100_000) -> Run:
    """Sentences of (characters, frames), each two words of half the size, breaks free between them."""
    widths: list[int] = []
    starts: list[int] = []
    ends: list[int] = []
    breaks: list[float] = []
    here = 0
    for size, frames in sentences:
        half = frames // 2
        widths += [(size - 1) // 2, size - 1 - (size - 1) // 2]
        starts += [here, here + half]
        ends += [here + half, here + frames]
        breaks += [5.0, 0.0]
        here += frames + silent
    return Run(widths, starts, ends, [1] * len(widths), breaks, fence, after)


def groups(pieces: tuple[Piece, ...]) -> list[int]:
    """How many sentences each cue holds."""
    return [(piece.stop - piece.first) // 2 for piece in pieces]


def chosen(found: Run, limits: Limits = ONLINE) -> list[int]:
    return groups(choose(found, limits, SIXTY))


def test_a_fast_sentence_is_shown_with_a_slow_one() -> None:
    # 38 characters in 1 s are too fast alone; the two of 40 would be better balanced.
    assert chosen(run((38, 60), (40, 240), (40, 150), after=450)) == [2, 1]
    assert chosen(run((38, 150), (40, 240), (40, 150), after=540)) == [1, 2]


def test_a_brisk_sentence_is_shown_with_a_slow_one() -> None:
    # 38 characters in 2 s are below 20 a second and above 17.
    assert chosen(run((38, 120), (40, 240), (40, 180), after=540)) == [2, 1]


def test_a_sentence_too_short_to_read_is_shown_with_its_neighbour() -> None:
    assert chosen(run((14, 48), (40, 180), (40, 180), after=408)) == [2, 1]
    assert chosen(run((14, 80), (40, 180), (40, 180), after=440)) == [1, 2]


def test_a_tiny_sentence_is_shown_with_its_neighbour() -> None:
    assert chosen(run((11, 60), (40, 180), (40, 180), after=420)) == [2, 1]


def test_a_long_silence_parts_two_sentences() -> None:
    assert chosen(run((30, 120), (30, 120))) == [2]
    assert chosen(run((30, 120), (30, 120), silent=72)) == [1, 1]


def test_no_cue_holds_words_for_longer_than_the_limit() -> None:
    assert chosen(run((30, 200), (30, 200))) == [2]
    assert chosen(run((30, 230), (30, 230))) == [1, 1]  # 460 frames; 7 s are 420


def test_a_cue_lingers_for_the_readers_and_no_longer() -> None:
    (alone,) = choose(run((30, 120)), ONLINE, SIXTY)
    assert alone.end_frame == 120 + 24  # 0.4 s
    (fast,) = choose(run((40, 60)), ONLINE, SIXTY)
    assert fast.end_frame == 60 + 82  # 40 characters at 17 a second: 141.2 frames
    (faster,) = choose(run((42, 30)), ONLINE, SIXTY)
    assert faster.end_frame == 30 + 90  # 1.5 s, and no more
    (short,) = choose(run((5, 10)), SLOW, SIXTY)
    assert short.end_frame == 80  # 4/3 s
    (full,) = choose(run((80, 410)), ONLINE, SIXTY)
    assert full.end_frame == 420  # 7 s, though 0.4 s of linger would reach 434
    (fenced,) = choose(run((30, 120), fence=130), ONLINE, SIXTY)
    assert fenced.end_frame == 130


def test_a_cue_makes_room_for_the_next() -> None:
    (hurried,) = choose(run((30, 120), after=121), ONLINE, SIXTY)
    assert hurried.end_frame == 119
    (joined,) = choose(run((30, 120), after=170), ONLINE, SIXTY)
    assert joined.end_frame == 168  # 24 frames after the linger is less than half a second
    (left,) = choose(run((30, 120), after=200), ONLINE, SIXTY)
    assert left.end_frame == 144


def test_three_lines_are_laid_out_when_limits_allow_them() -> None:
    tall = replace(ONLINE, lines=3, chars_per_line=25)
    (piece,) = choose(run((24, 120), (24, 120), (24, 120)), tall, SIXTY)
    assert piece.splits == (2, 4)


@pytest.mark.parametrize(("size", "count"), [(10, 1), (30, 2)])
def test_only_a_short_narration_line_is_shown_with_another(size: int, count: int) -> None:
    found = replace(run((size, 60), (30, 130)), lines=[1, 1, 2, 2])
    assert len(choose(found, ONLINE, SIXTY)) == count


def test_words_far_ahead_of_their_time_are_not_shown() -> None:
    # A short line at the end joins a line said in a moment, not one that takes long to say.
    late = replace(run((40, 300), (10, 60), after=2000), lines=[1, 1, 2, 2])
    soon = replace(run((40, 120), (10, 60), after=2000), lines=[1, 1, 2, 2])
    assert [len(choose(found, ONLINE, SIXTY)) for found in (late, soon)] == [2, 1]


def test_a_short_line_that_is_shown_with_a_long_one_is_shown_whole() -> None:
    found = run((30, 120), (10, 60), after=2000)
    # Two seconds of silence inside the short line make a break there tempting.
    found = replace(found, lines=[1, 1, 2, 2], starts=[0, 60, 120, 270], ends=[60, 120, 150, 300])
    assert choose(found, ONLINE, SIXTY)[0].stop == 2
