"""Captions as a track inside the programme's file, which players can show or hide."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from assembler.captions.cues import Cue
from assembler.captions.files import Shown, shown
from assembler.captions.styled import text_of
from assembler.media.soft_captions import SoftCaption, SoftCaptions, StyledText
from assembler.timing.spans import Span


def cues_within(cues: Iterable[Cue], span: Span) -> list[Cue]:
    """The cues of a piece of the programme, counted from its own start."""
    return [
        replace(
            cue,
            start_frame=max(cue.start_frame, span.start_frame) - span.start_frame,
            end_frame=min(cue.end_frame, span.end_frame) - span.start_frame,
        )
        for cue in cues
        if cue.start_frame < span.end_frame and span.start_frame < cue.end_frame
    ]


def soft_captions(cues: Iterable[Cue], span: Span, language: str, *, chosen: bool) -> SoftCaptions | None:
    """The track of a piece of the programme; None where nothing is to be captioned.

    chosen: players show it unless told otherwise. Raises ValueError as the writers of files do.
    """
    captions = tuple(_soft(cue) for cue in shown(cues_within(cues, span), language))
    return SoftCaptions(captions, language, chosen) if captions else None


def _soft(cue: Shown) -> SoftCaption:
    styles: list[StyledText] = []
    at = 0
    for line in cue.lines:
        for run in line:
            if run.styles:
                styles.append(StyledText(at, at + len(run.text), run.styles))
            at += len(run.text)
        at += 1  # the line feed
    return SoftCaption(cue.start_frame, cue.end_frame, "\n".join(map(text_of, cue.lines)), tuple(styles))
