"""How drafts are coded: by the least work that stays as near to what was drawn as more of it was before."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest

from assembler.media.join import join_parts
from assembler.media.planes import Planes
from assembler.media.writer import EncoderSettings, PartWriter, frame_planes
from assembler.render.draft import QUICK

WIDTH, HEIGHT, FRAMES = 320, 176, 60
BEFORE = EncoderSettings(preset="superfast", crf=22, lookahead=10)  # takes twice the time


def scene(seed: int) -> list[Planes]:
    """Soft shapes that drift over a still ground, with a little grain."""
    chance = np.random.default_rng(seed)
    coarse = np.kron(chance.uniform(40, 200, (HEIGHT // 16 + 8, WIDTH // 16 + 8)), np.ones((16, 16)))
    for axis in (0, 1):
        coarse = sum(np.roll(coarse, k, axis) for k in range(-6, 7)) / 13
    found = []
    for frame in range(FRAMES):
        luma = coarse[8 : 8 + HEIGHT, 8 : 8 + WIDTH].copy()
        luma[:, WIDTH // 2 :] = coarse[frame // 2 : frame // 2 + HEIGHT, frame : frame + WIDTH // 2]
        luma += chance.normal(0, 2, luma.shape)
        chroma = np.full((HEIGHT // 2, WIDTH // 2), 128, np.uint8)
        found.append(Planes(np.clip(luma, 16, 235).astype(np.uint8), chroma, chroma))
    return found


def written(path: Path, pictures: list[Planes], settings: EncoderSettings) -> Path:
    with PartWriter(path, width=WIDTH, height=HEIGHT, rate=Fraction(60), settings=settings) as writer:
        for picture in pictures:
            writer.write(picture)
    return path


def error(path: Path, pictures: list[Planes]) -> float:
    """Mean squared error of luma."""
    with av.open(str(path)) as container:
        shown = [frame_planes(frame, 8).y.astype(np.int32) for frame in container.decode(video=0)]
    return float(np.mean([np.square(a - b.y).mean() for a, b in zip(shown, pictures, strict=True)]))


@pytest.mark.parametrize("seed", [1, 2])
def moving(seed: int) -> list[Planes]:
    """The whole picture drifts by a part of a pixel, as a camera makes it, with grain that stays on what is shown."""
    wide = np.kron(np.random.default_rng(seed).uniform(40, 200, (HEIGHT // 8, WIDTH // 8)), np.ones((32, 32)))
    wide += np.random.default_rng(seed + 1).normal(0, 12, wide.shape)
    for axis in (0, 1):
        wide = sum(np.roll(wide, k, axis) for k in range(-6, 7)) / 13
    chroma = np.full((HEIGHT // 2, WIDTH // 2), 128, np.uint8)
    shown = (np.roll(wide, -3 * frame, 1)[::4, ::4] for frame in range(FRAMES))
    return [Planes(np.clip(luma, 16, 235).astype(np.uint8), chroma, chroma) for luma in shown]


@pytest.mark.parametrize("seed", [1, 2])
def test_drafts_are_as_close_to_what_was_drawn_for_up_to_three_times_the_bits(tmp_path: Path, seed: int) -> None:
    pictures = scene(seed)
    before, now = (written(tmp_path / f"{s.preset}.mp4", pictures, s) for s in (BEFORE, QUICK))
    # Source: benchmarks/draft_coders.py on a made pattern, film and two scenes of the demo: 1.7 to 3.1 times the bits.
    assert error(now, pictures) <= error(before, pictures)
    assert now.stat().st_size < 3 * before.stat().st_size


def test_without_pictures_that_lean_on_both_sides_a_draft_takes_far_more_bits(tmp_path: Path) -> None:
    pictures = moving(3)
    drafts = written(tmp_path / "drafts.mp4", pictures, QUICK)
    forward = written(tmp_path / "forward.mp4", pictures, replace(QUICK, between=0))
    assert forward.stat().st_size > 1.3 * drafts.stat().st_size


def test_all_pictures_of_a_draft_are_coded_by_one_quantiser(tmp_path: Path) -> None:
    path = written(tmp_path / "a.mp4", moving(4)[:12], QUICK)
    # Source: x264 itself writes what it was told into the first picture's notes.
    told = path.read_bytes()
    assert b"rc=cqp" in told and b" qp=25 " in told and b"b_adapt=0" in told


def test_the_same_pictures_give_the_same_bytes_and_parts_of_any_length_join(tmp_path: Path) -> None:
    pictures = scene(4)
    cuts = [(0, 1), (1, 3), (3, 8), (8, 60)]
    parts = [
        [written(tmp_path / f"{turn}-{first}.mp4", pictures[first:end], QUICK) for first, end in cuts] for turn in "ab"
    ]
    assert [path.read_bytes() for path in parts[0]] == [path.read_bytes() for path in parts[1]]
    assert join_parts(parts[0], tmp_path / "out.mp4", rate=Fraction(60), sound=None) == FRAMES
