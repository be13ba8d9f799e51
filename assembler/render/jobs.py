"""A part job: everything one part's picture depends on, as a plain frozen value.

`job_key` names the part by content. What does not change the picture (any id, where in the programme
the part stands, what is said) is not in the key, unless it is drawn. `job_told` holds much the same under
the names a person has for it, ids included, so that a plan can say what changed.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from fractions import Fraction
from pathlib import PurePath

from assembler.captions.styled import Line
from assembler.media.writer import EncoderSettings
from assembler.storyboard.model import Capture, Card, Made, Pane, Split, Subject, Summary
from assembler.timeline.model import PlacedShot
from assembler.timing.grammar import Time
from assembler.timing.spans import Span

ENGINE = 1
"""Raised by hand when parts must be made anew though no file of ours changed (see fingerprint.engine)."""


@dataclass(frozen=True, slots=True, eq=False)
class Dissolve:
    """The picture before, running on under the part's head. `shot` is asked for its frame `first`
    at the part's first frame. The dissolve is `length` frames long, `done` of them before the part."""

    shot: PlacedShot
    first: int
    done: int
    length: int


@dataclass(frozen=True, slots=True)
class Fade:
    """How much of the ground shows: frame k of the part lies `at + k * step` frames from the full
    ground, and is clear of it from `length` on. step is 1 for a fade in, -1 for a fade out."""

    at: int
    step: int
    length: int


@dataclass(frozen=True, slots=True)
class Burn:
    """A caption drawn on the part's frames from start_frame up to, but not including, end_frame.
    number: which of the programme's captions it is, from 1; not drawn. top: it stands at the picture's head."""

    start_frame: int
    end_frame: int
    lines: tuple[Line, ...]
    number: int = 0
    top: bool = False


@dataclass(frozen=True, slots=True)
class Stamp:
    """The small timecode on each frame. segment: the id beside it, or none. first_frame: what the part's first
    frame is counted as. within: counted from the segment's start, and shown so. scratch: the part's frames in which
    a scratch voice speaks."""

    segment: str
    first_frame: int
    scratch: tuple[Span, ...]
    within: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class PartJob:
    """One part of the programme.

    segment, number: what it is called in plans, the shot counted from 1. first: the frame of `shot`
    it begins with. canvas: the storyboard's own size, from which proportions follow.
    sources: what stands behind each name used (captures, still pictures, project code), as digests.
    by_proxy: captures that are read by proxy where a pane allows it. quick: as Stage has it.
    """

    segment: str
    number: int
    shot: PlacedShot
    first: int
    frames: int
    dissolve: Dissolve | None
    fades: tuple[Fade, ...]
    captions: tuple[Burn, ...]
    stamp: Stamp | None
    width: int
    height: int
    rate: Fraction
    canvas: tuple[int, int]
    settings: EncoderSettings
    subjects: Mapping[str, Subject]
    sources: Mapping[str, str]
    fonts: str
    engine: str
    measured: str = ""  # a digest of the measurements that graphs and summaries draw, empty without
    by_proxy: tuple[str, ...] = ()
    quick: bool = False

    @property
    def name(self) -> str:
        """For people: the segment, the shot and, when the part is not its beginning, the frame."""
        return self.shot_name + (f" from frame {self.first}" if self.first else "")

    @property
    def shot_name(self) -> str:
        """The segment and the shot."""
        return f"{self.segment} shot {self.number}"


def job_facets(job: PartJob) -> dict[str, str]:
    """A digest of each thing a part depends on. Nothing that is not drawn is in it."""
    return {
        "footage": _digest([_pictures(job, job.shot, job.first, job.frames), _files(job), job.by_proxy, job.quick]),
        "arrangement": _digest(_arrangement(job)),
        "dissolve or fade": _digest([_dissolve(job), _plain(job.fades)]),
        "captions": _digest([_caption(burn) for burn in job.captions]),
        "graphs": _digest([job.measured, *(_plain(shot.graphs) for shot in shots_of(job))]),
        "marks": _digest(_plain(job.stamp)),
        "size or rate": _digest(_plain([job.width, job.height, job.rate, job.canvas])),
        "encoder settings": _digest(_plain(job.settings)),
        "fonts": job.fonts,
        "engine": _digest([ENGINE, job.engine]),
    }


def job_key(job: PartJob) -> str:
    """The part's name by content: 40 hexadecimal digits."""
    return facets_key(job_facets(job))


def facets_key(facets: Mapping[str, str]) -> str:
    """The key that follows from a job's facets."""
    return _digest(dict(facets))[:40]


def job_told(job: PartJob) -> dict[str, str]:
    """A digest of each thing a part depends on, under the name a person has for it: `capture quay`, `caption 2`."""
    told = {_SPOKEN.get(name.split(" ")[0], "") + name.partition(" ")[2]: job.sources[name] for name in _used(job)}
    for pane in job.shot.panes:
        shown = [int(pane.picture[job.first]), _plain(pane.speed), _plain(pane.pane.freezes), pane.held]
        told[f"the moment shown of {pane.capture.id}"] = _digest(shown)
    for name, subject in job.subjects.items():
        told[f"the label of {name}"] = _digest(_plain(subject))
    told["the length"] = str(job.frames)
    told["the arrangement"] = _digest([_shot(job, shot)[0] for shot in shots_of(job)])
    told["the dissolve or fade"] = _digest([_dissolve(job), _plain(job.fades)])
    told["the graphs"] = _digest([_plain(shot.graphs) for shot in shots_of(job)])
    told["the graph figures"] = job.measured
    told["the use of proxies"] = _digest(job.by_proxy)
    told["the mark"] = _digest(_plain(job.stamp))
    facets = job_facets(job)
    told |= {f"the {name}": facets[name] for name in ("size or rate", "encoder settings", "fonts")}
    told["the program itself"] = facets["engine"]
    return told


_SPOKEN = {"capture": "capture ", "still": "picture ", "code": ""}


def is_moving(shot: PlacedShot) -> bool:
    """Whether the drawing itself, not only the footage in it, depends on the frame within the shot."""
    arrangement = shot.arrangement
    if isinstance(arrangement, Split):
        return arrangement.line[0] != arrangement.line[1]
    return isinstance(arrangement, (Card, Summary, Made))


def shots_of(job: PartJob) -> tuple[PlacedShot, ...]:
    """The shots the part shows: its own, and the one it dissolves from."""
    return (job.shot,) if job.dissolve is None else (job.dissolve.shot, job.shot)


def source_names(shot: PlacedShot) -> tuple[str, ...]:
    """What a shot draws from files, as `capture ID`, `still FILE` and `code FILE`."""
    names = [f"capture {capture.id}" for capture in _captures(shot)]
    if isinstance(shot.arrangement, Card) and shot.arrangement.picture is not None:
        names.append(f"still {shot.arrangement.picture}")
    if isinstance(shot.arrangement, Made):
        names.append(f"code {shot.arrangement.file}")
    return tuple(names)


def _used(job: PartJob) -> tuple[str, ...]:
    return tuple(dict.fromkeys(name for shot in shots_of(job) for name in source_names(shot)))


def _files(job: PartJob) -> list[str]:
    """What is in the files that are drawn, in order; a file that has moved is the same."""
    return [job.sources[name] for shot in shots_of(job) for name in source_names(shot)]


def _pictures(job: PartJob, shot: PlacedShot, first: int, frames: int) -> list[object]:
    return [
        [
            job.sources.get(f"capture {pane.capture.id}"),
            hashlib.sha256(pane.picture[first : first + frames].tobytes()).hexdigest(),
        ]
        for pane in shot.panes
    ]


def _caption(burn: Burn) -> object:
    lines = [[[run.text, run.styles] for run in line] for line in burn.lines]
    return [burn.start_frame, burn.end_frame, lines, burn.top]


def _arrangement(job: PartJob) -> object:
    described = [*_shot(job, job.shot)]
    # A still arrangement looks the same wherever in its shot the part lies and however long that is.
    if is_moving(job.shot):
        described.append([job.first, job.frames, job.shot.span.frames])
    return described


def _dissolve(job: PartJob) -> object:
    if job.dissolve is None:
        return None
    dissolve = job.dissolve
    affected = max(0, min(job.frames, dissolve.length - dissolve.done))
    return [
        _shot(job, dissolve.shot),
        _pictures(job, dissolve.shot, dissolve.first, affected),
        [dissolve.done, dissolve.length],
        [dissolve.first, dissolve.shot.span.frames] if is_moving(dissolve.shot) else None,
    ]


def _shot(job: PartJob, shot: PlacedShot) -> list[object]:
    """How a shot is set out, and what it says of whom."""
    subjects = [job.subjects.get(capture.subject or "") for capture in _captures(shot)]
    summed = [[str(each.start_s), str(each.end_s)] for each in shot.summed]
    set_out = [_plain(shot.arrangement), shot.labels, [[_plain(p.speed), p.held] for p in shot.panes], summed]
    return [set_out, [_without_id(subject) for subject in subjects], _drawn_ids(shot, subjects)]


def _without_id(subject: Subject | None) -> object:
    return None if subject is None else _plain(replace(subject, id=""))


def _drawn_ids(shot: PlacedShot, subjects: list[Subject | None]) -> list[str]:
    """Captures that graphs and summaries have no better name for than their ids (see evidence.py, summary_card.py)."""
    if shot.graphs is None and not shot.summed:
        return []
    known = [subject.id for subject in subjects if subject is not None]
    alike = len({*known}) < len(known)
    captures = zip(_captures(shot), subjects, strict=True)
    return [capture.id for capture, subject in captures if subject is None or alike]


def _captures(shot: PlacedShot) -> list[Capture]:
    return [pane.capture for pane in shot.panes] + [each.capture for each in shot.summed]


# Where a pane starts and when it is held is in the picture numbers already; what a capture is, in its file's digest.
_LEFT_OUT: Mapping[type, frozenset[str]] = {
    Pane: frozenset({"capture", "start", "freezes"}),
    Summary: frozenset({"captures"}),
}


def _plain(value: object) -> object:
    """A value as JSON can hold it, without the places it was written at."""
    if isinstance(value, Time):
        return str(value.seconds)
    if is_dataclass(value) and not isinstance(value, type):
        left_out = _LEFT_OUT.get(type(value), frozenset())
        kept = [field.name for field in fields(value) if field.name != "places" and field.name not in left_out]
        named = {name: _plain(getattr(value, name)) for name in kept}
        return [type(value).__name__, named]
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, (Fraction, PurePath)):
        return str(value)
    if value is None or isinstance(value, (str, int, float, bool)):
        return value
    raise TypeError(f"{type(value).__name__} has no place in a part job")


def _digest(value: object) -> str:
    text = json.dumps(value, sort_keys=True, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
