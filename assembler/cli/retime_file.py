"""`assembler retime FILE`: re-time a caption file by arithmetic or by a recording, without a project."""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assembler.cli.output import Patience, counted, err, out, print_json

if TYPE_CHECKING:
    from assembler.captions.hearing import Resynced
    from assembler.captions.mechanical import Change, Changed

_WAYS = ("shift", "rate", "anchor", "cut", "to")


def add(command: argparse.ArgumentParser) -> None:
    """Add the options that re-time a file of its own."""
    group = command.add_argument_group(
        "a caption file of its own",
        "With one of these, PROJECT is a SubRip or WebVTT file, wherever it lies; no storyboard is needed. They are "
        "worked out exactly, in this order: cuts, rate or anchors, shift.",
    )
    group.add_argument("--shift", metavar="TIME", help="move every caption: 1.5s, -800ms, +00:01.250")
    group.add_argument("--rate", metavar="OLD:NEW", help="the programme runs at another rate: 23.976:25")
    group.add_argument("--anchor", metavar="OLD=NEW", action="append", default=[],
                       help="this old time is that new one; at least two, straight between them")  # fmt: skip
    group.add_argument("--cut", metavar="FROM-TO", action="append", default=[],
                       help="this span of the old programme was cut out; may be given again")  # fmt: skip
    group.add_argument("--to", metavar="SPEECH.wav", type=Path,
                       help="give every caption the time at which this recording says it (English only)")  # fmt: skip
    group.add_argument("--out", metavar="FILE", type=Path, help="write here instead of over the file")


def wanted(options: argparse.Namespace) -> bool:
    """Whether the options speak of a file of its own."""
    return any(getattr(options, name) for name in _WAYS) or options.out is not None


def run(options: argparse.Namespace) -> int:
    """Re-time the file, or show what would become of it."""
    from assembler.captions.rewritten import open_captions, write_changed
    from assembler.errors import UsageError

    path: Path = options.project
    if options.was or options.by_words:
        raise UsageError("--was and --by-words are for a project's captions", mend="leave them out")
    if path.is_dir():
        raise UsageError(f"{path} is a folder", mend="name the caption file to re-time, such as captions/en.srt")
    data, file = open_captions(path)
    unsure: Sequence[Resynced] = ()
    if options.to is not None:
        changed, at, unsure = _by_ear(options, file.form, path)
    else:
        change = _change(options)
        from assembler.captions.mechanical import change_times

        changed, at = change_times(file.cues, change), change
    if not changed.cues:
        raise UsageError(f"no caption of {path} would be left", mend="see that the cuts and the shift are meant so")
    written = () if options.dry_run else write_changed(options.out or path, data, file, changed, at)
    if options.json:
        print_json("retime", _data(changed, unsure, written))
        return 0
    _print(changed, unsure, written, everything=options.all)
    for repair in file.repairs:
        err(f"{path}:{repair.line_number}: {repair.what}")
    state = "nothing was written" if options.dry_run else "" if written else "nothing to do"
    counts = [counted(len(changed.cues), "caption"), _count(changed.removed, "removed"), _count(unsure, "not sure")]
    err("; ".join(filter(None, (", ".join(filter(None, counts)), state))))
    return 0


def _count(things: Sequence[object], what: str) -> str:
    return f"{len(things)} {what}" if things else ""


def _change(options: argparse.Namespace) -> Change:
    from assembler.captions import mechanical
    from assembler.errors import UsageError

    if options.rate and options.anchor:
        raise UsageError("--rate and --anchor both say how fast time runs", mend="give one of them")
    if not any(getattr(options, name) for name in _WAYS):
        raise UsageError("--out needs to know what to change", mend="add --shift, --rate, --anchor, --cut or --to")
    try:
        return mechanical.Change(
            mechanical.read_shift(options.shift) if options.shift else Fraction(0),
            mechanical.read_rates(options.rate) if options.rate else Fraction(1),
            mechanical.read_anchors(options.anchor) if options.anchor else (),
            mechanical.read_cuts(options.cut),
        )
    except ValueError as error:
        raise UsageError(str(error)) from error


def _by_ear(options: argparse.Namespace, form: str, path: Path) -> tuple[Changed, Any, tuple[Resynced, ...]]:
    from assembler.captions.hearing import resync
    from assembler.captions.mechanical import Change, Changed
    from assembler.captions.rewritten import open_captions
    from assembler.captions.translation import language_of
    from assembler.errors import UsageError

    if any(getattr(options, name) for name in _WAYS if name != "to"):
        raise UsageError("--to finds every time by itself", mend="leave --shift, --rate, --anchor and --cut out")
    if form != "srt":
        raise UsageError(f"{path}: only SubRip files are re-timed by ear", mend="give the SubRip file")
    language = language_of(path)
    if language and language.split("-")[0].lower() != "en":
        raise UsageError(
            f"{path}: only English is recognised in recordings, and this file's name says {language}",
            mend="re-time the English captions by ear; translations follow them with `assembler retime`",
        )
    _, file = open_captions(path)
    say = None if options.json else Patience()
    tell = None if say is None else lambda done, total: say(f"listening to {options.to.name}: {done} of {total} s")
    with tempfile.TemporaryDirectory(prefix="assembler-") as cache:
        found = resync(file.cues, options.to, Path(cache), progress=tell)
    changed = Changed(tuple((each.cue, each.start_ms, each.end_ms) for each in found))
    return changed, Change(), tuple(each for each in found if each.unsure)


def _print(changed: Changed, unsure: Sequence[Resynced], written: Sequence[Path], *, everything: bool) -> None:
    from assembler.captions.project import plain_lines

    rows = list(changed.cues)
    doubts = {id(each.cue): each.unsure for each in unsure}
    ends = {0, len(rows) - 1}
    for number, (cue, start_ms, _) in enumerate(rows):
        doubt = doubts.get(id(cue), "")
        if everything or number in ends or doubt:
            by = f"{(start_ms - cue.start_ms) / 1000:+.3f} s"
            out(f"{'not sure' if doubt else 'moved':9}  {time_text(start_ms)}  by {by}  {plain_lines(cue.lines)}")
            if doubt:
                out(f"           listen: {doubt}")
        elif number == 1:
            out(f"{'…':9}  {counted(len(rows) - 2, 'caption')} between; --all lists them")
    for cue, why in changed.removed:
        out(f"removed    {time_text(cue.start_ms)}  {plain_lines(cue.lines)}  ({why})")
    for path in written:
        out(f"wrote {path}")


def time_text(milliseconds: int) -> str:
    """A time as tables show it."""
    minutes, rest = divmod(milliseconds, 60_000)
    return f"{minutes:02}:{rest / 1000:06.3f}"


def _data(changed: Changed, unsure: Sequence[Resynced], written: Sequence[Path]) -> dict[str, Any]:
    doubts = {id(each.cue): each.unsure for each in unsure}
    return {
        "written": [str(path) for path in written],
        "captions": [
            {
                "start_ms": start_ms,
                "end_ms": end_ms,
                "was_ms": [cue.start_ms, cue.end_ms],
                "lines": list(cue.lines),
                "unsure": doubts.get(id(cue), ""),
            }
            for cue, start_ms, end_ms in changed.cues
        ],
        "removed": [
            {"start_ms": cue.start_ms, "end_ms": cue.end_ms, "lines": list(cue.lines), "why": why}
            for cue, why in changed.removed
        ],
    }
