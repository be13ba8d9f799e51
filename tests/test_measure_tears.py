"""Tears, against change-overs that were planted in the middle of scan-out before encoding."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from planted import Array, Coder, encode, flips, plan, scene, shown, torn

from assembler.measure import tears
from assembler.measure.features import Notes
from assembler.measure.model import Cadence
from assembler.measure.store import measure_capture
from assembler.measure.tears import evidence, find_tears
from assembler.measure.tears_evidence import BandEvidence
from assembler.media.probe import probe

COUNT = 150
GOOD = Coder("libx264", "veryfast", 18)


@cache
def pan() -> Array:
    return scene("pan made5", COUNT + 30, speed=1.7, seed=4)


def measured(tmp_path: Path, pictures: list[Array], coder: Coder = GOOD) -> Cadence:
    return measure_capture(probe(encode(tmp_path / "torn.mp4", pictures, coder)), tmp_path / "measure").cadence


def single(rows: list[list[int]]) -> np.ndarray:
    """(n,) the row of the one change-over of each refresh, 0 for a wholly new picture, -1 for none."""
    assert max(len(r) for r in rows) == 1
    return np.array([r[0] if r else -1 for r in rows])


@pytest.mark.parametrize("rate", [37, 48])
def test_planted_tears_are_found_with_their_rows(tmp_path: Path, rate: float) -> None:
    pictures, rows = torn(pan(), flips(rate, COUNT, seed=rate, uneven=0.05), COUNT)
    truth = single(rows)
    cadence = measured(tmp_path, pictures)
    assert cadence.tears_measurable
    said, true = cadence.p_tear >= 0.5, truth > 0
    true[0] = False  # the first picture has none before it
    edge = true & ((truth < 36) | (truth > 324))  # too few rows on one side to be told with certainty
    # Expected values: the acceptance set for this measure, precision .98 and recall .95 where it can be seen.
    assert (said & true).sum() >= 0.98 * said.sum()
    assert (said & true & ~edge).sum() >= 0.95 * (true & ~edge).sum()
    both = said & true
    inside = (cadence.tear_first_row <= truth) & (truth < cadence.tear_last_row)
    assert inside[both].mean() >= 0.95
    middle = (cadence.tear_first_row + cadence.tear_last_row) / 2
    assert np.median(np.abs(middle - truth)[both]) <= 4
    assert np.all(cadence.tear_first_row[~said] == -1)


def test_a_torn_capture_counts_its_frames_once(tmp_path: Path) -> None:
    # The picture after a tear shows the rest of a frame that had begun: every refresh changes, not every one is new.
    pictures, rows = torn(pan(), flips(40, COUNT, seed=2, uneven=0.05), COUNT)
    cadence = measured(tmp_path, pictures)
    changes = sum(bool(r) for r in rows)
    assert changes < 0.72 * COUNT
    assert abs(int(cadence.is_new.sum()) - changes) <= 4


@pytest.mark.parametrize("kind", ["30", "40", "drops"])
def test_a_machine_that_waits_for_the_refresh_shows_no_tears(tmp_path: Path, kind: str) -> None:
    cadence = measured(tmp_path, list(shown(pan(), plan(kind, COUNT, seed=3))))
    assert cadence.tears_measurable
    assert not (cadence.p_tear >= 0.5).any()


@pytest.mark.parametrize("rate", [60, 70])
def test_where_every_refresh_changes_tears_cannot_be_told(tmp_path: Path, rate: float) -> None:
    at = [float(t) for t in range(COUNT)] if rate == 60 else flips(rate, COUNT, seed=9, uneven=0.02)
    cadence = measured(tmp_path, torn(pan(), at, COUNT)[0])
    assert not cadence.tears_measurable
    assert "every refresh changes" in cadence.tears_why
    assert np.isnan(cadence.p_tear).all()
    assert np.all(cadence.tear_first_row == -1)


# --- the model of change-overs by itself, on evidence made by hand ---


def levels(rows: list[int | None], bands: int, *, blind: slice = slice(0, 0)) -> tuple[Array, Array]:
    """What the notes would say of change-overs at these bands, without noise."""
    level = np.full((len(rows), bands), 3, np.uint8)
    for t, row in enumerate(rows):
        before = rows[t - 1] if t else None
        if row is not None:
            level[t, row:] = 240
        if before:
            level[t, :before] = 240
    seen = np.full(level.shape, 255, np.uint8)
    level[:, blind] = 0
    seen[:, blind] = 0
    return level, seen


def steady(rows: list[int | None]) -> Array:
    """How far each picture differs from the one before, where motion goes on all the time."""
    return np.array([row is not None for row in rows], np.float32)


def test_change_overs_are_read_back_from_clean_evidence() -> None:
    # Source: by hand from the definition; bands from r down change, then those above r with the next picture.
    rows = [0, None, 20, None, 11, None, 0, None, None, 30, None, 0]
    every = np.ones(len(rows), np.bool_)
    found = find_tears(*levels(rows, 40), every, np.array([True, False, *[True] * 10]), steady(rows))
    assert found.measurable
    assert [k for k in range(len(rows)) if found.p_tear[k] >= 0.5] == [2, 4, 9]
    for k in (2, 4, 9):
        assert found.first_band[k] <= rows[k] < found.last_band[k]
    assert [bool(p >= 0.5) for p in found.p_flip[1:]] == [r is not None for r in rows[1:]]


def test_a_tear_among_bands_that_tell_nothing_is_given_as_all_of_them() -> None:
    rows = [0, None, 20, None, None, 20, None]
    every = np.ones(len(rows), np.bool_)
    found = find_tears(*levels(rows, 40, blind=slice(14, 27)), every, every, steady(rows))
    for k in (2, 5):
        assert found.p_tear[k] >= 0.5
        assert found.first_band[k] <= 15 and found.last_band[k] >= 26


def test_a_tear_that_may_lie_in_most_of_the_picture_is_not_told_of() -> None:
    rows = [0, None, 20, None, None, 20, None]
    every = np.ones(len(rows), np.bool_)
    found = find_tears(*levels(rows, 40, blind=slice(6, 36)), every, every, steady(rows))
    assert found.measurable
    assert np.all(found.p_tear < 0.5) and np.all(found.first_band == -1)
    assert found.p_flip[2] >= 0.5 and found.p_flip[5] >= 0.5  # that pictures began is told all the same


def test_bands_that_see_nothing_are_no_evidence() -> None:
    level, seen = levels([0, None, 5], 10, blind=slice(3, 6))
    told = evidence(level, seen, np.ones(3, np.bool_), np.ones(3, np.bool_))
    assert np.all(told[:, 3:6] == 0)
    assert told[1, 0] < 0 < told[2, 9]


def test_nothing_is_said_of_tears_where_nothing_moves() -> None:
    level, seen = levels([0, None, 5, None], 10)
    nowhere = np.zeros(4, np.bool_)
    found = find_tears(level, seen, nowhere, nowhere, np.zeros(4, np.float32))
    assert not found.measurable and "nothing moves" in found.why
    assert np.isnan(found.p_tear).all()


def test_motion_that_slows_is_not_torn(monkeypatch: pytest.MonkeyPatch) -> None:
    # Pictures held three refreshes, then one: each change is a third as large, here in the lower half more, there less.
    rows: list[int | None] = [0, None, None] * 6 + [0] * 10 + [None, None]
    level, seen = levels(rows, 60)
    for t in range(19, 28):
        level[t, :30], level[t, 30:] = (60, 115) if t % 2 else (115, 60)
    every = np.ones(len(rows), np.bool_)
    new = np.array([row is not None for row in rows])
    assert not (find_tears(level, seen, every, new, steady(rows)).p_tear >= 0.5).any()
    slow = slice(19, 28)
    clear = evidence(level, seen, every, new)[slow].min()
    monkeypatch.setattr("assembler.measure.tears.SLOWED", 2.0)  # so that it is this that makes it clear
    assert clear > 2 and clear > 2 * evidence(level, seen, every, new)[slow].min()


def test_the_scene_s_own_stops_are_no_proof_that_tears_can_be_seen() -> None:
    # Source: by hand. Every refresh shows a new picture; now and then the scene slows and stands, so that nothing
    # changes. The same stops amid motion are the machine's.
    rows: list[int | None] = [*([0] * 20), None, None] * 5
    level, seen = levels(rows, 40)
    every = np.ones(len(rows), np.bool_)
    new = np.array([row is not None for row in rows])
    machine = steady(rows)
    assert find_tears(level, seen, every, new, machine).measurable
    scene_s = machine.copy()
    for k in np.flatnonzero(~new):
        scene_s[max(0, k - 4) : k + 5] *= 0.3
    found = find_tears(level, seen, every, new, scene_s)
    assert not found.measurable and "every refresh changes" in found.why


def test_how_far_bands_change_is_learned_from_the_pictures_nearby(monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: by hand. What changes does so by a third of what it lately did, what does not by a tenth, as in
    # film: on average over scenes a third is not much better than even odds, here it is certain.
    monkeypatch.setattr("assembler.measure.tears.SLOWED", 2.0)
    rng = np.random.default_rng(1)
    rows: list[int | None] = [None if k % 3 == 2 else int(rng.integers(8, 32)) for k in range(120)]
    level, seen = levels(rows, 40)
    level = np.where(level > 100, 84, 26).astype(np.uint8)
    every = np.ones(len(rows), np.bool_)
    told = evidence(level, seen, every, every)
    assert told[1:][level[1:] == 84].min() > 4 and told[1:][level[1:] == 26].max() < -2.5
    with monkeypatch.context() as held:
        held.setattr("assembler.measure.tears.KNOWN", 1e9)  # nothing is learned
        assert evidence(level, seen, every, every)[1:][level[1:] == 84].max() < 2.5
    found = find_tears(level, seen, every, every, steady(rows))
    said, true = found.p_tear[1:] >= 0.5, np.array([row is not None for row in rows[1:]])
    assert said[true].mean() >= 0.9 and not said[~true].any()


def test_where_tears_are_common_pictures_thought_to_repeat_may_be_torn() -> None:
    # A tear far down changes so few rows that the picture is taken for a repeat; by itself it is not believed.
    rows: list[int | None] = [0, *([18, None, 25, 12, None] * 12), 36, None, 0]
    level, seen = levels(rows, 40)
    every, low = np.ones(len(rows), np.bool_), len(rows) - 3
    new = np.arange(len(rows)) != low
    assert find_tears(level, seen, every, new, steady(rows)).p_tear[low] >= 0.5
    alone: list[int | None] = [*([0, None] * 30), 36, None, 0]
    level, seen = levels(alone, 40)
    new = np.array([row == 0 for row in alone])
    assert not find_tears(level, seen, np.ones(len(alone), np.bool_), new, steady(alone)).p_tear[60] >= 0.5


def shown_bands(at: list[float], bands: int) -> tuple[Array, list[list[int]]]:
    """Which bands change with each refresh, as levels, of change-overs at these times; and where those lie."""
    count = int(at[-1])
    numbers = np.broadcast_to(np.arange(len(at) + 2)[:, None, None], (len(at) + 2, bands, 1))
    pictures, rows = torn(numbers.copy(), at, count)
    screens = np.array(pictures)[:, :, 0]
    level = np.full((count, bands), 3, np.uint8)
    level[1:][screens[1:] != screens[:-1]] = 240
    return level, rows


def test_a_tear_near_the_edge_is_believed_where_tears_are_clear_and_common() -> None:
    # Source: by hand. The lowest three bands tell nothing, so a change-over in them may as well be one at the next
    # refresh; but of a machine that does not wait one in so many change-overs lies at the refresh itself.
    rows: list[int | None] = [0, *([18, 48, 78, None] * 15), 87, None, *([18, 48, 78, None] * 15)]
    level, seen = levels(rows, 90, blind=slice(87, 90))
    every, change = np.ones(len(rows), np.bool_), steady(rows)
    found = find_tears(level, seen, every, every, change)
    assert found.p_tear[61] >= 0.5 and found.first_band[61] <= 87 < found.last_band[61]
    # Where a third of the picture tells nothing, tears are as common but not clear: it is not believed.
    level[:, 52:76] = seen[:, 52:76] = 0
    found = find_tears(level, seen, every, every, change)
    assert found.measurable and not found.p_tear[61] >= 0.5


def test_two_change_overs_in_a_refresh_are_not_taken_for_a_tear_before_it() -> None:
    # Source: by hand. The rows between the two show a picture once, so all of it seems to change twice, as if a tear
    # at the foot of the picture before had begun it.
    steps = [1.2, *[1.5, 1.1] * 20]
    at = [0.0, *np.cumsum(np.array([*steps, 1.9, 0.7, *steps]))]
    level, rows = shown_bands([float(t) for t in at], 90)
    twice = next(k for k, r in enumerate(rows) if len(r) == 2)
    assert not rows[twice - 1]
    every = np.ones(len(rows), np.bool_)
    found = find_tears(level, np.full_like(level, 255), every, every, np.ones(len(rows), np.float32))
    assert found.measurable and not found.p_tear[twice - 1] >= 0.5
    single_rows = [k for k, r in enumerate(rows) if len(r) == 1 and 4 < r[0] < 86 and k]
    assert np.mean(found.p_tear[single_rows] >= 0.5) > 0.95


# --- what the small picture and the bands' own history add ---


def notes_by_hand(rows: list[int | None], bands: int = 36, *, weak: bool = False) -> Notes:
    """Notes of change-overs at these bands of pictures 32 x 18; weak: bands themselves hardly tell."""
    level, seen = levels(rows, bands)
    if weak:
        level = np.where(level > 100, 60, 45).astype(np.uint8)
    rng = np.random.default_rng(5)
    screen, thumbs, renders = np.full((18, 32), 100.0), [], iter(range(10**6))
    for row in rows:
        if row is not None:
            drawn = 100 + 8 * np.sin(np.arange(32) * 0.9 + 0.6 * next(renders)) + np.zeros((18, 1))
            screen = np.where(np.arange(18)[:, None] >= row * 18 / bands, drawn, screen)
            pending = drawn
        else:
            screen = pending
        thumbs.append(screen + rng.normal(0, 0.02, screen.shape))
        screen = pending
    n = len(rows)
    small = np.rint(np.array(thumbs) * 256).astype(np.uint16)
    return Notes(np.zeros((n, 15), np.float32), np.zeros((n, 3), np.float32), small, level, seen)


def told_apart(said: Array, rows: list[int | None], bands: int = 36) -> tuple[float, float]:
    """The mean of what is said of bands that changed, and of those that did not."""
    changed = levels(rows, bands)[0] > 100
    return float(said[1:][changed[1:]].mean()), float(said[1:][~changed[1:]].mean())


def test_the_small_picture_tells_what_the_bands_hardly_do() -> None:
    # Source: by hand. The small picture changes by some codes where a new picture is shown, by hundredths elsewhere.
    rng = np.random.default_rng(3)
    rows: list[int | None] = [0, *(None if k % 3 == 2 else 2 * int(rng.integers(1, 17)) for k in range(80))]
    notes = notes_by_hand(rows, weak=True)
    p = np.array([row is not None for row in rows], np.float32)
    changed, unchanged = told_apart(BandEvidence(notes, p)(0, len(rows)), rows)
    still = replace(notes, thumbs=np.full_like(notes.thumbs, 25600))
    without = told_apart(BandEvidence(still, p)(0, len(rows)), rows)
    assert changed > 1 and unchanged < -1
    assert changed - unchanged > without[0] - without[1] + 1


def test_what_is_said_of_a_picture_does_not_depend_on_which_are_asked_for() -> None:
    rows: list[int | None] = [0, *([18, None, 25, 12, None] * 70)]
    notes = notes_by_hand(rows)
    p = np.array([row is not None for row in rows], np.float32)
    bands = BandEvidence(notes, p)
    whole = bands(0, len(rows))
    assert np.all(whole[0] == 0)
    for first, end in ((0, 1), (1, 9), (13, 14), (250, 300), (len(rows) - 3, len(rows))):
        assert np.allclose(bands(first, end), whole[first:end])


def test_what_else_is_known_places_a_tear_among_bands_that_tell_nothing() -> None:
    rows: list[int | None] = [0, None, 20, None, None, 20, None]
    every = np.ones(len(rows), np.bool_)
    hidden = levels(rows, 40, blind=slice(14, 27))
    clear = np.where(levels(rows, 40)[0] > 100, 5.0, -5.0)
    without = find_tears(*hidden, every, every, steady(rows))
    found = find_tears(*hidden, every, every, steady(rows), lambda a, b: clear[a:b])
    for k in (2, 5):
        assert without.last_band[k] - without.first_band[k] >= 11
        assert 17 <= found.first_band[k] <= 20 < found.last_band[k] <= 24


def test_bands_that_show_nothing_are_no_evidence_however_much_the_others_change() -> None:
    # Source: by hand. A thing moves before a still wall: the upper third shows nothing, whatever is drawn there.
    rng = np.random.default_rng(4)
    rows: list[int | None] = [0, *(None if k % 3 == 2 else 12 + 2 * int(rng.integers(1, 11)) for k in range(80))]
    notes = notes_by_hand(rows)
    small = notes.thumbs.copy()
    small[:, :6] = 25600
    level, seen = notes.level.copy(), notes.seen.copy()
    level[:, :12] = seen[:, :12] = 0
    p = np.array([row is not None for row in rows], np.float32)
    bands = BandEvidence(replace(notes, thumbs=small, level=level, seen=seen), p)
    said = bands(0, len(rows))
    assert said[1:, 12:].max() > 4 and said[1:, 12:].min() < -3
    wall = said[1:, :12][p[1:] >= 0.5]
    uncorrected = bands._whole.logit(bands.inputs(0, len(rows)))[1:, :12][p[1:] >= 0.5]
    assert wall.mean() < 0.8 and wall.mean() < uncorrected.mean() - 0.5


def test_rows_that_pause_between_two_new_pictures_are_no_tear() -> None:
    # Source: by hand. Each refresh is wholly new, but in one the upper rows show nothing new; after a tear the rows
    # below it stand, or the next picture is torn too.
    rows: list[int | None] = [*([0, None] * 20), 0, 0, 0, *([0, None] * 20)]
    level, seen = levels(rows, 60)
    level[41, :20] = 3
    every = np.ones(len(rows), np.bool_)
    new = np.array([row is not None for row in rows])
    assert not (find_tears(level, seen, every, new, steady(rows)).p_tear >= 0.5).any()
    ratio = np.where(level > 100, 4.0, -4.0)
    posterior = tears._posterior(ratio, 3.0)
    assert posterior[41, 1:60].sum() > 0.9  # by what changes alone it is one
    assert not tears._followed(ratio, posterior, every)[41]
    stands = ratio.copy()
    stands[42, 20:] = -4.0
    assert tears._followed(stands, posterior, every)[41]
    # Nor where the next picture is a repeat, in which the coder drew the still rows anew; but a few may be finished so.
    repeat = every.copy()
    repeat[42] = False
    assert not tears._followed(stands, posterior, repeat)[41]
    top = np.full_like(posterior, 1e-6)
    top[41, 5] = 1.0
    assert tears._followed(stands, top, repeat)[41]


def test_a_picture_that_only_finishes_a_tear_near_the_top_is_no_repeat() -> None:
    # Source: by hand. 3 of 60 bands change with the picture after, which so is thought to repeat.
    rows: list[int | None] = [*([0, None] * 20), 3, None, *([0, None] * 20)]
    level, seen = levels(rows, 60)
    every = np.ones(len(rows), np.bool_)
    new = np.array([row is not None for row in rows])
    found = find_tears(level, seen, every, new, steady(rows))
    assert [k for k in range(len(rows)) if found.p_tear[k] >= 0.5] == [40]
    # The same rows changing after a repeat are the coder's.
    level, seen = levels([*([0, None] * 20), None, None, *([0, None] * 20)], 60)
    level[41, :3] = 240
    new[40] = False
    assert not (find_tears(level, seen, every, new, steady(rows)).p_tear >= 0.5).any()
    ratio = np.where(level > 100, 4.0, -4.0)
    assert not tears._finishing(ratio, new).any()
    ratio[40, :3], new[40] = -4.0, True
    assert np.flatnonzero(tears._finishing(ratio, new)).tolist() == [41]
    ratio[40, :3] = 4.0  # they had changed before: nothing is finished
    assert not tears._finishing(ratio, new).any()


@pytest.mark.parametrize(("torn_share", "measurable"), [(0.9, True), (0.3, False)])
def test_tears_amid_pictures_that_all_change_are_seen_by_chance(torn_share: float, measurable: bool) -> None:
    # Source: by hand. A machine slower than the refresh that tears leaves few pictures that are wholly new. Where a
    # third are torn and the rest all new, the machine is faster, and tears show where its own pictures repeat.
    n = 240
    torn = np.zeros(n, np.bool_)
    torn[: int(torn_share * n)] = True
    np.random.default_rng(1).shuffle(torn)
    every = np.ones(n, np.bool_)
    told = tears._measurable(every, ~every, torn, every, np.zeros(n))
    assert told[0] == measurable and ("every refresh changes" in told[1]) != measurable


def test_things_that_move_for_themselves_show_no_tears() -> None:
    # Source: planted things before photographs, a new picture with every refresh, x265 crf 28: from .14 of the evidence
    # fits nothing, and a third of the pictures seemed torn. In planted tears it is mostly below .13.
    every = np.ones(240, np.bool_)
    told = tears._measurable(every, ~every, every, every, np.full(240, 0.14))
    assert not told[0] and "move for themselves" in told[1]
    assert tears._measurable(every, ~every, every, every, np.full(240, 0.12))[0]


def test_a_second_of_tears_in_a_capture_in_step_is_told() -> None:
    every = np.ones(400, np.bool_)
    torn = np.zeros(400, np.bool_)
    torn[170:230] = True
    torn[175:230:6] = False
    held = np.zeros(400, np.bool_)
    held[175:230:6] = True
    assert tears._measurable(every, held, torn, every, np.zeros(400))[0]


def test_intervals_widen_where_the_evidence_fits_nothing() -> None:
    p = np.exp(-np.abs(np.arange(60) - 30.0))
    sure, unsure = (tears._interval(p / p.sum(), misfit) for misfit in (0.0, 0.3))
    assert unsure[0] < sure[0] < 30 < sure[1] < unsure[1]
