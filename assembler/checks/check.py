"""Every finding about a resolved timeline, gathered."""

from __future__ import annotations

from collections.abc import Iterator

from assembler.captions.cues import Cue
from assembler.checks.captions import caption_glyphs, caption_room, reading_limits
from assembler.checks.detail import lost_detail
from assembler.checks.fit import narration_fit
from assembler.checks.footage import footage_kinds, footage_lengths, silent_captures, unused_captures
from assembler.checks.measured import measured_evidence
from assembler.checks.pace import speech_rate
from assembler.checks.panes import crops_inside, freezes_inside
from assembler.checks.sound import music_lengths
from assembler.checks.summaries import summaries
from assembler.checks.words import card_room, label_room, missing_glyphs
from assembler.errors import Finding
from assembler.picture.stage import Stage
from assembler.picture.text import FontSet
from assembler.timeline.model import Timeline


def check_timeline(timeline: Timeline, cues: tuple[Cue, ...], fonts: FontSet) -> Iterator[Finding]:
    """Findings in no particular order; the same one may come twice."""
    canvas = timeline.width, timeline.height
    stage = Stage(
        *canvas, 8, timeline.rate, timeline.storyboard.subjects, timeline.captures, fonts, timeline.folder, canvas,
        measured=timeline.measured,
    )  # fmt: skip
    yield from narration_fit(timeline)
    yield from speech_rate(timeline)
    yield from footage_lengths(timeline)
    yield from footage_kinds(timeline)
    yield from unused_captures(timeline.storyboard)
    yield from silent_captures(timeline)
    yield from music_lengths(timeline)
    yield from crops_inside(timeline)
    yield from freezes_inside(timeline)
    yield from measured_evidence(timeline)
    yield from lost_detail(timeline, stage)
    yield from reading_limits(timeline, cues)
    yield from missing_glyphs(timeline.storyboard, fonts)
    yield from caption_room(timeline, cues, stage)
    yield from caption_glyphs(timeline, cues, fonts)
    yield from label_room(timeline, stage)
    yield from card_room(timeline, stage)
    yield from summaries(timeline, stage)
