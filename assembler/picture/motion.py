"""How things come onto a card: a short rise and an easing in, one after another. Never a bounce."""

from __future__ import annotations

from dataclasses import dataclass

LASTS_S = 0.5
STAGGER_S = 0.08
LONGEST_STAGGER_S = 0.6
RISE = 14.0
"""Pixels a thing rises by at 1080 lines."""


def eased(share: float) -> float:
    """0 to 1 for 0 to 1 of the time: quick at first, slow at the end, steady in between."""
    left = 1 - min(max(share, 0.0), 1.0)
    return 1 - left * left * left


@dataclass(frozen=True, slots=True)
class Entrance:
    """How one thing comes on: seconds from the shot's start, and the pixels it rises by."""

    start_s: float
    lasts_s: float
    rise_px: float

    @property
    def end_s(self) -> float:
        return self.start_s + self.lasts_s

    def opacity(self, t: float) -> float:
        """0 before it starts, 1 when it has ended."""
        return eased(self._share(t))

    def lift(self, t: float) -> float:
        """Pixels below the place it comes to rest at."""
        return self.rise_px * (1 - eased(self._share(t)))

    def _share(self, t: float) -> float:
        return (t - self.start_s) / self.lasts_s if self.lasts_s > 0 else 1.0


def entrances(count: int, seconds: float, canvas_h: int, *, still: bool) -> tuple[Entrance, ...]:
    """An entrance for each of `count` things in a shot of so many seconds, first to last.

    In a short shot all are on by its middle, so that there is time to read. still: all are on at once.
    """
    if still:
        return (Entrance(0.0, 0.0, 0.0),) * count
    stagger = min(STAGGER_S, LONGEST_STAGGER_S / max(1, count - 1))
    whole = LASTS_S + stagger * (count - 1)
    pace = min(1.0, seconds / 2 / whole)
    rise = RISE * canvas_h / 1080
    return tuple(Entrance(i * stagger * pace, LASTS_S * pace, rise) for i in range(count))
