"""Coded sound kept between runs: when nothing that is heard has changed, nothing is mixed or coded.

    <cache>/sound/<hash>.m4a     as it goes into the programme
    <cache>/sound/<hash>.json    its size, digest and report; written last, so that what has none is not whole

The newest `_KEPT` of them stay: an hour takes some 115 MB for a draft.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from assembler.media.landing import write_whole
from assembler.sound.delivery import Delivered, Delivery, deliver
from assembler.sound.report import MixReport, SegmentSound
from assembler.sound.store import UNREADABLE, kept_levels, kept_stems, pieces_folder, sound_key, tidy_pieces
from assembler.timeline.model import Timeline
from assembler.timing.rates import SAMPLE_RATE, sample_of_frame
from assembler.timing.spans import Span

_KEPT = 4

Progress = Callable[[float, float], None]


def kept_sound(
    timeline: Timeline, span: Span, delivery: Delivery, cache: Path, progress: Progress | None = None
) -> Delivered:
    """A span's sound, coded unless an earlier run did. Only one run at a time may do this in a cache.

    progress: called with seconds of the programme done, and in all; listening and coding count half each.
    Raises NarrationError when a voiced line's file is gone, MediaError when a sound cannot be read, MissingPartError
    when the disk is full.
    """
    folder = cache / "sound"
    told = f"{sound_key(timeline)} {span.start_frame} {span.end_frame} {delivery}"
    path = folder / f"{hashlib.sha256(told.encode()).hexdigest()[:40]}.m4a"
    found = _read(path)
    seconds = -(-sample_of_frame(timeline.frames, timeline.rate) // SAMPLE_RATE)
    if found is not None:
        if progress:
            progress(seconds, seconds)
        for each in (path, path.with_suffix(".json")):
            with contextlib.suppress(OSError):
                os.utime(each)  # what is used stays
        return found

    reached = 0.0

    def half(begun: float) -> Callable[[float, float], None]:
        def tell(done: float, total: float) -> None:
            nonlocal reached
            reached = max(reached, (begun + done / max(total, 1)) / 2)  # another round goes back
            if progress:
                progress(reached * seconds, seconds)

        return tell

    levels = kept_levels(timeline, cache, progress=half(0))
    stems = kept_stems(cache)
    made = deliver(timeline, span, levels, stems, delivery, path, half(1), pieces_folder(cache))
    stems.tidy()
    tidy_pieces(cache)
    told = json.dumps(_seal(path) | {"report": asdict(made.report), "rounds": made.rounds})
    write_whole(path.with_suffix(".json"), told.encode())
    _tidy(folder)
    return made


def _read(path: Path) -> Delivered | None:
    try:
        told: dict[str, Any] = json.loads(path.with_suffix(".json").read_bytes())
        report = told["report"]
        report["segments"] = tuple(SegmentSound(**each) for each in report["segments"])
        if path.stat().st_size != told["bytes"] or _seal(path)["sha256"] != told["sha256"]:
            return None
        return Delivered(path, MixReport(**report), told["rounds"])
    except UNREADABLE:
        return None


def _seal(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
        return {"bytes": file.tell(), "sha256": digest}


def _tidy(folder: Path) -> None:
    with contextlib.suppress(OSError):
        for path in sorted(folder.glob("*.m4a"), key=lambda each: each.stat().st_mtime)[:-_KEPT]:
            for each in (path.with_suffix(".json"), path):
                each.unlink(missing_ok=True)
