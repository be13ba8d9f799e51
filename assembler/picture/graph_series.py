"""What a graph shows of one subject: a capture's cadence with its times, as plain arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from assembler.measure.clock import Clock
from assembler.measure.figures import frame_times, window_rates
from assembler.measure.model import Cadence, State
from assembler.picture.clusters import clusters
from assembler.picture.graph_scale import Columns, Doubles, picture_at
from assembler.storyboard.model import Subject

STATE_WORDS = {State.STILL: "still", State.DARK: "dark", State.UNDECIDED: "undecided"}
NOT_COUNTED = "not counted"
_WORD_OF = {int(state): STATE_WORDS.get(state, "") for state in State}  # asked for every frame, so by plain numbers


@dataclass(frozen=True, slots=True, eq=False)
class GraphSeries:
    """One subject's measurement, n pictures.

    order: the subject's, for colour and line style. times_s: (n,) rising capture times by the
    capture's own stamps, the first picture's 0. edges_s: (n + 1,) when each picture begins and the
    last one ends, freed of the stamps' rounding: where things are drawn. is_new: (n,) verdicts.
    state: (n,) of `State`. tear: (n, 2) upper and lower bound of the tear's place as a share of the
    picture's height, NaN where none. refresh: pictures a second that the capture holds. rate: (n,)
    new pictures a second around each picture, NaN where nothing is counted; rate_margin: (n,) half its
    95 % interval. step_ms: (n,) how long the picture seen stands in all, NaN where not known.
    reliable: False where the capture is too compressed to count; `why` says so. doubtful: (n,) where no rate is given
    because too many verdicts nearby are in doubt; None = nowhere.

    Derived: cell (n,) the picture that opened the cell each picture lies in; a change of state opens
    one too. rate_state (n,): the state in a panel of rates, where one in too much doubt is undecided, too.
    """

    name: str
    initial: str
    order: int
    times_s: Doubles
    edges_s: Doubles
    is_new: npt.NDArray[np.bool_]
    state: npt.NDArray[np.uint8]
    tear: Doubles
    refresh: float
    rate: Doubles
    rate_margin: Doubles
    step_ms: Doubles
    reliable: bool = True
    why: str = ""
    doubtful: npt.NDArray[np.bool_] | None = None
    cell: Columns = field(init=False)
    rate_state: npt.NDArray[np.uint8] = field(init=False)

    def __post_init__(self) -> None:
        n = self.times_s.size
        arrays = [self.is_new, self.state, self.rate, self.rate_margin, self.step_ms]
        arrays += [] if self.doubtful is None else [self.doubtful]
        if n == 0 or any(array.shape != (n,) for array in arrays):
            raise ValueError("a graph's arrays have one entry for each picture")
        if self.tear.shape != (n, 2) or self.edges_s.shape != (n + 1,):
            raise ValueError("a graph's tears have two entries for each picture, and its edges one more than pictures")
        opens = self.is_new | np.append(True, self.state[1:] != self.state[:-1])
        object.__setattr__(self, "cell", np.maximum.accumulate(np.where(opens, np.arange(n), 0)))
        rated = self.state
        if self.doubtful is not None:
            rated = np.where(self.doubtful & (rated == State.MOVING), np.uint8(State.UNDECIDED), rated)
        object.__setattr__(self, "rate_state", rated)

    @property
    def pictures(self) -> int:
        return int(self.times_s.size)

    def picture_at(self, time_s: float) -> int:
        """The newest picture at or before a capture time."""
        return picture_at(self.times_s, time_s)

    def state_of(self, kind: str) -> npt.NDArray[np.uint8]:
        """(n,) the state of each picture in a panel of a kind."""
        return self.rate_state if kind == "frame-rate" else self.state

    def word_at(self, picture: int, kind: str = "cadence") -> str:
        """Why nothing is counted at a picture in a panel of a kind, in a word; "" where it is."""
        if not self.reliable:
            return NOT_COUNTED
        return _WORD_OF[int(self.state_of(kind)[picture])]

    def spans(self, kind: str = "cadence") -> tuple[tuple[int, int, State], ...]:
        """Runs of pictures of one state in a panel of a kind, half-open."""
        state = self.state_of(kind)
        cuts = np.flatnonzero(np.diff(state)) + 1
        starts, ends = np.append(0, cuts), np.append(cuts, self.pictures)
        return tuple((int(a), int(b), State(int(state[a]))) for a, b in zip(starts, ends, strict=True))


def graph_series(
    name: str, initial: str, order: int, clock: Clock, cadence: Cadence, window_s: Fraction = Fraction(1)
) -> GraphSeries:
    """A capture's cadence as a graph shows it. Raises ValueError when the two are of different lengths."""
    base = clock.time_base
    # One correctly rounded division: the same doubles as the exact times give.
    times = (clock.pts - clock.pts[0]) * base.numerator / base.denominator
    rates = window_rates(cadence, clock, window_s)
    frames = frame_times(cadence, clock)
    n = times.size
    is_new = cadence.is_new
    opened = np.maximum.accumulate(np.where(is_new, np.arange(n), 0))
    step = np.full(n, np.nan)
    if frames.picture.size and cadence.reliable:
        found = np.minimum(np.searchsorted(frames.picture, opened), frames.picture.size - 1)
        known = (frames.picture[found] == opened) & (cadence.state == State.MOVING)
        step[known] = frames.ms[found[known]]
    rows = np.stack((cadence.tear_first_row, cadence.tear_last_row), axis=1).astype(np.float64)
    likely = np.nan_to_num(cadence.p_tear) >= 0.5
    torn = likely & (cadence.tear_first_row >= 0) & is_new & cadence.tears_measurable
    return GraphSeries(
        name=name,
        initial=initial,
        order=order,
        times_s=times,
        edges_s=clock.edges_s,
        is_new=is_new,
        state=cadence.state,
        tear=np.where(torn[:, None], rows / clock.rows, np.nan),
        refresh=usual_refresh(clock),
        rate=rates.hz,
        rate_margin=(rates.high_hz - rates.low_hz) / 2,
        step_ms=step,
        reliable=cadence.reliable,
        why=cadence.why,
        doubtful=rates.doubtful,
    )


def usual_refresh(clock: Clock) -> float:
    """Pictures a second that a capture holds: its refresh, or else those of the commonest spacing."""
    refresh = clock.refresh()
    if refresh is not None:
        return float(refresh)
    times_s = clock.pts * float(clock.time_base)
    return float(1 / np.median(np.diff(times_s))) if times_s.size > 1 else 60.0


def names_and_orders(captures: Sequence[tuple[str, Subject | None]]) -> tuple[tuple[str, int], ...]:
    """The name and the order (for colour and line style) of each capture on one figure: its subject's. Two captures
    of one subject would be alike, so then all go by their ids and places. captures: (id, subject)."""
    known = [subject.id for _, subject in captures if subject is not None]
    alike = len(set(known)) < len(known)
    return tuple(
        (name, number) if subject is None or alike else (subject.name, subject.order)
        for number, (name, subject) in enumerate(captures)
    )


def initials(names: Sequence[str]) -> tuple[str, ...]:
    """A short mark for each name: its first letter, or as many as tell it from the others (at most
    three), or its number."""
    parts = [clusters(" ".join(name.split())) for name in names]
    found = []
    for number, own in enumerate(parts):
        others = parts[:number] + parts[number + 1 :]
        for count in (1, 2, 3):
            mark = own[:count]
            if mark and all(tuple(other[:count]) != tuple(mark) for other in others):
                found.append("".join(mark).strip())
                break
        else:
            found.append(str(number + 1))
    return tuple(found)
