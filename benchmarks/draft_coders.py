"""What ways of coding a draft cost and lose: processor time, bits and error on the same composed pictures.

    python benchmarks/draft_coders.py [--pictures 180] [--first 0] [NAME=LEFT,RIGHT ...]

Each material is two captures from their picture `--first` on, scaled by `area` to half of 720p each and set side by
side; without any, the two moving test patterns of cold_draft.py. Error is that of luma within the panes: PSNR over
every third picture and of the worst of them, and SSIM over 8 x 8 pixels that do not overlap (the plain formula by Wang
et al., IEEE TIP 13(4), 2004, without its window). Processor time is the less of two codings, all threads.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
from cold_draft import make_captures

from assembler.media.planes import Planes, blank
from assembler.media.probe import probe
from assembler.media.reader import PaneShape, PictureReader
from assembler.media.writer import EncoderSettings, PartWriter, frame_planes
from assembler.render.draft import QUICK

ULTRA = EncoderSettings(preset="ultrafast", between=5, threads=1)
WAYS = {
    "veryfast, crf 23": EncoderSettings(preset="veryfast", crf=23),
    "superfast, 10 ahead, crf 22": EncoderSettings(preset="superfast", crf=22, lookahead=10),
    "ultrafast, crf 28": EncoderSettings(preset="ultrafast", crf=28),
    "ultrafast, 3 between, crf 24": replace(ULTRA, between=3, crf=24),
    "ultrafast, 3 between, qp 25": replace(ULTRA, between=3, quantiser=25),
    "ultrafast, 5 between, qp 25, in 4 slices": replace(ULTRA, quantiser=25, threads=4),
    "ultrafast, 5 between, qp 25 (drafts)": QUICK,
}


def composed(captures: list[Path], pictures: int, first: int = 0) -> list[Planes]:
    """Two captures side by side on a 720p canvas."""
    shape, found = PaneShape(640, 360, None, "area"), [blank(1280, 720) for _ in range(pictures)]
    for place, path in enumerate(captures):
        with PictureReader(probe(path), shape) as reader:
            for number, canvas in enumerate(found):
                shown, left = reader.planes(first + number), 640 * place
                canvas.y[180:540, left : left + 640] = shown.y
                canvas.u[90:270, left // 2 : left // 2 + 320] = shown.u
                canvas.v[90:270, left // 2 : left // 2 + 320] = shown.v
    return found


def ssim(one: npt.NDArray[np.uint8], other: npt.NDArray[np.uint8]) -> float:
    a, b = (each.reshape(45, 8, 160, 8).astype(np.float32) for each in (one, other))
    mean_a, mean_b = a.mean((1, 3)), b.mean((1, 3))
    var_a, var_b = (a * a).mean((1, 3)) - mean_a**2, (b * b).mean((1, 3)) - mean_b**2
    both = (a * b).mean((1, 3)) - mean_a * mean_b
    steady, grain = (0.01 * 255) ** 2, (0.03 * 255) ** 2
    top = (2 * mean_a * mean_b + steady) * (2 * both + grain)
    return float((top / ((mean_a**2 + mean_b**2 + steady) * (var_a + var_b + grain))).mean())


def told(pictures: list[Planes], settings: EncoderSettings, out: Path) -> str:
    taken = []
    for _ in range(2):
        began = time.process_time()
        with PartWriter(out, width=1280, height=720, rate=Fraction(60), settings=settings) as writer:
            for picture in pictures:
                writer.write(picture)
        taken.append((time.process_time() - began) * 1000 / len(pictures))
    errors, alike = [], []
    with av.open(str(out)) as container:
        for number, frame in enumerate(container.decode(video=0)):
            if number % 3 == 0:
                drawn, shown = pictures[number].y[180:540], frame_planes(frame, 8).y[180:540]
                errors.append(np.square(drawn.astype(np.int32) - shown).mean())
                alike.append(ssim(drawn, shown))
    mean_db, worst_db = (10 * np.log10(255**2 / each) for each in (np.mean(errors), np.max(errors)))
    rate = out.stat().st_size * 8 / 1e6 / (len(pictures) / 60)
    return f"{min(taken):.2f} | {rate:.2f} | {mean_db:.2f} | {worst_db:.2f} | {np.mean(alike):.4f} | {min(alike):.4f}"


def main() -> None:
    """Print one table."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--pictures", type=int, default=180)
    arguments.add_argument("--first", type=int, default=0)
    arguments.add_argument("materials", nargs="*", metavar="NAME=LEFT,RIGHT")
    options = arguments.parse_args()
    with tempfile.TemporaryDirectory(prefix="draft-coders-") as work:
        materials = {}
        for material in options.materials:
            name, _, paths = material.partition("=")
            materials[name] = [Path(path) for path in paths.split(",")]
        if not materials:
            make_captures(Path(work), 1 + (options.first + options.pictures) // 60)
            materials["pattern"] = [Path(work) / "a.mp4", Path(work) / "b.mp4"]
        print(f"| material | way | ms a picture | Mb/s | PSNR dB | worst | SSIM | worst |\n|{'---|' * 8}")
        for name, captures in materials.items():
            pictures = composed(captures, options.pictures, options.first)
            for way, settings in WAYS.items():
                print(f"| {name} | {way} | {told(pictures, settings, Path(work) / 'coded.mp4')} |", flush=True)


if __name__ == "__main__":
    main()
