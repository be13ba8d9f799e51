"""What a listener who knows no script makes of a take: rules by hand, and the listener itself on synthetic speech."""

from __future__ import annotations

import gc
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from assembler.narration import align, align_ear, ear, recogniser, scratch
from assembler.narration.align import Aligner, Alignment, agreed, align_take
from assembler.narration.align_ear import Opinion, opinion, shared_ear, weighed
from assembler.narration.ear import LONGEST_S, Ear, Read
from assembler.narration.ear_line import Comparison, Place, compare
from assembler.narration.pronounce import Pronouncer
from assembler.narration.recogniser import HEARD_RATE, Heard, Recogniser, pcm16k
from assembler.narration.scratch import ScratchVoice, Spoken
from assembler.narration.spoken import SpokenToken, spoken_form
from tests.credulous import Credulous

needs_ear = pytest.mark.skipif(not ear.available(), reason=f"NO EAR: {ear.INSTALL}")
needs_recogniser = pytest.mark.skipif(not recogniser.available(), reason=f"NO RECOGNISER: {recogniser.INSTALL}")
needs_voice = pytest.mark.skipif(not scratch.available(), reason=f"NO SCRATCH VOICE: {scratch.INSTALL}")
LINE = ("both", "machines", "run", "the", "same", "scene", "from", "the", "same", "start")
SOUNDS = {"two": "T UW", "grey": "G R EY", "ships": "SH IH P S", "slips": "S L IH P S", "sail": "S EY L"}


@pytest.fixture(scope="module")
def spoken() -> Spoken:
    with ScratchVoice("en", speaker="en-us+m3") as reader:
        return reader.speak(spoken_form(" ".join(LINE)), 140)


@pytest.fixture(scope="module")
def listeners() -> Iterator[tuple[Recogniser, Pronouncer, Ear]]:
    with Recogniser() as listener, Pronouncer() as pronouncer:
        yield listener, pronouncer, Ear()


def comparison(*places: Place, heard: str = "") -> Comparison:
    return Comparison(0.9, 0.0, 0, 0, 0.0, 0.0, 0.0, 0.0, 0.0, heard, places=places)


def without(at: int) -> tuple[str, ...]:
    return (*LINE[:at], *LINE[at + 1 :])


def test_only_words_that_are_unlikely_and_sound_otherwise_speak_against_a_line() -> None:
    own = ("two", "grey", "ships", "sail")
    assert weighed(own, comparison(heard="Two grey ships sail.")) == Opinion(own, True, "")
    other = Place((2,), ("boats",), 7.0, 3.5, 4)
    assert weighed(own, comparison(other)).against == "'boats' was heard for 'ships'"
    # As unlikely, but half of its sounds are the same: a name that the listener does not know is written so.
    alike = Place((2,), ("slips",), 7.0, 2.0, 5)
    assert weighed(own, comparison(alike)) == Opinion((), False, "")
    # Likely, but another word: it may have been said.
    likely = Place((2,), ("boats",), 3.0, 3.5, 4)
    assert weighed(own, comparison(likely)) == Opinion((), False, "")
    # Misheard, and the line stands: what was heard sounds like it, or is hardly likelier.
    assert weighed(own, comparison(Place((2,), ("slips",), 3.0, 2.0, 5))).for_it
    assert weighed(own, comparison(Place((2,), ("boats",), 2.0, 3.5, 4))).for_it
    # Who hears less than half of the words hears too badly.
    badly = replace(comparison(Place((2,), ("slips",), 3.0, 2.0, 5)), share=0.4)
    assert weighed(own, badly) == Opinion((), False, "")
    # A whole word too many or too few is never misheard alone.
    assert not weighed(own, comparison(Place((), ("old",), 2.0, 3.0, 3))).for_it
    assert not weighed(own, comparison(Place((2,), (), 2.0, 4.0, 4))).for_it
    # Of several the least likely is told; words too many and too few too.
    assert weighed(own, comparison(likely, other)).against == "'boats' was heard for 'ships'"
    assert weighed(own, comparison(Place((), ("old",), 4.5, 3.0, 3))).against == "'old' was heard besides"
    assert weighed(own, comparison(Place((), ("in",), 4.5, 2.0, 2))) == Opinion((), False, "")
    assert weighed(own, comparison(Place((1, 2), (), 6.0, 7.0, 7))).against == "'grey ships' was not heard"
    # One sound is not enough to be another word: an article is hardly said.
    assert weighed(("a", *own), comparison(Place((0,), (), 9.0, 1.0, 1))) == Opinion((), False, "")


def reads(*slack: float, end: float = 0.0) -> Sequence[Read]:
    return (Read(slack, tuple(0.0 for _ in slack), end),)


def test_places_tell_how_unlikely_and_how_far_apart_other_words_are() -> None:
    def told(own: Sequence[str], heard: str, fit: Sequence[Read]) -> tuple[Place, ...]:
        tokens = [SpokenToken(0, 0, word, (word,), "") for word in own]
        return compare(tokens, heard, lambda texts: [*fit] * len(texts), SOUNDS).places

    own = ("two", "ships", "sail")
    assert told(own, "two ships sail", reads(0.0, 0.0, 0.0)) == ()
    # By hand: SH for S costs half, L is put in.
    assert told(own, "two slips sail", reads(0.1, 3.0, 0.2)) == (Place((1,), ("slips",), 3.0, 1.5, 5),)
    # What was heard besides makes the word after it unlikely, or the end.
    assert told(own, "two grey ships sail", reads(0.1, 8.0, 0.2)) == (Place((), ("grey",), 8.0, 3.0, 3),)
    assert told(own, "two ships sail grey", reads(0.1, 0.0, 0.2, end=7.0)) == (Place((), ("grey",), 7.0, 3.0, 3),)
    assert told(own, "two sail", reads(0.1, 8.0, 0.2)) == (Place((1,), (), 8.0, 4.0, 4),)


def test_words_that_are_borne_out_still_have_to_be_found_where_the_speech_is() -> None:
    second = np.zeros(16_000, np.int16)
    second[:8_000] = 8_000 * np.sign(np.sin(np.arange(8_000)))
    own = ("two", "ships")
    found = (Heard("two", 0.0, 0.25, -2.0), Heard("ships", 0.25, 0.5, -6.5))
    # A word that does not sound like it to the recogniser (-6.5) is borne out; at -8.1 its times say nothing.
    made = agreed(second, own, found, own)
    assert made.verdict == "aligned" and made.times == ((0, 12_000), (12_000, 24_000)) and made.heard == "two ships"
    worse = (found[0], Heard("ships", 0.25, 0.5, -8.1))
    assert "'ships' does not sound like it" in agreed(second, own, worse, own).why
    assert agreed(second, own, None, own).verdict == "refused"
    louder = np.concatenate((second[:8_000], second))
    assert "0.5 s of speech" in agreed(louder, own, found, own).why
    assert agreed(second, own, (found[0], Heard("ships", 0.5, 0.5, -2.0)), own).verdict == "doubtful"


@needs_ear
@needs_recogniser
@needs_voice
def test_a_line_is_borne_out_and_one_word_of_it_changed_is_doubted(
    spoken: Spoken, listeners: tuple[Recogniser, Pronouncer, Ear]
) -> None:
    made = align_take(spoken.samples, LINE, [LINE], *listeners)
    assert made.verdict == "aligned" and made.heard.split() == list(LINE)
    assert align_take(spoken.samples, LINE, [LINE], *listeners) == made
    # Times are the recogniser's.
    assert made.times == align_take(spoken.samples, LINE, [LINE], *listeners[:2]).times
    texts = {
        "'machines' was heard for 'pictures'": (LINE[0], "pictures", *LINE[2:]),
        "'never' was not heard": (*LINE[:2], "never", *LINE[2:]),
        "'scene' was heard besides": without(5),
    }
    for why, wrong in texts.items():
        made = align_take(spoken.samples, wrong, [wrong], *listeners)
        assert (made.verdict, made.why, made.times) == ("doubtful", why, ())
        assert made.heard.split() == list(LINE)


@needs_ear
@needs_recogniser
@needs_voice
def test_a_take_in_which_other_words_are_heard_is_doubted_whatever_the_recogniser_says(
    spoken: Spoken, listeners: tuple[Recogniser, Pronouncer, Ear]
) -> None:
    written = without(5)
    heard = tuple(Heard(word, 0.2 * n, 0.2 * n + 0.2, -2.0) for n, word in enumerate(written))

    class Deaf(Credulous):
        def spare(self, *_: object, **__: object) -> tuple[Heard, ...]:  # type: ignore[override]
            return ()

    with Deaf() as credulous:
        credulous.heard = heard
        assert align_take(spoken.samples, written, [written], credulous, listeners[1]).verdict == "aligned"
        made = align_take(spoken.samples, written, [written], credulous, *listeners[1:])
        assert made.verdict == "doubtful" and "'scene' was heard besides" in made.why


@needs_ear
@needs_recogniser
@pytest.mark.parametrize(
    "samples",
    [
        np.zeros(0, np.float32),
        np.zeros(48_000, np.float32),
        np.ones(4_800, np.float32),
        np.full(48_000, np.nan, np.float32),
        np.random.default_rng(1).uniform(-9, 9, 48_000).astype(np.float32),
        np.random.default_rng(2).standard_normal(100).astype(np.float32),
    ],
    ids=["empty", "silent", "a tenth of a second", "no numbers", "far too loud", "100 samples"],
)
def test_hostile_sound_is_not_borne_out(
    samples: np.ndarray[tuple[int], np.dtype[np.float32]], listeners: tuple[Recogniser, Pronouncer, Ear]
) -> None:
    words = ("the", "same", "scene")
    assert align_take(samples, words, [words], *listeners).verdict in ("doubtful", "refused")


@needs_ear
@needs_voice
def test_the_ear_is_shared_given_back_and_says_the_same_to_all_threads(spoken: Spoken) -> None:
    first, second = shared_ear(), shared_ear()
    assert first is not None and first is second
    pcm = pcm16k(spoken.samples)
    with ThreadPoolExecutor(3) as pool:
        asked = [pool.submit(opinion, pcm, words, {}, first) for words in [LINE, without(5)] * 3]
        told = [each.result() for each in asked]
    assert told[0] is not None and told[0].for_it and told[1] is not None and told[1].against
    assert told[2:] == told[:2] * 2
    del first, second, asked
    gc.collect()
    assert align_ear._made is not None and align_ear._made() is None
    # Of what it cannot hear to the end it says nothing.
    long = np.zeros(round(LONGEST_S * HEARD_RATE) + 1, np.int16)
    assert opinion(long, LINE, {}, Ear()) is None


@needs_recogniser
def test_what_is_kept_of_a_take_is_kept_with_and_without_the_ear(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sound = tmp_path / "take.f32"
    np.zeros(4_800, np.float32).tofile(sound)
    asked: list[object] = []

    def judge(*given: object) -> Alignment:
        asked.append(given[-1])
        return Alignment("refused", why="the words cannot be found in it")

    monkeypatch.setattr(align, "align_take", judge)
    there = Ear()
    for available, version in ((False, "1"), (True, "1"), (True, "2"), (False, "2")):
        monkeypatch.setattr(ear, "available", lambda available=available: available)
        monkeypatch.setattr(align, "shared_ear", lambda available=available: there if available else None)
        monkeypatch.setattr(ear, "VERSION", version)
        for _ in range(2):
            with Aligner(tmp_path / "cache") as aligner:
                aligner.align(sound, ("word",), [("word",)])
    # Each once; the last is the first again.
    assert asked == [None, there, there]
