"""Make the parts of a plan: here, or in processes side by side where that pays.

A process is given a run of parts that follow on each other in one shot, so that it reads its captures forward; runs
go out in programme order. Whatever ends the asker ends the processes too (see media/processes.py).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, closing
from dataclasses import dataclass
from pathlib import Path

from assembler.media.info import CaptureInfo
from assembler.media.processes import answers, failure, free_bytes, processors
from assembler.picture.stage import Stage
from assembler.render.fingerprint import refuse_changed
from assembler.render.jobs import PartJob, shots_of
from assembler.render.part import Interrupted, PartTimes, Tools, render_part
from assembler.render.parts import PlannedPart
from assembler.render.progress import Meter
from assembler.render.seals import seal

CORES_EACH = 2
"""Processors that one process keeps busy: decoding, composing and encoding overlap in it."""
_LEAST_FRAMES = 600
"""Frames a process must have to make, to be worth the second that it takes to start."""
_RUNS_EACH = 4
"""Runs for each process, so that all of them come to their end at about the same time."""
_LEAST_BYTES, _PICTURES_HELD = 250 << 20, 24
"""Memory of a process: libraries and drawings, and pictures that each decoder and the encoder hold at once."""


@dataclass(frozen=True, slots=True, eq=False)
class Work:
    """What a process has to know. threads: for each of its decoders. sources: files by the names that jobs use."""

    stage: Stage
    jobs: tuple[PartJob, ...]
    paths: tuple[Path, ...]
    sources: Mapping[str, Path]
    threads: int


def make_part(
    job: PartJob,
    tools: Tools,
    path: Path,
    sources: Mapping[str, Path],
    *,
    on_frame: Callable[[], None] = lambda: None,
    cancelled: Callable[[], bool] = lambda: False,
) -> PartTimes:
    """Make one part, and see before it lands that it was made from the files that its name stands for.

    Raises as `render_part` does, and RenderError when a file has changed meanwhile.
    """

    def check() -> None:
        refuse_changed({name: sources[name] for name in job.sources}, job.sources)

    times = render_part(job, tools, path, on_frame=on_frame, cancelled=cancelled, before_landing=check)
    seal(path)
    return times


def make_here(
    parts: Sequence[PlannedPart],
    opened: Callable[[], AbstractContextManager[Tools]],
    sources: Mapping[str, Path],
    meter: Meter,
    cancelled: Callable[[], bool],
) -> PartTimes:
    """Make parts one after the other in this process. opened: gives the tools, when there is something to make."""
    times = PartTimes()
    if not parts:
        return times
    with opened() as tools:
        for part in parts:
            meter.note = part.job.name
            times += make_part(part.job, tools, part.path, sources, on_frame=meter.add, cancelled=cancelled)
    return times


def make_at_once(
    parts: Sequence[PlannedPart],
    stage: Stage,
    sources: Mapping[str, Path],
    workers: int,
    meter: Meter,
    cancelled: Callable[[], bool],
) -> PartTimes:
    """Make parts in `workers` processes. Raises as `make_part` does, and RenderError where a process is lost."""

    def check() -> None:
        if cancelled():
            raise Interrupted

    work = Work(
        stage,
        tuple(part.job for part in parts),
        tuple(part.path for part in parts),
        sources,
        max(1, processors() // workers),
    )
    lots = runs(work.jobs, workers)
    doing = {number: parts[run[0]].job.name for number, run in enumerate(lots)}
    times = PartTimes()
    with closing(answers("assembler.render.worker", work, lots, workers, check=check)) as said:
        for number, words in said:
            if "error" in words:
                raise failure(words, f"rendering '{doing[number]}'", "assembler draft --workers 1")
            if "part" in words:
                meter.note = doing[number] = parts[words["part"]].job.name
            elif "frames" in words:
                meter.add(words["frames"])
            elif "made" in words:
                times += PartTimes(*words["times"])
    return times


def runs(jobs: Sequence[PartJob], workers: int) -> list[tuple[int, ...]]:
    """Numbers of jobs in runs that follow on each other in one shot, none so long that processes wait at the end."""
    most = sum(job.frames for job in jobs) // (workers * _RUNS_EACH)
    found: list[list[int]] = []
    length = 0
    for number, job in enumerate(jobs):
        before = jobs[number - 1] if number else None
        follows = before is not None and before.shot is job.shot and before.first + before.frames == job.first
        if follows and length + job.frames <= most:
            found[-1].append(number)
            length += job.frames
        else:
            found.append([number])
            length = job.frames
    return [tuple(run) for run in found]


def workers_that_pay(jobs: Sequence[PartJob], captures: Mapping[str, CaptureInfo]) -> int:
    """How many processes to make parts in on this machine; 1 where this one is best."""
    frames = sum(job.frames for job in jobs)
    if not frames:
        return 1
    free = free_bytes()
    fit = len(jobs) if free is None else int(free // (2 * _bytes_of(jobs, captures)))  # half of what is free is left
    return max(1, min(len(jobs), processors() // CORES_EACH, frames // _LEAST_FRAMES, fit))


def _bytes_of(jobs: Sequence[PartJob], captures: Mapping[str, CaptureInfo]) -> int:
    """About what a process takes for the part that takes most."""
    most = 0
    for job in jobs:
        shown = [captures[pane.capture.id] for shot in shots_of(job) for pane in shot.panes]
        held = [(info.width, info.height, info.bits) for info in shown] + [(job.width, job.height, job.settings.bits)]
        most = max(most, sum(wide * high * 3 // 2 * (1 if bits == 8 else 2) for wide, high, bits in held))
    return _LEAST_BYTES + _PICTURES_HELD * most
