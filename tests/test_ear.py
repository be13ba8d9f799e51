"""The listener that knows no script: its pieces of words, what it hears in a real reading, and what a line is to it."""

from __future__ import annotations

import functools
from pathlib import Path

import numpy as np
import pytest

from assembler.errors import MissingPartError
from assembler.media.sound import decode_all
from assembler.narration import ear
from assembler.narration.ear import Ear, Heeded
from assembler.narration.ear_line import Comparison, alike, compare, words_of
from assembler.narration.ear_pieces import Pieces
from assembler.narration.recogniser import Pcm, pcm16k
from assembler.narration.spoken import spoken_form
from assembler.timing.rates import SAMPLE_RATE

needs_ear = pytest.mark.skipif(not ear.available(), reason="the listener that knows no script (extra ear) is missing")

# Source: C. Dickens, A Tale of Two Cities, 1859, the first words; a reading of them comes with the listener's package.
OPENING = (
    "It was the best of times, it was the worst of times, it was the age of wisdom, it was the age of foolishness."
)
FIRST_S = 8.6  # of the reading, in which these words are said


@functools.cache
def listener() -> Ear:
    return Ear()


@functools.cache
def reading() -> Pcm:
    """The first words of the reading, at 16 kHz."""
    found = ear.folder()
    assert found is not None
    samples = decode_all(found.parent / "two_cities.wav").mean(axis=1, dtype=np.float32)
    return pcm16k(samples[: round(FIRST_S * SAMPLE_RATE)])


@functools.cache
def heeded() -> Heeded:
    return listener().heed(reading())


def compared(text: str, heard: str | None = None) -> Comparison:
    said = listener().hears(heeded()) if heard is None else heard
    return compare(spoken_form(text), said, functools.partial(listener().reads, heeded()), {})


@needs_ear
def test_a_reading_is_heard_word_for_word() -> None:
    assert words_of(listener().hears(heeded())) == words_of(OPENING)


@needs_ear
def test_the_same_is_heard_again_and_by_another() -> None:
    assert listener().hears(listener().heed(reading())) == Ear().hears(Ear().heed(reading()))


@needs_ear
def test_words_that_are_not_said_are_far_less_likely() -> None:
    right = compared(OPENING)
    assert right.whole and right.slack == 0.0
    wrong = compared(OPENING.replace("wisdom", "reason"))
    assert wrong.wrong == "reason," and wrong.slack > 4.0 and wrong.far > 2.0
    assert not wrong.whole and wrong.share < 1.0


@needs_ear
@pytest.mark.parametrize(
    ("text", "after", "least"),
    [
        ("It was the best of times, it was the worst of times.", 12, 3.0),  # more is said than the line
        (OPENING + " It was the epoch of belief.", 0, 3.0),  # less is said
    ],
)
def test_more_and_less_than_the_line_is_told(text: str, after: int, least: float) -> None:
    found = compared(text)
    assert found.after == after
    assert max(found.end, found.slack) >= least


@needs_ear
def test_capitals_and_punctuation_do_not_count() -> None:
    plain = listener().reads(heeded(), [OPENING, OPENING.replace(",", "").lower()])
    assert max(plain[0].words) == 0.0 and max(plain[1].words) < 1.5
    assert len(plain[0].words) == len(plain[1].words) == len(OPENING.split())


@needs_ear
def test_pieces_spell_and_join_again() -> None:
    pieces = listener().pieces
    for text in ("Both run at 1440p, with the same settings.", "naïve “quays” — 16.7 ms", "日本 4 %"):
        assert pieces.text(pieces.spell(text)) == text
    # Figures are written one by one. Source: the listener's own transcripts, which this spelling has to agree with.
    assert [pieces.text([piece]) for piece in pieces.spell("at 144")] == ["at", "", "1", "4", "4"]


def test_the_vocabulary_is_read_by_lengths() -> None:
    long = b"x" * 130
    rows = [
        b"<unk>",
        b"<s>",
        b"</s>",
        *(bytes([n]) for n in range(256)),
        "▁a".encode(),
        b"b",
        "▁ab".encode(),
        "▁".encode(),
        b"a",
        long,
    ]
    data = b"".join(
        (bytes([len(row)]) if len(row) < 128 else bytes([len(row) % 128 + 128, len(row) // 128])) + row for row in rows
    )
    pieces = Pieces(data)
    assert (pieces.begin, pieces.end) == (1, 2)
    assert pieces.spell("ab") == [rows.index("▁ab".encode())]
    assert pieces.spell("a b") == [rows.index("▁a".encode()), rows.index("▁".encode()), 259 + 1]
    assert pieces.text(pieces.spell("é")) == "é"


def test_numbers_are_compared_as_they_are_said() -> None:
    asked: list[str] = []

    def reads(texts: object) -> list[ear.Read]:
        asked.extend(texts)  # type: ignore[arg-type]
        return [ear.Read((3.0,) * len(text.split()), (0.0,) * len(text.split()), 0.0) for text in asked]

    line = spoken_form("It holds sixty frames at 1440p.")
    assert compare(line, "it holds 60 frames at fourteen forty p", reads, {}).whole and not asked
    found = compare(line, "it folds 60 frames at 1440p", reads, {})
    assert all("60" in text and "1440p" in text and "holds" in text for text in asked)
    assert found.share == pytest.approx(7 / 8) and 0 < found.far <= 1.0


def test_another_line_is_not_alike() -> None:
    line = words_of("The lamp on the left flickers when the camera turns.")
    assert alike(line, words_of("the lamp on the left flick us when the camera turns")) > 0.85
    assert alike(line, words_of("so what did the extra money buy")) < 0.45


@needs_ear
def test_weights_that_are_damaged_are_one_clear_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = ear.folder()
    assert found is not None
    for name in (ear._ENCODER, ear._DECODER, ear._PIECES):
        (tmp_path / name).write_bytes((found / name).read_bytes()[:2000])
    monkeypatch.setattr(ear, "folder", lambda: tmp_path)
    with pytest.raises(MissingPartError) as told:
        Ear().heed(np.zeros(16_000, np.int16))
    assert "install them again" in str(told.value.problems[0].mend)
