"""Every arrangement paints the right pictures, at the right place, on every frame."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from media_maker import number_in, write_clip
from stage_maker import flat_clip, make_shot, make_stage, painted, soiled

from assembler.errors import MediaError, RenderError
from assembler.media.info import CaptureInfo
from assembler.media.planes import Planes, blank
from assembler.media.probe import probe
from assembler.media.reader import PictureReader
from assembler.picture.arrange import drawn_labels, layout_of
from assembler.picture.arrange_difference import difference_codes
from assembler.picture.arrange_split import line_at
from assembler.picture.geometry import Rect
from assembler.picture.ground import codes, put, uncovered
from assembler.picture.painter import ShotPainter
from assembler.picture.sprite import blend
from assembler.storyboard.model import Arrangement, Crop, Difference, Inset, Pane, Panes, Split

PICTURES = 12


@pytest.fixture(scope="module")
def numbered(tmp_path_factory: pytest.TempPathFactory) -> dict[str, CaptureInfo]:
    """Captures a to i whose pictures carry 0.., 100.., 200.., ..."""
    folder = tmp_path_factory.mktemp("numbered")
    captures = {}
    for place, name in enumerate("abcdefghi"):
        numbers = range(100 * place, 100 * place + PICTURES)
        captures[name] = probe(write_clip(folder / f"{name}.mp4", pictures=numbers, size=(320, 180), rate=60))
    return captures


@pytest.fixture(scope="module")
def flat(tmp_path_factory: pytest.TempPathFactory) -> dict[str, CaptureInfo]:
    """Lossless captures of flat grey: pictures of `dark` have luma 60, 61, ..., of `light` 100, 90, 180."""
    folder = tmp_path_factory.mktemp("flat")
    return {
        "dark": probe(flat_clip(folder / "dark.mp4", [60, 61, 62])),
        "light": probe(flat_clip(folder / "light.mp4", [100, 90, 180])),
    }


def panes(names: Sequence[str], **options: object) -> tuple[Pane, ...]:
    return tuple(Pane(capture=name, **options) for name in names)  # type: ignore[arg-type]


def part(canvas: Planes, rect: Rect) -> np.ndarray:
    return canvas.y[rect.y : rect.bottom, rect.x : rect.right]


ROWS = [
    Panes(kind="full", panes=panes("a")),
    Panes(kind="side-by-side", panes=panes("ab")),
    Panes(kind="side-by-side", panes=panes("abcd")),
    Panes(kind="stacked", panes=panes("abc")),
    Panes(kind="grid", panes=panes("abcde")),
    Panes(kind="grid", panes=panes("abcdefghi")),
]


@pytest.mark.parametrize("canvas", [(640, 360), (480, 480), (360, 640)])
@pytest.mark.parametrize("arrangement", ROWS, ids=lambda a: f"{a.kind}-{len(a.panes)}")
def test_each_pane_shows_its_own_picture_on_every_frame(
    arrangement: Panes, canvas: tuple[int, int], numbered: dict[str, CaptureInfo]
) -> None:
    # Repeats, skips, a step back and a hold: whatever the timeline says is what is shown.
    steps = [0, 0, 1, 3, 3, 4, 9, 2, 2, 11]
    pictures = [[(step + place) % PICTURES for step in steps] for place in range(len(arrangement.panes))]
    stage = make_stage(numbered, *canvas)
    shot = make_shot(arrangement, pictures)
    rects = layout_of(shot, stage).panes
    for frame, shown in enumerate(painted(shot, stage, range(len(steps)))):
        numbers = [number_in(part(shown, rect)) for rect in rects]
        assert numbers == [100 * place + pictures[place][frame] for place in range(len(rects))]


@pytest.mark.parametrize(
    "arrangement",
    [
        *ROWS,
        Split(panes=panes("ab"), line=(0.2, 0.9)),
        Split(panes=panes("ab"), line=(0.5, 0.5), direction="down"),
        Inset(panes=panes("ab"), corner="bottom-left"),
        Difference(panes=panes("ab")),
        Panes(kind="side-by-side", panes=panes("ab", crop=Crop(x=10, y=20, w=63, h=95))),
        Split(panes=(Pane(capture="a"), Pane(capture="b", crop=Crop(x=0, y=0, w=90, h=180)))),
    ],
    ids=lambda a: f"{a.kind}-{len(a.panes)}",
)
@pytest.mark.parametrize("bits", [8, 10])
def test_the_whole_canvas_is_painted_whatever_was_on_it(
    arrangement: Arrangement, bits: int, numbered: dict[str, CaptureInfo]
) -> None:
    stage = make_stage(numbered, bits=bits)
    shot = make_shot(arrangement, [[1, 1]] * len(arrangement.panes), labels=True, frames=1, tail=1)
    one, other = soiled(stage, 1), soiled(stage, 2)
    for canvas in (one, other):
        with ShotPainter(shot, stage) as painter:
            painter.paint(0, canvas)
    for first, second in ((one.y, other.y), (one.u, other.u), (one.v, other.v)):
        assert np.array_equal(first, second)


def test_a_shot_can_be_begun_in_its_middle(numbered: dict[str, CaptureInfo]) -> None:
    shot = make_shot(ROWS[1], [range(10), range(1, 11)])
    stage = make_stage(numbered)
    whole = painted(shot, stage, range(10))
    for frame, canvas in zip(range(7, 10), painted(shot, stage, range(7, 10)), strict=True):
        assert np.array_equal(canvas.y, whole[frame].y)


def test_reading_begins_where_the_frames_begin(
    numbered: dict[str, CaptureInfo], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[int] = []
    planes = PictureReader.planes
    monkeypatch.setattr(PictureReader, "planes", lambda self, index: asked.append(index) or planes(self, index))
    painted(make_shot(ROWS[0], [range(10)]), make_stage(numbered), range(7, 10))
    assert asked == [7, 8, 9]


def test_ten_bit_pictures_are_four_times_the_eight_bit_ones(flat: dict[str, CaptureInfo]) -> None:
    # Source: BT.709 item 6.11 / BT.2100: codes of more bits are the 8-bit ones shifted left.
    shot = make_shot(Panes(kind="full", panes=panes(["dark"])), [[0, 1]])
    shown = painted(shot, make_stage(flat, bits=10), [0, 1])
    assert shown[0].y.dtype == np.uint16
    assert [int(np.median(canvas.y)) for canvas in shown] == [240, 244]


def test_labels_stand_beside_the_pictures_where_there_is_room(flat: dict[str, CaptureInfo]) -> None:
    arrangement = Panes(kind="side-by-side", panes=(Pane(capture="dark"), Pane(capture="light")))
    stage = make_stage(flat, 1280, 720)
    shot = make_shot(arrangement, [[0], [0]], labels=True)
    layout = layout_of(shot, stage)
    (canvas,) = painted(shot, stage, [0])
    ground = codes((16, 19, 22))[0]
    for rect, box, luma in zip(layout.panes, layout.label_boxes, (60, 100), strict=True):
        assert box is not None
        assert np.all(part(canvas, rect) == luma)  # no label on the picture
        assert part(canvas, box).max() > 180  # light words in their row
    (plain,) = painted(make_shot(arrangement, [[0], [0]]), stage, [0])
    outside = np.ones(plain.y.shape, bool)
    for rect in layout_of(make_shot(arrangement, [[0], [0]]), stage).panes:
        outside[rect.y : rect.bottom, rect.x : rect.right] = False
    assert np.all(plain.y[outside] == ground)


def test_every_label_lies_inside_the_safe_area(flat: dict[str, CaptureInfo]) -> None:
    pair = (Pane(capture="dark"), Pane(capture="light", label="A second reading of the harbour at night"))
    for arrangement in (
        Panes(kind="side-by-side", panes=pair),
        Panes(kind="stacked", panes=pair),
        Split(panes=pair),
        Split(panes=pair, direction="down"),
        Difference(panes=pair),
        *(Inset(panes=pair, corner=corner, size=0.2) for corner in ("top-left", "top-right", "bottom-left")),
    ):
        for canvas in ((640, 360), (360, 640), (1280, 720)):
            stage = make_stage(flat, *canvas)
            shot = make_shot(arrangement, [[0], [0]], labels=True)
            layout = layout_of(shot, stage)
            labels = drawn_labels(shot, stage, layout)
            assert len(labels) == 2
            for label in labels:
                assert label is not None
                assert layout.safe.holds(label.rect), (arrangement.kind, canvas, label.rect)


def test_a_pane_without_subject_or_label_has_none(flat: dict[str, CaptureInfo]) -> None:
    shot = make_shot(
        Panes(kind="side-by-side", panes=(Pane(capture="dark", label=""), Pane(capture="light"))),
        [[0], [0]],
        labels=True,
        subjects=("ash", None),
    )
    stage = make_stage(flat)
    assert not any(drawn_labels(shot, stage, layout_of(shot, stage)))


# --- split ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("direction", ["across", "down"])
def test_a_moving_line_stands_where_it_should_on_the_first_middle_and_last_frame(
    direction: str, flat: dict[str, CaptureInfo]
) -> None:
    # By hand: from 1/4 to 3/4 of 640 (or 320 of 640 lines): 160, 320, 480, in even steps over 11 frames.
    split = Split(panes=(Pane(capture="dark"), Pane(capture="light")), line=(0.25, 0.75), direction=direction)  # type: ignore[arg-type]
    across = direction == "across"
    stage = make_stage(flat, 640, 360)
    shot = make_shot(split, [[0] * 13, [0] * 13], tail=2)
    shown = painted(shot, stage, range(13))
    length = 640 if across else 360
    for frame, share in ((0, 0.25), (5, 0.5), (10, 0.75), (12, 0.75)):
        middle = shown[frame].y[180] if across else shown[frame].y[:, 320]
        line = round(length * share)
        assert np.all(middle[: line - 4] == 60) and np.all(middle[line + 4 :] == 100)
        assert middle[line - 1 : line + 1].max() == codes((232, 234, 230))[0]
        assert middle[line - 4 : line + 4].min() == codes((16, 19, 22))[0]


def test_a_line_keeps_even_places_and_reaches_its_ends() -> None:
    split = Split(panes=panes("ab"), line=(0.0, 1.0))
    places = [line_at(split, frame, 60, 1280) for frame in range(60)]
    assert places[0] == 0 and places[-1] == 1280
    assert all(place % 2 == 0 for place in places) and places == sorted(places)
    assert line_at(Split(panes=panes("ab"), line=(0.3, 0.3)), 0, 1, 1000) == 300


def test_a_label_leaves_before_the_line_reaches_it(flat: dict[str, CaptureInfo]) -> None:
    pair = (Pane(capture="dark"), Pane(capture="light"))
    stage = make_stage(flat, 1280, 720)
    shot = make_shot(Split(panes=pair, line=(0.0, 0.0)), [[0], [0]], labels=True)
    box = layout_of(shot, stage).label_boxes[0]
    assert box is not None
    (canvas,) = painted(shot, stage, [0])
    assert np.all(part(canvas, box) == 100)  # all of it is the second pane's side


@pytest.mark.parametrize("canvas", [(1280, 720), (640, 360), (720, 1280)])
def test_both_labels_are_whole_at_a_line_in_the_middle(canvas: tuple[int, int], flat: dict[str, CaptureInfo]) -> None:
    long = "A reading of the harbour at night with all its lights and boats"
    pair = (Pane(capture="dark", label=long), Pane(capture="light", label=long))
    stage = make_stage(flat, *canvas)
    shot = make_shot(Split(panes=pair), [[0], [0]], labels=True)
    layout = layout_of(shot, stage)
    (canvas_shown,) = painted(shot, stage, [0])
    for luma, label in zip((60, 100), drawn_labels(shot, stage, layout), strict=True):
        assert label is not None
        alone = blank(*canvas, luma=luma)
        blend(alone, label.sprite, label.x, label.y)
        assert np.array_equal(part(canvas_shown, label.rect), part(alone, label.rect))


# --- inset ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("corner", ["top-left", "top-right", "bottom-left", "bottom-right"])
def test_an_inset_lies_framed_in_its_corner(corner: str, flat: dict[str, CaptureInfo]) -> None:
    inset = Inset(panes=(Pane(capture="dark"), Pane(capture="light")), corner=corner)  # type: ignore[arg-type]
    stage = make_stage(flat, 640, 360)
    shot = make_shot(inset, [[0, 1], [0, 1]])
    layout = layout_of(shot, stage)
    small, frame = layout.panes[1], layout.frame
    assert frame is not None
    for number, canvas in enumerate(painted(shot, stage, [0, 1])):
        assert np.all(part(canvas, small) == (100, 90)[number])
        ring = part(canvas, frame).copy()
        ring[2:-2, 2:-2] = ring[0, 0]
        assert len(np.unique(ring)) == 1 and ring[0, 0] not in (60, 61, 100, 90)
        outside = np.ones(canvas.y.shape, bool)
        outside[frame.y : frame.bottom, frame.x : frame.right] = False
        assert np.all(canvas.y[outside] == (60, 61)[number])
    assert (small.x < 320) == corner.endswith("left") and (small.y < 100) == corner.startswith("top")


# --- difference ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gain", "bits", "expected"),
    # By hand, with luma 60 61 62 against 100 90 180: 16 + |difference| * gain, at most 235; all four
    # times as much in 10 bits, where half a code more can be told.
    [
        (4.0, 8, [176, 132, 235]),
        (1.0, 8, [56, 45, 134]),
        (0.5, 8, [36, 31, 75]),
        (0.0, 8, [16, 16, 16]),
        (4.0, 10, [704, 528, 940]),
        (0.5, 10, [144, 122, 300]),
    ],
)
def test_a_difference_is_the_gap_in_luma_times_the_gain(
    gain: float, bits: int, expected: list[int], flat: dict[str, CaptureInfo]
) -> None:
    difference = Difference(panes=(Pane(capture="dark"), Pane(capture="light")), gain=gain)
    shot = make_shot(difference, [[0, 1, 2], [0, 1, 2]])
    for canvas, luma in zip(painted(shot, make_stage(flat, bits=bits), range(3)), expected, strict=True):
        assert set(np.unique(canvas.y)) == {luma}
        assert set(np.unique(canvas.u)) == set(np.unique(canvas.v)) == {128 << (bits - 8)}


def test_difference_codes_stay_within_limited_range() -> None:
    for bits in (8, 10):
        table = difference_codes(64.0, bits)
        assert len(table) == 1 << bits
        assert int(table[0]) == 16 << (bits - 8) and int(table.max()) == 235 << (bits - 8)
        assert np.all(np.diff(table.astype(int)) >= 0)


# --- faults --------------------------------------------------------------------------------------


def test_wrong_frames_and_canvases_are_refused(flat: dict[str, CaptureInfo]) -> None:
    stage = make_stage(flat)
    with ShotPainter(make_shot(Panes(kind="full", panes=panes(["dark"])), [[0, 1]]), stage) as painter:
        with pytest.raises(ValueError, match="outside"):
            painter.paint(2, soiled(stage, 0))
        with pytest.raises(ValueError, match="size or depth"):
            painter.paint(0, soiled(make_stage(flat, 320, 180), 0))


def test_a_capture_that_was_not_read_is_named(flat: dict[str, CaptureInfo]) -> None:
    with pytest.raises(RenderError, match="'elm'"):
        ShotPainter(make_shot(Panes(kind="full", panes=(Pane(capture="elm"),)), [[0]]), make_stage(flat))


def test_a_capture_that_breaks_off_is_an_error_on_the_frame_that_needs_it(tmp_path: Path) -> None:
    path = write_clip(tmp_path / "torn.mp4", pictures=40, rate=60, options={"g": "40"})
    info = probe(path)
    path.write_bytes(path.read_bytes()[:200])
    shot = make_shot(Panes(kind="full", panes=panes("a")), [range(40)])
    with (
        ShotPainter(shot, make_stage({"a": info}, rate=Fraction(60))) as painter,
        pytest.raises(MediaError, match="torn"),
    ):
        painter.paint(0, soiled(make_stage(), 0))


# --- plane work ----------------------------------------------------------------------------------


def test_what_is_left_uncovered_is_exactly_the_rest() -> None:
    rects = [Rect(0, 10, 20, 20), Rect(30, 4, 10, 40), Rect(10, 20, 30, 6)]
    left = np.ones((50, 60), int)
    for rect in rects:
        left[rect.y : rect.bottom, rect.x : rect.right] = 0
    found = np.zeros((50, 60), int)
    for rect in uncovered(60, 50, rects):
        found[rect.y : rect.bottom, rect.x : rect.right] += 1
    assert np.array_equal(found, left)


def test_a_picture_is_copied_only_within_its_part() -> None:
    stage = make_stage()
    canvas, picture = soiled(stage, 1), soiled(make_stage(width=64, height=32), 2)
    before = canvas.y.copy(), canvas.u.copy()
    put(canvas, picture, 100, 50, Rect(110, 0, 20, 60))
    assert np.array_equal(canvas.y[50:60, 110:130], picture.y[0:10, 10:30])
    assert np.array_equal(canvas.v[25:30, 55:65], picture.v[0:5, 5:15])
    canvas.y[50:60, 110:130], canvas.u[25:30, 55:65] = before[0][50:60, 110:130], before[1][25:30, 55:65]
    assert np.array_equal(canvas.y, before[0]) and np.array_equal(canvas.u, before[1])


@pytest.mark.parametrize(
    ("colour", "expected"),
    # Source: BT.709 items 3.2 to 3.4, by hand for the primaries: red is 63, 102, 240.
    [((255, 255, 255), (235, 128, 128)), ((0, 0, 0), (16, 128, 128)), ((255, 0, 0), (63, 102, 240))],
)
def test_colours_become_bt709_codes(colour: tuple[int, int, int], expected: tuple[int, int, int]) -> None:
    assert codes(colour) == expected
    assert all(abs(ten - 4 * eight) <= 2 for ten, eight in zip(codes(colour, 10), expected, strict=True))
