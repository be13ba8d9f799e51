"""What the cache holds, and pruning it: the longest unused first, and never what the programme is made from."""

from __future__ import annotations

import json
import os
import shutil
import time
from pathlib import Path

import pytest
from crash_maker import SEGMENTS, make_project

from assembler.cli.main import main
from assembler.errors import UsageError
from assembler.prepare import prepare
from assembler.render import holdings as room
from assembler.render.draft import DraftOptions, plan_draft, render_draft
from assembler.render.holdings import holdings, limit_bytes, parse_size
from assembler.render.lock import only_run


@pytest.fixture(scope="module")
def drafted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    project = make_project(tmp_path_factory.mktemp("tidy") / "project")
    assert main(["draft", str(project), "--workers", "1"]) == 0
    return project


@pytest.fixture
def project(drafted: Path, tmp_path: Path) -> Path:
    """A drafted project whose cache holds older things, too, each of 1000 bytes and a day older than the next."""
    folder = Path(shutil.copytree(drafted, tmp_path / "project"))
    cache = folder / ".assembler"
    names = [
        *("parts/" + 40 * "0" + ".mp4", "voice/older.f32", "sound/older.npz", "sound/stems/older.f32"),
        *("measure/older/part-00000000.npz", "proxies/older/00000000.mp4", "parts/" + 40 * "1" + ".mp4"),
    ]
    for days, name in enumerate(names[::-1], start=2):
        path = cache / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(bytes(1000))
        age(path, days)
    return folder


def age(path: Path, days: float) -> None:
    then = time.time() - days * 86_400
    os.utime(path, (then, then))


def told(capsys: pytest.CaptureFixture[str], *options: str) -> dict[str, object]:
    capsys.readouterr()
    assert main(["tidy", "--json", *options]) == 0
    found: dict[str, object] = json.loads(capsys.readouterr().out)
    return found


def files(project: Path) -> set[str]:
    cache = project / ".assembler"
    return {path.relative_to(cache).as_posix() for path in cache.rglob("*") if path.is_file()}


def test_it_says_what_there_is_by_kind(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = told(capsys, str(project), "--dry-run")
    kinds = found["kinds"]
    assert isinstance(kinds, dict)
    assert kinds["parts"]["count"] == SEGMENTS + 2
    assert kinds["voices"] == {"count": 1, "bytes": 1000, "in_use_bytes": 0}
    assert kinds["measurements"]["count"] == kinds["proxies"]["count"] == 1
    assert sum(kind["bytes"] for kind in kinds.values()) == found["bytes"] == sum(
        (project / ".assembler" / name).stat().st_size for name in files(project)
    )  # fmt: skip
    capsys.readouterr()
    assert main(["tidy", str(project), "--dry-run"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0].split()[:2] == ["parts", "7"] and said[-1].startswith("would go: 0 things, 0 B; left: ")


def test_the_longest_unused_go_first_until_the_rest_fits(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = files(project)
    whole = told(capsys, str(project), "--dry-run")["bytes"]
    assert isinstance(whole, int)
    found = told(capsys, str(project), "--to", str(whole - 2500))
    # Source: arithmetic: each of the old ones has 1000 bytes, so three have to go.
    gone = [one["path"] for one in found["removed"]]  # type: ignore[attr-defined]
    assert gone == ["parts/" + 40 * "0" + ".mp4", "voice/older.f32", "sound/older.npz"]
    assert before - files(project) == set(gone)


def test_nothing_that_is_in_use_goes_even_to_nothing(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    in_use = {path for path in files(project) if "older" not in path and "0" * 40 not in path and "1" * 40 not in path}
    for path in (project / ".assembler" / "parts").glob("*.mp4"):
        age(path, 30)  # old, and in use all the same
    found = told(capsys, str(project), "--to", "0", "--dry-run")
    assert files(project) > in_use
    again = told(capsys, str(project), "--to", "0")
    assert again["removed"] == found["removed"]
    assert files(project) - {"lock"} == in_use - {"lock"}
    prepared = prepare(project)
    assert {part.state for part in plan_draft(prepared.timeline, prepared.cues, DraftOptions())} == {"kept"}
    assert told(capsys, str(project), "--to", "0")["removed"] == []


def test_parts_that_an_edited_storyboard_uses_again_stay_and_the_last_drafts_too(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = project / "storyboard.yaml"
    first, parts = path.read_text(), set((project / ".assembler" / "parts").glob("*.mp4"))
    path.write_text(first.replace("from: 30 f", "from: 45 f"))
    assert main(["draft", str(project), "--workers", "1"]) == 0
    path.write_text(first)
    told(capsys, str(project), "--to", "0")
    left = set((project / ".assembler" / "parts").glob("*.mp4"))
    assert {part for part in parts if set(part.stem) not in ({"0"}, {"1"})} < left
    assert len(left) == SEGMENTS + 1


def test_nothing_goes_while_a_run_holds_the_lock(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = files(project)
    with only_run(project / ".assembler"):
        assert main(["tidy", str(project), "--to", "0"]) == 2
        assert "another run is working" in capsys.readouterr().err
        told(capsys, str(project), "--to", "0", "--dry-run")
    assert files(project) == before


def test_what_a_run_elsewhere_left_goes_once_it_stands(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cache = project / ".assembler"
    old, new = cache / "voice" / "a.0123.partial.f32", cache / "measure" / "older" / "part.77.partial.npz"
    for path in (old, new):
        path.write_bytes(b"half")
    age(old, 1)
    assert [one["path"] for one in told(capsys, str(project))["removed"]] == ["voice/a.0123.partial.f32"]  # type: ignore[attr-defined]
    assert new.exists()


def test_a_broken_storyboard_keeps_what_takes_long_to_make(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (project / "storyboard.yaml").write_text("storyboard: 1\nsegments: [")
    before = files(project)
    told(capsys, str(project), "--to", "0")
    parts = {f"parts/{40 * digit}.mp4" for digit in "01"}
    assert before - files(project) == {*parts, "sound/older.npz", "sound/stems/older.f32"}


def test_a_whole_draft_keeps_to_the_limit_and_a_piece_does_not(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(room.LIMIT_VARIABLE, "1K")
    prepared = prepare(project)
    piece = DraftOptions(only="s1", out=project / "out" / "piece.mp4")
    render_draft(prepared.timeline, prepared.cues, piece, cancelled=lambda: False)
    assert (project / ".assembler" / "voice" / "older.f32").exists()
    result = render_draft(prepared.timeline, prepared.cues, DraftOptions(), cancelled=lambda: False)
    assert result.made == 0
    assert not (project / ".assembler" / "voice" / "older.f32").exists()
    assert all(part.path.exists() for part in result.parts)


def test_sizes_are_read_and_others_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: IEC 80000-13: 1 KiB is 1024 bytes; units without the i are taken for the same here.
    for text, size in (("0", 0), ("1K", 1024), ("1.5 GiB", 3 << 29), ("800M", 800 << 20), ("2g", 2 << 30), ("7", 7)):
        assert parse_size(text, "--to") == size
    for text in ("", "-1", "much", "1e3", "1 KK", "10 %"):
        with pytest.raises(UsageError, match="is not a size"):
            parse_size(text, "--to")
    monkeypatch.delenv(room.LIMIT_VARIABLE, raising=False)
    assert 0 < limit_bytes(tmp_path / "none") <= min(10 << 30, shutil.disk_usage(tmp_path).total // 10)
    monkeypatch.setenv(room.LIMIT_VARIABLE, "3G")
    assert limit_bytes(tmp_path) == 3 << 30


def test_a_project_without_a_cache_has_nothing_to_tidy(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "storyboard.yaml").write_text("storyboard: 1\n")
    found = told(capsys, str(tmp_path))
    assert (found["bytes"], found["removed"]) == (0, [])
    assert not holdings(tmp_path / ".assembler") and not (tmp_path / ".assembler").exists()
