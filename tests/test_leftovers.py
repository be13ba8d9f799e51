"""What killed runs left half written is told apart from what somebody is still writing."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from assembler.media import leftovers
from assembler.media.leftovers import clear_left, is_left, own_name

POSIX = pytest.mark.skipif(os.name != "posix", reason="processes are asked after by kill(2) with signal 0 (POSIX)")


@contextlib.contextmanager
def another(folder: Path) -> Iterator[tuple[Path, subprocess.Popen[str]]]:
    """A process that is writing a file, and the name it writes it under; it ends when its input does."""
    code = (
        "import pathlib, sys; from assembler.media.leftovers import own_name; "
        f"path = own_name(pathlib.Path({str(folder / 'a.b.mp4')!r})); path.write_bytes(b'half'); "
        "print(path, flush=True); sys.stdin.read()"
    )
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with subprocess.Popen([sys.executable, "-c", code], text=True, **pipes) as run:
        assert run.stdout is not None
        yield Path(run.stdout.readline().strip()), run


@POSIX
def test_what_an_ended_process_left_goes_at_once_and_what_others_write_stays(tmp_path: Path) -> None:
    (tmp_path / "deep" / "er").mkdir(parents=True)
    own, whole = own_name(tmp_path / "deep" / "a.mp4"), tmp_path / "deep" / "whole.mp4"
    for path in (own, whole):
        path.write_bytes(b"some")
    with another(tmp_path / "deep" / "er") as (left, ended):
        pass
    assert left.exists() and ended.returncode == 0
    with another(tmp_path) as (going, _):
        clear_left(tmp_path)
        assert [path.exists() for path in (left, going, own, whole)] == [False, True, True, True]
    clear_left(tmp_path)
    assert [path.exists() for path in (going, own, whole)] == [False, True, True]


@POSIX
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="states of processes are read from /proc")
def test_a_process_that_was_ended_and_not_asked_after_writes_nothing_more(tmp_path: Path) -> None:
    with another(tmp_path) as (path, run):
        assert not is_left(path)
        run.kill()
        until = time.monotonic() + 10
        while not is_left(path) and time.monotonic() < until:
            time.sleep(0.01)
        assert is_left(path) and run.returncode is None  # nobody has waited for it


def test_what_another_machine_writes_counts_as_left_once_it_does_not_grow(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(leftovers, "_machine", lambda: "0000")
    path = own_name(tmp_path / "a.mp4")
    monkeypatch.undo()
    path.write_bytes(b"half")
    assert not is_left(path)
    os.utime(path, (time.time() - 601,) * 2)
    assert is_left(path)
