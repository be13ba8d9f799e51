"""Still figures of graphs: PNG and SVG say the same, and text stays text."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from graphs_maker import every, series
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from assembler.errors import MissingPartError, RenderError
from assembler.measure.model import State
from assembler.picture.graph_figure import plot_png
from assembler.picture.graph_series import GraphSeries
from assembler.picture.graph_svg import SvgPage, SvgPen, plot_svg
from assembler.picture.look import GROUND, SUBJECT_COLOURS
from assembler.picture.text import default_fonts

FONTS = default_fonts()
SVG = "{http://www.w3.org/2000/svg}"


def two() -> list[GraphSeries]:
    return [series(every(1, 600), 0), series(every(2, 600), 1, states=[(240, 400, State.STILL)])]


def rects(root: ElementTree.Element, colour: tuple[int, int, int]) -> list[dict[str, float]]:
    """Fully opaque rectangles of a colour."""
    wanted = "#{:02x}{:02x}{:02x}".format(*colour)
    return [
        {key: float(each.get(key, "0")) for key in ("x", "y", "width", "height")}
        for each in root.iter(f"{SVG}rect")
        if each.get("fill") == wanted and each.get("fill-opacity") is None
    ]


@pytest.mark.parametrize("kinds", [("cadence",), ("frame-rate", "cadence"), ("frame-rate", "frame-time")])
def test_a_png_has_the_size_asked_for_and_every_subjects_colour(kinds: tuple[str, ...], tmp_path: Path) -> None:
    path = tmp_path / "figures" / "one.png"
    plot_png(two(), kinds, (1.0, 9.0), path, (1201, 501), FONTS)
    with Image.open(path) as image:
        assert image.size == (1201, 501)
        pixels = np.asarray(image.convert("RGB")).astype(int)
    assert (pixels[0, 0] == GROUND).all()
    for colour in SUBJECT_COLOURS[:2]:
        assert (np.abs(pixels - colour).max(axis=2) <= 2).sum() > 100
    # Margins are free of ink: axis words at the ends too.
    edge = np.concatenate(
        [
            pixels[:6].reshape(-1, 3),
            pixels[-6:].reshape(-1, 3),
            pixels[:, :6].reshape(-1, 3),
            pixels[:, -6:].reshape(-1, 3),
        ]
    )
    assert (np.abs(edge - GROUND).max(axis=1) <= 1).all()


def test_an_svg_is_well_formed_and_its_words_are_text(tmp_path: Path) -> None:
    path = tmp_path / "one.svg"
    plot_svg(two(), ("frame-rate", "cadence"), (1.0, 9.0), path, (1200, 500), FONTS)
    root = ElementTree.fromstring(path.read_bytes())
    assert root.tag == f"{SVG}svg"
    assert root.get("viewBox") == "0 0 1200 500"
    assert "B612" in root.get("font-family", "")
    words = [each.text for each in root.iter(f"{SVG}text")]
    assert {"Ash", "Birch", "A", "B", "60", "30", "new pictures a second", "still", "5 s"} <= set(words)
    assert root.findtext(f"{SVG}title")


@settings(max_examples=40, deadline=None)
@given(st.text(max_size=30))
def test_any_name_makes_a_well_formed_svg(name: str) -> None:
    page = SvgPage(600, 300)
    page.pen.words(name, 20, 0, 30, (255, 255, 255))
    root = ElementTree.fromstring(page.text(name).encode("utf-8", "surrogatepass"))
    drawn = root.find(f"{SVG}text")
    assert drawn is not None
    # XML folds line ends; what it has no place for is left out.
    kept = re.sub("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "", name)
    assert (drawn.text or "") == kept.replace("\r\n", "\n").replace("\r", "\n")


def test_a_name_full_of_markup_stays_words(tmp_path: Path) -> None:
    shown = series(every(1, 300))
    object.__setattr__(shown, "name", 'A<b> & "c"')
    path = tmp_path / "one.svg"
    plot_svg([shown], ("frame-rate",), (1.0, 4.0), path, (1600, 400), FONTS)
    root = ElementTree.fromstring(path.read_bytes())
    assert 'A<b> & "c"' in [each.text for each in root.iter(f"{SVG}text")]


def test_cells_of_an_svg_stand_at_their_times(tmp_path: Path) -> None:
    # 60 refreshes a second, every second one new, one second across the plot: 30 filled cells, evenly apart.
    path = tmp_path / "one.svg"
    plot_svg([series(every(2, 600))], ("cadence",), (2.0, 3.0), path, (1200, 300), FONTS)
    root = ElementTree.fromstring(path.read_bytes())
    tall = [each for each in rects(root, SUBJECT_COLOURS[0]) if each["height"] > 12]
    heads = sorted(each["x"] for each in tall if each["width"] > 4)
    assert len(heads) == 30
    clip = root.find(f"{SVG}defs/{SVG}clipPath/{SVG}rect")
    assert clip is not None
    pitch = float(clip.get("width", "0")) / 60
    assert np.abs(np.diff(heads) - 2 * pitch).max() <= 1


def test_a_line_of_an_svg_has_its_subjects_dashes(tmp_path: Path) -> None:
    path = tmp_path / "one.svg"
    plot_svg(two(), ("frame-rate",), (1.0, 3.5), path, (1200, 400), FONTS)
    root = ElementTree.fromstring(path.read_bytes())
    dashes = {each.get("stroke"): each.get("stroke-dasharray") for each in root.iter(f"{SVG}path")}
    solid, dashed = ("#{:02x}{:02x}{:02x}".format(*colour) for colour in SUBJECT_COLOURS[:2])
    assert dashes[solid] is None
    assert dashes[dashed] is not None


def test_dashes_go_on_where_the_page_begins_in_mid_line() -> None:
    # By hand: a level line from 0; the page begins at 100 and keeps the point at 90: 90 into dashes of 30 + 15 is 0.
    parts: list[str] = []
    points = np.array([(x, 5.0) for x in range(0, 300, 10)], np.float64)
    SvgPen(parts, 100, 200).line(points, 10.0, (3.0, 1.5), (1, 2, 3), 1.0)
    assert 'd="M90 5L100 5' in parts[0]
    assert 'stroke-dasharray="30,15" stroke-dashoffset="0"' in parts[0]


def test_hatching_holds_on_to_the_figure_in_pixels_and_in_svg_alike() -> None:
    parts: list[str] = []
    SvgPen(parts, 0, 500).hatch(13, 4, 41, 20, 7.0, 2.0, (1, 2, 3))
    ends = [tuple(map(float, pair)) for pair in re.findall(r"[ML]([\d.]+) ([\d.]+)", parts[0])]
    assert len(ends) > 8
    for x, y in ends:
        assert (x + y) % 7 == pytest.approx(0, abs=0.02) or (x + y) % 7 == pytest.approx(7, abs=0.02)
        assert 13 <= x <= 41
        assert 4 <= y <= 20


def test_captures_that_are_lined_up_are_drawn_at_their_own_times(tmp_path: Path) -> None:
    # Birch shows half a second later what Ash shows: the only held picture of each must lie at the same column.
    held = [index != 120 for index in range(400)]
    later = [index != 150 for index in range(400)]
    path = tmp_path / "one.svg"
    plot_svg([series(held, 0), series(later, 1)], ("cadence",), (1.5, 2.5), path, (1200, 300), FONTS, [0.0, 0.5])
    root = ElementTree.fromstring(path.read_bytes())
    places = []
    for group in root.findall(f"{SVG}g"):
        inner = group.find(f"{SVG}g")
        assert inner is not None
        shift = float(re.findall(r"translate\((-?[\d.]+)", inner.get("transform", ""))[0])
        tinted = [each for each in inner.iter(f"{SVG}rect") if each.get("fill-opacity")]
        assert len(tinted) == 1
        places.append(float(tinted[0].get("x", "0")) + shift)
    assert places[0] == pytest.approx(places[1], abs=1)


def test_what_cannot_be_a_figure_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="before it begins"):
        plot_png(two(), ("cadence",), (3.0, 2.0), tmp_path / "a.png", (1200, 400), FONTS)
    with pytest.raises(ValueError, match="at least"):
        plot_svg(two(), ("cadence",), (2.0, 3.0), tmp_path / "a.svg", (100, 100), FONTS)
    assert list(tmp_path.iterdir()) == []


def test_a_figure_that_cannot_land_says_where(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("x")
    for plot, name in ((plot_png, "a.png"), (plot_svg, "a.svg")):
        with pytest.raises((RenderError, MissingPartError), match=name):
            plot(two(), ("cadence",), (2.0, 3.0), blocked / name, (1200, 400), FONTS)
