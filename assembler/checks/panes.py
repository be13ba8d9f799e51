"""Do crops and freezes lie where they can have an effect?"""

from __future__ import annotations

from collections.abc import Iterator

from assembler.checks.shots import readable_shots
from assembler.errors import Finding
from assembler.timeline.model import PlacedPane, PlacedSegment, PlacedShot, Timeline


def crops_inside(timeline: Timeline) -> Iterator[Finding]:
    """Crops that reach beyond their capture's picture; what is shown would be another part, or a smaller one."""
    for placed, shot in readable_shots(timeline):
        for pane in shot.panes:
            yield from _crop(timeline, placed, pane)


def _crop(timeline: Timeline, placed: PlacedSegment, pane: PlacedPane) -> Iterator[Finding]:
    crop, info = pane.pane.crop, timeline.captures[pane.capture.id]
    if crop is None or (crop.x + crop.w <= info.width and crop.y + crop.h <= info.height):
        return
    wide, high = min(crop.w, info.width), min(crop.h, info.height)
    x, y = min(crop.x, info.width - wide), min(crop.y, info.height - high)
    yield Finding(
        "error",
        "crop-outside",
        pane.pane.at("crop"),
        f"the crop of capture '{pane.capture.id}' in segment '{placed.segment.id}' reaches to "
        f"{crop.x + crop.w},{crop.y + crop.h}, outside its picture of {info.width}x{info.height}",
        f"write crop: {{x: {x}, y: {y}, w: {wide}, h: {high}}}, or another part inside the picture",
    )


def freezes_inside(timeline: Timeline) -> Iterator[Finding]:
    """Freezes that begin after their shot has ended, and so hold nothing."""
    for placed in timeline.segments:
        for shot in placed.shots:
            for pane in shot.panes:
                yield from _freezes(timeline, placed, shot, pane)


def _freezes(timeline: Timeline, placed: PlacedSegment, shot: PlacedShot, pane: PlacedPane) -> Iterator[Finding]:
    for freeze in pane.pane.freezes:
        if freeze.start is not None and freeze.start.frames >= shot.span.frames + shot.tail_frames:
            length_s = float(shot.span.frames / timeline.rate)
            yield Finding(
                "warning",
                "freeze-outside",
                freeze.at("at"),
                f"the freeze of capture '{pane.capture.id}' at {freeze.start} never begins: "
                f"the shot of segment '{placed.segment.id}' lasts {length_s:.2f} s",
                "`at` counts from the shot's start; write an earlier time, or take the freeze out",
            )
