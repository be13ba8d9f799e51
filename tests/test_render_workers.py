"""How parts are shared out to processes: in runs that read their captures forward, as many processes as will pay."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from render_maker import PLAIN, Scene, programme

from assembler.render import workers
from assembler.render.draft import plan_draft
from assembler.render.jobs import PartJob
from assembler.render.workers import runs, workers_that_pay
from assembler.timeline.model import Timeline


def jobs_of(timeline: Timeline) -> list[PartJob]:
    return [part.job for part in plan_draft(timeline, (), PLAIN)]


@pytest.fixture(scope="module")
def long_jobs(long: Timeline) -> list[PartJob]:
    return jobs_of(long)


@pytest.fixture(scope="module")
def long(tmp_path_factory: pytest.TempPathFactory) -> Timeline:
    """Three shots of a minute and more, and some short ones."""
    scenes = [Scene("a", [1800, 2400]), Scene("b", [30]), Scene("c", [45]), Scene("d", [3000])]
    return programme(tmp_path_factory.mktemp("long"), scenes)


@settings(deadline=None)
@given(count=st.integers(1, 8), leave=st.sets(st.integers(0, 60), max_size=40))
def test_runs_keep_the_order_and_follow_on_within_a_shot(
    long_jobs: list[PartJob], count: int, leave: set[int]
) -> None:
    jobs = [job for number, job in enumerate(long_jobs) if number not in leave]
    found = runs(jobs, count)
    assert [number for run in found for number in run] == list(range(len(jobs)))
    most = sum(job.frames for job in jobs) // count
    for run in found:
        for one, other in pairwise(run):
            assert jobs[one].shot is jobs[other].shot
            assert jobs[one].first + jobs[one].frames == jobs[other].first
        # So that no process is left with more than its share at the end.
        assert len(run) == 1 or sum(jobs[number].frames for number in run) <= most


def test_a_long_shot_is_shared_out_and_its_pieces_stay_together(long: Timeline) -> None:
    jobs = jobs_of(long)
    assert len(runs(jobs, 2)) < len(jobs) / 2
    assert len(runs(jobs, 2)) >= 4


def test_what_is_missing_in_the_middle_parts_a_run(tmp_path: Path) -> None:
    jobs = jobs_of(programme(tmp_path, [Scene("a", [600])]))
    assert len(jobs) >= 5
    missing = [*jobs[:2], *jobs[3:]]
    assert not any({1, 2} <= set(run) for run in runs(missing, 1))


def test_how_many_pay_follows_processors_memory_and_work(long: Timeline, monkeypatch: pytest.MonkeyPatch) -> None:
    jobs, captures = jobs_of(long), long.captures
    monkeypatch.setattr(workers, "free_bytes", lambda: 64 << 30)
    counts = []
    for cores in (1, 2, 4, 8, 64):
        monkeypatch.setattr(workers, "processors", lambda cores=cores: cores)
        counts.append(workers_that_pay(jobs, captures))
    assert counts == sorted(counts)
    # On two processors one process keeps both at work: see benchmarks/RESULTS.md.
    assert counts[:3] == [1, 1, 2]
    assert workers_that_pay(jobs[:1], captures) == workers_that_pay([], captures) == 1
    large = {name: replace(info, width=7680, height=4320) for name, info in captures.items()}
    monkeypatch.setattr(workers, "free_bytes", lambda: 8 << 30)
    assert workers_that_pay(jobs, large) < workers_that_pay(jobs, captures)
    monkeypatch.setattr(workers, "free_bytes", lambda: 100 << 20)
    assert workers_that_pay(jobs, captures) == 1
    monkeypatch.setattr(workers, "free_bytes", lambda: None)
    assert workers_that_pay(jobs, captures) == counts[-1]
