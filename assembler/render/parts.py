"""The store of finished parts: which of them can be kept, and why the others are made."""

from __future__ import annotations

import contextlib
import json
import os
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from assembler.media.landing import PARTIAL, write_whole
from assembler.media.writer import count_pictures
from assembler.render.jobs import PartJob, facets_key, job_facets

PARTS_NAME = "parts"
_LAST_RUN = "last-run.json"
_KEEP_DAYS = 14


@dataclass(frozen=True, slots=True, eq=False)
class PlannedPart:
    """A part of the plan. state: `made` (to be rendered) or `kept`. why: in words, for the person."""

    job: PartJob
    key: str
    path: Path
    state: Literal["made", "kept"]
    why: str

    @property
    def frames(self) -> int:
        return self.job.frames


class PartStore:
    """Parts under `<cache>/parts`, each named by its key. Times are the files' own, for tidying only.

    purpose: what is being made; drafts and masters each remember their own last run.
    """

    def __init__(self, cache: Path, purpose: str = "draft") -> None:
        self.folder = cache / PARTS_NAME
        self._remembered = self.folder / (_LAST_RUN if purpose == "draft" else f"last-{purpose}.json")

    def plan(self, jobs: Sequence[PartJob], *, anew: bool = False) -> tuple[PlannedPart, ...]:
        """What will happen to each job. A part counts as finished when all its pictures are there.
        anew: render even what is finished."""
        last = self._last_run()
        seen: dict[str, str] = {}
        planned = []
        for job in jobs:
            facets = job_facets(job)
            key = facets_key(facets)
            path = self.folder / f"{key}.mp4"
            state: Literal["made", "kept"] = "made"
            if key in seen:
                state, why = "kept", f"the same as {seen[key]}"
            elif not path.exists():
                why = _what_changed(last.get(job.name), facets)
            elif count_pictures(path) != job.frames:
                why = "what is stored is damaged"
            elif anew:
                why = "asked for anew"
            else:
                state, why = "kept", "nothing changed"
            seen.setdefault(key, job.name)
            planned.append(PlannedPart(job, key, path, state, why))
        return tuple(planned)

    def remember(self, jobs: Iterable[PartJob]) -> None:
        """Note what the parts were made from, so that the next plan can say what changed."""
        facets = self._last_run() | {job.name: job_facets(job) for job in jobs}
        write_whole(self._remembered, json.dumps(facets, sort_keys=True, indent=0).encode())

    def sweep(self) -> None:
        """Remove what a killed run left half written. Only while holding the project's lock."""
        for left in self.folder.glob(f"*{PARTIAL}.*"):
            with contextlib.suppress(OSError):
                left.unlink()

    def tidy(self, used: Iterable[PlannedPart], *, whole: bool) -> None:
        """Mark parts as used today. After a run of the whole programme, remove those not used for two weeks."""
        now = time.time()
        for part in used:
            with contextlib.suppress(OSError):
                os.utime(part.path, (now, now))
        for path in self.folder.glob("*.mp4") if whole else ():
            with contextlib.suppress(OSError):
                if now - path.stat().st_mtime > _KEEP_DAYS * 86_400:
                    path.unlink()

    def _last_run(self) -> dict[str, Mapping[str, str]]:
        try:
            stored = json.loads(self._remembered.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return stored if isinstance(stored, dict) else {}


def _what_changed(before: Mapping[str, str] | None, now: Mapping[str, str]) -> str:
    if not isinstance(before, dict):
        return "new"
    changed = [name for name, digest in now.items() if before.get(name) != digest]
    if not changed:
        return "not finished before"
    return f"changed: {', '.join(changed)}"
