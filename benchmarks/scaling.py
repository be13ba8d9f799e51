"""How a draft's cost grows with panes and with segments, and where its time goes.

    python benchmarks/scaling.py [--panes 1,2,3,4] [--segments 20,100,500] [--seconds 10] [--runs 1] [--folder DIR]

Panes: 720p60 drafts of so many 1080p60 captures side by side (a grid of four), drafted cold. Segments: programmes of
320x180 captures, 24 pictures a second, in segments of two seconds, two panes each, with labels, captions, a frame-rate
graph and one capture's sound; drafted cold, again with nothing changed, and again after one word of one line. What is
measured for graphs is measured beforehand.

Each draft is a process of its own: wall and processor seconds of the whole process tree. Where the wall time went, in
seconds: `start` is reading, checking and planning, before anything is made; `read and compose`, `draw` (dissolves,
captions, marks) and `wait` (for the coder) make up the making of parts; `code` goes on beside them; `sound and join` is
what comes after the last part, sound being mixed and coded beside the parts.
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
from typing import Any

import imageio_ffmpeg
from cold_draft import make_captures
from usual import environment

SEGMENT_S = 2
STAGES = ("start", "read and compose", "draw", "wait", "code", "sound and join")
SHOWN = {1: "full: {capture: a}", 4: "grid: [{capture: a}, {capture: b}, {capture: c}, {capture: d}]"}
HEAD = """\
storyboard: 1
title: Benchmark
canvas: {{size: {size}, rate: {rate}}}
subjects: {{a: {{name: Ash}}, b: {{name: Birch}}, c: {{name: Cedar}}, d: {{name: Dogwood}}}}
captures: {{{captures}}}
narration: {{voice: none}}
segments:
"""


def project_of_panes(folder: Path, panes: int, seconds: int) -> None:
    """One segment of so many captures."""
    make_captures(folder / "footage", seconds)
    for name, other in (("c", "a"), ("d", "b")):  # the same pictures under other names cost the same to read
        if not (folder / "footage" / f"{name}.mp4").exists():
            shutil.copy(folder / "footage" / f"{other}.mp4", folder / "footage" / f"{name}.mp4")
    shown = SHOWN.get(panes, "side-by-side: [" + ", ".join(f"{{capture: {name}}}" for name in "abcd"[:panes]) + "]")
    captures = ", ".join(f"{name}: {{file: footage/{name}.mp4, subject: {name}}}" for name in "abcd"[:panes])
    text = HEAD.format(size="1280x720", rate=60, captures=captures)
    text += f"  - {{id: all, lasts: {seconds} s, say: So many pictures at once., hear: a, show: {{{shown}}}}}\n"
    (folder / "storyboard.yaml").write_text(text, encoding="utf-8")


def project_of_segments(folder: Path, segments: int, word: str = "here") -> None:
    """So many segments of small captures, each from another moment; `word` is said in the middle one."""
    (folder / "footage").mkdir(parents=True, exist_ok=True)
    for seed, name in enumerate("ab", start=1):
        out = folder / "footage" / f"{name}.mp4"
        if not out.exists():
            source = f"testsrc2=size=320x180:rate=24:duration=20,noise=alls=9:allf=t:all_seed={seed}"
            run = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-y", "-f", "lavfi", "-i", source]
            run += ["-f", "lavfi", "-i", f"sine=frequency={220 * seed}:sample_rate=48000:duration=20"]
            run += ["-c:v", "libx264", "-preset", "veryfast", "-pix_fmt", "yuv420p", str(out)]
            subprocess.run(run, check=True)
    captures = ", ".join(f"{name}: {{file: footage/{name}.mp4, subject: {name}}}" for name in "ab")
    lines = [HEAD.format(size="320x180", rate=24, captures=captures)]
    for number in range(segments):
        start = number * 400 // segments
        said = f"Seen {word if number == segments // 2 else 'here'}."
        lines.append(
            f"  - {{id: s{number}, lasts: {SEGMENT_S} s, say: {said}, hear: a, graphs: [frame-rate], "
            f"show: {{side-by-side: [{{capture: a, from: {start} f}}, {{capture: b, from: {start} f}}]}}}}\n"
        )
    (folder / "storyboard.yaml").write_text("".join(lines), encoding="utf-8")


def command(*arguments: str) -> tuple[float, float, dict[str, Any]]:
    """Wall and processor seconds of a command, and what it printed."""
    run = [sys.executable, "-m", "assembler.cli.main", *arguments, "--json"]
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(run, capture_output=True, text=True, check=False, env=environment())
    wall, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode:
        raise SystemExit(f"{run} failed ({done.returncode}):\n{done.stderr[-2000:]}{done.stdout[-2000:]}")
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, json.loads(done.stdout)


def drafted(folder: Path, *, cold: bool) -> tuple[float, float, list[float], int, int]:
    """Wall and processor seconds, seconds of each stage, frames of the programme and frames made."""
    if cold:
        for kept in (folder / ".assembler").glob("*"):
            if kept.name not in ("measure", "voice"):
                shutil.rmtree(kept) if kept.is_dir() else kept.unlink()
    wall, work, told = command("draft", str(folder))
    stages = told["stage_seconds"]
    took = [stages[name] for name in ("compose", "draw", "wait_for_encoder", "encode", "sound_and_join")]
    return wall, work, [wall - told["wall_seconds"], *took], told["frames"], told["frames_made"]


def row(name: str, taken: list[tuple[float, float, list[float], int, int]]) -> None:
    wall, work = (statistics.median(each[place] for each in taken) for place in (0, 1))
    stages = [statistics.median(each[2][place] for each in taken) for place in range(len(STAGES))]
    frames, made = taken[0][3:]
    cells = [name, str(len(taken)), str(frames), str(made), f"{wall:.2f}", f"{work:.2f}"]
    cells.append(f"{1000 * work / made:.1f}" if made else "")
    print(f"| {' | '.join(cells)} | {' | '.join(f'{each:.2f}' for each in stages)} |", flush=True)


def main() -> None:
    """Panes, then segments, in one table."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--panes", default="1,2,3,4")
    arguments.add_argument("--segments", default="20,100,500")
    arguments.add_argument("--seconds", type=int, default=10)
    arguments.add_argument("--runs", type=int, default=1)
    arguments.add_argument("--folder", type=Path, default=None)
    options = arguments.parse_args()
    work = options.folder or Path(tempfile.mkdtemp(prefix="scaling-"))
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, load {os.getloadavg()}")
    head = ["draft", "runs", "frames", "made", "wall s", "process s", "process ms a frame made", *STAGES]
    print(f"| {' | '.join(head)} |\n|{'---|' * len(head)}", flush=True)
    for panes in filter(None, options.panes.split(",")):
        folder = work / "panes"
        project_of_panes(folder, int(panes), options.seconds)
        command("check", str(folder))
        row(f"{panes} panes of 1080p60", [drafted(folder, cold=True) for _ in range(options.runs)])
    for segments in filter(None, options.segments.split(",")):
        folder = work / f"segments-{segments}"
        project_of_segments(folder, int(segments))
        command("check", str(folder))
        cold, again, edited = [], [], []
        for turn in range(options.runs):
            cold.append(drafted(folder, cold=True))
            again.append(drafted(folder, cold=False))
            project_of_segments(folder, int(segments), word=f"there {turn}")
            edited.append(drafted(folder, cold=False))
            project_of_segments(folder, int(segments))
        row(f"{segments} segments, cold", cold)
        row("nothing changed", again)
        row("one word", edited)


if __name__ == "__main__":
    main()
