"""A try at a line by the measure of the reader's own sounds, and lines that were not heard."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np
import pytest

from assembler.media.recording import Levels
from assembler.narration import recogniser, scratch
from assembler.narration.recogniser import Heard, Recogniser, Sound, pcm16k
from assembler.narration.scratch import ScratchVoice
from assembler.narration.take_choice import SURE, Candidate, confidence, explained
from assembler.narration.take_fit import shortfall, usual
from assembler.narration.take_hits import find_hits
from assembler.narration.take_judge import Evidence, judge
from assembler.narration.take_listen import Stretch, stretches
from assembler.narration.take_missed import looked_for

needs_both = pytest.mark.skipif(
    not (recogniser.available() and scratch.available()),
    reason=f"NO RECOGNISER OR NO VOICE: {recogniser.INSTALL}; {scratch.INSTALL}",
)


def sounds(*scores: tuple[str, float], frames: int = 10, words: int = 2) -> tuple[Sound, ...]:
    """Sounds one after another, `words` of them a word."""
    return tuple(
        Sound(name, n // words, n * frames / 100, (n + 1) * frames / 100, score)
        for n, (name, score) in enumerate(scores)
    )


def test_a_reader_who_is_heard_badly_everywhere_falls_short_nowhere() -> None:
    well = [sounds(("AA", -2.0), ("T", -3.0), ("AA", -2.0), ("S", -3.0))] * 10
    badly = [tuple(dataclasses.replace(one, score=one.score - 4.0) for one in line) for line in well]
    for trusted in (well, badly):
        assert shortfall(trusted[0], usual(trusted)) < 0.2
    # The same line from the badly heard reader is no line of the well heard one.
    assert shortfall(badly[0], usual(well)) > 3.8


def test_one_word_that_was_not_said_shows_however_good_the_others_are() -> None:
    trusted = [sounds(("AA", -2.0), ("T", -3.0), ("AA", -2.0), ("S", -3.0))] * 10
    slip = sounds(("AA", -1.0), ("T", -1.0), ("AA", -8.0), ("S", -9.0))
    assert shortfall(slip, usual(trusted)) == pytest.approx(6.0, abs=0.2)
    # 0.05 s of it count for less: so few frames swing.
    short = sounds(("AA", -8.0), ("S", -9.0), frames=3)
    assert 3.0 < shortfall(short, usual(trusted)) < 4.5
    # A sound that the reader was never heard to make is held against all of the reader's.
    assert shortfall(sounds(("ZH", -2.5), ("ZH", -2.5)), usual(trusted)) == pytest.approx(0.0, abs=0.01)
    assert usual([]) == {}


def evidence(**other: object) -> Evidence:
    good = {"start_s": 0.0, "end_s": 1.0, "share": 0.9, "refused": False, "worst": -5.0, "mean": -2.0, "rival": 3.0,
            "again": 0.9, "extra": 1, "loud_s": 0.0, "hole_s": 0.0, "heard": "x"}  # fmt: skip
    return Evidence(**{**good, **other})  # type: ignore[arg-type]


def test_the_readers_own_measure_settles_what_listening_leaves_open() -> None:
    assert confidence(evidence()) < SURE
    assert confidence(evidence(short=2.0)) >= SURE  # other words fit better, but these fit as well as usual
    assert confidence(evidence(short=5.0)) < 0.2
    # A word that was heard otherwise and hardly fits better, in a line that falls short, is not let pass.
    assert confidence(evidence(rival=1.0)) >= SURE > confidence(evidence(rival=1.0, short=4.5))
    assert confidence(evidence(short=2.0, loud_s=0.4)) < SURE


def test_an_aside_with_a_few_words_of_a_line_is_no_try_at_it() -> None:
    good = Candidate(0, 10.0, 12.0, 0.98, "", 1.0, "so what did the money buy")
    aside = Candidate(0, 50.0, 53.0, 0.01, "broken off", 0.57, "so what did very by a torn out five did the", 0.0, 7)
    broken = Candidate(0, 50.0, 51.0, 0.01, "broken off", 0.57, "so what did the uh", 0.0, 1)
    assert explained({"a": [good, aside]})["a"] == (good,)
    assert explained({"a": [good, broken]})["a"] == (good, broken)


class Ear:
    """Finds words evenly spread over where it listens, well only if they are what is said there."""

    def __init__(self, said: Sequence[tuple[float, float, str]]) -> None:
        self.said = said
        self.asked: list[tuple[float, float]] = []

    def align(self, first: int, past: int, words: Sequence[str]) -> tuple[Heard, ...]:
        self.asked.append((first / 100, past / 100))
        there = [each for each in self.said if each[0] >= first / 100 - 0.01 and each[1] <= past / 100 + 0.01]
        start_s, end_s = (there[0][0], there[-1][1]) if there else (first / 100, past / 100)
        right = " ".join(text for _, _, text in there) == " ".join(words)
        step = (end_s - start_s) / len(words)
        score = -2.0 if right else -12.0
        return tuple(Heard(w, start_s + n * step, start_s + (n + 1) * step, score) for n, w in enumerate(words))

    def decode(self, first: int, past: int, *_: object) -> tuple[Heard, ...]:
        there = [(a, b, text) for a, b, text in self.said if a >= first / 100 - 0.2 and b <= past / 100 + 0.2]
        return tuple(Heard(word, a, b, -2.0) for a, b, text in there for word in text.split())


def levels(said: Sequence[tuple[float, float, str]], seconds: float) -> Levels:
    db = np.full(round(100 * seconds), -70.0, np.float32)
    for start_s, end_s, _ in said:
        db[round(100 * start_s) : round(100 * end_s)] = -20.0
    return Levels(db, db.size * 480, 0.5, 0)


def test_a_line_that_was_not_heard_is_looked_for_between_its_neighbours() -> None:
    said = [(1.0, 3.0, "one two three four"), (5.0, 7.0, "five six seven eight"), (8.0, 8.3, "so"),
            (9.0, 11.0, "nine ten eleven twelve"), (20.0, 22.0, "five six seven eight")]  # fmt: skip
    known = {text: tuple(text.split()) for text in ("one two three four", "five six seven eight", said[3][2])}
    seen = {
        key: [evidence(start_s=a, end_s=b, share=1.0, rival=0.0, again=1.0, worst=-2.0, extra=0)]
        for a, b, key in (said[0], said[3])
    }
    seen = {key: seen.get(key, []) for key in known}
    whole, ear = levels(said, 30.0), Ear(said)
    parts = stretches(whole)
    found = looked_for(seen, known, (), parts, whole, ear, ())  # type: ignore[arg-type]
    [only] = found.pop("five six seven eight")
    assert (only.start_s, only.end_s) == (5.0, 7.0) and not found
    # Nowhere but between the lines around it, and in nothing that is far too short.
    assert all(first >= 3.0 and past <= 9.0 for first, past in ear.asked)
    assert not any(past - first < 1.0 for first, past in ear.asked)
    # A line with a good try is not looked for, and without one good try of any line nobody knows where to look.
    good = {**seen, "five six seven eight": seen["one two three four"]}
    for tries in (good, {key: [] for key in known}):
        assert looked_for(tries, known, (), parts, whole, ear, ()) == {}  # type: ignore[arg-type]
    # Nor of a reader of whose other lines hardly any was made out.
    others = {f"line {n}": ("some", "other", "words") for n in range(9)}
    unknown = {**seen, **{key: [] for key in others}}
    assert looked_for(unknown, {**known, **others}, (), parts, whole, ear, ()) == {}  # type: ignore[arg-type]


def test_a_line_whose_first_words_were_not_heard_may_begin_before_a_pause() -> None:
    said = [(2.0, 3.0, "thirty twenty thirty"), (3.5, 4.5, "you can feel it")]
    line = ("thirty", "twenty", "thirty", "you", "can", "feel", "it")
    stream = [Heard(word, 3.5 + 0.25 * n, 3.75 + 0.25 * n, -2.0) for n, word in enumerate(said[1][2].split())]
    [hit] = find_hits(line, stream)
    whole = levels(said, 8.0)
    parts = (Stretch(200, 300), Stretch(350, 450))
    made = judge(hit, line, stream, parts, whole, Ear(said), ())  # type: ignore[arg-type]
    assert (made.start_s, made.end_s) == (2.0, 4.5)
    # With something else before the pause the line is not stretched over it.
    other = [(2.0, 3.0, "let me try again"), said[1]]
    made = judge(hit, line, stream, parts, whole, Ear(other), ())  # type: ignore[arg-type]
    assert made.start_s > 3.0 or made.worst < -5.0


@needs_both
def test_every_sound_of_a_line_is_held_against_all_sounds() -> None:
    line = ["look", "at", "the", "far", "wall", "where", "textures", "arrive", "late"]
    wrong = ["hill" if word == "wall" else word for word in line]
    with ScratchVoice("en", speaker="en-us+m3") as reader, Recogniser() as listener:
        pcm = pcm16k(reader.speak([*line], 140).samples)
        found, again, slip = (listener.sounds(pcm, words) for words in (line, line, wrong))
        assert listener.sounds(pcm[:100], line) is None
    assert found is not None and slip is not None and found == again
    assert [sound.word for sound in found] == sorted(sound.word for sound in found)
    assert {sound.word for sound in found} == set(range(len(line)))
    # From the dictionary: W AO L, and EY T at the end.
    assert [sound.name for sound in found if sound.word == 4] == ["W", "AO", "L"]
    assert [sound.name for sound in found][-2:] == ["EY", "T"]
    assert all(sound.score <= 0.0 and sound.end_s > sound.start_s for sound in found)
    measure = usual([found])
    assert shortfall(slip, measure) > shortfall(found, measure) + 1.5
