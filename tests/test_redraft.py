"""What an edit costs: as few pictures as it can, and never another result than a clean build's."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from redraft_maker import BOARD, OPTIONS, Board, Project, at_ntsc, hashes

from assembler.cli.main import main
from assembler.render import plan
from assembler.sound.mix import mix
from assembler.sound.stems import Stems
from assembler.sound.store import kept_stems


@pytest.fixture(scope="module")
def drafted(tmp_path_factory: pytest.TempPathFactory) -> Project:
    project = Project(tmp_path_factory.mktemp("redraft") / "project")
    project.draft()
    return project


def renamed(board: Board) -> Board:
    """Every id is another one; the names that are drawn stay."""
    files = {"x": "a.mp4", "y": "b.mp4"}
    known = {"a": "x", "b": "y"}
    scenes = tuple(
        replace(
            scene,
            id=f"new-{scene.id}",
            show=tuple(known[name] for name in scene.show),
            hear=known[scene.hear] if scene.hear else None,
        )
        for scene in board.scenes
    )
    return replace(board, scenes=scenes, files=files, subjects={"x": "s", "y": "t"})


# The edit, the segments of which pictures are made, and what a person is told of it.
# Source: what each edit changes on the screen, by the storyboard's meaning; nothing else may be made.
EDITS: dict[str, tuple[Callable[[Board], Board], set[str], str]] = {
    "nothing": (lambda b: b, set(), ""),
    "moved": (lambda b: b.moved(3, 1), set(), ""),
    "segment renamed": (lambda b: b.with_scene(1, id="other"), set(), ""),
    "title": (lambda b: replace(b, title="Another"), set(), ""),
    "loudness of a capture": (lambda b: b.with_scene(0, gain_db=-6), set(), ""),
    "sound off": (lambda b: b.with_scene(2, hear=None), set(), ""),
    "one word": (lambda b: b.with_scene(1, say="Then two machines are heard at once."), {"two"}, "caption 2 changed"),
    "trim": (lambda b: b.with_scene(2, start_s=0.5), {"three"}, "the moment shown of b changed"),
    "label": (lambda b: replace(b, note="laptop"), {"one", "two", "four"}, "the label of ash changed"),
    "graph": (lambda b: b.with_scene(3, graphs=True), {"four"}, "the graphs changed"),
    "dissolve": (lambda b: b.with_scene(1, dissolve=True), {"two"}, "the dissolve or fade changed"),
}


@pytest.mark.parametrize("name", EDITS)
def test_an_edit_makes_the_fewest_shots_and_says_why(drafted: Project, name: str) -> None:
    edit, made, why = EDITS[name]
    drafted.board = edit(BOARD)
    shots = drafted.plan()
    assert {shot.name.split(" shot ")[0] for shot in shots if shot.state == "made"} == made
    assert all(why in shot.why for shot in shots if shot.state == "made")


def test_any_id_can_be_renamed(drafted: Project) -> None:
    drafted.board = renamed(BOARD)
    assert {shot.state for shot in drafted.plan()} == {"kept"}


@pytest.mark.parametrize(
    ("more", "edit", "made"),
    [
        ({"counting": "programme"}, lambda b: b.moved(3, 1), {"two", "three", "four"}),
        ({"counting": "id"}, lambda b: b.moved(3, 1), set()),
        ({"counting": "id"}, lambda b: b.with_scene(1, id="other"), {"other"}),
        ({"marks": False}, lambda b: b.with_scene(0, id="other").moved(0, 2), set()),
    ],
)
def test_what_marks_count_decides_what_an_edit_costs(tmp_path: Path, more, edit, made: set[str]) -> None:  # type: ignore[no-untyped-def]
    project = Project(tmp_path / "project")
    options = replace(OPTIONS, **more)
    project.draft(options)
    project.board = edit(BOARD)
    found = {shot.name.split(" shot ")[0] for shot in project.plan(options) if shot.state == "made"}
    assert found == made


def test_other_words_for_the_same_time_cost_no_picture_where_none_are_burnt_in(tmp_path: Path) -> None:
    options = replace(OPTIONS, burn_captions=False)
    project = Project(tmp_path / "project", BOARD.with_scene(1, lasts="3 s"))
    project.draft(options)
    project.board = project.board.with_scene(1, say="Then both machines appear together.")
    assert {shot.state for shot in project.plan(options)} == {"kept"}


def test_a_touched_file_costs_nothing_and_a_changed_one_all_that_show_it(tmp_path: Path) -> None:
    project = Project(tmp_path / "project")
    project.draft()
    for path in (project.folder / "footage").iterdir():
        os.utime(path, (1, 1))
    assert {shot.state for shot in project.plan()} == {"kept"}
    project.other_footage()
    told = {shot.name: shot.why for shot in project.plan() if shot.state == "made"}
    assert set(told) == {"two shot 1", "three shot 1"}
    assert all("capture b changed" in why for why in told.values())


def test_a_corrected_caption_costs_the_pieces_it_lies_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(plan.PIECES_S, "draft", 1)
    say = "The first words are said here by someone who has much to tell. And after all of them come a good many more."
    project = Project(tmp_path / "project", BOARD.with_scene(0, say=say))
    captions = project.write_captions()
    project.draft()
    text = captions.read_text(encoding="utf-8")
    captions.write_text(text.replace("someone", "anyone", 1), encoding="utf-8")
    made = [shot for shot in project.plan() if shot.state == "made"]
    assert [shot.name for shot in made] == ["one shot 1"]
    assert made[0].why == "caption 1 changed"
    assert 0 < made[0].frames_to_make < made[0].frames
    project.board = project.board.moved(0, 2)
    assert sum(shot.frames_to_make for shot in project.plan()) == made[0].frames_to_make


def edited(board: Board, edit: tuple[str, int, int]) -> Board:
    """An edit drawn by chance: its kind, where, and how."""
    kind, place, how = edit
    place %= len(board.scenes)
    scene = board.scenes[place]
    words = ("first", "second", "harbour", "light")
    match kind:
        case "move":
            return board.moved(place, how % len(board.scenes))
        case "reword":
            return board.with_scene(place, say=f"{scene.say.rsplit(' ', 1)[0]} {words[how % 4]}.")
        case "rename":
            return board.with_scene(place, id=f"{scene.id.split('-')[0]}-{how}")
        case "trim":
            return board.with_scene(place, start_s=how / 10)
        case "label":
            return replace(board, note=words[how % 4])
        case "graph":
            return board.with_scene(place, graphs=not scene.graphs)
        case "dissolve":
            return board.with_scene(place, dissolve=not scene.dissolve and place > 0)
    return board.with_scene(place, gain_db=-how)


KINDS = ("move", "reword", "rename", "trim", "label", "graph", "dissolve", "loudness", "captions", "capture")
STEPS = st.lists(st.tuples(st.sampled_from(KINDS), st.integers(0, 3), st.integers(0, 9)), min_size=1, max_size=4)


@settings(
    max_examples=3, deadline=None, database=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck)
)
@given(steps=STEPS, ntsc=st.booleans(), captions=st.booleans())
def test_after_any_edits_pictures_and_sound_are_those_of_a_clean_build(
    steps: list[tuple[str, int, int]], ntsc: bool, captions: bool
) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        project = Project(folder / "edited", at_ntsc(BOARD) if ntsc else BOARD)
        if captions:
            project.write_captions()
        project.draft()
        for step in steps:
            if step[0] == "capture":
                project.other_footage(("a.mp4", "b.mp4")[step[1] % 2])
            elif step[0] == "captions":
                file = project.folder / "captions" / "en.srt"
                if file.exists():
                    file.write_text(file.read_text("utf-8").replace("words", f"words{step[2]}", 1), "utf-8")
            else:
                board = edited(project.board, step)
                if len({scene.id for scene in board.scenes}) == len(board.scenes):
                    project.board = replace(board, scenes=(replace(board.scenes[0], dissolve=False), *board.scenes[1:]))
            last = project.draft()
        clean = project.copied_clean(folder / "clean").draft()
        assert clean.made == len(clean.shots)
        assert hashes(last.path) == hashes(clean.path)


@pytest.mark.parametrize("rate", ["30", "29.97"])
def test_a_moved_segment_makes_no_picture_wherever_it_goes(tmp_path: Path, rate: str) -> None:
    project = Project(tmp_path / "project", replace(BOARD, rate=rate))
    project.draft()
    for place in range(4):
        for to in range(4):
            project.board = replace(BOARD, rate=rate).moved(place, to)
            assert {shot.state for shot in project.plan()} == {"kept"}, (place, to)


def test_kept_sound_is_the_same_to_the_last_bit(tmp_path: Path) -> None:
    project = Project(tmp_path / "project")
    cache = tmp_path / "cache"
    timeline = project.prepared().timeline
    mixed = [
        np.concatenate(list(mix(timeline, stems=stems).blocks()))
        for stems in (Stems(None), kept_stems(cache), kept_stems(cache))
    ]
    assert np.abs(mixed[0]).max() > 0.01
    assert mixed[0].tobytes() == mixed[1].tobytes() == mixed[2].tobytes()
    stored = sorted((cache / "sound" / "stems").glob("*.f32"))
    assert len(stored) == 3  # one a segment that hears something
    # A stem that was cut off is decoded anew, and one that is too short for a longer segment too.
    stored[0].write_bytes(stored[0].read_bytes()[:800])
    assert np.concatenate(list(mix(timeline, stems=kept_stems(cache)).blocks())).tobytes() == mixed[0].tobytes()


def test_a_dry_run_prints_what_is_kept_and_made_and_how_much(
    drafted: Project, capsys: pytest.CaptureFixture[str]
) -> None:
    drafted.board = EDITS["one word"][0](BOARD)
    drafted.prepared()
    before = sorted(path.name for path in (drafted.folder / ".assembler" / "parts").iterdir())
    command = ["draft", str(drafted.folder), "--dry-run", "--marks", "programme"]
    assert main([*command, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert {row["part"] for row in told["parts"]} == {f"{scene.id} shot 1" for scene in BOARD.scenes}
    assert told["frames"] == sum(row["frames"] for row in told["parts"])
    assert told["frames_to_make"] == sum(row["frames_to_make"] for row in told["parts"])
    assert main(command) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[-1].endswith("nothing was written")
    assert all(line.startswith(("make", "keep")) for line in lines[:-1])
    assert sorted(path.name for path in (drafted.folder / ".assembler" / "parts").iterdir()) == before


def test_marks_and_no_marks_exclude_each_other(drafted: Project, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["draft", str(drafted.folder), "--dry-run", "--marks", "id", "--no-marks"]) == 2
    assert "--no-marks" in capsys.readouterr().err


def test_a_draft_with_nothing_new_loads_no_library_it_does_not_need() -> None:
    code = (
        "import sys, assembler.cli.main, assembler.prepare, assembler.render.draft, assembler.render.tools, "
        "assembler.sound.mix; print([name for name in ('scipy', 'numba', 'moviepy', 'pydub') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
