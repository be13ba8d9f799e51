"""`assembler master`: the programme at full quality, verified, with its caption files beside it."""

from __future__ import annotations

import argparse
import contextlib
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assembler.cli.output import Patience, as_dict, counted, err, out, print_findings, print_json, tally, whole_count

if TYPE_CHECKING:
    from assembler.prepare import Prepared
    from assembler.render.master import MasterResult
    from assembler.render.verify import Verified

# The very fastest leaves out what makes H.264 High of it.
PRESETS = ("superfast", "veryfast", "faster", "fast", "medium", "slow", "slower", "veryslow")

DESCRIPTION = """\
Render out/master.mp4 at full quality from the captures themselves, then read the finished file back to its last
picture and print what was found: pictures, times, tags, level, chapters, loudness and so on; the same goes to
out/master.report.json. A file that fails a point is kept as master.failed.mp4. Captions are a track of the file, and
files beside it. The master that was there before is kept as master.before.mp4."""


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser(
        "master", help="render the programme at full quality and verify the file", description=DESCRIPTION
    )
    command.add_argument("project", nargs="?", type=Path, default=Path(), help="project folder or storyboard file")
    command.add_argument("--codec", choices=("h264", "hevc"), default="h264", help="h264: High, 8 bits, plays anywhere "
                         "(default); hevc: Main 10, 10 bits, smaller, slower to make")  # fmt: skip
    command.add_argument("--class", dest="upload", metavar="CLASS", help="size and bit-rate cap of an upload class, "
                         "such as 1080p60 (default: the canvas's own size, capped as its class)")  # fmt: skip
    command.add_argument("--quality", type=_quality, metavar="N", help="constant quality, lower is better and larger "
                         "(default: 17 for h264, 19 for hevc)")  # fmt: skip
    command.add_argument("--preset", choices=PRESETS, help="how hard the encoder tries (default: slow for h264, medium "
                         "for hevc)")  # fmt: skip
    command.add_argument("--burn", action="store_true", help="burn captions into the picture")
    command.add_argument("--scratch", action="store_true", help="allow lines that no recording speaks")
    command.add_argument("--allow-code", action="store_true", help="run the project's own Python for `made` pictures")
    command.add_argument("--anew", action="store_true", help="make every part anew")
    command.add_argument("--out", type=Path, metavar="FILE", help="another file than out/master.mp4")
    command.add_argument("--workers", type=whole_count, metavar="N", help="how many processes make parts at once "
                         "(default: as many as processors and memory allow)")  # fmt: skip
    command.add_argument("--dry-run", action="store_true", help="say which parts would be made, and why; write nothing")
    command.add_argument("--json", action="store_true", help="print the result as JSON")
    command.set_defaults(run=run)


def _quality(text: str) -> int:
    if not text.isdigit() or int(text) > 51:
        raise argparse.ArgumentTypeError(f"'{text}' is not a whole number from 0 to 51")
    return int(text)


def run(options: argparse.Namespace) -> int:
    """Exit code 1 when check finds errors or lines have no recording; 4 when the finished file fails a point."""
    from assembler.cli.draft import permit_code, show_plan, write_captions
    from assembler.prepare import prepare, with_sound
    from assembler.render.master import MasterOptions, plan_master, render_master
    from assembler.render.progress import shower

    say = None if options.json else Patience()
    prepared, _ = with_sound(prepare(options.project, say=say), say=say)
    permit_code(prepared.timeline, allowed=options.allow_code)
    prepared = with_missing_takes(prepared, allowed=options.scratch)
    wanted = MasterOptions(
        codec=options.codec, upload=options.upload, quality=options.quality, preset=options.preset,
        burn_captions=options.burn, out=options.out, anew=options.anew, allow_code=options.allow_code,
        workers=options.workers,
    )  # fmt: skip
    parts = plan_master(prepared.timeline, prepared.cues, wanted)
    if options.dry_run:
        return show_plan(options, parts, "master")
    print_findings((found for found in prepared.findings if found.severity != "note"), to_stdout=False)
    if any(found.severity == "error" for found in prepared.findings):
        if options.json:
            print_json("master", {"made": None, "findings": [as_dict(found) for found in prepared.findings]})
        err("no master was made: mend the errors first")
        return 1
    with contextlib.ExitStack() as shown:
        shown.enter_context(contextlib.redirect_stdout(sys.stderr))  # a project's own code may print
        listener = None if options.json else shown.enter_context(shower(sys.stderr))
        result = render_master(prepared.timeline, prepared.cues, wanted, listener, fonts=prepared.fonts)
    failed = bool(result.verified.failed)
    captions = [] if failed else write_captions(prepared, result.draft)
    _report(options, prepared, result, captions)
    return 4 if failed else 0


def with_missing_takes(prepared: Prepared, *, allowed: bool) -> Prepared:
    """The same with a finding for each line that no recording speaks: an error, unless they are allowed."""
    from assembler.errors import Finding

    found = []
    for line in (line for placed in prepared.timeline.segments for line in placed.lines):
        if line.speech.kind == "take":
            continue
        how = "is spoken by the scratch voice" if line.speech.kind == "scratch" else "cannot be heard"
        what = f"line {line.number} of '{line.segment}' {how}; a master should have a take of it"
        mend = f"record takes/{line.segment}-{line.number}.wav" + ("" if allowed else ", or allow it with --scratch")
        found.append(Finding("warning" if allowed else "error", "no-take", line.line.at("text"), what, mend))
    return replace(prepared, findings=(*prepared.findings, *found))


def table(verified: Verified) -> list[str]:
    """The points, one a line; what was wanted is told where it is not what was found."""
    width = max(len(point.name) for point in verified.points)
    marks = {"ok": "ok    ", "warning": "look  ", "failed": "FAILED"}
    return [
        f"{marks[point.state]}  {point.name:{width}}  {point.found}"
        + ("" if point.state == "ok" else f"  (wanted: {point.wanted})")
        for point in verified.points
    ]


def _report(options: argparse.Namespace, prepared: Prepared, result: MasterResult, captions: list[Path]) -> None:
    from assembler.timing.timecode import clock

    draft, verified = result.draft, result.verified
    if options.json:
        print_json(
            "master",
            {
                "made": str(result.path),
                "report": str(result.report),
                "before": str(result.before) if result.before else None,
                "captions": [str(path) for path in captions],
                "frames": prepared.timeline.frames,
                "rate": str(prepared.timeline.rate),
                "parts_made": draft.made,
                "parts_kept": len(draft.shots) - draft.made,
                "wall_seconds": round(draft.whole_s, 3),
                "verified": verified.as_data(),
                "findings": [as_dict(found) for found in prepared.findings],
            },
        )
        return
    for line in table(verified):
        out(line)
    for path in (result.path, *captions, result.report):
        out(str(path))
    if result.before is not None:
        err(f"the master before is kept as {result.before}")
    frames, rate = prepared.timeline.frames, prepared.timeline.rate
    err(
        f"{clock(frames / rate)}, {counted(frames, 'frame')}, {result.path.stat().st_size / 2**20:.1f} MiB; "
        f"{draft.made} of {counted(len(draft.parts), 'part')} made in {draft.whole_s:.1f} s; {tally(prepared.findings)}"
    )
    if verified.failed:
        names = ", ".join(point.name for point in verified.failed)
        err(f"error: the finished file is not what it was to be: {names}")
        err(f"  mend: it is kept as {result.path.name}; run again with --anew, and report it if it fails again")
