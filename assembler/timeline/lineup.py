"""Where lined-up captures show the same moment."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from assembler.storyboard.model import Capture, Pane


def offsets_from(captures: Mapping[str, Capture], origin: str) -> dict[str, Fraction]:
    """For every capture lined up with `origin`, directly or through others: where it shows, in its
    own time, the moment that `origin` shows at its 0 (seconds). `origin` itself is 0."""
    links: dict[str, list[tuple[str, Fraction]]] = {}
    for capture in captures.values():
        if capture.line_up is not None:
            offset = capture.line_up.offset.seconds if capture.line_up.offset else Fraction(0)
            links.setdefault(capture.line_up.partner, []).append((capture.id, offset))
            links.setdefault(capture.id, []).append((capture.line_up.partner, -offset))
    found = {origin: Fraction(0)}
    waiting = [origin]
    while waiting:
        here = waiting.pop()
        for there, offset in links.get(here, ()):
            if there not in found:
                found[there] = found[here] + offset
                waiting.append(there)
    return found


def pane_starts(panes: tuple[Pane, ...], captures: Mapping[str, Capture]) -> list[tuple[Fraction, Pane]]:
    """For each pane, the capture time shown first and the pane whose speed and freezes it keeps.

    A pane without `from` shows the moment of the first pane with one that it is lined up with. Where
    no pane of a lined-up group says `from`, the group starts at the earliest moment all of them show.
    """
    said = [pane for pane in panes if pane.start is not None]
    result: list[tuple[Fraction, Pane]] = []
    for pane in panes:
        if pane.start is not None:
            result.append((pane.start.seconds, pane))
            continue
        offsets = offsets_from(captures, pane.capture)
        leader = next((other for other in said if other.capture in offsets), None)
        if leader is not None and leader.start is not None:
            result.append((leader.start.seconds - offsets[leader.capture], leader))
            continue
        group = [other for other in panes if other.start is None and other.capture in offsets]
        # moment m in this pane's time is m + offset in the other's; all of them must be >= 0
        earliest = max(-offsets[other.capture] for other in group)
        result.append((max(Fraction(0), earliest), group[0]))
    return result
