"""Captures measured at once: the same answers as one by one, and no process left behind whatever ends the run.

That a run's processes must be gone within three seconds of its end is this project's own rule.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from media_maker import write_clip

from assembler.errors import AssemblerError, MediaError
from assembler.measure import workers
from assembler.measure.store import Stopped
from assembler.measure.workers import Task, measure_at_once, workers_that_pay
from assembler.measured import measure_all
from assembler.media.info import CaptureInfo
from assembler.media.probe import probe

GONE_S = 3.0


def moving(seed: int) -> Callable[[int, int, int], tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Blocks of random light that pass by, one pixel a picture."""
    wide = np.repeat(np.repeat(np.random.default_rng(seed).integers(30, 220, (45, 400), np.uint8), 8, 0), 8, 1)

    def draw(k: int, width: int, height: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        grey = np.full((height // 2, width // 2), 128, np.uint8)
        at = k % (wide.shape[1] - width)
        return wide[:height, at : at + width], grey, grey

    return draw


def clip(path: Path, seed: int, pictures: int = 90) -> Path:
    return write_clip(path, pictures=pictures, rate=60, size=(640, 360), draw=moving(seed))


@pytest.fixture(scope="module")
def captures(tmp_path_factory: pytest.TempPathFactory) -> dict[str, CaptureInfo]:
    folder = tmp_path_factory.mktemp("captures")
    return {name: probe(clip(folder / f"{name}.mp4", seed)) for seed, name in enumerate("ab")}


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[subprocess.Popen[bytes]]]:
    """Every worker that is started."""
    made: list[subprocess.Popen[bytes]] = []
    plain = subprocess.Popen

    def popen(*args: object, **settings: object) -> subprocess.Popen[bytes]:
        made.append(plain(*args, **settings))  # type: ignore[call-overload]
        return made[-1]

    monkeypatch.setattr(subprocess, "Popen", popen)
    yield made
    assert all(process.poll() is not None for process in made)


def test_at_once_is_the_same_as_one_by_one(
    captures: dict[str, CaptureInfo], tmp_path: Path, started: list[subprocess.Popen[bytes]]
) -> None:
    told: dict[str, list[tuple[int, int]]] = {}

    def progress(name: str, done: int, total: int) -> None:
        told.setdefault(name, []).append((done, total))

    named = {**captures, "again": captures["a"]}
    at_once = measure_all(named, tmp_path / "two", progress, workers=3)
    assert len(started) == 2  # a file that is named twice is measured once
    alone = measure_all(named, tmp_path / "one", workers=1)
    assert len(started) == 2
    for name in named:
        assert np.array_equal(at_once[name].cadence.p_new, alone[name].cadence.p_new)
        assert np.array_equal(at_once[name].thumbs.luma, alone[name].thumbs.luma)
        assert told[name][-1] == (90, 90)
    measure_all(named, tmp_path / "two", workers=2)
    measure_all({"a": captures["a"]}, tmp_path / "three", workers=2)
    assert len(started) == 2  # nothing is left to do, or one capture only


def test_a_capture_that_cannot_be_measured_does_not_stop_the_others(
    captures: dict[str, CaptureInfo], tmp_path: Path
) -> None:
    small = probe(write_clip(tmp_path / "small.mp4", pictures=3, size=(62, 90)))
    named = {"small": small, **captures}
    failed: dict[str, MediaError] = {}
    found = measure_all(named, tmp_path, workers=2, failed=failed.__setitem__)
    assert list(found) == ["a", "b"]
    assert "too small to measure" in str(failed["small"]) and failed["small"].problems[0].mend
    with pytest.raises(MediaError, match="too small to measure"):
        measure_all(named, tmp_path, workers=2)


def tasks(captures: dict[str, CaptureInfo]) -> list[Task]:
    return [Task(name, info, ()) for name, info in captures.items()]


def test_a_worker_that_is_ended_from_outside_is_one_clear_error(
    captures: dict[str, CaptureInfo], tmp_path: Path, started: list[subprocess.Popen[bytes]]
) -> None:
    def kill_one() -> bool:
        started[0].kill()
        return False

    with pytest.raises(AssemblerError, match=r"measuring '[ab]' ended in the middle.*by signal 9"):
        measure_at_once(tasks(captures), tmp_path, 2, cancelled=kill_one)


def test_a_fault_in_a_worker_is_told(
    captures: dict[str, CaptureInfo], tmp_path: Path, started: list[subprocess.Popen[bytes]]
) -> None:
    with pytest.raises(AssemblerError, match="measuring 'bad' failed by a fault in assembler itself: "):
        measure_at_once([Task("bad", captures["a"], ("no mask",))], tmp_path, 1)  # type: ignore[arg-type]


def test_cancelling_ends_every_worker(
    captures: dict[str, CaptureInfo], tmp_path: Path, started: list[subprocess.Popen[bytes]]
) -> None:
    began = time.monotonic()
    with pytest.raises(Stopped):
        measure_at_once(tasks(captures), tmp_path, 2, cancelled=lambda: len(started) == 2)
    assert time.monotonic() - began < GONE_S
    assert [process.poll() is not None for process in started] == [True, True]


def workers_of(pid: int) -> set[int]:
    try:
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text("ascii").split()
    except OSError:
        return set()
    return {int(child) for child in children if b"measure.worker" in _words(int(child))}


def _words(pid: int) -> bytes:
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""


@pytest.fixture(scope="module")
def long_clips(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    folder = tmp_path_factory.mktemp("long")
    one = clip(folder / "a.mp4", 0, 1300)
    other = folder / "b.mp4"
    other.write_bytes(one.read_bytes() + b"\0")  # not the same file, so it is measured too
    return [str(one), str(other)]


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="a process's children are read from /proc")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL], ids=lambda number: number.name)
def test_no_worker_outlives_a_run_that_is_ended(long_clips: list[str], tmp_path: Path, number: signal.Signals) -> None:
    run = subprocess.Popen(
        [sys.executable, "-m", "assembler.cli.main", "measure", *long_clips, "--workers", "2",
         "--project", str(tmp_path)],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    assert run.stderr is not None
    try:
        said = run.stderr.readline()  # the first line comes when a worker has measured something
        assert b"measuring" in said
        at_work = workers_of(run.pid)
        assert len(at_work) == 2
        run.send_signal(number)
        until = time.monotonic() + GONE_S
        while any(b"measure.worker" in _words(pid) for pid in at_work) and time.monotonic() < until:
            time.sleep(0.02)
        assert not any(b"measure.worker" in _words(pid) for pid in at_work)
        assert run.wait(GONE_S) == (130 if number is signal.SIGINT else -number)
    finally:
        run.kill()
        run.wait()
        run.stderr.close()
    assert not list(tmp_path.rglob("verdicts-*.npz"))


def test_how_many_at_once_follows_processors_memory_and_captures(
    captures: dict[str, CaptureInfo], monkeypatch: pytest.MonkeyPatch
) -> None:
    infos = list(captures.values()) * 4
    monkeypatch.setattr(workers, "free_bytes", lambda: 64 << 30)
    counts = {}
    for cores in (1, 2, 4, 16, 64):
        monkeypatch.setattr(workers, "processors", lambda cores=cores: cores)
        counts[cores] = workers_that_pay(infos)
    assert counts[1] == 1
    assert counts[64] == len(infos)
    assert list(counts.values()) == sorted(counts.values())
    assert workers_that_pay(infos[:1]) == 1
    monkeypatch.setattr(workers, "free_bytes", lambda: 1 << 30)
    assert workers_that_pay(infos) == 1
    monkeypatch.setattr(workers, "free_bytes", lambda: None)
    assert workers_that_pay(infos) == len(infos)
