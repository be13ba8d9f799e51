"""`assembler check`: everything wrong with a project, with places and mends."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from assembler.cli.output import Patience, as_dict, counted, out, print_findings, print_json, tally


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser(
        "check",
        help="say everything that is wrong with a project, without rendering",
        description="Read the storyboard, its captures and takes, and say everything that is wrong: narration that "
        "does not fit, footage that is too short, captions too fast to read, and so on.",
    )
    command.add_argument("project", nargs="?", type=Path, default=Path(), help="project folder or storyboard file")
    command.add_argument("--json", action="store_true", help="print the findings as JSON")
    command.add_argument(
        "--fit", action="store_true",
        help="also print, for every segment and line, what its narration needs and what it has",
    )  # fmt: skip
    command.add_argument(
        "--spoken", action="store_true",
        help="print how every line will be said, with what to look at marked ?, and nothing else",
    )  # fmt: skip
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Exit code 1 when a finding is an error."""
    from assembler.checks.fit_table import fit_rows
    from assembler.cli.fitting import fit_data, fit_text
    from assembler.cli.sounding import sound_data, sound_line
    from assembler.prepare import prepare, with_sound
    from assembler.timeline.resolve import GAP_ID
    from assembler.timing.timecode import clock

    if options.spoken:
        return _spoken(options)
    patience = None if options.json else Patience()
    prepared, sound = with_sound(prepare(options.project, say=patience), say=patience)
    failed = any(found.severity == "error" for found in prepared.findings)
    timeline = prepared.timeline
    if options.json:
        print_json(
            "check",
            {
                "storyboard": str(prepared.path),
                "frames": timeline.frames,
                "rate": str(timeline.rate),
                "segments": [
                    {"id": p.segment.id, "start_frame": p.span.start_frame, "end_frame": p.span.end_frame,
                     "narration_frames": p.needed_frames}
                    for p in timeline.segments if p.segment.id != GAP_ID
                ],
                "gaps": [
                    {"start_frame": p.span.start_frame, "end_frame": p.span.end_frame}
                    for p in timeline.segments if p.segment.id == GAP_ID
                ],
                "captions": len(prepared.cues),
                "sound": sound_data(sound),
                "findings": [as_dict(found) for found in prepared.findings],
                **({"fit": fit_data(fit_rows(timeline, prepared.pace))} if options.fit else {}),
            },
        )  # fmt: skip
        return int(failed)
    if options.fit:
        out(fit_text(fit_rows(timeline, prepared.pace)) + "\n")
    print_findings(prepared.findings, to_stdout=True)
    length = clock(timeline.frames / timeline.rate)
    segments = counted(len(prepared.storyboard.segments), "segment")
    if sound is not None:
        out(sound_line(sound, "foreseen"))
    out(f"{prepared.path.name}: {segments}, {length}: {tally(prepared.findings)}")
    return int(failed)


def _spoken(options: argparse.Namespace) -> int:
    """Only the storyboard is read: no capture, no take. Nothing in it is an error."""
    from assembler.cli.speaking import spoken_data, spoken_text
    from assembler.prepare import storyboard_path
    from assembler.storyboard import load_storyboard

    path = storyboard_path(options.project)
    storyboard = load_storyboard(path)
    if options.json:
        print_json("check", {"storyboard": str(path), "spoken": spoken_data(storyboard)})
    else:
        out(spoken_text(storyboard, path.name))
    return 0
