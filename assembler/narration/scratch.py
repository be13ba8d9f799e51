"""The scratch voice as the rest of the program knows it: words in, 48 kHz sound and word times out."""

from __future__ import annotations

import importlib.util
from collections.abc import MutableMapping, Sequence
from dataclasses import dataclass
from math import gcd
from types import TracebackType
from typing import Any

import numpy as np
import numpy.typing as npt

from assembler.errors import MissingPartError, NarrationError
from assembler.media.resample import resampled
from assembler.narration.process import HelperProcess
from assembler.narration.speech import Word
from assembler.narration.spoken import SpokenToken, spoken_form, voiced, written_times
from assembler.narration.voice_worker import FASTEST, SLOWEST
from assembler.timing.rates import SAMPLE_RATE

VERSION = "4"
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
# The voice takes a lone capital A for the article.
_ALOUD = {"a.": "ay", "a.'s": "ays"}
_PAUSES = ".,;:!?…-–—"
# BCP 47 tags to the voice's own names; `en-gb` is missing by that name from the packaged voices.
_VOICES = {"en": "en-us", "en-gb": "gmw/en", "zh": "cmn", "no": "nb"}


@dataclass(frozen=True, slots=True, eq=False)
class Spoken:
    """samples: (n,) float32 mono at 48 kHz. words: exact times in them. said: [start, end) of each spoken word."""

    samples: npt.NDArray[np.float32]
    words: tuple[Word, ...]
    said: tuple[tuple[int, int], ...]


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

    speaker: one of its voices by name, such as `en-us+f3`; '' = the one of the language. rates: what it has to be asked
    for to speak at a pace, as found before by the same voice (`asked_rate`); what is found now is added.
    Raises MissingPartError when the voice is not installed, LookupError from `speak` when it has no such language,
    NarrationError when it fails or does not answer within `timeout_s`.
    """

    def __init__(
        self,
        language: str = "en",
        *,
        speaker: str = "",
        timeout_s: float = _TIMEOUT_S,
        rates: MutableMapping[int, int] | None = None,
    ) -> None:
        if not available():
            raise MissingPartError("the scratch voice is not installed", mend=INSTALL)
        self._language = language
        self._timeout_s = timeout_s
        self._process = HelperProcess("assembler.narration.voice_worker", "the scratch voice")
        self._rates = {} if rates is None else rates
        self._voices = [speaker] if speaker else list(voice_names(language))

    def __enter__(self) -> ScratchVoice:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """End the voice's process."""
        self._process.close()

    def speak(self, words: Sequence[str] | Sequence[SpokenToken], pace: int) -> Spoken:
        """Say a line at `pace` words a minute (an average: short or hard words are slower).

        words: its written words, or what is to be said for them.
        """
        return self._speak(words, self.asked_rate(pace))

    def choices(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """The names of the voices there are, and of the variants that may follow one behind a `+`."""
        head, _ = self._ask({"voices": True})
        return tuple(head["voices"]), tuple(head["variants"])

    def asked_rate(self, pace: int) -> int:
        """The setting that gives `pace`, found by timing a fixed passage."""
        if pace not in self._rates:
            rate = round(pace / _ASK_FACTOR)
            if self._language.casefold().split("-")[0] == "en":
                words = spoken_form(_RATE_PASSAGE)
                for _ in range(2):
                    head, raw = self._say(words, rate)
                    real = words_a_minute(words, round(len(raw) // 2 * SAMPLE_RATE / head["rate"]))
                    rate = min(max(round(rate * pace / real), SLOWEST), FASTEST)
            self._rates[pace] = rate
        return self._rates[pace]

    def _speak(self, words: Sequence[str] | Sequence[SpokenToken], rate: int) -> Spoken:
        tokens = _tokens(words, self._language)
        head, raw = self._say(tokens, rate)
        shared = gcd(SAMPLE_RATE, head["rate"])
        up, down = SAMPLE_RATE // shared, head["rate"] // shared
        sound = np.frombuffer(raw, "<i2").astype(np.float32) / 32768.0
        samples = resampled(sound, up, down)
        times = [(round(start * up / down), round(end * up / down)) for start, end in head["marks"]]
        said_times = tuple((min(start, samples.size), min(end, samples.size)) for start, end in times)
        spans = tuple(
            Word(token.display, start, end)
            for token, (start, end) in zip(tokens, written_times(tokens, said_times), strict=True)
        )
        return Spoken(samples, spans, said_times)

    def _say(self, tokens: Sequence[SpokenToken], rate: int) -> tuple[dict[str, Any], bytes]:
        """A line by the first voice of the language that there is: what is told of its sound, and the sound."""
        said = _with_pauses(tokens)
        while True:
            try:
                return self._ask({"words": said, "rate": rate, "voice": self._voices[0]})
            except LookupError:
                if len(self._voices) == 1:
                    raise
                del self._voices[0]

    def sounds(self, words: Sequence[str], language: str = "en") -> tuple[str, ...]:
        """How an English voice says each word, in the names that it has for sounds (`Its` for 'its'). language: `en`
        for the American one, `en-gb` for the British."""
        head, _ = self._ask({"phonemes": list(words), "voice": voice_names(language)[0]})
        return tuple(head["phonemes"])

    def _ask(self, request: dict[str, object]) -> tuple[dict[str, Any], bytes]:
        head, raw = self._process.ask(request, b"", self._timeout_s)
        if head.get("kind") == "LookupError":
            raise LookupError(head["error"])
        if "error" in head:
            raise NarrationError(f"the scratch voice could not say a line: {head['error']}")
        return head, raw


def words_a_minute(words: Sequence[str] | Sequence[SpokenToken], samples: int) -> float:
    """The real rate of a line, spoken words counted (`60 fps` is four)."""
    return sum(len(token.words) for token in _tokens(words, "en")) * 60.0 * SAMPLE_RATE / max(samples, 1)


def _tokens(words: Sequence[str] | Sequence[SpokenToken], language: str) -> Sequence[SpokenToken]:
    tokens = [word for word in words if isinstance(word, SpokenToken)]
    if tokens:
        return tokens
    return spoken_form(" ".join(str(word) for word in words), language=language)


def _with_pauses(tokens: Sequence[SpokenToken]) -> list[str]:
    """Each spoken word as the voice is given it, the punctuation that makes for a pause behind it."""
    said: list[str] = []
    for token in tokens:
        said += [_ALOUD.get(word) or voiced(word) for word in token.words]
        if said and (pause := "".join(sign for sign in token.trailing if sign in _PAUSES)):
            said[-1] += "," if set(pause) <= set("-–—") else pause.strip("-–—")
    return said
