"""A run that is killed while it makes proxies leaves nothing that is taken for one; the next gives the same draft."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from crash_maker import environment
from media_maker import BT709, write_clip
from proxy_runs import PIECE

from assembler.media.leftovers import PARTIAL
from assembler.media.probe import probe
from assembler.media.proxies import proxy_size

MOMENTS = {"drawn": [("write", 11), ("land", 1), ("landed", 1)], "measured": [("land", 2)]}
FRAMES = 16


def run(folder: Path, *moment: str) -> subprocess.CompletedProcess[str]:
    script = [sys.executable, str(Path(__file__).with_name("proxy_runs.py")), str(folder), *moment]
    return subprocess.run(script, capture_output=True, text=True, env=environment(), timeout=120, check=False)


def proxy_files(folder: Path) -> dict[str, bytes]:
    held = folder / ".assembler" / "proxies"
    return {path.relative_to(held).as_posix(): path.read_bytes() for path in held.glob("*/*")}


def made_clean(folder: Path, how: str) -> Path:
    """A project drafted without being killed. how: `measured` where proxies are made in the pass that measures."""
    (folder / "footage").mkdir(parents=True)
    for name, first in (("a", 0), ("b", 100)):
        clip = folder / "footage" / f"{name}.mp4"
        write_clip(clip, pictures=range(first, first + 24), rate=30, size=(1920, 1080), colour=BT709)
        assert proxy_size(probe(clip)) == (1280, 720)
    graphs = ", graphs: [cadence]" if how == "measured" else ""
    (folder / "storyboard.yaml").write_text(
        "storyboard: 1\ntitle: Test\ncanvas: {size: 640x360, rate: 30}\n"
        "captures: {a: {file: footage/a.mp4}, b: {file: footage/b.mp4}}\nnarration: {voice: none}\n"
        f"segments: [{{id: only, lasts: {FRAMES} f, say: Words., "
        f"show: {{side-by-side: [{{capture: a}}, {{capture: b, from: 4 f}}]}}{graphs}}}]\n",
        encoding="utf-8",
    )
    done = run(folder)
    assert done.returncode == 0, done.stderr
    assert len(proxy_files(folder)) >= 2 * FRAMES // PIECE
    return folder


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="there is no kill -9")
@pytest.mark.parametrize("how", MOMENTS)
def test_a_run_killed_while_it_makes_proxies_harms_no_later_one(tmp_path: Path, how: str) -> None:
    clean = made_clean(tmp_path / "clean", how)
    whole, pieces = (clean / "out" / "draft.mp4").read_bytes(), proxy_files(clean)
    for moment, number in MOMENTS[how]:
        folder = tmp_path / f"{moment}-{number}"
        shutil.copytree(clean, folder, ignore=shutil.ignore_patterns(".assembler", "out"))
        assert run(folder, moment, str(number)).returncode == -signal.SIGKILL
        # Whatever has a piece's name is that piece, to the last byte; the draft was not begun.
        left = proxy_files(folder)
        assert {name: data for name, data in left.items() if PARTIAL not in name}.items() <= pieces.items()
        assert not (folder / "out" / "draft.mp4").exists()
        assert run(folder).returncode == 0
        assert (folder / "out" / "draft.mp4").read_bytes() == whole
        assert proxy_files(folder) == pieces
