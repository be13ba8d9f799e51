"""Jobs in processes of their own: every answer heard, every end told, none that outlives its asker."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from assembler.errors import AssemblerError, MediaError, MissingPartError, Place, RenderError, StoryboardError
from assembler.media.processes import FAULT, GONE, Words, answers, failure

GONE_S = 3.0
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the workers of these tests use POSIX signals")


@pytest.fixture(autouse=True)
def found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parent))


def ends(jobs: list[tuple[str, int]], workers: int = 2, setup: str = "set") -> dict[int, Words]:
    with closing(answers("worker_for_tests", setup, jobs, workers)) as said:
        return {number: words for number, words in said if "finished" in words or "error" in words}


def test_every_job_is_done_once_in_its_order_and_few_processes_do_them() -> None:
    jobs = [("print" if number % 2 else "answer", number) for number in range(7)]
    began: dict[int, list[int]] = {}
    done: dict[int, str] = {}
    with closing(answers("worker_for_tests", "set", jobs, 2)) as said:
        for number, words in said:
            if "began" in words:
                began.setdefault(words["pid"], []).append(words["began"])
            else:
                done[number] = words["value"]
    assert done == {number: f"set {number}" for number in range(7)}
    assert sorted(number for numbers in began.values() for number in numbers) == list(range(7)) and len(began) <= 2
    assert all(numbers == sorted(numbers) for numbers in began.values())


def error_of(words: Words) -> AssemblerError:
    return failure(words, "doing 'a'", "assembler do --workers 1")


def test_errors_come_back_as_they_were_and_the_process_goes_on() -> None:
    kinds = ["fail", "problems", "fault", "memory", "answer"]
    said = ends([(kind, 5) for kind in kinds], workers=1)
    failed, problems, fault, memory = (error_of(said[number]) for number in range(4))
    assert type(failed) is MediaError and failed.problems[0].place == Place("a.yaml", 3, 5)
    assert (failed.problems[0].what, failed.problems[0].mend) == ("it failed", "mend it")
    assert isinstance(problems, StoryboardError) and [each.what for each in problems.problems] == ["one", "two"]
    assert said[2]["error"] == FAULT and "a fault in assembler itself: KeyError" in str(fault)
    assert isinstance(memory, MissingPartError) and "not enough memory" in str(memory)
    assert said[4]["value"] == "set 5"


@pytest.mark.parametrize(("kind", "how"), [("die", "by signal 9"), ("exit", "with code 7")])
def test_a_process_that_ends_is_told(kind: str, how: str) -> None:
    said = ends([(kind, 1), ("answer", 2)])
    assert said[0]["error"] == GONE
    error = error_of(said[0])
    assert isinstance(error, RenderError)
    assert f"doing 'a' ended in the middle: its process was ended {how}" in str(error)


def test_a_setup_that_fails_is_each_jobs_failure() -> None:
    said = ends([("answer", 1), ("answer", 2)], workers=1, setup="fails")
    assert [str(error_of(words)) for words in said.values()] == [
        "error: it cannot be set up\n  mend: do not"
    ] * 2  # fmt: skip


@pytest.mark.parametrize("kind", ["busy", "sleep"])
def test_leaving_early_ends_every_process_at_once(kind: str) -> None:
    pids: set[int] = set()

    class EnoughError(Exception):
        pass

    patience = time.monotonic() + 60.0

    def check() -> None:
        # Were one never heard, the test would wait for as long as the processes are busy: for ever.
        if len(pids) == 2 or time.monotonic() > patience:
            raise EnoughError

    began = 0.0
    with pytest.raises(EnoughError), closing(answers("worker_for_tests", "", [(kind, 1)] * 3, 2, check=check)) as said:
        for _, words in said:
            pids.add(words["pid"])
            began = time.monotonic()
    assert len(pids) == 2
    assert time.monotonic() - began < GONE_S
    for pid in pids:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


@pytest.mark.parametrize("kind", ["busy", "sleep"])
def test_a_process_ends_with_its_stdin_alone(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """As where the system cannot tie a process to its parent."""
    monkeypatch.setenv("TEST_WITHOUT_DEATH_SIGNAL", "1")
    run = [sys.executable, "-m", "worker_for_tests", str(os.getpid())]
    paths = os.pathsep.join([str(Path(__file__).parent), *sys.path])
    process = subprocess.Popen(
        run, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": paths}
    )
    assert process.stdin is not None and process.stdout is not None
    try:
        for message in (pickle.dumps("set"), pickle.dumps((kind, 1))):
            process.stdin.write(b"%d\n" % len(message) + message)
        process.stdin.flush()
        assert b"began" in process.stdout.readline()
        process.stdin.close()
        assert process.wait(GONE_S) == 0
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


def test_a_process_whose_parent_is_another_by_now_ends_at_once() -> None:
    paths = os.pathsep.join([str(Path(__file__).parent), *sys.path])
    run = [sys.executable, "-m", "worker_for_tests", "1"]
    done = subprocess.run(run, stdin=subprocess.PIPE, env={**os.environ, "PYTHONPATH": paths}, timeout=20)
    assert done.returncode == 0
