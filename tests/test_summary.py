"""The summary card: its figures are those of the measurement, what is unknown is a word, and nothing collides."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from graphs_maker import NAMES, cadence, every
from stage_maker import fonts

from assembler.measure.clock import Clock
from assembler.measure.distribution import distribution, holds
from assembler.measure.figures import figures
from assembler.measure.model import Cadence, State
from assembler.picture.geometry import Rect, type_height
from assembler.picture.graph_scale import Doubles
from assembler.picture.layout import lay_out
from assembler.picture.look import Rgb
from assembler.picture.summary import SummedUp, lines_of, notes_of, percent_figure, sum_up, why_not
from assembler.picture.summary_draw import HEADING, set_out, smallest_px
from assembler.storyboard.model import Summary

# The worked set: a thousand frame times whose lows come apart by definition; average and lows worked out by hand.
WORKED_MS = [10] * 985 + [20] * 10 + [40] * 4 + [100]
RATE = Fraction(100)


def held(refreshes: Sequence[int]) -> list[bool]:
    """A new picture for each of so many refreshes, and one more that ends the last."""
    return [position == 0 for count in refreshes for position in range(count)] + [True]


def worked(order: int = 0) -> SummedUp:
    new = held([ms // 10 for ms in WORKED_MS])
    return of(new, order, RATE)


def of(new: Sequence[bool], order: int, rate: Fraction = Fraction(60), **options: object) -> SummedUp:
    return with_cadence(cadence(new, **options), len(new), order, rate)  # type: ignore[arg-type]


def with_cadence(found: Cadence, pictures: int, order: int, rate: Fraction) -> SummedUp:
    return sum_up(NAMES[order], order, Clock.even(pictures, rate, 1080), found, Fraction(0), Fraction(pictures) / rate)


def test_the_worked_set_comes_out_with_its_lows_and_its_shares() -> None:
    subject = worked()
    assert subject.figures.frames.ms == pytest.approx(WORKED_MS)
    cells = {line.head: line.cells[0] for line in lines_of([subject])}
    # 1000 x 10 worst / (100 + 4 x 40 + 5 x 20) ms = 27.78 a second; the single worst is 100 ms, 10 a second.
    assert cells["1 % low"].value == "27.8"
    assert cells["0.1 % low"].value == "10.0"
    # 1001 new pictures in 10.32 s; the set itself, without the picture that ends it, is 96.99.
    assert cells["Average rate"].value == "97.0"
    assert (cells["Longest hold"].value, cells["Longest hold"].rest) == ("100.0 ms", "at 00:10.210")
    found = distribution([(subject.figures.frames, subject.refresh_ms)])
    assert found.levels_ms == pytest.approx((10, 20, 40, 100))
    assert found.shares[0] == pytest.approx((0.985, 0.010, 0.004, 0.001))
    assert found.others == (0.0,)


@pytest.mark.parametrize(
    ("name", "one", "tenth"),
    [("A-nearest", "50.0", "25.0"), ("B", "27.8", "10.0"), ("C", "25.0", "10.0")],
)
def test_the_lows_are_those_of_the_definition_asked_for(name: str, one: str, tenth: str) -> None:
    # By hand: of 1000 sorted times rank 990 is 20 ms and rank 999 is 40 ms; 1 % of 10,310 ms is reached in the
    # second-longest picture, of 40 ms, and 0.1 % of it in the longest, of 100 ms.
    subject = worked()
    cells = {line.head: line for line in lines_of([subject], name)}
    assert (cells["1 % low"].cells[0].value, cells["0.1 % low"].cells[0].value) == (one, tenth)
    assert cells["1 % low"].about == f"a second, definition {name}"
    assert any(note.startswith(f"Low {name}: ") for note in notes_of([subject], name))


def test_every_figure_is_that_of_the_measurement() -> None:
    new = held([1, 1, 2, 3, 1, 2] * 60)
    torn = [(number, 500, 520) for number in np.flatnonzero(new)[10:200:9]]
    states = [(300, 330, State.STILL), (400, 412, State.UNDECIDED)]
    subject = of(new, 1, doubt=0.02, tears=torn, states=states)
    direct = figures(
        cadence(new, doubt=0.02, tears=torn, states=states), Clock.even(len(new), Fraction(60), 1080)
    )
    cells = {line.head: line.cells[0] for line in lines_of([subject])}
    average, share = direct.average_hz, direct.torn
    assert cells["Average rate"].value == f"{average.value:.1f}"
    assert cells["Average rate"].rest == f"{average.low:.1f} to {average.high:.1f}"
    assert share.value is not None and cells["Torn"].value == f"{100 * share.value:.1f} %"
    assert cells["Undecided"].value == f"{100 * direct.shares.undecided:.1f} %" != "0.0 %"
    assert cells["In motion"].value == f"{100 * direct.shares.moving:.1f} %"
    assert sum(holds(direct.frames, 1000 / 60).values()) == direct.frames.ms.size


def test_what_is_not_known_is_a_word_and_never_a_nought() -> None:
    poor = of(every(1, 120), 0, reliable=False, why="the capture is too compressed")
    still = of(every(1, 120), 1, states=[(0, 120, State.STILL)])
    no_tears = with_cadence(
        replace(cadence(every(1, 120)), tears_measurable=False, tears_why="every refresh changes"), 120, 2, Fraction(60)
    )
    for line in lines_of([poor, still, no_tears]):
        assert line.cells[0].value == ""
        if line.head not in ("Undecided", "In motion"):
            assert line.cells[1].value == ""
        if line.head == "Torn":
            assert (line.cells[2].value, line.cells[2].rest) == ("", "not measurable")
    assert why_not(poor) == "not counted: the capture is too compressed"
    assert why_not(still) == "not counted: nothing moves"
    assert why_not(no_tears) == ""
    assert any("Cedar: every refresh changes" in note for note in notes_of([poor, still, no_tears]))
    assert not any("Low B" in note for note in notes_of([poor]))


@pytest.mark.parametrize(
    ("percent", "written"),
    [(0, "0"), (100, "100"), (0.004, "< 0.01"), (0.03, "0.03"), (0.26, "0.3"), (99.97, "99.97"), (99.999, "> 99.99")],
)
def test_a_share_is_nought_or_all_only_where_it_is(percent: float, written: str) -> None:
    assert percent_figure(percent) == written


def test_captures_of_unlike_refresh_share_rows_where_their_holds_are_alike() -> None:
    slow, fast = of(every(2, 121), 0, Fraction(60)), of(held([2, 3] * 60), 1, Fraction(120))
    found = distribution([(each.figures.frames, each.refresh_ms) for each in (slow, fast)])
    # Every refresh of 120 up to the longest hold, which is two of 60 and four of 120.
    assert found.levels_ms == pytest.approx((1000 / 120, 2000 / 120, 3000 / 120, 4000 / 120))
    assert found.shares[0] == pytest.approx((0, 0, 0, 1))
    assert found.shares[1] == pytest.approx((0, 0.5, 0.5, 0))


def test_holds_that_have_no_row_are_counted_as_others() -> None:
    rare = list(range(2, 20))
    subject = of(held([1] * 400 + rare + rare[:3]), 0)
    found = distribution([(subject.figures.frames, subject.refresh_ms)])
    assert len(found.levels_ms) == 7
    assert sum(found.shares[0]) + found.others[0] == pytest.approx(1)
    assert found.others[0] == pytest.approx((len(rare) - 6) / 421)


class Boxes:
    """A pen that keeps where words, lines and bars lie."""

    def __init__(self) -> None:
        self.texts: list[tuple[str, tuple[float, float, float, float]]] = []
        self.lines: list[tuple[float, float, float, float]] = []
        self.sizes: list[float] = []

    def bar(self, left: float, top: float, right: float, bottom: float, colour: Rgb, opacity: float = 1.0) -> None:
        self.lines.append((left, top, right, bottom))

    def line(self, points: Doubles, thickness: float, style: Sequence[float], colour: Rgb, opacity: float) -> None:
        half = thickness / 2
        low, high = points.min(axis=0) - half, points.max(axis=0) + half
        self.lines.append((low[0], low[1], high[0], high[1]))

    def hatch(self, *args: object) -> None:
        raise AssertionError("a summary hatches nothing")

    def words(self, text: str, size_px: float, x: float, baseline: float, colour: Rgb, *, bold: bool = False) -> None:
        left, top, right, bottom = fonts().line(text, size_px, bold=bold).ink_px
        self.texts.append((text, (x + left, baseline + top, x + right, baseline + bottom)))
        self.sizes.append(size_px)


def meets(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def subjects(count: int) -> list[SummedUp]:
    kinds = [
        of(every(1, 900), 0),
        of(held([1, 1, 2, 3, 1, 2, 6] * 40), 1, doubt=0.02, tears=[(30, 100, 140)]),
        of(held([2, 3, 5, 4] * 60), 2, Fraction(120)),
        of(every(1, 300), 3, reliable=False, why="the capture is too compressed to count pictures"),
    ]
    return kinds[:count]


@pytest.mark.parametrize("size", [(1280, 720), (1920, 1080), (3840, 2160), (1080, 1920)])
@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_nothing_collides_and_all_stays_inside_the_safe_area_clear_of_captions(
    size: tuple[int, int], count: int
) -> None:
    room = lay_out(Summary(captures=("a",)), (), *size).content
    high = type_height(*size)
    drawn = set_out(subjects(count), "What was measured at the quay", room, size, high, fonts())
    assert drawn.faults == ()
    pen = Boxes()
    for group in drawn.groups:
        before = len(pen.texts), len(pen.lines)
        group.draw(pen)
        for _, top, _, bottom in [box for _, box in pen.texts[before[0] :]] + pen.lines[before[1] :]:
            assert group.top <= top and bottom <= group.bottom
    for text, box in pen.texts:
        assert room.x - 1 <= box[0] and box[2] <= room.right + 1, text
        assert room.y <= box[1] and box[3] <= room.bottom + 1, text
    for (one, box), (other, place) in itertools.combinations(pen.texts, 2):
        assert not meets(box, place), f"{one} | {other}"
    for text, box in pen.texts:
        assert not any(meets(box, place) for place in pen.lines), text
    assert min(pen.sizes) >= smallest_px(high) >= 15 * high / 1080
    assert sum(text == HEADING for text, _ in pen.texts) == 1


def test_what_has_no_room_is_said() -> None:
    low = set_out(subjects(4), "A title", Rect(20, 20, 1000, 160), (1040, 200), 600, fonts()).faults
    assert low == ("the figures and their definitions are higher than the room there is",)
    thin = set_out(subjects(4), "A title", Rect(20, 20, 300, 1400), (340, 1440), 600, fonts()).faults
    assert "its columns are narrower than its figures" in thin
