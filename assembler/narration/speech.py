"""What is known of a spoken line: its words, their times, and where its sound lies."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal


@dataclass(frozen=True, slots=True)
class Word:
    """A written word (with its punctuation) and when it is said, in 48 kHz samples from the
    speech's start."""

    text: str
    start_sample: int
    end_sample: int


@dataclass(frozen=True, slots=True)
class Speech:
    """A line as spoken, silence at both ends cut away.

    kind: `take` (a recording; its word times are estimates unless `aligned`), `scratch` (synthetic,
    word times exact) or `estimate` (nothing to hear).
    sound: a file of exactly `samples` mono float32 little-endian samples at 48 kHz, or None.
    source: the take it came from, or None.
    said: how many words are spoken, which may be more than are written (`60 fps` is four); 0 = not counted.
    aligned: whether the word times of a take were found in its sound and nothing spoke against them.
    unstretched: how long it was before `stretch:` made it faster or slower, in samples; None = it was not.
    """

    kind: Literal["take", "scratch", "estimate"]
    samples: int
    words: tuple[Word, ...]
    sound: Path | None = None
    source: Path | None = None
    said: int = 0
    unstretched: int | None = None
    aligned: bool = False
