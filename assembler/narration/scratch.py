"""The scratch voice as the rest of the program knows it: words in, 48 kHz sound and word times out."""

from __future__ import annotations

import importlib.util
from collections.abc import Sequence
from dataclasses import dataclass
from math import gcd
from types import TracebackType
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.signal import resample_poly

from assembler.errors import MissingPartError, NarrationError
from assembler.narration.process import HelperProcess
from assembler.narration.speech import Word
from assembler.narration.spoken import spoken, spoken_words
from assembler.narration.voice_worker import FASTEST, SLOWEST
from assembler.timing.rates import SAMPLE_RATE

VERSION = "1"
"""Part of a scratch recording's identity; changes when the same words would sound different."""

INSTALL = "pip install 'assembler[voice]'"
_TIMEOUT_S = 30.0
_ASK_FACTOR = 1.13  # the voice speaks about this much faster than it is asked to; measured, corrected below
# As many numbers and long words as technical narration has: easier text is spoken faster at the same setting.
_RATE_PASSAGE = (
    "Both machines run the same scene from the same start, and the first one holds 60 frames a second through the "
    "whole walk. On the quay the second one drops to 48 fps at 1440p, a frame time of 20.8 ms, while the light on the "
    "water keeps changing. Look at the far wall: textures arrive late, and reflections are drawn at half resolution."
)
# BCP 47 tags to the voice's own names; `en-gb` is missing by that name from the packaged voices.
_VOICES = {"en": "en-us", "en-gb": "gmw/en", "zh": "cmn", "no": "nb"}


@dataclass(frozen=True, slots=True, eq=False)
class Spoken:
    """samples: (n,) float32 mono at 48 kHz. words: exact times in them."""

    samples: npt.NDArray[np.float32]
    words: tuple[Word, ...]


def available() -> bool:
    """Whether the package that holds the voice is installed. Does not load it."""
    return importlib.util.find_spec("espeakng_loader") is not None


def voice_names(language: str) -> tuple[str, ...]:
    """The voices to try for a language tag, best first: the tag itself, then its language alone."""
    tag = language.casefold().replace("_", "-")
    primary = tag.split("-")[0]
    return tuple(dict.fromkeys((_VOICES.get(tag, tag), _VOICES.get(primary, primary))))


class ScratchVoice:
    """A synthetic reader in a process of its own, started by the first line. Use as a context manager.

    Raises MissingPartError when the voice is not installed, LookupError from `speak` when it has no such language,
    NarrationError when it fails or does not answer within `timeout_s`.
    """

    def __init__(self, language: str = "en", *, timeout_s: float = _TIMEOUT_S) -> None:
        if not available():
            raise MissingPartError("the scratch voice is not installed", mend=INSTALL)
        self._english = language.casefold().split("-")[0] == "en"
        self._timeout_s = timeout_s
        self._process = HelperProcess("assembler.narration.voice_worker", "the scratch voice")
        self._rates: dict[int, int] = {}
        self._voices = list(voice_names(language))

    def __enter__(self) -> ScratchVoice:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """End the voice's process."""
        self._process.close()

    def speak(self, words: Sequence[str], pace: int) -> Spoken:
        """Say a line of written words at `pace` words a minute (an average: short or hard words are slower)."""
        return self._speak(words, self.asked_rate(pace))

    def asked_rate(self, pace: int) -> int:
        """The setting that gives `pace`, found by timing a fixed passage."""
        if pace not in self._rates:
            rate = round(pace / _ASK_FACTOR)
            words = _RATE_PASSAGE.split()
            if self._english:
                for _ in range(2):
                    real = words_a_minute(words, self._speak(words, rate).samples.size)
                    rate = min(max(round(rate * pace / real), SLOWEST), FASTEST)
            self._rates[pace] = rate
        return self._rates[pace]

    def _speak(self, words: Sequence[str], rate: int) -> Spoken:
        said = [spoken(word) if self._english else word for word in words]
        while True:
            try:
                head, raw = self._ask({"words": said, "rate": rate, "voice": self._voices[0]})
                break
            except LookupError:
                if len(self._voices) == 1:
                    raise
                del self._voices[0]
        shared = gcd(SAMPLE_RATE, head["rate"])
        up, down = SAMPLE_RATE // shared, head["rate"] // shared
        sound = np.frombuffer(raw, "<i2").astype(np.float32) / 32768.0
        samples = resample_poly(sound, up, down).astype(np.float32) if sound.size else sound
        times = [(round(start * up / down), round(end * up / down)) for start, end in head["marks"]]
        spans = [
            Word(word, min(start, samples.size), min(end, samples.size))
            for word, (start, end) in zip(words, times, strict=True)
        ]
        return Spoken(samples, tuple(spans))

    def sounds(self, words: Sequence[str]) -> tuple[str, ...]:
        """How the English voice says each word, in the names that it has for sounds (`Its` for 'its')."""
        head, _ = self._ask({"phonemes": list(words), "voice": voice_names("en")[0]})
        return tuple(head["phonemes"])

    def _ask(self, request: dict[str, object]) -> tuple[dict[str, Any], bytes]:
        head, raw = self._process.ask(request, b"", self._timeout_s)
        if head.get("kind") == "LookupError":
            raise LookupError(head["error"])
        if "error" in head:
            raise NarrationError(f"the scratch voice could not say a line: {head['error']}")
        return head, raw


def words_a_minute(words: Sequence[str], samples: int) -> float:
    """The real rate of a line, spoken words counted (`60 fps` is four)."""
    return sum(spoken_words(word) for word in words) * 60.0 * SAMPLE_RATE / max(samples, 1)
