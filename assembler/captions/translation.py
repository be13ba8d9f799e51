"""Bring a translation's caption file along with the narration it translates.

Its words are another language's, so each cue belongs to the words that were said while it showed. Where they go, it
goes, with the times it was given beside them; its text is never changed. Its cues may be split otherwise than those
of the narration's own language.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from assembler.captions.allocating import many_objects
from assembler.captions.binding import Bound
from assembler.captions.caption_file import FileCue
from assembler.captions.files import millisecond
from assembler.captions.fresh import seen_words
from assembler.captions.project import FOLDER, Files, behind, file_findings, read_file, read_record, unreadable
from assembler.captions.record import Record, RecordedCue, layout_print
from assembler.captions.retime import Retiming, limits_of, unchanged
from assembler.captions.retimed import Result
from assembler.captions.script import ScriptLine, script_of
from assembler.captions.standing import Standing
from assembler.errors import AssemblerError, Finding, Place
from assembler.timeline.model import Timeline

_LANGUAGE = re.compile(r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*")


def translations(folder: Path, language: str) -> tuple[Files, ...]:
    """The caption files of other languages in a project folder, by their language tag."""
    found = (path.stem for path in (folder / FOLDER).glob("*.srt") if path.is_file())
    return tuple(Files(folder, tag) for tag in sorted(found) if tag != language and _LANGUAGE.fullmatch(tag))


def language_of(path: Path) -> str:
    """The language a caption file's name tells of: `de` of captions/de.srt; empty where it is none."""
    found = re.fullmatch(r"(?:.*[._-])?([a-z]{2,3}(?:-[A-Z]{2})?)", path.stem)
    return found[1] if found else ""


@many_objects()
def retime_translation(timeline: Timeline, record: Record, cues: Sequence[FileCue], *, own: bool = True) -> Result:
    """Bring a translation's cues, in the file's order, from the programme of `record` to `timeline`.

    own: False where the translation has no record yet and `record` is that of the narration's language, as it was
    when the file fitted it.
    """
    if not own:
        record = replace(record, cues=(), dropped=(), aside=())
    bound = list(_bind(record, cues))
    limits = limits_of(timeline)
    script = script_of(timeline)
    if record.layout == layout_print(timeline, limits, script):
        return unchanged(record, bound, ())
    return _Riding(timeline, limits, script, record, bound, ()).run()


def untranslated(result: Result) -> tuple[ScriptLine, ...]:
    """The narration lines that no cue of a translation stands on."""
    script = result.record.script
    covered = {
        id(script.line_of(word))
        for cue in result.cues
        if cue.first_word is not None and cue.last_word is not None
        for word in range(cue.first_word, cue.last_word + 1)
    }
    return tuple(line for line in script.lines if id(line) not in covered)


def translation_findings(timeline: Timeline, folder: Path, base: Record | None) -> Iterator[Finding]:
    """Caption files of other languages that cannot be read, or that the programme has left behind.

    base: what the captions of the narration's language stand on, for a translation without a record of its own.
    """
    for files in translations(folder, timeline.storyboard.language):
        try:
            file, own = read_file(files), read_record(files)
        except AssemblerError as error:
            yield from unreadable(error)
            continue
        if file is None:
            continue
        yield from file_findings(file, files)
        record = own or base
        if record is None:
            continue  # the captions it belongs to have no record either, which is said of them
        result = retime_translation(timeline, record, file.cues, own=own is not None)
        bare = untranslated(result)
        if not result.unchanged:
            yield behind(files, result, "`assembler retime` moves its captions along")
        if bare:
            some = " ".join(record_words(result.record, bare[0]))
            what = f"{_counted(len(bare))} no caption in '{files.language}'; the first: \"{some}\""
            head = Place(files.shown(files.captions), 1, 1)
            yield Finding("note", "captions-untranslated", head, what, "write them into the file where they are said")


def record_words(record: Record, line: ScriptLine) -> Sequence[str]:
    """The words of a narration line of a record's script."""
    return record.script.words[line.first : line.stop]


def _counted(lines: int) -> str:
    return "a line of the narration has" if lines == 1 else f"{lines} lines of the narration have"


class _Riding(Retiming):
    """One run over a translation: cues follow their words, and nothing is laid anew."""

    # Few words of a narration are covered by no cue: one that was set aside may lay hold of alike words too easily.
    CAREFUL = True

    def laid(self) -> list[RecordedCue]:
        script, frames = self.script, self.timeline.frames
        return [
            RecordedCue(0, 0, (), one.first, one.last)
            for one in sorted(self.stands.standing, key=lambda one: one.first)
            if script.starts[one.first] < frames
        ]

    def text(self, one: Standing, cue: RecordedCue) -> tuple[tuple[str, ...], str]:
        if one.aside is not None:
            return one.aside.lines, ""
        bound = one.bound
        assert bound is not None and bound.first_word is not None and bound.last_word is not None
        old = seen_words(self.record.script, bound.first_word, bound.last_word)
        new = seen_words(self.script, one.first, one.last)
        return bound.cue.lines, "" if old == new else f"the narration now says: {' '.join(new)}"


def _bind(record: Record, cues: Sequence[FileCue]) -> Iterator[Bound]:
    """Each cue with the words said while it shows, none of them twice."""
    script, rate = record.script, record.rate
    known = {(cue.start_ms, cue.end_ms): cue for cue in record.cues}
    middles = sorted(
        (millisecond(script.starts[word], rate) + millisecond(script.ends[word], rate), word)
        for word in range(len(script.words))
    )
    free = 0
    for cue in cues:
        was = known.get((cue.start_ms, cue.end_ms))
        if was is not None and (was.first_word is None or was.first_word >= free):
            if was.last_word is not None:
                free = was.last_word + 1
            yield Bound(cue, was.first_word, was.last_word, was, was.in_ms, was.out_ms)
            continue
        low, high = (bisect_left(middles, (2 * time_ms, -1)) for time_ms in (cue.start_ms, cue.end_ms))
        words = sorted(word for _, word in middles[low:high] if word >= free)
        if not words:
            yield Bound(cue)
            continue
        ids = [script.segment_of(word) for word in words]
        most = max(set(ids), key=lambda name: (ids.count(name), -ids.index(name)))
        mine = [word for word, name in zip(words, ids, strict=True) if name == most]
        first, last = mine[0], mine[-1]
        free = last + 1
        in_ms = cue.start_ms - millisecond(script.starts[first], rate)
        yield Bound(cue, first, last, None, in_ms, cue.end_ms - millisecond(script.ends[last], rate))
