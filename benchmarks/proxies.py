"""What proxies save and cost: drafts of two 2160p60 HEVC captures from the originals and by proxy.

    python benchmarks/proxies.py [--seconds 4] [--runs 3] [--folder DIR]

The draft is 720p60, two captures side by side, with labels, captions and nothing else; nothing rendered is kept from
one draft to the next. Each round drafts from the originals, for the first time by proxy (which makes the proxies), and
again by proxy, in fresh processes. Wall time and process time of whole processes; ratios count, and process time is
less shaken by what else the machine does. Then, for a few kinds of capture: what decoding was estimated to cost, which
decides whether proxies are made, beside what it does cost here; and coders that a proxy might use, by what one picture
costs to make and to read, its size and its error.
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

import av
import imageio_ffmpeg
import numpy as np
from cold_draft import STORYBOARD
from usual import environment

from assembler.media.planes import Planes
from assembler.media.probe import probe
from assembler.media.proxies import costs, pays, proxy_shape
from assembler.media.reader import PictureReader
from assembler.media.writer import frame_planes

FFMPEG = imageio_ffmpeg.get_ffmpeg_exe()
HEVC = ["-c:v", "libx265", "-preset", "ultrafast", "-crf", "24", "-x265-params", "log-level=none", "-tag:v", "hvc1"]
X264 = ["-c:v", "libx264", "-preset", "veryfast"]
KINDS = {
    "2160p HEVC": ("3840x2160", HEVC),
    "1440p H.264, few bits": ("2560x1440", [*X264, "-crf", "24"]),
    "1080p H.264, few bits": ("1920x1080", [*X264, "-crf", "22"]),
    "1080p H.264, many bits": ("1920x1080", [*X264, "-crf", "12"]),
    "1080p HEVC": ("1920x1080", HEVC),
}
INTRA = "keyint=1:scenecut=0:threads=1"
ULTRA = {"preset": "ultrafast", "tune": "fastdecode"}
CODERS = {
    "x264, each picture by itself, qp 20": ("libx264", ULTRA | {"qp": "20", "x264-params": INTRA}, None),
    "the same, crf 18": ("libx264", ULTRA | {"crf": "18", "x264-params": INTRA}, None),
    "x264, 12 in a group, crf 20": ("libx264", ULTRA | {"crf": "20", "x264-params": "keyint=12:threads=1"}, None),
    "mpeg4, each by itself, q 2": ("mpeg4", {"g": "1", "flags": "+qscale"}, 2),
    "mpeg2, each by itself, q 2": ("mpeg2video", {"g": "1", "flags": "+qscale"}, 2),
    "mjpeg, q 2": ("mjpeg", {"flags": "+qscale", "strict": "unofficial"}, 2),
}


def make_capture(path: Path, size: str, coder: list[str], seconds: int, seed: int = 1) -> Path:
    """A moving test picture with a little noise."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if not path.exists():
        source = f"testsrc2=size={size}:rate=60:duration={seconds},noise=alls=9:allf=t:all_seed={seed}"
        run = [FFMPEG, "-v", "error", "-y", "-f", "lavfi", "-i", source, *coder, "-pix_fmt", "yuv420p"]
        run += ["-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709", "-color_range", "tv"]
        subprocess.run([*run, str(path)], check=True)
    return path


def process_ms() -> float:
    used = os.times()
    return 1000 * (used.user + used.system)


def draft(project: Path, *more: str, forget: tuple[str, ...]) -> tuple[float, float]:
    """Wall and process seconds of one draft."""
    for name in forget:
        shutil.rmtree(project / ".assembler" / name, ignore_errors=True)
    used, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    command = [sys.executable, "-m", "assembler.cli.main", "draft", str(project), "--no-marks", *more]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment())
    took, now = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode:
        raise SystemExit(f"{command} failed ({done.returncode}):\n{done.stderr[-2000:]}")
    return took, now.ru_utime + now.ru_stime - used.ru_utime - used.ru_stime


def drafts(work: Path, seconds: int, runs: int) -> None:
    project = work / "project"
    for seed, name in enumerate("ab", start=1):
        make_capture(project / "footage" / f"{name}.mp4", *KINDS["2160p HEVC"], seconds, seed)
    text = STORYBOARD.format(seconds=seconds).replace("    hear: a\n", "")
    (project / "storyboard.yaml").write_text(text, encoding="utf-8")
    ways = {
        "from the originals": (("--no-proxies",), ("parts",)),
        "by proxy, the first time": ((), ("parts", "proxies")),
        "by proxy, again": ((), ("parts",)),
    }
    taken: dict[str, list[tuple[float, float]]] = {name: [] for name in ways}
    for turn in range(runs):
        for name, (more, forget) in ways.items():
            taken[name].append(draft(project, *more, forget=forget))
            print("  run {} {:25} {:7.2f} s wall {:7.2f} s process".format(turn + 1, name, *taken[name][-1]),
                  file=sys.stderr)  # fmt: skip
    print(f"| draft of {seconds} s | runs | wall s | process s | wall, against originals | process |\n|{'---|' * 6}")
    base = taken["from the originals"]
    for name, rows in taken.items():
        wall, process = (statistics.median(row[k] for row in rows) for k in (0, 1))
        ratios = [statistics.median(b[k] / a[k] for a, b in zip(base, rows, strict=True)) for k in (0, 1)]
        print(f"| {name} | {len(rows)} | {wall:.2f} | {process:.2f} | {ratios[0]:.2f} | {ratios[1]:.2f} |")
    held = sum(path.stat().st_size for path in (project / ".assembler" / "proxies").rglob("*.mp4"))
    footage = sum(path.stat().st_size for path in (project / "footage").iterdir())
    each = 8 / 1e6 / (2 * seconds)
    print(f"\nproxies: {held * each:.0f} Mb/s each; captures: {footage * each:.0f} Mb/s each\n")


def estimates(work: Path, pictures: int) -> None:
    """What reading was estimated to cost, and what it costs here."""
    print(f"| capture | Mb/s | reading, estimated ms | here ms | by proxy | making | made |\n|{'---|' * 7}")
    for name, (size, coder) in KINDS.items():
        path = make_capture(work / "kinds" / f"{name.replace(' ', '-').replace(',', '')}.mp4", size, coder, 1)
        info, before = probe(path), process_ms()
        with PictureReader(info, proxy_shape(info)) as reader:
            for number in range(min(pictures, info.pictures)):
                reader.planes(number)
        here = (process_ms() - before) / min(pictures, info.pictures)
        found = costs(info)
        assert found is not None
        rate = path.stat().st_size * 8 / 1e6 / float(info.duration_s)
        cells = (f"{x:.1f}" for x in (found.reading_ms, here, found.by_proxy_ms, found.making_ms))
        print(f"| {name} | {rate:.0f} | {' | '.join(cells)} | {'yes' if pays(info) else 'no'} |")


def coders(work: Path, pictures: int) -> None:
    """Coders side by side on the same small pictures."""
    info = probe(make_capture(work / "kinds" / "2160p-HEVC.mp4", *KINDS["2160p HEVC"], 1))
    shape, source = proxy_shape(info), []
    with PictureReader(info, shape) as reader:
        for number in range(min(pictures, info.pictures)):
            found = reader.planes(number)
            source.append(Planes(found.y.copy(), found.u.copy(), found.v.copy()))
    print(f"\n| coder, {shape.width}x{shape.height} | make ms | read ms | Mb/s | luma error, codes |\n|{'---|' * 5}")
    for name, (coder, options, quality) in CODERS.items():
        out, before = work / "coded.mp4", process_ms()
        with av.open(str(out), "w") as container:
            stream = container.add_stream(coder, rate=60, options=options)
            stream.width, stream.height, stream.pix_fmt = shape.width, shape.height, "yuv420p"
            stream.thread_count = 1
            stream.codec_context.color_range = 1
            if quality is not None:
                stream.codec_context.qmin = stream.codec_context.qmax = quality
            for number, planes in enumerate(source):
                frame = av.VideoFrame(shape.width, shape.height, "yuv420p")
                canvas = frame_planes(frame, 8)
                canvas.y[:], canvas.u[:], canvas.v[:] = planes.y, planes.u, planes.v
                frame.pts, frame.color_range = number, 1
                container.mux(stream.encode(frame))
            container.mux(stream.encode(None))
        made, before = (process_ms() - before) / len(source), process_ms()
        with av.open(str(out)) as container:
            container.streams.video[0].thread_type = "AUTO"
            back = list(container.decode(video=0))
        read = (process_ms() - before) / len(source)
        errors = [
            np.square(frame_planes(a, 8).y.astype(np.int32) - b.y).mean() for a, b in zip(back, source, strict=True)
        ]
        rate = out.stat().st_size * 8 / 1e6 / (len(source) / 60)
        print(f"| {name} | {made:.2f} | {read:.2f} | {rate:.0f} | {np.mean(errors) ** 0.5:.2f} |")


def main() -> None:
    """Drafts, then estimates, then coders."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--seconds", type=int, default=4)
    arguments.add_argument("--runs", type=int, default=3)
    arguments.add_argument("--pictures", type=int, default=60)
    arguments.add_argument("--folder", type=Path, default=None)
    options = arguments.parse_args()
    work = options.folder or Path(tempfile.mkdtemp(prefix="proxies-"))
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}\n")
    if options.runs:
        drafts(work, options.seconds, options.runs)
    estimates(work, options.pictures)
    coders(work, options.pictures)


if __name__ == "__main__":
    main()
