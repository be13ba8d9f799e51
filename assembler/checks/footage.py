"""Is there footage for everything shown, and does it show what the segment needs?"""

from __future__ import annotations

from collections.abc import Iterator

from assembler.errors import Finding
from assembler.storyboard.model import Storyboard
from assembler.timeline.model import PlacedPane, PlacedSegment, PlacedShot, Timeline
from assembler.timing.timecode import clock


def used_captures(storyboard: Storyboard) -> set[str]:
    """Ids of the captures that some segment shows or lets be heard."""
    shown = {pane.capture for seg in storyboard.segments for shot in seg.shots for pane in shot.arrangement.panes}
    return shown | {hear.capture for segment in storyboard.segments for hear in segment.hear}


def footage_lengths(timeline: Timeline) -> Iterator[Finding]:
    """Panes that want pictures from before their capture's start or after its end."""
    for placed in timeline.segments:
        for shot in placed.shots:
            for pane in shot.panes:
                if pane.capture.id in timeline.captures:
                    yield from _length(timeline, placed, shot, pane)


def _length(timeline: Timeline, placed: PlacedSegment, shot: PlacedShot, pane: PlacedPane) -> Iterator[Finding]:
    info = timeline.captures[pane.capture.id]
    what = f"capture '{pane.capture.id}' in segment '{placed.segment.id}'"
    if pane.late_frames:
        short = float(pane.late_frames / timeline.rate)
        stands = "its last picture would stand still"
        first = pane.late_frames == shot.span.frames + shot.tail_frames
        ends = clock(info.duration_s)
        if first:
            fault = f"{what} is shown from {clock(pane.wanted_s)}, but the capture ends at {ends}"
        elif pane.late_frames <= shot.tail_frames:
            fault = f"{what} ends {short:.2f} s before the dissolve that follows does; {stands}"
        else:
            fault = f"{what} ends {short:.2f} s ({pane.late_frames} frames) too soon; {stands}"
        latest = pane.wanted_s - pane.late_frames / timeline.rate * pane.speed
        sooner = f"start it at {float(latest):.2f} s or earlier, " if latest >= 0 else ""
        yield Finding(
            "error",
            "capture-too-short",
            pane.pane.at("capture"),
            fault,
            f"{sooner}shorten the shot by {short:.2f} s, or freeze it on purpose",
        )
    if pane.early_frames:
        yield Finding(
            "error",
            "capture-starts-late",
            pane.pane.at("capture"),
            f"{what} begins {float(pane.early_frames / timeline.rate):.2f} s after the moment asked for; "
            "its first picture would stand still",
            "start the shot later, or correct the line-up",
        )


def footage_kinds(timeline: Timeline) -> Iterator[Finding]:
    """Captures of a kind that this version shows wrongly or only by assumption."""
    for name, info in timeline.captures.items():
        capture = timeline.storyboard.captures[name]
        place = capture.at("file")
        if info.is_hdr():
            yield Finding(
                "error",
                "capture-hdr",
                place,
                f"capture '{name}' is high dynamic range; this version makes standard-range programmes only, "
                "and would show it washed out",
                "use a standard-range capture",
            )
        elif info.colour.assumed:
            yield Finding("note", "colour-assumed", place, f"capture '{name}': {info.colour.assumed}")
        if info.interlaced:
            yield Finding(
                "warning",
                "capture-interlaced",
                place,
                f"capture '{name}' is interlaced; its two fields are shown as one picture",
                "capture progressively if the machine can",
            )


def unused_captures(storyboard: Storyboard) -> Iterator[Finding]:
    """Captures that no segment shows or lets be heard."""
    used = used_captures(storyboard)
    for name, capture in storyboard.captures.items():
        if name not in used:
            yield Finding(
                "warning", "capture-unused", capture.at(), f"capture '{name}' is not used", "show it, or take it out"
            )


def silent_captures(timeline: Timeline) -> Iterator[Finding]:
    """Captures that are to be heard but have no sound, or that are slowed or frozen where heard."""
    for placed in timeline.segments:
        for hear in placed.segment.hear:
            info = timeline.captures.get(hear.capture)
            if info is None:
                continue
            if info.sound is None:
                yield Finding(
                    "warning",
                    "capture-silent",
                    hear.at("capture"),
                    f"capture '{hear.capture}' has no sound to be heard",
                    "take it out of `hear:`",
                )
            elif hear.start is None and _changed_speed(placed, hear.capture):
                yield Finding(
                    "note",
                    "sound-left-out",
                    hear.at("capture"),
                    f"capture '{hear.capture}' is silent where segment '{placed.segment.id}' slows or freezes it",
                    "give it a moment to be heard from: {capture: …, from: …}",
                )


def _changed_speed(placed: PlacedSegment, capture: str) -> bool:
    return any(p.capture.id == capture and (p.speed != 1 or p.held) for shot in placed.shots for p in shot.panes)
