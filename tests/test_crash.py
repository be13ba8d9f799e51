"""Runs that are killed, starved or robbed of their footage: one clear error, nothing lost, nothing half left.

That a run's processes must be gone within three seconds of its end is this project's own rule; that a file appears
whole or not at all follows from POSIX rename (IEEE Std 1003.1).
"""

from __future__ import annotations

import contextlib
import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from crash_maker import (
    ROOT,
    SEGMENTS,
    content,
    environment,
    is_worker,
    landed,
    make_project,
    outside,
    start,
    wait_until,
    workers_of,
    write_storyboard,
)
from media_maker import write_clip

from assembler.cli.main import main
from assembler.errors import AssemblerError, MissingPartError, RenderError
from assembler.media import processes
from assembler.prepare import Prepared, prepare
from assembler.render.draft import DraftOptions, DraftResult, plan_draft, render_draft
from assembler.render.progress import Event

GONE_S = 3.0
HAS_PROC = Path("/proc/self/task").is_dir()


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A project that was drafted once."""
    project = make_project(tmp_path_factory.mktemp("made") / "project")
    assert render(prepare(project)).made == SEGMENTS
    return project


@pytest.fixture
def project(made: Path, tmp_path: Path) -> Path:
    """The same project, with nothing rendered."""
    return Path(shutil.copytree(made, tmp_path / "project", ignore=shutil.ignore_patterns("parts", "out")))


def render(
    prepared: Prepared, workers: int = 1, told: Callable[[Event], None] | None = None, **options: object
) -> DraftResult:
    wanted = DraftOptions(workers=workers, **options)  # type: ignore[arg-type]
    return render_draft(prepared.timeline, prepared.cues, wanted, told, cancelled=lambda: False)


def left_over(project: Path) -> list[str]:
    return [path.name for path in project.rglob("*.partial*")]


@pytest.mark.skipif(not hasattr(os, "fork") or not HAS_PROC, reason="runs are forked, their children read from /proc")
@pytest.mark.parametrize(("workers", "moments"), [(1, 3), (2, 2)])
def test_a_run_killed_at_any_moment_is_taken_up_where_it_stopped(tmp_path: Path, workers: int, moments: int) -> None:
    """More moments are tried by benchmarks/crash.py."""
    script = [sys.executable, str(ROOT / "tests" / "crash_runs.py"), str(tmp_path), str(moments), "7", str(workers)]
    done = subprocess.run(script, capture_output=True, text=True, env=environment(), timeout=120)
    assert done.returncode == 0, done.stderr
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(told) == moments
    for one in told:
        assert one["equal"], one
        assert (one["left"], one["partial"]) == ([], []), one
        assert (one["made_twice"], one["kept"], one["made"]) == (0, one["landed"], SEGMENTS - one["landed"]), one
        assert one["gone_s"] < GONE_S, one


@pytest.mark.skipif(os.name != "posix", reason="processes are asked after by kill(2) with signal 0 (POSIX)")
def test_the_next_run_clears_what_an_ended_process_left_in_the_cache_and_beside_the_draft(project: Path) -> None:
    named = (
        "from assembler.media.leftovers import own_name; "
        "import pathlib, sys; print(*map(own_name, map(pathlib.Path, sys.argv[1:])), sep='\\n')"
    )
    places = ("sound/a.levels", "sound/b.m4a", "sound/stems/c.f32", "voice/d.f32", "measure/e/part.npz", "f.json")
    asked = [sys.executable, "-c", named, *(str(project / ".assembler" / place) for place in places)]
    asked.append(str(project / "out" / "draft.srt"))
    for name in subprocess.run(asked, check=True, capture_output=True, text=True).stdout.splitlines():
        Path(name).parent.mkdir(parents=True, exist_ok=True)
        Path(name).write_bytes(b"half")
    assert len(left_over(project)) == 7
    render(prepare(project))
    assert not left_over(project)


@pytest.mark.skipif(not HAS_PROC, reason="a process's children are read from /proc")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL], ids=lambda number: number.name)
def test_no_worker_outlives_a_run_that_is_ended(project: Path, number: signal.Signals) -> None:
    """The first two go to all processes at once, as a terminal and a service manager send them."""
    write_storyboard(project, 60)  # so many that they are not done before the signal comes
    run = start(project, "--workers", "2", start_new_session=True)
    at_work: set[int] = set()

    def two() -> bool:
        at_work.update(workers_of(run.pid))
        return len(at_work) == 2

    try:
        assert wait_until(two, run), run.communicate()
        os.kill(run.pid, number) if number is signal.SIGKILL else os.killpg(run.pid, number)
        assert not _stay(at_work)
        assert run.wait(GONE_S) == (-number if number is signal.SIGKILL else 130)
        if number is not signal.SIGKILL:
            assert run.communicate()[1].splitlines()[-1] == "interrupted; what was finished is kept"
    finally:
        run.kill()
        run.wait()
        for pipe in (run.stdout, run.stderr):
            pipe.close() if pipe is not None else None
    if number is not signal.SIGKILL:
        assert not left_over(project)
    assert outside(project) == {"storyboard.yaml", "footage/ash.mp4", "footage/birch.mp4"}


def _stay(pids: set[int]) -> set[int]:
    """Those of the workers that are there when their time is up."""
    until = time.monotonic() + GONE_S
    while (there := set(filter(is_worker, pids))) and time.monotonic() < until:
        time.sleep(0.02)
    return there


def test_processes_side_by_side_make_the_same_file(made: Path, project: Path) -> None:
    events: list[Event] = []
    result = render(prepare(project), 2, events.append)
    assert result.path.read_bytes() == (made / "out" / "draft.mp4").read_bytes()
    assert (result.made, result.times.frames) == (SEGMENTS, result.span.frames)
    done = [event.done for event in events if event.stage == "pictures"]
    assert done == sorted(done) and done[-1] == result.span.frames


@pytest.mark.skipif(sys.platform == "win32", reason="a process is ended otherwise there")
def test_a_worker_that_the_system_ends_is_one_clear_error(project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[processes._Process] = []
    plain = processes._Process.__init__

    def noted(self: processes._Process, *arguments: object) -> None:
        plain(self, *arguments)  # type: ignore[arg-type]
        started.append(self)

    monkeypatch.setattr(processes._Process, "__init__", noted)

    def kill_one(event: Event) -> None:
        if event.stage == "pictures" and landed(project) and len(started) == 2:
            started[0].kill()

    prepared = prepare(project)
    with pytest.raises(RenderError, match=r"rendering 's\d shot 1' ended in the middle: .* by signal 9") as told:
        render(prepared, 2, kill_one)
    assert "run again" in told.value.problems[0].mend
    assert all(process._process.poll() is not None for process in started)
    before = landed(project)
    assert before and not left_over(project)
    again = render(prepared)
    assert again.made == SEGMENTS - len(before)
    assert {name: landed(project)[name] for name in before} == before


def write_other(path: Path) -> None:
    """Another recording under the name, there all at once: half a file would be told of otherwise."""
    other = path.with_name("other.mp4")
    write_clip(other, pictures=range(5000, 5150), rate=30, size=(320, 180), options={"g": "30"})
    other.replace(path)


@pytest.mark.parametrize("workers", [1, 2])
@pytest.mark.parametrize(("harm", "words"), [(Path.unlink, "could not be read"), (write_other, "changed while")])
def test_footage_that_goes_or_changes_during_a_run_is_one_clear_error(
    made: Path, project: Path, harm: Callable[[Path], None], words: str, workers: int
) -> None:
    clip, kept = project / "footage" / "birch.mp4", project / "birch.mp4"
    shutil.copy(clip, kept)
    prepared = prepare(project)

    def during(event: Event) -> None:
        if event.stage == "pictures" and landed(project) and not harmed:
            harm(clip)
            harmed.append(event.done)

    harmed: list[int] = []
    with pytest.raises(AssemblerError, match=rf"birch\.mp4.*({words}|cannot be opened|cannot be read)") as told:
        render(prepared, workers, during)
    assert harmed and told.value.exit_code == 4 and len(told.value.problems) == 1
    assert not left_over(project) and not (project / "out").exists()
    before = landed(project)
    assert before
    kept.replace(clip)
    again = render(prepare(project))
    assert again.made == SEGMENTS - len(before)
    assert {name: landed(project)[name] for name in before} == before
    assert again.path.read_bytes() == (made / "out" / "draft.mp4").read_bytes()


@pytest.mark.parametrize("bit", [1, 3000, -20])
def test_a_part_with_one_bit_turned_is_made_anew(made: Path, tmp_path: Path, bit: int) -> None:
    project = Path(shutil.copytree(made, tmp_path / "project"))
    prepared = prepare(project)
    planned = plan_draft(prepared.timeline, prepared.cues, DraftOptions())
    assert {part.state for part in planned} == {"kept"}
    data = bytearray(planned[2].path.read_bytes())
    data[bit] ^= 4
    planned[2].path.write_bytes(data)
    again = render(prepared)
    assert [(part.state, part.why) for part in again.parts if part.state == "made"] == [
        ("made", "what is stored is damaged")
    ]
    assert content(again.path) == content(made / "out" / "draft.mp4")


def test_a_part_whose_seal_is_lost_is_read_and_kept(made: Path, tmp_path: Path) -> None:
    project = Path(shutil.copytree(made, tmp_path / "project"))
    prepared = prepare(project)
    seals = sorted((project / ".assembler" / "parts").glob("*.seal"))
    assert len(seals) == SEGMENTS
    seals[0].unlink()
    seals[1].write_text("{")
    seals[1].with_suffix(".mp4").write_bytes(b"cut short")
    assert render(prepared).made == 1
    assert len(list((project / ".assembler" / "parts").glob("*.seal"))) == SEGMENTS


@contextlib.contextmanager
def small_disk(folder: Path, size: str, *more: str) -> Iterator[None]:
    """A file system of its own on a folder, where we may mount one."""
    if sys.platform != "linux" or os.geteuid() != 0 or shutil.which("mount") is None:
        pytest.skip("a file system can be mounted only by root on Linux")
    folder.mkdir(parents=True, exist_ok=True)
    options = ",".join([f"size={size}", *more])
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)], capture_output=True)
    if done.returncode:
        pytest.skip(f"a file system could not be mounted here: {done.stderr.decode().strip()}")
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.mark.parametrize("workers", [1, 2])
def test_a_full_disk_is_one_clear_error_and_the_next_run_goes_on(made: Path, project: Path, workers: int) -> None:
    # Sound is mixed beside the parts: there is room for all of it, so that parts land whichever comes first.
    kept = [path for path in (made / ".assembler").rglob("*") if path.is_file()]
    pages = {path: -(-path.stat().st_size // 4096) for path in kept}
    parts = sum(pages[path] for path in kept if path.parent.name == "parts")
    cache = project / ".assembler"
    shutil.rmtree(cache)
    with small_disk(cache, f"{4 * (sum(pages.values()) - parts * 2 // 5)}k"):
        prepared = prepare(project)
        with pytest.raises(MissingPartError, match="no room left on the disk") as told:
            render(prepared, workers)
        assert told.value.exit_code == 3 and str(cache) in told.value.problems[0].mend
        before = landed(project)
        assert before and not left_over(project)
        subprocess.run(["mount", "-o", "remount,size=64m", str(cache)], check=True)
        again = render(prepared, workers)
        assert again.made == SEGMENTS - len(before)
        assert content(again.path) == content(made / "out" / "draft.mp4")


def test_a_limit_on_file_sizes_is_told_like_a_full_disk(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (6000, before[1]))
    try:
        assert main(["draft", str(project), "--workers", "1"]) == 3
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    said = capsys.readouterr().err
    assert said.count("error:") == 1 and "no room left on the disk" in said
    assert not left_over(project)
    assert main(["draft", str(project), "--workers", "1"]) == 0


@contextlib.contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """A folder that may not be written to; root may write to any, but not to a file system that is read-only."""
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        with small_disk(folder, "1m", "ro"):
            yield
        return
    folder.mkdir(parents=True, exist_ok=True)
    folder.chmod(0o555)
    try:
        yield
    finally:
        folder.chmod(0o755)


def test_a_place_that_may_not_be_written_to_is_told_before_anything_is_rendered(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with read_only(project / "out"):
        assert main(["draft", str(project)]) == 3
        said = capsys.readouterr().err
        assert said.count("error:") == 1 and "out" in said and "cannot be written to" in said
    assert not landed(project)
    assert main(["draft", str(project), "--workers", "1"]) == 0


def test_a_cache_that_may_not_be_written_to_is_one_clear_error(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.rmtree(project / ".assembler")
    with read_only(project / ".assembler"):
        assert main(["draft", str(project)]) == 3
    said = capsys.readouterr().err
    assert said.count("error:") == 1 and ".assembler" in said and "cannot be written to" in said
    assert not (project / "out").exists()
