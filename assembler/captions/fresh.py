"""Cues that nobody has touched yet, as the record and the table hold them."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from assembler.captions.cues import Cue, seen
from assembler.captions.files import millisecond, srt_lines
from assembler.captions.record import RecordedCue
from assembler.captions.retimed import Retimed, State
from assembler.captions.script import Script, names_of


def recorded_cues(made: Sequence[Cue], script: Script, rate: Fraction, language: str) -> list[RecordedCue]:
    """Cues as the record holds them, before a person touches them."""
    firsts = names_of(script)
    found = []
    for cue in made:
        lines = srt_lines(cue.lines, language)
        if not lines:
            continue
        last_line = cue.line if cue.last_line is None else cue.last_line
        found.append(
            RecordedCue(
                millisecond(cue.start_frame, rate),
                millisecond(cue.end_frame, rate),
                lines,
                firsts[cue.segment, cue.line] + cue.first_word,
                firsts[cue.segment, last_line] + cue.last_word,
                cue.start_frame,
                cue.end_frame,
                lines,
            )
        )
    return found


def shown(cue: RecordedCue, state: State, script: Script) -> Retimed:
    """A cue as it was laid, with no old one behind it."""
    segment = "" if cue.first_word is None else script.segment_of(cue.first_word)
    return Retimed(
        cue.start_ms, cue.end_ms, cue.lines, state, first_word=cue.first_word, last_word=cue.last_word, segment=segment
    )


def seen_words(script: Script, first: int, last: int) -> list[str]:
    """The words a viewer sees of a stretch of narration."""
    return [part for word in script.words[first : last + 1] for part in seen(word).split()]
