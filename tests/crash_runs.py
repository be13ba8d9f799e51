"""Kill drafts of a short project at random moments, run each again, and say what came of it.

    python tests/crash_runs.py FOLDER COUNT SEED WORKERS

One line of JSON a moment. The drafts are forks of this process, so that each begins with everything imported and a
moment falls into the work rather than into start-up; their worker processes are started as ever.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import sys
import time
from pathlib import Path
from typing import Any

from crash_maker import is_worker, landed, make_project, outside, workers_of

import assembler.prepare
import assembler.render.draft
import assembler.render.tools
import assembler.sound.mix  # noqa: F401  loaded before the forks
from assembler.cli.main import main


def fork_draft(project: Path, workers: int, out: Path) -> int:
    """Begin a draft in a process of its own; its result goes to a file, its messages to another."""
    pid = os.fork()
    if pid:
        return pid
    for number, path in ((1, out), (2, out.with_suffix(".err"))):
        os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644), number)
    code = 70
    try:
        code = main(["draft", str(project), "--json", "--workers", str(workers)])
        sys.stdout.flush()
    finally:
        os._exit(code)


def forget(project: Path) -> None:
    shutil.rmtree(project / ".assembler", ignore_errors=True)
    shutil.rmtree(project / "out", ignore_errors=True)


def whole_draft(project: Path, workers: int, out: Path) -> dict[str, Any]:
    pid = fork_draft(project, workers, out)
    code = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    if code:
        raise SystemExit(f"a draft ended with {code}:\n{out.with_suffix('.err').read_text()}")
    result: dict[str, Any] = json.loads(out.read_text())
    return result


def one(project: Path, workers: int, delay_s: float, out: Path) -> dict[str, Any]:
    """What came of killing a draft after a while, and of the next one."""
    forget(project)
    pid = fork_draft(project, workers, out)
    time.sleep(delay_s)
    at_work = workers_of(pid)
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    killed = time.monotonic()
    while any(map(is_worker, at_work)) and time.monotonic() - killed < 10:
        time.sleep(0.01)
    gone_s = time.monotonic() - killed
    before = landed(project)
    result = whole_draft(project, workers, out)
    after = landed(project)
    return {
        "after_s": round(delay_s, 3),
        "workers": len(at_work),
        "gone_s": round(gone_s, 3),
        "landed": len(before),
        "made": result["parts_made"],
        "kept": result["parts_kept"],
        "made_twice": sum(after.get(name) != file for name, file in before.items()),
        "partial": sorted(path.name for path in project.rglob("*.partial*")),
    }


def run(folder: Path, count: int, seed: int, workers: int) -> None:
    project = make_project(folder / "project")
    out = folder / "said.txt"
    whole_draft(project, 1, out)  # what is made once for good, such as compiled arithmetic, is no part of the time
    forget(project)
    began = time.monotonic()
    whole_draft(project, workers, out)
    whole_s = time.monotonic() - began
    drafts = sorted(path for path in (project / "out").iterdir())
    clean = {path.name: path.read_bytes() for path in drafts}
    files = outside(project)
    moments = random.Random(seed)
    for number in range(count):
        # Spread over the whole run, at random within each stretch.
        told = one(project, workers, whole_s * (number + moments.random()) / count, out)
        told["equal"] = {path.name: path.read_bytes() for path in sorted((project / "out").iterdir())} == clean
        told["left"] = sorted(outside(project) - files)
        sys.stdout.write(json.dumps(told) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    run(Path(sys.argv[1]), *map(int, sys.argv[2:5]))
