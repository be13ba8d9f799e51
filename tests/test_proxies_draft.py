"""Drafts by proxy: the same draft whatever lay on disk before, and the original wherever it shows more."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from media_maker import BT709, number_in, write_clip
from render_maker import pictures

from assembler.media import proxies as media_proxies
from assembler.media import proxy_writing
from assembler.media.proxies import pays
from assembler.media.reader import PaneShape
from assembler.media.writer import EncoderSettings
from assembler.picture.panes import quick_shape
from assembler.prepare import prepare
from assembler.render import proxies as render_proxies
from assembler.render.draft import DraftOptions, DraftResult, part_jobs, render_draft
from assembler.render.jobs import job_key

SIDE_BY_SIDE = "side-by-side: [{capture: a}, {capture: b, from: 4 f}]"
OPTIONS = DraftOptions(
    size=(640, 360),
    marks=False,
    burn_captions=False,
    settings=EncoderSettings(preset="ultrafast"),
    proxies=True,
    workers=1,
)


@pytest.fixture(autouse=True)
def every_capture_pays(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if small clips cost as much to decode as large captures do; pieces of few pictures."""
    monkeypatch.setattr(render_proxies, "pays", lambda info: info.width >= 1920)
    for module in (media_proxies, proxy_writing):
        monkeypatch.setattr(module, "PIECE", 8)


@pytest.fixture(scope="module")
def footage(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("footage")
    for name, first in (("a", 0), ("b", 100)):
        write_clip(folder / f"{name}.mp4", pictures=range(first, first + 24), rate=30, size=(1920, 1080), colour=BT709)
    return folder


def project(folder: Path, footage: Path, show: str = SIDE_BY_SIDE, words: str = "Words.") -> Path:
    """A project of one segment of 16 frames."""
    if not folder.exists():
        shutil.copytree(footage, folder / "footage")
    text = f"""\
storyboard: 1
title: Test
canvas: {{size: 640x360, rate: 30}}
captures: {{a: {{file: footage/a.mp4}}, b: {{file: footage/b.mp4}}}}
narration: {{voice: none}}
segments:
  - {{id: only, lasts: 16 f, say: "{words}", show: {{{show}}}}}
"""
    (folder / "storyboard.yaml").write_text(text, encoding="utf-8")
    return folder


def draft(folder: Path, **more: object) -> DraftResult:
    prepared = prepare(folder)
    assert not prepared.blocking
    return render_draft(prepared.timeline, prepared.cues, replace(OPTIONS, **more), fonts=prepared.fonts)  # type: ignore[arg-type]


def pieces(folder: Path) -> list[str]:
    return sorted(path.name for path in (folder / ".assembler" / "proxies").glob("*/*.mp4"))


def test_a_draft_by_proxy_shows_the_pictures_that_it_would_without(tmp_path: Path, footage: Path) -> None:
    result = draft(project(tmp_path / "p", footage))
    assert pieces(tmp_path / "p") == ["00000000.mp4"] * 2 + ["00000008.mp4"] * 2 + ["00000016.mp4"]
    shown = pictures(result.path)
    rows = np.flatnonzero(np.abs(shown[0].y[:, :318].astype(int) - 32).max(axis=1) > 8)  # not the ground
    top, bottom = int(rows[0]), int(rows[-1]) + 1
    assert (bottom - top, len(shown)) == (180, 16)
    for number, picture in enumerate(shown):
        assert number_in(picture.y[top:bottom, :318]) == number
        assert number_in(picture.y[top:bottom, 322:]) == 104 + number


def test_an_edited_draft_is_the_draft_of_a_clean_build(tmp_path: Path, footage: Path) -> None:
    edited = project(tmp_path / "edited", footage)
    draft(edited)
    draft(project(edited, footage, words="Other words."))
    again = draft(project(edited, footage, show="side-by-side: [{capture: a, from: 2 f}, {capture: b}]"))
    fresh = draft(project(tmp_path / "fresh", footage, show="side-by-side: [{capture: a, from: 2 f}, {capture: b}]"))
    assert [part.key for part in again.parts] == [part.key for part in fresh.parts]
    assert again.parts[0].path.read_bytes() == fresh.parts[0].path.read_bytes()
    shutil.rmtree(edited / ".assembler" / "proxies")
    kept = again.parts[0].path.read_bytes()
    assert draft(edited, anew=True).parts[0].path.read_bytes() == kept


def test_refused_proxies_are_not_made_and_give_other_parts(tmp_path: Path, footage: Path) -> None:
    folder = project(tmp_path / "p", footage)
    without = draft(folder, proxies=False)
    assert pieces(folder) == []
    by_proxy = draft(folder)
    assert without.parts[0].key != by_proxy.parts[0].key
    assert draft(folder, proxies=False).parts[0].state == "kept"


def test_a_master_never_reads_by_proxy(tmp_path: Path, footage: Path) -> None:
    prepared = prepare(project(tmp_path / "p", footage))
    jobs = part_jobs(prepared.timeline, prepared.cues, replace(OPTIONS, purpose="master"))
    assert [job.by_proxy for job in jobs] == [()]
    drafts = part_jobs(prepared.timeline, prepared.cues, OPTIONS)
    assert [job.by_proxy for job in drafts] == [("a", "b")]
    # Nor is anything of it scaled the quick way, so that the two share no part.
    assert [job.quick for job in jobs] == [False]
    assert [job.quick for job in drafts] == [True]
    same = part_jobs(prepared.timeline, prepared.cues, replace(OPTIONS, proxies=False))
    assert job_key(same[0]) != job_key(replace(same[0], quick=False))


def test_only_what_is_scaled_down_far_is_scaled_the_quick_way(tmp_path: Path, footage: Path) -> None:
    info = prepare(project(tmp_path / "p", footage)).timeline.captures["a"]
    for shape, expected in (
        (PaneShape(640, 360, None, "lanczos"), "area"),
        (PaneShape(960, 540, None, "bicubic"), "area"),
        (PaneShape(962, 540, None, "lanczos"), "lanczos"),
        (PaneShape(640, 360, None, "nearest"), "nearest"),
        (PaneShape(640, 360, (0, 0, 960, 540), "lanczos"), "lanczos"),
    ):
        assert quick_shape(shape, info).scaling == expected


@pytest.mark.parametrize(
    "show",
    [
        "difference: [{capture: a}, {capture: b}]",
        "full: {capture: a, scaling: nearest}",
        "full: {capture: a, fit: actual}",
        "full: {capture: a, crop: {x: 0, y: 0, w: 480, h: 270}}",  # magnified beyond the proxy
        "full: {capture: a, crop: {x: 1, y: 0, w: 1440, h: 810}}",  # between the proxy's pixels
    ],
)
def test_the_original_is_read_where_it_shows_more(tmp_path: Path, footage: Path, show: str) -> None:
    folder = project(tmp_path / "p", footage, show=show)
    draft(folder)
    assert pieces(folder) == []


def test_the_choice_does_not_ask_what_lies_on_disk(tmp_path: Path, footage: Path) -> None:
    folder = project(tmp_path / "p", footage)
    prepared = prepare(folder)
    before = part_jobs(prepared.timeline, prepared.cues, OPTIONS)
    draft(folder)
    after = part_jobs(prepared.timeline, prepared.cues, OPTIONS)
    assert [job.by_proxy for job in before] == [job.by_proxy for job in after]
    info = prepared.timeline.captures["a"]
    assert pays(info) == pays(info)


def test_a_piece_that_was_damaged_is_made_anew(tmp_path: Path, footage: Path) -> None:
    folder = project(tmp_path / "p", footage)
    whole = draft(folder).parts[0].path.read_bytes()
    victim = next((folder / ".assembler" / "proxies").glob("*/00000008.mp4"))
    victim.write_bytes(victim.read_bytes()[:400])
    assert draft(folder, anew=True).parts[0].path.read_bytes() == whole
