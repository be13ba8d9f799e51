"""Geometry of every arrangement at many canvas sizes, and how pictures are fitted into it."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.media.info import CaptureInfo, Colour
from assembler.picture.geometry import Rect
from assembler.picture.layout import Layout, lay_out
from assembler.picture.panes import pane_shape, picture_size
from assembler.storyboard.model import Arrangement, Card, Crop, Difference, Inset, Pane, Panes, Split

FULL_HD = (1920, 1080)
CANVASES = [(1920, 1080), (1280, 720), (3840, 2160), (640, 360), (1440, 1080), (1080, 1080), (1080, 1920), (720, 1280)]
SIZES = [
    FULL_HD,
    (3840, 2160),
    (1440, 1080),
    (1280, 720),
    (1920, 400),
    (1080, 1920),
    (1000, 1000),
    (641, 359),
    (64, 48),
]
COUNTS = {"full": (1, 1), "side-by-side": (2, 4), "stacked": (2, 3), "grid": (2, 9)}


def pane(**options: object) -> Pane:
    return Pane(capture="a", **options)  # type: ignore[arg-type]


@st.composite
def arrangements(draw: st.DrawFn) -> tuple[Arrangement, list[tuple[int, int]]]:
    """Any arrangement with panes, and a display size for each."""
    kind = draw(st.sampled_from([*COUNTS, "split", "inset", "difference"]))
    low, high = COUNTS.get(kind, (2, 2))
    count = draw(st.integers(low, high))
    panes = tuple(pane(fitting=draw(st.sampled_from(["fit", "fit", "fill", "actual"]))) for _ in range(count))
    sizes = draw(st.lists(st.sampled_from(SIZES), min_size=count, max_size=count))
    if kind == "split":
        return Split(panes=panes, direction=draw(st.sampled_from(["across", "down"]))), sizes
    if kind == "inset":
        corner = draw(st.sampled_from(["top-left", "top-right", "bottom-left", "bottom-right"]))
        return Inset(panes=panes, corner=corner, size=draw(st.sampled_from([0.1, 0.25, 0.33, 0.5]))), sizes
    if kind == "difference":
        return Difference(panes=panes), sizes
    return Panes(kind=kind, panes=panes), sizes


def all_rects(layout: Layout) -> list[Rect]:
    """Every rectangle a layout names."""
    named = [*layout.panes, *layout.label_boxes, layout.captions, layout.safe, layout.content]
    return [rect for rect in (*named, layout.frame, layout.evidence) if rect is not None]


@settings(max_examples=200, deadline=None)
@given(arrangements(), st.sampled_from(CANVASES), st.booleans(), st.sampled_from([0, 96, 230]))
def test_everything_is_even_inside_and_apart(made, canvas, labels, evidence):  # type: ignore[no-untyped-def]
    # Source: 4:2:0 has one chroma sample for 2 x 2 pixels (ITU-T H.264, 6.2); the graphics-safe area
    # leaves 5 % free (EBU R 95, from memory).
    arrangement, sizes = made
    width, height = canvas
    band = min(evidence, height // 5)
    layout = lay_out(arrangement, sizes, width, height, labels=labels, evidence_height=band)
    whole = Rect(0, 0, width, height)
    assert len(layout.panes) == len(sizes) == len(layout.label_boxes) == len(layout.label_aligns)
    for rect in all_rects(layout):
        assert all(value % 2 == 0 for value in (rect.x, rect.y, rect.width, rect.height)), rect
        assert rect.width > 0 and rect.height > 0, rect
        assert whole.holds(rect), rect
    assert layout.safe.x >= width * 0.05 and layout.safe.right <= width * 0.95
    assert layout.safe.y >= height * 0.05 and layout.safe.bottom <= height * 0.95
    for box in layout.label_boxes:
        assert (box is not None) is labels
        if box is not None:
            assert layout.safe.holds(box), box
    assert layout.safe.holds(layout.captions)
    assert layout.captions.bottom == layout.caption_bottom_y
    boxes = [box for box in layout.label_boxes if box is not None]
    if isinstance(arrangement, Panes):
        assert not any(a.meets(b) for i, a in enumerate(layout.panes) for b in layout.panes[i + 1 :])
        assert not any(a.meets(b) for i, a in enumerate(boxes) for b in boxes[i + 1 :])
        if not layout.labels_over_picture:
            assert not any(box.meets(rect) for box in boxes for rect in layout.panes)
    elif isinstance(arrangement, Inset):
        assert layout.frame is not None and layout.safe.holds(layout.frame)
        assert layout.frame == layout.panes[1].grown(2)
        assert not any(box.meets(layout.frame) for box in boxes)
    if not layout.captions_over_picture:
        assert not any(layout.captions.meets(rect) for rect in layout.panes)
        assert not any(layout.captions.meets(box) for box in boxes)
    if band:
        assert layout.evidence is not None and not layout.evidence.meets(layout.captions)
        if not layout.evidence_over_picture:
            assert not any(layout.evidence.meets(rect) for rect in layout.panes)
    else:
        assert layout.evidence is None


@pytest.mark.parametrize("canvas", CANVASES)
def test_a_card_keeps_clear_of_captions(canvas: tuple[int, int]) -> None:
    layout = lay_out(Card(title="Harbour"), (), *canvas)
    assert layout.safe.holds(layout.content) and not layout.content.meets(layout.captions)


def test_two_wide_pictures_are_half_size_with_a_row_for_labels_and_one_for_captions() -> None:
    # By hand: 1920 / 2 = 960 wide, 960 * 9 / 16 = 540 high; the gap takes 2 px of each picture's edge.
    layout = lay_out(Panes(kind="side-by-side", panes=(pane(), pane())), (FULL_HD, FULL_HD), 1920, 1080)
    left, right = layout.panes
    assert (left.x, left.width, left.height) == (0, 958, 540)
    assert (right.right, right.width, right.height) == (1920, 958, 540)
    assert left.y == right.y
    assert not layout.labels_over_picture and not layout.captions_over_picture
    assert all(box is not None and box.bottom <= left.y for box in layout.label_boxes)
    assert layout.captions.y >= left.bottom
    # Balanced: the picture's middle is within a twelfth of the canvas of the canvas's middle.
    assert abs(left.y + left.height / 2 - 540) <= 1080 / 12


def test_a_header_label_starts_at_its_pictures_edge_inside_the_safe_area() -> None:
    layout = lay_out(Panes(kind="side-by-side", panes=(pane(), pane())), (FULL_HD, FULL_HD), 1920, 1080)
    first, second = layout.label_boxes
    assert first is not None and second is not None
    assert first.x == 96 and second.x == layout.panes[1].x  # 5 % of 1920 is 96


def test_grids_choose_the_shape_that_shows_pictures_largest() -> None:
    # By hand for 16:9 pictures: four lie 2 x 2 on a wide canvas, three lie under each other on a high one.
    four = lay_out(Panes(kind="grid", panes=(pane(),) * 4), (FULL_HD,) * 4, 1920, 1080)
    assert len({rect.x for rect in four.panes}) == 2 and len({rect.y for rect in four.panes}) == 2
    three = lay_out(Panes(kind="grid", panes=(pane(),) * 3), (FULL_HD,) * 3, 1080, 1920)
    assert len({rect.x for rect in three.panes}) == 1


def test_a_lone_last_picture_of_a_grid_is_centred() -> None:
    layout = lay_out(Panes(kind="grid", panes=(pane(),) * 3), (FULL_HD,) * 3, 1920, 1080)
    last = layout.panes[2]
    assert abs((last.x + last.right) / 2 - 960) <= 2


def test_evidence_lies_beneath_the_pictures_where_they_leave_room_and_over_a_full_one() -> None:
    beside = lay_out(
        Panes(kind="side-by-side", panes=(pane(), pane())), (FULL_HD, FULL_HD), 1920, 1080, evidence_height=180
    )
    assert beside.evidence is not None and not beside.evidence_over_picture
    assert beside.evidence.y >= beside.panes[0].bottom and beside.evidence.bottom <= beside.captions.y
    full = lay_out(Panes(kind="full", panes=(pane(),)), (FULL_HD,), 1920, 1080, evidence_height=180)
    assert full.evidence is not None and full.evidence_over_picture
    assert full.captions.bottom <= full.evidence.y


# --- fitting -------------------------------------------------------------------------------------


def capture(width: int = 1920, height: int = 1080, aspect: Fraction = Fraction(1)) -> CaptureInfo:
    return CaptureInfo(
        path=Path("a.mp4"),
        width=width,
        height=height,
        aspect=aspect,
        rotation=0,
        codec="h264",
        pixel_format="yuv420p",
        bits=8,
        colour=Colour(1, 1, 1, False),
        pts=np.arange(3, dtype=np.int64),
        time_base=Fraction(1, 60),
        last_duration=1,
        frame_rate=Fraction(60),
        sound=None,
        interlaced=False,
    )


def test_a_half_size_pane_keeps_the_exact_half_and_loses_a_sliver_at_the_edges() -> None:
    # By hand: 958 canvas pixels at 1/2 are 1916 capture pixels, 2 off either side.
    placed = pane_shape(pane(), capture(), Rect(0, 0, 958, 540))
    assert (placed.shape.width, placed.shape.height, placed.shape.crop) == (958, 540, (2, 0, 1916, 1080))
    assert (placed.x, placed.y) == (0, 0)


def test_a_picture_of_the_canvas_size_is_taken_as_it_is() -> None:
    placed = pane_shape(pane(), capture(), Rect(0, 0, 1920, 1080))
    assert placed.shape.crop is None and (placed.shape.width, placed.shape.height) == FULL_HD


def test_fit_shows_a_narrow_picture_whole_in_the_middle() -> None:
    # By hand: 4:3 at 1080 lines is 1440 wide, (1920 - 1440) / 2 = 240 free on either side.
    placed = pane_shape(pane(), capture(1440, 1080), Rect(0, 0, 1920, 1080))
    assert placed.shape.crop is None
    assert (placed.shape.width, placed.shape.height, placed.x, placed.y) == (1440, 1080, 240, 0)


def test_fill_crops_around_the_middle() -> None:
    # By hand: half a canvas is 8:9; 1080 lines of it are 960 pixels wide, (1920 - 960) / 2 = 480 off either side.
    placed = pane_shape(pane(fitting="fill"), capture(), Rect(0, 0, 960, 1080))
    assert placed.shape.crop == (480, 0, 960, 1080)
    assert (placed.shape.width, placed.shape.height) == (960, 1080)


def test_actual_is_one_capture_pixel_a_canvas_pixel_or_its_share_in_a_draft() -> None:
    placed = pane_shape(pane(fitting="actual"), capture(3840, 2160), Rect(0, 0, 1920, 1080))
    assert placed.shape.crop == (960, 540, 1920, 1080) and (placed.shape.width, placed.shape.height) == FULL_HD
    small = pane_shape(pane(fitting="actual"), capture(640, 360), Rect(0, 0, 1920, 1080))
    assert small.shape.crop is None and (small.x, small.y) == (640, 360)
    draft = pane_shape(pane(fitting="actual"), capture(3840, 2160), Rect(0, 0, 1280, 720), scale=Fraction(2, 3))
    assert draft.shape.crop == (960, 540, 1920, 1080) and (draft.shape.width, draft.shape.height) == (1280, 720)


def test_nearest_takes_the_largest_whole_zoom() -> None:
    # By hand: 958 / 128 = 7.48 and 720 / 96 = 7.5, so 7 times: 896 x 672.
    zoomed = pane(crop=Crop(x=300, y=400, w=128, h=96), scaling="nearest")
    placed = pane_shape(zoomed, capture(), Rect(0, 0, 958, 720))
    assert (placed.shape.width, placed.shape.height) == (896, 672)
    assert placed.shape.crop == (300, 400, 128, 96)


def test_pixels_that_are_not_square_are_shown_at_their_shape() -> None:
    # Source: ITU-R BT.601 / ISO 14496-10 Table E-1: 720 x 576 with sample aspect 64:45 is 16:9, 1024 wide.
    wide = capture(720, 576, Fraction(64, 45))
    assert picture_size(pane(), wide) == (1024, 576)
    placed = pane_shape(pane(), wide, Rect(0, 0, 1920, 1080))
    assert (placed.shape.width, placed.shape.height, placed.shape.crop) == (1920, 1080, None)


@settings(max_examples=200, deadline=None)
@given(
    st.integers(16, 4096),
    st.integers(16, 2304),
    st.sampled_from([Fraction(1), Fraction(64, 45), Fraction(8, 9)]),
    st.sampled_from(["fit", "fill", "actual"]),
    st.sampled_from(["lanczos", "nearest"]),
    st.integers(8, 960),
    st.integers(8, 540),
    st.booleans(),
)
def test_pictures_stay_in_their_rectangle_and_crops_in_their_capture(  # type: ignore[no-untyped-def]
    width, height, aspect, fitting, scaling, half_w, half_h, cropped
):
    crop = Crop(x=width // 3, y=height // 3, w=width // 2, h=height // 2) if cropped else None
    info = capture(width, height, aspect)
    rect = Rect(0, 0, 2 * half_w, 2 * half_h)
    placed = pane_shape(pane(fitting=fitting, scaling=scaling, crop=crop), info, rect)
    shape = placed.shape
    assert shape.width % 2 == shape.height % 2 == placed.x % 2 == placed.y % 2 == 0
    assert rect.holds(Rect(placed.x, placed.y, shape.width, shape.height))
    if shape.crop is not None:
        x, y, wide, high = shape.crop
        assert wide > 0 and high > 0 and Rect(0, 0, width, height).holds(Rect(x, y, wide, high))
        if crop is not None:
            assert Rect(crop.x, crop.y, crop.w, crop.h).holds(Rect(x, y, wide, high))
    if fitting == "fill":
        assert (shape.width, shape.height) == (rect.width, rect.height)


@pytest.mark.parametrize("canvas", CANVASES)
@pytest.mark.parametrize(("kind", "count"), [("grid", 4), ("grid", 9), ("stacked", 2), ("stacked", 3)])
def test_evidence_never_hides_the_lower_row_of_several(canvas: tuple[int, int], kind: str, count: int) -> None:
    # Source: our rule: graphs over a lower row would hide its labels, so the pictures become smaller instead.
    panes = Panes(kind=kind, panes=(pane(),) * count)  # type: ignore[arg-type]
    band = 2 * (min(canvas) * 17 // 100)
    layout = lay_out(panes, (FULL_HD,) * count, *canvas, evidence_height=band)
    assert layout.evidence is not None and not layout.evidence_over_picture
    assert not any(layout.evidence.meets(rect) for rect in (*layout.panes, *filter(None, layout.label_boxes)))
    assert layout.evidence.bottom <= layout.safe.bottom
    assert min(rect.height for rect in layout.panes) >= canvas[1] // 20
