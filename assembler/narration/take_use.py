"""What the choices file means for a line when it is voiced: the stretch to cut out of a recording, or what is to be
said about it."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Literal

from assembler.errors import Finding, MediaError, Place, StoryboardError
from assembler.media.content import content_print
from assembler.media.recording import Recording
from assembler.narration import store
from assembler.narration.choices import FILE_NAME, Chosen, load_choices, text_print
from assembler.narration.takes import is_clipped, speech_span
from assembler.storyboard.model import Line, Storyboard
from assembler.storyboard.paths import resolve_inside
from assembler.timing.rates import SAMPLE_RATE

_CUT_VERSION = "1"
_LONGEST_S = 600
Find = Callable[[Finding], None]


class ChosenTakes:
    """A project's choices file. folder: the project's, resolved. find: told every finding."""

    def __init__(self, storyboard: Storyboard, folder: Path, find: Find) -> None:
        self._folder, self._find = folder, find
        self._name = f"{storyboard.narration.takes}/{FILE_NAME}"
        self._prints: dict[Path, str] = {}
        self.entries: dict[str, Chosen] = {}
        path = folder / self._name
        if not path.resolve().is_relative_to(folder):
            return  # the takes folder leads outside, which is a finding of its own
        try:
            self.entries = load_choices(path)
        except StoryboardError as fault:
            for problem in fault.problems:
                place = None if problem.place is None else Place(self._name, problem.place.line, problem.place.column)
                find(Finding("error", "choices-unusable", place, problem.what, problem.mend))
        keys = {f"{segment.id}-{n}" for segment in storyboard.segments for n in range(1, len(segment.say) + 1)}
        for key in self.entries.keys() - keys:
            what = f"there is no line '{key}' in the storyboard"
            mend = "write <segment id>-<line number>, or take the entry out"
            find(Finding("note", "take-choice-unused", self._place(self.entries[key]), what, mend))

    def stretch(self, key: str, line: Line, where: str, cache: Path) -> tuple[store.Stored, Path] | None:
        """The sound that the entry of a line stands for, and its recording; None, and a finding, where there is none
        or it is not to be used. Raises RenderError or MissingPartError when the cache cannot be written."""
        entry = self.entries[key]
        if not self._may_be_used(key, entry, line, where):
            return None
        assert entry.recording is not None and entry.in_s is not None and entry.out_s is not None
        severity: Literal["error", "warning"] = "error" if entry.by_hand else "warning"
        try:
            path = resolve_inside(self._folder, entry.recording, self._place(entry))
            content = self._print_of(path)
            if entry.recording_print and entry.recording_print != content[: len(entry.recording_print)]:
                what = f"{where}: {entry.recording} is not the recording it was when this take was {_decided(entry)}"
                mend = f"search it again with `assembler takes {entry.recording}`, or listen and decide by hand"
                self._find(Finding("warning", "take-recording-changed", self._place(entry), what, mend))
                if not entry.by_hand:
                    return None
            return self._cut(path, content, entry, cache), path
        except (StoryboardError, MediaError) as fault:
            code = "take-missing" if isinstance(fault, StoryboardError) and entry.by_hand else "take-unusable"
            for problem in fault.problems:
                self._find(Finding(severity, code, self._place(entry), f"{where}: {problem.what}", problem.mend))
            return None

    def _may_be_used(self, key: str, entry: Chosen, line: Line, where: str) -> bool:
        place = line.at("text")
        if entry.verdict == "missing" and entry.by_hand:
            return False
        if entry.verdict == "missing":
            what = f"{where} was not found in the recordings that were searched"
            mend = f"record it and run `assembler takes` on that, or write `by: hand` beside '{key}' in {self._name}"
            self._find(Finding("warning", "take-not-found", place, what, mend))
            return False
        if not entry.usable:
            what = f"{where} has a doubtful take, which is not used: {entry.why or 'not sure'} ({entry.where})"
            mend = f"listen to it; `assembler takes --choose {key}=NUMBER` or `verdict: chosen` in {self._name}"
            self._find(Finding("warning", "take-flagged", place, what, mend))
            return False
        if entry.text_print and entry.text_print != text_print(line.spoken or line.text):
            used = "it is spoken from it all the same" if entry.by_hand else "it is not used"
            what = f"the words of {where} changed since its take was {_decided(entry)}; {used}"
            self._find(Finding("warning", "take-text-changed", place, what, "record it anew, or put the words back"))
            return entry.by_hand
        return True

    def _cut(self, path: Path, content: str, entry: Chosen, cache: Path) -> store.Stored:
        assert entry.in_s is not None and entry.out_s is not None
        name = store.entry_name("cut", _CUT_VERSION, content, _samples(entry.in_s), _samples(entry.out_s))
        stored = store.find(cache, name)
        if stored is not None:
            return stored
        if entry.out_s - entry.in_s > _LONGEST_S:
            raise MediaError(f"the take of '{entry.key}' is longer than {_LONGEST_S // 60} minutes", mend="shorten it")
        with Recording(path) as recording:
            samples = recording.span(_samples(entry.in_s), _samples(entry.out_s))
        if speech_span(samples) is None:
            what = f"nothing is said in {entry.where}"
            raise MediaError(what, mend="put `in` and `out` right, or search the recording again")
        return store.keep(cache, name, samples, clipped=is_clipped(samples))

    def _print_of(self, path: Path) -> str:
        if path not in self._prints:
            self._prints[path] = content_print(path)
        return self._prints[path]

    def _place(self, entry: Chosen) -> Place | None:
        return None if entry.place is None else Place(self._name, entry.place.line, entry.place.column)


def _samples(seconds: Fraction) -> int:
    return round(seconds * SAMPLE_RATE)


def _decided(entry: Chosen) -> str:
    return "chosen" if entry.by_hand else "proposed"
