"""`assembler measure`: which pictures of a capture are new, measured from the capture itself."""

from __future__ import annotations

import argparse
import csv
import io
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assembler.cli.measuring import measuring
from assembler.cli.output import out, print_json
from assembler.errors import UsageError

if TYPE_CHECKING:
    from assembler.measured import Measured


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser(
        "measure",
        help="measure which pictures of a capture are new",
        description="Measure captures: for every picture whether it is new, what can be counted, and where it is torn. "
        "Results are kept in .assembler/ and taken up again; draft and check measure what they need by themselves.",
    )
    command.add_argument("captures", nargs="*", metavar="CAPTURE", help="ids of captures (default: all) or video files")
    command.add_argument("--project", type=Path, default=Path(), help="project folder or storyboard file")
    command.add_argument("--csv", type=Path, metavar="FILE", help="write every picture's verdict of one capture as CSV")
    command.add_argument("--json", action="store_true", help="print the result as JSON")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Measure and print a summary of each capture."""
    from assembler.measured import measure
    from assembler.media.probe import probe

    files, cache = _wanted(options)
    if options.csv is not None and len(files) != 1:
        raise UsageError("--csv takes the verdicts of one capture", mend="name one capture before it")
    found: dict[str, Measured] = {}
    with ExitStack() as shown:
        progress = None if options.json else shown.enter_context(measuring())
        for name, path in files.items():
            found[name] = measure(name, probe(path), cache, progress)
    if options.csv is not None:
        from assembler.media.landing import landing

        with landing(options.csv) as partial:
            partial.write_text(_verdicts(next(iter(found.values()))), encoding="utf-8", newline="")
    if options.json:
        print_json("measure", {"captures": {name: _summary(each) for name, each in found.items()}})
        return 0
    for name, each in found.items():
        out(_sentence(name, each))
    return 0


def _wanted(options: argparse.Namespace) -> tuple[dict[str, Path], Path]:
    """The files to measure by name, and the cache folder. Names that are files need no storyboard."""
    from assembler.prepare import CACHE_NAME, storyboard_path
    from assembler.storyboard import load_storyboard
    from assembler.storyboard.paths import resolve_inside

    named = {name: Path(name) for name in options.captures}
    if named and all(path.is_file() for path in named.values()):
        folder = options.project if options.project.is_dir() else options.project.parent
        return {name: path.resolve() for name, path in named.items()}, folder.resolve() / CACHE_NAME
    path = storyboard_path(options.project)
    storyboard, folder = load_storyboard(path), path.parent.resolve()
    for name in options.captures:
        if name not in storyboard.captures:
            known = ", ".join(storyboard.captures) or "none"
            raise UsageError(f"there is no capture or file '{name}'", mend=f"the storyboard's captures are: {known}")
    wanted = options.captures or list(storyboard.captures)
    captures = [storyboard.captures[name] for name in wanted]
    return {c.id: resolve_inside(folder, c.file, c.at("file")) for c in captures}, folder / CACHE_NAME


def _verdicts(found: Measured) -> str:
    """Every picture as a row of CSV, with units in the header."""
    cadence, info = found.cadence, found.info
    text = io.StringIO()
    rows = csv.writer(text)
    head = "picture,time_s,new,p_new,state,tear_first_row,tear_last_row,p_tear,by_hand"
    rows.writerow(head.split(","))
    names = _state_names()
    for k in range(info.pictures):
        torn = cadence.tear_first_row[k] >= 0
        p_tear = float(cadence.p_tear[k])
        rows.writerow(
            [
                k,
                f"{float(info.time_s(k)):.6f}",
                int(cadence.is_new[k]),
                f"{float(cadence.p_new[k]):.4f}",
                names[int(cadence.state[k])],
                int(cadence.tear_first_row[k]) if torn else "",
                int(cadence.tear_last_row[k]) if torn else "",
                f"{p_tear:.4f}" if p_tear == p_tear else "",
                int(cadence.manual[k]),
            ]
        )
    return text.getvalue()


def _state_names() -> dict[int, str]:
    from assembler.measure.model import State

    return {int(state): state.name.lower() for state in State}


def _summary(found: Measured) -> dict[str, object]:
    from assembler.measure.figures import figures
    from assembler.measure.spans import pacing

    whole = figures(found.cadence, found.clock)
    refresh = found.clock.refresh()
    paced = pacing(found.cadence, found.clock)
    average = whole.average_hz
    return {
        "file": str(found.info.path),
        "pictures": found.info.pictures,
        "refresh_hz": float(refresh) if refresh else None,
        "countable": found.cadence.reliable,
        "why": found.cadence.why,
        "tears_measurable": found.cadence.tears_measurable,
        "tears_why": found.cadence.tears_why,
        "new_pictures_a_second": {"value": average.value, "low": average.low, "high": average.high, "why": average.why},
        "shares": {name: getattr(whole.shares, name) for name in ("moving", "still", "dark", "undecided")},
        "by_hand": int(found.cadence.manual.sum()),
        "locked": [
            {"name": span.name, "even": span.even, "start_s": float(span.start_s), "end_s": float(span.end_s)}
            for span in paced.locked
        ],
        "hitches": len(paced.hitches),
    }


def _sentence(name: str, found: Measured) -> str:
    said = _summary(found)
    shares: Any = said["shares"]
    parts = ", ".join(f"{key} {share:.0%}" for key, share in shares.items() if share >= 0.005)
    average: Any = said["new_pictures_a_second"]
    if average["value"] is None:
        rate = f"not counted: {average['why'] or said['why']}"
    else:
        rate = f"{average['value']:.2f} new pictures a second [{average['low']:.2f}, {average['high']:.2f}]"
    lines = [f"{name}: {said['pictures']} pictures; {parts or 'nothing to judge'}; {rate}"]
    for span in said["locked"]:  # type: ignore[attr-defined]
        pace = "even" if span["even"] else "uneven"
        lines.append(f"  {span['start_s']:8.2f} to {span['end_s']:8.2f} s  locked at {span['name']}, {pace}")
    if not said["tears_measurable"]:
        lines.append(f"  tears: {said['tears_why']}")
    return "\n".join(lines)
