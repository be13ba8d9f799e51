"""What measuring costs: its wall time against decoding alone, its memory by length, and captures at once.

    python benchmarks/measure_speed.py [--seconds 120] [--rounds 5] [--lengths 30,120,360] [--size 1920x1080]
        [--folder DIR]

The capture is made here: 1080p60 H.264 of about 50 Mb/s, or as many for its size (a moving test picture under strong
noise), ten seconds of it repeated. With no rounds only the memory by length is measured. Decoding alone is PyAV with
the same threads and no conversion; measuring is the whole of `assembler measure` with nothing kept. Each runs in a
process of its own, and they take turns; what counts is the median of the ratios of neighbours, as a shared machine's
speed drifts. Memory is the most that a process held (ru_maxrss).
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import imageio_ffmpeg

ROOT = Path(__file__).resolve().parents[1]
FFMPEG = imageio_ffmpeg.get_ffmpeg_exe()
PIECE_S = 10

DECODE = """
import sys, av
with av.open(sys.argv[1]) as container:
    stream = container.streams.video[0]
    stream.thread_type = "AUTO"
    for frame in container.decode(stream):
        pass
"""


def make_capture(folder: Path, seconds: int, size: str = "1920x1080") -> Path:
    """A capture of the length, rounded up to whole pieces."""
    piece, out = folder / f"piece{size}.mp4", folder / f"capture{size}-{seconds}.mp4"
    if not piece.exists():
        source = f"testsrc2=size={size}:rate=60:duration={PIECE_S},noise=alls=24:allf=t:all_seed=3"
        width, height = map(int, size.split("x"))
        kilobits = f"{50_000 * width * height // (1920 * 1080)}k"
        coder = ["-c:v", "libx264", "-preset", "veryfast", "-b:v", kilobits, "-maxrate", kilobits, "-bufsize", kilobits]
        run = [FFMPEG, "-v", "error", "-y", "-f", "lavfi", "-i", source, *coder, "-g", "120", "-pix_fmt", "yuv420p"]
        subprocess.run([*run, str(piece)], check=True)
    if not out.exists():
        again = ["-stream_loop", str(-(-seconds // PIECE_S) - 1), "-i", str(piece), "-c", "copy"]
        subprocess.run([FFMPEG, "-v", "error", "-y", *again, str(out)], check=True)
    return out


def run(command: list[str], folder: Path) -> tuple[float, float, float]:
    """Wall seconds, the most memory in MiB, and processor seconds of one process."""
    shutil.rmtree(folder / "project", ignore_errors=True)
    (folder / "project").mkdir()
    began = time.perf_counter()
    process = subprocess.Popen(command, cwd=folder / "project", env={**os.environ, "PYTHONPATH": str(ROOT)},
                               stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # fmt: skip
    _, status, used = os.wait4(process.pid, 0)
    took = time.perf_counter() - began
    if status:
        raise SystemExit(f"{' '.join(command)} failed")
    return took, used.ru_maxrss / 1024, used.ru_utime + used.ru_stime


def decoding(path: Path) -> list[str]:
    return [sys.executable, "-c", DECODE, str(path)]


def measuring(*paths: Path, workers: int = 1) -> list[str]:
    command = [sys.executable, "-m", "assembler.cli.main", "measure", *map(str, paths)]
    return [*command, "--workers", str(workers), "--json"]


def times(folder: Path, seconds: int, size: str, rounds: int) -> None:
    """Measuring against decoding alone."""
    path = make_capture(folder, seconds, size)
    megabits = path.stat().st_size * 8 / 1e6 / seconds
    print(f"{seconds} s, {size}, 60 Hz, {megabits:.0f} Mb/s, {os.cpu_count()} processors")
    ratios, works = [], []
    for k in range(rounds):
        # Each goes first as often as the other.
        ways = [decoding(path), measuring(path)]
        took = [run(way, folder) for way in (ways if k % 2 == 0 else ways[::-1])]
        (alone, small, work), (whole, large, more) = took if k % 2 == 0 else took[::-1]
        ratios.append(whole / alone)
        works.append(more / work)
        print(f"decoding {alone:6.1f} s, measuring {whole:6.1f} s: {ratios[-1]:.2f}; of processor "
              f"{work:.1f} and {more:.1f} s: {works[-1]:.2f} "
              f"({small:.0f} and {large:.0f} MiB, load {os.getloadavg()[0]:.1f})", flush=True)  # fmt: skip
    print(f"measuring takes {statistics.median(ratios):.2f} of the time of decoding (median of {len(ratios)}, "
          f"{min(ratios):.2f} to {max(ratios):.2f}), {statistics.median(works):.2f} of its processor time")  # fmt: skip


def at_once(folder: Path, path: Path) -> None:
    """Two captures at once against one after the other."""
    two = [path, folder / "other.mp4"]
    two[1].write_bytes(path.read_bytes() + b"\0")  # another file by its content
    gains = []
    for _ in range(3):
        singly, _, _ = run(measuring(*two, workers=1), folder)
        both, _, _ = run(measuring(*two, workers=2), folder)
        gains.append(both / singly)
        print(f"two captures: one after the other {singly:.1f} s, at once {both:.1f} s: {gains[-1]:.2f}", flush=True)
    print(f"two at once take {statistics.median(gains):.2f} of one after the other (median of {len(gains)})")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=int, default=120)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--lengths", default="30,120,360")
    parser.add_argument("--size", default="1920x1080")
    parser.add_argument("--folder", type=Path)
    options = parser.parse_args()
    folder = options.folder or Path(tempfile.mkdtemp(prefix="measure-speed-"))
    folder.mkdir(parents=True, exist_ok=True)
    run(measuring(make_capture(folder, PIECE_S, options.size)), folder)  # what is compiled is kept from here on
    if options.rounds:
        times(folder, options.seconds, options.size, options.rounds)
    for seconds in map(int, filter(None, options.lengths.split(","))):
        took, most, _ = run(measuring(make_capture(folder, seconds, options.size)), folder)
        print(f"{seconds:4} s of capture: {most:.0f} MiB at most, {took:.1f} s", flush=True)
    if options.rounds:
        at_once(folder, make_capture(folder, options.seconds, options.size))
    if options.folder is None:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
