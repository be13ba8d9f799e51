"""New pictures, stills, dark and hitches, against captures in which each was planted before encoding."""

from __future__ import annotations

import dataclasses
import importlib.util
import sys
import tracemalloc
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from media_maker import write_clip
from planted import Array, Bools, Coder, encode, plan, scene, shown, story

from assembler.errors import MediaError, UsageError
from assembler.measure import blocks, store
from assembler.measure.cadence import Inputs, between_cuts, beyond_repeats, design, p_new, two_heaps
from assembler.measure.features import COLUMN, NAMES, Notes, Watcher, joined
from assembler.measure.model import State
from assembler.measure.passes import new_watcher, notes_of
from assembler.measure.states import states
from assembler.measure.store import Measurement, Stopped, measure_capture
from assembler.measure.verdicts import cadence_of
from assembler.media.info import CaptureInfo
from assembler.media.luma import read_luma
from assembler.media.probe import probe

GOOD = Coder("libx264", "medium", 20)
COUNT = 100


@cache
def renders(name: str = "pan made5", speed: float = 1.3) -> Array:
    return scene(name, 145, speed=speed, seed=8)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("measured")


@cache
def one(folder: Path, kind: str, scene_name: str = "pan made5", coder: Coder = GOOD) -> tuple[Measurement, Bools, Path]:
    new = plan(kind, COUNT, seed=5)
    path = folder / f"{kind}-{scene_name}-{coder}.mp4".replace(" ", "_").replace("/", "")
    encode(path, shown(renders(scene_name), new), coder)
    return measure_capture(probe(path), folder / "measure"), new, path


KINDS = ("60", "30", "20", "40", "uneven", "drops", "hitches")


def test_every_planted_cadence_is_read_back(folder: Path) -> None:
    # Expected values: the acceptance set for this measure; P >= .999 and R >= .995 at up to crf 23 in motion.
    hit = false = missed = 0
    for kind in KINDS:
        result, new, _ = one(folder, kind)
        said = result.cadence.is_new
        hit += int((said & new).sum())
        false += int((said & ~new).sum())
        missed += int((~said & new).sum())
        assert result.cadence.reliable, kind
        assert np.all(result.cadence.state == State.MOVING), kind
    assert hit / (hit + false) >= 0.999
    assert hit / (hit + missed) >= 0.995


@pytest.mark.parametrize("coder", [Coder("libx264", "veryfast", 20, bits=10), Coder("libx265", "fast", 22)], ids=str)
def test_other_coders_and_ten_bits_give_the_same_verdicts(folder: Path, coder: Coder) -> None:
    result, new, _ = one(folder, "uneven", "pan made5", coder)
    assert np.array_equal(result.cadence.is_new, new)


def test_a_coder_that_leaves_out_too_much_is_refused_or_read_right(folder: Path) -> None:
    result, new, _ = one(folder, "uneven", "pan made5", Coder("libx265", "ultrafast", 22))
    sure = (result.cadence.p_new < 0.05) | (result.cadence.p_new > 0.95)
    assert np.array_equal(result.cadence.is_new[sure], new[sure])
    assert not result.cadence.reliable or np.array_equal(result.cadence.is_new, new)


@pytest.mark.skipif(importlib.util.find_spec("imageio_ffmpeg") is None, reason="imageio-ffmpeg is not installed")
def test_verdicts_are_no_worse_than_an_independent_programs(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: FFmpeg's mpdecimate at its defaults, on the same clips.
    monkeypatch.syspath_prepend(str(Path(__file__).parent.parent / "benchmarks"))
    from peer_mpdecimate import kept

    for kind in ("30", "40", "hitches"):
        result, new, path = one(folder, kind)
        theirs, ours = kept(path, COUNT), result.cadence.is_new
        assert (ours != new).sum() <= (theirs != new).sum() + 0.002 * COUNT
        assert (theirs & ~ours).sum() <= 1
    sys.modules.pop("peer_mpdecimate", None)


def test_a_session_is_told_apart_into_motion_stills_and_dark(folder: Path) -> None:
    pictures, new, truth = story(renders())
    path = encode(folder / "story.mp4", pictures, GOOD)
    cadence = measure_capture(probe(path), folder / "measure").cadence
    assert cadence.reliable
    still, dark = truth == State.STILL, truth == State.DARK
    # Expected values: what was planted, to the picture: a still begins with the picture that stands.
    assert (cadence.state[still] == State.STILL).all()
    assert (cadence.state[dark] == State.DARK).mean() >= 0.98
    hitch = slice(40, 52)
    assert np.all(cadence.state[hitch] == State.MOVING)
    assert not cadence.is_new[hitch].any()
    motion = np.r_[0:60, 204:284]
    motion = motion[truth[motion] == State.MOVING]
    assert np.array_equal(cadence.is_new[motion], new[motion])


def test_fades_are_motion(folder: Path) -> None:
    pictures, new, _ = story(renders())
    path = encode(folder / "fades.mp4", pictures[52:170], GOOD)
    said = measure_capture(probe(path), folder / "measure").cadence.is_new
    # The last few steps to black leave next to nothing of the picture; common practice, no source.
    fading_out, fading_in = slice(21, 45), slice(95, 117)
    assert (said[fading_out] == new[52:170][fading_out]).mean() >= 0.9
    assert (said[fading_in] == new[52:170][fading_in]).mean() >= 0.9


def test_a_hopeless_encode_is_refused_in_words(folder: Path) -> None:
    slow = renders("pan made5", 0.6)
    new = plan("30", COUNT)
    bad = encode(folder / "bad.mp4", shown(slow, new), Coder("libx264", "veryfast", 36))
    cadence = measure_capture(probe(bad), folder / "measure").cadence
    assert not cadence.reliable
    assert cadence.why.startswith("capture too compressed for frame counting")


def with_counter(pictures: list[Array]) -> list[Array]:
    """A number drawn over by the recorder, which changes with every refresh."""
    rng = np.random.default_rng(1)
    out = []
    for picture in pictures:
        picture = picture.copy()
        picture[300:340, 500:620] = np.kron(rng.integers(0, 2, (5, 10)) * 150 + 40, np.ones((8, 12)))
        out.append(picture)
    return out


def test_a_mask_hides_a_counter_that_changes_with_every_refresh(folder: Path) -> None:
    new = plan("30", COUNT)
    path = encode(folder / "counter.mp4", with_counter(list(shown(renders(), new))), GOOD)
    info = probe(path)
    bare = measure_capture(info, folder / "measure")
    masked = measure_capture(info, folder / "measure", masks=[(500, 300, 120, 40)])
    assert (bare.cadence.is_new != new).mean() > 0.3
    assert (masked.cadence.is_new != new).mean() < 0.02
    assert masked.key != bare.key
    with pytest.raises(UsageError, match="lies outside the picture"):
        measure_capture(info, folder / "measure", masks=[(600, 300, 120, 40)])


# --- what is kept ---


def forbidden(*_: object) -> None:
    raise AssertionError("the capture was read again")


def same(a: Measurement, b: Measurement) -> bool:
    fields = [f.name for f in dataclasses.fields(a.cadence)]
    return a.key == b.key and all(
        np.array_equal(np.asarray(getattr(a.cadence, f)), np.asarray(getattr(b.cadence, f)), equal_nan=f == "p_tear")
        for f in fields
    )


def test_a_measured_capture_is_not_read_again_wherever_it_lies(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    result, _, path = one(folder, "uneven")
    moved = tmp_path / "elsewhere.mp4"
    moved.write_bytes(path.read_bytes())
    monkeypatch.setattr(store, "notes_of", forbidden)
    assert same(measure_capture(probe(moved), folder / "measure"), result)


def test_a_stopped_measurement_goes_on_and_ends_the_same(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store, "PART", 30)
    whole, _, path = one(folder, "drops")
    info, seen = probe(path), []

    def count(done: int, total: int) -> None:
        seen.append((done, total))

    asked = iter(range(1000))
    with pytest.raises(Stopped):
        measure_capture(info, tmp_path, cancelled=lambda: next(asked) >= 70)
    assert len(list(tmp_path.rglob("part-*.npz"))) == 2
    firsts: list[int] = []

    def noting(info: CaptureInfo, watcher: Watcher, first: int = 0, proxy: Path | None = None) -> Iterator[Notes]:
        firsts.append(first)
        return notes_of(info, watcher, first, proxy)

    monkeypatch.setattr(store, "notes_of", noting)
    again = measure_capture(info, tmp_path, progress=count)
    assert firsts == [60]
    assert seen[-1] == (COUNT, COUNT) and seen[0][0] > 60
    assert np.array_equal(again.cadence.p_new, whole.cadence.p_new)
    assert np.array_equal(again.thumbs.luma, whole.thumbs.luma)
    assert not list(tmp_path.rglob("*.partial*")) and not list(tmp_path.rglob("state.npz"))


def test_a_damaged_result_is_made_again(folder: Path, tmp_path: Path) -> None:
    whole, _, path = one(folder, "20")
    info = probe(path)
    first = measure_capture(info, tmp_path)
    for damaged in (*tmp_path.rglob("part-*.npz"), *tmp_path.rglob("verdicts-*.npz")):
        damaged.write_bytes(damaged.read_bytes()[:1000])
    assert same(measure_capture(info, tmp_path), first)
    assert np.array_equal(first.cadence.p_new, whole.cadence.p_new)


def test_small_pictures_are_means_of_the_whole(folder: Path) -> None:
    result, _, path = one(folder, "60")
    luma = next(iter(read_luma(probe(path))))
    whole = luma.lines[:360, :640].astype(np.float64)
    assert result.thumbs.luma.shape == (COUNT, 18, 32)
    # Source: numpy's means over the same 20 x 20 squares.
    expected = whole.reshape(18, 20, 32, 20).mean((1, 3))
    assert np.abs(result.thumbs.luma[0] - expected).max() < 0.01
    assert abs(result.thumbs.mean_luma[0] - whole.mean()) < 0.01


def test_captures_too_small_to_measure_are_refused(tmp_path: Path) -> None:
    path = write_clip(tmp_path / "small.mp4", pictures=3, size=(62, 90))
    with pytest.raises(MediaError, match="too small to measure"):
        measure_capture(probe(path), tmp_path / "measure")


# --- the arithmetic, against numpy ---


@pytest.mark.parametrize(("kind", "largest"), [(np.uint8, 255), (np.uint16, 1023)])
def test_compiled_sums_equal_plain_ones(kind: type, largest: int) -> None:
    rng = np.random.default_rng(2)
    width, height = 150, 100
    cur, prev = (rng.integers(0, largest + 1, (height, width + 10)).astype(kind) for _ in range(2))
    half, sad, tex = (
        np.zeros((height // 2, width // 2), np.int16),
        np.zeros((25, 37), np.uint16),
        np.zeros((25, 37), np.uint16),
    )
    blocks.kernels()["strip_sums"](cur, prev, width, half, sad, tex)
    a, b = cur[:, :width].astype(np.int64), prev[:, :width].astype(np.int64)
    assert np.array_equal(half, a.reshape(50, 2, 75, 2).sum((1, 3)))
    assert np.array_equal(sad, np.abs(a - b)[:, :148].reshape(25, 4, 37, 4).sum((1, 3)))
    steps = np.abs(np.diff(a, axis=1))[::2, :148] + np.abs(np.diff(a, axis=0))[::2, :148]
    assert np.array_equal(tex, steps.reshape(25, 2, 37, 4).sum((1, 3)))
    again = np.zeros_like(sad)
    blocks.kernels()["sad_only"](cur, prev, width, again)
    assert np.array_equal(again, sad)
    wide = sad.astype(np.int64)
    eights = wide[:-1, :-1] + wide[:-1, 1:] + wide[1:, :-1] + wide[1:, 1:]
    top, share = blocks.kernels()["largest_8x8"](sad, float(np.median(eights)))
    assert top == eights.max()
    assert abs(share - (eights > np.median(eights)).mean()) < 1e-9


def test_motion_is_told_from_noise_by_the_pictures_own_slopes(tmp_path: Path) -> None:
    still, moved = renders()[0], renders()[1]
    rng = np.random.default_rng(0)
    noisy = np.clip(still + rng.normal(0, 6, still.shape), 0, 255).astype(np.uint8)
    path = encode(tmp_path / "three.mp4", [still, moved, still, noisy], Coder("libx264", "veryfast", 8))
    info = probe(path)
    pairs = joined(list(notes_of(info, new_watcher(info, ())))).pairs
    assert pairs.shape == (4, len(NAMES))
    explained = pairs[:, COLUMN["explained"]]
    assert explained[1] > 0.3 > 0.1 > explained[3]


def test_two_heaps_are_split_between_them() -> None:
    # By hand: of 1 1 1 9 9 the split that leaves no variance lies between 1 and 9.
    split, apart = two_heaps(np.array([[1.0, 1, 1, 9, 9]]))
    assert (split[0], apart[0]) == (5.0, 8.0)


@pytest.mark.parametrize(
    ("p", "times", "found"),
    [(0.3, 1.3, True), (0.3, 1.1, False), (0.01, 1.3, False), (0.01, 1.7, True), (0.001, 3.0, False)],
)
def test_the_surer_the_model_the_more_a_picture_must_differ_from_every_repeat(
    p: float, times: float, found: bool
) -> None:
    # By hand, from the rule as it is stated: nearly every repeat's 8 x 8 pixels differ by 15 codes, its blocks by 1.
    pairs = np.zeros((100, len(NAMES)), np.float32)
    pairs[:, COLUMN["max_8x8"]], pairs[:, COLUMN["rms"]] = 15, 1
    probable = np.zeros(100)
    pairs[50] *= times
    probable[50] = p
    assert np.flatnonzero(beyond_repeats(pairs, probable)).tolist() == [50] * found


@pytest.mark.parametrize(("p", "times", "found"), [(0.12, 1.6, True), (0.12, 1.4, False), (0.08, 1.6, False)])
def test_a_small_thing_that_changes_beyond_all_repeats_is_new_where_the_model_doubts(
    p: float, times: float, found: bool
) -> None:
    # By hand, from the rule as it is stated: 8 x 8 pixels alone differ by more, the picture as a whole by less.
    pairs = np.zeros((100, len(NAMES)), np.float32)
    pairs[:, COLUMN["max_8x8"]], pairs[:, COLUMN["rms"]] = 10, 1
    probable = np.zeros(100)
    pairs[50, COLUMN["max_8x8"]] *= times
    pairs[50, COLUMN["rms"]] = 0.6
    probable[50] = p
    assert np.flatnonzero(beyond_repeats(pairs, probable)).tolist() == [50] * found


@pytest.mark.parametrize(("p", "times", "found"), [(0.2, 1.6, True), (0.2, 1.4, False), (0.12, 1.6, False)])
def test_a_picture_that_changes_a_little_everywhere_is_new_beyond_all_repeats(
    p: float, times: float, found: bool
) -> None:
    # By hand, from the rule as it is stated: no 8 x 8 pixels differ by 12 codes, nor more than those of repeats.
    pairs = np.zeros((100, len(NAMES)), np.float32)
    pairs[:, COLUMN["max_8x8"]], pairs[:, COLUMN["rms"]] = 8, 1
    probable = np.zeros(100)
    pairs[50, COLUMN["rms"]] *= times
    probable[50] = p
    assert np.flatnonzero(beyond_repeats(pairs, probable)).tolist() == [50] * found


@pytest.mark.parametrize(
    ("p", "differs", "repeats", "found"),
    [(0.3, 0.6, 0, True), (0.02, 0.6, 0, True), (0.3, 0.4, 0, False), (0.3, 0.6, 20, False), (0.001, 0.6, 0, False)],
)
def test_a_weak_step_is_new_where_nothing_repeats(p: float, differs: float, repeats: int, found: bool) -> None:
    # By hand, from the rule as it is stated: new pictures' 8 x 8 pixels differ by 25 codes, their blocks by 2. Repeats
    # that differ by nearly as much are what a picture in doubt is held against where there are some.
    pairs = np.zeros((100, len(NAMES)), np.float32)
    pairs[:, COLUMN["max_8x8"]], pairs[:, COLUMN["rms"]] = 25, 2
    probable = np.ones(100)
    probable[20 : 20 + repeats] = 0
    pairs[20 : 20 + repeats] *= 0.55
    pairs[50] *= differs
    probable[50] = p
    assert np.flatnonzero(beyond_repeats(pairs, probable)).tolist() == [50] * found


def test_windows_end_at_cuts(folder: Path, tmp_path: Path) -> None:
    a, b = renders("pan made5")[:30], scene("turn made9", 30, speed=1.0, seed=1)
    path = encode(tmp_path / "cut.mp4", [*a, *b], GOOD)
    info = probe(path)
    notes = joined(list(notes_of(info, new_watcher(info, ()))))
    assert list(between_cuts(notes.pairs)) == [(0, 30), (30, 60)]
    assert p_new(notes)[30] > 0.95


def test_a_sign_that_a_hard_coder_smears_is_no_motion() -> None:
    # By hand: every 25 refreshes two blocks of 220 change by a lot and 14 beside them a little, within a still.
    n, blocks = 240, 220
    pairs = np.zeros((n, len(NAMES)), np.float32)
    p = np.zeros(n, np.float32)
    p[0] = 1
    moving = np.arange(1, 60)
    blink = np.arange(70, n, 25)
    for at, mean, largest, area in ((moving, 6.0, 20.0, 0.6), (blink, 0.2, 8.0, 16 / blocks)):
        p[at] = 1
        for name, value in (("mean", mean), ("max_block", largest), ("area", area), ("mid_block", 0.02)):
            pairs[at, COLUMN[name]] = value
    light = np.tile(np.float32([90, 30, 200]), (n, 1))
    found = states(pairs, light, p, np.full(blocks, 10, np.float32), 60.0)
    assert (found[1:59] == State.MOVING).all() and (found[60:] == State.STILL).all()
    # The same changes ten refreshes apart or less are motion: something small that goes on moving.
    p[60:], pairs[60:] = 0, 0
    for at in range(66, n, 6):
        p[at], pairs[at] = 1, pairs[1] * 0
        pairs[at, [COLUMN["mean"], COLUMN["max_block"], COLUMN["area"]]] = 0.2, 8.0, 16 / blocks
    assert (states(pairs, light, p, np.full(blocks, 10, np.float32), 60.0)[60:] == State.MOVING).all()


# --- long captures ---


def long_notes(pictures: int, bands: int = 90) -> Notes:
    """Notes as of a long session: holds, cuts, slow and fast stretches, none of it measured."""
    rng = np.random.default_rng(4)
    pairs = rng.lognormal(0, 1, (pictures, len(NAMES))).astype(np.float32)
    # Four levels in turn, so that windows see one heap, two, and a change of scale.
    pairs *= np.repeat(np.resize([1.0, 0.2, 6.0, 0.02], -(-pictures // 37)), 37)[:pictures, None].astype(np.float32)
    pairs[rng.random(pictures) < 0.4, :5] *= 0.05
    cut = rng.choice(np.arange(40, pictures - 40), pictures // 300, replace=False)
    pairs[cut, COLUMN["mean"]], pairs[cut, COLUMN["explained"]] = 90.0, 0.0
    pairs[rng.random(pictures) < 0.02, COLUMN["max_8x8"]] = 0
    return Notes(
        pairs,
        rng.uniform(16, 200, (pictures, 3)).astype(np.float32),
        rng.integers(0, 60000, (pictures, 18, 32)).astype(np.uint16),
        rng.integers(0, 256, (pictures, bands)).astype(np.uint8),
        rng.integers(1, 256, (pictures, bands)).astype(np.uint8),
    )


@pytest.mark.parametrize("pictures", [1, 2, 13, 61, 362, 1500])
def test_what_is_said_of_a_picture_does_not_depend_on_the_block_it_is_worked_on_in(pictures: int) -> None:
    # Expected values: those of all pictures at once, to the last bit.
    notes = long_notes(max(pictures, 100))
    notes = Notes(*(getattr(notes, name)[:pictures] for name in Notes.__slots__))
    whole = p_new(notes, block=10**9)
    assert pictures < 1000 or len(list(between_cuts(notes.pairs))) > 2
    everything = design(notes)
    for block in (31, 97, 1024):
        assert np.array_equal(p_new(notes, block=block), whole)
        inputs = Inputs(notes)
        parts = [inputs.rows(a, min(a + block, pictures)) for a in range(0, pictures, block)]
        assert np.array_equal(np.concatenate(parts), everything)


def test_memory_hardly_grows_with_a_captures_length() -> None:
    def most(pictures: int) -> int:
        notes = long_notes(pictures, bands=1)
        tracemalloc.start()
        p_new(notes)
        used = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return used

    # Expected value: the aim for an hour at 60 Hz, 50 MiB more than for half a minute, is 240 bytes a picture; a third
    # of that for this part of the work.
    assert (most(16384) - most(4096)) / 12288 < 80


def test_verdicts_from_notes_on_disk_equal_those_from_notes_in_memory(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, _, path = one(folder, "uneven")
    info = probe(path)
    watcher = new_watcher(info, ())
    notes = joined(list(notes_of(info, watcher)))
    monkeypatch.setattr(store, "PART", 17)
    measured = measure_capture(info, tmp_path)
    assert len(list(tmp_path.rglob("part-*.npz"))) == 6
    assert same(measured, dataclasses.replace(measured, cadence=cadence_of(info, notes, watcher.ever)))
