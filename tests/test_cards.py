"""Cards: what they show, where it stays, how it comes on, and that made pictures run only when allowed."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from stage_maker import make_shot, make_stage, painted, soiled

from assembler.errors import AssemblerError, RenderError, UsageError
from assembler.media.planes import Planes
from assembler.picture.cards import card_overflows
from assembler.picture.cards_table import figure_columns
from assembler.picture.geometry import Rect, safe_area
from assembler.picture.ground import codes
from assembler.picture.layout import lay_out
from assembler.picture.made import write_rgb
from assembler.picture.motion import entrances
from assembler.picture.painter import ShotPainter
from assembler.picture.sprite import Sprite, blend
from assembler.storyboard.model import Card, Made, Table

GROUND = codes((16, 19, 22))
TABLE = Table(
    columns=("Place", "Ash", "Birch"),
    rows=(("Quay", "60", "44 ± 1"), ("Ferry", "59.8", "still"), ("Market", "57.2", "38 ± 1")),
)
CARDS = {
    "title": Card(title="Harbour lights on two machines", note="What a handheld keeps of the dusk"),
    "title alone": Card(title="Harbour"),
    "note alone": Card(note="Later that evening"),
    "table": Card(title="New pictures a second", note="Median of three runs", table=TABLE),
    "table alone": Card(table=TABLE),
}


def ink(canvas: Planes) -> Rect | None:
    """The smallest rectangle that holds whatever is not ground."""
    marks = canvas.y != GROUND[0]
    for plane, ground in ((canvas.u, GROUND[1]), (canvas.v, GROUND[2])):
        marks |= np.repeat(np.repeat(plane != ground, 2, axis=0), 2, axis=1)
    rows, columns = np.flatnonzero(marks.any(axis=1)), np.flatnonzero(marks.any(axis=0))
    if not rows.size:
        return None
    return Rect(int(columns[0]), int(rows[0]), int(columns[-1] - columns[0]) + 1, int(rows[-1] - rows[0]) + 1)


@pytest.mark.parametrize("canvas", [(640, 360), (1280, 720), (360, 640), (480, 480)])
@pytest.mark.parametrize("name", CARDS)
def test_a_card_begins_empty_ends_still_and_keeps_inside_the_safe_area(name: str, canvas: tuple[int, int]) -> None:
    # Source: 5 % graphics-safe area, EBU R 95, from memory.
    stage = make_stage(width=canvas[0], height=canvas[1])
    shot = make_shot(CARDS[name], frames=120)
    shown = painted(shot, stage, range(0, 120, 3))
    assert ink(shown[0]) is None
    safe = safe_area(*canvas)
    content = lay_out(CARDS[name], (), *canvas).content
    rise = 16  # pixels, more than anything rises at these sizes
    for frame in shown[1:]:
        marks = ink(frame)
        assert marks is None or Rect(safe.x, safe.y, safe.width, content.height + rise).holds(marks)
    final = ink(shown[-1])
    assert final is not None and content.holds(final)
    for frame in shown[20:]:  # from half of the shot on
        assert np.array_equal(frame.y, shown[-1].y) and np.array_equal(frame.u, shown[-1].u)


def test_a_still_card_is_whole_from_its_first_frame_and_equal_to_where_motion_ends() -> None:
    stage = make_stage(width=1280, height=720)
    moving, still = (
        CARDS["table"],
        Card(title="New pictures a second", note="Median of three runs", table=TABLE, motion="still"),
    )
    (first,) = painted(make_shot(still, frames=60), stage, [0])
    last = painted(make_shot(moving, frames=90), stage, [0, 89])[-1]
    assert np.array_equal(first.y, last.y) and np.array_equal(first.v, last.v)


def test_a_card_only_grows_clearer_as_it_comes_on() -> None:
    stage = make_stage(width=640, height=360)
    shown = painted(make_shot(CARDS["title"], frames=60), stage, range(45))
    brightest = [int(canvas.y.max()) for canvas in shown]
    assert brightest == sorted(brightest) and brightest[0] == GROUND[0] and brightest[-1] > 180


def test_a_card_has_the_same_words_in_ten_bits() -> None:
    card = Card(title="Harbour", motion="still")
    (eight,) = painted(make_shot(card, frames=2), make_stage(), [0])
    (ten,) = painted(make_shot(card, frames=2), make_stage(bits=10), [0])
    assert np.abs(ten.y / 4 - eight.y).max() <= 1


def test_the_tail_under_a_dissolve_is_at_rest() -> None:
    shot = make_shot(CARDS["title"], frames=10, tail=30)
    shown = painted(shot, make_stage(), [0, 9, 39])
    assert np.array_equal(shown[1].y, shown[2].y)


def test_a_wide_title_begins_on_a_third_of_the_width() -> None:
    (canvas,) = painted(
        make_shot(Card(title="Harbour", motion="still"), frames=2), make_stage(width=1280, height=720), [0]
    )
    found = ink(canvas)
    assert found is not None and abs(found.x - 1280 / 3) < 6


def test_a_picture_card_shows_its_picture_fitted(tmp_path: Path) -> None:
    Image.new("RGB", (400, 400), (200, 30, 30)).save(tmp_path / "red.png")
    stage = make_stage(folder=tmp_path)
    (canvas,) = painted(make_shot(Card(picture="red.png", motion="still"), frames=2), stage, [0])
    # By hand: a square on 640 x 360 is 360 wide and begins at (640 - 360) / 2 = 140.
    assert ink(canvas) == Rect(140, 0, 360, 360)
    red = codes((200, 30, 30))
    for plane, code in ((canvas.y[:, 160:480], red[0]), (canvas.u[:, 80:240], red[1]), (canvas.v[:, 80:240], red[2])):
        assert np.abs(plane.astype(int) - code).max() <= 1


def test_words_beside_a_picture_do_not_touch_it(tmp_path: Path) -> None:
    Image.new("RGB", (400, 300), (200, 30, 30)).save(tmp_path / "red.png")
    card = Card(picture="red.png", title="The quay at dusk", note="Ash, frame 31", motion="still")
    for canvas in ((1280, 720), (720, 1280)):
        stage = make_stage(width=canvas[0], height=canvas[1], folder=tmp_path)
        (shown,) = painted(make_shot(card, frames=2), stage, [0])
        red = np.repeat(np.repeat(shown.v > 180, 2, axis=0), 2, axis=1)
        rows, columns = np.flatnonzero(red.any(axis=1)), np.flatnonzero(red.any(axis=0))
        assert red[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1].all()  # nothing lies on the picture
        rest = shown.y.copy()
        rest[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1] = GROUND[0]
        assert rest.max() > 180  # the words


def test_a_picture_outside_the_project_is_not_opened(tmp_path: Path) -> None:
    (tmp_path / "project").mkdir()
    Image.new("RGB", (4, 4)).save(tmp_path / "secret.png")
    (tmp_path / "project" / "link.png").symlink_to(tmp_path / "secret.png")
    stage = make_stage(folder=tmp_path / "project")
    for name in ("../secret.png", "link.png", str(tmp_path / "secret.png")):
        with pytest.raises(AssemblerError, match="project folder"):
            ShotPainter(make_shot(Card(picture=name), frames=2), stage)


# --- what does not fit ---------------------------------------------------------------------------


def test_ordinary_cards_fit() -> None:
    for canvas in ((1920, 1080), (1280, 720), (1080, 1920)):
        stage = make_stage(width=canvas[0], height=canvas[1])
        assert [card_overflows(card, stage) for card in CARDS.values()] == [()] * len(CARDS)
    twelve = Table(columns=("Place", "Ash", "Birch", "Cedar"), rows=(("Lighthouse", "60", "44 ± 1", "30"),) * 12)
    assert card_overflows(Card(title="All places", table=twelve), make_stage(width=1280, height=720)) == ()


@pytest.mark.parametrize(
    ("card", "said"),
    [
        (Card(title="harbour " * 60), "title"),
        (Card(title="Harbour", note="harbour " * 120), "note"),
        (Card(title="H" * 90), "title"),
        (Card(table=Table(columns=("Place", "Ash"), rows=(("Quay", "60"),) * 40)), "rows"),
        (Card(table=Table(columns=("Place",) + ("A long name of a machine",) * 9, rows=(("Quay",) * 10,))), "wider"),
    ],
)
def test_what_does_not_fit_is_said_and_nothing_leaves_the_safe_area(card: Card, said: str) -> None:
    stage = make_stage(width=1280, height=720)
    faults = card_overflows(card, stage)
    assert len(faults) == 1 and said in faults[0]
    shown = painted(make_shot(card, frames=120), stage, [0, 119])[-1]
    marks = ink(shown)
    assert marks is not None and safe_area(1280, 720).holds(marks)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.text("ab 1−é字", min_size=1, max_size=30), min_size=1, max_size=6),
    st.integers(0, 14),
    st.sampled_from([(640, 360), (360, 640)]),
)
def test_no_table_leaves_the_safe_area(columns: list[str], rows: int, canvas: tuple[int, int]) -> None:
    table = Table(columns=tuple(columns), rows=tuple(tuple(columns) for _ in range(rows)))
    shot = make_shot(Card(table=table, motion="still"), frames=2)
    (shown,) = painted(shot, make_stage(width=canvas[0], height=canvas[1]), [0])
    marks = ink(shown)
    assert marks is None or safe_area(*canvas).holds(marks)


def test_figures_are_told_from_words() -> None:
    table = Table(
        columns=("Id", "Rate", "Words", "Span", "Half", "None"),
        rows=(("1", "59.94", "fast", "1:02.5", "60 fps", "–"), ("2", "−3 %", "2 fast boats", "≈ 12 ms", "still", "")),
    )
    assert figure_columns(table) == (False, True, False, True, True, False)


def test_figures_stand_at_the_right_of_their_column() -> None:
    table = Table(columns=("", ""), rows=(("a", "8"), ("a", "8888"), ("a", "88")))
    (shown,) = painted(make_shot(Card(table=table, motion="still"), frames=2), make_stage(width=1280, height=720), [0])
    bright = shown.y > 150
    rows = np.flatnonzero(bright.any(axis=1))
    bands = np.split(rows, np.flatnonzero(np.diff(rows) > 4) + 1)
    ends = [int(np.flatnonzero(bright[band[0] : band[-1] + 1].any(axis=0))[-1]) for band in bands]
    starts = [int(np.flatnonzero(bright[band[0] : band[-1] + 1, ends[0] - 120 :].any(axis=0))[0]) for band in bands]
    assert len(ends) == 3 and max(ends) - min(ends) <= 1
    assert starts[1] < starts[2] < starts[0]


# --- motion --------------------------------------------------------------------------------------


@given(st.integers(1, 40), st.floats(0.05, 20))
def test_all_is_on_by_the_middle_of_a_shot_in_order(count: int, seconds: float) -> None:
    moves = entrances(count, seconds, 1080, still=False)
    assert len(moves) == count
    assert max(move.end_s for move in moves) <= max(seconds / 2, 0) + 1e-9
    assert [move.start_s for move in moves] == sorted(move.start_s for move in moves)
    for move in moves:
        assert move.opacity(move.start_s) == 0 and move.opacity(move.end_s) == pytest.approx(1)
        assert move.lift(move.end_s) == pytest.approx(0, abs=1e-9)
        lifts = [move.lift(move.start_s + move.lasts_s * i / 20) for i in range(21)]
        assert lifts == sorted(lifts, reverse=True)  # never a bounce


# --- made pictures -------------------------------------------------------------------------------

GOOD = """
from dataclasses import dataclass
import numpy as np
from moviepy import VideoClip

@dataclass
class Shade:
    blue: int

def clip(width, height, rate, seconds, blue=10):
    def frame(t):
        picture = np.zeros((height, width, 3), np.uint8)
        picture[..., 0] = int(round(t * rate)) * 10
        picture[..., 2] = Shade(blue).blue
        return picture
    return VideoClip(frame, duration=seconds)
"""


def project(folder: Path, code: str) -> Made:
    (folder / "made.py").write_text(code, encoding="utf-8")
    return Made(file="made.py", options={"blue": 99} if "blue" in code else {})


def test_project_code_does_not_run_unless_allowed(tmp_path: Path) -> None:
    made = project(tmp_path, "from pathlib import Path\nPath(__file__).with_name('ran').touch()\n")
    with pytest.raises(UsageError, match="--allow-code"):
        ShotPainter(make_shot(made, frames=5), make_stage(folder=tmp_path))
    assert not (tmp_path / "ran").exists()


def test_a_made_picture_is_called_with_the_canvas_and_shown_frame_by_frame(tmp_path: Path) -> None:
    made = project(tmp_path, GOOD)
    stage = make_stage(width=64, height=36, folder=tmp_path, allow_code=True, rate=Fraction(60_000, 1_001))
    shown = painted(make_shot(made, frames=6, tail=2), stage, range(8))
    for frame, canvas in enumerate(shown):
        wanted = codes((min(frame, 5) * 10, 0, 99))  # the last picture is held under a dissolve
        assert (int(canvas.y[7, 9]), int(canvas.u[3, 4]), int(canvas.v[3, 4])) == wanted


def test_a_mask_lets_the_ground_through(tmp_path: Path) -> None:
    code = GOOD.replace(
        "return VideoClip(frame, duration=seconds)",
        "mask = np.zeros((height, width)); mask[:, : width // 2] = 1\n"
        "    return VideoClip(frame, duration=seconds).with_mask(VideoClip(lambda t: mask, is_mask=True))",
    )
    stage = make_stage(width=64, height=36, folder=tmp_path, allow_code=True)
    (canvas,) = painted(make_shot(project(tmp_path, code), frames=2), stage, [0])
    assert np.all(canvas.y[:, 32:] == GROUND[0]) and np.all(canvas.y[:, :32] == codes((0, 0, 99))[0])


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("def clip(*given, **options):\n    return 1 / 0\n", "line 2.*ZeroDivisionError"),
        ("def clip(*given, **options):\n    return 'a film'\n", "returned str"),
        ("def other():\n    pass\n", "no such function"),
        ("x = 1\nraise RuntimeError('at sea')\n", "line 2.*at sea"),
        ("def clip(:\n", "line 1.*SyntaxError"),
        ("def clip(width):\n    pass\n", "TypeError"),
        ("import sys\ndef clip(*given, **options):\n    sys.exit(3)\n", "line 3.*end the program"),
    ],
)
def test_faults_of_project_code_name_file_function_and_line(tmp_path: Path, code: str, said: str) -> None:
    (tmp_path / "made.py").write_text(code, encoding="utf-8")
    stage = make_stage(width=64, height=36, folder=tmp_path, allow_code=True)
    with pytest.raises(RenderError, match=f"'made.py', function 'clip'.*{said}"):
        ShotPainter(make_shot(Made(file="made.py"), frames=5), stage)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("raise KeyError(t)", "line 4.*KeyError"),
        ("return np.zeros((5, 5, 3), np.uint8)", r"\(5, 5, 3\)"),
        ("return None", "None"),
    ],
)
def test_faults_while_a_picture_is_made_are_told_too(tmp_path: Path, body: str, said: str) -> None:
    code = f"import numpy as np\nfrom moviepy import VideoClip\ndef frame(t):\n    {body}\n"
    code += "def clip(width, height, rate, seconds):\n    made = VideoClip(duration=1)\n"
    code += "    made.frame_function = frame\n    return made\n"
    (tmp_path / "made.py").write_text(code, encoding="utf-8")
    stage = make_stage(width=64, height=36, folder=tmp_path, allow_code=True)
    with (
        ShotPainter(make_shot(Made(file="made.py"), frames=5), stage) as painter,
        pytest.raises(RenderError, match=f"'made.py', function 'clip'.*{said}"),
    ):
        painter.paint(0, soiled(stage, 0))


def test_code_outside_the_project_never_runs(tmp_path: Path) -> None:
    (tmp_path / "project").mkdir()
    (tmp_path / "made.py").write_text("raise SystemExit", encoding="utf-8")
    (tmp_path / "project" / "link.py").symlink_to(tmp_path / "made.py")
    stage = make_stage(folder=tmp_path / "project", allow_code=True)
    for name in ("../made.py", "link.py"):
        with pytest.raises(AssemblerError, match="project folder"):
            ShotPainter(make_shot(Made(file=name), frames=2), stage)


@pytest.mark.parametrize("bits", [8, 10])
def test_rgb_is_written_as_bt709_codes(bits: int) -> None:
    # Source: BT.709 items 3.2 to 3.4 in `codes`, in floating point, for flat colours; and the drawing path for noise.
    noise = np.random.default_rng(3)
    stage = make_stage(width=16, height=130, bits=bits)
    for colour in noise.integers(0, 256, (60, 3)):
        canvas = soiled(stage, 1)
        write_rgb(np.broadcast_to(colour.astype(np.uint8), (130, 16, 3)), canvas)
        for plane, code in zip((canvas.y, canvas.u, canvas.v), codes(tuple(map(int, colour)), bits), strict=True):
            assert np.all(plane == code)
    picture = noise.integers(0, 256, (130, 16, 3), dtype=np.uint8)
    canvas, other = soiled(stage, 1), soiled(stage, 2)
    write_rgb(picture, canvas)
    blend(other, Sprite.from_rgba(np.dstack((picture, np.full((130, 16), 255, np.uint8))), bits), 0, 0)
    for one, two in ((canvas.y, other.y), (canvas.u, other.u), (canvas.v, other.v)):
        assert np.abs(one.astype(int) - two).max() <= 1
