"""The scratch voice says what the spoken form says: one time for each spoken word, fast, in the voice asked for."""

from __future__ import annotations

import resource
from collections.abc import Iterator

import pytest
from spoken_lines import technical_lines

from assembler.narration.scratch import ScratchVoice, available
from assembler.narration.spoken import spoken_form
from assembler.timing.rates import SAMPLE_RATE

pytestmark = pytest.mark.skipif(not available(), reason="the scratch voice is not installed")


@pytest.fixture(scope="module")
def voice() -> Iterator[ScratchVoice]:
    with ScratchVoice() as made:
        made.asked_rate(160)
        yield made


def processor_s() -> float:
    """Of this process and of its children that have ended."""
    return sum(sum(resource.getrusage(who)[:2]) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))


def test_200_technical_lines_get_one_time_for_each_spoken_word_60_times_faster_than_real_time() -> None:
    # 60 times is ten minutes in ten seconds; of the processor, since other work holds a clock up.
    before, spoken_s = processor_s(), 0.0
    with ScratchVoice() as voice:
        for line in technical_lines(200, phrases_most=3):
            spoken_s += checked_line(voice, line)
    assert spoken_s / (processor_s() - before) > 60


def checked_line(voice: ScratchVoice, line: str) -> float:
    """Seconds of a line that has one time for each spoken word."""
    tokens = spoken_form(line)
    made = voice.speak(tokens, 160)
    words = [word for token in tokens for word in token.words]
    edges = [edge for span in made.said for edge in span]
    assert len(made.said) == len(words), line
    assert edges == sorted(edges), line
    assert len({start for start, _ in made.said}) == len(words), line
    assert edges[-1] <= made.samples.size
    return made.samples.size / SAMPLE_RATE


def test_a_written_word_lasts_from_its_first_spoken_word_to_its_last(voice: ScratchVoice) -> None:
    made = voice.speak(spoken_form("At 1440p, 60 fps."), 160)
    spans = [(word.start_sample, word.end_sample) for word in made.words]
    # at | fourteen forty p | sixty | frames per second
    assert [len(word.text) for word in made.words] == [2, 6, 2, 4]
    groups = (made.said[0:1], made.said[1:4], made.said[4:5], made.said[5:8])
    assert spans == [(group[0][0], group[-1][1]) for group in groups]


def test_a_lines_own_words_are_what_is_heard(voice: ScratchVoice) -> None:
    plain = voice.speak(spoken_form("two machines"), 160)
    own = voice.speak(spoken_form("2 m.", spoken="two machines"), 160)
    assert own.samples.tobytes() == plain.samples.tobytes()
    assert [word.text for word in own.words] == ["2", "m."]


def test_the_letter_a_is_not_said_as_the_article(voice: ScratchVoice) -> None:
    texts = ("pane A here", "pane a here")
    letter, article = (voice.speak(spoken_form("the words", spoken=text), 160) for text in texts)
    lengths = [made.said[1][1] - made.said[1][0] for made in (letter, article)]
    # By ear and by dictionary the name of the letter is a long vowel, the article a short one.
    assert lengths[0] > 1.2 * lengths[1]


def test_a_voice_by_name_sounds_different_and_unknown_ones_are_refused(voice: ScratchVoice) -> None:
    with ScratchVoice(speaker="en-us+f3") as other:
        assert other._speak(["two"], 140).samples.tobytes() != voice._speak(["two"], 140).samples.tobytes()
    for name in ("en-us+f99", "xx-yy"):
        with ScratchVoice(speaker=name) as none, pytest.raises(LookupError, match="there is no voice"):
            none.speak(["two"], 140)
    voices, variants = voice.choices()
    assert "en-us" in voices
    assert {"f3", "m3"} <= set(variants)
