"""What a graph shows of one subject: a capture's cadence with its times, as plain arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from assembler.measure.model import Cadence, State
from assembler.media.info import CaptureInfo
from assembler.picture.clusters import clusters
from assembler.picture.graph_rate import RATE_WINDOW_S, sliding_rate
from assembler.picture.graph_scale import Columns, Doubles, picture_at

STATE_WORDS = {State.STILL: "still", State.DARK: "dark", State.UNDECIDED: "undecided"}


@dataclass(frozen=True, slots=True, eq=False)
class GraphSeries:
    """One subject's measurement, n pictures.

    order: the subject's, for colour and line style. times_s: (n,) rising capture times, the first
    picture's 0. end_s: when the last picture ends. p_new: (n,) probability that a picture is new.
    state: (n,) of `State`. tear: (n, 2) upper and lower bound of the tear's place as a share of the
    picture's height, NaN where none. refresh: pictures a second that the capture holds. rate,
    rate_margin: (n,) new pictures a second over the window that ends with each picture, and one
    standard deviation of it; NaN where nothing can be counted. reliable: False where the capture
    is too compressed to count; `why` says so.

    Derived: is_new (n,) verdicts, a torn picture counting as new; cell (n,) the picture that opened
    the cell each picture lies in; step_ms (n,) how long that cell's picture stood, NaN unless all of
    it was moving and its end was seen.
    """

    name: str
    initial: str
    order: int
    times_s: Doubles
    end_s: float
    p_new: npt.NDArray[np.float32]
    state: npt.NDArray[np.uint8]
    tear: Doubles
    refresh: float
    rate: Doubles
    rate_margin: Doubles
    reliable: bool = True
    why: str = ""
    is_new: npt.NDArray[np.bool_] = field(init=False)
    cell: Columns = field(init=False)
    step_ms: Doubles = field(init=False)

    def __post_init__(self) -> None:
        n = self.times_s.size
        shapes = (self.p_new, self.state, self.rate, self.rate_margin, self.tear[:, 0])
        if n == 0 or any(array.shape != (n,) for array in shapes) or self.tear.shape != (n, 2):
            raise ValueError("a graph's arrays have one entry for each picture")
        is_new = (self.p_new >= 0.5) | np.isfinite(self.tear[:, 0])
        # A state begins a cell too: what is held through a still span is no frame time.
        opens = is_new | np.append(True, self.state[1:] != self.state[:-1])
        opens[0] = True
        cell = np.maximum.accumulate(np.where(opens, np.arange(n), 0))
        object.__setattr__(self, "is_new", is_new)
        object.__setattr__(self, "cell", cell)
        object.__setattr__(self, "step_ms", self._steps(opens, cell))

    def _steps(self, opens: npt.NDArray[np.bool_], cell: Columns) -> Doubles:
        first = np.flatnonzero(opens)
        ends = np.append(self.times_s[first[1:]], np.nan)  # the last one's end was not seen
        known = self.is_new[first] & (self.state[first] == State.MOVING)
        known[:-1] &= self.is_new[first[1:]] & (self.state[first[1:]] == State.MOVING)
        steps = np.where(known, (ends - self.times_s[first]) * 1000, np.nan)
        return np.asarray(steps[np.searchsorted(first, cell)], np.float64)

    @property
    def pictures(self) -> int:
        return int(self.times_s.size)

    @property
    def edges_s(self) -> Doubles:
        """(n + 1,) when each picture begins, and when the last one ends."""
        return np.append(self.times_s, self.end_s)

    def picture_at(self, time_s: float) -> int:
        """The newest picture at or before a capture time."""
        return picture_at(self.times_s, time_s)

    def word_at(self, picture: int) -> str:
        """Why nothing is counted at a picture, in a word; "" where it is."""
        if not self.reliable:
            return "not counted"
        return STATE_WORDS.get(State(int(self.state[picture])), "")

    def spans(self) -> tuple[tuple[int, int, State], ...]:
        """Runs of pictures of one state, half-open."""
        cuts = np.flatnonzero(np.diff(self.state)) + 1
        starts, ends = np.append(0, cuts), np.append(cuts, self.pictures)
        return tuple((int(a), int(b), State(int(self.state[a]))) for a, b in zip(starts, ends, strict=True))


def graph_series(
    name: str, initial: str, order: int, info: CaptureInfo, cadence: Cadence, window_s: float = RATE_WINDOW_S
) -> GraphSeries:
    """A capture's cadence as a graph shows it. Raises ValueError when the two are of different lengths."""
    base = info.time_base
    # One correctly rounded division: the same doubles as the exact times give.
    times = (info.pts - info.pts[0]) * base.numerator / base.denominator
    end = float(info.duration_s)
    rows = np.stack((cadence.tear_first_row, cadence.tear_last_row), axis=1).astype(np.float64)
    tear = np.where(rows[:, :1] >= 0, rows / info.height, np.nan)
    rate, margin = sliding_rate(times, end, cadence.p_new, cadence.state, window_s)
    return GraphSeries(
        name=name,
        initial=initial,
        order=order,
        times_s=times,
        end_s=end,
        p_new=cadence.p_new,
        state=cadence.state,
        tear=tear,
        refresh=refresh_rate(info),
        rate=rate if cadence.reliable else np.full_like(rate, np.nan),
        rate_margin=margin,
        reliable=cadence.reliable,
        why=cadence.why,
    )


def refresh_rate(info: CaptureInfo) -> float:
    """Pictures a second that a capture holds: its own rate, or the commonest spacing's."""
    if info.frame_rate is not None:
        return float(info.frame_rate)
    if info.pictures < 2:
        return 60.0
    return float(1 / (float(np.median(np.diff(info.pts))) * info.time_base))


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
