"""`assembler figures`: the figures of each capture and of what each segment shows, as a table; a graph of them."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assembler.cli.measuring import measuring
from assembler.cli.output import err, out
from assembler.errors import UsageError

if TYPE_CHECKING:
    from fractions import Fraction

    from assembler.storyboard.model import Summary
    from assembler.timeline.model import PlacedPane, Summed, Timeline

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
    lows = "which definition of percentile lows (default: B; a segment's summary has its own)"
    command.add_argument("--lows", metavar="NAME", help=lows)
    command.add_argument("--only", metavar="ID", help="what one segment shows, without whole captures")
    command.add_argument(
        "--plot",
        type=Path,
        metavar="FILE",
        help="also draw a graph as FILE.png or FILE.svg: of the segment of --only from the first to the last moment "
        "that it shows, otherwise of whole captures",
    )
    command.add_argument(
        "--summary",
        type=Path,
        metavar="FILE",
        help="also draw a summary card as FILE.png or FILE.svg: that of the segment of --only, or of what it shows; "
        "otherwise of whole captures",
    )
    command.add_argument(
        "--graphs",
        metavar="KINDS",
        help="what the graph shows, from top to bottom, of frame-rate, frame-time and cadence "
        "(default: the segment's own graphs, or frame-rate,cadence)",
    )
    command.add_argument("--size", metavar="WxH", help="pixels of the graph or summary (default: 1920x1080)")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Measure what is not measured yet, print the table, and draw the graph that is asked for."""
    from assembler.cli.draft import known_segment
    from assembler.cli.plotting import ENDINGS, kinds_of, plot, size_of
    from assembler.cli.summing import draw_summary, summary_size, summed_captures
    from assembler.measure.figures import figures
    from assembler.measure.lows import DEFAULT, LOWS
    from assembler.measure.tables import Row, as_csv, as_json, as_markdown, as_text
    from assembler.measured import measure_all, with_logs
    from assembler.prepare import CACHE_NAME, prepare
    from assembler.render.destination import refuse_taken, sources

    lows = options.lows or DEFAULT
    if lows not in LOWS:
        raise UsageError(f"there is no definition of lows '{lows}'", mend="choose one of: " + ", ".join(LOWS))
    if options.plot is None and options.graphs:
        raise UsageError("--graphs is of a graph", mend="say where to draw it with --plot FILE.png")
    if options.plot is None and options.summary is None and options.size:
        mend = "say where to draw one with --plot FILE.png or --summary FILE.png"
        raise UsageError("--size is of a graph or a summary", mend=mend)
    kinds, size = kinds_of(options.graphs), size_of(options.size)
    if options.summary is not None:
        summary_size(options.size)
    with measuring() as progress:
        prepared = prepare(options.project, measuring=progress)
        timeline = prepared.timeline
        known_segment(options.only, timeline)
        if options.plot is not None:
            refuse_taken(options.plot, (prepared.path, *sources(timeline)), "figure", ENDINGS)
        summed: tuple[Summed, ...] = ()
        own: Summary | None = None
        if options.summary is not None:
            refuse_taken(options.summary, (prepared.path, *sources(timeline)), "summary", ENDINGS)
            summed, own = summed_captures(timeline, options.only)
        shown = [each for each in _shown(timeline) if options.only in (None, each[0])]
        wanted = {name for _, name, _, _ in shown} | {each.capture.id for each in summed}
        chosen = {name: i for name, i in timeline.captures.items() if options.only is None or name in wanted}
        found = measure_all(chosen, prepared.folder / CACHE_NAME, progress)
    found, logged = with_logs(prepared.storyboard, prepared.folder, found)
    for finding in logged:
        err(finding.what)
    rows: list[Row] = []
    if options.only is None:
        rows += [Row(name, "whole capture", "", figures(each.cadence, each.clock)) for name, each in found.items()]
    for segment, name, start_s, end_s in shown:
        each = found[name]
        rows.append(Row(name, "as shown", segment, figures(each.cadence, each.clock, start_s, end_s)))
    if not rows:
        what = "the storyboard" if options.only is None else f"segment '{options.only}'"
        raise UsageError(f"{what} shows no capture running, so there is nothing to count", mend="show one in a segment")
    if options.plot is not None:
        plot(prepared, found, options.plot, only=options.only, kinds=kinds, size=size)
        err(str(options.plot))
    if options.summary is not None:
        title, its_lows = (own.title, own.lows) if own is not None else ("", DEFAULT)
        draw_summary(prepared, found, summed, title, options.summary, size, options.lows or its_lows)
        err(str(options.summary))
    printed = {"text": as_text, "csv": as_csv, "markdown": as_markdown, "json": as_json}[options.format](rows, lows)
    out(printed.rstrip("\n"))
    return 0


def _shown(timeline: Timeline) -> list[tuple[str, str, Fraction, Fraction]]:
    """Segment, capture and capture time of every stretch that is shown running or summed up, each once."""
    seen: dict[tuple[str, str, Fraction, Fraction], None] = {}
    for placed in timeline.segments:
        for shot in placed.shots:
            for pane in shot.panes:
                if pane.capture.id in timeline.captures and not pane.held:
                    start_s, end_s = _stretch(timeline, pane, shot.span.frames)
                    seen[placed.segment.id, pane.capture.id, start_s, end_s] = None
            for each in shot.summed:
                seen[placed.segment.id, each.capture.id, each.start_s, each.end_s] = None
    return list(seen)


def _stretch(timeline: Timeline, pane: PlacedPane, frames: int) -> tuple[Fraction, Fraction]:
    return pane.wanted_s, pane.wanted_s + frames * pane.speed / timeline.rate
