"""Whether a long programme takes more memory, or gets slower on its way, than a short one.

    python benchmarks/long_programme.py [--minutes 10,60] [--workers 1] [--rate 24] [--folder DIR]

A segment of ten seconds after the other, two captures side by side with captions and one capture's sound, drafted at
320x180 with nothing cached, each length in a process of its own. Memory is what all processes of a run have resident
at once (RSS, so what they share counts in each), looked at five times a second. Frames a second are of the making of
parts, by quarters of the programme; other work on the machine moves them, so each quarter's processor time is told
beside them.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import platform
import resource
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import imageio_ffmpeg
from usual import environment

CAPTURE_S, SEGMENT_S = 60, 10


def make_project(folder: Path, minutes: int, rate: int) -> None:
    footage = folder / "footage"
    footage.mkdir(parents=True, exist_ok=True)
    for name, seed in (("a", 1), ("b", 2)):
        out = footage / f"{name}.mp4"
        if not out.exists():
            source = f"testsrc2=size=320x180:rate={rate}:duration={CAPTURE_S},noise=alls=9:allf=t:all_seed={seed}"
            run = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-y", "-f", "lavfi", "-i", source]
            run += ["-f", "lavfi", "-i", f"sine=frequency={220 * seed}:sample_rate=48000:duration={CAPTURE_S}"]
            run += ["-c:v", "libx264", "-preset", "veryfast", "-pix_fmt", "yuv420p", str(out)]
            subprocess.run(run, check=True)
    lines = [
        "storyboard: 1",
        "title: Long",
        f"canvas: {{size: 320x180, rate: {rate}}}",
        "captures: {a: {file: footage/a.mp4}, b: {file: footage/b.mp4}}",
        "narration: {voice: none}",
        "segments:",
    ]
    for number in range(minutes * 60 // SEGMENT_S):
        start = number * 3 % (rate * (CAPTURE_S - SEGMENT_S))  # another for each, so that no two parts are the same
        lines.append(
            f"  - {{id: s{number}, lasts: {SEGMENT_S} s, say: Line {number} of a long programme., hear: a, "
            f"show: {{side-by-side: [{{capture: a, from: {start} f}}, {{capture: b, from: {start} f}}]}}}}"
        )
    (folder / "storyboard.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    for made in (".assembler", "out"):
        shutil.rmtree(folder / made, ignore_errors=True)


def child(folder: Path, workers: int) -> None:
    """Draft, and print when each quarter of the frames was made."""
    from assembler.prepare import prepare
    from assembler.render.draft import DraftOptions, render_draft
    from assembler.render.progress import Event

    prepared = prepare(folder)
    marks: list[tuple[float, float, int]] = []
    peaks: dict[str, int] = {}

    def told(event: Event) -> None:
        peaks[event.stage] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        if event.stage == "pictures" and event.done >= event.total * len(marks) / 4:
            marks.append((time.perf_counter(), time.process_time(), event.done))

    result = render_draft(prepared.timeline, prepared.cues, DraftOptions(workers=workers), told)
    quarters = [
        {"frames": done - before[2], "seconds": at - before[0], "processor_s": work - before[1]}
        for before, (at, work, done) in itertools.pairwise(marks)
    ]
    print(json.dumps({"frames": result.span.frames, "whole_s": result.whole_s, "quarters": quarters, "peaks": peaks}))


def resident(pid: int) -> int:
    """Bytes that a process and all below it have in memory."""
    total = 0
    try:
        for line in Path(f"/proc/{pid}/status").read_text("ascii").splitlines():
            if line.startswith("VmRSS:"):
                total += int(line.split()[1]) << 10
        below = Path(f"/proc/{pid}/task/{pid}/children").read_text("ascii").split()
    except OSError:
        return total
    return total + sum(resident(int(each)) for each in below)


def measure(folder: Path, workers: int) -> dict[str, Any]:
    """One draft, its memory watched."""
    run = [sys.executable, str(Path(__file__).resolve()), "--child", str(folder), "--workers", str(workers)]
    process = subprocess.Popen(run, stdout=subprocess.PIPE, text=True, env=environment())
    peak = 0

    def watch() -> None:
        nonlocal peak
        while process.poll() is None:
            peak = max(peak, resident(process.pid))
            time.sleep(0.2)

    watcher = threading.Thread(target=watch)
    watcher.start()
    out, _ = process.communicate()
    watcher.join()
    if process.returncode:
        raise SystemExit(f"the draft failed ({process.returncode})")
    told: dict[str, Any] = json.loads(out)
    return {**told, "peak": peak}


def main() -> None:
    """Draft each length and print one table."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--minutes", default="10,60")
    arguments.add_argument("--workers", type=int, default=1)
    arguments.add_argument("--rate", type=int, default=24)
    arguments.add_argument("--folder", type=Path, default=None)
    arguments.add_argument("--child", type=Path, default=None, help=argparse.SUPPRESS)
    options = arguments.parse_args()
    if options.child:
        child(options.child, options.workers)
        return
    folder = options.folder or Path(tempfile.mkdtemp(prefix="long-"))
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, load {os.getloadavg()}")
    head = ["minutes", "processes", "frames", "peak MiB", "frames/s by quarter", "last to first"]
    head.append("processor ms a frame")
    print(f"| {' | '.join(head)} |\n|{'---|' * len(head)}", flush=True)
    for minutes in map(int, options.minutes.split(",")):
        make_project(folder, minutes, options.rate)
        told = measure(folder, options.workers)
        speeds = [quarter["frames"] / quarter["seconds"] for quarter in told["quarters"]]
        work = [1000 * quarter["processor_s"] / quarter["frames"] for quarter in told["quarters"]]
        row = [minutes, options.workers, told["frames"], f"{told['peak'] / 2**20:.0f}"]
        row += [", ".join(f"{speed:.0f}" for speed in speeds), f"{speeds[-1] / speeds[0]:.2f}"]
        print(f"| {' | '.join(map(str, row))} | {', '.join(f'{each:.2f}' for each in work)} |", flush=True)
        stages = ", ".join(f"{stage} {peak / 1024:.0f}" for stage, peak in told["peaks"].items())
        print(f"peak of the first process by the end of each stage, MiB: {stages}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
