"""The pieces of words that the listener of ear.py writes with: text to pieces, pieces to text."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt

_SPACE = "▁"
_STOPS = frozenset(".?!…")
_MARKS = frozenset(".,;:?!-–—…\"'“”()[]")


class Pieces:
    """The listener's vocabulary. Its file lists the pieces in the order of their numbers, each after its length in
    bytes; a length of 128 and more takes two bytes, the low seven bits first."""

    def __init__(self, data: bytes) -> None:
        pieces: list[bytes] = []
        at = 0
        while at < len(data):
            length = data[at]
            at += 1
            if length >= 128:
                length += 128 * data[at] - 128
                at += 1
            pieces.append(data[at : at + length])
            at += length
        self._pieces = pieces
        # The first ones stand for single bytes, for what no other piece spells.
        self.begin, self.end = pieces.index(b"<s>"), pieces.index(b"</s>")
        self._bytes = pieces.index(b"\x00", self.end)
        single = range(self._bytes, self._bytes + 256)
        self._numbers = {piece: number for number, piece in enumerate(pieces) if number not in single}

    @cached_property
    def _texts(self) -> list[str]:
        return [piece.decode("utf-8", "replace") for piece in self._pieces]

    @cached_property
    def marks(self) -> frozenset[int]:
        """Pieces of punctuation alone."""
        bare = ((number, text.strip(_SPACE)) for number, text in enumerate(self._texts))
        return frozenset(number for number, text in bare if text and _MARKS.issuperset(text))

    @cached_property
    def silent(self) -> npt.NDArray[np.int64]:
        """Punctuation, which may stand between words."""
        return np.array(sorted(self.marks), np.int64)

    @cached_property
    def stops(self) -> npt.NDArray[np.int64]:
        """What ends a sentence."""
        stops = (number for number in self.marks if _STOPS.issuperset(self._texts[number].strip(_SPACE)))
        return np.array([self.end, *sorted(stops)], np.int64)

    def begins(self, piece: int) -> bool:
        """Whether a piece begins a word."""
        return self._texts[piece].startswith(_SPACE)

    def same(self, piece: int) -> npt.NDArray[np.int64]:
        """Pieces that differ from one in capitals alone, itself among them."""
        text = self._texts[piece]
        bare = text.lstrip(_SPACE)
        lead = text[: len(text) - len(bare)]
        ways = {text, lead + bare.lower(), lead + bare[:1].upper() + bare[1:], lead + bare.capitalize()}
        numbers = {self._numbers.get(way.encode()) for way in ways} - {None}
        return np.array(sorted({piece, *(number for number in numbers if number is not None)}), np.int64)

    def text(self, pieces: Sequence[int]) -> str:
        raw = b"".join(self._pieces[piece] for piece in pieces)
        return raw.decode("utf-8", "replace").replace(_SPACE, " ").strip()

    def spell(self, text: str) -> list[int]:
        """Text as pieces: of two neighbours those are joined first whose whole has the lowest number."""
        rest = _SPACE + _SPACE.join(text.split())
        parts = [letter.encode() for letter in rest]
        never = len(self._pieces)
        while len(parts) > 1:
            joined = ((self._numbers.get(one + other, never), n) for n, (one, other) in enumerate(pairwise(parts)))
            number, at = min(joined)
            if number == never:
                break
            parts[at : at + 2] = [parts[at] + parts[at + 1]]
        out: list[int] = []
        for part in parts:
            known = self._numbers.get(part)
            out += [known] if known is not None else [self._bytes + byte for byte in part]
        return out
