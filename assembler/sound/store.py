"""Levels kept between runs, named by all that they were measured from.

    <cache>/sound/<hash>.levels  JSON, its length before it; then power and peaks by the millisecond, float32
    <cache>/sound/stems/         decoded sound, see stems.py
    <cache>/sound/pieces/        what was heard of each piece, see listening.py and pieces.py

The newest `_KEPT` of them stay.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from assembler.media.content import content_print
from assembler.media.landing import writing
from assembler.sound.buses import heard_lines
from assembler.sound.keeping import engine, make_room
from assembler.sound.levels import Levels, Progress, measure
from assembler.sound.report import MixReport, SegmentSound
from assembler.sound.sessions import session_of
from assembler.sound.spool import Spool
from assembler.sound.stems import Stems
from assembler.sound.streams import Gains
from assembler.timeline.model import Timeline

_KEPT = 8
_PIECES_ROOM = 512 << 20  # bytes: some two hours
_LENGTH = 4  # bytes that say how long the JSON is
UNREADABLE = (OSError, ValueError, KeyError, TypeError, MemoryError)
"""What reading a kept file that is not whole may raise."""


def kept_levels(timeline: Timeline, cache: Path, *, progress: Progress | None = None) -> Levels:
    """A programme's levels, measured unless an earlier run did.

    cache: the project's cache folder. progress: called with seconds done and seconds in all while it measures.
    Raises NarrationError when a voiced line's file is gone, MediaError when a sound cannot be read.
    """
    path = cache / "sound" / f"{sound_key(timeline)}.levels"
    found = _read(path)
    if found is None:
        stems = kept_stems(cache)
        found = measure(timeline, progress=progress, stems=stems, pieces=pieces_folder(cache))
        _keep(found, path)
        _tidy(path.parent)
        stems.tidy()
        tidy_pieces(cache)
    else:
        with contextlib.suppress(OSError):
            os.utime(path)  # what is used stays
    return found


def kept_stems(cache: Path) -> Stems:
    """Where a project's decoded sound is kept."""
    return Stems(cache / "sound")


def pieces_folder(cache: Path) -> Path:
    """Where what is known of its sound piece by piece is kept."""
    return cache / "sound" / "pieces"


def tidy_pieces(cache: Path) -> None:
    """Make room again: remove what was used longest ago."""
    make_room(pieces_folder(cache), "*", _PIECES_ROOM)


def sound_key(timeline: Timeline) -> str:
    """A digest of all that the sound depends on."""
    told = hashlib.sha256(engine().encode())
    for part in _facts(timeline):
        told.update(repr(part).encode() + b"\n")
    return told.hexdigest()[:40]


def _facts(timeline: Timeline) -> Iterator[object]:
    """All that the sound depends on. A voiced line's file is named by its content."""
    settings = timeline.storyboard.sound
    yield timeline.rate, timeline.frames, settings.loudness_lufs, settings.peak_dbtp, settings.duck_db
    for placed in timeline.segments:
        yield placed.segment.id, placed.span.start_frame, placed.span.end_frame
        for heard in placed.heard:
            yield heard.capture.id, heard.start_sample, heard.end_sample, heard.capture_s, heard.gain_db
    for line in heard_lines(timeline):
        speech = line.speech
        assert speech.sound is not None
        words = [(word.start_sample, word.end_sample) for word in speech.words]
        yield speech.sound.name, speech.samples, line.start_sample, speech.kind, session_of(line), words
    for name in sorted({heard.capture.id for placed in timeline.segments for heard in placed.heard}):
        if name in timeline.captures:
            yield name, content_print(timeline.captures[name].path), timeline.captures[name].sound
    for music in timeline.music:
        yield str(music.path), content_print(music.path), music.info, music.start_sample, music.end_sample
        yield music.music.gain_db, music.music.start.seconds, music.music.loop
        yield music.music.fade_in.seconds, music.music.fade_out.seconds


def _keep(levels: Levels, path: Path) -> None:
    told = {
        "samples": levels.samples,
        "sessions": levels.gains.sessions,
        "music": levels.gains.music,
        "gain_db": levels.gain_db,
        "report": asdict(levels.report),
        "rows": [levels.power.size, levels.peaks.size],
    }
    head = json.dumps(told).encode()
    with writing(path) as file:
        file.write(len(head).to_bytes(_LENGTH, "little") + head)
        for spool in (levels.power, levels.peaks):
            for _, rows in spool.stretches():
                file.write(rows.data)


def _read(path: Path) -> Levels | None:
    try:
        with path.open("rb") as file:
            length = int.from_bytes(file.read(_LENGTH), "little")
            told: dict[str, Any] = json.loads(file.read(length))
        report = told["report"]
        report["segments"] = tuple(SegmentSound(**each) for each in report["segments"])
        power, peaks = told["rows"]
        begin = _LENGTH + length
        if path.stat().st_size != begin + 4 * (power + peaks):
            return None
        return Levels(
            told["samples"],
            Gains(told["sessions"], told["music"]),
            Spool.of_file(path, begin, power),
            Spool.of_file(path, begin + 4 * power, peaks),
            told["gain_db"],
            MixReport(**report),
        )
    except UNREADABLE:
        return None


def _tidy(folder: Path) -> None:
    with contextlib.suppress(OSError):
        for path in sorted(folder.glob("*.levels"), key=lambda each: each.stat().st_mtime)[:-_KEPT]:
            path.unlink(missing_ok=True)
