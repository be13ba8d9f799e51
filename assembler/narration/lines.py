"""Every narration line as it will be spoken: from its take, by the scratch voice, or as an estimate.

For line n of segment `intro`: the file its `take:` names, else the stretch of a recording that a person chose for it,
else `<takes folder>/intro-<n>.wav` (or another sound format), else the stretch that was proposed for it, else the
scratch voice, else the estimate. Sound is kept as it was spoken, trimmed only; how loud it is in
the programme is decided by the mix, which levels all takes together.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import Literal

from assembler.errors import Finding, MediaError, MissingPartError, NarrationError, StoryboardError
from assembler.media.takes import load_take
from assembler.narration import store
from assembler.narration.estimate import estimate
from assembler.narration.pace import Pace, fit
from assembler.narration.scratch import INSTALL, VERSION, ScratchVoice, available
from assembler.narration.speech import Speech
from assembler.narration.spoken import SpokenToken, has_rules, spoken_form
from assembler.narration.stretch import change_of, stretched
from assembler.narration.take_use import ChosenTakes
from assembler.narration.take_words import Asked, TakeWords
from assembler.narration.takes import EXTENSIONS, TRIM_VERSION, TakesFolder, is_clipped, list_takes, speech_span
from assembler.storyboard.model import Line, Placed, Segment, Storyboard
from assembler.storyboard.paths import resolve_inside
from assembler.timing.rates import SAMPLE_RATE

TOO_FAST_WPM = 200
"""Above this many spoken words a minute listeners lose technical content (common practice, no source)."""

Progress = Callable[[int, int], None]
Severity = Literal["error", "warning", "note"]


@dataclass(frozen=True, slots=True)
class VoiceResult:
    """speech: by segment id and line number from 1, one for every line. findings: in the storyboard's order.
    pace: the reader's, next to the scratch voice's (or the estimate's), from the takes there are."""

    speech: Mapping[tuple[str, int], Speech]
    findings: tuple[Finding, ...]
    pace: Pace = field(default_factory=Pace)


def voice(storyboard: Storyboard, folder: Path, cache: Path, *, progress: Progress | None = None) -> VoiceResult:
    """Voice all lines of a storyboard.

    folder: the project's folder; no take outside it is opened. cache: where sound is kept between runs.
    progress: called with lines done and lines in all. A line that cannot be voiced as asked becomes a finding and is
    voiced by the next way; raises MissingPartError only when the cache cannot be written.
    """
    with _Reader(storyboard, folder, cache) as reader:
        speech = {}
        lines = [(segment, n, line) for segment in storyboard.segments for n, line in enumerate(segment.say, start=1)]
        # Takes are listened to side by side: first all are asked about, then each is waited for.
        asked = [reader.line(*each) for each in lines]
        for (segment, number, line), first in zip(lines, asked, strict=True):
            said = reader.heard(first, line)
            reader.time(said, line)
            speech[segment.id, number] = stretched(said, change_of(line, storyboard), cache)
            if progress:
                progress(len(speech), len(lines))
        reader.look_at_the_rest()
        return VoiceResult(speech, tuple(reader.findings), fit(reader.recorded))


@dataclass(frozen=True, slots=True)
class _Recorded:
    """A take that is being listened to. at: how many findings there were before what is found in it."""

    asked: Asked
    path: Path
    at: int


class _Reader:
    """One run over a storyboard's lines."""

    def __init__(self, storyboard: Storyboard, folder: Path, cache: Path) -> None:
        self._storyboard = storyboard
        self._folder = folder.resolve()
        self._cache = cache
        self._pace = storyboard.narration.pace
        self._language = storyboard.language
        self._used: set[Path] = set()
        self._without: list[str] = []  # names that takes of lines without one would have
        self._voice: ScratchVoice | None = None
        self._no_voice = storyboard.narration.voice != "scratch"
        self.findings: list[Finding] = []
        self.recorded: list[tuple[float, float]] = []  # seconds as predicted, and as recorded
        self._unrecorded: list[float] = []  # seconds as predicted
        self._takes = self._list_takes()
        self._chosen = ChosenTakes(storyboard, self._folder, self.findings.append)
        self._heard: list[Finding] = []
        self._put_in = 0
        self._words = TakeWords(storyboard, cache, self._heard.append)

    def __enter__(self) -> _Reader:
        return self

    def __exit__(self, *_: object) -> None:
        self._words.close()
        if self._voice:
            self._voice.close()

    def line(self, segment: Segment, number: int, line: Line) -> Speech | _Recorded:
        where = f"line {number} of segment '{segment.id}'"
        key = f"{segment.id}-{number}"
        entry = self._chosen.entries.get(key) if line.take is None else None
        speech = self._from_choice(key, line, where) if entry and entry.by_hand else None
        if speech is None:
            path = self._take_path(segment, number, line, where)
            speech = self._from_take(path, line, where) if path else None
        if speech is None and entry and not entry.by_hand:
            speech = self._from_choice(key, line, where)
        return speech or self._from_scratch(line, where) or estimate(self._said(line), self._pace, self._language)

    def heard(self, said: Speech | _Recorded, line: Line) -> Speech:
        """A line with the words that were found in its take; findings go where the line's own are."""
        if isinstance(said, Speech):
            return said
        take = said.asked.take
        words, aligned = self._words.answer(said.asked)
        at = said.at + self._put_in
        self.findings[at:at] = self._heard
        self._put_in += len(self._heard)
        self._heard.clear()
        return Speech("take", take.samples, words, take.sound, said.path, _count(said.asked.tokens), aligned=aligned)

    def _said(self, line: Line) -> tuple[SpokenToken, ...]:
        """What is said for a line's written words."""
        return spoken_form(line.text, self._storyboard.lexicon, spoken=line.spoken, language=self._language)

    def time(self, speech: Speech, line: Line) -> None:
        """Note what a line's length tells of the reader's pace, or that it has to be foretold."""
        if speech.kind != "take":
            self._unrecorded.append(speech.samples / SAMPLE_RATE)
        elif speech.aligned:
            heard = self._from_scratch(line, "its length") if available() else None
            predicted = heard or estimate(self._said(line), self._pace, self._language)
            self.recorded.append((predicted.samples / SAMPLE_RATE, speech.samples / SAMPLE_RATE))

    def _tell_pace(self) -> None:
        pace = fit(self.recorded)
        if not self.recorded or not self._unrecorded:
            return
        rest = pace.expect_all(self._unrecorded)
        left = len(self._unrecorded)
        others = f"{left} other lines" if left > 1 else "one other line"
        doubt = "" if pace.calibrated else f"uncalibrated, with {pace.takes} of 3 takes it needs: "
        self._find(
            *("note", "pace-expected", self._storyboard.narration, "pace"),
            f"{doubt}at the pace of the recorded lines the {others} would last "
            f"{rest.seconds:.1f} s ({rest.low_s:.1f} to {rest.high_s:.1f}), now {sum(self._unrecorded):.1f} s",
            f"set pace to {round(self._pace / pace.factor)} for a draft of the right length" if pace.calibrated else "",
        )

    def look_at_the_rest(self) -> None:
        """What is to be said of the narration as a whole."""
        self._tell_pace()
        if self._pace > TOO_FAST_WPM and self._storyboard.narration.voice == "scratch":
            self._find(
                *("warning", "pace-fast", self._storyboard.narration, "pace"),
                f"a pace of {self._pace} words a minute is too fast to follow",
                f"set pace to {TOO_FAST_WPM} or less; read-aloud technical text is usually 140 to 180",
            )
        figures = any(re.search(r"\d", line.text) for segment in self._storyboard.segments for line in segment.say
                      if line.spoken is None)  # fmt: skip
        if figures and not has_rules(self._language):
            self._find(
                *("note", "spoken-no-rules", self._storyboard, "language"),
                f"there are no rules for reading figures in '{self._language}': they are said as they are written",
                "`assembler check --spoken` shows the lines; use lexicon: and spoken: for their figures",
            )
        for paths in self._takes.files.values():
            for path in paths:
                if path.resolve() not in self._used:
                    self._find(
                        *("note", "take-unused", self._storyboard.narration, "takes"),
                        f"no line uses {_shown(path, self._folder)}",
                        self._rename(path),
                    )

    def _rename(self, path: Path) -> str:
        """How a recording that no line uses could be named."""
        stems = {stem.casefold(): stem for stem in self._without}
        near = get_close_matches(path.stem.casefold(), stems, n=1, cutoff=0.75)
        if near:
            return f"did you mean {stems[near[0]]}{path.suffix}? names are <segment id>-<line number>"
        return "name it <segment id>-<line number>, point a line's take: at it, or search it with `assembler takes`"

    def _list_takes(self) -> TakesFolder:
        written = self._storyboard.narration.takes
        folder = self._folder / written
        if self._inside(folder):
            return list_takes(folder)
        self._find(
            *("error", "take-outside", self._storyboard.narration, "takes"),
            f"the takes folder '{written}' lies outside the project",
            "move the recordings into the project's folder",
        )
        return TakesFolder(folder, {})

    def _inside(self, path: Path) -> bool:
        return path.resolve().is_relative_to(self._folder)

    def _take_path(self, segment: Segment, number: int, line: Line, where: str) -> Path | None:
        if line.take is None:
            found = self._takes.files.get(f"{segment.id}-{number}", ())
            self._used.update(path.resolve() for path in found)
            for outside in (path for path in found if not self._inside(path)):
                self._find(
                    *("warning", "take-outside", line, ""),
                    f"{where}: {_shown(outside, self._folder)} is a link that leads outside the project",
                    "put the recording itself into the takes folder",
                )
            found = tuple(path for path in found if self._inside(path))
            if not found:
                self._missed(f"{segment.id}-{number}", line, where)
                return None
            if len(found) == 1:
                return found[0]
            names = ", ".join(path.name for path in found)
            self._find(
                *("error", "take-ambiguous", line, ""),
                f"{where} has several takes: {names}",
                "keep one, or name the one you mean with take:",
            )
            return None
        path = self._named(line.take, line, where)
        if path is None:
            return None
        self._used.add(path.resolve())
        if path.suffix.casefold() not in EXTENSIONS:
            self._find(
                *("error", "take-unusable", line, "take"),
                f"{where}: '{line.take}' is not in a sound format that takes may have",
                f"use one of {', '.join(sorted(end[1:] for end in EXTENSIONS))}",
            )
            return None
        return path

    def _missed(self, stem: str, line: Line, where: str) -> None:
        """Note a line without a take, and a recording of it in another format."""
        self._without.append(stem)
        if other := self._takes.others.get(stem):
            self._find(
                *("warning", "take-format", line, ""),
                f"{where}: {_shown(other, self._folder)} is not in a sound format that takes may have",
                f"save it as {stem}.wav or {stem}.flac",
            )

    def _named(self, written: str, line: Line, where: str) -> Path | None:
        """The file of a `take:`, looked for from the storyboard's folder, then in the takes folder."""
        place = line.at("take")
        try:
            return resolve_inside(self._folder, written, place)
        except StoryboardError as fault:
            problem = fault.problems[0]
        if self._inside(self._takes.folder):
            with contextlib.suppress(StoryboardError):
                return resolve_inside(self._takes.folder, written, place)
        self._find("error", "take-missing", line, "take", f"{where}: {problem.what}", problem.mend)
        return None

    def _from_take(self, path: Path, line: Line, where: str) -> _Recorded | None:
        name = store.entry_name("take", TRIM_VERSION, store.file_hash(path))
        stored = store.find(self._cache, name)
        shown = _shown(path, self._folder)
        if stored is None:
            try:
                samples = load_take(path)
            except MediaError as fault:
                problem = fault.problems[0]
                self._find("error", "take-unusable", line, "take", f"{where}: {problem.what}", problem.mend)
                return None
            span = speech_span(samples)
            if span is None:
                self._find(
                    *("error", "take-silent", line, "take"),
                    f"{where}: nothing is said in {shown}",
                    "record it again, or take the file away to hear the scratch voice",
                )
                return None
            stored = store.keep(self._cache, name, samples[span[0] : span[1]], clipped=is_clipped(samples))
        return self._recorded(stored, path, line, where)

    def _from_choice(self, key: str, line: Line, where: str) -> _Recorded | None:
        found = self._chosen.stretch(key, line, where, self._cache)
        if found is None:
            return None
        self._used.add(found[1].resolve())
        return self._recorded(*found, line, where)

    def _recorded(self, stored: store.Stored, path: Path, line: Line, where: str) -> _Recorded:
        shown = _shown(path, self._folder)
        if stored.clipped:
            self._find(
                *("warning", "take-clipped", line, "take"),
                f"{where}: {shown} is clipped",
                "record it again at a lower level; what is cut off cannot be brought back",
            )
        return _Recorded(self._words.ask(stored, self._said(line), line, where), path, len(self.findings))

    def _from_scratch(self, line: Line, where: str) -> Speech | None:
        tokens = self._said(line)
        if self._no_voice or not _count(tokens):
            return None
        speaker = self._storyboard.narration.speaker
        said = "\n".join(f"{token.voiced} {token.trailing}" for token in tokens)
        name = store.entry_name("scratch", VERSION, self._language, speaker, self._pace, line.text, said)
        stored = store.find(self._cache, name)
        if stored is None:
            try:
                if self._voice is None:
                    rates = store.KeptRates(self._cache, VERSION, self._language, speaker)
                    self._voice = ScratchVoice(self._language, speaker=speaker, rates=rates)
                spoken = self._voice.speak(tokens, self._pace)
            except MissingPartError:
                self._no_voice = True
                self._find(
                    *("note", "scratch-voice-missing", self._storyboard.narration, "voice"),
                    "the scratch voice is not installed: lines without a take are silent and their lengths estimated",
                    INSTALL,
                )
                return None
            except LookupError:
                self._no_voice = True
                self._without_voice(speaker)
                return None
            except NarrationError as fault:
                self._find("warning", "scratch-voice-failed", line, "", f"{where} is silent: {fault.problems[0].what}")
                return None
            if not spoken.samples.size:
                return None
            stored = store.keep(self._cache, name, spoken.samples, spoken.words)
        return Speech("scratch", stored.samples, stored.words, stored.sound, said=_count(tokens))

    def _without_voice(self, speaker: str) -> None:
        """Say once that there is no voice of the language, or none of the name asked for."""
        if not speaker:
            self._find(
                *("note", "scratch-voice-language", self._storyboard, "language"),
                f"the scratch voice does not speak '{self._language}': lines without a take are silent",
                "record takes, or set voice: none",
            )
            return
        assert self._voice
        voices, variants = self._voice.choices()
        base, _, variant = speaker.partition("+")
        # Only a language with its country: the dialects behind `-x-` fail on common words.
        plain = [name for name in voices if re.fullmatch(r"[a-z]{2,3}(-[a-z]{2}|-[0-9]{3})?", name)]
        own = [name for name in plain if name.split("-")[0] == self._language.casefold().split("-")[0]]
        short = [name for name in variants if len(name) == 2]
        known = base.casefold() in voices
        near = get_close_matches(variant if known else base, variants if known else voices, n=1)
        meant = f"did you mean {near[0]}? " if near else ""
        self._find(
            *("error", "scratch-voice-unknown", self._storyboard.narration, "voice"),
            f"the scratch voice has no voice '{speaker}': lines without a take are silent",
            f"{meant}voices: {', '.join(own or plain)}; behind a +, variants: {', '.join(short)}",
        )

    def _find(self, severity: Severity, code: str, at: Placed, key: str, what: str, mend: str = "") -> None:
        self.findings.append(Finding(severity, code, at.at(key), what, mend))


def _count(tokens: Sequence[SpokenToken]) -> int:
    return sum(len(token.words) for token in tokens)


def _shown(path: Path, folder: Path) -> str:
    return path.relative_to(folder).as_posix() if path.is_relative_to(folder) else str(path)
