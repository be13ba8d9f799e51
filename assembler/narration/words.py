"""A line's written words: what is shown in captions and timed, one by one."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass


def split_words(text: str) -> tuple[str, ...]:
    """Split on white space; punctuation stays with its word.

    A piece without a letter or digit (a lone dash, `%`, `&`) cannot be timed by itself, so it is joined to
    the word before, or to the one after where there is none before. A text with neither letter nor digit
    is one word; an empty one has none.
    """
    return tuple(" ".join(piece.text for piece in word) for word in pieces_of_words(text))


@dataclass(frozen=True, slots=True)
class Piece:
    """What stands between two blank spaces, at `start` to `end` of the text: opening marks, core, closing marks."""

    start: int
    end: int
    before: str
    core: str
    after: str

    @property
    def text(self) -> str:
        """The whole of it."""
        return self.before + self.core + self.after


_OPENING = "\"'“”‘’([«„¿¡"
_CLOSING = "\"'“”‘’)]»“.,;:!?…—–-"


def pieces_of_words(text: str) -> tuple[tuple[Piece, ...], ...]:
    """The words of `split_words`, each as its pieces."""
    words: list[list[Piece]] = []
    waiting: list[Piece] = []
    for found in re.finditer(r"\S+", text):
        piece = _piece(found[0], found.start())
        if any(sign.isalnum() for sign in found[0]):
            words.append([*waiting, piece])
            waiting = []
        elif words:
            words[-1].append(piece)
        else:
            waiting.append(piece)
    if waiting:
        words.append(waiting)
    return tuple(tuple(word) for word in words)


def _piece(text: str, start: int) -> Piece:
    bare = text.lstrip(_OPENING)
    core = bare.rstrip(_CLOSING)
    if "(" in core and ")" not in core and bare[len(core) :].startswith(")"):
        core += ")"  # `dB(A)`
    opening = len(text) - len(bare)
    return Piece(start, start + len(text), text[:opening], core, text[opening + len(core) :])


def trailing_marks(word: Sequence[Piece]) -> str:
    """The punctuation at a word's end, blank space left out."""
    marks = ""
    for piece in reversed(word):
        marks = piece.after + marks if piece.core else piece.text + marks
        if piece.core:
            break
    return marks
