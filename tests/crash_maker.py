"""A short project made by code, and its draft by the command in a process of its own, for tests of broken runs."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import av
from media_maker import Sound, tone, write_clip

ROOT = Path(__file__).resolve().parent.parent
SEGMENTS, SECONDS, RATE = 5, 1, 30


def make_project(folder: Path) -> Path:
    """Two captures side by side, with sound, in segments of a second."""
    (folder / "footage").mkdir(parents=True)
    write_storyboard(folder, SEGMENTS)
    seconds = SEGMENTS * SECONDS
    for name, first, pitch in (("ash", 0, 330), ("birch", 3000, 440)):
        write_clip(
            folder / "footage" / f"{name}.mp4",
            pictures=range(first, first + RATE * seconds),
            rate=RATE,
            size=(320, 180),
            options={"g": "30"},
            sound=Sound(tone(pitch, seconds=seconds), codec="aac"),
        )
    return folder


def write_storyboard(folder: Path, segments: int) -> None:
    """Segments of a second each; more than the footage is long show it again from other pictures."""
    last_start = (SEGMENTS - 1) * SECONDS * RATE + 1  # odd: no two of as many show the same
    lines = [
        "storyboard: 1",
        "title: Crash",
        f"canvas: {{size: 320x180, rate: {RATE}}}",
        "captures: {ash: {file: footage/ash.mp4}, birch: {file: footage/birch.mp4}}",
        "narration: {voice: none}",
        "segments:",
    ]
    for number in range(segments):
        start = f"{number * SECONDS * RATE % last_start} f"
        lines.append(
            f"  - {{id: s{number}, lasts: {SECONDS} s, say: Now., hear: ash, "
            f"show: {{side-by-side: [{{capture: ash, from: {start}}}, {{capture: birch, from: {start}}}]}}}}"
        )
    (folder / "storyboard.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def command(project: Path, *options: str) -> list[str]:
    return [sys.executable, "-m", "assembler.cli.main", "draft", str(project), *options]


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT), *sys.path])}


def start(project: Path, *options: str, **settings: Any) -> subprocess.Popen[str]:
    """A draft in a process of its own, its messages on a pipe."""
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    return subprocess.Popen(command(project, *options), env=environment(), **(pipes | settings))


def draft(project: Path, *options: str, **settings: Any) -> tuple[int, dict[str, Any], str]:
    """Exit code, the JSON result and the messages of a whole run."""
    run = start(project, "--json", *options, **settings)
    out, err = run.communicate(timeout=120)
    return run.returncode, json.loads(out) if out else {}, err


def landed(project: Path) -> dict[str, int]:
    """Finished parts in the cache, and the file system's number of each, which another file would not have."""
    parts = (project / ".assembler" / "parts").glob("*.mp4")
    return {path.name: path.stat().st_ino for path in parts if ".partial" not in path.name}


def outside(project: Path) -> set[str]:
    """All files of a project but its cache."""
    paths = (path.relative_to(project) for path in project.rglob("*") if path.is_file())
    return {str(path) for path in paths if path.parts[0] != ".assembler"}


def content(path: Path) -> tuple[list[str], str]:
    """A digest of each decoded picture, and one of all decoded sound."""
    sound = hashlib.sha256()
    with av.open(str(path)) as file:
        pictures = [hashlib.sha256(frame.to_ndarray().tobytes()).hexdigest() for frame in file.decode(video=0)]
    with av.open(str(path)) as file:
        for frame in file.decode(audio=0):
            sound.update(frame.to_ndarray().tobytes())
    return pictures, sound.hexdigest()


def workers_of(pid: int) -> set[int]:
    """A process's children that are workers."""
    try:
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text("ascii").split()
    except OSError:
        return set()
    return {int(child) for child in children if is_worker(int(child))}


def is_worker(pid: int) -> bool:
    try:
        return b"render.worker" in Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return False


def wait_until(true: Callable[[], bool], run: subprocess.Popen[str], seconds: float = 60) -> bool:
    """Wait for something while a run goes on; whether it came true."""
    until = time.monotonic() + seconds
    while run.poll() is None and time.monotonic() < until:
        if true():
            return True
        time.sleep(0.005)
    return true()
