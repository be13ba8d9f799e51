"""Tries found by the listener that knows no script: what counts for and against one, and searches that are stopped.

Made-up sessions with known truth are in test_takes.py and benchmarks/take_sessions.py; here stand readings whose words
are laid down, as the listener would write them.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from assembler.narration import ear, recogniser, take_ear
from assembler.narration.ear import Heeded, Read
from assembler.narration.recogniser import Pcm
from assembler.narration.spoken import spoken_form
from assembler.narration.take_search import Found, ScriptLine, find_takes
from tests.test_takes import write

RATE = 48_000
SCRIPT = (
    "Two machines, one harbour at dusk.",
    "Shadows are softer on the desktop.",
    "The water is drawn with fewer waves.",
    "Loading takes nineteen seconds from the card.",
)


class Told:
    """Stands for the listener: of a sound it hears what is written for it, by its length in tenths of a second, and of
    a text each word that it heard as it is, any other as most unlikely."""

    heard: dict[int, str]
    asked = 0
    stop_at = -1

    def heed(self, pcm: Pcm) -> Heeded:
        return Heeded(np.zeros((1, 1, 288), np.float32), pcm.size / 16_000)

    def hears(self, heeded: Heeded) -> str:
        if Told.asked == Told.stop_at:
            raise KeyboardInterrupt
        Told.asked += 1
        return self.heard.get(self._key(heeded), "")

    def reads(self, heeded: Heeded, texts: Sequence[str]) -> tuple[Read, ...]:
        said = {word.strip(".,") for word in self.heard.get(self._key(heeded), "").casefold().split()}
        out = []
        for text in texts:
            unlikely = tuple(0.0 if word.strip(".,").casefold() in said else 9.0 for word in text.split())
            out.append(Read(unlikely, tuple(0.0 for _ in unlikely), 0.0))
        return tuple(out)

    @staticmethod
    def _key(heeded: Heeded) -> int:
        return round(10 * heeded.seconds)


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> type[Told]:
    """Every search of this test listens by Told; nobody gives a second opinion."""
    Told.asked, Told.stop_at, Told.heard = 0, -1, {}
    monkeypatch.setattr(take_ear, "Ear", Told)
    monkeypatch.setattr(recogniser, "available", lambda: False)
    return Told


def recording(folder: Path, *readings: tuple[float, str]) -> Path:
    """Noise for each reading, as long as it says, with a second of silence before and after; what is heard in it is
    noted, by length."""
    rng = np.random.default_rng(3)
    pieces = [np.zeros(RATE, np.float32)]
    for seconds, text in readings:
        pieces += [0.2 * rng.standard_normal(round(seconds * RATE)).astype(np.float32), np.zeros(2 * RATE, np.float32)]
        spare = (take_ear._BEFORE + take_ear._AFTER) / 100
        Told.heard[round(10 * (seconds + spare))] = text
    sound = np.concatenate(pieces)
    return write(folder / "session.wav", sound + 0.0005 * rng.standard_normal(sound.size).astype(np.float32))


def search(folder: Path, *readings: tuple[float, str]) -> Found:
    script = [ScriptLine(f"quay-{n}", text, spoken_form(text)) for n, text in enumerate(SCRIPT, start=1)]
    return find_takes(script, [recording(folder, *readings)], folder / "cache", by_ear=True)


def test_lines_heard_as_written_are_proposed_the_last_of_each(told: type[Told], tmp_path: Path) -> None:
    found = search(
        tmp_path, (2.5, SCRIPT[0]), (2.7, SCRIPT[0].lower()), (2.9, SCRIPT[1]), (2.3, "I think that was fine."),
        (3.1, SCRIPT[2]), (3.3, "Loading takes 19 seconds from the card"),
    )  # fmt: skip
    assert [each.verdict for each in found.results.values()] == ["proposed"] * 4
    first = found.results["quay-1"]
    assert len(first.candidates) == 2 and first.picked == 1 and first.why == "the last of 2 good takes"
    assert first.candidates[1].in_s == pytest.approx(5.5 - 0.1, abs=0.05)
    assert first.candidates[1].out_s == pytest.approx(8.2 + 0.24, abs=0.05)


def test_a_word_for_another_is_not_proposed_in_silence(told: type[Told], tmp_path: Path) -> None:
    found = search(
        tmp_path, (2.5, SCRIPT[0]), (2.7, "Shadows are softer on the elephant."), (2.9, SCRIPT[2]), (3.3, SCRIPT[3])
    )
    wrong = found.results["quay-2"]
    assert wrong.verdict == "flagged" and "elephant" in wrong.why
    assert [found.results[f"quay-{n}"].verdict for n in (1, 3, 4)] == ["proposed"] * 3


def test_a_try_that_was_broken_off_after_a_good_one_is_told(told: type[Told], tmp_path: Path) -> None:
    found = search(
        tmp_path,
        (2.5, SCRIPT[0]),
        (2.9, SCRIPT[2]),
        (3.3, SCRIPT[3]),
        (2.7, SCRIPT[1]),
        (1.5, "Shadows are softer on the"),
    )
    line = found.results["quay-2"]
    assert line.verdict == "flagged" and line.picked == 0 and "a later try" in line.why


def test_a_search_that_was_stopped_asks_only_what_was_not_heard(told: type[Told], tmp_path: Path) -> None:
    readings = [(2.0 + 0.2 * n, text) for n, text in enumerate(SCRIPT)]
    told.stop_at = 2
    with pytest.raises(KeyboardInterrupt):
        search(tmp_path, *readings)
    assert told.asked == 2
    told.stop_at = -1
    found = search(tmp_path, *readings)
    assert told.asked == 4 and all(each.verdict == "proposed" for each in found.results.values())
    search(tmp_path, *readings)
    assert told.asked == 4  # the third run asks nothing at all


@pytest.mark.skipif(not ear.available(), reason="the listener that knows no script (extra ear) is missing")
def test_noise_is_no_line(tmp_path: Path) -> None:
    found = search(tmp_path, (2.0, ""), (3.0, ""))
    assert [each.verdict for each in found.results.values()] == ["missing"] * 4


def test_kept_answers_that_are_damaged_are_asked_for_again(told: type[Told], tmp_path: Path) -> None:
    readings = [
        (2.0 + 0.2 * n, text) for n, text in enumerate((*SCRIPT[:3], "Loading takes nine seconds from the cart."))
    ]
    before = search(tmp_path, *readings)
    for path in (tmp_path / "cache").rglob("*.json"):
        path.write_text('{"heard": [[1]]}' if "[[" in path.read_text() else "{}")
    assert search(tmp_path, *readings) == before
