"""What is learnt of a reader's accent, and restarts inside a try: by stand-ins for the listener, no sound."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pytest

from assembler.media.recording import Levels
from assembler.narration.accent import SHIFTS, Sample, learned, shifted, with_shifts
from assembler.narration.recogniser import PHONES, Heard
from assembler.narration.take_judge import Evidence
from assembler.narration.take_restart import begun_later


@pytest.mark.parametrize(
    ("phones", "name", "wanted"),
    [
        # Source: J. C. Wells, Accents of English (1982), the sets' own words; from memory.
        ("T R AE P", "trap opened", "T R AA P"),
        ("G OW T", "goat fronted", "G AH UH T"),
        ("F EY S", "face level", "F EH S"),
        ("N ER S", "nurse apart", "N EH R S"),
        ("HH AA R B ER", "r dropped", "HH AA B AH"),
        ("S T EH R IY OW", "r dropped", "S T EH R IY OW"),
        ("D EH S K", "trap opened", "D EH S K"),
    ],
)
def test_a_shift_changes_its_own_sound_and_no_other(phones: str, name: str, wanted: str) -> None:
    assert shifted(phones, name) == wanted


def test_every_shift_is_made_of_the_recognisers_sounds() -> None:
    sounds = [sound for pair in SHIFTS.values() for part in pair for sound in part.split()]
    assert sounds and set(sounds) <= PHONES


def test_words_keep_their_own_ways_and_gain_the_readers() -> None:
    added = {"fpsy": "EH F AE P S"}
    ways = with_shifts(["lasts", "fpsy", "desk"], ["trap opened", "goat level"], added)
    # The dictionary's own, then the reader's.
    assert (ways["lasts"], ways["lasts(2)"]) == ("L AE S T S", "L AA S T S")
    assert (ways["fpsy"], ways["fpsy(2)"]) == ("EH F AE P S", "EH F AA P S")
    assert "desk" not in ways and "lasts(3)" not in ways


class Reader:
    """Stands for a listener to a reader who says every AE as AA: words fit worse where they are expected otherwise."""

    def __init__(self, gain: float) -> None:
        self.gain = gain

    def align(
        self, first: int, past: int, words: Sequence[str], added: Mapping[str, str] | None = None
    ) -> tuple[Heard, ...]:
        def fit(word: str) -> float:
            other = (added or {}).get(word, "")
            return -3.0 + (self.gain if "AA" in other.split() else -1.0 if other else 0.0)

        return tuple(Heard(word, 0.3 * n, 0.3 * n + 0.3, fit(word)) for n, word in enumerate(words))


SAMPLES = [Sample(0, 300, ("that", "camera", "lasts", "and", "the", "battery"))] * 2


def test_a_shift_is_learnt_where_nearly_every_word_fits_better_with_it() -> None:
    assert learned(SAMPLES, Reader(1.5), {}) == ("trap opened",)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("gain", "samples"), [(0.1, SAMPLES), (-1.0, SAMPLES), (1.5, [Sample(0, 99, ("that", "one"))])]
)
def test_no_shift_is_learnt_from_little_gain_or_few_words(gain: float, samples: list[Sample]) -> None:
    assert learned(samples, Reader(gain), {}) == ()  # type: ignore[arg-type]


class Restarted:
    """Stands for a listener to `both run — both run at dusk`: the line fits well only from the second `both` on."""

    def align(self, first: int, past: int, words: Sequence[str]) -> tuple[Heard, ...] | None:
        start = max(1.5, first / 100)
        good = abs(start - 1.5) < 0.2
        return tuple(
            Heard(word, start + 0.3 * n, start + 0.3 * n + 0.3, -2.0 if good else -9.0) for n, word in enumerate(words)
        )

    def decode(self, *_: object) -> tuple[Heard, ...]:
        return tuple(Heard(word, 0.0, 0.1, -2.0) for word in ("both", "run", "at", "dusk"))


def test_a_restart_is_left_outside_and_a_sure_try_left_alone() -> None:
    line = ("both", "run", "at", "dusk")
    said = ("both", "run", "both", "run", "at", "dusk")
    stream = [
        Heard(word, 0.5 + 0.5 * n if n < 2 else 0.3 * n + 0.9, 0.3 * n + 1.2, -2.0) for n, word in enumerate(said)
    ]
    levels = Levels(np.full(300, -20.0, np.float32), 144_000, 0.5, 0)
    doubtful = Evidence(0.5, 2.7, 1.0, False, -4.0, -2.5, 1.5, 0.7, 2, 0.4, 0.3, "both run both run at dusk")
    made = begun_later(doubtful, line, stream, levels, Restarted(), [line])  # type: ignore[arg-type]
    assert made is not None and made.start_s == pytest.approx(1.5, abs=0.1) and made.extra == 0 and made.again == 1.0
    sure = Evidence(1.5, 2.7, 1.0, False, -2.0, -2.0, 0.0, 1.0, 0, 0.0, 0.0, "both run at dusk")
    assert begun_later(sure, line, stream, levels, Restarted(), [line]) is None  # type: ignore[arg-type]
