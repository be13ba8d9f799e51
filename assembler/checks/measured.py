"""Can what was measured carry the graphs and line-ups that are built on it?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations
from typing import Literal

import numpy as np

from assembler.errors import Finding
from assembler.measure.clock import Clock
from assembler.measure.model import LineUpResult, State
from assembler.picture.evidence import MOST_SUBJECTS
from assembler.picture.graph_band import DEFAULT_WINDOW_S
from assembler.storyboard.model import Graphs, LineUp
from assembler.timeline.model import PlacedPane, PlacedSegment, PlacedShot, Timeline
from assembler.timing.timecode import clock as clock_label

_OTHERWISE_EVEN = 0.9
"""Share of the spacings that must be one refresh before the others count as dropped pictures. Common practice, no
source; recorders that leave out every repeat fall far below it."""
_EVEN_SLACK = 0.25  # of a refresh, for stamps taken from a clock that is not quite steady
_SAME_REFRESH = 0.0005  # half of what parts 59.94 from 60
_BELOW_CANVAS = 0.005  # 59.94 on a canvas of 60 hides nothing that a graph of 60 would show


def measured_evidence(timeline: Timeline) -> Iterator[Finding]:
    """Findings about graphs, and about the timing of the captures they and their neighbours rest on."""
    refreshes = {name: Clock.of(info).refresh() for name, info in timeline.captures.items()}
    for placed in timeline.segments:
        if placed.segment.graphs is not None:
            yield from _counted(timeline, placed, placed.segment.graphs)
            yield from _without_captures(placed, placed.segment.graphs)
            yield from _crowded(placed, placed.segment.graphs)
    yield from _below_canvas(timeline, refreshes)
    yield from _unlike(timeline, refreshes)
    yield from _dropped(timeline)


def _counted(timeline: Timeline, placed: PlacedSegment, graphs: Graphs) -> Iterator[Finding]:
    """Captures whose graph stays empty; an error where that is all the segment's graphs would show."""
    why: dict[str, list[tuple[PlacedPane, str]]] = {}
    for shot in placed.shots:
        for pane in shot.panes if shot.graphs is not None else ():
            why.setdefault(pane.capture.id, []).append((pane, _not_counted(timeline, pane, graphs)))
    # A capture is counted where any stretch of it is.
    empty = {name: found[0] for name, found in why.items() if all(reason for _, reason in found)}
    severity: Literal["error", "warning"] = "error" if len(empty) == len(why) else "warning"
    for name, (pane, reason) in empty.items():
        yield Finding(
            severity,
            "graph-not-counted",
            pane.pane.at("capture"),
            f"the graphs of segment '{placed.segment.id}' stay empty for capture '{name}': {reason}",
            "show a better capture or another stretch of it, or take `graphs:` out",
        )


def _not_counted(timeline: Timeline, pane: PlacedPane, graphs: Graphs) -> str:
    """Why nothing is counted in the stretch that a pane's graph spans; "" where something is."""
    cadence = timeline.measured.get(pane.capture.id)
    if cadence is None:
        return "it could not be measured"
    if not cadence.reliable:
        return cadence.why or "its pictures cannot be counted"
    info = timeline.captures[pane.capture.id]
    window_s = graphs.window.seconds if graphs.window is not None else Fraction(DEFAULT_WINDOW_S)
    start_s, end_s = info.time_s(int(pane.picture.min())), info.time_s(int(pane.picture.max()))
    first, end = Clock.of(info).pictures_in(start_s - window_s, end_s + window_s)
    if (cadence.state[first:end] == State.MOVING).any():
        return ""
    return f"nothing is seen to move between {clock_label(start_s)} and {clock_label(end_s)}"


def _without_captures(placed: PlacedSegment, graphs: Graphs) -> Iterator[Finding]:
    bare = [shot for shot in placed.shots if not shot.panes]
    what = f"segment '{placed.segment.id}' asks for graphs, but"
    if bare and len(bare) == len(placed.shots):
        mend = "take `graphs:` out, or show a capture"
        yield Finding("error", "graph-without-capture", graphs.at(), f"{what} shows no capture", mend)
        return
    for shot in bare:
        yield Finding(
            "warning",
            "graph-without-capture",
            shot.place,
            f"{what} this shot of it shows no capture, so the graphs are gone while it lasts",
            "give the shot a segment of its own without `graphs:`",
        )


def _crowded(placed: PlacedSegment, graphs: Graphs) -> Iterator[Finding]:
    for shot in placed.shots:
        names = list(dict.fromkeys(pane.capture.id for pane in shot.panes))
        if shot.graphs is None or len(names) <= MOST_SUBJECTS:
            continue
        left_out = ", ".join(f"'{name}'" for name in names[MOST_SUBJECTS:])
        yield Finding(
            "warning",
            "graph-crowded",
            shot.place or graphs.at(),
            f"a shot of segment '{placed.segment.id}' shows {len(names)} captures, but its graphs hold "
            f"{MOST_SUBJECTS} at the most; left out: {left_out}",
            f"show {MOST_SUBJECTS} captures or fewer at a time",
        )


def _below_canvas(timeline: Timeline, refreshes: Mapping[str, Fraction | None]) -> Iterator[Finding]:
    """Captures of which graphs are shown and that hold fewer pictures a second than the canvas; each once."""
    told: set[str] = set()
    for pane in (pane for _, shot in _shots(timeline) if shot.graphs is not None for pane in shot.panes):
        name = pane.capture.id
        refresh = refreshes.get(name)
        if name in told or refresh is None or refresh >= timeline.rate * Fraction(1 - _BELOW_CANVAS):
            continue
        told.add(name)
        yield Finding(
            "warning",
            "refresh-below-canvas",
            pane.capture.at("file"),
            f"capture '{name}' holds {_hz(refresh)} pictures a second and the canvas {_hz(timeline.rate)}; "
            f"rates above {_hz(refresh)} cannot be seen in its graphs",
            f"capture at {_hz(timeline.rate)} or more, or say so beside the graphs",
        )


def _unlike(timeline: Timeline, refreshes: Mapping[str, Fraction | None]) -> Iterator[Finding]:
    """Captures of different refresh in one shot; each pair once."""
    told: set[frozenset[str]] = set()
    for placed, shot in _shots(timeline):
        for one, other in combinations(dict.fromkeys(pane.capture.id for pane in shot.panes), 2):
            a, b = refreshes.get(one), refreshes.get(other)
            pair = frozenset((one, other))
            if a is None or b is None or pair in told or abs(float(a / b) - 1) <= _SAME_REFRESH:
                continue
            told.add(pair)
            yield Finding(
                "warning",
                "refresh-unlike",
                shot.place,
                f"captures '{one}' ({_hz(a)} pictures a second) and '{other}' ({_hz(b)}) stand beside each other in "
                f"segment '{placed.segment.id}'; one may look smoother for its recording alone",
                "capture both at the same rate",
            )


def _dropped(timeline: Timeline) -> Iterator[Finding]:
    for name, info in timeline.captures.items():
        found = dropped_pictures(Clock.of(info))
        if not found.places:
            continue
        lost, places = sum(found.lost), len(found.places)
        many = f"{lost} pictures are" if lost > 1 else "1 picture is"
        after = clock_label(info.time_s(found.places[0]))
        where = f"in {places} places, first" if places > 1 else "in one place,"
        yield Finding(
            "warning",
            "capture-dropped",
            timeline.storyboard.captures[name].at("file"),
            f"capture '{name}' dropped pictures by itself: {many} missing {where} after {after}, "
            "where its timestamps jump; a hitch there may be the recorder's",
            "capture it again, or show a stretch without such a jump",
        )


@dataclass(frozen=True, slots=True)
class Dropped:
    """The pictures before which an even file jumps ahead: `places`, each the last one before a jump, and how many
    refreshes have no picture there."""

    places: tuple[int, ...]
    lost: tuple[int, ...]


def dropped_pictures(clock: Clock) -> Dropped:
    """Jumps of two refreshes or more in a file whose pictures are otherwise evenly spaced; none where they are not."""
    none = Dropped((), ())
    spacing = np.diff(clock.pts).astype(np.float64)
    if clock.frame_rate is not None or spacing.size < 10:
        return none
    usual = float(np.median(spacing))
    single = np.abs(spacing - usual) <= 1 + _EVEN_SLACK * usual
    if single.mean() < _OTHERWISE_EVEN:
        return none
    # Not the median: rounded stamps, such as 17 for 16.67 ms, would miscount long jumps.
    periods = np.rint(spacing / spacing[single].mean()).astype(np.int64)
    jumps = np.flatnonzero(~single & (periods >= 2))
    return Dropped(tuple(int(k) for k in jumps), tuple(int(periods[k]) - 1 for k in jumps))


def longest_frame_s(rate: Fraction, clocks: Sequence[Clock]) -> float:
    """The longest frame among the canvas and captures, seconds: nothing can be in step more finely than that."""
    return max(float(1 / each) for each in (rate, *(clock.refresh() for clock in clocks)) if each)


def drifting(timeline: Timeline, lined_up: Mapping[str, LineUpResult]) -> Iterator[Finding]:
    """Lined-up captures whose clocks part by more than half a frame where they are shown together.

    lined_up: by capture, its measured line-up with the partner it names. Each capture once, at its worst.
    """
    for name, found in lined_up.items():
        link = timeline.storyboard.captures[name].line_up
        both = [timeline.captures.get(each) for each in (name, link.partner if link else "")]
        clocks = [Clock.of(info) for info in both if info is not None]
        if link is None or link.offset is None or not found.matched or not found.drift_ppm or len(clocks) < 2:
            continue
        half_s = longest_frame_s(timeline.rate, clocks) / 2
        drift, offset_s = found.drift_ppm * 1e-6, float(link.offset.seconds)
        worst = 0.0
        finding: Finding | None = None
        for placed, start_s, end_s in _together(timeline, name, link):
            parting_s = max(abs(offset_s - found.offset_s - drift * at) for at in (start_s, end_s))
            by_drift_s = abs(drift) * max(start_s, end_s)
            if min(parting_s, by_drift_s) <= max(half_s, worst):
                continue
            worst = min(parting_s, by_drift_s)
            true_s = found.offset_s + drift * (start_s + end_s) / 2
            mend = f"for that stretch write line-up: {{with: {link.partner}, offset: {true_s:.4f} s}}"
            if abs(drift) * (end_s - start_s) / 2 > half_s:
                mend += ", and show less of it at a time"
            finding = Finding(
                "warning",
                "line-up-drift",
                timeline.storyboard.captures[name].at("line-up"),
                f"the clocks of '{name}' and '{link.partner}' run {abs(found.drift_ppm):.0f} millionths apart: in "
                f"segment '{placed.segment.id}' they are up to {1000 * parting_s:.0f} ms out of step, "
                "more than half a frame",
                mend,
            )
        if finding is not None:
            yield finding


def _together(timeline: Timeline, name: str, link: LineUp) -> Iterator[tuple[PlacedSegment, float, float]]:
    """Where a capture is shown in step with its partner: segment, and the partner's first and last time."""
    assert link.offset is not None
    for placed, shot in _shots(timeline):
        for one in (pane for pane in shot.panes if pane.capture.id == link.partner):
            for other in (pane for pane in shot.panes if pane.capture.id == name):
                if other.wanted_s - one.wanted_s == link.offset.seconds:
                    info = timeline.captures[link.partner]
                    first, last = int(one.picture[0]), int(one.picture[-1])
                    yield placed, float(info.time_s(first)), float(info.time_s(last))


def _shots(timeline: Timeline) -> Iterator[tuple[PlacedSegment, PlacedShot]]:
    for placed in timeline.segments:
        for shot in placed.shots:
            yield placed, shot


def _hz(rate: Fraction) -> str:
    return f"{float(rate):.2f}".rstrip("0").rstrip(".")
