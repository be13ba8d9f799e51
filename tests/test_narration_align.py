"""Words found in recordings: with exact truth from the scratch voice, text that is wrong, and hostile sound."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from assembler.errors import NarrationError
from assembler.narration import recogniser, scratch, take_words
from assembler.narration.align import align_take, judged
from assembler.narration.lines import VoiceResult, voice
from assembler.narration.pace import Pace, fit
from assembler.narration.pronounce import Pronouncer, british, from_letters, from_parts, from_voice
from assembler.narration.recogniser import PHONES, Heard, Recogniser, pcm16k
from assembler.narration.rival import better_by, heard_more
from assembler.narration.scratch import ScratchVoice, Spoken
from assembler.narration.spoken import spoken_form
from assembler.storyboard.model import Line
from tests.credulous import Credulous
from tests.test_narration_lines import put, said, story

RATE = 48_000
needs_recogniser = pytest.mark.skipif(not recogniser.available(), reason=f"NO RECOGNISER: {recogniser.INSTALL}")
needs_voice = pytest.mark.skipif(not scratch.available(), reason=f"NO SCRATCH VOICE: {scratch.INSTALL}")
LINES = (
    "Both machines run the same scene from the same start.",
    "Look at the far wall, where textures arrive late.",
    "The upscaler never hides the last 11 frames.",
)
Array = npt.NDArray[np.float32]


def words_of(line: str) -> tuple[str, ...]:
    return tuple(word for token in spoken_form(line) for word in token.words)


@pytest.fixture(scope="module")
def listeners() -> Iterator[tuple[Recogniser, Pronouncer]]:
    """Both helper programs, started once."""
    with Recogniser() as listener, Pronouncer() as pronouncer:
        yield listener, pronouncer


@pytest.fixture(scope="module")
def spoken() -> dict[str, Spoken]:
    """The lines in a voice and at a pace that are not the storyboard's."""
    with ScratchVoice("en", speaker="en-us+m3") as reader:
        return {line: reader.speak(spoken_form(line), 135) for line in LINES}


@needs_recogniser
@needs_voice
def test_words_of_synthetic_takes_are_found_where_they_are(
    spoken: dict[str, Spoken], listeners: tuple[Recogniser, Pronouncer]
) -> None:
    off = []
    script = [words_of(line) for line in LINES]
    for line, sound in spoken.items():
        made = align_take(sound.samples, words_of(line), script, *listeners)
        assert made.verdict == "aligned", made
        assert made.heard.split() == list(words_of(line))
        if line == LINES[-1]:  # a fresh decoder each time
            assert align_take(sound.samples, words_of(line), script, *listeners) == made
        if len(made.times) == len(sound.words):
            pairs = zip(made.times, sound.words, strict=True)
            off += [abs(found[0] - word.start_sample) / RATE for found, word in pairs]
    # The voice's own marks are exact. 15 ms and 93 % within 50 ms are asked of many lines; these few may miss one.
    assert len(off) >= 18
    assert np.median(off) <= 0.015
    assert np.mean(np.array(off) <= 0.05) >= 0.88


@needs_recogniser
@needs_voice
def test_text_that_was_not_said_is_not_accepted(
    spoken: dict[str, Spoken], listeners: tuple[Recogniser, Pronouncer]
) -> None:
    own, other = words_of(LINES[0]), words_of(LINES[1])
    sound = spoken[LINES[0]]
    for words in (other, own[: len(own) // 2], (*own, *other)):
        made = align_take(sound.samples, words, [words, other], *listeners)
        assert made.verdict in ("doubtful", "refused")
        assert made.times == () and made.why


@needs_recogniser
@pytest.mark.parametrize(
    "samples",
    [
        np.zeros(0, np.float32),
        np.zeros(RATE, np.float32),
        np.ones(RATE // 10, np.float32),
        np.full(RATE, np.nan, np.float32),
        np.full(RATE, np.inf, np.float32),
        np.random.default_rng(1).uniform(-9, 9, RATE).astype(np.float32),
        np.random.default_rng(2).standard_normal(100).astype(np.float32),
    ],
    ids=["empty", "silent", "a tenth of a second", "no numbers", "endless", "far too loud", "100 samples"],
)
def test_hostile_sound_is_never_aligned_and_never_an_accident(
    samples: Array, listeners: tuple[Recogniser, Pronouncer]
) -> None:
    made = align_take(samples, ("the", "same", "scene"), [("the", "same", "scene")], *listeners)
    assert made.verdict in ("doubtful", "refused")


@needs_recogniser
def test_words_in_another_script_are_unsayable_and_bad_sounds_are_named(
    listeners: tuple[Recogniser, Pronouncer],
) -> None:
    noise = (np.random.default_rng(3).standard_normal(RATE) * 0.1).astype(np.float32)
    listener = listeners[0]
    made = align_take(noise, ("сцена",), [("сцена",)], *listeners)
    assert made.verdict == "unsayable" and "сцена" in made.why
    assert align_take(noise, (), [], *listeners).verdict == "unsayable"
    with pytest.raises(NarrationError, match="'QQ' is not a pronunciation"):
        listener.align(pcm16k(noise), ["word"], {"word": "QQ"})
    with pytest.raises(NarrationError, match="xyzzyq"):
        listener.align(pcm16k(noise), ["xyzzyq"], {})
    assert listener.known("The") and not listener.known("xyzzyq")


def test_a_take_is_judged_by_three_things() -> None:
    second = np.zeros(16_000, np.int16)
    second[:8_000] = 8_000 * np.sign(np.sin(np.arange(8_000)))
    good = (Heard("two", 0.0, 0.25, -2.0), Heard("ships", 0.25, 0.5, -2.5))
    assert judged(second, ("two", "ships"), good, good).verdict == "aligned"
    assert judged(second, ("two", "ships"), good, good).times == ((0, 12_000), (12_000, 24_000))
    other = (good[0], Heard("slips", 0.25, 0.5, -2.5))
    assert "'slips' was heard for 'ships'" in judged(second, ("two", "ships"), good, other).why
    unlike = (good[0], Heard("ships", 0.25, 0.5, -9.0))
    assert "'ships' does not sound like it at 0.25 s" in judged(second, ("two", "ships"), unlike, good).why
    louder = np.concatenate((second[:8_000], second[:8_000], second[8_000:]))
    assert "0.5 s of speech" in judged(louder, ("two", "ships"), good, good).why
    assert judged(second, ("two",), None, ()).verdict == "refused"


def test_words_heard_otherwise_stand_only_where_what_was_heard_fits_hardly_better() -> None:
    second = np.zeros(16_000, np.int16)
    second[:12_000] = 8_000 * np.sign(np.sin(np.arange(12_000)))
    own = ("two", "ships", "sail")
    found = (Heard("two", 0.0, 0.25, -2.0), Heard("ships", 0.25, 0.5, -2.5), Heard("sail", 0.5, 0.75, -2.5))
    other = (found[0], Heard("slips", 0.25, 0.5, -2.4), found[2])
    told = ["two", "slips", "sail"]
    assert judged(second, own, found, other, (0.5, told)).verdict == "aligned"
    assert judged(second, own, found, other, (1.9, told)).verdict == "doubtful"
    assert judged(second, own, found, other, (1.9, own)).verdict == "aligned"  # whoever expects them hears them
    assert judged(second, own, found, other, (2.5, own)).verdict == "doubtful"
    # One word more than is written: a word may be missing from the text.
    more = (*other[:2], Heard("sail", 0.5, 0.6, -2.0), Heard("now", 0.6, 0.75, -2.0))
    assert judged(second, own, found, more, (0.5, told)).verdict == "doubtful"
    # Nothing of this covers a word that does not sound like it.
    unlike = (found[0], Heard("ships", 0.25, 0.5, -5.2), found[2])
    assert judged(second, own, unlike, other, (0.5, own)).verdict == "doubtful"


def test_a_short_word_may_fit_worse_and_one_without_room_is_doubted() -> None:
    second = np.zeros(16_000, np.int16)
    second[:8_000] = 8_000 * np.sign(np.sin(np.arange(8_000)))
    long = (Heard("two", 0.0, 0.25, -2.0), Heard("ships", 0.25, 0.5, -6.5))
    assert judged(second, ("two", "ships"), long, long).verdict == "doubtful"
    short = (Heard("a", 0.0, 0.06, -6.5), Heard("ship", 0.06, 0.5, -2.5))
    assert judged(second, ("a", "ship"), short, short).verdict == "aligned"
    outside = (Heard("a", 0.0, 0.0, -2.5), Heard("ship", 0.0, 0.5, -2.5))
    assert "no room for 'a'" in judged(second, ("a", "ship"), outside, outside).why


def test_how_much_better_other_words_fit_is_taken_where_it_lasts() -> None:
    ours = (Heard("two", 0.0, 0.5, -2.0), Heard("ships", 0.5, 1.0, -3.0))
    theirs = (Heard("two", 0.0, 0.5, -2.0), Heard("slips", 0.5, 1.0, -1.0))
    assert better_by(theirs, ours) == pytest.approx(2.0)
    assert better_by(ours, theirs) == 0.0
    brief = (Heard("two", 0.0, 0.5, -2.0), Heard("s", 0.5, 0.6, -1.0), Heard("lips", 0.6, 1.0, -3.0))
    assert better_by(brief, ours) == pytest.approx(1.0)  # 0.1 s of 0.2
    assert better_by((), ours) == better_by(ours, ()) == 0.0
    assert heard_more(["a", "b"], ["a", "x", "b"]) and not heard_more(["a", "b"], ["a", "x"])


def off_s(found: tuple[Heard, ...], truth: list[float]) -> float:
    """The mean error of starts."""
    return float(np.mean([abs(word.start_s - start) for word, start in zip(found, truth, strict=True)]))


@needs_recogniser
@needs_voice
def test_the_last_word_of_a_line_is_found(listeners: tuple[Recogniser, Pronouncer]) -> None:
    """A search that could end before the last word refused this line, whatever its beams."""
    words = words_of("The new driver costs four percent and fixes the stutter.")
    with ScratchVoice("en", speaker="en-us+f3") as reader:
        spoken = reader.speak(spoken_form(" ".join(words)), 160)
    samples, said = spoken.samples, spoken.said
    found = listeners[0].align(pcm16k(samples), words, listeners[1].added(words))
    assert found is not None and [word.word for word in found] == list(words)
    # Likelihoods keep their scale: nothing fits perfectly.
    assert all(-6.0 < word.score < -0.2 for word in found)
    # Frames last 10 ms; the middle of two listenings half a frame apart lies between them, in order.
    finer = listeners[0].finer(pcm16k(samples), found, listeners[1].added(words))
    assert [word.word for word in finer] == list(words) and finer != found
    edges = [edge for word in finer for edge in (word.start_s, word.end_s)]
    assert edges == sorted(edges)
    truth = [start / RATE for start, _ in said]
    assert off_s(finer, truth) < 0.02 > off_s(found, truth)


def test_unknown_words_get_sounds() -> None:
    # From memory of the ARPAbet.
    assert from_voice("VpskeIl3") == "AH P S K EY L ER"
    assert from_voice("'eIli@sIN") == "EY L IY AH S IH NG"
    assert from_voice("§") is None
    assert from_letters("шум") is None
    sounds = from_letters("nvme2")
    assert recogniser.available() is False or (sounds and PHONES.issuperset(sounds.split()))
    assert not recogniser.available() or from_parts("framerate") == "F R EY M R EY T"


def test_british_vowels_are_further_ways_of_saying_a_word() -> None:
    # From memory of British and American English: no `r` at the end, other vowels in `lot` and `goat`.
    assert british("k'O:n3") == ("K AO N AH",)
    assert british("h'oUl") == ("HH OW L", "HH AH UH L")
    assert british("st'0p") == ("S T AA P", "S T AO P")
    assert british("st'A@t") == ("S T AA T",)
    assert british("§") == ()


@needs_recogniser
@needs_voice
def test_a_spoken_word_that_is_not_written_is_found_where_it_is(listeners: tuple[Recogniser, Pronouncer]) -> None:
    line = ["the", "lamp", "beside", "the", "narrow", "window", "stays", "lit"]
    with ScratchVoice("en", speaker="en-us+m3") as reader:
        said = reader.speak(line, 140)
    pcm, listener = pcm16k(said.samples), listeners[0]
    assert listener.spare(pcm, line) == ()
    written = [word for word in line if word != "narrow"]
    [found] = listener.spare(pcm, written)
    start_s, end_s = (said.words[n].start_sample / RATE for n in (4, 5))
    assert min(found.end_s, end_s) - max(found.start_s, start_s) > 0.6 * (end_s - start_s)
    assert listener.spare(pcm[:100], line) == ()
    # The listener hears the written words and no others: what was said besides makes the take doubtful all the same.
    heard = tuple(Heard(word, 0.1 * n, 0.1 * n + 0.1, -2.0) for n, word in enumerate(written))

    with Credulous() as credulous:
        credulous.heard = heard
        made = align_take(said.samples, written, [written], credulous, listeners[1])
        assert made.verdict == "doubtful" and "sound like no written word" in made.why and not made.times
        credulous.heard = tuple(Heard(word, 0.1 * n, 0.1 * n + 0.1, -2.0) for n, word in enumerate(line))
        assert align_take(said.samples, line, [line], credulous, listeners[1]).verdict == "aligned"


@needs_recogniser
@needs_voice
def test_a_british_reader_is_heard_as_one(listeners: tuple[Recogniser, Pronouncer]) -> None:
    """Who knows American English alone hears 'gone the' for the last word of this line, and doubts it."""
    words = words_of("Pacing matters more than the number in the corner.")
    with ScratchVoice("en", speaker="gmw/en+f2") as reader:
        samples = reader.speak(spoken_form(" ".join(words)), 160).samples
    ways = listeners[1].accented(words)
    assert ways["corner"] == "K AO R N ER" and ways["corner(2)"] == "K AO N AH"
    assert align_take(samples, words, [words], *listeners).verdict == "aligned"
    wrong = (*words[:-1], "frame")
    assert align_take(samples, wrong, [wrong], *listeners).verdict != "aligned"


def test_a_pace_is_fitted_from_takes_and_says_when_it_is_not() -> None:
    assert (fit([]).calibrated, fit([]).factor) == (False, 1.0)
    assert not fit([(2.0, 2.4), (4.0, 4.8)]).calibrated
    pace = fit([(2.0, 2.4), (4.0, 4.8), (1.0, 1.3), (0.0, 1.0)])
    # By hand: 2.4 + 4.8 + 1.3 over 2 + 4 + 1; the line without a predicted length tells nothing.
    assert (pace.takes, pace.calibrated) == (3, True) and pace.factor == pytest.approx(8.5 / 7)
    expected = pace.expect(10.0)
    assert expected.seconds == pytest.approx(85 / 7)
    # By hand: logarithms 0.1823, 0.1823 and 0.2624 miss their mean by squares that sum to 0.00427; with two usual
    # misses of 0.15 the variance is (0.00427 + 0.045) / 4. Student's t for 4 degrees is 2.132; a pace of three adds
    # pi / 6 to the variance.
    off = 2.132 * (0.04927 / 4) ** 0.5 * (1 + math.pi / 6) ** 0.5
    assert expected.low_s == pytest.approx(85 / 7 / math.exp(off), rel=1e-3)
    assert expected.high_s == pytest.approx(85 / 7 * math.exp(off), rel=1e-3)
    # Chance cancels in a sum: the interval of four lines is narrower than four intervals.
    four = pace.expect_all([10.0] * 4)
    assert four.seconds == pytest.approx(340 / 7) and four.high_s < 4 * expected.high_s
    many = fit([(1.0, 1.2)] * 30)
    assert many.expect(10.0).high_s < 12.0 * 1.1
    # By hand: 9.0 is held at 1.5 times the middle of 1, 1 and 4.5.
    assert fit([(2.0, 2.0), (2.0, 2.0), (2.0, 9.0)]).factor == pytest.approx(7 / 6)
    assert Pace().expect(1.0).high_s == pytest.approx(1.25)


def test_nine_of_ten_lines_lie_in_the_interval_after_three_takes_however_uneven_the_reader() -> None:
    dice = random.Random(4)
    for spread in (0.05, 0.15, 0.3):
        inside = 0
        for _ in range(2000):
            lengths = [(1.0, 1.2 * math.exp(dice.gauss(0.0, spread))) for _ in range(4)]
            expected = fit(lengths[:3]).expect(1.0)
            inside += expected.low_s <= lengths[3][1] <= expected.high_s
        assert inside >= 1640  # nine of ten where spreads are usual; the most uneven reader a little less


def run(tmp_path: Path, *says: Line, **settings: object) -> VoiceResult:
    return voice(story(*says, **settings), tmp_path, tmp_path / ".assembler")  # type: ignore[arg-type]


@needs_recogniser
@needs_voice
def test_a_recorded_lines_words_follow_its_sound(
    tmp_path: Path, spoken: dict[str, Spoken], monkeypatch: pytest.MonkeyPatch
) -> None:
    for n, line in enumerate(LINES, start=1):
        quiet = np.zeros(RATE // 2, np.float32)
        put(tmp_path / "takes" / f"quay-{n}.wav", np.concatenate((quiet, spoken[line].samples, quiet)))
    put(tmp_path / "takes" / "quay-4.wav", spoken[LINES[1]].samples)
    texts = (*LINES, "Nobody said this at any time today.", "It is still to be recorded.")
    result = run(tmp_path, *(said(text, line=n) for n, text in enumerate(texts, start=1)), voice="scratch")
    for n, line in enumerate(LINES, start=1):
        speech, sound = result.speech["quay", n], spoken[line]
        assert speech.aligned
        # The take is trimmed, so compare from the first word on.
        first, truth = speech.words[0].start_sample, sound.words[0].start_sample
        for word, exact in zip(speech.words, sound.words, strict=True):
            assert word.text == exact.text
            assert abs((word.start_sample - first) - (exact.start_sample - truth)) <= 0.08 * RATE
        assert speech.words[-1].end_sample <= speech.samples
    wrong = result.speech["quay", 4]
    assert (wrong.kind, wrong.aligned) == ("take", False)
    doubts = [found for found in result.findings if found.code == "take-doubtful"]
    assert len(doubts) == 1 and doubts[0].place and doubts[0].place.line == 4
    assert "expected 'nobody said this at any time today'" in doubts[0].what
    assert "spoken:" in doubts[0].mend
    told = next(found for found in result.findings if found.code == "pace-expected")
    assert result.pace.calibrated and "uncalibrated" not in told.what
    # The takes were read at 135 words a minute, the storyboard asks for 160.
    assert result.pace.factor == pytest.approx(160 / 135, rel=0.1)

    def never(*_: object) -> None:
        raise AssertionError("a take that is kept was listened to again")

    monkeypatch.setattr("assembler.narration.align.align_take", never)
    again = run(tmp_path, *(said(text, line=n) for n, text in enumerate(texts, start=1)), voice="scratch")
    assert again.speech == result.speech


@needs_voice
def test_without_a_recogniser_or_in_another_language_times_are_estimates_and_it_is_said_once(
    tmp_path: Path, spoken: dict[str, Spoken], monkeypatch: pytest.MonkeyPatch
) -> None:
    for n in (1, 2):
        put(tmp_path / "takes" / f"quay-{n}.wav", spoken[LINES[0]].samples)
    foreign = run(tmp_path, said(LINES[0]), said(LINES[0]), language="de")
    assert [found.code for found in foreign.findings] == ["takes-language"]
    monkeypatch.setattr(recogniser, "available", lambda: False)
    missing = run(tmp_path, said(LINES[0]), said(LINES[0]))
    assert [found.code for found in missing.findings] == ["recogniser-missing"]
    assert missing.findings[0].mend == take_words.INSTALL
    assert not any(speech.aligned for speech in missing.speech.values())
    assert Fraction(missing.speech["quay", 1].words[-1].end_sample, missing.speech["quay", 1].samples) == 1
