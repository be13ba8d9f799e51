"""How many processes to make parts in: the same cold draft with 1, 2 and 3, taking turns.

    python benchmarks/workers.py [--seconds 40] [--runs 5] [--workers 1,2,3] [--folder DIR]

Two 1080p60 captures to a 720p60 side-by-side draft with captions, in five segments, nothing cached. Each draft is a
process of its own. Wall time is what a person waits; processor time is that of all its processes, and says what
several at once cost; the two together say how many processors were at work.
"""

from __future__ import annotations

import argparse
import json
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

from cold_draft import make_captures
from usual import environment

SEGMENT = """\
  - id: part-{number}
    lasts: {seconds} s
    say: Two machines, one scene.
    show: {{side-by-side: [{{capture: a, from: {start} s}}, {{capture: b, from: {start} s}}]}}
    hear: a
"""
HEAD = """\
storyboard: 1
title: Benchmark
canvas: {size: 1280x720, rate: 60}
subjects: {a: {name: Ash, note: desktop}, b: {name: Birch, note: handheld}}
captures:
  a: {file: footage/a.mp4, subject: a}
  b: {file: footage/b.mp4, subject: b}
narration: {voice: none}
segments:
"""


def draft(project: Path, workers: int) -> tuple[float, float]:
    """Wall and processor seconds of making the parts anew, with the sound kept."""
    shutil.rmtree(project / ".assembler" / "parts", ignore_errors=True)
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    run = [sys.executable, "-m", "assembler.cli.main", "draft", str(project), "--json", "--workers", str(workers)]
    done = subprocess.run(run, capture_output=True, text=True, check=False, env=environment())
    wall, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode:
        raise SystemExit(f"the draft failed ({done.returncode}):\n{done.stderr[-2000:]}")
    assert json.loads(done.stdout)["parts_kept"] == 0
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    """Run all counts in turn and print one table."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--seconds", type=int, default=40)
    arguments.add_argument("--runs", type=int, default=5)
    arguments.add_argument("--workers", default="1,2,3")
    arguments.add_argument("--folder", type=Path, default=None)
    options = arguments.parse_args()
    project = options.folder or Path(tempfile.mkdtemp(prefix="workers-"))
    make_captures(project / "footage", options.seconds)
    length = options.seconds // 5
    segments = [SEGMENT.format(number=n, seconds=length, start=n * length) for n in range(5)]
    (project / "storyboard.yaml").write_text(HEAD + "".join(segments), encoding="utf-8")
    counts = [int(word) for word in options.workers.split(",")]
    times: dict[int, list[tuple[float, float]]] = {count: [] for count in counts}
    draft(project, 1)  # the sound is listened to once
    for turn in range(options.runs):
        for count in counts if turn % 2 == 0 else counts[::-1]:
            times[count].append(draft(project, count))
            print(f"  round {turn + 1}, {count} at once: {times[count][-1][0]:.2f} s", file=sys.stderr)
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, load {os.getloadavg()}")
    head = ("processes", "median wall s", "min", "max", "median processor s", "processors at work", "wall against one")
    print(f"| {' | '.join(head)} |\n|{'---|' * len(head)}")
    for count, taken in times.items():
        walls, works = [wall for wall, _ in taken], [work for _, work in taken]
        ratio = statistics.median(wall / first for (wall, _), (first, _) in zip(taken, times[counts[0]], strict=True))
        figures = (statistics.median(walls), min(walls), max(walls), statistics.median(works))
        row = [f"{figure:.2f}" for figure in figures]
        busy = statistics.median(work / wall for wall, work in taken)
        print(f"| {count} | {' | '.join(row)} | {busy:.2f} | {ratio:.2f} |")


if __name__ == "__main__":
    main()
