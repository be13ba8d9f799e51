"""A listener that learnt from many people and knows no script: what it hears, and how likely a text is to it.

A small speech recogniser with a network at its heart (its weights come with the package moonshine-voice, by way of
onnxruntime): an encoder hears, a decoder writes, one piece of a word after the other, each with the likelihood of every
piece there is. So it can be asked two things: what is said here, and, of any text, how much less likely each of its
words is than what the listener would have written in its place.
"""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from assembler.errors import MissingPartError
from assembler.narration.ear_pieces import Pieces
from assembler.narration.recogniser import HEARD_RATE, Pcm

INSTALL = "pip install 'assembler[ear]'"
VERSION = "1"
"""Part of what is kept of a recording; changes when the same recording would be heard otherwise."""
LONGEST_S = 30.0
"""Of sound that is listened to at once; it learnt from no longer ones."""
_SHORTEST_S = 0.1
_PAD_S = 0.1
_FOLDER = ("assets", "tiny-en")
_ENCODER, _DECODER, _PIECES = "encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin"
_PIECES_S = 7.0  # more pieces of words than anybody says in a second: the listener has begun to repeat itself
_LEAST_PIECES = 6
_LAYERS, _HEADS, _WIDE = 6, 8, 36  # of what the decoder remembers
_SAMPLES = 384  # of sound to a state; what masks sound counts samples
_BATCH = 3
_UNLIKELY = 20.0

Floats = npt.NDArray[np.float32]
Numbers = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Read:
    """How a text fits a sound. words: of each of its words, by how much it is less likely than what would have been
    written in its place, punctuation apart; natural logarithm, 0 where it is what would have been. stops: the same
    against a full stop before it. end: the same of the end after the last word: high where more is said."""

    words: tuple[float, ...]
    stops: tuple[float, ...]
    end: float


def folder() -> Path | None:
    """Where the weights are, or None where they are not installed. Loads nothing."""
    try:
        found = importlib.util.find_spec("moonshine_voice")
    except (ImportError, ValueError):
        return None
    for place in (found.submodule_search_locations or ()) if found else ():
        weights = Path(place, *_FOLDER)
        if all((weights / name).is_file() for name in (_ENCODER, _DECODER, _PIECES)):
            return weights
    return None


def available() -> bool:
    """Whether there are weights and what runs them."""
    return importlib.util.find_spec("onnxruntime") is not None and folder() is not None


class Heeded:
    """A sound that was listened to: what the decoder is asked with. states: (1, n, 288)."""

    def __init__(self, states: Floats, seconds: float) -> None:
        self.states, self.seconds = states, seconds


class Ear:
    """Listens; the network is loaded with the first question. Raises MissingPartError where it is not installed."""

    @cached_property
    def _weights(self) -> Path:
        found = folder()
        if found is None or importlib.util.find_spec("onnxruntime") is None:
            raise MissingPartError("the listener that knows no script is not installed", mend=INSTALL)
        return found

    @cached_property
    def pieces(self) -> Pieces:
        return Pieces((self._weights / _PIECES).read_bytes())

    @cached_property
    def _encoder(self) -> Any:
        return self._session(_ENCODER)

    @cached_property
    def _decoder(self) -> Any:
        return self._session(_DECODER)

    def _session(self, name: str) -> Any:
        import onnxruntime  # here, not above: it takes long to load, and few commands need it

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1  # several are asked at once; and sums in one order are always the same
        options.enable_cpu_mem_arena = False  # what one long sound took would be kept
        options.log_severity_level = 3
        path = self._weights / name
        try:
            return onnxruntime.InferenceSession(str(path), options, providers=["CPUExecutionProvider"])
        except Exception as fault:  # its own kinds of error have no common ancestor
            what = f"the weights of the listener that knows no script cannot be used: {path}"
            raise MissingPartError(what, mend=f"install them again: {INSTALL}") from fault

    def heed(self, pcm: Pcm) -> Heeded:
        """Listen to a sound of at most LONGEST_S, at 16 kHz."""
        pad = round(_PAD_S * HEARD_RATE)
        most = round(LONGEST_S * HEARD_RATE)
        samples = np.pad(pcm[:most].astype(np.float32) / 32768.0, pad)
        if samples.size < _SHORTEST_S * HEARD_RATE + 2 * pad:
            samples = np.pad(samples, (0, HEARD_RATE // 2))
        sound = samples[np.newaxis]
        given = {"input_values": sound, "attention_mask": np.ones(sound.shape, np.int64)}
        return Heeded(self._encoder.run(["last_hidden_state"], given)[0], pcm.size / HEARD_RATE)

    def hears(self, heeded: Heeded) -> str:
        """What it hears, as it would write it."""
        most = max(_LEAST_PIECES, math.ceil(heeded.seconds * _PIECES_S))
        written = [self.pieces.begin]
        kept: list[Floats] | None = None
        for _ in range(most):
            logits, kept = self._steps(np.array([written[-1:]], np.int64), heeded.states, kept)
            piece = int(logits[0, -1].argmax())
            if piece == self.pieces.end:
                break
            written.append(piece)
        return self.pieces.text(written[1:])

    def reads(self, heeded: Heeded, texts: Sequence[str]) -> tuple[Read, ...]:
        """How each text fits a sound."""
        out: list[Read] = []
        for at in range(0, len(texts), _BATCH):
            out += self._reads(heeded, texts[at : at + _BATCH])
        return tuple(out)

    def _reads(self, heeded: Heeded, texts: Sequence[str]) -> list[Read]:
        spelt = [self.pieces.spell(text) for text in texts]
        longest = max((len(each) for each in spelt), default=0)
        asked = np.full((len(spelt), longest + 1), self.pieces.end, np.int64)
        asked[:, 0] = self.pieces.begin
        for row, each in enumerate(spelt):
            asked[row, 1 : 1 + len(each)] = each
        states = np.repeat(heeded.states, len(spelt), axis=0)
        logits, _ = self._steps(asked, states, None)
        return [self._read(each, logits[row]) for row, each in enumerate(spelt)]

    def _read(self, spelt: Sequence[int], logits: Floats) -> Read:
        pieces = self.pieces
        words: list[float] = []
        stops: list[float] = []
        begins = True
        for at, piece in enumerate(spelt):
            begins = begins or pieces.begins(piece)
            if piece in pieces.marks:
                continue  # nobody hears a comma
            told = _less_likely(logits[at], pieces.same(piece), pieces.silent if begins else None)
            if begins:
                words.append(told)
                stops.append(_unlikelier(logits[at], pieces.same(piece), pieces.stops))
            else:
                words[-1] = max(words[-1], told)
            begins = False
        ends = np.array([pieces.end])
        return Read(tuple(words), tuple(stops), _less_likely(logits[len(spelt)], ends, None))

    def _steps(self, asked: npt.NDArray[np.int64], states: Floats, kept: list[Floats] | None) -> tuple[Floats, Any]:
        """The logits after each piece asked, (n, pieces, all pieces), and what is remembered for the next."""
        names = [
            f"{layer}.{part}.{what}"
            for layer in range(_LAYERS)
            for part in ("decoder", "encoder")
            for what in ("key", "value")
        ]
        empty = np.zeros((asked.shape[0], _HEADS, 0, _WIDE), np.float32)
        given = {
            "input_ids": asked,
            "encoder_hidden_states": states,
            "encoder_attention_mask": np.ones((states.shape[0], states.shape[1] * _SAMPLES), np.int64),
            "use_cache_branch": np.array([kept is not None]),
            **{f"past_key_values.{name}": empty if kept is None else kept[n] for n, name in enumerate(names)},
        }
        logits, *told = self._decoder.run(["logits", *(f"present.{name}" for name in names)], given)
        if kept is not None:  # of the sound nothing new is told after the first step
            told = [old if ".encoder." in name else new for name, old, new in zip(names, kept, told, strict=True)]
        return logits, told


def _less_likely(logits: Floats, meant: Numbers, but: Numbers | None) -> float:
    """By how much the pieces meant are less likely than the likeliest one. but: pieces that do not count."""
    others = logits
    if but is not None:
        others = logits.copy()
        others[but] = -np.inf
    return _unlikelier(logits, meant, np.array([int(others.argmax())]))


def _unlikelier(logits: Floats, meant: Numbers, others: Numbers) -> float:
    """By how much some pieces together are less likely than others together; 0 where they are not."""
    wanted, rival = (float(np.logaddexp.reduce(logits[each].astype(np.float64))) for each in (meant, others))
    return min(_UNLIKELY, max(0.0, rival - wanted))
