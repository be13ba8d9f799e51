"""A long recording as a stream of heard words, found block by block and kept by content.

Blocks begin and end in silence and are short, so memory is bounded whatever the recording's length, and a run that
was stopped goes on where it was.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import astuple, dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from assembler.media.closing import Closing
from assembler.media.landing import write_whole
from assembler.media.recording import FRAME, Levels, Recording
from assembler.narration import ear
from assembler.narration.ear import Ear, Heeded, Read
from assembler.narration.recogniser import LEAVE, VERSION, Heard, Pcm, Recogniser, Sound, pcm16k
from assembler.narration.store import entry_name
from assembler.timing.rates import SAMPLE_RATE

_Row = TypeVar("_Row", Heard, Sound)
_Answer = TypeVar("_Answer")

SILENT_DB = -65.0
"""A recording in which nothing is louder than this holds no speech."""
_FRAMES_S = SAMPLE_RATE // FRAME
_GAP = 30  # frames of silence that part two stretches of speech
_PAD = 15
_BLOCK_S, _LONGEST_S = 20.0, 45.0


Progress = Callable[[str, int, int], None]
"""Told what is done, how many seconds (or lines) of it, and of how many."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Sound between two silences, in 10 ms frames, half-open."""

    first: int
    past: int


@dataclass(frozen=True, slots=True)
class Source:
    """A recording to search. content: its print. sounding: its stretches of sound."""

    path: Path
    content: str
    levels: Levels
    sounding: tuple[Stretch, ...]


def quiet_db(levels: Levels) -> float:
    """What is softer than this is silence: a quarter of the way from the recording's quiet to its loud, at least 6 dB
    above the quiet. Common practice, no source."""
    if not levels.db.size:
        return 0.0
    low, high = _range(levels, 10.0)
    return low + max(6.0, 0.25 * (high - low))


def _range(levels: Levels, low: float) -> tuple[float, float]:
    """A low percentile of the levels, and the 95th, or the loudest half second where hardly anything is said."""
    quiet, loud = (float(value) for value in np.percentile(levels.db, (low, 95.0)))
    few = min(levels.db.size, _FRAMES_S // 2)
    return quiet, max(loud, float(np.partition(levels.db, -few)[-few]))


def stretches(levels: Levels) -> tuple[Stretch, ...]:
    """The recording's sound, parted at silences of 0.3 s and more; none in a silent recording."""
    from scipy.ndimage import uniform_filter1d  # here, not above: it takes long to load, and few commands need it

    if levels.db.size < 5 or float(levels.db.max()) < SILENT_DB:
        return ()
    low, high = _range(levels, 5.0)
    if high - low < 6.0:
        return (Stretch(0, levels.db.size),)  # an even sound has no silence to part it at
    sounding = np.flatnonzero(uniform_filter1d(levels.db, 5) >= quiet_db(levels))
    if not sounding.size:
        return ()
    cuts = np.flatnonzero(np.diff(sounding) > _GAP)
    firsts = sounding[np.concatenate(([0], cuts + 1))]
    lasts = sounding[np.concatenate((cuts, [sounding.size - 1]))]
    # Clicks are no speech; a word is longer.
    return tuple(Stretch(int(a), int(b) + 1) for a, b in zip(firsts, lasts, strict=True) if b - a >= 8)


def blocks(found: Sequence[Stretch], frames: int) -> tuple[Stretch, ...]:
    """Stretches gathered into pieces of about 20 s to listen to at once, with a little silence around each."""
    out: list[Stretch] = []
    first: int | None = None
    for n, stretch in enumerate(found):
        first = stretch.first if first is None else first
        after = found[n + 1] if n + 1 < len(found) else None
        long = stretch.past - first >= _BLOCK_S * _FRAMES_S
        if after is None or long or after.past - first > _LONGEST_S * _FRAMES_S:
            out += _cut(max(0, first - _PAD), min(frames, stretch.past + _PAD))
            first = None
    return tuple(out)


def _cut(first: int, past: int) -> list[Stretch]:
    """A piece as it is, or, where it never falls silent, in parts that can be listened to."""
    most = round(_LONGEST_S * _FRAMES_S)
    return [Stretch(at, min(at + most, past)) for at in range(first, past, most)]


class Listener(Closing):
    """Asks the recogniser about spans of one recording; every answer is kept. A context manager.

    folder: where answers are kept. content: print of the recording. added: pronunciations the dictionary lacks. ear: a
    listener to share.
    """

    def __init__(
        self, path: Path, content: str, folder: Path, added: Mapping[str, str], ear: Ear | None = None
    ) -> None:
        self._recording = Recording(path)
        self._content, self._folder, self._added = content, folder, dict(added)
        self._recogniser: Recogniser | None = None
        self._ear = ear
        self._heeded: tuple[tuple[int, int], Heeded] | None = None

    def close(self) -> None:
        """End the helper program, and let the recording go."""
        self._recording.__exit__(None, None, None)
        if self._recogniser is not None:
            self._recogniser.close()

    def decode(
        self, first: int, past: int, sentences: Sequence[Sequence[str]], leave: float = LEAVE
    ) -> tuple[Heard, ...]:
        """The words heard in a span of frames, timed from the recording's start."""
        name = self._name("decode", first, past, json.dumps(sentences), *([] if leave == LEAVE else [str(leave)]))
        found = self._kept(
            name, lambda: self._asked().decode(self._pcm(first, past), sentences, self._added, leave=leave)
        )
        return tuple(_moved(heard, first / _FRAMES_S) for heard in found or ())

    def expect(self, added: Mapping[str, str]) -> None:
        """From now on, these pronunciations instead."""
        self._added = dict(added)

    def align(
        self, first: int, past: int, words: Sequence[str], added: Mapping[str, str] | None = None
    ) -> tuple[Heard, ...] | None:
        """When each word is said in a span of frames, timed from the recording's start; None for refused. added: other
        pronunciations, for this question."""
        ways = self._added if added is None else added
        name = self._name("align", first, past, json.dumps(words), added=ways)
        found = self._kept(name, lambda: self._asked().align(self._pcm(first, past), words, ways))
        return None if found is None else tuple(_moved(heard, first / _FRAMES_S) for heard in found)

    def sounds(self, first: int, past: int, words: Sequence[str]) -> tuple[Sound, ...] | None:
        """Every sound of words in a span of frames, timed from the recording's start; None for refused."""
        name = self._name("every sound", first, past, json.dumps(words))

        def read(row: Any) -> Sound:
            sound, word, start_s, end_s, score = row
            return Sound(str(sound), int(word), float(start_s), float(end_s), float(score))

        found = self._told(name, lambda: self._asked().sounds(self._pcm(first, past), words, self._added), read)
        start_s = first / _FRAMES_S
        return None if found is None else tuple(
            replace(sound, start_s=sound.start_s + start_s, end_s=sound.end_s + start_s) for sound in found
        )  # fmt: skip

    def hears(self, first: int, past: int) -> str:
        """What a listener who knows no script hears in a span of frames, as it writes it."""

        def ask() -> str:
            listener, heeded = self._heed(first, past)
            return listener.hears(heeded)

        return self._answer(entry_name(ear.VERSION, self._content, "hears", first, past), ask, str)

    def reads(self, first: int, past: int, texts: Sequence[str]) -> tuple[Read, ...]:
        """How texts fit a span of frames to that listener."""

        def ask() -> list[list[object]]:
            listener, heeded = self._heed(first, past)
            return [[list(read.words), list(read.stops), read.end] for read in listener.reads(heeded, texts)]

        def read(told: Any) -> tuple[Read, ...]:
            return tuple(Read(tuple(words), tuple(stops), float(end)) for words, stops, end in told)

        return self._answer(entry_name(ear.VERSION, self._content, "reads", first, past, *texts), ask, read)

    def _heed(self, first: int, past: int) -> tuple[Ear, Heeded]:
        self._ear = self._ear or Ear()
        if self._heeded is None or self._heeded[0] != (first, past):
            self._heeded = (first, past), self._ear.heed(self._pcm(first, past))
        return self._ear, self._heeded[1]

    def _answer(self, name: str, ask: Callable[[], Any], read: Callable[[Any], _Answer]) -> _Answer:
        """An answer that is kept, or asked for and kept where it is not there or damaged. ask: gives it as JSON may
        hold it; read: makes it of what JSON held."""
        path = self._folder / name[:2] / f"{name}.json"
        with contextlib.suppress(OSError, ValueError, TypeError, KeyError):
            return read(json.loads(path.read_text("utf-8"))["heard"])
        told = ask()
        write_whole(path, json.dumps({"heard": told}).encode())
        return read(told)

    def _pcm(self, first: int, past: int) -> Pcm:
        return pcm16k(self._recording.span(first * FRAME, past * FRAME))

    def _asked(self) -> Recogniser:
        self._recogniser = self._recogniser or Recogniser()
        return self._recogniser

    def _name(self, *parts: str | int, added: Mapping[str, str] | None = None) -> str:
        ways = json.dumps(sorted((self._added if added is None else added).items()))
        return entry_name(VERSION, self._content, ways, *parts)

    def _kept(self, name: str, ask: Callable[[], tuple[Heard, ...] | None]) -> tuple[Heard, ...] | None:
        def read(row: Any) -> Heard:
            word, start_s, end_s, score = row
            return Heard(str(word), float(start_s), float(end_s), float(score))

        return self._told(name, ask, read)

    def _told(
        self, name: str, ask: Callable[[], tuple[_Row, ...] | None], read: Callable[[Any], _Row]
    ) -> tuple[_Row, ...] | None:
        def rows() -> list[tuple[Any, ...]] | None:
            heard = ask()
            return None if heard is None else [astuple(each) for each in heard]

        return self._answer(name, rows, lambda told: None if told is None else tuple(read(row) for row in told))


def _moved(heard: Heard, seconds: float) -> Heard:
    return Heard(heard.word, heard.start_s + seconds, heard.end_s + seconds, heard.score)
