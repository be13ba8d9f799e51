"""What drafts cost, in one command and one table: runs the benchmarks of the engine one after the other.

    python benchmarks/engine.py [--quick] [--only NAME ...] [--log FILE]

Each script is run as a person would run it, prints its own table to the log, and gives the ratios that count to the
table at the end: medians of ratios within one run of that script, in which the ways take turns. Nothing else should run
meanwhile. It takes long; `--quick` asks for fewer and shorter runs, to see that all works.
"""

from __future__ import annotations

import argparse
import os
import platform
import re
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

HERE = Path(__file__).resolve().parent
Row = dict[str, str]
Found = tuple[str, str, str]
"""What was asked, the aim, and what was found."""


def tables(text: str) -> list[list[Row]]:
    """The Markdown tables of a text: rows by the names of their columns."""
    found: list[list[Row]] = []
    head: list[str] | None = None
    for line in text.splitlines():
        if not line.startswith("|"):
            head = None
            continue
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if head is None:
            head = cells
            found.append([])
        elif set("".join(cells)) > {"-"} or "".join(cells).strip("-"):
            found[-1].append(dict(zip(head, cells, strict=False)))
    return found


def number(cell: str) -> float:
    match = re.search(r"-?[0-9]+(\.[0-9]+)?", cell)
    if match is None:
        raise SystemExit(f"no number in '{cell}'")
    return float(match[0])


def by(rows: Sequence[Row], column: str) -> dict[str, Row]:
    return {row[column]: row for row in rows}


def cold(text: str) -> list[Found]:
    found = tables(text)
    ways = by(found[0], "way")
    ours = ways["assembler"]
    times = number(ways["moviepy"]["median wall s"]) / number(ours["median wall s"])
    return [
        ("cold draft, against one filter graph", "at most 1.10", ours["wall, against the filter graph"]),
        ("cold draft, times as fast as moviepy", "at least 6", f"{times:.1f}"),
    ]


def edits(text: str) -> list[Found]:
    found = tables(text)
    rows = by(found[0], "edit")
    whole = number(rows["cold"]["median s"])
    told = []
    for name, row in rows.items():
        if name != "cold":
            aim = f"8 % of cold + 1 s: {0.08 * whole + 1:.2f} s"
            within = row["within 8 % of cold + 1 s"]
            took = f"{row['median s']} s, {row['parts made']} parts made; {within} runs within"
            told.append((f"again after: {name}", aim, took))
    return told


def graphs(text: str) -> list[Found]:
    match = re.search(r"wall time, with graphs to without: median ([0-9.]+)", text)
    return [("graphs of two subjects, with to without", "at most 1.10", match[1] if match else "not told")]


def panes(text: str) -> list[Found]:
    found = tables(text)
    name = "process ms a frame made"
    return [(f"{row['draft']}, processor ms a frame", "", row[name] or "-") for row in found[0] if number(row["made"])]


def length(text: str) -> list[Found]:
    found = tables(text)
    short, long = found[0][0], found[0][-1]
    more = number(long["peak MiB"]) - number(short["peak MiB"])
    names = f"{long['minutes']} minutes against {short['minutes']}"
    return [
        (f"memory, {names}", "at most 50 MB more", f"{more:.0f} MiB more ({short['peak MiB']} and {long['peak MiB']})"),
        (f"{long['minutes']} minutes: frames a second, last quarter by first", "at least 0.9", long["last to first"]),
    ]


def proxies(text: str) -> list[Found]:
    found = tables(text)
    rows = next(table for table in found if "wall, against originals" in table[0])
    ratio = number(rows[-1]["wall, against originals"])
    return [("two 2160p60 HEVC captures: originals by proxies", "at least 3", f"{1 / ratio:.1f}")]


def processes(text: str) -> list[Found]:
    found = tables(text)
    return [("two worker processes, against one", "", found[0][-1]["wall against one"])]


def killed(text: str) -> list[Found]:
    found = tables(text)
    moments, equal, bad = (sum(number(row[name]) for row in found[0]) for name in ("moments", "equal", "made twice"))
    told = f"{equal:.0f} of {moments:.0f}, {bad:.0f} parts made twice"
    return [("kill -9: next run equal to a clean one", "all", told)]


@dataclass(frozen=True)
class Run:
    """A script, its options in full and in short, and what of the text that it prints counts."""

    script: str
    options: str
    quick: str
    read: Callable[[str], list[Found]]


RUNS = (
    Run(
        "cold_draft",
        "--seconds 20 --runs 5 --moviepy-runs 5 --all-runs 0",
        "--seconds 4 --runs 1 --moviepy-runs 1 --all-runs 0",
        cold,
    ),
    Run("redraft", "--runs 5 --without-label", "--runs 1 --segments 8 --without-label", edits),
    Run("graphs_draft", "--seconds 20 --runs 5", "--seconds 4 --runs 1", graphs),
    Run("scaling", "--panes 2,3,4 --segments 20,100,500 --seconds 5", "--panes 2 --segments 20 --seconds 2", panes),
    Run("proxies", "--seconds 10 --runs 5", "--seconds 2 --runs 1", proxies),
    Run("workers", "--seconds 20 --runs 5 --workers 1,2", "--seconds 5 --runs 1 --workers 1,2", processes),
    Run("long_programme", "--minutes 1,10,60", "--minutes 1,2", length),
    Run("crash", "--moments 30", "--moments 4", killed),
)


def said(run: Run, *, quick: bool, log: Path | None) -> str:
    """What a script prints; its progress goes on to standard error. Ends this program where the script fails."""
    command = [sys.executable, str(HERE / f"{run.script}.py"), *(run.quick if quick else run.options).split()]
    print(f"{run.script}: {' '.join(command[2:])}", file=sys.stderr, flush=True)
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
    if log:
        with log.open("a", encoding="utf-8") as file:
            file.write(f"$ {run.script} {' '.join(command[2:])}\n{done.stdout}\n")
    if done.returncode:
        raise SystemExit(f"{run.script} ended with {done.returncode}")
    return done.stdout


def main() -> None:
    """Run the scripts and print one table."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--quick", action="store_true", help="fewer and shorter runs")
    arguments.add_argument("--only", nargs="+", choices=[run.script for run in RUNS], help="these alone")
    arguments.add_argument("--log", type=Path, default=None, help="keep what the scripts print in this file")
    options = arguments.parse_args()
    rows: list[Found] = []
    load = os.getloadavg()[0]
    for run in RUNS:
        if options.only is None or run.script in options.only:
            rows += run.read(said(run, quick=options.quick, log=options.log))
    versions = ", ".join(f"{name} {metadata.version(name)}" for name in ("av", "moviepy", "imageio-ffmpeg"))
    where = f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, {versions}"
    print(f"{where}; load at the start {load:.1f}{'; quick: too few and too short to quote' if options.quick else ''}")
    print("| what | aim | found |\n|---|---|---|")
    print("\n".join(f"| {' | '.join(row)} |" for row in rows))


if __name__ == "__main__":
    main()
