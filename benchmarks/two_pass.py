"""Whether a second pass pays in a master: one capped pass at constant quality against two at the same mean rate.

    python benchmarks/two_pass.py [CAPTURE] [--pictures 240]

Both are x264 `medium`, 1280x720 at 60, with the same cap, buffer, key pictures and references; the second is told the
mean bit rate that the first came to. Quality is the PSNR of luma against the pictures that went in.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from fractions import Fraction
from pathlib import Path

import av
import numpy as np

DEMO = Path(__file__).resolve().parent.parent / "projects_demo" / "harbour_lights" / "footage" / "ash_night.mp4"
SIZE, RATE = (1280, 720), 60
CAPS = (8_000, 4_000, 2_000)  # kbit/s: from one that is seldom met to one that is met all the time


def read(capture: Path, count: int) -> list[np.ndarray]:
    """Pictures as I420, (1080, 1280)."""
    found = []
    with av.open(str(capture)) as container:
        for frame in container.decode(video=0):
            found.append(frame.reformat(*SIZE, format="yuv420p").to_ndarray())
            if len(found) == count:
                break
    return found


def encode(pictures: list[np.ndarray], params: str, out: Path) -> tuple[float, float]:
    """Mean kbit/s, and processor seconds."""
    began, size = time.process_time(), 0
    with av.open(str(out), "w") as container:
        stream = container.add_stream("libx264", rate=RATE, options={"preset": "medium", "x264-params": params})
        stream.width, stream.height = SIZE
        for place, picture in enumerate([*pictures, None]):
            frame = None
            if picture is not None:
                frame = av.VideoFrame.from_ndarray(picture, format="yuv420p")
                frame.pts, frame.time_base = place, Fraction(1, RATE)
            for packet in stream.encode(frame):
                size += packet.size
                container.mux(packet)
    return size * 8 / 1000 * RATE / len(pictures), time.process_time() - began


def quality(pictures: list[np.ndarray], coded: Path) -> tuple[float, float]:
    """PSNR of luma in dB: of the mean picture and of the worst."""
    found = []
    with av.open(str(coded)) as container:
        for frame, picture in zip(container.decode(video=0), pictures, strict=True):
            away = frame.to_ndarray()[: SIZE[1]].astype(np.float32) - picture[: SIZE[1]]
            found.append(10 * np.log10(255**2 / max(1e-9, float(np.square(away).mean()))))
    return float(np.mean(found)), float(min(found))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("capture", nargs="?", type=Path, default=DEMO)
    parser.add_argument("--pictures", type=int, default=240)
    given = parser.parse_args()
    pictures = read(given.capture, given.pictures)
    print(f"{given.capture.name}, {len(pictures)} pictures")
    with tempfile.TemporaryDirectory() as folder:
        out, notes = Path(folder) / "coded.mp4", Path(folder) / "notes"
        for cap in CAPS:
            limits = f"vbv-maxrate={cap}:vbv-bufsize={cap}:vbv-init=0.5:keyint=30:open-gop=0:ref=4"
            rate, spent = encode(pictures, f"crf=17:{limits}:pass=1:stats={notes}", out)
            one = quality(pictures, out)
            twice, more = encode(pictures, f"bitrate={round(rate)}:{limits}:pass=2:stats={notes}", out)
            two = quality(pictures, out)
            for name, kbits, (mean, worst), cpu in (("one", rate, one, spent), ("two", twice, two, spent + more)):
                told = f"{kbits:5.0f} kbit/s, {mean:.2f} dB, worst {worst:.2f} dB, {cpu:.1f} s"
                print(f"cap {cap:5} kbit/s, {name}: {told}")


if __name__ == "__main__":
    main()
