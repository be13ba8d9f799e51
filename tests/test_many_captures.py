"""Hundreds of captures, where a process may have 256 files open: what many systems allow by default."""

from __future__ import annotations

import json
import resource
import subprocess
import sys
from pathlib import Path

import pytest
from crash_maker import command, environment
from media_maker import Sound, click_track, number_in, write_clip
from render_maker import pictures

CAPTURES, IN_ONE, FRAMES, OPEN_FILES = 500, 4, 2, 256


@pytest.mark.skipif(sys.platform == "win32", reason="the limit on open files is set otherwise there")
def test_five_hundred_captures_are_drafted_with_256_open_files(tmp_path: Path) -> None:
    (tmp_path / "footage").mkdir()
    clips = []
    for number in range(10):
        clip = tmp_path / f"{number}.mp4"
        sound = Sound(click_track([], seconds=1), codec="aac")
        clips.append(write_clip(clip, pictures=[number] * 4, rate=30, size=(80, 60), sound=sound))
    names = [f"c{number:03}" for number in range(CAPTURES)]
    for number, name in enumerate(names):
        (tmp_path / "footage" / f"{name}.mp4").hardlink_to(clips[number % len(clips)])
    lines = ["storyboard: 1", "title: Many", "canvas: {size: 160x120, rate: 30}", "captures:"]
    lines += [f"  {name}: {{file: footage/{name}.mp4}}" for name in names]
    lines += ["narration: {voice: none}", "segments:"]
    for first in range(0, CAPTURES, IN_ONE):
        panes = ", ".join(f"{{capture: {name}, label: false}}" for name in names[first : first + IN_ONE])
        lines.append(f"  - {{id: s{first}, lasts: {FRAMES} f, hear: {names[first]}, show: {{grid: [{panes}]}}}}")
    (tmp_path / "storyboard.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    done = subprocess.run(
        command(tmp_path, "--json", "--no-marks", "--workers", "1"),
        capture_output=True, text=True, env=environment(), timeout=120,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_NOFILE, (OPEN_FILES, OPEN_FILES)),
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    told = json.loads(done.stdout)
    assert told["frames"] == CAPTURES // IN_ONE * FRAMES
    shown = pictures(Path(told["made"]))
    assert [number_in(each.y[:60, :80]) for each in shown[:: FRAMES * 5]] == [
        first % 10 for first in range(0, CAPTURES, IN_ONE * 5)
    ]
