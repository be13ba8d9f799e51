"""Make the demo's footage: an invented program, captured on two invented machines.

    python projects_demo/harbour_lights/make_footage.py

writes four captures, a still picture and `truth.json` (what every captured frame shows) into
`footage/`. It does nothing where they already are and were made by the same recipe.
"""

from __future__ import annotations

import argparse
import functools
import hashlib
import json
import multiprocessing
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.video.reformatter import Interpolation
from recipe import RATE, TAKES, Shown, Take, shown, tear_row, truth
from scene import Scene
from sounds import SAMPLE_RATE, make_sound
from strip import CELL, draw_strip

HERE = Path(__file__).resolve().parent
Picture = tuple[np.ndarray, np.ndarray, np.ndarray]
STILL = ("night", 300)  # the scene frame of footage/still.png


def _view(frame: av.VideoFrame, plane: int) -> np.ndarray:
    part = frame.planes[plane]
    return np.frombuffer(part, np.uint8).reshape(part.height, part.line_size)[:, : part.width]


def _frame(picture: Picture) -> av.VideoFrame:
    frame = av.VideoFrame(picture[0].shape[1], picture[0].shape[0], "yuv420p")
    for number, plane in enumerate(picture):
        _view(frame, number)[:] = plane
    frame.color_range, frame.colorspace, frame.color_primaries, frame.color_trc = 1, 1, 1, 1
    return frame


def _graded(plane: np.ndarray, black: int, share: float) -> np.ndarray:
    table = np.clip(np.round(black + (np.arange(256) - black) * share), 0, 255).astype(np.uint8)
    return table[plane]


class _Machine:
    """Draws the scene as one machine shows it: native size, colours, then scaled to the capture."""

    def __init__(self, take: Take, lines: int) -> None:
        self._machine, self._lines = take.machine, lines
        top, bottom = take.machine.native_share
        self._scene = Scene(take.scene, lines * top // bottom)
        self._kept: dict[int, Picture] = {}

    def picture(self, scene_frame: int) -> Picture:
        """Kept for the next frame: a repeated or torn one shows it again."""
        if scene_frame not in self._kept:
            picture = self._scene.draw(scene_frame)
            machine = self._machine
            if machine.luma != 1 or machine.chroma != 1:
                y, u, v = picture
                u, v = (_graded(plane, 128, machine.chroma) for plane in (u, v))
                picture = (_graded(y, 16, machine.luma), u, v)
            if picture[0].shape[0] != self._lines:
                wide = picture[0].shape[1] * self._lines // picture[0].shape[0]
                scaled = _frame(picture).reformat(wide, self._lines, interpolation=Interpolation.BICUBIC)
                across = self._lines * 16 // 9
                y, u, v = (_view(scaled, number) for number in range(3))
                picture = (y[:, :across].copy(), u[:, : across // 2].copy(), v[:, : across // 2].copy())
            self._kept = {key: self._kept[key] for key in list(self._kept)[-1:]} | {scene_frame: picture}
        return self._kept[scene_frame]

    def captured(self, row: Shown) -> Picture:
        """One captured frame, without its strip. The planes may be written to."""
        planes = tuple(plane.copy() for plane in self.picture(row.above if row.above is not None else row.scene))
        if row.tear_row is not None:
            cut = tear_row(row.tear_row, self._lines)
            for number, plane in enumerate(self.picture(row.scene)):
                start = cut if number == 0 else cut // 2
                planes[number][start:] = plane[start:]
        return planes  # type: ignore[return-value]


def make_capture(take: Take, lines: int, path: Path, told: Callable[[int], None] | None = None) -> None:
    """Draw and encode one capture. The file is there only when it is whole."""
    partial = path.with_suffix(".partial.mp4")
    machine = _Machine(take, lines)
    sound = make_sound(take)
    with av.open(str(partial), "w", container_options={"movflags": "+faststart"}) as out:
        video = out.add_stream("libx264", rate=RATE, options={"preset": "veryfast", "crf": "18", "threads": "1"})
        video.width, video.height, video.pix_fmt = lines * 16 // 9, lines, "yuv420p"
        video.codec_context.time_base = Fraction(1, RATE)
        tags = video.codec_context
        tags.color_range, tags.colorspace, tags.color_primaries, tags.color_trc = 1, 1, 1, 1
        audio = out.add_stream("aac", rate=SAMPLE_RATE, layout="stereo", options={"b": "160k"})
        sent = 0
        for index, row in enumerate(shown(take)):
            picture = machine.captured(row)
            draw_strip(picture[0], index)
            frame = _frame(picture)
            frame.pts, frame.time_base = index, Fraction(1, RATE)
            due = min(len(sound), (index + RATE // 2) * SAMPLE_RATE // RATE)
            while sent < due:
                block = np.ascontiguousarray(sound[sent : min(sent + 1024, due)].T)
                piece = av.AudioFrame.from_ndarray(block, "fltp", "stereo")
                piece.sample_rate, piece.pts, piece.time_base = SAMPLE_RATE, sent, Fraction(1, SAMPLE_RATE)
                out.mux(audio.encode(piece))
                sent += block.shape[1]
            out.mux(video.encode(frame))
            if told is not None and index % 10 == 9:
                told(10)
        out.mux(video.encode(None))
        out.mux(audio.encode(None))
    with av.open(str(partial)) as check:
        packets = sum(packet.pts is not None for packet in check.demux(check.streams.video[0]))
    if packets != take.frames:
        raise RuntimeError(f"{partial} holds {packets} pictures of {take.frames}")
    _land(partial, path)


def _land(partial: Path, path: Path) -> None:
    with partial.open("rb+") as written:
        os.fsync(written.fileno())
    partial.replace(path)


def make_still(lines: int, path: Path) -> None:
    """A PNG of the night, as Ash draws it."""
    frame = _frame(Scene(STILL[0], lines).draw(STILL[1]))
    partial = path.with_suffix(".partial.png")
    with av.open(str(partial), "w", format="image2", options={"update": "1"}) as out:
        stream = out.add_stream("png", rate=1)
        stream.width, stream.height, stream.pix_fmt = frame.width, frame.height, "rgb24"
        rgb = frame.reformat(format="rgb24", src_colorspace="ITU709", src_color_range="MPEG", dst_color_range="JPEG")
        rgb.pts, rgb.time_base = 0, Fraction(1, 1)
        out.mux(stream.encode(rgb))
        out.mux(stream.encode(None))
    _land(partial, path)


_told: Any = None  # a worker's way to report frames done


def _start_worker(counter: Any) -> None:
    global _told
    _told = counter


def _count(frames: int) -> None:
    with _told.get_lock():
        _told.value += frames


def _job(name: str, lines: int, seconds: float | None, folder: Path) -> None:
    if name == "still":
        make_still(lines, folder / "still.png")
        return
    make_capture(_takes(seconds)[name], lines, folder / f"{name}.mp4", _count)


def _takes(seconds: float | None) -> dict[str, Take]:
    if seconds is None:
        return {take.id: take for take in TAKES}
    return {take.id: replace(take, frames=min(take.frames, round(seconds * RATE))) for take in TAKES}


def recipe_of(lines: int, seconds: float | None) -> str:
    """A name for everything that decides how the footage looks."""
    state = hashlib.sha256(f"{lines} {seconds} {av.__version__} {np.__version__}".encode())
    for source in sorted(HERE.glob("*.py")):
        state.update(source.read_bytes())
    return state.hexdigest()[:20]


def _show_progress(counter: Any, total: int, over: threading.Event) -> None:
    """A line that renews itself on a terminal, and one every ten seconds elsewhere."""
    began, live = time.monotonic(), sys.stderr.isatty()
    while not over.wait(0.5 if live else 10):
        spent = time.monotonic() - began
        text = f"footage: {counter.value} of {total} frames, {spent:.0f} s"
        print(f"\r{text}" if live else text, end="" if live else "\n", file=sys.stderr, flush=True)
    if live:
        print(file=sys.stderr)


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Processes started meanwhile multiply matrices in one thread: pools of threads would get in each other's way."""
    before = os.environ.get("OPENBLAS_NUM_THREADS")
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    try:
        yield
    finally:
        del os.environ["OPENBLAS_NUM_THREADS"]
        if before is not None:
            os.environ["OPENBLAS_NUM_THREADS"] = before


def make(
    folder: Path, *, lines: int = 1080, seconds: float | None = None, only: tuple[str, ...] = (), workers: int = 2
) -> dict[str, Any]:
    """Make what is missing or out of date in `folder`; returns the truth.

    seconds: no capture is longer; None = all of it. only: ids of captures, and `still`; none = all.
    """
    folder.mkdir(parents=True, exist_ok=True)
    takes = _takes(seconds)
    names = [name for name in (*takes, "still") if not only or name in only]
    files = [folder / ("still.png" if name == "still" else f"{name}.mp4") for name in names]
    recipe = recipe_of(lines, seconds)
    told = folder / "truth.json"
    if told.exists():
        known: dict[str, Any] = json.loads(told.read_text())
        if known.get("recipe") == recipe and set(names) <= set(known["made"]) and all(f.exists() for f in files):
            _write_masks(folder, known)
            return known
    told.unlink(missing_ok=True)  # a stopped run must not leave the old truth beside new pictures

    context = multiprocessing.get_context("spawn")
    counter, over = context.Value("l", 0), threading.Event()
    total = sum(takes[name].frames for name in names if name != "still")
    line = threading.Thread(target=_show_progress, args=(counter, total, over), daemon=True)
    line.start()
    job = functools.partial(_job, lines=lines, seconds=seconds, folder=folder)
    try:
        if workers == 1:
            _start_worker(counter)
            for name in names:
                job(name)
        else:
            with _one_thread_each(), ProcessPoolExecutor(workers, context, _start_worker, (counter,)) as pool:
                list(pool.map(job, names))
    finally:
        over.set()
        line.join()
    answer = {
        "recipe": recipe,
        "made": names,
        "rate": RATE,
        "strip": {"x": 0, "y": lines - round(CELL * lines / 1080), "cell": CELL * lines / 1080, "cells": 16},
        "captures": {name: truth(takes[name], lines) for name in names if name != "still"},
    }
    partial = told.with_suffix(".partial")
    partial.write_text(json.dumps(answer, indent=1) + "\n")
    partial.replace(told)
    _write_masks(folder, answer)
    return answer


def _write_masks(folder: Path, answer: dict[str, Any]) -> None:
    """Beside each capture, the verdict by hand that measuring needs: the test strip changes on every
    captured frame, new or not, so it is left out (with a little room, as coding smears it)."""
    strip = answer["strip"]
    top = max(0, int(strip["y"]) - 4)
    wide = round(strip["cell"] * strip["cells"]) + 8
    high = round(strip["cell"]) + int(strip["y"]) - top
    text = f"masks: [{{x: 0, y: {top}, w: {wide}, h: {high}, why: test strip}}]\n"
    for name in answer["captures"]:
        path = folder / f"{name}.mp4.by-hand.yaml"
        if not path.exists():  # a person may have added verdicts
            path.write_text(text)


def main() -> int:
    options = argparse.ArgumentParser(description="Make the footage of the Harbour Lights demo.")
    options.add_argument("--folder", type=Path, default=HERE / "footage", help="where to put it (default: footage/)")
    options.add_argument("--seconds", type=float, help="make no capture longer than this")
    options.add_argument("--quick", action="store_true", help="640x360, at most 4 seconds: to try things out")
    chosen = options.parse_args()
    seconds = chosen.seconds if chosen.seconds is not None else (4.0 if chosen.quick else None)
    began = time.monotonic()
    answer = make(chosen.folder, lines=360 if chosen.quick else 1080, seconds=seconds)
    size = sum(path.stat().st_size for path in chosen.folder.iterdir()) / 1e6
    spent = time.monotonic() - began
    print(f"{chosen.folder}: {len(answer['made'])} files, {size:.1f} MB, {spent:.1f} s", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
