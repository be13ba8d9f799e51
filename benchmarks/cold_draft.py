"""A cold draft of two 1080p60 captures, against the same cut by other means, in one run.

    python benchmarks/cold_draft.py [--seconds 60] [--runs 5] [--folder DIR]

Each way decodes two 1080p60 captures in full, crops them a little, scales both to half of 720p60 by `area`, sets them
side by side with two labels, captions and a graph, mixes one capture's sound in, and writes H.264 (as drafts do) and
AAC:

    assembler      `assembler draft` in a process of its own, nothing kept but what was measured for the graph
    filter graph   one process of the imageio-ffmpeg binary: crop, scale, stack, one static overlay for all the rest
    moviepy        the same cut with moviepy alone, written as well as it allows: its readers scale in processes of
                   their own, and the graph is drawn once and moved past by slicing
    all            `assembler draft` with nothing kept: the captures are measured as well, which the others cannot do

The ways take turns, so that a machine whose speed drifts harms none of them; the result is the median over the turns
of the ratio to that turn's filter graph. Wall time of whole processes, interpreter start included, and process time of
all their threads and children, which other work on the machine shakes less.
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
from collections.abc import Callable
from pathlib import Path

import imageio_ffmpeg
from usual import environment

from assembler.render.draft import QUICK

CODING = ["-preset", QUICK.preset, "-qp", str(QUICK.quantiser)]
CODING += ["-x264-params", f"bframes={QUICK.between}:b-adapt=0:keyint=120"]
"""What makes imageio-ffmpeg's program and moviepy code as drafts are coded."""
HERE = Path(__file__).resolve().parent
FFMPEG = imageio_ffmpeg.get_ffmpeg_exe()

STORYBOARD = """\
storyboard: 1
title: Benchmark
canvas: {{size: 1280x720, rate: 60}}
subjects: {{a: {{name: Ash, note: desktop}}, b: {{name: Birch, note: handheld}}}}
captures:
  a: {{file: footage/a.mp4, subject: a}}
  b: {{file: footage/b.mp4, subject: b}}
narration: {{voice: none}}
segments:
  - id: whole
    lasts: {seconds} s
    say:
      - Two machines show the same scene, and neither of them starts at once.
      - What differs is how many new pictures each of them shows in a second.
    show: {{side-by-side: [{{capture: a}}, {{capture: b}}]}}
    hear: a
"""
GRAPHS = "    graphs: [frame-rate, cadence]\n"
CROP = (96, 54, 1728, 972)
"""Left, top, width and height of what is shown of each capture."""

CAPTIONS = (
    ("Two machines show the same scene,\nand neither of them starts at once.", 0.3, 4.5),
    ("What differs is how many new pictures\neach of them shows in a second.", 4.9, 9.0),
)


def make_captures(folder: Path, seconds: int) -> None:
    """Two moving test pictures with a little noise, so that their bit rate is a capture's."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, seed, tone in (("a", 1, 220), ("b", 2, 330)):
        out = folder / f"{name}.mp4"
        if out.exists():
            continue
        source = f"testsrc2=size=1920x1080:rate=60:duration={seconds},noise=alls=9:allf=t:all_seed={seed}"
        run = [FFMPEG, "-v", "error", "-y", "-f", "lavfi", "-i", source]
        run += ["-f", "lavfi", "-i", f"sine=frequency={tone}:sample_rate=48000:duration={seconds}"]
        run += ["-c:v", "libx264", "-preset", "veryfast", "-crf", "22", "-pix_fmt", "yuv420p"]
        run += ["-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709", "-color_range", "tv"]
        subprocess.run([*run, "-c:a", "aac", "-shortest", str(out)], check=True)


def way_assembler(work: Path, seconds: int) -> list[str]:
    forget(work / "project", "measure", "voice")
    return [sys.executable, "-m", "assembler.cli.main", "draft", str(work / "project"), "--no-marks"]


def way_all(work: Path, seconds: int) -> list[str]:
    forget(work / "project")
    return [sys.executable, "-m", "assembler.cli.main", "draft", str(work / "project"), "--no-marks"]


def forget(project: Path, *kept: str) -> None:
    """Empty the project's cache but for some folders."""
    for held in (project / ".assembler").glob("*"):
        if held.name not in kept:
            shutil.rmtree(held) if held.is_dir() else held.unlink()


def make_project(work: Path, seconds: int) -> None:
    """The storyboard, and its captures measured."""
    project = work / "project"
    crop = "crop: {{x: {}, y: {}, w: {}, h: {}}}".format(*CROP)
    text = STORYBOARD.format(seconds=seconds) + GRAPHS
    for name in "ab":
        text = text.replace(f"{{capture: {name}}}", f"{{capture: {name}, {crop}}}")
    (project / "storyboard.yaml").write_text(text, encoding="utf-8")
    check = [sys.executable, "-m", "assembler.cli.main", "check", str(project)]
    told = subprocess.run(check, capture_output=True, text=True, check=False, env=environment())
    if "graph-not-counted" in told.stdout or told.returncode > 1:
        raise SystemExit(f"the captures cannot be counted:\n{told.stdout}{told.stderr}")


def way_filter_graph(work: Path, seconds: int) -> list[str]:
    footage = work / "project" / "footage"
    x, y, width, height = CROP
    shown = f"crop={width}:{height}:{x}:{y},scale=640:360:flags=area"
    graph = f"[0:v]{shown}[a];[1:v]{shown}[b];[a][b]hstack,pad=1280:720:0:180:color=0x101316[s];[s][2:v]overlay=0:0[v]"
    run = [FFMPEG, "-v", "error", "-y", "-i", str(footage / "a.mp4"), "-i", str(footage / "b.mp4")]
    run += ["-loop", "1", "-framerate", "60", "-i", str(work / "overlay.png"), "-filter_complex", graph]
    run += ["-map", "[v]", "-map", "0:a", "-t", str(seconds), "-c:v", "libx264", *CODING]
    run += ["-pix_fmt", "yuv420p", "-r", "60", "-c:a", "aac", "-b:a", "192k", "-movflags", "+faststart"]
    return [*run, str(work / "graph.mp4")]


def way_moviepy(work: Path, seconds: int) -> list[str]:
    told = json.dumps(CAPTIONS), json.dumps(CROP), json.dumps(CODING)
    return [sys.executable, str(HERE / "moviepy_cut.py"), str(work), str(seconds), *told]


def make_overlay(work: Path) -> None:
    """The filter graph's static overlay: opaque pixels for two labels, a caption and a graph, on clear ground."""
    from PIL import Image, ImageDraw

    picture = Image.new("RGBA", (1280, 720), (0, 0, 0, 0))
    draw = ImageDraw.Draw(picture)
    for x in (64, 704):
        draw.rectangle((x, 120, x + 180, 150), fill=(232, 234, 230, 255))
    draw.rectangle((340, 590, 940, 660), fill=(16, 19, 22, 204))
    draw.rectangle((64, 440, 1216, 570), fill=(16, 19, 22, 255))
    draw.line([(64 + 4 * k, 505 + 37 * k % 53) for k in range(288)], fill=(232, 234, 230, 255), width=2)
    picture.save(work / "overlay.png")


def measure(command: list[str]) -> tuple[float, float]:
    """Wall and process seconds."""
    used, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment())
    took, now = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode:
        raise SystemExit(f"{command[:4]} failed ({done.returncode}):\n{done.stderr[-2000:]}")
    return took, now.ru_utime + now.ru_stime - used.ru_utime - used.ru_stime


def main() -> None:
    """Run all ways in turn and print one table."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--seconds", type=int, default=60)
    arguments.add_argument("--runs", type=int, default=5)
    arguments.add_argument("--moviepy-runs", type=int, default=1, help="moviepy is slow; fewer will do")
    arguments.add_argument("--all-runs", type=int, default=1)
    arguments.add_argument("--folder", type=Path, default=None)
    options = arguments.parse_args()
    work = options.folder or Path(tempfile.mkdtemp(prefix="cold-draft-"))
    make_captures(work / "project" / "footage", options.seconds)
    make_overlay(work)
    make_project(work, options.seconds)
    ways: dict[str, tuple[Callable[[Path, int], list[str]], int]] = {
        "assembler": (way_assembler, options.runs),
        "filter graph": (way_filter_graph, options.runs),
        "moviepy": (way_moviepy, options.moviepy_runs),
        "all": (way_all, options.all_runs),
    }
    times: dict[str, list[tuple[float, float]]] = {name: [] for name in ways}
    for turn in range(options.runs):
        for name, (way, runs) in ways.items():
            if turn < runs:
                times[name].append(measure(way(work, options.seconds)))
                print("  run {} {:13} {:8.2f} s wall {:8.2f} s process".format(turn + 1, name, *times[name][-1]),
                      file=sys.stderr)  # fmt: skip
    base = times["filter graph"]
    sizes = ", ".join(f"{p.name} {p.stat().st_size * 8 / options.seconds / 1e6:.0f} Mb/s" for p in
                      sorted((work / "project" / "footage").glob("*.mp4")))  # fmt: skip
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}; captures: {sizes}")
    print(f"| way | runs | median wall s | process s | wall, against the filter graph | process |\n|{'---|' * 6}")
    for name, taken in times.items():
        if not taken:
            continue
        wall, process = (statistics.median(each[k] for each in taken) for k in (0, 1))
        rounds = [[a[k] / b[k] for a, b in zip(taken, base, strict=False)] for k in (0, 1)]
        ratios = [f"{statistics.median(each):.2f} ({min(each):.2f} to {max(each):.2f})" for each in rounds]
        print(f"| {name} | {len(taken)} | {wall:.2f} | {process:.2f} | {ratios[0]} | {ratios[1]} |")


if __name__ == "__main__":
    main()
