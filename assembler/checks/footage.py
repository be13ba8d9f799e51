"""Is there footage for everything shown, and does it show what the segment needs?"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import floor

from assembler.checks.mends_footage import footage_mends
from assembler.checks.trial import MOST_MENDED, Bench
from assembler.errors import Finding, Mend
from assembler.media.info import SoundInfo
from assembler.storyboard.model import Hear, Storyboard, Summary
from assembler.timeline.model import PlacedPane, PlacedSegment, PlacedShot, Timeline
from assembler.timing.timecode import clock

_UNHEARD_S = Fraction(1, 10)
"""A gap in background sound that nobody notices. Common practice, no source."""


def used_captures(storyboard: Storyboard) -> set[str]:
    """Ids of the captures that some segment shows, sums up or lets be heard."""
    arrangements = [shot.arrangement for segment in storyboard.segments for shot in segment.shots]
    shown = {pane.capture for each in arrangements for pane in each.panes}
    shown |= {name for each in arrangements if isinstance(each, Summary) for name in each.captures}
    return shown | {hear.capture for segment in storyboard.segments for hear in segment.hear}


def footage_lengths(timeline: Timeline) -> Iterator[Finding]:
    """Panes that want pictures from before their capture's start or after its end."""
    bench: Bench | None = None
    mended = 0
    for placed in timeline.segments:
        for number, shot in enumerate(placed.shots):
            for pane_number, pane in enumerate(shot.panes):
                if pane.capture.id not in timeline.captures:
                    continue
                mends: tuple[Mend, ...] = ()
                if pane.late_frames and mended < MOST_MENDED:
                    mended += 1
                    bench = bench or Bench.of(timeline)
                    mends = footage_mends(bench, placed, number, pane_number)
                yield from _length(timeline, placed, shot, pane, mends)


def _length(
    timeline: Timeline, placed: PlacedSegment, shot: PlacedShot, pane: PlacedPane, mends: tuple[Mend, ...]
) -> Iterator[Finding]:
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
        mend = _mend(timeline, placed, shot, pane)
        yield Finding("error", "capture-too-short", pane.pane.at("capture"), fault, mend, mends)
    if pane.early_frames:
        yield Finding(
            "error",
            "capture-starts-late",
            pane.pane.at("capture"),
            f"{what} begins {float(pane.early_frames / timeline.rate):.2f} s after the moment asked for; "
            "its first picture would stand still",
            "start the shot later, or correct the line-up",
        )


def _mend(timeline: Timeline, placed: PlacedSegment, shot: PlacedShot, pane: PlacedPane) -> str:
    """Ways to need no more footage than there is, each of which is enough by itself."""
    frames = shot.span.frames + shot.tail_frames
    short_s = float(pane.late_frames / timeline.rate)
    ways = []
    latest = timeline.captures[pane.capture.id].duration_s - frames / timeline.rate * pane.speed
    if latest >= 0 and not pane.held:
        ways.append(f"start it at {floor(latest * 100) / 100:.2f} s or earlier")
    if pane.late_frames < frames:
        fit = placed.segment.fit and not any(written.lasts for written in placed.segment.shots)
        ways.append(f"say less, by {short_s:.2f} s" if fit else f"shorten the shot by {short_s:.2f} s")
        # The last frame that has a picture is the first one held.
        freeze = "" if pane.held else f" with `freeze: {{at: {frames - pane.late_frames - 1} f}}`"
        ways.append(f"hold its last picture on purpose{freeze}")
    return ", or ".join(ways) or "show a capture that is long enough"


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
            elif hear.start is not None:
                yield from _sound_length(timeline, placed, hear, info.sound)
            elif _changed_speed(placed, hear.capture):
                yield Finding(
                    "note",
                    "sound-left-out",
                    hear.at("capture"),
                    f"capture '{hear.capture}' is silent where segment '{placed.segment.id}' slows or freezes it",
                    "give it a moment to be heard from: {capture: …, from: …}",
                )


def _sound_length(timeline: Timeline, placed: PlacedSegment, hear: Hear, sound: SoundInfo) -> Iterator[Finding]:
    assert hear.start is not None
    start_s, end_s = hear.start.seconds, sound.start_s + sound.duration_s
    short_s = start_s + placed.span.frames / timeline.rate - end_s
    if short_s <= _UNHEARD_S:
        return
    if start_s >= end_s:
        what = f"capture '{hear.capture}' is heard from {clock(start_s)}, but its sound ends at {clock(end_s)}"
    else:
        what = f"the sound of capture '{hear.capture}' ends {float(short_s):.2f} s before segment '{placed.segment.id}'"
    yield Finding(
        "warning", "sound-too-short", hear.at("from"), what, "let it be heard from an earlier moment, or not at all"
    )


def _changed_speed(placed: PlacedSegment, capture: str) -> bool:
    return any(p.capture.id == capture and (p.speed != 1 or p.held) for shot in placed.shots for p in shot.panes)
