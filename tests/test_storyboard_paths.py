"""Paths in a storyboard: odd names work, and nothing outside the project folder is ever reached."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from assembler.errors import Place, StoryboardError
from assembler.storyboard import resolve_inside

HERE = Place("story.yaml", 4, 7)

ODD = [
    "a:b.mp4",
    "im%d.png",
    "two words.mp4",
    "'single' \"double\".mp4",
    "🦆.mp4",
    "Zażółć.mp4",
    "-y.mp4",
    "--help",
    "#1 [x] (y) & $HOME ~.mp4",
    "a*?.mp4",
    ".hidden",
    "..double",
    "con.mp4",
    "file:x.mp4",
    "deep/er/a.mp4",
    "./a.mp4",
    "deep/../a.mp4",
    "deep//a.mp4",
]


@pytest.mark.skipif(os.name == "nt", reason="Windows forbids most of these names itself")
@pytest.mark.parametrize("written", ODD)
def test_odd_names_are_only_names(tmp_path: Path, written: str) -> None:
    target = tmp_path / written
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(b"x")
    found = resolve_inside(tmp_path, written, HERE)
    assert found.is_absolute()
    assert found.samefile(target)


@pytest.mark.parametrize(
    "written",
    [
        "/etc/passwd",
        "//server/share/a.mp4",
        "../outside.mp4",
        "deep/../../outside.mp4",
        "..",
        ".",
        "",
        "  ",
        "C:/a.mp4",
        "C:\\a.mp4",
        "\\\\host\\x",
        "..\\outside.mp4",
        "https://example.org/a.mp4",
        "file:///etc/passwd",
        "concat://a|b",
        "a\0b.mp4",
        "a\nb.mp4",
        "\x1b[31m.mp4",
        "a" * 2000,
    ],
)
def test_what_could_lead_outside_is_refused_with_its_place(tmp_path: Path, written: str) -> None:
    (tmp_path / "outside.mp4").write_bytes(b"x")
    inside = tmp_path / "project"
    inside.mkdir()
    with pytest.raises(StoryboardError) as caught:
        resolve_inside(inside, written, HERE)
    (problem,) = caught.value.problems
    assert problem.place == HERE
    assert problem.mend
    assert not any(ord(c) < 32 for c in problem.what)


@pytest.fixture
def project(tmp_path: Path) -> Path:
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside" / "a.mp4").write_bytes(b"x")
    folder = tmp_path / "project"
    folder.mkdir()
    (folder / "quay.mp4").write_bytes(b"x")
    return folder


@pytest.mark.skipif(os.name == "nt", reason="links need a privilege there")
def test_links_may_not_lead_outside(project: Path) -> None:
    (project / "file.mp4").symlink_to("../outside/a.mp4")
    (project / "folder").symlink_to("../outside")
    for written in ("file.mp4", "folder/a.mp4"):
        with pytest.raises(StoryboardError, match="outside the project folder through a link"):
            resolve_inside(project, written, HERE)


@pytest.mark.skipif(os.name == "nt", reason="links need a privilege there")
def test_links_may_lead_to_folders_that_are_allowed(
    project: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    outside = tmp_path / "outside"
    (project / "file.mp4").symlink_to("../outside/a.mp4")
    monkeypatch.setenv("ASSEMBLER_FOOTAGE", os.pathsep.join(["/nowhere/at/all", str(outside)]))
    assert resolve_inside(project, "file.mp4", HERE) == outside / "a.mp4"
    for other in ("", "outside", str(outside) + "x", str(outside / "deeper")):
        monkeypatch.setenv("ASSEMBLER_FOOTAGE", other)
        with pytest.raises(StoryboardError, match=r"allow its folder with ASSEMBLER_FOOTAGE=.*outside"):
            resolve_inside(project, "file.mp4", HERE)


@pytest.mark.skipif(os.name == "nt", reason="links need a privilege there")
def test_links_inside_and_a_linked_project_folder_are_fine(project: Path, tmp_path: Path) -> None:
    (project / "again.mp4").symlink_to("quay.mp4")
    (tmp_path / "link").symlink_to("project")
    assert resolve_inside(tmp_path / "link", "again.mp4", HERE) == (project / "quay.mp4").resolve()


@pytest.mark.skipif(os.name == "nt", reason="links need a privilege there")
def test_links_in_a_circle_are_refused(project: Path) -> None:
    (project / "a").symlink_to("b")
    (project / "b").symlink_to("a")
    with pytest.raises(StoryboardError) as caught:
        resolve_inside(project, "a", HERE)
    assert caught.value.problems[0].place == HERE


def test_a_folder_is_not_a_file_nor_a_file_a_folder(project: Path) -> None:
    (project / "takes").mkdir()
    with pytest.raises(StoryboardError, match="is a folder"):
        resolve_inside(project, "takes", HERE)
    with pytest.raises(StoryboardError, match="not a"):
        resolve_inside(project, "quay.mp4", HERE, kind="folder")
    with pytest.raises(StoryboardError, match="there is no file"):
        resolve_inside(project, "quay.mp4/x", HERE)
    assert resolve_inside(project, "takes", HERE, kind="folder") == (project / "takes").resolve()
    assert resolve_inside(project, ".", HERE, kind="folder") == project.resolve()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes there")
def test_a_pipe_is_refused_without_waiting(project: Path) -> None:
    os.mkfifo(project / "pipe.mp4")
    with pytest.raises(StoryboardError, match="not a regular file"):
        resolve_inside(project, "pipe.mp4", HERE)


def test_a_missing_file_suggests_its_neighbour(project: Path) -> None:
    with pytest.raises(StoryboardError) as caught:
        resolve_inside(project, "qay.mp4", HERE)
    assert str(caught.value) == (
        "story.yaml:4:7: error: there is no file 'qay.mp4'\n  mend: did you mean 'quay.mp4'?"
    )


@pytest.mark.parametrize(
    ("written", "meant"),
    [("footage/qay.mp4", "footage/quay.mp4"), ("Footage/QUAY.mp4", "footage/quay.mp4"),
     ("fotage/quay.mp4", "footage/quay.mp4"), ("footage/quay.MP4", "footage/quay.mp4")],
)  # fmt: skip
def test_the_file_that_was_meant_is_suggested_with_the_path_to_write(tmp_path: Path, written: str, meant: str) -> None:
    (tmp_path / "footage").mkdir()
    (tmp_path / "footage" / "quay.mp4").write_bytes(b"x")
    if (tmp_path / written).exists():
        pytest.skip("this file system takes large and small letters for the same")
    with pytest.raises(StoryboardError, match=f"did you mean '{meant}'"):
        resolve_inside(tmp_path, written, None)
    resolve_inside(tmp_path, meant, None)
