"""For every segment and line: when it begins, what it needs, what it has, and the verdict."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from assembler.checks.misfits import FEWEST_WORDS, overrun_samples, said_words, seconds, silent_end_s, words_a_minute
from assembler.narration.pace import Pace
from assembler.storyboard.model import Storyboard
from assembler.timeline.model import PlacedLine, PlacedSegment, Timeline
from assembler.timeline.resolve import GAP_ID, needed_samples
from assembler.timing.rates import SAMPLE_RATE


@dataclass(frozen=True, slots=True)
class FitLine:
    """A line. low_s and high_s: between which it will probably last once it is recorded; for a take both are
    lasts_s.

    wpm: words a minute, None where there are too few words to tell. kind: `take`, `scratch` or `estimate`.
    """

    number: int
    start_s: Fraction
    lasts_s: Fraction
    low_s: Fraction
    high_s: Fraction
    wpm: Fraction | None
    kind: str


@dataclass(frozen=True, slots=True)
class FitRow:
    """A segment. needed_s: its words with the silence before, between and after them; available_s: how long it lasts;
    slack_s: what is left; over_s: how far its words run beyond its end, 0 where they do not.

    verdict: `silent` (nothing is said), `fits`, `tight` (the words fit, but not all of the silence after them),
    `long-silence`, `unsure` (fits as estimated, but perhaps not as it will be spoken), `too-long`, `cut`.
    """

    segment: str
    start_s: Fraction
    needed_s: Fraction
    available_s: Fraction
    slack_s: Fraction
    over_s: Fraction
    verdict: str
    lines: tuple[FitLine, ...]


def fit_rows(timeline: Timeline, pace: Pace) -> tuple[FitRow, ...]:
    """One row a segment, in the programme's order; empty ground between segments has none.

    pace: the reader's, by which lines that are not recorded yet are foretold.
    """
    return tuple(_row(timeline, placed, pace) for placed in timeline.segments if placed.segment.id != GAP_ID)


def _row(timeline: Timeline, placed: PlacedSegment, pace: Pace) -> FitRow:
    speech = {(line.segment, line.number): line.speech for line in placed.lines}
    needed = seconds(needed_samples(placed.segment, timeline.storyboard, speech))
    available = placed.span.frames / timeline.rate
    over = max(Fraction(0), seconds(overrun_samples(placed, timeline))) if placed.lines else Fraction(0)
    return FitRow(
        placed.segment.id,
        placed.span.start_frame / timeline.rate,
        needed,
        available,
        available - needed,
        over,
        _verdict(timeline, placed, pace, available - needed, over),
        tuple(_line(line, timeline.storyboard, pace) for line in placed.lines),
    )


def _line(line: PlacedLine, storyboard: Storyboard, pace: Pace) -> FitLine:
    lasts = low = high = seconds(line.speech.samples)
    if line.speech.kind != "take":
        expected = pace.expect(float(lasts))
        low, high = Fraction(expected.low_s), Fraction(expected.high_s)
    enough = said_words(line, storyboard) >= FEWEST_WORDS and lasts
    wpm = words_a_minute(line, storyboard) if enough else None
    start = Fraction(line.start_sample, SAMPLE_RATE)
    return FitLine(line.number, start, lasts, low, high, wpm, line.speech.kind)


def _verdict(timeline: Timeline, placed: PlacedSegment, pace: Pace, slack: Fraction, over: Fraction) -> str:
    if not placed.lines:
        return "silent"
    if over > 0:
        return "cut" if placed is timeline.segments[-1] else "too-long"
    if placed.segment.fit:
        return "fits"
    if silent_end_s(placed, timeline) is not None:
        return "long-silence"
    unspoken = [float(seconds(line.speech.samples)) for line in placed.lines if line.speech.kind != "take"]
    may_grow = pace.expect_all(unspoken).high_s - sum(unspoken) if unspoken else 0
    if may_grow > -seconds(overrun_samples(placed, timeline)):
        return "unsure"
    return "tight" if slack < 0 else "fits"
