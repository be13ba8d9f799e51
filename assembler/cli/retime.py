"""`assembler retime`: write the caption files anew for the storyboard as it stands, without rendering."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from assembler.cli.output import Patience, counted, err, out, print_findings, print_json, tally


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser(
        "retime",
        help="write the caption files anew after an edit, without rendering",
        description="Resolve the storyboard as it stands and write out/draft.srt and out/draft.vtt with every cue at "
        "its new time. Nothing is rendered.",
    )
    command.add_argument("project", nargs="?", type=Path, default=Path(), help="project folder or storyboard file")
    command.add_argument("--dry-run", action="store_true", help="print the cues and write nothing")
    command.add_argument("--json", action="store_true", help="print the result as JSON")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Write the caption files; findings go to stderr."""
    from assembler.captions.files import write_srt, write_vtt
    from assembler.prepare import prepare
    from assembler.timing.timecode import clock

    prepared = prepare(options.project, say=None if options.json else Patience())
    rate = prepared.timeline.rate
    srt, vtt = prepared.folder / "out" / "draft.srt", prepared.folder / "out" / "draft.vtt"
    if not options.dry_run:
        write_srt(prepared.cues, rate, srt)
        write_vtt(prepared.cues, rate, vtt, prepared.storyboard.language)
    if options.json:
        cues = [
            {"start_frame": cue.start_frame, "end_frame": cue.end_frame, "lines": list(cue.lines),
             "segment": cue.segment, "line": cue.line}
            for cue in prepared.cues
        ]  # fmt: skip
        print_json("retime", {"written": [] if options.dry_run else [str(srt), str(vtt)], "cues": cues})
        return 0
    print_findings((f for f in prepared.findings if f.severity == "error"), to_stdout=False)
    if options.dry_run:
        for cue in prepared.cues:
            span = f"{clock(cue.start_frame / rate)} to {clock(cue.end_frame / rate)}"
            out(f"{span}  {cue.segment:16}  {' / '.join(cue.lines)}")
    else:
        out(f"{srt}\n{vtt}")
    err(f"{counted(len(prepared.cues), 'caption')}; {tally(prepared.findings)}")
    return 0
