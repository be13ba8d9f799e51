"""Small programmes with narration and no pictures, for the tests of captions.

    programme([["Two machines, one harbour."], ["Both hold 60 fps."]], rate=Fraction(60))

Words are timed at a steady pace by their length; or give their times, in samples, yourself.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from assembler.narration.speech import Speech, Word
from assembler.storyboard.model import Canvas, CaptionSettings, Card, Line, Narration, Segment, Shot, Storyboard
from assembler.timeline.model import PlacedLine, PlacedSegment, PlacedShot, Timeline
from assembler.timing.grammar import parse_time
from assembler.timing.rates import sample_of_frame
from assembler.timing.spans import Span

S = 48_000
CARD = Card(title="A card")


def spoken(text: str, chars_per_second: float = 13.0, *, pause_s: float = 0.25) -> Speech:
    """A line whose words take time by their length, with a pause after punctuation."""
    words, here = [], 0
    for written in text.split():
        length = max(1, round(S * (len(written) + 1) / chars_per_second))
        words.append(Word(written, here, here + length))
        here += length + (round(S * pause_s) if written[-1] in ",.;:?!" else 0)
    return Speech("estimate", words[-1].end_sample if words else 0, tuple(words))


def timed(words: Sequence[tuple[str, int, int]]) -> Speech:
    """A line of (text, start, end) words, in samples from the line's start."""
    return Speech("estimate", max((end for _, _, end in words), default=0), tuple(Word(*word) for word in words))


def programme(
    segments: Sequence[Sequence[str | Speech]],
    rate: Fraction = Fraction(60),
    *,
    limits: str = "online",
    pause_s: float = 0.35,
    lead_s: float = 0.25,
    chars_per_second: float = 13.0,
    frames: Sequence[int] | None = None,
    changes: Sequence[int] = (),
    language: str = "en",
    ids: Sequence[str] = (),
) -> Timeline:
    """Segments of lines, one after the other. frames: the length of each segment, else as long as
    it needs. changes: programme frames at which a new shot begins. ids: the segments', else part-0 and so on."""
    settings = Narration(
        lead=parse_time("0.25 s", rate), pause=parse_time("0.35 s", rate), tail=parse_time("0.5 s", rate)
    )
    placed: list[PlacedSegment] = []
    start = 0
    names = list(ids) or [f"part-{index}" for index in range(len(segments))]
    for index, lines in enumerate(segments):
        here = sample_of_frame(start, rate) + round(lead_s * S)
        said = []
        for number, line in enumerate(lines, 1):
            speech = line if isinstance(line, Speech) else spoken(line, chars_per_second)
            text = " ".join(word.text for word in speech.words)
            said.append(PlacedLine(names[index], number, Line(text=text), speech, here))
            here += speech.samples + round(pause_s * S)
        needed = -(-here * rate.numerator // (S * rate.denominator)) + 1 - start
        length = frames[index] if frames else max(1, needed)
        edges = [start, *(change for change in changes if start < change < start + length), start + length]
        spans = [Span(a, b) for a, b in pairwise(edges)]
        shots = tuple(PlacedShot(span, CARD, (), True) for span in spans)
        segment = Segment(
            id=names[index], say=tuple(line.line for line in said), shots=(Shot(arrangement=CARD),), fit=True
        )
        placed.append(PlacedSegment(segment, Span(start, start + length), shots, tuple(said), (), needed))
        start += length
    storyboard = Storyboard(
        title="Two machines",
        language=language,
        canvas=Canvas(rate=rate),
        subjects={},
        captures={},
        narration=settings,
        captions=CaptionSettings(limits=limits),  # type: ignore[arg-type]
        segments=tuple(item.segment for item in placed),
    )
    return Timeline(storyboard, Path(), rate, start, tuple(placed), {})
