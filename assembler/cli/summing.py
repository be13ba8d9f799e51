"""The summary as a still figure: which captures it shows, over what stretch; then PNG or SVG."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.cli.output import err
from assembler.errors import UsageError

if TYPE_CHECKING:
    from assembler.measured import Measured
    from assembler.prepare import Prepared
    from assembler.storyboard.model import Summary
    from assembler.timeline.model import Summed, Timeline


def summary_size(text: str | None) -> tuple[int, int]:
    """Width and height that --size names, in pixels. Raises UsageError."""
    from assembler.cli.plotting import size_of
    from assembler.picture.summary_card import SMALLEST_FIGURE

    size, least = size_of(text), SMALLEST_FIGURE
    if size[0] < least[0] or size[1] < least[1]:
        mend = f"write at least {least[0]}x{least[1]}"
        raise UsageError(f"--size: a summary cannot be {text}", mend=mend)
    return size


def summed_captures(timeline: Timeline, only: str | None) -> tuple[tuple[Summed, ...], Summary | None]:
    """What is summed up: by a segment's own summary, or what it shows running, or whole captures.

    Raises UsageError where a segment shows nothing running, or captures that are not in one step.
    """
    from assembler.cli.plotting import segment_stretch
    from assembler.storyboard.model import Summary
    from assembler.timeline.model import Summed

    captures = timeline.storyboard.captures
    if only is None:
        whole = timeline.captures.items()
        return tuple(Summed(captures[name], Fraction(0), info.duration_s) for name, info in whole), None
    placed = next(placed for placed in timeline.segments if placed.segment.id == only)
    for shot in placed.shots:
        if isinstance(shot.arrangement, Summary):
            return shot.summed, shot.arrangement
    stretch = segment_stretch(timeline, placed)
    found = []
    for name, offset in stretch.offsets_s.items():
        length = timeline.captures[name].duration_s
        start, end = (min(max(at + offset, Fraction(0)), length) for at in (stretch.start_s, stretch.end_s))
        found.append(Summed(captures[name], start, end))
    return tuple(found), None


def draw_summary(
    prepared: Prepared,
    found: Mapping[str, Measured],
    summed: tuple[Summed, ...],
    title: str,
    path: Path,
    size: tuple[int, int],
    lows: str,
) -> None:
    """Write the summary. Raises UsageError for more captures than it holds, RenderError or MissingPartError where the
    file cannot be written."""
    from assembler.picture.evidence import MOST_SUBJECTS
    from assembler.picture.summary_card import plot_summary, summed_up

    if len(summed) > MOST_SUBJECTS:
        what = f"a summary shows at most {MOST_SUBJECTS} captures, and these are {len(summed)}"
        raise UsageError(what, mend="sum up one segment with --only")
    measured = {name: (each.clock, each.cadence) for name, each in found.items()}
    subjects = summed_up(summed, prepared.storyboard.subjects, measured)
    _tell(plot_summary(subjects, title, path, size, prepared.fonts, lows))


def _tell(faults: Iterable[str]) -> None:
    for fault in faults:
        err(f"the summary: {fault}")
