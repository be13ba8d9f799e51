"""What drawing graphs adds to a cold draft: the two-pane benchmark without and with a frame-rate graph and a strip.

    python benchmarks/graphs_draft.py [--seconds 30] [--runs 5] [--folder DIR]

The captures and the storyboard are those of cold_draft.py. They are measured beforehand, so that only taking the
measurement up, drawing and blending count. Each round drafts both in fresh processes, nothing else cached, and the
rounds take turns in which comes first; the result is the median of the rounds' ratios, since whatever slows the
machine slows both halves of a round about alike. Process time is given beside wall time: it is less shaken by others.
"""

from __future__ import annotations

import argparse
import os
import platform
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from cold_draft import STORYBOARD, make_captures
from usual import environment

GRAPHS = "    graphs: [frame-rate, cadence]\n"


def make_project(work: Path, name: str, seconds: int, more: str) -> Path:
    """A project of its own beside the shared footage."""
    project = work / name
    project.mkdir(parents=True, exist_ok=True)
    (project / "storyboard.yaml").write_text(STORYBOARD.format(seconds=seconds) + more, encoding="utf-8")
    footage = project / "footage"
    footage.mkdir(exist_ok=True)
    for file in (work / "footage").glob("*.mp4"):
        if not (footage / file.name).exists():
            os.link(file, footage / file.name)
    return project


def forget_parts(project: Path) -> None:
    """Leave measurements and voices, forget what was rendered."""
    for kept in (project / ".assembler").glob("*"):
        if kept.name not in ("measure", "voice"):
            shutil.rmtree(kept) if kept.is_dir() else kept.unlink()


def draft(project: Path) -> tuple[float, float]:
    """Wall seconds and process seconds of one draft."""
    forget_parts(project)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    command = [sys.executable, "-m", "assembler.cli.main", "draft", str(project), "--no-marks"]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment())
    took = time.perf_counter() - start
    now = resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode:
        raise SystemExit(f"{command} failed ({done.returncode}):\n{done.stderr[-2000:]}")
    return took, now.ru_utime + now.ru_stime - used.ru_utime - used.ru_stime


def main() -> None:
    """Run the rounds and print one table."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--seconds", type=int, default=30)
    arguments.add_argument("--runs", type=int, default=5)
    arguments.add_argument("--folder", type=Path, default=None)
    options = arguments.parse_args()
    work = options.folder or Path(tempfile.mkdtemp(prefix="graphs-draft-"))
    make_captures(work / "footage", options.seconds)
    plain = make_project(work, "plain", options.seconds, "")
    graphs = make_project(work, "graphs", options.seconds, GRAPHS)
    check = [sys.executable, "-m", "assembler.cli.main", "check", str(graphs)]
    told = subprocess.run(check, capture_output=True, text=True, check=False, env=environment()).stdout
    print(told, file=sys.stderr)
    if "graph-not-counted" in told:
        raise SystemExit("the captures cannot be counted, so there would be no graphs to draw")
    taken: dict[str, list[tuple[float, float]]] = {"without": [], "with graphs": []}
    ways = {"without": plain, "with graphs": graphs}
    for turn in range(options.runs):
        for name in sorted(ways, reverse=turn % 2 == 0):
            taken[name].append(draft(ways[name]))
            print("  run {} {:12} {:7.2f} s wall {:7.2f} s process".format(turn + 1, name, *taken[name][-1]),
                  file=sys.stderr)  # fmt: skip
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, {options.seconds} s")
    print(f"| way | runs | median wall s | min | max | median process s |\n|{'---|' * 6}")
    for name, rows in taken.items():
        wall, process = [row[0] for row in rows], [row[1] for row in rows]
        cells = (name, len(rows), *(f"{x:.2f}" for x in (statistics.median(wall), min(wall), max(wall))))
        print("| " + " | ".join(map(str, cells)) + f" | {statistics.median(process):.2f} |")
    for number, what in enumerate(("wall", "process")):
        ratios = [b[number] / a[number] for a, b in zip(taken["without"], taken["with graphs"], strict=True)]
        rounds = ", ".join(f"{ratio:.3f}" for ratio in sorted(ratios))
        print(f"{what} time, with graphs to without: median {statistics.median(ratios):.3f} of {rounds}")


if __name__ == "__main__":
    main()
