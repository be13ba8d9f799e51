"""Cut the programme into part jobs: at segments, at shots, and long shots at even steps.

Long shots are cut so that a killed run loses little and a changed caption costs seconds, not the
whole shot. The steps count from the shot's start, so they stay where they are when it gets longer.
Nothing here may depend on where in the programme a segment stands, unless it is drawn.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from typing import Literal

from assembler.captions.cues import Cue
from assembler.captions.files import styled_lines
from assembler.captions.limits import LIMITS
from assembler.captions.styled import at_top
from assembler.errors import RenderError, UsageError
from assembler.media.join import Chapter
from assembler.media.writer import EncoderSettings
from assembler.render.fingerprint import Prints, measured_print
from assembler.render.jobs import Burn, Dissolve, Fade, PartJob, Stamp, source_names
from assembler.render.proxies import read_by_proxy, worth_proxies
from assembler.storyboard.model import Subject
from assembler.timeline.model import PlacedSegment, PlacedShot, Timeline
from assembler.timing.rates import SAMPLE_RATE, sample_of_frame
from assembler.timing.spans import Span
from assembler.timing.timecode import clock

PIECES_S = {"draft": Fraction(4), "master": Fraction(10)}
"""Length of the pieces a long shot is cut into; a rest shorter than half a piece joins the last. A corrected caption
costs a piece or two of a draft. Keeping the picture without what is burnt in as well would cost every cold draft more;
shorter pieces cost it next to nothing."""

Counting = Literal["segment", "id", "programme"]
"""What marks show: the time within the segment, which stays right when the segment moves; the same and the segment's
id; or the programme's timecode and the id, so that an edit makes anew the pictures of all that follows it."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """What is drawn over the picture and how it is encoded. width, height: of the output, even. counting: what the
    marks count. piece_s: length of the pieces a long shot is cut into. proxies: whether captures that cost much to read
    may be read by proxy. quick: as Stage has it."""

    width: int
    height: int
    burn_captions: bool
    marks: bool
    settings: EncoderSettings
    counting: Counting = "segment"
    piece_s: Fraction = PIECES_S["draft"]
    proxies: bool = False
    quick: bool = False


def plan_parts(
    timeline: Timeline, cues: Sequence[Cue], span: Span, drawn: Drawn, prints: Prints
) -> tuple[PartJob, ...]:
    """The parts that make up the programme's frames in `span`, in order and without a gap.

    prints: answers with the digest of what stands behind a name. Raises RenderError when the
    timeline's shots do not cover the span.
    """
    worth = worth_proxies(timeline) if drawn.proxies else frozenset()
    planner = _Planner(timeline, tuple(cues), _scratch_spans(timeline), drawn, prints, worth)
    jobs: list[PartJob] = []
    here = span.start_frame
    before: PlacedSegment | None = None
    for segment in timeline.segments:
        for number, shot in enumerate(segment.shots, start=1):
            for piece in _pieces(shot.span, round(drawn.piece_s * timeline.rate)):
                start, end = max(piece.start_frame, span.start_frame), min(piece.end_frame, span.end_frame)
                if start >= end:
                    continue
                if start != here:
                    raise RenderError(f"nothing is shown from frame {here} to frame {start}")
                jobs.append(planner.job(before, segment, number, shot, Span(start, end)))
                here = end
        before = segment
    if here != span.end_frame:
        raise RenderError(f"nothing is shown from frame {here} to frame {span.end_frame}")
    return tuple(jobs)


def chapters_of(timeline: Timeline, span: Span) -> tuple[Chapter, ...]:
    """The chapters that meet a span, cut to it; frames count from the span's start. A chapter runs from
    the segment that opens it to the next such segment, or to the programme's end."""
    titles, starts = [], []
    for placed in timeline.segments:
        segment = placed.segment
        title = segment.id if segment.chapter is None else segment.chapter
        if title:
            titles.append(title)
            starts.append(placed.span.start_frame)
    chapters = []
    for title, start, end in zip(titles, starts, [*starts[1:], timeline.frames], strict=True):
        first, last = max(start, span.start_frame), min(end, span.end_frame)
        if first < last:
            chapters.append(Chapter(title, first - span.start_frame, last - span.start_frame))
    return tuple(chapters)


def span_of(timeline: Timeline, *, only: str | None, start_frame: int | None, end_frame: int | None) -> Span:
    """The frames asked for. Raises UsageError for an id or frames that are not there."""
    whole = Span(0, timeline.frames)
    if only is not None:
        found = [placed for placed in timeline.segments if placed.segment.id == only]
        if not found:
            near = difflib.get_close_matches(only, [placed.segment.id for placed in timeline.segments], n=1)
            mend = f"did you mean '{near[0]}'?" if near else "use the id of a segment in the storyboard"
            raise UsageError(f"there is no segment '{only}'", mend=mend)
        whole = found[0].span
    start = whole.start_frame if start_frame is None else max(start_frame, whole.start_frame)
    end = whole.end_frame if end_frame is None else min(end_frame, whole.end_frame)
    if start >= end:
        rate = timeline.rate
        first = "the start" if start_frame is None else clock(start_frame / rate)
        last = "the end" if end_frame is None else clock(end_frame / rate)
        raise UsageError(
            f"nothing lies between {first} and {last}",
            mend=f"choose times between {clock(whole.start_frame / rate)} and {clock(whole.end_frame / rate)}",
        )
    return Span(start, end)


def _pieces(span: Span, step: int) -> Iterator[Span]:
    step = max(1, step)
    count = max(1, (span.frames + step // 2) // step)
    for number in range(count):
        start = span.start_frame + number * step
        yield Span(start, start + step if number < count - 1 else span.end_frame)


def _scratch_spans(timeline: Timeline) -> tuple[Span, ...]:
    """Programme frames in which a scratch voice speaks, touched frames counted whole. Counted from the segment's start,
    whose sample is a rounded one at some rates: elsewhere in the programme the frames would be others."""
    found = []
    for placed in timeline.segments:
        begins = sample_of_frame(placed.span.start_frame, timeline.rate)
        for line in placed.lines:
            if line.speech.kind == "scratch":
                start = floor((line.start_sample - begins) * timeline.rate / SAMPLE_RATE)
                end = ceil((line.end_sample - begins) * timeline.rate / SAMPLE_RATE)
                found.append(Span(placed.span.start_frame + start, placed.span.start_frame + end))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Planner:
    """What every job is made from. Spans are programme frames."""

    timeline: Timeline
    cues: tuple[Cue, ...]
    scratch: tuple[Span, ...]
    drawn: Drawn
    prints: Prints
    proxied: frozenset[str]

    def job(
        self, before: PlacedSegment | None, segment: PlacedSegment, number: int, shot: PlacedShot, span: Span
    ) -> PartJob:
        timeline, drawn = self.timeline, self.drawn
        dissolve = _dissolve(before, segment, span)
        shown = [shot] if dissolve is None else [shot, dissolve.shot]
        return PartJob(
            segment=segment.segment.id,
            number=number,
            shot=shot,
            first=span.start_frame - shot.span.start_frame,
            frames=span.frames,
            dissolve=dissolve,
            fades=_fades(before, segment, span),
            captions=self._burns(span) if drawn.burn_captions else (),
            stamp=self._stamp(segment, span) if drawn.marks else None,
            width=drawn.width,
            height=drawn.height,
            rate=timeline.rate,
            canvas=(timeline.width, timeline.height),
            settings=drawn.settings,
            subjects=self._subjects(shown),
            sources={name: self.prints.of(name) for each in shown for name in source_names(each)},
            fonts=self.prints.fonts,
            engine=self.prints.engine,
            measured=measured_print(timeline.measured, shown),
            by_proxy=read_by_proxy(shown, self.proxied),
            quick=drawn.quick,
        )

    def _subjects(self, shown: Sequence[PlacedShot]) -> dict[str, Subject]:
        known = self.timeline.storyboard.subjects
        used = {pane.capture.subject for shot in shown for pane in shot.panes}
        return {name: known[name] for name in sorted(name for name in used if name is not None)}

    def _burns(self, span: Span) -> tuple[Burn, ...]:
        return tuple(
            Burn(kept.start_frame, kept.end_frame, styled_lines(cue), number, at_top(cue.marked))
            for number, cue in enumerate(self.cues, start=1)
            if (kept := _within(Span(cue.start_frame, self._burnt_until(cue)), span)) is not None
        )

    def _burnt_until(self, cue: Cue) -> int:
        """A caption that ends with its segment, or the gap between captions before it, goes that gap before it: which
        of the two depends on what follows, and pictures must not."""
        gap = LIMITS[self.timeline.storyboard.captions.limits].gap_frames
        for placed in self.timeline.segments:
            end = placed.span.end_frame
            if end - gap <= cue.end_frame <= end and cue.start_frame < end - gap:
                return end - gap
        return cue.end_frame

    def _stamp(self, segment: PlacedSegment, span: Span) -> Stamp:
        kept = (_within(spoken, span) for spoken in self.scratch)
        counting = self.drawn.counting
        within = counting != "programme"
        first_frame = span.start_frame - (segment.span.start_frame if within else 0)
        name = "" if counting == "segment" else segment.segment.id
        return Stamp(name, first_frame, tuple(each for each in kept if each is not None), within)


def _within(part: Span, whole: Span) -> Span | None:
    """What of `part` lies in `whole`, counted from the start of `whole`."""
    start, end = max(part.start_frame, whole.start_frame), min(part.end_frame, whole.end_frame)
    return Span(start - whole.start_frame, end - whole.start_frame) if start < end else None


def _dissolve(before: PlacedSegment | None, segment: PlacedSegment, span: Span) -> Dissolve | None:
    done = span.start_frame - segment.span.start_frame
    if done >= segment.dissolve_frames or not _leaves_picture(before):
        return None
    assert before is not None
    outgoing = before.shots[-1]
    return Dissolve(outgoing, outgoing.span.frames + done, done, segment.dissolve_frames)


def _leaves_picture(before: PlacedSegment | None) -> bool:
    """Whether there is a picture to dissolve from: what has faded away must not come back."""
    return before is not None and before.fade_out_frames == 0


def _fades(before: PlacedSegment | None, segment: PlacedSegment, span: Span) -> tuple[Fade, ...]:
    fades = []
    rising = segment.fade_in_frames
    if segment.dissolve_frames and not _leaves_picture(before):
        rising = max(rising, segment.dissolve_frames)
    if (done := span.start_frame - segment.span.start_frame) < rising:
        fades.append(Fade(done, 1, rising))
    if segment.span.end_frame - span.end_frame < segment.fade_out_frames:
        fades.append(Fade(segment.span.end_frame - 1 - span.start_frame, -1, segment.fade_out_frames))
    return tuple(fades)
