"""The programme as a moviepy clip: the draft's own frames in any order, the mix's own samples, and clips in clips."""

from __future__ import annotations

import random
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import av
import numpy as np
import pytest
from media_maker import Sound, number_in, tone, write_clip
from PIL import Image

import assembler
from assembler.cli.main import main
from assembler.errors import UsageError
from assembler.media.planes import Planes, blank
from assembler.media.writer import frame_planes
from assembler.picture.made import write_rgb
from assembler.picture.rgb import read_rgb
from assembler.prepare import prepare
from assembler.sound.mix import mix
from assembler.timeline.model import Timeline

ROOT = Path(__file__).resolve().parent.parent
FRAMES = 75

STORYBOARD = """\
storyboard: 1
title: t
canvas: {size: 320x180, rate: 30}
subjects: {ash: {name: Ash}}
captures: {quay: {file: quay.mp4, subject: ash}}
segments:
  - {id: one, lasts: 40 f, hear: quay, show: {full: {capture: quay, label: false}}}
  - id: two
    lasts: 35 f
    enter: {dissolve: 6 f}
    show: {full: {capture: quay, from: 2 s, label: false}}
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("project")
    sound = Sound(tone(440, seconds=4.0, level=0.2, channels=2))
    write_clip(path / "quay.mp4", pictures=120, rate=30, size=(320, 180), colour=(1, 1, 1, 1), sound=sound)
    (path / "storyboard.yaml").write_text(STORYBOARD, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def timeline(folder: Path) -> Timeline:
    return prepare(folder).timeline


@pytest.fixture
def clip(timeline: Timeline) -> Iterator[object]:
    made = assembler.as_moviepy(timeline)
    yield made
    made.close()


@pytest.fixture(scope="module")
def draft(folder: Path) -> list[Planes]:
    """The pictures of a draft without marks."""
    out = folder / "out" / "draft.mp4"
    assert main(["draft", str(folder), "--no-marks", "--out", str(out)]) == 0
    with av.open(str(out)) as container:
        views = [frame_planes(frame, 8) for frame in container.decode(video=0)]
        return [Planes(view.y.copy(), view.u.copy(), view.v.copy()) for view in views]


# Source: Rec. ITU-T H.264 equations E-10 to E-12 for 100 % bars, 8 bits: white, yellow, red, green, blue, black.
BARS = {
    (235, 128, 128): (255, 255, 255), (219, 16, 138): (255, 255, 0), (63, 102, 240): (255, 0, 0),
    (173, 42, 26): (0, 255, 0), (32, 240, 118): (0, 0, 255), (16, 128, 128): (0, 0, 0),
}  # fmt: skip


@pytest.mark.parametrize(("codes", "colour"), BARS.items())
def test_codes_become_the_colours_they_stand_for(codes: tuple[int, int, int], colour: tuple[int, int, int]) -> None:
    picture = blank(4, 70)
    picture.y[:], picture.u[:], picture.v[:] = codes
    # One step of chroma is worth up to 2.1 of blue: 1.8556 x 255 / 224.
    assert np.abs(read_rgb(picture).astype(int) - colour).max() <= 2


def test_reading_colours_undoes_writing_them() -> None:
    cells = np.random.default_rng(4).integers(0, 256, (40, 30, 3), np.uint8)
    picture = cells.repeat(2, axis=0).repeat(2, axis=1)  # a colour for each chroma sample
    canvas = blank(60, 80)
    write_rgb(picture, canvas)
    # Source: arithmetic: half a code of luma (255 / 219 / 2) and of chroma (1.8556 x 255 / 224 / 2), rounded once more.
    assert np.abs(read_rgb(canvas).astype(int) - picture).max() <= 2


def test_the_clip_is_as_large_long_and_quick_as_the_programme(clip: object) -> None:
    assert (clip.size, clip.fps) == ((320, 180), 30)
    # Source: arithmetic: 75 frames at 30 a second.
    assert clip.duration == pytest.approx(2.5) and clip.audio.duration == pytest.approx(2.5)


def test_every_frame_at_its_centre_is_the_drafts_own_in_any_order(clip: object, draft: list[Planes]) -> None:
    order = list(range(FRAMES))
    random.Random(1).shuffle(order)
    for frame in [*order[:40], *range(35, 50)]:
        shown = clip.get_frame((frame + 0.5) / 30)
        coded = read_rgb(draft[frame]).astype(int)
        # The draft is coded at crf 23: it strays a little on the average, and by far more where frames are mixed up.
        assert np.abs(shown.astype(int) - coded).mean() < 3, frame
        if frame < 40 or frame > 46:
            assert number_in(shown[..., 1]) == number_in(draft[frame].y)


def test_a_frames_own_time_shows_that_frame_and_none_is_beyond_the_ends(clip: object, timeline: Timeline) -> None:
    first = number_in(clip.get_frame(0)[..., 1])
    assert [number_in(clip.get_frame(k / 30)[..., 1]) - first for k in range(40)] == list(range(40))
    assert np.array_equal(clip.get_frame(9.0), clip.get_frame(74 / 30))
    picture = clip.get_frame(0.1)
    picture[:] = 0  # the caller's own: nothing of it is kept
    assert clip.get_frame(0.1).max() > 0


def test_a_frame_is_the_same_whichever_was_asked_for_before(clip: object) -> None:
    forward = [clip.get_frame(k / 30) for k in range(36, 50)]
    backward = [clip.get_frame(k / 30) for k in range(49, 35, -1)]
    assert all(np.array_equal(a, b) for a, b in zip(forward, reversed(backward), strict=True))


def test_its_sound_is_the_mix_sample_for_sample(clip: object, timeline: Timeline) -> None:
    whole = np.concatenate(list(mix(timeline).blocks()))
    assert np.abs(whole).max() > 0.05
    assert np.array_equal(clip.audio.to_soundarray(fps=48_000), whole)
    piece = clip.subclipped(0.5, 1.0).audio
    assert np.array_equal(piece.get_frame(np.arange(4_800) / 48_000), whole[24_000:28_800])
    assert not clip.audio.get_frame(np.array([-1.0, 7.0])).any()


def test_closing_lets_go_of_files_and_a_closed_clip_opens_them_again(clip: object, folder: Path) -> None:
    before = clip.get_frame(0.5)
    clip.audio.get_frame(0.1)
    held = list(Path("/proc/self/fd").iterdir()) if Path("/proc/self/fd").exists() else []
    assert not held or any(path.readlink().name == "quay.mp4" for path in held if path.is_symlink())
    clip.close()
    for path in list(Path("/proc/self/fd").iterdir()) if held else []:
        if path.is_symlink():
            assert folder.name not in str(path.readlink())
    assert np.array_equal(clip.get_frame(0.5), before)


def test_another_size_and_marks_are_drawn_when_asked_for(timeline: Timeline) -> None:
    small = assembler.as_moviepy(timeline, size=(160, 90), marks=True)
    plain = assembler.as_moviepy(timeline, size=(160, 90))
    assert small.get_frame(0).shape == (90, 160, 3)
    assert not np.array_equal(small.get_frame(0), plain.get_frame(0))
    small.close()
    plain.close()
    with pytest.raises(UsageError, match="161x90"):
        assembler.as_moviepy(timeline, size=(161, 90))


def test_moviepy_can_write_it(clip: object, tmp_path: Path) -> None:
    imageio_ffmpeg = pytest.importorskip("imageio_ffmpeg")
    assert imageio_ffmpeg.get_ffmpeg_exe()
    out = tmp_path / "piece.mp4"
    clip.subclipped(0.5, 1.0).write_videofile(str(out), logger=None, temp_audiofile_path=str(tmp_path))
    with av.open(str(out)) as container:
        numbers = [number_in(frame_planes(frame, 8).y) for frame in container.decode(video=0)]
        assert container.streams.audio
    first = number_in(clip.get_frame(0)[..., 1])
    # Source: arithmetic: from 0.5 s on is from frame 15 on, 15 of them.
    assert numbers == [first + k for k in range(15, 30)]


def test_the_example_of_a_made_picture_shows_its_programme_again(tmp_path: Path) -> None:
    project = tmp_path / "look_back"
    shutil.copytree(ROOT / "projects_demo" / "look_back", project, ignore=shutil.ignore_patterns("out", ".assembler"))
    assert main(["draft", str(project), "--no-marks"]) == 2  # the project's code runs only when allowed
    assert main(["draft", str(project), "--no-marks", "--allow-code"]) == 0
    with av.open(str(project / "out" / "draft.mp4")) as container:
        shown = [frame_planes(frame, 8).y.astype(int) for frame in container.decode(video=0)]
    assert len(shown) == 90
    # Source: the example's own words: from 0.5 s on, at two thirds of the size, in the middle.
    whole, again = shown[15 + 20], shown[60 + 20]
    small = whole[: 360 // 3 * 3, : 639 // 3 * 3].reshape(120, 3, 213, 3).mean(axis=(1, 3))  # to a third
    inner = again[60:300, 107:533].reshape(120, 2, 213, 2).mean(axis=(1, 3))  # to a half of two thirds
    assert np.corrcoef(small.ravel(), inner.ravel())[0, 1] > 0.95
    assert inner.max() > 120 and again[:50].max() < 90


def test_the_readmes_lines_for_python_run(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (code,) = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    (tmp_path / "my-comparison").symlink_to(folder)
    monkeypatch.chdir(tmp_path)
    exec(code.replace("subclipped(10, 12)", "subclipped(1, 1.5)"), {})
    with Image.open(tmp_path / "detail.gif") as made:
        assert made.size == (320, 180) and made.n_frames == 5  # Source: arithmetic: 0.5 s at 10 a second
