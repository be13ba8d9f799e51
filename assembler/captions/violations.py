"""Which cues break which reading limit, and by how much."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from assembler.captions.cues import Cue
from assembler.captions.limits import Limits, characters, reading_speed

Kind = Literal["too-fast", "too-short", "too-long", "too-wide", "too-many-lines", "too-close"]


@dataclass(frozen=True, slots=True)
class Violation:
    """A limit that a cue breaks. `number` counts cues from 1, as caption files do.

    measured, limit: characters a second (too-fast), seconds (too-short, too-long), characters
    (too-wide), lines (too-many-lines), empty frames before the next cue (too-close; negative where
    the two overlap).
    """

    kind: Kind
    number: int
    segment: str
    line: int
    measured: Fraction
    limit: Fraction

    def __str__(self) -> str:
        measured, limit = float(self.measured), float(self.limit)
        return f"caption {self.number} " + {
            "too-fast": f"reads at {measured:.1f} characters a second; the most is {limit:.1f}",
            "too-short": f"stays {measured:.2f} s; the least is {limit:.2f} s",
            "too-long": f"stays {measured:.2f} s; the most is {limit:.2f} s",
            "too-wide": f"has a line of {measured:.0f} characters; the most is {limit:.0f}",
            "too-many-lines": f"has {measured:.0f} lines; the most is {limit:.0f}",
            "too-close": f"ends {measured:.0f} frames before the next; the least is {limit:.0f}",
        }[self.kind]


def violations(cues: Iterable[Cue], rate: Fraction, limits: Limits) -> tuple[Violation, ...]:
    """Every limit that is broken, in the order of the cues."""
    listed = list(cues)
    found = []
    for number, cue in enumerate(listed, 1):
        frames = cue.end_frame - cue.start_frame
        speed = reading_speed(cue.lines, frames, rate)
        widest = max(map(characters, cue.lines), default=0)
        broken: list[tuple[Kind, Fraction, Fraction]] = []
        if speed > limits.max_cps:
            broken.append(("too-fast", speed, limits.max_cps))
        if frames < limits.min_frames(rate):
            broken.append(("too-short", frames / rate, limits.min_s))
        if frames > limits.max_frames(rate):
            broken.append(("too-long", frames / rate, limits.max_s))
        if widest > limits.chars_per_line:
            broken.append(("too-wide", Fraction(widest), Fraction(limits.chars_per_line)))
        if len(cue.lines) > limits.lines:
            broken.append(("too-many-lines", Fraction(len(cue.lines)), Fraction(limits.lines)))
        gap = listed[number].start_frame - cue.end_frame if number < len(listed) else limits.gap_frames
        if gap < limits.gap_frames:
            broken.append(("too-close", Fraction(gap), Fraction(limits.gap_frames)))
        found += [Violation(kind, number, cue.segment, cue.line, *figures) for kind, *figures in broken]
    return tuple(found)
