"""`assembler figures`: the figures of each capture and of what each segment shows, as a table."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assembler.cli.measuring import measuring
from assembler.cli.output import out
from assembler.errors import UsageError

if TYPE_CHECKING:
    from fractions import Fraction

    from assembler.measured import Measured
    from assembler.timeline.model import PlacedPane, Timeline

FORMATS = ("text", "csv", "markdown", "json")


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser(
        "figures",
        help="print measured figures as a table",
        description="Print the figures of every capture, and of the stretch of it that each segment shows at its own "
        "speed: average rate, lows, frame times, holds, tears, with 95 % intervals.",
    )
    command.add_argument("project", nargs="?", type=Path, default=Path(), help="project folder or storyboard file")
    command.add_argument("--format", choices=FORMATS, default="text", help="how to print it (default: text)")
    command.add_argument("--json", action="store_const", dest="format", const="json", help="the same as --format json")
    command.add_argument("--lows", metavar="NAME", help="which definition of percentile lows (default: B)")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Measure what is not measured yet and print the table."""
    from assembler.measure.figures import figures
    from assembler.measure.lows import DEFAULT, LOWS
    from assembler.measure.tables import Row, as_csv, as_json, as_markdown, as_text
    from assembler.measured import measure
    from assembler.prepare import CACHE_NAME, prepare

    lows = options.lows or DEFAULT
    if lows not in LOWS:
        raise UsageError(f"there is no definition of lows '{lows}'", mend="choose one of: " + ", ".join(LOWS))
    found: dict[str, Measured] = {}
    with measuring() as progress:
        prepared = prepare(options.project, measuring=progress)
        timeline = prepared.timeline
        for name, info in timeline.captures.items():
            found[name] = measure(name, info, prepared.folder / CACHE_NAME, progress)
    rows = [Row(name, "whole capture", "", figures(each.cadence, each.clock)) for name, each in found.items()]
    for segment, name, start_s, end_s in _shown(timeline):
        each = found[name]
        rows.append(Row(name, "as shown", segment, figures(each.cadence, each.clock, start_s, end_s)))
    if not rows:
        raise UsageError("the storyboard shows no capture, so there is nothing to count", mend="show one in a segment")
    printed = {"text": as_text, "csv": as_csv, "markdown": as_markdown, "json": as_json}[options.format](rows, lows)
    out(printed.rstrip("\n"))
    return 0


def _shown(timeline: Timeline) -> list[tuple[str, str, Fraction, Fraction]]:
    """Segment, capture and capture time of every stretch that is shown running, each once."""
    seen: dict[tuple[str, str, Fraction, Fraction], None] = {}
    for placed in timeline.segments:
        for shot in placed.shots:
            for pane in shot.panes:
                if pane.capture.id in timeline.captures and not pane.held:
                    start_s, end_s = _stretch(timeline, pane, shot.span.frames)
                    seen[placed.segment.id, pane.capture.id, start_s, end_s] = None
    return list(seen)


def _stretch(timeline: Timeline, pane: PlacedPane, frames: int) -> tuple[Fraction, Fraction]:
    return pane.wanted_s, pane.wanted_s + frames * pane.speed / timeline.rate
