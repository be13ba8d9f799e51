"""The caption files of a project folder: `captions/en.srt`, which a person corrects, and what lies beside it.

    captions/en.srt           the captions, corrected by hand
    captions/en.timing.json   what they stand on; belongs into version control with them
    captions/en.aside.srt     captions that stand on nothing now
    captions/en.before.srt    the file as it was before it was last re-timed (older ones: en.before-2.srt …)
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from assembler.captions.caption_file import CaptionFile
from assembler.captions.cues import Cue, make_cues
from assembler.captions.files import frame_at, srt_text
from assembler.captions.reading_srt import read_srt
from assembler.captions.record import Record, from_json, to_json
from assembler.captions.retime import retime
from assembler.captions.retimed import Result, Retimed
from assembler.captions.rewritten import before, keep_before
from assembler.captions.styled import has_markup, styled_srt, text_of
from assembler.errors import AssemblerError, Finding, Place, UsageError
from assembler.media.landing import write_whole
from assembler.media.leftovers import clear_left_of
from assembler.timeline.model import Timeline

FOLDER = "captions"


@dataclass(frozen=True, slots=True)
class Files:
    """Where a language's captions lie in a project folder."""

    folder: Path
    language: str

    def _beside(self, end: str) -> Path:
        return self.folder / FOLDER / f"{self.language}{end}"

    @property
    def captions(self) -> Path:
        return self._beside(".srt")

    @property
    def record(self) -> Path:
        return self._beside(".timing.json")

    @property
    def aside(self) -> Path:
        return self._beside(".aside.srt")

    def before(self, number: int) -> Path:
        """The file before the last re-timing (1), the one before that (2), …"""
        return before(self.captions, number)

    def shown(self, path: Path) -> str:
        """A path as messages name it."""
        return path.relative_to(self.folder).as_posix()


@dataclass(frozen=True, slots=True)
class Captions:
    """The captions a programme is shown with. file, record: None where there is none. result: how the file
    was brought to the programme, None without file or record."""

    cues: tuple[Cue, ...]
    findings: tuple[Finding, ...] = ()
    file: CaptionFile | None = None
    record: Record | None = None
    result: Result | None = None


def read_file(files: Files) -> CaptionFile | None:
    """The person's caption file, or None. Raises UsageError when it cannot be opened."""
    try:
        return read_srt(files.captions.read_bytes())
    except FileNotFoundError:
        return None
    except OSError as error:
        raise UsageError(f"{files.captions}: could not be read: {error.strerror}") from error


def read_record(files: Files) -> Record | None:
    """The timing record, or None. Raises UsageError when it is damaged."""
    try:
        return from_json(files.record.read_text(encoding="utf-8"), files.record)
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{files.record}: could not be read: {error}") from error


def captions_of(timeline: Timeline, folder: Path) -> Captions:
    """The captions a programme is shown with: the person's file, brought to this programme, or made anew.

    Nothing is written. What is wrong with the files is a finding; the captions are then as good as can be.
    """
    files = Files(folder, timeline.storyboard.language)
    try:
        file = read_file(files)
        record = read_record(files) if file is not None else None
    except AssemblerError as error:
        return Captions(make_cues(timeline), tuple(unreadable(error)))
    if file is None:
        return Captions(make_cues(timeline))
    findings = list(file_findings(file, files))
    if record is None:
        findings.append(
            Finding(
                "warning",
                "captions-without-record",
                Place(files.shown(files.captions), 1, 1),
                "this file has no timing record, so its captions do not follow edits",
                "run `assembler retime --by-words`, or `assembler retime --was OLD.yaml` with the storyboard it was "
                "made for",
            )
        )
        return Captions(tuple(_as_they_stand(file, timeline)), tuple(findings), file)
    result = retime(timeline, record, file.cues)
    if not result.unchanged:
        findings.append(
            behind(files, result, "`assembler retime` writes it anew; drafts show the captions re-timed already")
        )
    return Captions(cues_of(result, timeline.rate), tuple(findings), file, record, result)


def unreadable(error: AssemblerError) -> Iterator[Finding]:
    """What keeps a caption file or its record from being read."""
    return (Finding("error", "captions-unreadable", None, each.what, each.mend) for each in error.problems)


def behind(files: Files, result: Result, mend: str) -> Finding:
    """That a caption file is not any more as the programme wants it."""
    what = f"the programme changed since this file was written: {summary(result)}"
    return Finding("note", "captions-behind", Place(files.shown(files.captions), 1, 1), what, mend)


def file_findings(file: CaptionFile, files: Files) -> Iterator[Finding]:
    """What had to be repaired in a caption file, and what could not be read."""
    for each in file.repairs:
        place = Place(files.shown(files.captions), each.line_number, 1)
        if each.refused:
            mend = "correct it: the file is not written again while something in it cannot be read"
            yield Finding("error", "caption-unreadable", place, each.what, mend)
        else:
            yield Finding("warning", "caption-repaired", place, each.what)


def summary(result: Result) -> str:
    """A result in a few words: '12 kept, 3 moved, 1 set aside'."""
    states = [cue.state for cue in result.cues]
    counts = [(states.count(state), str(state)) for state in ("kept", "moved", "re-timed", "reworded", "new")]
    counts.append((len(result.aside), "set aside"))
    return ", ".join(f"{count} {state}" for count, state in counts if count) or "no captions"


def cues_of(result: Result, rate: Fraction) -> tuple[Cue, ...]:
    """The result's cues as they are drawn: whole frames, tags left out."""
    return tuple(_cue(cue, result, rate) for cue in result.cues)


def _cue(cue: Retimed, result: Result, rate: Fraction) -> Cue:
    start, end = frame_at(cue.start_ms, rate), frame_at(cue.end_ms, rate)
    lines, marked = _lines(cue.lines)
    line = cue.was.line_number if cue.was is not None and cue.by_hand else 0
    if cue.first_word is None or cue.last_word is None:
        return Cue(start, max(end, start + 1), lines, cue.segment, 0, 0, -1, marked=marked, file_line=line)
    script = result.record.script
    first, last = script.line_of(cue.first_word), script.line_of(cue.last_word)
    return Cue(
        start,
        max(end, start + 1),
        lines,
        cue.segment,
        first.number,
        cue.first_word - first.first,
        cue.last_word - last.first,
        last.number if last.number != first.number else None,
        marked,
        line,
    )


def _lines(written: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Lines as they are read, and as they are written where they hold markup."""
    read = (" ".join(text_of(line).split()) for line in styled_srt(written))
    return tuple(line for line in read if line), written if has_markup(written) else ()


def _as_they_stand(file: CaptionFile, timeline: Timeline) -> Iterator[Cue]:
    rate, free = timeline.rate, 0
    for cue in file.cues:
        start, end = max(free, frame_at(cue.start_ms, rate)), min(frame_at(cue.end_ms, rate), timeline.frames)
        if start < end:
            lines, marked = _lines(cue.lines)
            yield Cue(start, end, lines, "", 0, 0, -1, marked=marked, file_line=cue.line_number)
            free = end


def write_result(files: Files, result: Result, file: CaptionFile | None) -> tuple[Path, ...]:
    """Write a result: the captions, their record, what is set aside; the old file is kept beside them.

    file: what the captions file was read as. Nothing is written where nothing changed. Returns what was
    written. Raises MissingPartError or RenderError, and then the captions are as they were.
    """
    newline, mark = (file.newline, file.mark) if file else ("\n", False)
    text = srt_text((cue.start_ms, cue.end_ms, cue.lines) for cue in result.cues)
    data = text.replace("\n", newline).encode("utf-8-sig" if mark else "utf-8")
    written: list[Path] = []
    files.captions.parent.mkdir(parents=True, exist_ok=True)
    for path in (files.captions, files.aside, files.record):
        clear_left_of(path)  # a killed run may have been writing them
    if not (result.unchanged and file is not None) and _content(files.captions) != data:
        if files.captions.exists():
            keep_before(files.captions)
        write_whole(files.captions, data)
        written.append(files.captions)
    aside = srt_text((each.start_ms, each.end_ms, each.lines) for each in result.record.aside if each.lines).encode()
    if aside and _content(files.aside) != aside:
        write_whole(files.aside, aside)
        written.append(files.aside)
    elif not aside:
        files.aside.unlink(missing_ok=True)
    record = to_json(result.record).encode()
    if _content(files.record) != record:
        write_whole(files.record, record)
        written.append(files.record)
    return tuple(written)


def _content(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except OSError:
        return None


def plain_lines(lines: Sequence[str]) -> str:
    """Caption lines in one, for tables."""
    return " / ".join(lines).replace("\u2060", "")
