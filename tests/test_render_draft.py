"""Whole drafts: every frame right, finished parts kept, and nothing broken left by a run that ends early."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from media_maker import number_in, write_clip
from render_maker import (
    GROUND,
    PLAIN,
    QUICK,
    NumberTools,
    Quiet,
    Scene,
    cue,
    number_picture,
    numbers,
    pictures,
    programme,
    with_tools,
)

from assembler.captions.cues import Cue
from assembler.errors import MissingPartError, RenderError, UsageError
from assembler.render import plan
from assembler.render.draft import DraftOptions, DraftResult, plan_draft, render_draft
from assembler.render.interrupt import watch_interrupts
from assembler.render.lock import only_run
from assembler.render.part import Interrupted, Mark
from assembler.render.progress import Event
from assembler.timeline.model import Timeline

SCENES = [Scene("a", [30, 1]), Scene("b", [40]), Scene("c", [25])]
HERE = Path(__file__).parent


def draft(
    timeline: Timeline,
    cues: tuple[Cue, ...] = (),
    options: DraftOptions = PLAIN,
    tools: NumberTools | None = None,
    cancelled: Callable[[], bool] = lambda: False,
    progress: Callable[[Event], None] | None = None,
) -> DraftResult:
    return render_draft(
        timeline,
        cues,
        options,
        progress,
        open_tools=with_tools(tools or NumberTools()),
        mix_sound=Quiet,
        cancelled=cancelled,
    )


def test_every_frame_of_the_programme_is_there_in_order_with_sound_and_chapters(tmp_path: Path) -> None:
    result = draft(programme(tmp_path, SCENES))
    assert result.path == tmp_path / "out" / "draft.mp4"
    assert numbers(result.path) == list(range(96))
    with av.open(str(result.path)) as container:
        assert [c["metadata"]["title"] for c in container.chapters()] == ["a", "b", "c"]
        assert container.streams.audio[0].rate == 48_000
    assert (result.made, result.times.frames, result.sound) == (4, 96, "quiet")


def test_a_second_run_keeps_every_part_and_a_changed_caption_costs_one(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    first = draft(timeline, (cue(5, 20, "One."),))
    before = first.path.read_bytes()
    again = draft(timeline, (cue(5, 20, "One."),))
    assert (first.made, again.made) == (4, 0)
    assert again.path.read_bytes() == before
    assert {part.why for part in again.parts} == {"nothing changed"}
    tools = NumberTools()
    changed = draft(timeline, (cue(5, 20, "Two."),), tools=tools)
    assert [part.state for part in changed.parts] == ["made", "kept", "kept", "kept"]
    assert changed.parts[0].why == "caption 1 changed"
    assert set(tools.captions) == {("Two.",)}
    assert len(tools.captions) == 15
    marked = [number for number, picture in enumerate(pictures(changed.path)) if picture.u[-5, 5] > 200]
    assert marked == list(range(5, 20))


def test_equal_parts_are_made_once(tmp_path: Path) -> None:
    timeline = programme(tmp_path, [Scene("a", [30], [100]), Scene("b", [10], [7]), Scene("c", [30], [100])])
    result = draft(timeline)
    assert [part.state for part in result.parts] == ["made", "made", "kept"]
    assert result.parts[2].why == "the same as a shot 1"
    assert numbers(result.path) == [*range(100, 130), *range(7, 17), *range(100, 130)]


def test_a_damaged_part_is_made_anew(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    first = draft(timeline)
    part = first.parts[2].path
    part.write_bytes(part.read_bytes()[:2000])
    again = draft(timeline)
    assert [(p.state, p.why) for p in again.parts][2] == ("made", "what is stored is damaged")
    assert again.made == 1
    assert numbers(again.path) == list(range(96))


def test_what_a_killed_run_left_half_written_is_swept_away(tmp_path: Path) -> None:
    left = tmp_path / ".assembler" / "parts" / "0123.partial.mp4"
    left.parent.mkdir(parents=True)
    left.write_bytes(b"half")
    then = time.time() - 3600  # since when it has not grown
    os.utime(left, (then, then))
    draft(programme(tmp_path, SCENES))
    assert not left.exists()


def test_parts_unused_for_two_weeks_go_when_the_whole_programme_is_rendered(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    first = draft(timeline)
    unused = first.parts[0].path.with_name("0123.mp4")
    unused.write_bytes(b"a part of an older cut")
    old = time.time() - 15 * 86_400
    for path in (unused, *(part.path for part in first.parts)):
        os.utime(path, (old, old))
    draft(timeline, options=replace(PLAIN, only="b", out=tmp_path / "b.mp4"))
    assert unused.exists()
    assert draft(timeline).made == 0
    assert not unused.exists()
    assert all(part.path.exists() for part in first.parts)


def test_a_plan_tells_what_a_run_would_do_and_writes_nothing(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    assert {(part.state, part.why) for part in plan_draft(timeline, (), PLAIN)} == {("made", "new")}
    assert not (tmp_path / ".assembler").exists()
    draft(timeline)
    smaller = plan_draft(timeline, (), replace(PLAIN, size=(80, 44), marks=True))
    assert {part.why for part in smaller} == {"the mark changed, the size or rate changed"}
    assert {part.why for part in plan_draft(timeline, (), replace(PLAIN, anew=True))} == {"asked for anew"}


def test_only_a_segment_or_a_range_is_rendered_when_asked(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    whole = draft(timeline)
    only = draft(timeline, options=replace(PLAIN, only="b", out=tmp_path / "b.mp4"))
    assert (numbers(only.path), only.made) == (list(range(31, 71)), 0)
    cut = draft(timeline, options=replace(PLAIN, start_frame=20, end_frame=35, out=tmp_path / "cut.mp4"))
    assert numbers(cut.path) == list(range(20, 35))
    assert numbers(whole.path) == list(range(96))


def test_another_size_is_painted_at_that_size(tmp_path: Path) -> None:
    result = draft(programme(tmp_path, SCENES), options=replace(PLAIN, size=(320, 180)))
    assert {(p.width, p.height) for p in pictures(result.path)} == {(320, 180)}
    with pytest.raises(UsageError, match="321x180"):
        draft(programme(tmp_path, SCENES), options=replace(PLAIN, size=(321, 180)))


def test_a_dissolve_mixes_both_pictures_and_a_fade_ends_on_the_ground(tmp_path: Path) -> None:
    scenes = [Scene("a", [20], [0]), Scene("b", [20], [50], dissolve=4), Scene("c", [12], [70], fade_in=4, fade_out=4)]
    timeline = programme(tmp_path, scenes)
    shown = pictures(draft(timeline).path)

    def flat(number: int) -> np.ndarray:
        return number_picture(number, 160, 90).astype(float)

    for frame in range(4):
        share = (frame + 1) / 5
        expected = flat(20 + frame) * (1 - share) + flat(50 + frame) * share
        # Source: arithmetic on the planes; 6 codes are left to lossy coding, on average.
        assert np.abs(shown[20 + frame].y - expected).mean() < 6
    assert [number_in(picture.y) for picture in (*shown[:20], *shown[24:40])] == [*range(20), *range(54, 70)]
    for frame in (40, 51):
        assert np.abs(shown[frame].y.astype(int) - GROUND[0]).max() <= 3
        assert np.abs(shown[frame].u.astype(int) - GROUND[1]).max() <= 3
    assert [number_in(picture.y) for picture in shown[44:48]] == [74, 75, 76, 77]


def test_marks_count_programme_frames_also_in_a_part_of_it(tmp_path: Path) -> None:
    timeline = programme(tmp_path, [Scene("a", [31]), Scene("b", [40], scratch=[(1_600 * 33, 1_600 * 35)])])
    tools = NumberTools()
    counted = replace(PLAIN, marks=True, counting="programme")
    draft(timeline, options=replace(counted, start_frame=29, end_frame=36), tools=tools)
    # Source: SMPTE ST 12-1 labels at 30 frames a second.
    assert [mark.timecode for mark in tools.marks] == [
        "00:00:00:29", "00:00:01:00", "00:00:01:01", "00:00:01:02", "00:00:01:03", "00:00:01:04", "00:00:01:05"
    ]  # fmt: skip
    assert tools.marks[-1] == Mark("00:00:01:05", "b", False)
    assert [mark.scratch for mark in tools.marks] == [False] * 4 + [True, True, False]
    tools.marks.clear()
    draft(timeline, options=replace(counted, counting="id", start_frame=29, end_frame=33), tools=tools)
    assert [(mark.timecode, mark.segment) for mark in tools.marks] == [
        ("+00:00:29", "a"), ("+00:01:00", "a"), ("+00:00:00", "b"), ("+00:00:01", "b")
    ]  # fmt: skip
    draft(timeline, options=replace(counted, counting="segment"), tools=tools)
    assert tools.marks[-1] == Mark("+00:01:09", "", False)


def test_a_cancelled_run_keeps_finished_parts_and_the_draft_before(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    out = tmp_path / "out" / "draft.mp4"
    out.parent.mkdir()
    out.write_bytes(b"older")
    frames = iter(range(10_000))
    with pytest.raises(Interrupted):
        draft(timeline, cancelled=lambda: next(frames) >= 50)
    assert out.read_bytes() == b"older"
    kept = list((tmp_path / ".assembler" / "parts").glob("*.mp4"))
    assert len(kept) == 2
    assert not list(tmp_path.rglob("*partial*"))
    again = draft(timeline)
    assert [part.state for part in again.parts] == ["kept", "kept", "made", "made"]
    assert again.parts[2].why == "not finished before"
    assert numbers(out) == list(range(96))


def test_cancelling_while_joining_leaves_the_draft_before(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    draft(timeline)
    out = tmp_path / "out" / "draft.mp4"
    before = out.read_bytes()
    asked = iter(range(10_000))
    with pytest.raises(Interrupted):
        draft(timeline, cancelled=lambda: next(asked) >= 1)
    assert out.read_bytes() == before
    assert not list(tmp_path.rglob("*partial*"))


CHILD = """
    import sys
    from pathlib import Path
    sys.path.insert(0, sys.argv[2])
    import time
    from render_maker import PLAIN, NumberTools, Quiet, Scene, programme, with_tools
    from assembler.render.draft import render_draft
    tools = NumberTools(before_paint=lambda: time.sleep(0.004))
    timeline = programme(Path(sys.argv[1]), [Scene("a", [30, 1]), Scene("b", [40]), Scene("c", [25])])
    told = lambda event: print(event.stage, event.done, flush=True)
    try:
        render_draft(timeline, (), PLAIN, told, open_tools=with_tools(tools), mix_sound=Quiet)
    except KeyboardInterrupt:
        sys.exit(130)
"""


def child(folder: Path) -> subprocess.Popen[str]:
    run = [sys.executable, "-c", textwrap.dedent(CHILD), str(folder), str(HERE)]
    return subprocess.Popen(run, stdout=subprocess.PIPE, text=True)


def wait_for(process: subprocess.Popen[str], start: str) -> None:
    assert process.stdout is not None
    for line in process.stdout:
        if line.startswith(start) and not line.endswith(" 0\n"):
            return
    raise AssertionError(f"the run never came to '{start}'")


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs a signal that cannot be caught")
@pytest.mark.parametrize("after_s", [0.0, 0.13, 0.31])
def test_a_killed_run_is_taken_up_where_it_stopped(tmp_path: Path, after_s: float) -> None:
    with child(tmp_path) as process:
        wait_for(process, "pictures")
        time.sleep(after_s)
        process.kill()
        process.wait()
    timeline = programme(tmp_path, SCENES)
    kept = sum(part.state == "kept" for part in plan_draft(timeline, (), PLAIN))
    result = draft(timeline)
    assert result.made == 4 - kept
    assert numbers(result.path) == list(range(96))
    assert not list(tmp_path.rglob("*partial*"))


@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent otherwise there")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_the_run_in_good_order(tmp_path: Path, number: int) -> None:
    with child(tmp_path) as process:
        wait_for(process, "pictures")
        process.send_signal(number)
        assert process.wait(timeout=20) == 130
    assert not (tmp_path / "out").exists()
    assert not list(tmp_path.rglob("*partial*"))


def test_a_second_run_at_once_is_refused_and_a_later_one_is_not(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    with child(tmp_path) as process:
        wait_for(process, "pictures")
        with pytest.raises(UsageError, match=f"another run.*process {process.pid}"):
            draft(timeline)
        process.kill()
        process.wait()
    assert draft(timeline).made > 0
    with only_run(tmp_path / ".assembler"), pytest.raises(UsageError, match=str(os.getpid())):
        draft(timeline)


def test_signals_have_their_old_meaning_afterwards_and_on_the_second_one() -> None:
    before = signal.getsignal(signal.SIGINT)
    with watch_interrupts() as asked:
        assert not asked()
        signal.raise_signal(signal.SIGINT)
        assert asked()
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is before
    seen: list[bool] = []

    def elsewhere() -> None:
        with watch_interrupts() as asked:
            seen.append(asked())

    thread = threading.Thread(target=elsewhere)
    thread.start()
    thread.join()
    assert seen == [False]


def test_an_error_of_a_picture_reaches_the_caller_and_ends_all_threads(tmp_path: Path) -> None:
    def fail() -> None:
        raise RenderError("the picture cannot be made")

    with pytest.raises(RenderError, match="cannot be made"):
        draft(programme(tmp_path, SCENES), tools=NumberTools(before_paint=fail))
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("encode")]
    assert not list(tmp_path.rglob("*.mp4"))[1:]  # the footage alone


def test_a_folder_that_cannot_be_written_to_is_a_missing_part(tmp_path: Path) -> None:
    (tmp_path / ".assembler").write_bytes(b"in the way")
    with pytest.raises((MissingPartError, RenderError), match="assembler"):
        draft(programme(tmp_path, SCENES))


def test_progress_rises_to_the_end_of_every_stage(tmp_path: Path) -> None:
    events: list[Event] = []
    draft(programme(tmp_path, SCENES), progress=events.append)
    for stage, total in (("pictures", 96), ("joining", 96)):
        done = [event.done for event in events if event.stage == stage]
        assert done == sorted(done)
        assert (done[0], done[-1]) == (0, total)
    assert json.dumps([event.done for event in events])  # plain numbers, fit for any listener


def test_listening_to_the_sound_ends_at_the_whole_and_not_beyond_it(tmp_path: Path) -> None:
    events: list[Event] = []
    # 40 frames at 30 a second last 1.33 s, of which the second second has been begun.
    timeline = programme(tmp_path, [Scene("a", [40])])
    render_draft(timeline, (), PLAIN, events.append, open_tools=with_tools(NumberTools()), cancelled=lambda: False)
    told = [(event.done, event.total) for event in events if event.stage == "sound"]
    assert told[-1] == (2, 2)


def test_the_last_run_file_of_another_kind_does_no_harm(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    draft(timeline)
    (tmp_path / ".assembler" / "parts" / "last-run.json").write_text("[1, 2]")
    assert draft(timeline).made == 0


def test_real_footage_comes_through_pieces_of_one_shot_picture_by_picture(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The real painter, kept open from piece to piece, and opened anew where a piece is kept."""
    from assembler.media.probe import probe
    from assembler.storyboard import read_storyboard
    from assembler.timeline.resolve import resolve

    monkeypatch.setitem(plan.PIECES_S, "draft", Fraction(1, 2))
    (tmp_path / "footage").mkdir()
    for name, first in (("one", 0), ("two", 500)):
        numbered = range(first, first + 120)
        clip = tmp_path / "footage" / f"{name}.mp4"
        write_clip(clip, pictures=numbered, rate=60, size=(320, 180), options={"g": "30"})
    storyboard = read_storyboard(
        "storyboard: 1\ntitle: pieces\ncanvas: {size: 320x180, rate: 30}\n"
        "captures: {one: {file: footage/one.mp4}, two: {file: footage/two.mp4}}\nsegments:\n"
        "  - {id: a, lasts: 60 f, show: {full: {capture: one, label: false}}}\n"
        "  - {id: b, lasts: 45 f, show: {full: {capture: two, from: 0.5 s, label: false}}}\n",
        "storyboard.yaml",
    )
    captures = {name: probe(tmp_path / "footage" / f"{name}.mp4") for name in ("one", "two")}
    timeline, findings = resolve(storyboard, tmp_path, captures, {})
    assert not findings
    options = DraftOptions(marks=False, settings=QUICK)
    result = render_draft(timeline, (), options, mix_sound=Quiet)
    # Source: arithmetic: 60 pictures a second shown at 30 frames a second: every second one.
    expected = [*range(0, 120, 2), *range(530, 620, 2)]
    assert (len(result.parts), result.made) == (7, 2)  # parts, and the two shots they make up
    assert numbers(result.path) == expected
    result.parts[1].path.unlink()
    result.parts[5].path.unlink()
    again = render_draft(timeline, (), options, mix_sound=Quiet)
    assert [part.state == "made" for part in again.parts] == [number in (1, 5) for number in range(7)]
    assert numbers(again.path) == expected


@pytest.mark.parametrize("name", ["footage/film.mp4", "footage/../footage/film.mp4", "link.mp4"])
def test_a_draft_is_never_written_over_a_capture(tmp_path: Path, name: str) -> None:
    timeline = programme(tmp_path, SCENES)
    film = tmp_path / "footage" / "film.mp4"
    before = film.read_bytes()
    (tmp_path / "link.mp4").symlink_to(film)
    with pytest.raises(UsageError, match="a file that the storyboard uses"):
        draft(timeline, options=replace(PLAIN, out=tmp_path / name))
    assert film.read_bytes() == before
    with pytest.raises(UsageError):
        plan_draft(timeline, (), replace(PLAIN, out=tmp_path / name))


def test_the_drafts_usual_place_is_refused_when_a_capture_lies_there(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    out = tmp_path / "out" / "draft.mp4"
    out.parent.mkdir()
    (tmp_path / "footage" / "film.mp4").rename(out)
    info = replace(timeline.captures["film"], path=out)
    with pytest.raises(UsageError, match="uses"):
        draft(replace(timeline, captures={"film": info}))


def test_a_draft_whose_caption_file_would_take_the_place_of_a_source_is_refused(tmp_path: Path) -> None:
    timeline = programme(tmp_path, [Scene("a", [30], scratch=[(0, 48_000)])])
    take = tmp_path / "film.srt"
    take.write_bytes(b"sound")
    placed = timeline.segments[0]
    line = replace(placed.lines[0], speech=replace(placed.lines[0].speech, kind="take", source=take))
    timeline = replace(timeline, segments=(replace(placed, lines=(line,)),))
    with pytest.raises(UsageError, match=r"film\.srt is a file that the storyboard uses"):
        draft(timeline, options=replace(PLAIN, out=tmp_path / "film.mp4"))


@pytest.mark.parametrize(
    ("name", "words"),
    [("out", "is a folder"), ("draft", "does not end in .mp4"), ("draft.srt", "does not end in .mp4"),
     ("storyboard.yaml", "does not end in .mp4")],
)  # fmt: skip
def test_a_place_that_is_not_an_mp4_file_is_refused_before_anything_is_rendered(
    tmp_path: Path, name: str, words: str
) -> None:
    (tmp_path / "out").mkdir()
    timeline = programme(tmp_path, SCENES)
    tools = NumberTools()
    with pytest.raises(UsageError, match=words):
        draft(timeline, options=replace(PLAIN, out=tmp_path / name), tools=tools)
    assert not tools.opened
