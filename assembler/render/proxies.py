"""The proxies of a draft: for which captures they are worth making, and the missing pieces made before drawing."""

from __future__ import annotations

import contextlib
import os
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from assembler.media.content import content_print
from assembler.media.info import CaptureInfo
from assembler.media.processes import processors
from assembler.media.proxies import FOLDER, Proxies, pays, piece_path, piece_span, pieces_of, present, proxy_folder
from assembler.media.proxy_writing import make_pieces
from assembler.picture.panes import may_be_proxied
from assembler.picture.proxied import proxied_panes
from assembler.picture.stage import Stage
from assembler.render.fingerprint import refuse_changed
from assembler.render.jobs import PartJob
from assembler.render.part import Interrupted
from assembler.render.progress import Listener, Meter
from assembler.storyboard.model import Storyboard
from assembler.timeline.model import PlacedShot, Timeline

_KEEP_DAYS = 14
_CORES_EACH = 2
_LONGEST_BESIDE_S = 600


def worth_proxies(timeline: Timeline) -> frozenset[str]:
    """The captures that drafts read by proxy where a pane allows it."""
    return frozenset(name for name, info in timeline.captures.items() if pays(info))


def read_by_proxy(shots: Iterable[PlacedShot], worth: Collection[str]) -> tuple[str, ...]:
    """The captures of some shots that may be read by proxy, by name: a part is another one with them."""
    names = {
        placed.capture.id
        for shot in shots
        for placed in shot.panes
        if placed.capture.id in worth and may_be_proxied(shot.arrangement, placed.pane)
    }
    return tuple(sorted(names))


def proxies_beside(storyboard: Storyboard, captures: Mapping[str, CaptureInfo], cache: Path) -> dict[str, Path]:
    """Where the proxies of captures go that are made while these are measured: of those that some pane may read by
    proxy, and that are not so long that most of the work might be for pictures never shown."""
    arrangements = [shot.arrangement for segment in storyboard.segments for shot in segment.shots]
    shown = {pane.capture for each in arrangements for pane in each.panes if may_be_proxied(each, pane)}
    return {
        name: proxy_folder(cache, info, content_print(info.path))
        for name, info in captures.items()
        if name in shown and info.duration_s <= _LONGEST_BESIDE_S and pays(info)
    }


def make_proxies(
    jobs: Sequence[PartJob],
    stage: Stage,
    cache: Path,
    sources: Mapping[str, Path],
    progress: Listener | None,
    cancelled: Callable[[], bool],
) -> dict[str, Proxies]:
    """Make what the parts need and is not there. Returns the proxies by capture id.

    cache: the project's cache folder. sources: files by the names that jobs use. Raises Interrupted, RenderError where
    a capture changes meanwhile, and MissingPartError or RenderError where nothing can be written.
    """
    content = {name: job.sources[f"capture {name}"] for job in jobs for name in job.by_proxy}
    wanted = _wanted(jobs, stage)
    folders = {name: proxy_folder(cache, stage.captures[name], content[name]) for name in wanted}
    there = {name: present(stage.captures[name], folders[name], pieces) for name, pieces in wanted.items()}
    missing = {name: wanted[name] - there[name] for name in wanted if wanted[name] - there[name]}
    made: dict[str, frozenset[int]] = {}
    if missing:
        total = sum(len(piece_span(stage.captures[name], piece)) for name in missing for piece in missing[name])
        meter, turn = Meter(progress, "proxies", total, unit="pictures"), threading.Lock()

        def done(name: str, count: int) -> None:
            if cancelled():
                raise Interrupted
            with turn:
                meter.note = name
                meter.add(count)

        def make(name: str) -> frozenset[int]:
            info: CaptureInfo = stage.captures[name]
            pieces = make_pieces(info, folders[name], missing[name], lambda count: done(name, count))
            try:
                refuse_changed({f"capture {name}": sources[f"capture {name}"]}, {f"capture {name}": content[name]})
            except BaseException:
                for piece in pieces:
                    piece_path(folders[name], piece).unlink(missing_ok=True)
                raise
            return pieces

        with ThreadPoolExecutor(max(1, min(len(missing), processors() // _CORES_EACH))) as pool:
            made = dict(zip(missing, pool.map(make, missing), strict=True))
        meter.reach(total)
    found = {name: Proxies(folders[name], there[name] | made.get(name, frozenset())) for name in wanted}
    _tidy(cache, found)
    return found


def _wanted(jobs: Iterable[PartJob], stage: Stage) -> dict[str, set[int]]:
    """The pieces that jobs need, by capture id."""
    found: dict[str, set[int]] = defaultdict(set)
    panes: dict[int, tuple[PlacedShot, list[tuple[str, int]]]] = {}
    for job in jobs:
        spans = [(job.shot, job.first, job.frames)]
        if job.dissolve is not None:
            under = max(0, min(job.frames, job.dissolve.length - job.dissolve.done))
            spans.append((job.dissolve.shot, job.dissolve.first, under))
        for shot, first, frames in spans if job.by_proxy else ():
            if id(shot) not in panes:  # the shot is held beside, so that its id stays its own
                by_proxy = list(proxied_panes(shot, stage))
                shown = [(p.capture.id, n) for n, p in enumerate(shot.panes) if any(p is each for each in by_proxy)]
                panes[id(shot)] = shot, shown
            for name, number in panes[id(shot)][1]:
                if name in job.by_proxy:
                    found[name] |= pieces_of(shot.panes[number].picture[first : first + frames])
    return dict(found)


def _tidy(cache: Path, used: Mapping[str, Proxies]) -> None:
    """Mark pieces as used today; remove those not used for two weeks."""
    now = time.time()
    for proxies in used.values():
        for piece in proxies.pieces:
            with contextlib.suppress(OSError):
                os.utime(piece_path(proxies.folder, piece), (now, now))
    for path in (cache / FOLDER).glob("*/*.mp4"):
        with contextlib.suppress(OSError):
            if now - path.stat().st_mtime > _KEEP_DAYS * 86_400:
                path.unlink()
