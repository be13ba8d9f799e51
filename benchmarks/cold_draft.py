"""A cold draft of two 1080p60 captures, against the same cut by other means, in one run.

    python benchmarks/cold_draft.py [--seconds 60] [--runs 5] [--folder DIR]

Each way decodes two 1080p60 captures in full, scales both to half of 720p60, sets them side by side
with two labels and captions, mixes one capture's sound in, and writes H.264 (veryfast, CRF 23) and AAC:

    assembler      `assembler draft` in a process of its own, nothing cached
    filter graph   one process of the imageio-ffmpeg binary: scale, stack, one static overlay
    moviepy        the same cut with moviepy alone, written as well as it allows

The ways take turns, so that a machine whose speed drifts harms none of them; the result is the
median of each and the ratios of medians. Wall time of whole processes, interpreter start included.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import imageio_ffmpeg

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
    project = work / "project"
    (project / "storyboard.yaml").write_text(STORYBOARD.format(seconds=seconds), encoding="utf-8")
    shutil.rmtree(project / ".assembler", ignore_errors=True)
    return [sys.executable, "-m", "assembler.cli.main", "draft", str(project), "--no-marks"]


def way_filter_graph(work: Path, seconds: int) -> list[str]:
    footage = work / "project" / "footage"
    graph = (
        "[0:v]scale=640:360:flags=lanczos[a];[1:v]scale=640:360:flags=lanczos[b];"
        "[a][b]hstack,pad=1280:720:0:180:color=0x101316[s];[s][2:v]overlay=0:0[v]"
    )
    run = [FFMPEG, "-v", "error", "-y", "-i", str(footage / "a.mp4"), "-i", str(footage / "b.mp4")]
    run += ["-loop", "1", "-framerate", "60", "-i", str(work / "overlay.png"), "-filter_complex", graph]
    run += ["-map", "[v]", "-map", "0:a", "-t", str(seconds), "-c:v", "libx264", "-preset", "veryfast", "-crf", "23"]
    run += ["-pix_fmt", "yuv420p", "-r", "60", "-c:a", "aac", "-b:a", "192k", "-movflags", "+faststart"]
    return [*run, str(work / "graph.mp4")]


def way_moviepy(work: Path, seconds: int) -> list[str]:
    return [sys.executable, str(HERE / "moviepy_cut.py"), str(work), str(seconds), json.dumps(CAPTIONS)]


def make_overlay(work: Path) -> None:
    """The filter graph's static overlay: two labels' worth of opaque pixels on clear ground."""
    from PIL import Image, ImageDraw

    picture = Image.new("RGBA", (1280, 720), (0, 0, 0, 0))
    draw = ImageDraw.Draw(picture)
    for x in (64, 704):
        draw.rectangle((x, 120, x + 180, 150), fill=(232, 234, 230, 255))
    draw.rectangle((340, 590, 940, 660), fill=(16, 19, 22, 204))
    picture.save(work / "overlay.png")


def measure(command: list[str]) -> float:
    start = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    took = time.perf_counter() - start
    if done.returncode:
        raise SystemExit(f"{command[:4]} failed ({done.returncode}):\n{done.stderr[-2000:]}")
    return took


def main() -> None:
    """Run all ways in turn and print one table."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--seconds", type=int, default=60)
    arguments.add_argument("--runs", type=int, default=5)
    arguments.add_argument("--moviepy-runs", type=int, default=1, help="moviepy is slow; fewer runs will do")
    arguments.add_argument("--folder", type=Path, default=None)
    options = arguments.parse_args()
    work = options.folder or Path(tempfile.mkdtemp(prefix="cold-draft-"))
    make_captures(work / "project" / "footage", options.seconds)
    make_overlay(work)
    ways: dict[str, tuple[Callable[[Path, int], list[str]], int]] = {
        "assembler": (way_assembler, options.runs),
        "filter graph": (way_filter_graph, options.runs),
        "moviepy": (way_moviepy, options.moviepy_runs),
    }
    times: dict[str, list[float]] = {name: [] for name in ways}
    for turn in range(options.runs):
        for name, (way, runs) in ways.items():
            if turn < runs:
                times[name].append(measure(way(work, options.seconds)))
                print(f"  run {turn + 1} {name:13} {times[name][-1]:8.2f} s", file=sys.stderr)
    base = statistics.median(times["filter graph"])
    sizes = ", ".join(f"{p.name} {p.stat().st_size * 8 / options.seconds / 1e6:.0f} Mb/s" for p in
                      sorted((work / "project" / "footage").glob("*.mp4")))  # fmt: skip
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}; captures: {sizes}")
    print(f"| way | runs | median s | min | max | frames/s | against the filter graph |\n|{'---|' * 7}")
    for name, taken in times.items():
        if taken:
            median = statistics.median(taken)
            rate = options.seconds * 60 / median
            row = (name, len(taken), f"{median:.2f}", f"{min(taken):.2f}", f"{max(taken):.2f}", f"{rate:.0f}")
            print("| " + " | ".join(map(str, row)) + f" | {median / base:.2f} |")


if __name__ == "__main__":
    main()
