"""The words of accepted takes: found in the sound where that can be trusted, else estimated, and which of the two."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from assembler.errors import Finding, MissingPartError, NarrationError
from assembler.narration.align import Aligner, Alignment
from assembler.narration.estimate import spread
from assembler.narration.recogniser import INSTALL
from assembler.narration.speech import Word
from assembler.narration.spoken import SpokenToken, plain, spoken_form, written_times
from assembler.narration.store import Stored
from assembler.storyboard.model import Line, Segment, Storyboard

_LONGEST_SHOWN = 90
Find = Callable[[Finding], None]


class TakeWords:
    """Word times of a storyboard's takes. cache: where alignments are kept. find: told every finding."""

    def __init__(self, storyboard: Storyboard, cache: Path, find: Find) -> None:
        self._storyboard, self._find = storyboard, find
        self._aligner = Aligner(cache)
        self._why_not = "" if storyboard.language.casefold().split("-")[0] == "en" else "language"
        self._said_so = False

    def close(self) -> None:
        """End what listens."""
        self._aligner.close()

    def of(self, take: Stored, tokens: Sequence[SpokenToken], line: Line, where: str) -> tuple[tuple[Word, ...], bool]:
        """The written words of a take with their times, and whether those were found in its sound."""
        estimated = spread(tokens, take.samples, self._storyboard.language)
        made = self._aligned(take, tokens, line, where)
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

    def _aligned(self, take: Stored, tokens: Sequence[SpokenToken], line: Line, where: str) -> Alignment | None:
        if not self._why_not:
            try:
                return self._aligner.align(take.sound, _words(tokens), self._script(line))
            except MissingPartError:
                self._why_not = "missing"
            except NarrationError as fault:
                what = f"{where}: when its words are said is estimated: {fault.problems[0].what}"
                self._find(Finding("warning", "take-not-aligned", line.at("take"), what, "run the command again"))
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
        heard = f"heard '{_short(plain(made.heard.split()))}'" if made.heard else "heard no word of it"
        expected = _short(plain(_words(tokens)))
        what = (
            f"{where}: what was recorded may not be what is written ({made.why}): {heard}, expected '{expected}'; "
            "when its words are said is estimated"
        )
        mend = "listen to it: correct the text, record it again, or write what is said with spoken:"
        self._find(Finding("warning", "take-doubtful", line.at("text"), what, mend))


def _words(tokens: Sequence[SpokenToken]) -> tuple[str, ...]:
    return tuple(word for token in tokens for word in token.words)


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 1].rsplit(" ", 1)[0] + " …"
