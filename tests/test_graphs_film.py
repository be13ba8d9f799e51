"""A band of graphs put together from kept pieces: sample for sample what blending it anew paints, in any order."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
import pytest
from graphs_maker import every, series
from hypothesis import given, settings
from hypothesis import strategies as st
from stage_maker import fonts

from assembler.measure.model import State
from assembler.media.planes import Planes
from assembler.picture import graph_film
from assembler.picture.geometry import Rect
from assembler.picture.graph_band import GraphBand
from assembler.picture.graph_draw import PixelPen
from assembler.picture.graph_film import BandFilm
from assembler.picture.graph_plan import GRAPH_KINDS, band_height
from assembler.picture.graph_series import GraphSeries
from assembler.picture.ground import fill, filled
from assembler.picture.look import GROUND, SUBJECT_COLOURS
from assembler.picture.sprite import blend

X, Y = 64, 40


def band_of(
    shown: Sequence[GraphSeries], kinds: Sequence[str], window: float, canvas_h: int, bits: int, extra: int = 0
) -> GraphBand:
    width = canvas_h * 8 // 5 // 2 * 2
    height = band_height(kinds, len(shown), canvas_h) + extra
    return GraphBand(shown, kinds, window, width, height, canvas_h, fonts(), bits)


def page_of(band: GraphBand, bits: int, below: int = 30) -> Planes:
    """A page with the band's still parts and something of its own at its sides."""
    page = filled(band.plan.width + 2 * X, Y + band.plan.height + below, GROUND, bits=bits)
    fill(page, Rect(0, 0, 24, page.height), (200, 40, 90))
    band.paint_still(page, X, Y)
    return page


def differences(film: BandFilm, band: GraphBand, page: Planes, times: Sequence[float]) -> int:
    """Samples in which the film's picture is not what is blended onto the page anew."""
    wanted = Planes(page.y.copy(), page.u.copy(), page.v.copy())
    band.paint(wanted, X, Y, times, still=False)
    film.paint(times)
    rows, half = slice(film.rect.y, film.rect.bottom), slice(film.rect.y // 2, film.rect.bottom // 2)
    given = np.zeros_like(wanted.y), film.picture
    assert not np.any(wanted.y[: film.rect.y] != page.y[: film.rect.y]), "painted above what the film covers"
    assert not np.any(wanted.y[film.rect.bottom :] != page.y[film.rect.bottom :]), "painted beneath it"
    pairs = ((wanted.y[rows], given[1].y), (wanted.u[half], given[1].u), (wanted.v[half], given[1].v))
    return sum(int(np.count_nonzero(a != b)) for a, b in pairs)


@st.composite
def cadences(draw: st.DrawFn, order: int) -> GraphSeries:
    """Rates that change, spans in which nothing is counted, tears, doubt, and captures that cannot be counted."""
    pictures = 360
    rng = np.random.default_rng(draw(st.integers(0, 9999)))
    step = draw(st.sampled_from([1, 2, 3]))
    new = every(step, pictures) if draw(st.booleans()) else list(rng.random(pictures) < draw(st.floats(0.2, 1)))
    state = draw(st.sampled_from([State.STILL, State.DARK, State.UNDECIDED]))
    states = [(100, 170, state)] if draw(st.booleans()) else []
    tears = [(200 + 9 * k, 80 * k, 80 * k + 40) for k in range(8)] if draw(st.booleans()) else []
    rate = draw(st.sampled_from([Fraction(60), Fraction(60), Fraction(60_000, 1001), Fraction(50), Fraction(120)]))
    reliable = draw(st.integers(0, 7)) > 0
    why = "" if reliable else "capture too compressed to count pictures"
    doubt = draw(st.sampled_from([0.0, 0.02, 0.3]))
    return series(new, order, rate, states=states, tears=tears, doubt=doubt, reliable=reliable, why=why)


@st.composite
def runs(draw: st.DrawFn, count: int) -> list[list[float]]:
    """Each subject's capture time, frame by frame: running at any speed, held, and jumping to and fro."""
    frames = draw(st.integers(6, 26))
    columns = []
    for _ in range(count):
        speed = draw(st.sampled_from([1.0, 1.0, 1.0, 0.5, 0.97, 2.0, 0.0]))
        start = draw(st.floats(-0.2, 5.0))
        jump, to = draw(st.integers(0, 25)), draw(st.floats(0, 6.2))
        columns.append([(start if k < jump else to) + k * speed / 60 for k in range(frames)])
    return [list(row) for row in zip(*columns, strict=True)]


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_a_film_is_the_band_blended_anew(data: st.DataObject) -> None:
    # Source: the definition: GraphBand.paint blends everything anew at every frame.
    count = data.draw(st.integers(1, 4))
    shown = [data.draw(cadences(order)) for order in range(count)]
    kinds = data.draw(st.sampled_from([("frame-rate", "cadence"), ("frame-rate",), ("cadence",), GRAPH_KINDS]))
    bits = data.draw(st.sampled_from([8, 8, 10]))
    canvas_h = data.draw(st.sampled_from([270, 480, 720, 1080]))
    extra = 0 if "cadence" in kinds else 120  # for words on gaps, which then stand in rows of their own
    band = band_of(shown, kinds, data.draw(st.sampled_from([2.0, 5.0, 12.0])), canvas_h, bits, extra)
    page = page_of(band, bits, data.draw(st.sampled_from([0, 4, 30])))
    film = BandFilm(band, page, X, Y)
    for times in data.draw(runs(count)):
        assert differences(film, band, page, times) == 0


@pytest.mark.parametrize("bits", [8, 10])
def test_a_film_begun_anywhere_paints_what_one_that_ran_does(bits: int) -> None:
    rng = np.random.default_rng(5)
    shown = [series(list(rng.random(600) < share), order) for order, share in enumerate((0.9, 0.5))]
    band = band_of(shown, GRAPH_KINDS, 5.0, 720, bits)
    page = page_of(band, bits)
    ran = BandFilm(band, page, X, Y)
    for frame in range(120):
        times = [1 + frame / 60, 1.4 + frame / 60]
        ran.paint(times)
        if frame % 17 == 0:
            fresh = BandFilm(band, page, X, Y)
            fresh.paint(times)
            for plane in "yuv":
                assert np.array_equal(getattr(ran.picture, plane), getattr(fresh.picture, plane))


def test_what_did_not_change_is_not_blended_again(monkeypatch: pytest.MonkeyPatch) -> None:
    shown = [series(every(1, 900)), series(every(2, 900), 1)]
    band = band_of(shown, ("frame-rate", "cadence"), 5.0, 720, 8)
    film = BandFilm(band, page_of(band, 8), X, Y)
    pixels: list[int] = []

    def counted(canvas: Planes, sprite: object, x: int, y: int) -> None:
        pixels.append(sprite.width * sprite.height)  # type: ignore[attr-defined]
        blend(canvas, sprite, x, y)  # type: ignore[arg-type]

    monkeypatch.setattr(graph_film, "blend", counted)
    often = []
    for frame in range(200):
        pixels.clear()
        film.paint([4 + frame / 60] * 2)
        often.append(sum(pixels))
    # By hand: two halves of dots of 12 by 14 pixels; now and then the playhead over a new chunk, too.
    assert sorted(often)[100] <= 2 * 12 * 14


def test_a_page_that_is_not_the_same_in_all_columns_is_blended_onto() -> None:
    shown = [series(every(1, 600)), series(every(3, 600), 1)]
    for extra in (0, 40):
        band = band_of(shown, GRAPH_KINDS, 5.0, 720, 8, extra)
        page = page_of(band, 8)
        rng = np.random.default_rng(2)
        for plane in (page.y, page.u, page.v):
            plane[...] = rng.integers(16, 236, plane.shape)
        film = BandFilm(band, page, X, Y)
        for frame in range(40):
            assert differences(film, band, page, [2 + frame / 60, 3 + frame / 60]) == 0


def test_ink_on_rows_whose_page_differs_is_found_out() -> None:
    # The page differs on one pair of rows within the lines: the film must not paint over them what it does not know.
    rng = np.random.default_rng(4)
    shown = [series(list(rng.random(600) < 0.5)), series(list(rng.random(600) < 0.9), 1)]
    band = band_of(shown, ("frame-rate", "cadence"), 5.0, 720, 8)
    panel = band.plan.panels[0]
    for row in range(panel.top, panel.bottom, 6):
        page = page_of(band, 8)
        fill(page, Rect(X + band.plan.plot_x + 80, Y + row // 2 * 2, 200, 2), (250, 250, 0))
        film = BandFilm(band, page, X, Y)
        for frame in range(24):
            assert differences(film, band, page, [1 + frame / 60, 1.5 + frame / 60]) == 0


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_bars_of_whole_pixels_are_drawn_as_any_others(data: st.DataObject) -> None:
    # Source: `Sheet._over`, the way of all other shapes, given the same coverage pixel by pixel.
    whole, covered = PixelPen(40, 20, fonts(), 7), PixelPen(40, 20, fonts(), 7)
    for _ in range(data.draw(st.integers(1, 6))):
        left, right = sorted(data.draw(st.tuples(st.integers(0, 60), st.integers(0, 60))))
        top, bottom = sorted(data.draw(st.tuples(st.integers(-4, 24), st.integers(-4, 24))))
        colour, opacity = data.draw(st.sampled_from(SUBJECT_COLOURS)), data.draw(st.sampled_from([1.0, 0.3, 0.34, 0.8]))
        whole.bar(left, top, right, bottom, colour, opacity)
        if left < right and top < bottom:
            cover = np.full((bottom - top, right - left), opacity, np.float32)
            covered.sheet.cover(cover, left - 7, top, colour)
        edges = sorted(data.draw(st.lists(st.integers(0, 60), min_size=2, max_size=8, unique=True)))
        spans = list(zip(edges[::2], edges[1::2], strict=False))
        rows = data.draw(st.sampled_from([(0, 20), (3, 9), (-2, 4), (0.5, 7.0), (8, 8)]))
        whole.bars(spans, *rows, colour)
        for span in spans:
            covered.bar(span[0], rows[0], span[1], rows[1], colour)
    assert np.array_equal(whole.sheet.rgb, covered.sheet.rgb)
    assert np.array_equal(whole.sheet.alpha, covered.sheet.alpha)


def test_a_piece_of_no_length_draws_nothing() -> None:
    # A dash that ends where a line bends can leave one behind; divided by its length it would blot out what is near.
    pen = PixelPen(40, 20, fonts())
    pen.pieces(np.array([[5.0, 8.0, 20.0, 8.0, 1, 1], [20.0, 8.0, 20.0, 8.0, 1, 1]]), 4.0, (255, 255, 255))
    assert np.isfinite(pen.sheet.rgb).all()
    assert pen.sheet.alpha[8, 10] == 1
    assert pen.sheet.alpha[8, 24] == 0
