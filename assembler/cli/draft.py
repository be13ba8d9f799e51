"""`assembler draft`: render the programme quickly, with its caption files beside it."""

from __future__ import annotations

import argparse
import contextlib
import re
import sys
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assembler.cli.output import Patience, as_dict, counted, err, out, print_findings, print_json, tally, whole_count
from assembler.errors import UsageError

if TYPE_CHECKING:
    from assembler.prepare import Prepared
    from assembler.render.draft import DraftOptions, DraftResult
    from assembler.timeline.model import Timeline

DRAFT_BOX = (1280, 720)


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser(
        "draft",
        help="render the programme quickly, with its caption files beside it",
        description="Render out/draft.mp4 and write its captions beside it: out/draft.srt, out/draft.vtt and "
        "out/draft.ttml. Parts that did not change since the last draft are kept. What check would find is printed "
        "and does not stop a draft, unless footage, a take or a font cannot be read.",
    )
    command.add_argument("project", nargs="?", type=Path, default=Path(), help="project folder or storyboard file")
    command.add_argument("--size", metavar="WxH", help="size of the draft (default: the canvas, at most 1280x720)")
    command.add_argument("--only", metavar="ID", help="render one segment")
    command.add_argument("--from", dest="start", metavar="TIME", help="begin at this programme time, e.g. 12.5 s")
    command.add_argument("--to", dest="end", metavar="TIME", help="end before this programme time")
    command.add_argument("--no-captions", action="store_true", help="do not burn captions in")
    command.add_argument(
        "--soft-captions",
        action=argparse.BooleanOptionalAction,
        help="a track of captions in the file, which players can show or hide (default: where none are burnt in)",
    )
    marks = command.add_mutually_exclusive_group()
    marks.add_argument(
        "--marks",
        choices=("segment", "id", "programme"),
        default="segment",
        help="what the corner shows: the time within the segment (default); that and the segment's id, so that "
        "renaming makes its pictures anew; or the programme's timecode and the id, so that every edit makes anew "
        "all that follows it",
    )
    marks.add_argument("--no-marks", action="store_true", help="no timecode and 'scratch' in the corner")
    command.add_argument("--allow-code", action="store_true", help="run the project's own Python for `made` pictures")
    command.add_argument("--no-proxies", action="store_true", help="read every picture from the capture itself")
    command.add_argument("--anew", action="store_true", help="make every part anew")
    command.add_argument("--out", type=Path, metavar="FILE", help="another file than out/draft.mp4")
    command.add_argument(
        "--workers",
        type=whole_count,
        metavar="N",
        help="how many processes make parts at once (default: as many as processors and memory allow)",
    )
    command.add_argument("--dry-run", action="store_true", help="say which parts would be made, and why; write nothing")
    command.add_argument("--json", action="store_true", help="print the result as JSON")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Render; exit code 1 when something that blocks a draft was found."""
    from assembler.prepare import prepare
    from assembler.render.draft import plan_draft, render_draft
    from assembler.render.progress import shower

    prepared = prepare(
        options.project,
        say=None if options.json else Patience(),
        proxies=not options.no_proxies and not options.dry_run,
    )
    if prepared.blocking:
        return _refuse(prepared, options)
    wanted = draft_options(options, prepared)
    if options.dry_run:
        return show_plan(options, plan_draft(prepared.timeline, prepared.cues, wanted))
    print_findings((found for found in prepared.findings if found.severity != "note"), to_stdout=False)
    with contextlib.ExitStack() as shown:
        shown.enter_context(contextlib.redirect_stdout(sys.stderr))  # a project's own code may print
        listener = None if options.json else shown.enter_context(shower(sys.stderr))
        result = render_draft(prepared.timeline, prepared.cues, wanted, listener, fonts=prepared.fonts)
    captions = write_captions(prepared, result)
    prepared = _with_sound(prepared, result)
    _report(options, prepared, result, captions)
    return 0


def _with_sound(prepared: Prepared, result: DraftResult) -> Prepared:
    """The same with what was found when the programme was mixed, which is said now."""
    from dataclasses import replace

    from assembler.checks.sound import sound_findings
    from assembler.sound.report import MixReport

    if not isinstance(result.sound, MixReport):
        return prepared
    piece = result.span.frames < prepared.timeline.frames  # which has a loudness of its own, that nothing is aimed at
    report = replace(result.sound, programme_lufs=None) if piece else result.sound
    found = tuple(sound_findings(prepared.timeline, report))
    print_findings(found, to_stdout=False)
    return replace(prepared, findings=(*prepared.findings, *found))


def draft_options(options: argparse.Namespace, prepared: Prepared) -> DraftOptions:
    """What the command line asks of the renderer. Raises UsageError."""
    from assembler.render.draft import DraftOptions

    timeline = prepared.timeline
    known_segment(options.only, timeline)
    if options.only is not None and (options.start or options.end):
        raise UsageError("--only and --from/--to exclude each other", mend="use one of them")
    permit_code(timeline, allowed=options.allow_code, only=options.only)
    return DraftOptions(
        only=options.only,
        start_frame=_frame(options.start, "--from", timeline.rate),
        end_frame=_frame(options.end, "--to", timeline.rate),
        size=_size(options.size, timeline.width, timeline.height),
        burn_captions=False if options.no_captions else None,
        soft_captions=options.soft_captions,
        marks=not options.no_marks,
        counting=options.marks,
        out=options.out,
        anew=options.anew,
        allow_code=options.allow_code,
        workers=options.workers,
        proxies=not options.no_proxies,
    )


def known_segment(only: str | None, timeline: Timeline) -> None:
    """Raise UsageError when there is no segment of that name."""
    known = {placed.segment.id for placed in timeline.segments}
    if only is not None and only not in known:
        from difflib import get_close_matches

        near = get_close_matches(only, known, 1)
        mend = f"did you mean '{near[0]}'?" if near else "its segments are: " + ", ".join(sorted(known))
        raise UsageError(f"there is no segment '{only}'", mend=mend)


def permit_code(timeline: Timeline, *, allowed: bool, only: str | None = None) -> None:
    """Raise UsageError where the project's own code would run and may not."""
    from assembler.storyboard.model import Made

    for placed in timeline.segments:
        for shot in placed.segment.shots:
            made = shot.arrangement
            if isinstance(made, Made) and not allowed and only in (None, placed.segment.id):
                raise UsageError(
                    f"segment '{placed.segment.id}' is drawn by this project's own Python file {made.file}, "
                    "and code runs only when you allow it",
                    mend="read the file, then run again with --allow-code",
                    place=made.at("file"),
                )


def _frame(text: str | None, option: str, rate: Fraction) -> int | None:
    from assembler.timing.grammar import HOW_TO_WRITE, parse_time

    if text is None:
        return None
    try:
        return parse_time(text, rate).frames
    except ValueError as error:
        raise UsageError(f"{option}: {error}", mend=HOW_TO_WRITE) from error


def _size(text: str | None, width: int, height: int) -> tuple[int, int]:
    if text is not None:
        match = re.fullmatch(r"([0-9]{1,5})[xX×]([0-9]{1,5})", text.strip())
        if match is None:
            raise UsageError(f"--size: '{text}' is not a size", mend="write width x height, such as 1280x720")
        asked = int(match[1]), int(match[2])
        if not all(90 <= side <= 8192 for side in asked):
            raise UsageError(f"--size: a draft cannot be {text}", mend="each side can have from 90 to 8192 pixels")
        if asked[0] % 2 or asked[1] % 2:
            even = f"{asked[0] + asked[0] % 2}x{asked[1] + asked[1] % 2}"
            raise UsageError(f"--size: a draft cannot be {text}", mend=f"both sides must be even: write {even}")
        return asked
    box = DRAFT_BOX if width >= height else DRAFT_BOX[::-1]
    scale = min(Fraction(1), Fraction(box[0], width), Fraction(box[1], height))
    return int(width * scale) // 2 * 2, int(height * scale) // 2 * 2


def _refuse(prepared: Prepared, options: argparse.Namespace) -> int:
    if options.json:
        print_json("draft", {"made": None, "findings": [as_dict(found) for found in prepared.findings]})
    print_findings(prepared.blocking, to_stdout=False)
    err("no draft was made: mend these first")
    return 1


def show_plan(options: argparse.Namespace, parts: tuple[Any, ...], command: str = "draft") -> int:
    """Print which shots would be made, wholly or in part, and why."""
    from assembler.render.parts import by_shot

    shots = by_shot(parts)
    made = sum(shot.state == "made" for shot in shots)
    frames, to_make = sum(shot.frames for shot in shots), sum(shot.frames_to_make for shot in shots)
    if options.json:
        rows = [
            {"part": s.name, "frames": s.frames, "frames_to_make": s.frames_to_make, "state": s.state, "why": s.why}
            for s in shots
        ]
        print_json(command, {"parts": rows, "to_make": made, "frames": frames, "frames_to_make": to_make})
        return 0
    for shot in shots:
        if shot.state == "kept":
            out(f"keep  {shot.frames:6} frames            {shot.name}: {shot.why}")
        else:
            out(f"make  {shot.frames_to_make:6} of {shot.frames:6} frames  {shot.name}: {shot.why}")
    share = f" ({100 * to_make / frames:.0f} %)" if frames else ""
    out(
        f"{made} of {counted(len(shots), 'part')} would be made, {to_make} of {counted(frames, 'frame')}{share}; "
        "nothing was written"
    )
    return 0


def write_captions(prepared: Prepared, result: DraftResult) -> list[Path]:
    """Caption files named like the draft; those of a partial draft count from its own start."""
    from assembler.captions.files import write_all
    from assembler.captions.soft import cues_within

    cues, rate = cues_within(prepared.cues, result.span), prepared.timeline.rate
    return list(write_all(cues, rate, result.path.with_suffix(""), prepared.storyboard.language))


def _report(options: argparse.Namespace, prepared: Prepared, result: DraftResult, captions: list[Path]) -> None:
    from assembler.cli.sounding import sound_data, sound_line
    from assembler.sound.report import MixReport
    from assembler.timing.timecode import clock

    sound = result.sound if isinstance(result.sound, MixReport) else None
    frames, rate = result.span.frames, prepared.timeline.rate
    size = result.path.stat().st_size
    if options.json:
        print_json(
            "draft",
            {
                "made": str(result.path),
                "captions": [str(path) for path in captions],
                "frames": frames,
                "rate": str(rate),
                "seconds": round(float(frames / rate), 6),
                "bytes": size,
                "parts_made": result.made,
                "parts_kept": len(result.shots) - result.made,
                "frames_made": sum(shot.frames_to_make for shot in result.shots),
                "wall_seconds": round(result.whole_s, 3),
                "stage_seconds": {
                    "compose": round(result.times.paint_s, 3),
                    "draw": round(result.times.draw_s, 3),
                    "wait_for_encoder": round(result.times.wait_s, 3),
                    "encode": round(result.times.encode_s, 3),
                    "sound_and_join": round(result.join_s, 3),
                },
                "sound": sound_data(sound),
                "findings": [as_dict(found) for found in prepared.findings],
            },
        )
        return
    out(str(result.path))
    for path in captions:
        out(str(path))
    if sound is not None:
        whole = frames == prepared.timeline.frames
        err(sound_line(sound, "measured" if whole else "measured, of this piece", aimed=whole))
    length = float(frames / rate)
    err(
        f"{clock(frames / rate)}, {counted(frames, 'frame')}, {size / 2**20:.1f} MiB; "
        f"{result.made} of {counted(len(result.shots), 'part')} "
        f"made in {result.whole_s:.1f} s ({length / result.whole_s:.1f} x real time); {tally(prepared.findings)}"
    )
