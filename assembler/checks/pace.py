"""Findings on lines that are spoken too fast or too slowly to follow."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import ceil, floor

from assembler.checks.changes import Change
from assembler.checks.mends import FASTEST_STRETCHED_WPM, Proposal, index_of, natural_wpm, tried
from assembler.checks.misfits import TOO_FAST_WPM, TOO_SLOW_WPM, pace_fault, paused_samples, said_words, seconds
from assembler.checks.trial import Bench, off_pace
from assembler.errors import Finding, Mend
from assembler.narration.stretch import change_of
from assembler.storyboard.written import MOST_FASTER, MOST_SLOWER
from assembler.timeline.model import PlacedLine, Timeline

_STEP = Fraction(1, 1000)


def speech_rate(timeline: Timeline) -> Iterator[Finding]:
    """Takes that are spoken too fast or too slowly, and lines that are stretched until they are too fast."""
    bench: Bench | None = None
    for placed in timeline.segments:
        for line in placed.lines:
            wrong = pace_fault(line, timeline.storyboard)
            if wrong is not None:
                bench = bench or Bench.of(timeline)
                yield _finding(bench, line, *wrong)


def _finding(bench: Bench, line: PlacedLine, code: str, wpm: Fraction) -> Finding:
    where = f"line {line.number} of '{line.segment}'"
    target = off_pace(code, line.segment, line.number)
    mends = tuple(tried(bench, _stretches(bench.timeline, line, code, wpm), target))
    if code == "stretch-too-fast":
        what = f"{where} is stretched to {float(wpm):.0f} words a minute; above {TOO_FAST_WPM} few can follow"
        return Finding("error", code, line.line.at("stretch"), what, "take its `stretch` away, or say less", mends)
    length = seconds(line.speech.samples)
    words = Fraction(said_words(line, bench.timeline.storyboard))
    if code == "speech-too-fast":
        better = 60 * words / FASTEST_STRETCHED_WPM
        what = f"{where} is spoken at {float(wpm):.0f} words a minute; above {TOO_FAST_WPM} few can follow"
    else:
        better = 60 * words / TOO_SLOW_WPM + seconds(paused_samples(line))
        what = (
            f"{where} is spoken at {float(wpm):.0f} words a minute, long pauses not counted; "
            f"below {TOO_SLOW_WPM} listeners wait for the next word"
        )
    speak = f"speak it in {_tenths(better, up=code == 'speech-too-fast')} s instead of {float(length):.1f} s"
    return Finding("warning", code, line.line.at("text"), what, speak, (*mends, Mend("speak", speak)) if mends else ())


def _tenths(length: Fraction, *, up: bool) -> str:
    return f"{(ceil(length * 10) if up else floor(length * 10)) / 10:.1f}"


def _stretches(timeline: Timeline, line: PlacedLine, code: str, wpm: Fraction) -> Iterator[Proposal]:
    """The least change of speed that brings a line's pace within bounds, where one does."""
    index = index_of(timeline, line.segment)
    now = 1 + change_of(line.line, timeline.storyboard)
    if code == "speech-too-slow":
        change = ceil((now * TOO_SLOW_WPM / wpm - 1) / _STEP) * _STEP
    else:
        change = floor((TOO_FAST_WPM / natural_wpm(line, timeline.storyboard) - 1) / _STEP) * _STEP
    for more in (change, change + (_STEP if code == "speech-too-slow" else -_STEP)):
        if index is not None and -MOST_SLOWER <= more <= MOST_FASTER:
            way = f"{float(100 * abs(more)):g} % {'slower' if more < 0 else 'faster'}"
            how = f"make the voice {way} at its own pitch" if more else "leave the voice as it was spoken"
            yield "stretch", [Change(index, "stretch", more, line=line.number)], how
