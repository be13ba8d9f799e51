"""From a project folder to everything a command needs: storyboard, timeline, cues and findings.

The one path that `check`, `draft` and `retime` share, so that all of them see the same programme.
"""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from assembler.captions.cues import Cue
from assembler.captions.project import Captions, captions_of
from assembler.captions.translation import translation_findings
from assembler.checks.check import check_timeline
from assembler.checks.footage import used_captures
from assembler.checks.measured import drifting
from assembler.checks.sound import sound_findings
from assembler.errors import AssemblerError, Finding, MediaError, NarrationError, Place, UsageError
from assembler.measured import (
    Measured,
    Progress,
    captures_to_measure,
    line_ups,
    measure_all,
    offsets_to_verify,
    with_logs,
    with_measured_offsets,
)
from assembler.media.info import CaptureInfo, SoundInfo
from assembler.media.probe import probe, probe_sound
from assembler.media.stills import load_still
from assembler.narration.lines import voice
from assembler.narration.pace import Pace
from assembler.picture.text import FontSet
from assembler.render.proxies import proxies_beside
from assembler.sound.report import MixReport
from assembler.sound.store import kept_levels
from assembler.storyboard import load_storyboard
from assembler.storyboard.model import Card, Made, Storyboard
from assembler.storyboard.paths import resolve_inside
from assembler.timeline.model import Timeline
from assembler.timeline.music import place_music
from assembler.timeline.resolve import resolve

STORYBOARD_NAME = "storyboard.yaml"
CACHE_NAME = ".assembler"

# Without these there is nothing true to show: a draft is refused.
_UNREADABLE = {"capture-unreadable", "capture-hdr", "font-unreadable", "picture-unreadable", "music-unreadable"}
BLOCKING = frozenset({"file-missing", "take-missing", *_UNREADABLE})

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Prepared:
    """A project read, measured and resolved. `findings` are sorted by place."""

    path: Path
    folder: Path
    storyboard: Storyboard
    timeline: Timeline
    cues: tuple[Cue, ...]
    findings: tuple[Finding, ...]
    fonts: FontSet
    captions: Captions
    pace: Pace

    @property
    def blocking(self) -> tuple[Finding, ...]:
        return tuple(found for found in self.findings if found.code in BLOCKING)


def storyboard_path(project: Path) -> Path:
    """The storyboard a person means by a folder or a file. Raises UsageError."""
    path = project / STORYBOARD_NAME if project.is_dir() else project
    if not path.is_file():
        mend = f"name a folder that holds {STORYBOARD_NAME}, or make one with `assembler new`"
        raise UsageError(f"there is no storyboard at {path}", mend=mend)
    return path


def prepare(
    project: Path,
    *,
    folder: Path | None = None,
    say: Say | None = None,
    measuring: Progress | None = None,
    proxies: bool = False,
) -> Prepared:
    """Read and resolve a project.

    folder: where its files lie; None = beside the storyboard.

    say: told what is being worked on, again and again. measuring: told how far captures are measured; None = say is.
    proxies: whether a draft by proxy follows, so that pictures which are decoded to be measured are used for that, too.
    Raises StoryboardError, UsageError or MissingPartError; what can be shown in spite of a fault is a
    finding instead.
    """
    path = storyboard_path(project)
    folder = (folder or path.parent).resolve()
    storyboard = load_storyboard(path)
    findings: list[Finding] = []
    captures = _read_captures(storyboard, folder, findings, say)
    _find_card_files(storyboard, folder, findings)
    fonts = _fonts(storyboard, folder, findings)
    cache = _cache(folder)
    measured = _measure(storyboard, captures, cache, findings, measuring or _measuring(say), proxies)
    lined_up = line_ups(storyboard, measured)
    storyboard, offsets = with_measured_offsets(storyboard, measured, lined_up)
    findings.extend(offsets)
    measured, logged = with_logs(storyboard, folder, measured)
    findings.extend(logged)
    voiced = voice(storyboard, folder, cache, progress=_voicing(say))
    findings.extend(voiced.findings)
    cadences = {name: found.cadence for name, found in measured.items()}
    timeline, placing = resolve(storyboard, folder, captures, voiced.speech, cadences)
    findings.extend(placing)
    timeline = replace(timeline, music=place_music(timeline, _read_music(storyboard, folder, findings)))
    captions = captions_of(timeline, folder)
    findings.extend(captions.findings)
    findings.extend(translation_findings(timeline, folder, captions.record))
    cues = captions.cues
    findings.extend(check_timeline(timeline, cues, fonts))
    findings.extend(drifting(timeline, lined_up))
    return Prepared(path, folder, storyboard, timeline, cues, _sorted(findings), fonts, captions, voiced.pace)


def with_sound(prepared: Prepared, *, say: Say | None = None) -> tuple[Prepared, MixReport | None]:
    """The same with what its sound shows, and the sound's report; None, and a finding, where it cannot be mixed.

    The whole programme is listened to, unless it was before.
    """
    tell = None if say is None else lambda done, total: say(f"listening to the programme: {done} of {total} s")
    try:
        report = kept_levels(prepared.timeline, _cache(prepared.folder), progress=tell).report
    except (MediaError, NarrationError) as error:
        found = [Finding("error", "sound-unreadable", p.place, p.what, p.mend) for p in error.problems]
        return replace(prepared, findings=_sorted([*prepared.findings, *found])), None
    found = list(sound_findings(prepared.timeline, report))
    return replace(prepared, findings=_sorted([*prepared.findings, *found])), report


def _voicing(say: Say | None) -> Callable[[int, int], None] | None:
    return None if say is None else lambda done, total: say(f"voicing the narration: line {done} of {total}")


def _measuring(say: Say | None) -> Progress | None:
    return None if say is None else lambda name, done, total: say(f"measuring {name}: {done} of {total} pictures")


def _cache(folder: Path) -> Path:
    """Where voices and measurements are kept: in the project, or for this process where it may not be written to."""
    cache = folder / CACHE_NAME
    if os.access(cache if cache.exists() else folder, os.W_OK):
        return cache
    passing = Path(tempfile.mkdtemp(prefix="assembler-"))
    atexit.register(shutil.rmtree, passing, ignore_errors=True)
    return passing


def _measure(
    storyboard: Storyboard,
    captures: Mapping[str, CaptureInfo],
    cache: Path,
    findings: list[Finding],
    progress: Progress | None,
    proxies: bool,
) -> dict[str, Measured]:
    names = (*captures_to_measure(storyboard), *offsets_to_verify(storyboard, captures, cache))
    wanted = {name: captures[name] for name in names if name in captures}

    def failed(name: str, error: MediaError) -> None:
        place = storyboard.captures[name].at("file")
        findings.extend(_as_findings(error, "file-missing", "capture-unmeasured", place))

    beside = proxies_beside(storyboard, wanted, cache) if proxies else {}
    return measure_all(wanted, cache, progress, failed=failed, proxies=beside)


def _sorted(findings: list[Finding]) -> tuple[Finding, ...]:
    rank = {"error": 0, "warning": 1, "note": 2}
    nowhere = Place("", 0, 0)
    return tuple(sorted(dict.fromkeys(findings), key=lambda f: (f.place or nowhere, rank[f.severity], f.code, f.what)))


def _read_captures(
    storyboard: Storyboard, folder: Path, findings: list[Finding], say: Say | None
) -> dict[str, CaptureInfo]:
    used = used_captures(storyboard)
    read: dict[str, CaptureInfo] = {}
    for name, capture in storyboard.captures.items():
        if name not in used:
            continue
        if say:
            say(f"reading capture '{name}'")
        try:
            read[name] = probe(resolve_inside(folder, capture.file, capture.at("file")))
        except AssemblerError as error:
            findings.extend(_as_findings(error, "file-missing", "capture-unreadable", capture.at("file")))
    return read


def _read_music(storyboard: Storyboard, folder: Path, findings: list[Finding]) -> dict[str, tuple[Path, SoundInfo]]:
    read: dict[str, tuple[Path, SoundInfo]] = {}
    for music in storyboard.sound.music:
        place = music.at("file")
        try:
            path = resolve_inside(folder, music.file, place)
            read[music.file] = path, probe_sound(path)
        except AssemblerError as error:
            findings.extend(_as_findings(error, "file-missing", "music-unreadable", place))
    return read


def _find_card_files(storyboard: Storyboard, folder: Path, findings: list[Finding]) -> None:
    for shot in (shot for segment in storyboard.segments for shot in segment.shots):
        card = shot.arrangement
        written = card.picture if isinstance(card, Card) else card.file if isinstance(card, Made) else None
        if written is None:
            continue
        place = card.at("picture" if isinstance(card, Card) else "file")
        try:
            path = resolve_inside(folder, written, place)
            if isinstance(card, Card):
                load_still(path)
        except AssemblerError as error:
            findings.extend(_as_findings(error, "file-missing", "picture-unreadable", place))


def _fonts(storyboard: Storyboard, folder: Path, findings: list[Finding]) -> FontSet:
    place = storyboard.at("fonts")
    extra: list[Path] = []
    for written in storyboard.fonts:
        try:
            font = resolve_inside(folder, written, place)
            FontSet((font,))
            extra.append(font)
        except AssemblerError as error:
            findings.extend(_as_findings(error, "file-missing", "font-unreadable", place))
    return FontSet(tuple(extra))


def _as_findings(error: AssemblerError, missing: str, unreadable: str, place: Place | None) -> list[Finding]:
    code = missing if isinstance(error, UsageError) or error.exit_code == 2 else unreadable
    return [Finding("error", code, p.place or place, p.what, p.mend) for p in error.problems]
