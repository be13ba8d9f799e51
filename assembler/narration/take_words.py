"""The words of accepted takes: found in the sound where that can be trusted, else estimated, and which of the two.

Several takes are listened to at once, each by a recogniser of its own.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from assembler.errors import Finding, MissingPartError, NarrationError
from assembler.media.processes import processors
from assembler.narration.align import Aligner, Alignment
from assembler.narration.estimate import spread
from assembler.narration.recogniser import INSTALL
from assembler.narration.speech import Word
from assembler.narration.spoken import SpokenToken, plain, spoken_form, written_times
from assembler.narration.store import Stored
from assembler.storyboard.model import Line, Segment, Storyboard

_LONGEST_SHOWN = 90
_MOST_AT_ONCE = 4  # a recogniser takes some 100 MiB
Find = Callable[[Finding], None]


@dataclass(frozen=True, slots=True)
class Asked:
    """A take that is being listened to. where: what messages call its line. found: None where nobody listens."""

    take: Stored
    tokens: tuple[SpokenToken, ...]
    line: Line
    where: str
    found: Future[Alignment] | None


class TakeWords:
    """Word times of a storyboard's takes. cache: where alignments are kept. find: told every finding.

    First `ask` for every take, then `answer`: so several are listened to at once.
    """

    def __init__(self, storyboard: Storyboard, cache: Path, find: Find) -> None:
        self._storyboard, self._cache, self._find = storyboard, cache, find
        self._pool = ThreadPoolExecutor(min(processors(), _MOST_AT_ONCE))
        self._mine = threading.local()
        self._aligners: list[Aligner] = []
        self._why_not = "" if storyboard.language.casefold().split("-")[0] == "en" else "language"
        self._said_so = False

    def close(self) -> None:
        """End what listens, also in the middle of a take."""
        self._pool.shutdown(wait=False, cancel_futures=True)
        for aligner in self._aligners:
            aligner.close()
        self._pool.shutdown()
        for aligner in self._aligners:  # what was in the middle of a take may have begun again
            aligner.close()

    def ask(self, take: Stored, tokens: Sequence[SpokenToken], line: Line, where: str) -> Asked:
        """Begin to listen to a take."""
        found = None
        if not self._why_not:
            found = self._pool.submit(self._align, take.sound, _words(tokens), self._script(line))
        return Asked(take, tuple(tokens), line, where, found)

    def _align(self, sound: Path, words: Sequence[str], script: Sequence[Sequence[str]]) -> Alignment:
        if not hasattr(self._mine, "aligner"):
            self._mine.aligner = Aligner(self._cache)
            self._aligners.append(self._mine.aligner)
        aligner: Aligner = self._mine.aligner
        return aligner.align(sound, words, script)

    def answer(self, asked: Asked) -> tuple[tuple[Word, ...], bool]:
        """The written words of a take with their times, and whether those were found in its sound."""
        take, tokens, line, where = asked.take, asked.tokens, asked.line, asked.where
        estimated = spread(tokens, take.samples, self._storyboard.language)
        made = self._aligned(asked)
        if made is None:
            return estimated, False
        if made.verdict != "aligned":
            self._doubt(made, tokens, line, where)
            return estimated, False
        times = written_times(tokens, made.times)
        ends = [min(end, take.samples) for _, end in times]
        return tuple(
            Word(token.display, min(start, end), end)
            for token, (start, _), end in zip(tokens, times, ends, strict=True)
        ), True

    def _aligned(self, asked: Asked) -> Alignment | None:
        if asked.found is not None:
            try:
                return asked.found.result()
            except MissingPartError as fault:
                if fault.problems[0].mend != INSTALL:
                    raise
                self._why_not = "missing"
            except NarrationError as fault:
                what = f"{asked.where}: when its words are said is estimated: {fault.problems[0].what}"
                place = asked.line.at("take")
                self._find(Finding("warning", "take-not-aligned", place, what, "run the command again"))
                return None
        self._say_so_once()
        return None

    def _say_so_once(self) -> None:
        if self._said_so:
            return
        self._said_so = True
        if self._why_not == "language":
            language = self._storyboard.language
            self._find(
                Finding(
                    *("note", "takes-language", self._storyboard.at("language")),
                    f"words are found in English recordings only; in '{language}' ones their times are estimated",
                    "look at the captions of recorded lines; corrected ones are kept by `assembler retime`",
                )
            )
            return
        place = self._storyboard.narration.at("takes")
        what = "the recogniser is not installed: when the words of recorded lines are said is estimated"
        self._find(Finding("note", "recogniser-missing", place, what, INSTALL))

    def _script(self, line: Line) -> list[tuple[str, ...]]:
        """What is said in the line's own segment."""
        return [_words(self._said(other)) for other in self._segment(line).say]

    def _segment(self, line: Line) -> Segment:
        return next(part for part in self._storyboard.segments if any(other is line for other in part.say))

    def _said(self, line: Line) -> tuple[SpokenToken, ...]:
        board = self._storyboard
        return spoken_form(line.text, board.lexicon, spoken=line.spoken, language=board.language)

    def _doubt(self, made: Alignment, tokens: Sequence[SpokenToken], line: Line, where: str) -> None:
        if made.verdict == "unsayable":
            what = f"{where}: when its words are said is estimated, because {made.why}"
            mend = "write how they are said with spoken: or in the lexicon"
            self._find(Finding("warning", "take-not-aligned", line.at("text"), what, mend))
            return
        expected = plain(_words(tokens))
        if plain(made.heard.split()).casefold() == expected.casefold():
            what = f"{where}: the words were heard as written, but {made.why}; when they are said is estimated"
            mend = "listen to it; if it is right, nothing need be done: captions follow the estimate"
            self._find(Finding("warning", "take-doubtful", line.at("text"), what, mend))
            return
        heard = f"heard '{_short(plain(made.heard.split()))}'" if made.heard else "heard no word of it"
        what = (
            f"{where}: what was recorded may not be what is written ({made.why}): {heard}, "
            f"expected '{_short(expected)}'; "
            "when its words are said is estimated"
        )
        mend = "listen to it: correct the text, record it again, or write what is said with spoken:"
        self._find(Finding("warning", "take-doubtful", line.at("text"), what, mend))


def _words(tokens: Sequence[SpokenToken]) -> tuple[str, ...]:
    return tuple(word for token in tokens for word in token.words)


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 1].rsplit(" ", 1)[0] + " …"
