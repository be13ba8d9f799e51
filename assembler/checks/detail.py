"""Does a magnified picture keep the detail that it is magnified for?"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from assembler.checks.shots import readable_shots
from assembler.errors import Finding
from assembler.media.reader import PaneShape
from assembler.picture.arrange import layout_of
from assembler.picture.panes import framing, pane_shape
from assembler.picture.stage import Stage
from assembler.timeline.model import PlacedSegment, PlacedShot, Timeline


def lost_detail(timeline: Timeline, stage: Stage) -> Iterator[Finding]:
    """Panes that are cropped, or whose pixels are to be counted, but shown in fewer pixels than they have."""
    for placed, shot in readable_shots(timeline):
        yield from _in_shot(placed, shot, stage)


def _in_shot(placed: PlacedSegment, shot: PlacedShot, stage: Stage) -> Iterator[Finding]:
    for pane, rect in zip(shot.panes, layout_of(shot, stage).panes, strict=True):
        written, info = pane.pane, stage.captures[pane.capture.id]
        if written.crop is None and written.scaling != "nearest":
            continue
        _, _, width, height = framing(written, info)
        share = _share(width, height, pane_shape(written, info, rect).shape)
        if share < Fraction(99, 100):
            yield Finding(
                "warning",
                "detail-lost",
                written.at("crop" if written.crop is not None else "scaling"),
                f"capture '{pane.capture.id}' in segment '{placed.segment.id}' is cropped to {width}x{height} but "
                f"shown at {float(share):.0%} of that: the detail it magnifies is scaled away",
                "crop a smaller part, or give the pane more room (`full`, `split`)",
            )


def _share(width: int, height: int, shape: PaneShape) -> Fraction:
    """Canvas pixels for each capture pixel of a side, the smaller of the two."""
    _, _, wide, high = shape.crop or (0, 0, width, height)
    return min(Fraction(shape.width, wide), Fraction(shape.height, high))
