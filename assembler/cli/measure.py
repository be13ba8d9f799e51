"""`assembler measure`: which pictures of a capture are new, measured from the capture itself."""

from __future__ import annotations

import argparse
import csv
import io
from collections.abc import Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assembler.cli.measuring import measuring
from assembler.cli.output import out, print_json, whole_count
from assembler.errors import UsageError

if TYPE_CHECKING:
    from assembler.measured import Measured

_HEAD = "picture,time_s,new,p_new,state,tear_first_row,tear_last_row,p_tear,by_hand"


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
    command.add_argument(
        "--doubtful",
        type=Path,
        metavar="FILE.png",
        help="draw the least certain pictures of one capture beside those before them, to decide by hand",
    )
    command.add_argument(
        "--workers",
        type=whole_count,
        metavar="N",
        help="how many captures to measure at once (default: as many as processors and memory allow)",
    )
    command.add_argument("--json", action="store_true", help="print the result as JSON")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Measure and print a summary of each capture."""
    from assembler.measured import measure_all
    from assembler.media.probe import probe

    files, cache, used = _wanted(options)
    for path, option, what, thing, ending in (
        (options.csv, "--csv", "verdicts", "table", ".csv"),
        (options.doubtful, "--doubtful", "pictures", "sheet", ".png"),
    ):
        if path is not None:
            _may_write(path, option, what, thing, ending, files, used)
    if options.csv is not None:
        _refuse_other_table(options.csv)
    with ExitStack() as shown:
        progress = None if options.json else shown.enter_context(measuring())
        infos = {name: probe(path) for name, path in files.items()}
        found = measure_all(infos, cache, progress, workers=options.workers)
    if options.csv is not None:
        from assembler.media.landing import write_whole

        write_whole(options.csv, _verdicts(next(iter(found.values()))).encode())
    doubt = None if options.doubtful is None else _draw_doubtful(next(iter(found.values())), options.doubtful)
    if options.json:
        more = {} if doubt is None else {"doubtful": doubt}
        print_json("measure", {"captures": {name: _summary(each) for name, each in found.items()}, **more})
        return 0
    for name, each in found.items():
        out(_sentence(name, each))
    if doubt is not None:
        out(_decide(doubt))
    return 0


def _may_write(
    path: Path, option: str, what: str, thing: str, ending: str, files: Mapping[str, Path], used: tuple[Path, ...]
) -> None:
    """Raises UsageError where more than one capture is named, or a file that is used would be written over."""
    from assembler.measure.overrides import by_hand_path
    from assembler.render.destination import refuse_taken

    if len(files) != 1:
        raise UsageError(f"{option} takes the {what} of one capture", mend="name one capture before it")
    refuse_taken(path, (*files.values(), *map(by_hand_path, files.values()), *used), thing, (ending,))


def _refuse_other_table(path: Path) -> None:
    """Only what this command wrote may be written over: a log that a machine made is a table, too."""
    head = _HEAD.encode()
    try:
        with path.open("rb") as file:
            ours = file.read(len(head)) == head
    except FileNotFoundError:
        return
    except OSError as error:
        raise UsageError(
            f"{path} is there and cannot be read: {error.strerror}", mend="write to another file"
        ) from error
    if not ours:
        what = f"{path} is there already and holds something else than verdicts; it would be lost"
        raise UsageError(what, mend="write to another file, or take that one away first")


def _draw_doubtful(found: Measured, path: Path) -> dict[str, object]:
    """Draw the sheet, unless every verdict is certain; what was drawn and what to write."""
    from assembler.measure.overrides import by_hand_path, unsure_pictures
    from assembler.picture.doubtful import MOST, draw_doubtful, verdict_lines
    from assembler.picture.text import default_fonts

    pictures = unsure_pictures(found.cadence, MOST)
    by_hand = by_hand_path(found.info.path)
    if not pictures:
        return {"sheet": None, "pictures": [], "by_hand_file": str(by_hand), "lines": None}
    draw_doubtful(found.info, found.cadence, pictures, by_hand, path, default_fonts())
    lines = verdict_lines(pictures, found.cadence)
    return {"sheet": str(path), "pictures": list(pictures), "by_hand_file": str(by_hand), "lines": lines}


def _decide(doubt: Mapping[str, object]) -> str:
    if doubt["sheet"] is None:
        return "every verdict in motion is certain or made by hand: there is no sheet to draw"
    return f"{doubt['sheet']}\n  verdicts as measured, to put right in {doubt['by_hand_file']}:\n  {doubt['lines']}"


def _wanted(options: argparse.Namespace) -> tuple[dict[str, Path], Path, tuple[Path, ...]]:
    """The files to measure by name, the cache folder, and files that are not to be written over.

    Names that are files need no storyboard.
    """
    from assembler.prepare import CACHE_NAME, storyboard_path
    from assembler.render.destination import named_files
    from assembler.storyboard import load_storyboard
    from assembler.storyboard.paths import resolve_inside

    named = {name: Path(name) for name in options.captures}
    if named and all(path.is_file() for path in named.values()):
        folder = options.project if options.project.is_dir() else options.project.parent
        return {name: path.resolve() for name, path in named.items()}, folder.resolve() / CACHE_NAME, ()
    path = storyboard_path(options.project)
    storyboard, folder = load_storyboard(path), path.parent.resolve()
    for name in options.captures:
        if name not in storyboard.captures:
            known = ", ".join(storyboard.captures) or "none"
            raise UsageError(f"there is no capture or file '{name}'", mend=f"the storyboard's captures are: {known}")
    wanted = options.captures or list(storyboard.captures)
    captures = [storyboard.captures[name] for name in wanted]
    files = {c.id: resolve_inside(folder, c.file, c.at("file")) for c in captures}
    return files, folder / CACHE_NAME, (path, *(folder / name for name in named_files(storyboard)))


def _verdicts(found: Measured) -> str:
    """Every picture as a row of CSV, with units in the header."""
    cadence, info = found.cadence, found.info
    text = io.StringIO()
    rows = csv.writer(text)
    rows.writerow(_HEAD.split(","))
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
    from assembler.measure.figures import figures, window_rates
    from assembler.measure.spans import pacing

    whole = figures(found.cadence, found.clock)
    windows = window_rates(found.cadence, found.clock)
    rated = int((windows.hz == windows.hz).sum())
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
        "seconds_too_compressed": float(windows.doubtful.sum() / max(int(windows.doubtful.sum()) + rated, 1)),
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
    from assembler.measure.model import TOO_COMPRESSED

    doubtful: Any = said["seconds_too_compressed"]
    if said["countable"] and doubtful >= 0.005:
        lines.append(f"  no rate for {doubtful:.0%} of its seconds: {TOO_COMPRESSED} there, or it moves too little")
    if not said["tears_measurable"]:
        lines.append(f"  tears: {said['tears_why']}")
    return "\n".join(lines)
