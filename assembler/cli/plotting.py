"""The figure for an article: which captures it shows, over what stretch, in step; then PNG or SVG."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.cli.output import err
from assembler.errors import UsageError

if TYPE_CHECKING:
    from assembler.measured import Measured
    from assembler.picture.graph_series import GraphSeries
    from assembler.prepare import Prepared
    from assembler.timeline.model import PlacedSegment, Timeline

ENDINGS = (".png", ".svg")
KINDS = ("frame-rate", "frame-time", "cadence")
DEFAULT_KINDS = ("frame-rate", "cadence")
DEFAULT_SIZE = "1920x1080"
_MOST_SIDE = 8192


@dataclass(frozen=True, slots=True)
class Stretch:
    """Captures by name with what to add to the first one's time to have their own, in seconds; and from
    when to when, in the first one's time."""

    offsets_s: Mapping[str, Fraction]
    start_s: Fraction
    end_s: Fraction


def kinds_of(text: str | None) -> tuple[str, ...] | None:
    """The graphs that --graphs names; None where it is not given. Raises UsageError."""
    if text is None:
        return None
    kinds = tuple(part.strip() for part in text.split(","))
    for kind in kinds:
        if kind not in KINDS:
            raise UsageError(f"--graphs: there is no graph '{kind}'", mend="write some of: " + ",".join(KINDS))
    if len(set(kinds)) < len(kinds):
        raise UsageError("--graphs: a graph is named twice", mend="name each once")
    return kinds


def size_of(text: str | None) -> tuple[int, int]:
    """Width and height that --size names, in pixels. Raises UsageError."""
    from assembler.picture.graph_figure import SMALLEST_FIGURE

    text = text or DEFAULT_SIZE
    match = re.fullmatch(r"([0-9]{1,5})[xX×]([0-9]{1,5})", text.strip())
    if match is None:
        raise UsageError(f"--size: '{text}' is not a size", mend=f"write width x height, such as {DEFAULT_SIZE}")
    size = int(match[1]), int(match[2])
    least = SMALLEST_FIGURE
    if size[0] < least[0] or size[1] < least[1] or max(size) > _MOST_SIDE:
        mend = f"write a size from {least[0]}x{least[1]} to {_MOST_SIDE}x{_MOST_SIDE}"
        raise UsageError(f"--size: a figure cannot be {text}", mend=mend)
    return size


def plot(
    prepared: Prepared,
    found: Mapping[str, Measured],
    path: Path,
    *,
    only: str | None,
    kinds: tuple[str, ...] | None,
    size: tuple[int, int],
) -> None:
    """Write the figure of a segment, or of whole captures. The file lands whole or not at all.

    Raises UsageError where one time axis cannot show what is asked for, RenderError or MissingPartError
    where the file cannot be written.
    """
    from assembler.picture.graph_figure import plot_png
    from assembler.picture.graph_svg import plot_svg

    timeline = prepared.timeline
    segment = next((placed for placed in timeline.segments if placed.segment.id == only), None)
    stretch = _whole(timeline, found) if segment is None else segment_stretch(timeline, segment)
    _few_enough(stretch, only)
    if kinds is None:
        graphs = segment.segment.graphs if segment is not None else None
        kinds = graphs.kinds if graphs is not None else DEFAULT_KINDS
    series = _series(prepared, found, tuple(stretch.offsets_s))
    write = plot_png if path.suffix.lower() == ".png" else plot_svg
    offsets = [float(offset) for offset in stretch.offsets_s.values()]
    write(series, kinds, (float(stretch.start_s), float(stretch.end_s)), path, size, prepared.fonts, offsets)


def segment_stretch(timeline: Timeline, placed: PlacedSegment) -> Stretch:
    """From the first to the last moment of its captures that a segment shows running.

    Raises UsageError when nothing runs, or when captures are not shown in one step all along.
    """
    name = placed.segment.id
    offsets: dict[str, Fraction] = {}
    starts: list[Fraction] = []
    ends: list[Fraction] = []
    for shot in placed.shots:
        panes = [pane for pane in shot.panes if not pane.held and pane.capture.id in timeline.captures]
        if not panes:
            continue
        # Only a capture that is known already ties a later shot to the figure's axis.
        tied = next((pane for pane in panes if pane.capture.id in offsets), panes[0])
        origin_s = tied.wanted_s - offsets.get(tied.capture.id, Fraction(0))
        for pane in panes:
            offset = pane.wanted_s - origin_s
            known = offsets.setdefault(pane.capture.id, offset)
            if pane.speed != tied.speed or abs(known - offset) > 1 / timeline.rate:
                raise UsageError(
                    f"segment '{name}' does not show its captures in one step, so one time axis cannot hold them",
                    mend="show them at one speed and line-up there, or plot another segment",
                )
        starts.append(origin_s)
        ends.append(origin_s + shot.span.frames * tied.speed / timeline.rate)
    if not offsets:
        raise UsageError(f"segment '{name}' shows no capture running", mend="plot a segment that does")
    return _within(timeline, offsets, min(starts), max(ends))


def _whole(timeline: Timeline, names: Iterable[str]) -> Stretch:
    """All of the captures, those that are lined up with the first one in step with it."""
    from assembler.timeline.lineup import offsets_from

    names = list(names)
    known = offsets_from(timeline.storyboard.captures, names[0])
    for name in names:
        if name not in known:
            err(f"'{name}' is not lined up with '{names[0]}': the figure shows each from its own first picture")
    offsets = {name: known.get(name, Fraction(0)) for name in names}
    start_s = min(-offset for offset in offsets.values())
    end_s = max(timeline.captures[name].duration_s - offset for name, offset in offsets.items())
    return Stretch(offsets, start_s, end_s)


def _within(timeline: Timeline, offsets: dict[str, Fraction], start_s: Fraction, end_s: Fraction) -> Stretch:
    """A stretch cut to where any of its captures has pictures."""
    first = min(-offset for offset in offsets.values())
    last = max(timeline.captures[name].duration_s - offset for name, offset in offsets.items())
    start_s, end_s = max(start_s, first), min(end_s, last)
    if end_s <= start_s:
        what = "there is nothing to plot: the captures end before what is shown"
        raise UsageError(what, mend="`assembler check` says which")
    return Stretch(offsets, start_s, end_s)


def _few_enough(stretch: Stretch, only: str | None) -> None:
    from assembler.picture.evidence import MOST_SUBJECTS

    if len(stretch.offsets_s) > MOST_SUBJECTS:
        mend = "plot a segment that shows fewer" if only else "plot one segment with --only"
        what = f"a figure shows at most {MOST_SUBJECTS} captures, and these are {len(stretch.offsets_s)}"
        raise UsageError(what, mend=mend)


def _series(prepared: Prepared, found: Mapping[str, Measured], names: Sequence[str]) -> list[GraphSeries]:
    from assembler.picture.graph_series import graph_series, initials, names_and_orders

    storyboard = prepared.storyboard
    subjects = [storyboard.subjects.get(storyboard.captures[name].subject or "") for name in names]
    titles, orders = zip(*names_and_orders(list(zip(names, subjects, strict=True))), strict=True)
    marks = initials(titles)
    return [
        graph_series(title, mark, order, found[name].clock, found[name].cadence)
        for name, title, mark, order in zip(names, titles, marks, orders, strict=True)
    ]
