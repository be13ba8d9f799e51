"""Reading limits: how long a caption line may be and how fast a person can read it.

What counts as a character: every letter, digit, sign and space that is seen. Combining marks and
invisible marks (joiners, direction marks) do not count, nor does the break between two lines, which
stands for a space but takes no time to read.

The sources name two units of speed. Words a minute become characters a second with the typist's
word of five characters, spaces counted (common practice, no source): 180 words a minute are 15.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor
from types import MappingProxyType

from assembler.storyboard.model import CaptionSettings

CHARS_PER_WORD = 5
_UNSEEN = frozenset({"Mn", "Me", "Cf", "Cc"})


@dataclass(frozen=True, slots=True)
class Limits:
    """What captions keep to.

    chars_per_line, lines: the size of a cue. target_cps, max_cps: characters a second that are
    comfortable, and that are too many. min_s, max_s: how long a cue stays. gap_frames: empty frames
    between two cues. join_s: a gap shorter than this flickers, so it is closed to gap_frames.
    linger_s: how long a cue stays after its last word when nothing hurries it; hang_s: the longest it
    may stay after it, to be read. snap_s: a start or end this near to a shot change moves onto it.
    """

    chars_per_line: int
    lines: int
    target_cps: Fraction
    max_cps: Fraction
    min_s: Fraction
    max_s: Fraction
    gap_frames: int
    join_s: Fraction
    linger_s: Fraction
    hang_s: Fraction
    snap_s: Fraction

    def min_frames(self, rate: Fraction) -> int:
        """Fewest whole frames that last min_s; 5/6 s is 20 frames at 24 and 50 at 59.94."""
        return ceil(self.min_s * rate)

    def max_frames(self, rate: Fraction) -> int:
        """Most whole frames that last no longer than max_s."""
        return floor(self.max_s * rate)


def cps_of_wpm(words_per_minute: int) -> Fraction:
    """Words a minute as characters a second, five characters a word."""
    return Fraction(words_per_minute * CHARS_PER_WORD, 60)


ONLINE = Limits(
    chars_per_line=42,  # published timed-text style guides
    lines=2,  # the same
    target_cps=Fraction(17),  # the same, for children: comfortable for all
    max_cps=Fraction(20),  # the same, for adults
    min_s=Fraction(5, 6),  # the same: 20 frames at 24
    max_s=Fraction(7),  # the same
    gap_frames=2,  # the same, older editions; from memory
    join_s=Fraction(1, 2),  # common practice, no source
    linger_s=Fraction(2, 5),  # common practice, no source
    hang_s=Fraction(3, 2),  # BBC subtitle guidelines: hang at most 1.5 s
    snap_s=Fraction(1, 5),  # ours; the guides allow up to 12 frames at 24 (from memory), which reads late
)

BROADCAST = Limits(
    chars_per_line=37,  # BBC subtitle guidelines, teletext width
    lines=2,  # the same
    target_cps=cps_of_wpm(180),  # BBC and Ofcom: 160 to 180 words a minute
    max_cps=cps_of_wpm(200),  # BBC: about 0.3 s a word, which is 200 a minute (it disagrees with itself)
    min_s=Fraction(6, 5),  # BBC: 4 words 1.2 s; shorter cues flash
    max_s=Fraction(7),  # published timed-text style guides; BBC gives none
    gap_frames=0,  # BBC: no gap at all,
    join_s=Fraction(1),  # or one of at least 1 s
    linger_s=Fraction(2, 5),  # common practice, no source
    hang_s=Fraction(3, 2),  # BBC: hang at most 1.5 s
    snap_s=Fraction(1, 5),  # ours; BBC asks for cues that do not straddle shot changes
)

SLOW = Limits(
    chars_per_line=32,  # DCMP Captioning Key, from memory
    lines=2,  # the same, from memory
    target_cps=cps_of_wpm(140),  # the same, middle level
    max_cps=cps_of_wpm(160),  # the same, upper level
    min_s=Fraction(4, 3),  # the same: 40 frames at 30
    max_s=Fraction(6),  # the same
    gap_frames=2,  # published timed-text style guides, older editions; from memory
    join_s=Fraction(1, 2),  # common practice, no source
    linger_s=Fraction(3, 5),  # ours: longer than the others, for slower readers
    hang_s=Fraction(3, 2),  # BBC subtitle guidelines
    snap_s=Fraction(1, 5),  # ours
)

LIMITS: Mapping[str, Limits] = MappingProxyType({"online": ONLINE, "broadcast": BROADCAST, "slow": SLOW})


_FIELDS = {
    "width": "chars_per_line", "lines": "lines", "wanted": "target_cps", "most": "max_cps", "shortest": "min_s",
    "longest": "max_s", "gap": "gap_frames", "join": "join_s", "linger": "linger_s", "hang": "hang_s", "snap": "snap_s",
}  # fmt: skip


def limits_from(settings: CaptionSettings) -> Limits:
    """The limits a storyboard names, with its own numbers in place of the profile's. Where its own number crosses
    one of the profile's, that one gives way."""
    own = dict(settings.own_limits)
    kept = replace(LIMITS[settings.limits], **{_FIELDS[key]: value for key, value in own.items()})  # type: ignore[arg-type]
    for less, more in (("wanted", "most"), ("shortest", "longest"), ("linger", "hang")):
        low, high = getattr(kept, _FIELDS[less]), getattr(kept, _FIELDS[more])
        if low > high:
            kept = replace(kept, **{_FIELDS[more if less in own else less]: low if less in own else high})
    return kept


def limits_name(settings: CaptionSettings) -> str:
    """The limits as findings name them."""
    return settings.limits + (" with numbers of its own" if settings.own_limits else "")


def characters(text: str) -> int:
    """How many characters of a text are seen, spaces included and line breaks not."""
    if text.isascii() and text.isprintable():
        return len(text)
    return sum(unicodedata.category(char) not in _UNSEEN for char in text)


def reading_speed(lines: Iterable[str], frames: int, rate: Fraction) -> Fraction:
    """Characters a second of lines shown for `frames`."""
    return Fraction(sum(map(characters, lines))) * rate / frames
