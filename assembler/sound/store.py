"""Levels kept between runs, named by all that they were measured from.

    <cache>/sound/<hash>.npz     the limiter's curve, and all else as JSON
    <cache>/sound/stems/         decoded sound, see stems.py

The newest `_KEPT` of them stay.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import io
import json
import os
import zipfile
from collections.abc import Iterator
from dataclasses import asdict
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np

from assembler.media.content import content_print
from assembler.media.landing import write_whole
from assembler.sound.buses import heard_lines
from assembler.sound.levels import Levels, Progress, measure
from assembler.sound.report import MixReport, SegmentSound
from assembler.sound.sessions import session_of
from assembler.sound.stems import Stems
from assembler.sound.streams import Gains
from assembler.timeline.model import Timeline

_KEPT = 8
_UNREADABLE = (OSError, ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile)


def kept_levels(timeline: Timeline, cache: Path, *, progress: Progress | None = None) -> Levels:
    """A programme's levels, measured unless an earlier run did.

    cache: the project's cache folder. progress: called with seconds done and seconds in all while it measures.
    Raises NarrationError when a voiced line's file is gone, MediaError when a sound cannot be read.
    """
    path = cache / "sound" / f"{_key(timeline)}.npz"
    found = _read(path)
    if found is None:
        stems = kept_stems(cache)
        found = measure(timeline, progress=progress, stems=stems)
        write_whole(path, _bytes(found))
        _tidy(path.parent)
        stems.tidy()
    else:
        with contextlib.suppress(OSError):
            os.utime(path)  # what is used stays
    return found


def kept_stems(cache: Path) -> Stems:
    """Where a project's decoded sound is kept."""
    return Stems(cache / "sound")


def _key(timeline: Timeline) -> str:
    told = hashlib.sha256(_engine().encode())
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


@functools.cache
def _engine() -> str:
    """A digest of the code that reads and measures sound, and the version of what decodes it."""
    here = Path(__file__).resolve().parent
    digest = hashlib.sha256(f"av {metadata.version('av')}".encode())
    for path in (*sorted(here.glob("*.py")), here.parent / "media" / "sound.py"):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _bytes(levels: Levels) -> bytes:
    told = {
        "samples": levels.samples,
        "sessions": levels.gains.sessions,
        "music": levels.gains.music,
        "gain_db": levels.gain_db,
        "report": asdict(levels.report),
    }
    out = io.BytesIO()
    np.savez_compressed(out, curve=levels.curve, told=np.frombuffer(json.dumps(told).encode(), np.uint8))
    return out.getvalue()


def _read(path: Path) -> Levels | None:
    try:
        with np.load(path, allow_pickle=False) as stored:
            told: dict[str, Any] = json.loads(stored["told"].tobytes())
            curve = stored["curve"]
        report = told["report"]
        report["segments"] = tuple(SegmentSound(**each) for each in report["segments"])
        gains = Gains(told["sessions"], told["music"])
        return Levels(told["samples"], gains, told["gain_db"], curve, MixReport(**report))
    except _UNREADABLE:
        return None


def _tidy(folder: Path) -> None:
    with contextlib.suppress(OSError):
        for path in sorted(folder.glob("*.npz"), key=lambda each: each.stat().st_mtime)[:-_KEPT]:
            path.unlink(missing_ok=True)
