"""Tries at a line in a stream of heard words, and which of them is taken: pure functions, no sound."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from assembler.media.recording import Levels
from assembler.narration.recogniser import Heard
from assembler.narration.take_choice import (
    SURE,
    Candidate,
    choose,
    clock_s,
    confidence,
    explained,
    most_rival,
    reason,
)
from assembler.narration.take_hits import find_hits
from assembler.narration.take_judge import Evidence, _begun_again
from assembler.narration.take_listen import blocks, stretches
from assembler.narration.take_search import cut

LINE = ("the", "second", "one", "drops", "to", "forty", "frames")


def stream(text: str) -> list[Heard]:
    """Words half a second apart; a dot is a pause of three seconds."""
    out, at = [], 0.0
    for word in text.split():
        if word == ".":
            at += 3.0
            continue
        out.append(Heard(word, at, at + 0.4, -2.0))
        at += 0.5
    return out


def tries(text: str, line: tuple[str, ...] = LINE) -> list[str]:
    heard = stream(text)
    return [" ".join(word.word for word in heard[hit.first : hit.past]) for hit in find_hits(line, heard)]


@pytest.mark.parametrize(
    ("heard", "found"),
    [
        ("okay . the second one drops to forty frames . so", ["the second one drops to forty frames"]),
        ("the second one drops to forty frames . the second one drops to forty frames",
         ["the second one drops to forty frames"] * 2),
        ("the second one . the second one drops to forty frames",
         ["the second one", "the second one drops to forty frames"]),
        ("the second one the second one drops to forty frames",
         ["the second one", "the second one drops to forty frames"]),
        ("the second one drops to sixty frames", ["the second one drops to sixty frames"]),
        ("the first car stops at ninety miles", []),
        ("", []),
    ],
)  # fmt: skip
def test_every_try_at_a_line_is_found(heard: str, found: list[str]) -> None:
    assert tries(heard) == found


def test_a_line_without_words_is_nowhere() -> None:
    assert find_hits((), stream("one two")) == ()


def candidate(confidence: float, share: float = 1.0) -> Candidate:
    return Candidate(0, 1.0, 2.0, confidence, "" if confidence > 0.9 else "sounds like 'x'", share, "")


@pytest.mark.parametrize(
    ("tries", "verdict", "picked"),
    [
        ([], "missing", None),
        ([(0.99, 1.0)], "proposed", 0),
        ([(0.99, 1.0), (0.97, 1.0)], "proposed", 1),
        ([(0.1, 0.6), (0.97, 1.0)], "proposed", 1),
        ([(0.97, 1.0), (0.01, 0.45)], "proposed", 0),  # a false start is no take
        ([(0.97, 1.0), (0.05, 0.6)], "flagged", 0),  # it may have been meant to replace the good one
        ([(0.97, 1.0), (0.5, 0.9)], "flagged", 0),
        ([(0.5, 0.9)], "flagged", 0),
        ([(0.01, 0.8)], "flagged", 0),
        ([(0.01, 0.45)], "missing", None),
    ],
)
def test_the_last_good_take_is_proposed_unless_a_later_one_is_in_doubt(
    tries: list[tuple[float, float]], verdict: str, picked: int | None
) -> None:
    result = choose([candidate(*each) for each in tries])
    assert (result.verdict, result.picked) == (verdict, picked)
    assert result.why


def test_everything_that_speaks_against_a_try_lowers_its_confidence() -> None:
    good = {"start_s": 0.0, "end_s": 1.0, "share": 1.0, "refused": False, "worst": -2.0, "mean": -1.5, "rival": 0.0,
            "again": 1.0, "extra": 0, "loud_s": 0.0, "hole_s": 0.0, "heard": "x"}  # fmt: skip
    best = confidence(Evidence(**good))  # type: ignore[arg-type]
    assert best > 0.95
    half = {"share": 0.5, "again": 0.3, "rival": 2.0}
    unsure = (half, {"refused": True}, {"worst": -9.0, "rival": 3.0}, {"loud_s": 0.8})
    for worse in unsure:
        assert confidence(Evidence(**{**good, **worse})) < SURE  # type: ignore[arg-type]
    assert confidence(Evidence(**{**good, "worst": -9.0})) < best  # type: ignore[arg-type]


def test_a_reader_who_is_heard_well_is_taken_at_their_word() -> None:
    def heard(extra: int, rival: float) -> Evidence:
        return Evidence(0.0, 1.0, 1.0 - 0.1 * extra, False, -2.0, -1.5, rival, 0.95, extra, 0.0, 0.0, "x")

    well, badly = [heard(0, 0.0)] * 20, [heard(0, 0.0)] * 10 + [heard(1, 1.0)] * 10
    assert most_rival(well) < most_rival([]) < most_rival(badly) <= 2.7
    # One word was misread, and nothing else is wrong.
    slip = heard(1, 1.6)
    assert confidence(slip, most_rival([*well, slip])) < SURE < confidence(slip, most_rival(badly))
    assert "sounds like 'x'" in reason(slip, most_rival(well))
    assert confidence(well[0], most_rival(well)) == confidence(well[0])
    garbled = heard(2, 1.6)
    assert confidence(garbled, most_rival(well)) == confidence(garbled)


class Ear:
    """Answers every question with the same words, shifted to where it listens; refuses where there is no room."""

    def __init__(self, *later: Heard) -> None:
        self.later, self.asked = later, 0

    def align(self, first: int, past: int, words: Sequence[str]) -> tuple[Heard, ...] | None:
        self.asked = first
        return self.later or None


def test_a_word_before_a_pause_is_a_false_start_where_the_whole_line_follows() -> None:
    line = ("in", "the", "rain")
    glued = (Heard("in", 0.0, 0.2, -2.0), Heard("the", 1.1, 1.3, -2.0), Heard("rain", 1.3, 1.6, -2.0))
    whole = (Heard("in", 1.0, 1.1, -2.0), *glued[1:])
    ear = Ear(*whole)
    assert _begun_again(glued, line, 0, 170, ear) == (whole, 65)  # type: ignore[arg-type]
    assert ear.asked == 65  # the middle of the pause
    # The first word is not there a second time: the pause is the reader's own.
    assert _begun_again(glued, line, 0, 170, Ear()) == (glued, 0)  # type: ignore[arg-type]
    poor = Ear(Heard("in", 1.0, 1.1, -8.0), *glued[1:])
    assert _begun_again(glued, line, 0, 170, poor) == (glued, 0)  # type: ignore[arg-type]
    assert _begun_again(whole, line, 0, 170, ear) == (whole, 0)  # type: ignore[arg-type]


def levels(*parts: tuple[float, float]) -> Levels:
    """Seconds and decibels, one after the other."""
    db = np.concatenate([np.full(round(100 * seconds), level, np.float32) for seconds, level in parts])
    return Levels(db, db.size * 480, 0.5, 0)


def test_sound_is_parted_at_silences_and_gathered_into_pieces() -> None:
    parts = [(1.0, -60.0), *([(2.0, -20.0), (0.2, -60.0), (1.0, -20.0), (0.8, -60.0)] * 20)]
    found = levels(*parts)
    speech = stretches(found)
    assert len(speech) == 20  # 0.2 s parts nothing, 0.8 s does
    pieces = blocks(speech, found.db.size)
    assert all(15 <= (piece.past - piece.first) / 100 <= 46 for piece in pieces[:-1])
    assert all(any(p.first <= s.first and s.past <= p.past for p in pieces) for s in speech)


def test_little_speech_in_a_long_silence_is_found() -> None:
    found = levels((600.0, -60.0), (3.0, -20.0), (600.0, -60.0))
    [only] = stretches(found)
    assert abs(only.first - 60_000) <= 3 and abs(only.past - 60_300) <= 3  # the levels are smoothed over 5 frames


def test_silence_and_nothing_hold_no_sound() -> None:
    assert stretches(levels((5.0, -90.0))) == ()
    assert stretches(Levels(np.zeros(0, np.float32), 0, 0.0, 0)) == ()


def test_a_sound_without_pauses_is_listened_to_in_parts() -> None:
    found = levels((200.0, -20.0))
    pieces = blocks(stretches(found), found.db.size)
    assert len(pieces) == 5 and pieces[-1].past == found.db.size


def test_cuts_lie_in_the_silence_around_the_speech() -> None:
    found = levels((1.0, -60.0), (2.0, -20.0), (0.1, -60.0), (1.0, -20.0), (1.0, -60.0))
    evidence = Evidence(1.05, 2.95, 1.0, False, -2.0, -2.0, 0.0, 1.0, 0, 0.0, 0.0, "")
    start, end = cut(evidence, found)
    assert 0.85 <= start <= 0.95  # back over the rest of the sound, then 0.1 s of silence
    assert 3.02 <= end <= 3.08  # the middle of a silence of 0.1 s


def test_the_burst_that_ends_a_word_is_not_cut_off() -> None:
    burst = ((1.0, -60.0), (2.0, -20.0), (0.06, -60.0), (0.05, -25.0), (1.0, -60.0))
    evidence = Evidence(1.0, 3.0, 1.0, False, -2.0, -2.0, 0.0, 1.0, 0, 0.0, 0.0, "")
    assert cut(evidence, levels(*burst))[1] >= 3.11
    # The next sentence is not a burst.
    speech = ((1.0, -60.0), (2.0, -20.0), (0.06, -60.0), (2.0, -25.0), (1.0, -60.0))
    assert cut(evidence, levels(*speech))[1] <= 3.06


def test_clock_times_count_minutes_and_hours() -> None:
    assert [clock_s(0.0), clock_s(61.239), clock_s(3725.5)] == ["0:00.00", "1:01.24", "1:02:05.50"]


def test_what_is_another_lines_is_no_try_at_this_one() -> None:
    surely = Candidate(0, 10.0, 14.0, 0.98, "", 1.0, "", 0.0)
    twin = Candidate(0, 10.1, 13.9, 0.05, "sounds like another", 0.8, "", 0.0)
    elsewhere = Candidate(1, 10.1, 13.9, 0.05, "sounds like another", 0.8, "", 0.0)
    assert explained({"a-1": [surely], "a-2": [twin, elsewhere]}) == {"a-1": (surely,), "a-2": (elsewhere,)}
    # Line 1 misread with the second half of line 2: the try is line 1's alone.
    misread = Candidate(0, 30.0, 34.0, 0.02, "broken off", 0.5, "", 0.0)
    half = Candidate(0, 32.0, 34.1, 0.02, "broken off", 0.55, "", 0.45)
    assert explained({"a-1": [misread], "a-2": [half]}) == {"a-1": (misread,), "a-2": ()}
    # Begun with words of no line: not this one. Begun in the middle with nothing before it: the rest of it, read again.
    alien = Candidate(0, 50.0, 54.0, 0.01, "sounds like another", 0.55, "", 0.45, 4)
    rest = Candidate(0, 60.0, 62.0, 0.01, "broken off", 0.55, "", 0.45, 0)
    assert explained({"a-1": [surely], "a-2": [alien, rest]}) == {"a-1": (surely,), "a-2": (rest,)}
    # By itself a try that lacks its beginning stays one.
    assert explained({"a-1": [], "a-2": [half]}) == {"a-1": (), "a-2": (half,)}
    # Words of line 1 in a long try at line 2 that itself went wrong are no try at line 1.
    long = Candidate(0, 50.0, 56.0, 0.3, "sounds like another", 0.95, "", 0.0)
    inside = Candidate(0, 52.0, 54.0, 0.2, "sounds like another", 0.6, "", 0.0)
    assert explained({"a-1": [inside], "a-2": [long]}) == {"a-1": (), "a-2": (long,)}


def test_a_try_at_once_behind_another_at_the_same_line_is_no_other_lines() -> None:
    # "in the crowd both of them — in the crowd both of them struggle": the last word of the first is taken from what
    # follows, and the rest looks like another line's.
    broken_off = Candidate(0, 10.0, 13.0, 0.98, "", 1.0, "", 0.0)
    rest = Candidate(0, 12.5, 15.5, 0.01, "sounds like 'room both of them'", 0.7, "", 0.3, 5)
    assert explained({"a": [broken_off, rest]})["a"] == (broken_off, rest)
    assert choose((broken_off, rest)).verdict == "flagged"
    apart = Candidate(0, 14.0, 17.0, 0.01, "sounds like 'room both of them'", 0.7, "", 0.3, 5)
    assert explained({"a": [broken_off, apart]})["a"] == (broken_off,)
