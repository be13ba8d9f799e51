"""`assembler retime`: bring the caption file that a person corrected to the storyboard as it stands."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assembler.cli import retime_file
from assembler.cli.output import Patience, counted, err, out, print_findings, print_json, tally

if TYPE_CHECKING:
    from assembler.captions.caption_file import CaptionFile
    from assembler.captions.project import Files
    from assembler.captions.record import Record
    from assembler.captions.retimed import Result, Retimed
    from assembler.prepare import Prepared

DESCRIPTION = """\
Give every caption of captions/en.srt (en: the storyboard's language) its new time after the storyboard, the
narration or the footage changed. The file is yours to correct: text, line breaks, tags and times you set by hand
stay; words without a caption get one; captions whose words are gone go to captions/en.aside.srt. The first time it
writes the file. What each caption stands on is kept in captions/en.timing.json, which belongs into version control
beside it. Translations (captions/de.srt, any language) ride along, cue for cue. Nothing is rendered. Doing it twice
changes nothing the second time."""


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser(
        "retime", help="bring corrected captions to the edited storyboard", description=DESCRIPTION
    )
    command.add_argument("project", nargs="?", type=Path, default=Path(),
                         help="project folder, storyboard file, or a caption file (below)")  # fmt: skip
    command.add_argument("--dry-run", action="store_true", help="show what would change and write nothing")
    command.add_argument("--all", action="store_true", help="list the captions that stay as they are, too")
    how = command.add_mutually_exclusive_group()
    how.add_argument(
        "--was", type=Path, metavar="OLD.yaml", help="the storyboard the captions were made for, where no timing "
        "record lies beside them",
    )  # fmt: skip
    how.add_argument(
        "--by-words", action="store_true", help="give captions without a timing record the times of their words"
    )
    command.add_argument("--json", action="store_true", help="print the result as JSON")
    retime_file.add(command)
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Re-time the captions; findings go to stderr."""
    if retime_file.wanted(options):
        return retime_file.run(options)
    from assembler.captions.project import Files, write_result
    from assembler.prepare import prepare

    say = None if options.json else Patience()
    prepared = prepare(options.project, say=say)
    files = Files(prepared.folder, prepared.storyboard.language)
    file, base, result = _result(options, prepared, files, say)
    others = _translations(options, prepared, files, base)
    written: tuple[Path, ...] = ()
    if not options.dry_run:
        for its_files, its_file, its_result in others:
            written += write_result(its_files, its_result, its_file)
        # Last, because translations stand on what it stood on until then.
        written = write_result(files, result, file) + written + _write_out(prepared, result)
    if options.json:
        languages = {each.language: data(its, ()) | {"untranslated": _bare(its)} for each, _, its in others}
        print_json("retime", data(result, written) | {"translations": languages})
        return 0
    print_findings((f for f in prepared.findings if f.severity == "error"), to_stdout=False)
    for row in table(result, everything=options.all):
        out(row)
    for its_files, _, its in others:
        for row in table(its, everything=options.all):
            out(f"{its_files.language}: {row}")
        for line in _bare(its):
            out(f"{its_files.language}: no caption for {line['segment']}, line {line['line']}: {line['text']}")
    for path in written:
        out(f"wrote {path}")
    from assembler.captions.project import summary

    state = "nothing was written" if options.dry_run else "" if written else "nothing to do"
    told = [summary(result), *(f"{each.language}: {summary(its)}" for each, _, its in others)]
    err("; ".join(filter(None, (*told, state, tally(prepared.findings)))))
    return 0


def _result(
    options: argparse.Namespace, prepared: Prepared, files: Files, say: Patience | None
) -> tuple[CaptionFile | None, Record | None, Result]:
    """The file, the record of what it stood on, and what becomes of it."""
    from assembler.captions.project import read_file, read_record
    from assembler.captions.retime import first_file, retime
    from assembler.errors import UsageError
    from assembler.prepare import prepare

    timeline = prepared.timeline
    file = read_file(files)
    if file is None:
        return None, None, first_file(timeline)
    _demand_whole(file, files)
    if options.was is not None:
        before = prepare(options.was, folder=prepared.folder, say=say)
        old = first_file(before.timeline).record
        return file, old, retime(timeline, old, file.cues)
    if options.by_words:
        return file, None, retime(timeline, first_file(timeline).record, file.cues, trust_times=False)
    record = read_record(files)
    if record is None:
        raise UsageError(
            f"{files.shown(files.captions)} has no timing record ({files.record.name}) beside it",
            mend="take the record from version control; or give the storyboard the captions were made for with --was "
            "OLD.yaml; or let every caption take the times of its words with --by-words",
        )
    return file, record, retime(timeline, record, file.cues)


def _demand_whole(file: CaptionFile, files: Files) -> None:
    from assembler.errors import Place, Problem, StoryboardError

    refused = [each for each in file.repairs if each.refused]
    if refused:
        name = files.shown(files.captions)
        mend = "correct the file; it is not written again while something in it cannot be read"
        raise StoryboardError([Problem(Place(name, each.line_number, 1), each.what, mend) for each in refused])


def _translations(
    options: argparse.Namespace, prepared: Prepared, files: Files, base: Record | None
) -> list[tuple[Files, CaptionFile, Result]]:
    """What becomes of the caption files of other languages. base: what the narration's own captions stood on."""
    from assembler.captions.project import read_file, read_record
    from assembler.captions.retime import first_file
    from assembler.captions.translation import retime_translation, translations

    found = []
    for other in translations(files.folder, files.language):
        file = read_file(other)
        if file is None:
            continue
        _demand_whole(file, other)
        own = None if options.was is not None else read_record(other)
        record = own or base
        if record is None:
            if options.by_words:
                err(f"{other.shown(other.captions)}: left as it is; its words cannot be known among the narration's")
                continue
            record = first_file(prepared.timeline).record
        found.append((other, file, retime_translation(prepared.timeline, record, file.cues, own=own is not None)))
    return found


def _bare(result: Result) -> list[dict[str, Any]]:
    """The narration lines a translation has no caption for."""
    from assembler.captions.translation import record_words, untranslated

    return [
        {"segment": line.segment, "line": line.number, "text": " ".join(record_words(result.record, line))}
        for line in untranslated(result)
    ]


def _write_out(prepared: Prepared, result: Result) -> tuple[Path, ...]:
    """The files a draft would write beside it, so that a player can be given them without rendering."""
    from assembler.captions.files import write_all
    from assembler.captions.project import cues_of

    cues, rate = cues_of(result, prepared.timeline.rate), prepared.timeline.rate
    return write_all(cues, rate, prepared.folder / "out" / "draft", prepared.storyboard.language)


def table(result: Result, *, everything: bool = False) -> Iterator[str]:
    """What happens to each caption, in lines; captions that move together by the same time in one line."""
    for (state, _), group in groupby(result.cues, key=_together):
        cues = list(group)
        if state == "kept" and not any(cue.look for cue in cues):
            if everything:
                yield from (_row(cue) for cue in cues)
            continue
        if state == "moved" and len(cues) > 1 and not everything and not any(cue.look for cue in cues):
            first, last = cues[0], cues[-1]
            assert first.was and last.was
            by = f"{(first.start_ms - first.was.start_ms) / 1000:+.3f} s"
            many, ends = counted(len(cues), "caption"), retime_file.time_text(last.end_ms)
            yield f"{'moved':9}  {retime_file.time_text(first.start_ms)}  {many} to {ends}, by {by}"
            continue
        yield from (_row(cue) for cue in cues)
    for each in result.aside:
        yield f"set aside  {retime_file.time_text(each.was.start_ms)}  {_text(each.was.lines)}  ({each.why})"


def _together(cue: Retimed) -> tuple[str, object]:
    if cue.state == "moved" and cue.was and not cue.look:
        return cue.state, cue.start_ms - cue.was.start_ms
    return cue.state, None


def _row(cue: Retimed) -> str:
    was = f" (was {retime_file.time_text(cue.was.start_ms)})" if cue.was and cue.was.start_ms != cue.start_ms else ""
    hand = " [by hand]" if cue.by_hand and cue.was else ""
    look = f"\n           look: {cue.look}" if cue.look else ""
    return f"{cue.state:9}  {retime_file.time_text(cue.start_ms)}{was}  {_text(cue.lines)}{hand}{look}"


def _text(lines: Sequence[str]) -> str:
    from assembler.captions.project import plain_lines

    return plain_lines(lines)


def data(result: Result, written: Sequence[Path]) -> dict[str, Any]:
    """A result for programs."""
    cues = [
        {
            "state": cue.state,
            "start_ms": cue.start_ms,
            "end_ms": cue.end_ms,
            "lines": list(cue.lines),
            "segment": cue.segment,
            "by_hand": cue.by_hand,
            "look": cue.look,
            "was_ms": [cue.was.start_ms, cue.was.end_ms] if cue.was else None,
        }
        for cue in result.cues
    ]
    aside = [
        {"start_ms": each.was.start_ms, "end_ms": each.was.end_ms, "lines": list(each.was.lines), "why": each.why}
        for each in result.aside
    ]
    return {"written": [str(path) for path in written], "unchanged": result.unchanged, "captions": cues, "aside": aside}
