"""The store of finished parts: which of them can be kept, and why the others are made."""

from __future__ import annotations

import contextlib
import json
import os
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from assembler.media.landing import write_whole
from assembler.render import seals
from assembler.render.changes import Noted, changes, noted, only_once
from assembler.render.jobs import PartJob, facets_key, job_facets
from assembler.render.seals import is_whole

PARTS_NAME = "parts"
_LAST_RUN = "last-run.json"
_USED = "used-"
_KEEP_DAYS = 14


@dataclass(frozen=True, slots=True, eq=False)
class PlannedPart:
    """A part of the plan. state: `made` (to be rendered) or `kept`. reasons: in words, for the person."""

    job: PartJob
    key: str
    path: Path
    state: Literal["made", "kept"]
    reasons: tuple[str, ...]

    @property
    def frames(self) -> int:
        return self.job.frames

    @property
    def why(self) -> str:
        """The reasons in a row."""
        return ", ".join(self.reasons)


@dataclass(frozen=True, slots=True, eq=False)
class PlannedShot:
    """A shot of the plan, in as many parts as it is cut into: what a person counts in."""

    name: str
    parts: tuple[PlannedPart, ...]

    @property
    def frames(self) -> int:
        return sum(part.frames for part in self.parts)

    @property
    def frames_to_make(self) -> int:
        return sum(part.frames for part in self.parts if part.state == "made")

    @property
    def state(self) -> Literal["made", "kept"]:
        return "made" if self.frames_to_make else "kept"

    @property
    def why(self) -> str:
        """Why those that are made are made; where none is, why all are kept."""
        counted = [part for part in self.parts if part.state == self.state]
        return ", ".join(only_once([reason for part in counted for reason in part.reasons]))


def by_shot(parts: Iterable[PlannedPart]) -> tuple[PlannedShot, ...]:
    """The parts of a plan, shot by shot."""
    shots: list[tuple[str, list[PlannedPart]]] = []
    for part in parts:
        name = part.job.shot_name
        if not shots or shots[-1][0] != name:
            shots.append((name, []))
        shots[-1][1].append(part)
    return tuple(PlannedShot(name, tuple(found)) for name, found in shots)


class PartStore:
    """Parts under `<cache>/parts`, each named by its key. Times are the files' own, for tidying only.

    purpose: what is being made; drafts and masters each remember their own last run.
    """

    def __init__(self, cache: Path, purpose: str = "draft") -> None:
        self.folder = cache / PARTS_NAME
        self._purpose = purpose
        self._remembered = self.folder / (_LAST_RUN if purpose == "draft" else f"last-{purpose}.json")

    def plan(self, jobs: Sequence[PartJob], *, anew: bool = False) -> tuple[PlannedPart, ...]:
        """What will happen to each job. A part counts as finished when all its pictures are there.
        anew: render even what is finished."""
        last = self._last_run()
        seen: dict[str, str] = {}
        planned = []
        for job in jobs:
            key = facets_key(job_facets(job))
            path = self.folder / f"{key}.mp4"
            state: Literal["made", "kept"] = "made"
            why: tuple[str, ...]
            if key in seen:
                state, why = "kept", (f"the same as {seen[key]}",)
            elif not path.exists():
                why = changes(last.get(job.name), noted(job))
            elif not is_whole(path, job.frames):
                why = ("what is stored is damaged",)
            elif anew:
                why = ("asked for anew",)
            else:
                state, why = "kept", ("nothing changed",)
            seen.setdefault(key, job.name)
            planned.append(PlannedPart(job, key, path, state, why))
        return tuple(planned)

    def remember(self, jobs: Iterable[PartJob]) -> None:
        """Note what the parts were made from, so that the next plan can say what changed."""
        told = self._last_run() | {job.name: noted(job) for job in jobs}
        write_whole(self._remembered, json.dumps(told, sort_keys=True, indent=0).encode())

    def tidy(self, used: Iterable[PlannedPart], *, whole: bool) -> None:
        """Mark parts as used today. After a run of the whole programme, note which it used, and remove those not used
        for two weeks."""
        now, used = time.time(), tuple(used)
        if whole:
            names = sorted({part.path.name for part in used})
            write_whole(self.folder / f"{_USED}{self._purpose}.json", json.dumps(names, indent=0).encode())
        for part in used:
            with contextlib.suppress(OSError):
                os.utime(part.path, (now, now))
        for path in self.folder.glob("*.mp4") if whole else ():
            with contextlib.suppress(OSError):
                if now - path.stat().st_mtime > _KEEP_DAYS * 86_400:
                    seals.remove(path)

    def _last_run(self) -> dict[str, Noted]:
        try:
            stored = json.loads(self._remembered.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return stored if isinstance(stored, dict) else {}


def used_parts(cache: Path) -> set[Path]:
    """The parts of the last whole draft and of the last whole master."""
    folder = cache / PARTS_NAME
    found: set[Path] = set()
    for note in folder.glob(f"{_USED}*.json"):
        with contextlib.suppress(OSError, ValueError):
            names = json.loads(note.read_bytes())
            found |= {folder / name for name in names if isinstance(name, str)} if isinstance(names, list) else set()
    return found
