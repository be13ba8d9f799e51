"""How far narration misses its segments, measured: what the findings, the table and the trials of mends rest on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

from assembler.narration.pauses import long_pauses
from assembler.narration.spoken import spoken_form
from assembler.narration.stretch import change_of
from assembler.storyboard.model import Storyboard
from assembler.timeline.model import PlacedLine, PlacedSegment, Timeline
from assembler.timing.rates import SAMPLE_RATE, sample_of_frame

TOO_FAST_WPM = 200
"""Above this, few listeners follow technical speech. Common practice, no source."""
TOO_SLOW_WPM = 100
"""Below this, listeners wait for the next word. Common practice, no source."""
FEWEST_WORDS = 5
"""Shorter lines have no pace worth judging."""
LONG_SILENCE_S = 5
"""More silence than this at a segment's end is worth a note. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Collision:
    """A line that begins `samples` before the line `before` it has ended."""

    before: PlacedLine
    line: PlacedLine
    samples: int


def overrun_samples(placed: PlacedSegment, timeline: Timeline) -> int:
    """Samples by which a segment's last line ends after the segment; negative when it ends before it does."""
    assert placed.lines
    return placed.lines[-1].end_sample - sample_of_frame(placed.span.end_frame, timeline.rate)


def collisions(timeline: Timeline) -> Iterator[Collision]:
    """Lines that begin before the line before them has ended."""
    lines = [line for placed in timeline.segments for line in placed.lines]
    for before, line in pairwise(lines):
        if before.end_sample > line.start_sample:
            yield Collision(before, line, before.end_sample - line.start_sample)


def said_words(line: PlacedLine, storyboard: Storyboard) -> int:
    """Words said for a line's written ones: `1440p` is three."""
    lexicon = tuple(storyboard.lexicon.items())
    return line.speech.said or _said_words(line.line.text, lexicon, line.line.spoken, storyboard.language)


@lru_cache(maxsize=4096)
def _said_words(text: str, lexicon: tuple[tuple[str, str], ...], spoken: str | None, language: str) -> int:
    return sum(len(token.words) for token in spoken_form(text, dict(lexicon), spoken=spoken, language=language))


def words_a_minute(line: PlacedLine, storyboard: Storyboard, samples: int | None = None) -> Fraction:
    """Pace of a line over its own length, or over `samples`; 0 for a line without length."""
    over = line.speech.samples if samples is None else samples
    return Fraction(60 * said_words(line, storyboard) * SAMPLE_RATE, over) if over > 0 else Fraction(0)


def pace_fault(line: PlacedLine, storyboard: Storyboard) -> tuple[str, Fraction] | None:
    """What is wrong with a line's pace, as a finding's code, and its words a minute.

    Only takes are judged, because the scratch voice's pace is a setting. Long pauses do not count as slow speech.
    """
    few = said_words(line, storyboard) < FEWEST_WORDS
    if few or line.speech.kind != "take" or line.speech.samples <= 0:
        return None
    wpm = words_a_minute(line, storyboard)
    if wpm > TOO_FAST_WPM:
        return ("stretch-too-fast" if change_of(line.line, storyboard) > 0 else "speech-too-fast"), wpm
    if wpm >= TOO_SLOW_WPM:
        return None
    wpm = words_a_minute(line, storyboard, line.speech.samples - paused_samples(line))
    return ("speech-too-slow", wpm) if wpm < TOO_SLOW_WPM else None


def paused_samples(line: PlacedLine) -> int:
    """Samples that a line spends in long pauses."""
    if line.speech.sound is None:
        return 0
    paused, whole = long_pauses(line.speech.sound)
    return paused * line.speech.samples // whole if whole else 0


def silent_end_s(placed: PlacedSegment, timeline: Timeline) -> Fraction | None:
    """Silence at a segment's end beyond the usual one, in seconds, where it is long and nothing asks for it."""
    if not placed.lines or placed.segment.fit or placed.lines[-1].line.pause is not None:
        return None
    silence = -seconds(overrun_samples(placed, timeline)) - timeline.storyboard.narration.tail.seconds
    return silence if silence > LONG_SILENCE_S else None


def seconds(samples: int) -> Fraction:
    """Samples at 48 kHz as exact seconds."""
    return Fraction(samples, SAMPLE_RATE)
