"""Storyboard, captures and speech in; the frame-exact timeline out, with what did not fit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from pathlib import Path

import numpy as np

from assembler.errors import Finding
from assembler.measure.model import Cadence
from assembler.media.info import CaptureInfo
from assembler.narration.speech import Speech
from assembler.storyboard.model import Card, Edge, Freeze, Graphs, Pane, Segment, Shot, Storyboard, Summary
from assembler.timeline.lineup import offsets_from, pane_starts
from assembler.timeline.model import (
    PlacedHear,
    PlacedLine,
    PlacedPane,
    PlacedSegment,
    PlacedShot,
    Summed,
    Timeline,
)
from assembler.timeline.pictures import pictures_behind
from assembler.timing.rates import SAMPLE_RATE, nearest_frame, sample_of_frame
from assembler.timing.spans import Span
from assembler.timing.timecode import clock, frame_to_label

SpeechOf = Mapping[tuple[str, int], Speech]

GAP_ID = "(gap)"


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A segment's span before its shots are laid out."""

    segment: Segment
    span: Span
    needed_frames: int


def resolve(
    storyboard: Storyboard,
    folder: Path,
    captures: Mapping[str, CaptureInfo],
    speech: SpeechOf,
    measured: Mapping[str, Cadence] | None = None,
) -> tuple[Timeline, tuple[Finding, ...]]:
    """Lay the storyboard out on frames and samples.

    captures: what was read of each capture by id; one that is missing here (its file could not be
    read) is placed all the same, showing its picture 0. speech: by segment id and line number.
    measured: the cadence of captures that graphs are drawn of.
    Faults of placement (overlap, gap, shots that do not fill) are findings; the timeline is whole
    in spite of them.
    """
    findings: list[Finding] = []
    stretches = _place_segments(storyboard, speech, findings)
    placed: list[PlacedSegment] = []
    for number, stretch in enumerate(stretches):
        following = stretches[number + 1] if number + 1 < len(stretches) else None
        tail = _dissolve_frames(following, []) if following else 0
        placed.append(_place_segment(storyboard, stretch, tail, captures, speech, findings))
    frames = placed[-1].span.end_frame if placed else 0
    timeline = Timeline(
        storyboard=storyboard,
        folder=folder,
        rate=storyboard.canvas.rate,
        frames=frames,
        segments=tuple(placed),
        captures=dict(captures),
        measured=dict(measured or {}),
    )
    return timeline, tuple(findings)


def needed_samples(segment: Segment, storyboard: Storyboard, speech: SpeechOf) -> int:
    """What a segment's narration needs, lead and tail included; 0 when it says nothing."""
    if not segment.say:
        return 0
    settings = storyboard.narration
    total = _samples(settings.lead.seconds) + _samples(settings.tail.seconds)
    for number, line in enumerate(segment.say, 1):
        total += speech[segment.id, number].samples
        if number < len(segment.say) or line.pause is not None:
            total += _samples((line.pause or settings.pause).seconds)
    return total


def _samples(seconds: Fraction) -> int:
    return nearest_frame(seconds, Fraction(SAMPLE_RATE))


def _place_segments(storyboard: Storyboard, speech: SpeechOf, findings: list[Finding]) -> list[_Stretch]:
    rate = storyboard.canvas.rate
    stretches: list[_Stretch] = []
    here = 0
    for segment in storyboard.segments:
        needed = ceil(Fraction(needed_samples(segment, storyboard, speech), SAMPLE_RATE) * rate)
        if segment.start is not None and segment.start.frames != here:
            asked = segment.start.frames
            if asked < here:
                findings.append(_overlap(segment, stretches, asked, here, rate))
            else:
                findings.append(
                    Finding(
                        "warning",
                        "gap",
                        segment.at("at"),
                        f"nothing stands between {clock(here / rate)} and {clock(asked / rate)}, "
                        f"before segment '{segment.id}' ({asked - here} frames of empty ground)",
                        f"drop its `at:`, or start it at {frame_to_label(here, rate)}",
                    )
                )
                stretches.append(_Stretch(_empty(segment), Span(here, asked), 0))
                here = asked
        length = _length(segment, here, needed, findings, rate)
        stretches.append(_Stretch(segment, Span(here, here + length), needed))
        here += length
    return stretches


def _overlap(segment: Segment, before: list[_Stretch], asked: int, here: int, rate: Fraction) -> Finding:
    backwards = bool(before) and asked < before[-1].span.start_frame
    other = before[-1].segment.id if before else ""
    fault = (
        f"segment '{segment.id}' starts at {clock(asked / rate)}, before segment '{other}' starts"
        if backwards
        else f"segment '{segment.id}' starts at {clock(asked / rate)}, "
        f"{here - asked} frames before segment '{other}' ends"
    )
    return Finding(
        "error",
        "segment-order" if backwards else "segment-overlap",
        segment.at("at"),
        fault,
        f"start it at {frame_to_label(here, rate)} or later, drop its `at:`, or end '{other}' sooner",
    )


def _empty(before: Segment) -> Segment:
    shot = Shot(arrangement=Card(motion="still"), labels=False, places=before.places)
    return Segment(id=GAP_ID, chapter="", shots=(shot,), places=before.places)


def _length(segment: Segment, here: int, needed: int, findings: list[Finding], rate: Fraction) -> int:
    """Frames the segment lasts; at least one."""
    if segment.until is not None:
        length = segment.until.frames - here
        if length < 1:
            findings.append(
                Finding(
                    "error",
                    "segment-order",
                    segment.at("until"),
                    f"segment '{segment.id}' ends at {clock(segment.until.seconds)}, "
                    f"not after its start at {clock(here / rate)}",
                    "let it end later, or use `lasts:`",
                )
            )
    elif segment.lasts is not None:
        length = segment.lasts.frames
    elif segment.say:
        length = max(needed, sum(shot.lasts.frames for shot in segment.shots if shot.lasts is not None))
    else:
        length = sum(shot.lasts.frames for shot in segment.shots if shot.lasts is not None)
    return max(1, length)


def _dissolve_frames(stretch: _Stretch, findings: list[Finding]) -> int:
    edge = stretch.segment.enter
    if edge is None or edge.kind != "dissolve":
        return 0
    return _edge_frames(stretch, edge, findings)


def _edge_frames(stretch: _Stretch, edge: Edge | None, findings: list[Finding]) -> int:
    """Frames of a fade or dissolve, which must lie within the shot it begins or ends."""
    if edge is None:
        return 0
    frames = edge.lasts.frames
    spans = _shot_spans(stretch, [])
    room = spans[-1 if edge is stretch.segment.leave else 0].frames
    if frames <= room:
        return frames
    findings.append(
        Finding(
            "error",
            "edge-too-long",
            edge.at(),
            f"a {edge.kind} of {frames} frames is longer than the shot of segment '{stretch.segment.id}' "
            f"that it lies in ({room} frames)",
            "shorten it, or let the shot last longer",
        )
    )
    return room


def _place_segment(
    storyboard: Storyboard,
    stretch: _Stretch,
    tail_frames: int,
    captures: Mapping[str, CaptureInfo],
    speech: SpeechOf,
    findings: list[Finding],
) -> PlacedSegment:
    segment = stretch.segment
    spans = _shot_spans(stretch, findings)
    shots = []
    for number, (shot, span) in enumerate(zip(segment.shots, spans, strict=True)):
        tail = tail_frames if number == len(spans) - 1 else 0
        if span.frames or tail:
            shots.append(_place_shot(storyboard, shot, span, tail, captures, segment.graphs))
    fade_in = segment.enter if segment.enter and segment.enter.kind == "fade" else None
    return PlacedSegment(
        segment=segment,
        span=stretch.span,
        shots=tuple(shots),
        lines=_place_lines(storyboard, stretch, speech),
        heard=_place_heard(storyboard, segment, shots, stretch.span, findings),
        needed_frames=stretch.needed_frames,
        dissolve_frames=_dissolve_frames(stretch, findings),
        fade_in_frames=_edge_frames(stretch, fade_in, findings),
        fade_out_frames=_edge_frames(stretch, segment.leave, findings),
    )


def _shot_spans(stretch: _Stretch, findings: list[Finding]) -> list[Span]:
    segment, whole = stretch.segment, stretch.span
    told = [shot.lasts.frames if shot.lasts is not None else None for shot in segment.shots]
    left = whole.frames - sum(frames for frames in told if frames is not None)
    lengths = [left if frames is None else frames for frames in told]
    if left < 0 or (left < 1 and None in told):
        findings.append(
            Finding(
                "error",
                "shots-too-long",
                segment.at("show"),
                f"the shots of segment '{segment.id}' need {whole.frames - left} frames, "
                f"but it lasts {whole.frames}" + (" and one shot has no length of its own" if None in told else ""),
                "shorten a shot, or let the segment last longer",
            )
        )
    elif left > 0 and None not in told:
        findings.append(
            Finding(
                "error",
                "shots-too-short",
                segment.at("show"),
                f"the shots of segment '{segment.id}' end {left} frames before it does; the last one runs on",
                "leave `lasts:` away on one shot, so that it takes what is left",
            )
        )
        lengths[-1] += left
    spans, here = [], whole.start_frame
    for length in lengths:
        end = min(whole.end_frame, here + max(0, length))
        spans.append(Span(here, end))
        here = end
    return spans


def _place_shot(
    storyboard: Storyboard,
    shot: Shot,
    span: Span,
    tail_frames: int,
    captures: Mapping[str, CaptureInfo],
    graphs: Graphs | None,
) -> PlacedShot:
    frames = span.frames + tail_frames
    rate = storyboard.canvas.rate
    panes = []
    written = shot.arrangement.panes
    for pane, (start_s, leader) in zip(written, pane_starts(written, storyboard.captures), strict=True):
        capture = storyboard.captures[pane.capture]
        info = captures.get(pane.capture)
        speed = pane.speed if "speed" in pane.places or leader is pane else leader.speed
        held = _held(pane if "freeze" in pane.places or leader is pane else leader, frames)
        if info is None:
            picture, early, late = np.zeros(frames, np.int32), 0, 0
            picture.setflags(write=False)
        else:
            picture, early, late = pictures_behind(info, start_s, speed, rate, frames, held)
        panes.append(PlacedPane(pane, capture, picture, start_s, speed, bool(held), early, late))
    graphed = graphs if panes and all(pane.capture.id in captures for pane in panes) else None
    summed = _summed(shot.arrangement, storyboard, captures) if isinstance(shot.arrangement, Summary) else ()
    return PlacedShot(span, shot.arrangement, tuple(panes), shot.labels, tail_frames, shot.at(), graphed, summed)


def _summed(summary: Summary, storyboard: Storyboard, captures: Mapping[str, CaptureInfo]) -> tuple[Summed, ...]:
    """What a summary counts of each capture that could be read, cut to what the capture holds."""
    offsets = offsets_from(storyboard.captures, summary.captures[0])
    found = []
    for name in summary.captures:
        if name not in captures:
            continue
        offset, whole = offsets.get(name, Fraction(0)), captures[name].duration_s
        start = Fraction(0) if summary.start is None else summary.start.seconds + offset
        end = whole if summary.end is None else summary.end.seconds + offset
        start = min(max(start, Fraction(0)), whole)
        found.append(Summed(storyboard.captures[name], start, max(start, min(end, whole))))
    return tuple(found)


def _held(pane: Pane, frames: int) -> list[Span]:
    return [_hold(freeze, frames) for freeze in pane.freezes]


def _hold(freeze: Freeze, frames: int) -> Span:
    start = freeze.start.frames if freeze.start else 0
    end = frames if freeze.lasts is None else start + freeze.lasts.frames
    return Span(start, max(start, end))


def _place_lines(storyboard: Storyboard, stretch: _Stretch, speech: SpeechOf) -> tuple[PlacedLine, ...]:
    segment, settings = stretch.segment, storyboard.narration
    here = sample_of_frame(stretch.span.start_frame, storyboard.canvas.rate) + _samples(settings.lead.seconds)
    lines = []
    for number, line in enumerate(segment.say, 1):
        spoken = speech[segment.id, number]
        lines.append(PlacedLine(segment.id, number, line, spoken, here))
        here += spoken.samples + _samples((line.pause or settings.pause).seconds)
    return tuple(lines)


def _place_heard(
    storyboard: Storyboard, segment: Segment, shots: list[PlacedShot], whole: Span, findings: list[Finding]
) -> tuple[PlacedHear, ...]:
    rate = storyboard.canvas.rate
    heard = []
    for hear in segment.hear:
        capture = storyboard.captures[hear.capture]
        if hear.start is not None:
            start, end = sample_of_frame(whole.start_frame, rate), sample_of_frame(whole.end_frame, rate)
            heard.append(PlacedHear(capture, start, end, hear.start.seconds, hear.gain_db))
            continue
        shown = False
        for shot in shots:
            pane = next((p for p in shot.panes if p.capture.id == hear.capture), None)
            if pane is None:
                continue
            shown = True
            # Slowed or frozen pictures have no sound of their own that would be true.
            if pane.speed == 1 and not pane.held:
                start, end = sample_of_frame(shot.span.start_frame, rate), sample_of_frame(shot.span.end_frame, rate)
                heard.append(PlacedHear(capture, start, end, pane.wanted_s, hear.gain_db))
        if not shown:
            findings.append(
                Finding(
                    "error",
                    "heard-not-shown",
                    hear.at("capture"),
                    f"segment '{segment.id}' lets capture '{hear.capture}' be heard but does not show it, "
                    "so the moment to hear is not known",
                    f"write hear: {{capture: {hear.capture}, from: 2 s}}",
                )
            )
    return tuple(heard)
