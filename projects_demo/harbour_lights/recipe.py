"""What each machine did, frame by frame: the truth that the footage is made from.

A captured frame shows one picture, or two where it is torn: the older above the tear, the newer
below it. `shown` is the scene frame of the newest picture in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

RATE = 60


@dataclass(frozen=True, slots=True)
class Machine:
    """How a machine draws: its native height and how its colours differ (shares of luma and chroma)."""

    name: str
    native_share: tuple[int, int]  # of the captured height
    luma: float = 1.0
    chroma: float = 1.0


@dataclass(frozen=True, slots=True)
class Stretch:
    """Captured frames from `start` on, for `count` frames: each picture is held for the next of
    `holds` refreshes, over and over."""

    start: int
    count: int
    holds: tuple[int, ...]
    says: str


@dataclass(frozen=True, slots=True)
class Take:
    """One capture. `first`: the scene frame that its captured frame 0 stands at."""

    id: str
    scene: str
    machine: Machine
    first: int
    frames: int
    stretches: tuple[Stretch, ...] = ()
    tears: Mapping[int, int] | None = None  # captured frame -> tear row of the captured picture at 1080 lines


@dataclass(frozen=True, slots=True)
class Shown:
    """One captured frame: the scene frame it shows, whether that is new, and where it is torn."""

    scene: int
    new: bool
    tear_row: int | None = None
    above: int | None = None  # the scene frame above the tear


@dataclass(frozen=True, slots=True)
class Event:
    """Something heard, at a time of the scene."""

    name: str
    scene_s: float


ASH = Machine("ash", (1, 1))
BIRCH = Machine("birch", (2, 3), luma=0.94, chroma=0.86)

QUAY_FRAMES, NIGHT_FRAMES = 14 * RATE, 10 * RATE
QUAY_LATE, NIGHT_EARLY = 21, 13

TAKES = (
    Take("ash_quay", "quay", ASH, 0, QUAY_FRAMES),
    Take(
        "birch_quay", "quay", BIRCH, QUAY_LATE, QUAY_FRAMES,
        (
            Stretch(180, 120, (2,), "an even 30: every picture for two refreshes"),
            Stretch(480, 120, (1, 3), "an uneven 30: one refresh, then three"),
            Stretch(660, 6, (6,), "a hitch: one picture for six refreshes"),
            Stretch(720, 60, (3,), "20 a second: every picture for three refreshes, six of them torn"),
        ),
        {732: 300, 735: 408, 738: 516, 741: 624, 744: 732, 747: 840},
    ),
    Take("ash_night", "night", ASH, 0, NIGHT_FRAMES),
    Take(
        "birch_night", "night", BIRCH, -NIGHT_EARLY, NIGHT_FRAMES,
        (Stretch(240, 180, (2, 1), "40 a second: two refreshes, then one; three pictures torn"),),
        {300: 360, 303: 540, 306: 720},
    ),
)

EVENTS = {
    "quay": (Event("bell", 2.5), Event("bell", 4.0), Event("horn", 8.0), Event("bell", 11.5)),
    "night": (Event("horn", 2.0), Event("bell", 5.0), Event("bell", 6.5)),
}


def shown(take: Take) -> tuple[Shown, ...]:
    """What every captured frame shows."""
    starts_at = list(range(take.frames))  # the captured frame whose moment each one shows
    for stretch in take.stretches:
        at, turn, end = stretch.start, 0, min(take.frames, stretch.start + stretch.count)
        while at < end:
            hold = min(stretch.holds[turn % len(stretch.holds)], end - at)
            starts_at[at : at + hold] = [at] * hold
            at, turn = at + hold, turn + 1
    out: list[Shown] = []
    for index, moment in enumerate(starts_at):
        new = index == 0 or moment != starts_at[index - 1]
        row = (take.tears or {}).get(index)
        above = take.first + starts_at[index - 1] if row is not None else None
        out.append(Shown(take.first + moment, new, row, above))
    return tuple(out)


def truth(take: Take, lines: int) -> dict[str, Any]:
    """The capture's part of the truth file. Tear rows are for a captured picture of `lines`."""
    rows = shown(take)
    return {
        "scene": take.scene,
        "machine": take.machine.name,
        "frames": take.frames,
        "lines": lines,
        "native_lines": lines * take.machine.native_share[0] // take.machine.native_share[1],
        "starts_at_scene_frame": take.first,
        "shows": [row.scene for row in rows],
        "new": [row.new for row in rows],
        "tears": [
            {"frame": index, "row": tear_row(row.tear_row, lines), "above": row.above, "below": row.scene}
            for index, row in enumerate(rows)
            if row.tear_row is not None
        ],
        "stretches": [
            {"start": s.start, "frames": s.count, "holds": list(s.holds), "says": s.says}
            for s in take.stretches
            if s.start < take.frames
        ],
        "sounds": [
            {"name": event.name, "capture_s": event.scene_s - take.first / RATE}
            for event in EVENTS[take.scene]
            if 0 <= event.scene_s - take.first / RATE < take.frames / RATE
        ],
    }


def tear_row(row: int, lines: int) -> int:
    """A tear's row in a picture of another height; even, so that chroma tears in the same place."""
    return row * lines // 1080 // 2 * 2
