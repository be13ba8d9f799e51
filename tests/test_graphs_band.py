"""The band of graphs: what it says belongs to the picture on screen, and every pixel lies where it should."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import combinations, pairwise

import numpy as np
import numpy.typing as npt
import pytest
from graphs_maker import cadence, every, series
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.measure.clock import Clock
from assembler.measure.model import State
from assembler.media.planes import Planes
from assembler.picture.graph_band import BACKING, GraphBand, Shown
from assembler.picture.graph_chunks import Strip
from assembler.picture.graph_draw import PixelPen
from assembler.picture.graph_plan import GRAPH_KINDS, Plan, axis_px, band_height, value_px
from assembler.picture.graph_scale import TimeScale
from assembler.picture.graph_series import GraphSeries, graph_series
from assembler.picture.graph_strip import HELD_TINT, NOTE_PX, draw_lane, note_px
from assembler.picture.ground import filled
from assembler.picture.look import GROUND, INK, MUTED, SUBJECT_COLOURS, contrast, over, subject_colour
from assembler.picture.sprite import Sprite, blend
from assembler.picture.text import default_fonts

FONTS = default_fonts()
X, Y = 96, 40


def luma(colour: Sequence[float]) -> float:
    """The 8-bit limited-range code. Source: Rec. ITU-R BT.709."""
    red, green, blue = (code / 255 for code in colour)
    return 16 + 219 * (0.2126 * red + 0.7152 * green + 0.0722 * blue)


def band_of(
    shown: Sequence[GraphSeries],
    kinds: Sequence[str] = ("cadence",),
    window: float = 3.0,
    width: int = 1728,
    canvas_h: int = 1080,
    extra: int = 0,
    bits: int = 8,
) -> GraphBand:
    height = band_height(kinds, len(shown), canvas_h) + extra
    return GraphBand(shown, kinds, window, width, height, canvas_h, FONTS, bits)


def painted(band: GraphBand, times: Sequence[float], bits: int = 8) -> Planes:
    canvas = filled(X * 2 + band.plan.width, Y * 2 + band.plan.height, GROUND, bits=bits)
    canvas = Planes(canvas.y.copy(), canvas.u.copy(), canvas.v.copy())
    band.paint(canvas, X, Y, times)
    return canvas


def lane_row(band: GraphBand, canvas: Planes, lane: int, share: float = 0.5) -> npt.NDArray[np.int64]:
    """Luma along a lane at a share of its height, for the plot's columns."""
    top = band.plan.panels[band.kinds.index("cadence")].lanes[lane]
    row = Y + top + int(share * band.plan.lane_h)
    return canvas.y[row, X + band.plan.plot_x : X + band.plan.plot_right].astype(np.int64)


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_cells_begin_and_end_at_the_exact_columns(data: st.DataObject) -> None:
    new = data.draw(st.lists(st.booleans(), min_size=150, max_size=260))
    new[0] = True
    shown = series(new, data.draw(st.integers(0, 3)))
    band = band_of([shown], window=data.draw(st.sampled_from([2.0, 2.5, 3.0])))
    picture = data.draw(st.integers(100, len(new) - 1))
    row = lane_row(band, painted(band, [picture / 60]), 0)
    pitch = Fraction(band.time.px_per_s).limit_denominator(1000) / 60
    assert pitch.denominator == 1
    full = round(luma(subject_colour(shown.order)))
    head = band.plan.head_x - band.plan.plot_x
    # Up to the playhead all is in full colour. Cell by cell, by whole-number arithmetic: a refresh in full
    # colour where the picture is new, then held, and two pixels of ground at the cell's end.
    ends = [index + 1 == len(new) or new[index + 1] for index in range(len(new))]
    for index in range(picture):
        left = head + (index - picture) * int(pitch)
        if left < 0:
            continue
        cell = row[left : left + int(pitch)]
        gap = 2 if ends[index] else 0
        body = cell[: int(pitch) - gap]
        ground = round(luma(GROUND))
        if new[index]:
            assert np.abs(body - full).max() <= 1
        else:
            held = luma(over(subject_colour(shown.order), HELD_TINT, GROUND))
            rule = 1 if ends[index] else 0
            assert np.abs(body[: len(body) - rule] - held).max() <= 1.5
        if gap:
            assert np.abs(cell[-gap:] - ground).max() <= 1


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_what_stands_under_the_playhead_belongs_to_the_picture_shown(data: st.DataObject) -> None:
    # Panes run at any speed and freeze; the truth is found with exact fractions, as the timeline does.
    rate = Fraction(*data.draw(st.sampled_from([(60, 1), (60000, 1001), (50, 1), (30000, 1001)])))
    grain = data.draw(st.sampled_from([None, 1000, 90_000]))
    n = 400
    rng = np.random.default_rng(data.draw(st.integers(0, 9999)))
    made = cadence(list(rng.random(n) < 0.7), doubt=0.01)
    if grain is None:
        clock = Clock.even(n, rate, 1080)
    else:
        pts = np.array([round(index * grain / rate) for index in range(n)], np.int64)
        clock = Clock(pts, Fraction(1, grain), round(grain / rate), rate, 1080)
    shown = graph_series("Ash", "A", 0, clock, made)
    window = data.draw(st.floats(2, 30))
    canvas_h = data.draw(st.sampled_from([720, 1080]))
    band = band_of([shown], ("frame-rate", "cadence"), window, round(1.6 * canvas_h) // 2 * 2, canvas_h)
    speed = Fraction(data.draw(st.integers(1, 40)), 10)
    start = Fraction(data.draw(st.integers(0, 2000)), 1000)
    frozen = data.draw(st.integers(0, 30))
    for frame in range(0, 60, 7):
        wanted = start + speed * max(0, frame - frozen) / 60
        stamps = [(int(p) - int(clock.pts[0])) * clock.time_base for p in clock.pts]
        picture = max(index for index, stamp in enumerate(stamps) if stamp <= wanted)
        for asked in (wanted, stamps[picture]):
            (now,) = band.state_at([float(asked)])
            assert now.picture == picture
            assert now.cell == max(index for index in range(picture + 1) if made.is_new[index])
            first, end = (
                int((picture + more) / rate * Fraction(band.time.px_per_s) + Fraction(1, 10**6)) for more in (0, 1)
            )
            assert first <= now.column < max(end, first + 1)
            value = now.texts[0].split(" ")[0].strip("\u2007")
            assert value == ("counting" if np.isnan(shown.rate[picture]) else str(round(shown.rate[picture])))


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_the_pixels_at_the_playhead_are_the_shown_pictures_cell(data: st.DataObject) -> None:
    new = data.draw(st.lists(st.booleans(), min_size=120, max_size=200))
    new[0] = True
    shown = [series(new, 0), series(new[::-1], 1)]
    band = band_of(shown, window=2.0)
    # Each pane at its own time: one may be slowed or frozen while the other runs on.
    pictures = [data.draw(st.integers(0, len(new) - 1)) for _ in shown]
    into = data.draw(st.floats(0, 0.6))
    canvas = painted(band, [(picture + into) / 60 for picture in pictures])
    for lane, (each, picture) in enumerate(zip(shown, pictures, strict=True)):
        code = int(lane_row(band, canvas, lane)[band.plan.head_x - band.plan.plot_x])
        colour = subject_colour(each.order)
        held = luma(over(colour, HELD_TINT, GROUND))
        if each.is_new[picture]:
            assert abs(code - luma(colour)) <= 1.5
        else:
            # The cell's hollow, or the line that closes it.
            assert min(abs(code - held), abs(code - luma(colour))) <= 1.5


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_labels_at_the_playhead_never_overlap(data: st.DataObject) -> None:
    count = data.draw(st.integers(1, 4))
    shown = []
    for order in range(count):
        rng = np.random.default_rng(data.draw(st.integers(0, 999)))
        share = data.draw(st.floats(0.3, 1.0))
        states = [(60, 150, State.STILL)] if data.draw(st.booleans()) else []
        shown.append(series(list(rng.random(240) < share), order, states=states))
    kinds = data.draw(st.sampled_from([("frame-rate",), ("frame-rate", "frame-time"), GRAPH_KINDS]))
    band = band_of(shown, kinds, extra=60)
    height = band._labels[0].height
    for at in (0.1, 1.3, 2.0, 3.1):
        now = band.state_at([at] * count)
        for panel, kind in enumerate(kinds):
            tops = sorted(each.tops[panel] for each in now)
            if kind == "cadence":
                assert tops == [-1] * count
                continue
            assert all(below - above >= height for above, below in pairwise(tops))
            assert tops[0] >= 0
            assert tops[-1] + height <= band.plan.height


def test_panels_keep_out_of_each_others_way() -> None:
    for count, kinds in [(4, GRAPH_KINDS), (2, ("frame-rate", "cadence")), (1, ("frame-time",))]:
        for canvas_h in (480, 720, 1080, 2160):
            plan = band_of([series(every(2, 240), order) for order in range(count)], kinds, canvas_h=canvas_h).plan
            spans = [(panel.baseline, panel.bottom) for panel in plan.panels]
            assert all(above[1] < below[0] for above, below in pairwise(spans))
            assert plan.panels[-1].bottom <= plan.height
            # A fixed place, about 73 % across.
            assert abs((plan.head_x - plan.plot_x) / (plan.plot_right - plan.plot_x) - 0.73) < 0.01


@settings(max_examples=25, deadline=None)
@given(
    st.integers(0, 5000), st.integers(20, 400), st.sampled_from([8, 10]), st.integers(1, 3), st.sampled_from([64, 130])
)
def test_a_scrolled_slice_is_a_full_redraw_at_that_time(
    column: int, half_width: int, bits: int, order: int, chunk: int
) -> None:
    rng = np.random.default_rng(7)
    shown = series(
        list(rng.random(600) < 0.6),
        order,
        states=[(100, 160, State.STILL), (300, 340, State.UNDECIDED), (400, 470, State.DARK)],
        tears=[(200 + 7 * k, 90 * k, 90 * k + 40) for k in range(10)],
    )
    time = TimeScale(9 * 60.0)

    def draw(pen: PixelPen, columns: tuple[int, int]) -> None:
        draw_lane(pen, shown, time, 0, 22, columns, 1080, FONTS, 600)

    strip = Strip(draw, 22, 5400, FONTS, bits, 0.34, chunk)
    width = 2 * half_width
    scrolled, redrawn = (filled(width, 22, GROUND, bits=bits) for _ in range(2))
    scrolled, redrawn = (Planes(c.y.copy(), c.u.copy(), c.v.copy()) for c in (scrolled, redrawn))
    strip.blend(scrolled, 0, width, 0, column)
    pen = PixelPen(width, 22, FONTS, column)
    draw(pen, (column, column + width))
    blend(redrawn, Sprite.from_premultiplied(pen.sheet.rgb, pen.sheet.alpha, bits), 0, 0)
    for a, b in ((scrolled.y, redrawn.y), (scrolled.u, redrawn.u), (scrolled.v, redrawn.v)):
        assert np.abs(a.astype(int) - b.astype(int)).max() <= 1


def test_a_band_that_has_run_paints_what_a_fresh_one_does() -> None:
    rng = np.random.default_rng(3)
    shown = [series(list(rng.random(900) < share), order, doubt=0.05) for order, share in enumerate((0.9, 0.6))]
    band = band_of(shown, GRAPH_KINDS, 3.0)
    for frame in range(0, 400, 9):
        painted(band, [2 + frame / 60, 3 + frame / 120])
    fresh = band_of(shown, GRAPH_KINDS, 3.0)
    times = [7.3, 4.41]
    run, new = painted(band, times), painted(fresh, times)
    assert np.array_equal(run.y, new.y)
    assert np.array_equal(run.u, new.u)
    assert np.array_equal(run.v, new.v)


def test_ten_bits_show_what_eight_do() -> None:
    shown = [series(every(2, 300), 0), series(every(3, 300), 1)]
    eight = painted(band_of(shown, GRAPH_KINDS), [2.0, 2.0])
    ten = painted(band_of(shown, GRAPH_KINDS, bits=10), [2.0, 2.0], bits=10)
    for a, b in ((eight.y, ten.y), (eight.u, ten.u), (eight.v, ten.v)):
        assert np.abs(a.astype(float) * 4 - b.astype(float)).max() <= 6


def test_nothing_is_drawn_outside_the_band() -> None:
    shown = [series(every(2, 300), order, doubt=0.1) for order in range(4)]
    band = band_of(shown, GRAPH_KINDS)
    canvas = painted(band, [2.0] * 4)
    ground = filled(canvas.width, canvas.height, GROUND, bits=8)
    touched = canvas.y != ground.y
    rows, columns = np.flatnonzero(touched.any(axis=1)), np.flatnonzero(touched.any(axis=0))
    assert columns[0] >= X - 2
    assert columns[-1] < X + band.plan.width + 2
    assert rows[0] >= Y
    # The playhead's foot is the lowest thing, a few rows beneath the lanes.
    assert rows[-1] < Y + band.plan.height + 10


@pytest.mark.parametrize(
    ("state", "word"), [(State.STILL, "still"), (State.DARK, "dark"), (State.UNDECIDED, "undecided")]
)
def test_what_cannot_be_known_is_named_and_never_a_number(state: State, word: str) -> None:
    shown = series(every(2, 600), states=[(200, 400, state)])
    band = band_of([shown], ("frame-rate", "frame-time", "cadence"))
    for picture in range(0, 600, 3):
        (now,) = band.state_at([picture / 60])
        if 200 <= picture < 400:
            assert now.texts == (word, word, "")
            assert np.isnan(now.rows).all()
        else:
            assert word not in now.texts


def test_a_still_span_leaves_the_plot_empty_but_for_baselines() -> None:
    # The same moment with and without a measured subject in it: at 5 s all of the window's past is still.
    shown = series(every(2, 900), 1, states=[(100, 900, State.STILL)])
    band = band_of([shown], ("frame-rate",), 3.0)
    canvas = painted(band, [6.0])
    panel, plan = band.plan.panels[0], band.plan
    part = canvas.u[
        (Y + panel.top) // 2 : (Y + panel.bottom) // 2, (X + plan.plot_x) // 2 : (X + plan.head_x - 20) // 2
    ]
    # The subject's blue would show in chroma; hairlines are grey.
    assert np.abs(part.astype(int) - int(canvas.u[0, 0])).max() <= 4
    note = panel.notes[0]
    row = canvas.u[
        (Y + note) // 2 : (Y + note + plan.note_h) // 2, (X + plan.plot_x) // 2 : (X + plan.head_x - 20) // 2
    ]
    assert row.max() - int(canvas.u[0, 0]) > 15


def test_a_capture_too_compressed_has_words_in_place_of_a_curve() -> None:
    bad = series(every(2, 600), 1, reliable=False, why="capture too compressed to count pictures")
    band = band_of([series(every(1, 600)), bad], ("frame-rate", "cadence"))
    now = band.state_at([4.0, 4.0])
    assert now[1].texts[0] == "not counted"
    assert np.isnan(now[1].rows[0])
    canvas = painted(band, [4.0, 4.0])
    row = canvas.u[(Y + band.plan.panels[1].lanes[1]) // 2 : (Y + band.plan.panels[1].lanes[1] + 22) // 2]
    lane = row[:, (X + band.plan.plot_x) // 2 : (X + band.plan.plot_right) // 2]
    assert np.abs(lane.astype(int) - int(canvas.u[0, 0])).max() <= 4  # grey words, no blue cell
    assert lane_row(band, canvas, 1)[:600].max() > 90  # and words there are


def test_a_tear_cuts_its_cell_at_the_height_where_it_lay() -> None:
    # Rows 540 to 540 of 1080: half way down the lane.
    shown = series(every(2, 200), tears=[(60, 540, 540)])
    band = band_of([shown], window=2.0)
    canvas = painted(band, [100 / 60])
    pitch = round(band.time.px_per_s / 60)
    left = X + band.plan.head_x - 40 * pitch
    top = Y + band.plan.panels[0].lanes[0]
    column = canvas.y[top : top + band.plan.lane_h, left + pitch // 2].astype(float)
    full, held = luma(subject_colour(0)), luma(over(subject_colour(0), HELD_TINT, GROUND))
    half = band.plan.lane_h // 2
    assert np.abs(column[2 : half - 1] - held).max() <= 1.5  # above, the old picture is held
    assert np.abs(column[half + 1 :] - full).max() <= 1.5  # below, the new one begins
    assert np.abs(column[half - 1 : half + 1] - luma(GROUND)).max() <= 1.5  # the cut
    # The old picture's cell does not end above the cut: no ground between.
    assert canvas.y[top + 4, left - 2 : left].min() > luma(GROUND) + 10


def test_a_wide_uncertainty_makes_a_wide_cut() -> None:
    shown = series(every(2, 200), tears=[(60, 270, 810)])
    band = band_of([shown], window=2.0)
    canvas = painted(band, [100 / 60])
    pitch = round(band.time.px_per_s / 60)
    top = Y + band.plan.panels[0].lanes[0]
    column = canvas.y[top : top + 22, X + band.plan.head_x - 40 * pitch + pitch // 2].astype(float)
    # Source: by hand, half of 22 rows are ground.
    assert 9 <= int((np.abs(column - luma(GROUND)) <= 2).sum()) <= 11


def test_a_picture_held_by_a_capture_of_variable_timing_is_hollow_after_a_refresh() -> None:
    # Every picture stands for three refreshes of 60 a second, without repeats in the file, but for four at the start.
    pts = 1500 * np.cumsum([0, *[1] * 4, *[3] * 80]).astype(np.int64)
    clock = Clock(pts, Fraction(1, 90_000), 4500, None, 1080)
    shown = graph_series("Ash", "A", 0, clock, cadence([True] * len(pts)))
    assert shown.refresh == 60
    band = band_of([shown], window=2.0)
    row = lane_row(band, painted(band, [float(clock.edges_s[60])]), 0)
    # By hand: one refresh of three is filled.
    share = float((np.abs(row[:800] - luma(subject_colour(0))) <= 2).mean())
    assert share == pytest.approx(1 / 3, abs=0.05)
    held = luma(over(subject_colour(0), HELD_TINT, GROUND))
    assert float((np.abs(row[:800] - held) <= 2).mean()) > 0.5


def test_hatching_ends_at_its_edges_and_covers_them_in_part() -> None:
    pen = PixelPen(60, 40, FONTS)
    pen.hatch(10.5, 8.0, 41.25, 30.0, 7.0, 2.0, MUTED)
    alpha = pen.sheet.alpha
    outside = alpha.copy()
    outside[8:30, 10:42] = 0
    assert not outside.any()
    # By hand: of the first column half lies inside, of the last a quarter.
    assert alpha[8:30, 10].max() == pytest.approx(0.5, abs=0.01)
    assert alpha[8:30, 41].max() == pytest.approx(0.25, abs=0.01)
    assert alpha[8:30, 11:41].max() == pytest.approx(1.0, abs=0.01)


def test_colours_keep_the_contrast_of_lines_and_of_words() -> None:
    # Source: WCAG 2, SC 1.4.11 (3:1) and 1.4.3 (4.5:1). Names are words in their subject's colour.
    for ground in (GROUND, over(GROUND, BACKING)):
        assert all(contrast(colour, ground) >= 4.5 for colour in (*SUBJECT_COLOURS, INK, MUTED))


@pytest.mark.parametrize("order", range(4))
def test_drawn_lines_and_cells_keep_three_to_one(order: int) -> None:
    shown = series(every(1, 400), order)
    band = band_of([shown], ("frame-rate", "cadence"))
    canvas = painted(band, [4.0])
    top = band.plan.panels[0].top
    line = canvas.y[Y + top - 2 : Y + top + 8, X + band.plan.plot_x : X + band.plan.head_x - 40].max(axis=0)
    inked = line[line > 70]
    assert inked.size > 400
    # Luma alone, as grey: the brightest row of the line against the ground.
    grey = [(float(code) - 16) / 219 * 255 for code in (np.median(inked), luma(GROUND))]
    assert contrast((grey[0],) * 3, (grey[1],) * 3) >= 3


def test_lines_differ_in_grey_by_their_style_alone() -> None:
    patterns = []
    for order in range(4):
        band = band_of([series(every(1, 600), order)], ("frame-rate",))
        canvas = painted(band, [7.0])
        top = band.plan.panels[0].top
        line = canvas.y[Y + top - 2 : Y + top + 8, X + band.plan.plot_x : X + band.plan.head_x - 20].max(axis=0)
        on = (line > 80).astype(int)
        edges = np.flatnonzero(np.diff(on))
        runs = tuple(sorted({round(float(length) / 2) for length in np.diff(edges)[1:-1]}))
        patterns.append((round(float(on.mean()), 1), runs))
    for one, other in combinations(patterns, 2):
        assert one != other
    assert patterns[0][0] == 1.0  # the first is solid


def test_titles_stand_whole_inside_the_band() -> None:
    for canvas_h in (360, 480, 720, 1080, 2160):
        plan = band_of(
            [series(every(2, 240))], ("frame-rate", "cadence"), width=canvas_h * 8 // 5, canvas_h=canvas_h
        ).plan
        for panel, floor in zip(plan.panels, (0, plan.panels[0].bottom), strict=True):
            assert panel.baseline - FONTS.cap_height_px(axis_px(canvas_h)) >= floor
            assert panel.baseline < panel.top


def test_words_stay_readable() -> None:
    # Our look: nothing under 15 px at 1080 lines, growing with the canvas; never tiny on a 720-line canvas.
    for canvas_h in (720, 1080, 2160):
        for size in (axis_px(canvas_h), value_px(canvas_h), note_px(canvas_h)):
            assert size >= max(NOTE_PX * canvas_h / 1080, 13)


def test_a_band_over_a_picture_has_a_ground_of_its_own() -> None:
    shown = [series(every(2, 300))]
    height = band_height(("cadence",), 1, 1080)
    band = GraphBand(shown, ("cadence",), 3.0, 1728, height, 1080, FONTS, backing=True)
    white = np.full((Y * 2 + height, 1920), 235, np.uint8)
    canvas = Planes(
        white, np.full((white.shape[0] // 2, 960), 128, np.uint8), np.full((white.shape[0] // 2, 960), 128, np.uint8)
    )
    band.paint(canvas, X, Y, [2.0])
    behind = canvas.y[Y + 4, X + 1200]
    assert behind <= luma(over(GROUND, BACKING)) + 2
    assert canvas.y[2, 2] == 235


@pytest.mark.parametrize(
    ("kinds", "count", "message"),
    [
        ((), 1, "graphs are"),
        (("frame-rate", "frame-rate"), 1, "each once"),
        (("speed",), 1, "graphs are"),
        (("cadence",), 5, "one to four"),
    ],
)
def test_what_cannot_be_drawn_is_refused(kinds: tuple[str, ...], count: int, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        band_height(kinds, count, 1080)


def test_a_band_too_low_is_refused() -> None:
    with pytest.raises(ValueError, match="do not fit"):
        GraphBand([series(every(1, 100))], GRAPH_KINDS, 3.0, 1728, 80, 1080, FONTS)


def test_each_series_needs_its_time() -> None:
    band = band_of([series(every(1, 100))])
    with pytest.raises(ValueError, match="as many times"):
        band.state_at([1.0, 2.0])


def test_preparing_draws_ahead_what_frames_need() -> None:
    band = band_of([series(every(2, 1200))], ("frame-rate", "cadence"))
    band.prepare(0, 3.0, 9.0)
    drawn = [strip._chunk.cache_info().misses for strip, _, _ in band.strips[0]]
    assert min(drawn) > 0
    for frame in range(0, 360, 5):
        painted(band, [3 + frame / 60])
    assert [strip._chunk.cache_info().misses for strip, _, _ in band.strips[0]] == drawn


def test_the_plan_is_even_where_chroma_needs_it() -> None:
    for canvas_h in (486, 720, 1080, 1440, 2160):
        plan: Plan = band_of([series(every(1, 200))], GRAPH_KINDS, canvas_h=canvas_h).plan
        numbers = [plan.plot_x, plan.head_x, plan.plot_right, plan.lane_h]
        numbers += [lane for panel in plan.panels for lane in panel.lanes if lane >= 0]
        assert all(number % 2 == 0 for number in numbers)


def test_state_is_a_plain_value() -> None:
    band = band_of([series(every(2, 300))], ("frame-rate", "cadence"))
    (now,) = band.state_at([2.5])
    assert isinstance(now, Shown)
    # By hand: every second refresh of 60 is new, and 150 is one of them.
    assert (now.picture, now.cell, now.texts[0].split(" ")[0]) == (150, 150, "30")


def test_rates_stand_in_one_column_though_refreshes_differ() -> None:
    # Two of 60 and three of 120 digits: the units stand below each other.
    band = band_of([series(every(1, 600)), series(every(2, 1200), 1, Fraction(120))], ("frame-rate",))
    values = [band._parts(each, "frame-rate", each.picture_at(5.0))[0] for each in band.series]
    assert values == ["\u200760", "\u200760"]  # a figure space keeps the hundreds' column
