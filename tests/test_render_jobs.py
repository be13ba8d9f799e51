"""Cutting a programme into part jobs, and naming each by what its picture depends on."""

from __future__ import annotations

import pickle
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from render_maker import HEIGHT, QUICK, WIDTH, Scene, cue, programme

from assembler.captions.cues import Cue
from assembler.errors import MediaError, RenderError, UsageError
from assembler.media.content import content_print
from assembler.media.planes import blank
from assembler.render.fingerprint import Prints, engine_print, file_print
from assembler.render.jobs import Fade, PartJob, Stamp, job_facets, job_key
from assembler.render.mixing import mix, mix_colour
from assembler.render.part import ground_share, incoming_share
from assembler.render.plan import PIECES_S, Drawn, chapters_of, plan_parts, span_of
from assembler.storyboard.model import Card, Split
from assembler.timeline.model import Timeline
from assembler.timing.spans import Span

DRAWN = Drawn(WIDTH, HEIGHT, True, False, QUICK)
MARKED = replace(DRAWN, marks=True)
SCENES = [Scene("a", [30, 12]), Scene("b", [40]), Scene("c", [25])]


def jobs(
    timeline: Timeline, cues: Sequence[Cue] = (), drawn: Drawn = DRAWN, span: Span | None = None
) -> tuple[PartJob, ...]:
    return plan_parts(timeline, cues, span or Span(0, timeline.frames), drawn, Prints(timeline, []))


def keys(*given: object, **named: object) -> list[str]:
    return [job_key(job) for job in jobs(*given, **named)]  # type: ignore[arg-type]


def test_each_shot_is_a_part(tmp_path: Path) -> None:
    found = jobs(programme(tmp_path, SCENES))
    assert [(job.segment, job.number, job.first, job.frames) for job in found] == [
        ("a", 1, 0, 30), ("a", 2, 0, 12), ("b", 1, 0, 40), ("c", 1, 0, 25)
    ]  # fmt: skip


def test_a_long_shot_is_cut_at_even_steps_and_a_short_rest_joins_the_last(tmp_path: Path) -> None:
    # Source: arithmetic at 30 frames a second: pieces of 120 frames, a rest of less than 60 joins; a master's have 300.
    lengths = [[job.frames for job in jobs(programme(tmp_path, [Scene("a", [n])]))] for n in (179, 180, 299, 360)]
    assert lengths == [[179], [120, 60], [120, 179], [120, 120, 120]]
    master = replace(DRAWN, piece_s=PIECES_S["master"])
    assert [job.frames for job in jobs(programme(tmp_path, [Scene("a", [749])]), drawn=master)] == [300, 449]


def test_a_range_cuts_parts_and_keeps_the_whole_ones(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    found = jobs(timeline, span=Span(35, 90))
    assert [(job.segment, job.number, job.first, job.frames) for job in found] == [
        ("a", 2, 5, 7), ("b", 1, 0, 40), ("c", 1, 0, 8)
    ]  # fmt: skip
    assert job_key(found[1]) == keys(timeline)[2]


def test_a_hole_in_the_programme_is_an_error_of_the_render(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    holed = replace(timeline, segments=(timeline.segments[0], timeline.segments[2]))
    with pytest.raises(RenderError, match="from frame 42 to frame 82"):
        jobs(holed)


def test_moving_a_segment_keeps_its_parts_unless_the_programmes_timecode_is_drawn(tmp_path: Path) -> None:
    pictures = [0, 1000, 2000, 3000]
    before = [Scene("a", [30, 12], pictures[:2]), Scene("b", [40], pictures[2:3]), Scene("c", [25], pictures[3:])]
    after = [replace(before[2], id="later"), Scene("new", [18], [500]), before[1], before[0]]
    for drawn in (DRAWN, MARKED):
        plain = keys(programme(tmp_path, before), drawn=drawn)
        moved = keys(programme(tmp_path, after), drawn=drawn)
        assert [moved[0], *moved[2:]] == [plain[3], plain[2], plain[0], plain[1]]
        assert len(set(plain)) == 4
    programmes = replace(MARKED, counting="programme")
    marked = {*keys(programme(tmp_path, before), drawn=programmes)}
    assert not marked & {*keys(programme(tmp_path, after), drawn=programmes)}
    named = replace(MARKED, counting="id")
    first, second = (keys(programme(tmp_path, scenes), drawn=named) for scenes in (before, after))
    assert [second[2], *second[3:]] == [first[2], first[0], first[1]]  # all but the one that has another id
    assert second[0] != first[3]


def test_a_changed_caption_changes_only_the_parts_it_lies_on(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    before = jobs(timeline, [cue(2, 20, "One."), cue(35, 50, "Two.")])
    after = jobs(timeline, [cue(2, 20, "One."), cue(35, 50, "Too.")])
    assert [job_key(a) == job_key(b) for a, b in zip(before, after, strict=True)] == [True, False, False, True]
    assert [[(b.start_frame, b.end_frame) for b in job.captions] for job in after] == [
        [(2, 20)], [(5, 12)], [(0, 8)], []
    ]  # fmt: skip
    unburnt = replace(DRAWN, burn_captions=False)
    assert keys(timeline, [cue(0, 9, "One.")], unburnt) == keys(timeline, [], unburnt)


def test_what_is_behind_a_part_changes_its_key_and_its_path_does_not(tmp_path: Path) -> None:
    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    one = programme(tmp_path / "one", SCENES)
    assert keys(one) == keys(programme(tmp_path / "two", SCENES))
    (tmp_path / "two" / "footage" / "film.mp4").write_bytes(b"other footage")
    assert not set(keys(one)) & set(keys(programme(tmp_path / "two", SCENES)))


@pytest.mark.parametrize(
    ("facet", "change"),
    [
        ("footage", lambda job: replace(job, shot=replace_pictures(job.shot))),
        ("arrangement", lambda job: replace(job, shot=replace(job.shot, labels=False))),
        ("arrangement", lambda job: replace(job, subjects={"ash": replace(job.subjects["ash"], note="handheld")})),
        ("dissolve or fade", lambda job: replace(job, fades=(Fade(0, 1, 9),))),
        ("marks", lambda job: replace(job, stamp=Stamp("a", 0, ()))),
        ("size or rate", lambda job: replace(job, width=320)),
        ("encoder settings", lambda job: replace(job, settings=replace(job.settings, crf=30))),
        ("fonts", lambda job: replace(job, fonts="other")),
        ("engine", lambda job: replace(job, engine="other")),
    ],
)
def test_each_thing_a_picture_depends_on_is_in_the_key_under_its_name(tmp_path: Path, facet: str, change) -> None:  # type: ignore[no-untyped-def]
    job = jobs(programme(tmp_path, SCENES))[0]
    before, after = job_facets(job), job_facets(change(job))
    assert [name for name in before if before[name] != after[name]] == [facet]
    assert job_key(job) != job_key(change(job))


def replace_pictures(shot):  # type: ignore[no-untyped-def]
    other = shot.panes[0].picture.copy()
    other[-1] += 1
    return replace(shot, panes=(replace(shot.panes[0], picture=other),))


def test_a_following_dissolve_does_not_touch_the_part_before_it(tmp_path: Path) -> None:
    plain = keys(programme(tmp_path, [Scene("a", [30]), Scene("b", [20], [100])]))
    mixed = keys(programme(tmp_path, [Scene("a", [30]), Scene("b", [20], [100], dissolve=6)]))
    assert plain[0] == mixed[0]
    assert plain[1] != mixed[1]


def test_a_piece_of_a_longer_shot_keeps_its_key_unless_the_drawing_moves(tmp_path: Path) -> None:
    still = Split(panes=(), line=(0.5, 0.5))
    for arrangement, kept in ((None, True), (still, True), (replace(still, line=(0.2, 0.8)), False), (Card(), False)):
        short = keys(programme(tmp_path, [Scene("a", [600], arrangement=arrangement)]))
        longer = keys(programme(tmp_path, [Scene("a", [900], arrangement=arrangement)]))
        assert (short == longer[: len(short)]) is kept


def test_a_job_survives_pickling_with_its_key(tmp_path: Path) -> None:
    for job in jobs(programme(tmp_path, [Scene("a", [30]), Scene("b", [20], dissolve=6)]), [cue(0, 9, "Hi.")], MARKED):
        assert job_key(pickle.loads(pickle.dumps(job))) == job_key(job)


def test_marks_carry_the_frames_in_which_a_scratch_voice_speaks(tmp_path: Path) -> None:
    # Source: arithmetic at 30 frames a second: 1600 samples a frame; samples 8001 to 56000 touch frames 5 to 34.
    timeline = programme(tmp_path, [Scene("a", [30], scratch=[(8_001, 56_000)]), Scene("b", [30])])
    first, second = jobs(timeline, drawn=MARKED)
    assert first.stamp == Stamp("", 0, (Span(5, 30),), True)
    assert second.stamp == Stamp("", 0, (Span(0, 5),), True)
    first, second = jobs(timeline, drawn=replace(MARKED, counting="programme"))
    assert second.stamp == Stamp("b", 30, (Span(0, 5),))


def test_the_dissolve_belongs_to_the_incoming_part_and_goes_on_in_its_next_piece(tmp_path: Path) -> None:
    timeline = programme(tmp_path, [Scene("a", [30]), Scene("b", [20], dissolve=8)])
    out, into = jobs(timeline)
    assert out.dissolve is None
    assert into.dissolve is not None
    assert (into.dissolve.shot, into.dissolve.first, into.dissolve.done) == (timeline.segments[0].shots[0], 30, 0)
    (rest,) = jobs(timeline, span=Span(33, 50))
    assert rest.dissolve is not None
    assert (rest.dissolve.first, rest.dissolve.done, rest.dissolve.length) == (33, 3, 8)
    (beyond,) = jobs(timeline, span=Span(38, 50))
    assert beyond.dissolve is None


def test_a_dissolve_from_what_has_faded_away_is_a_fade_in(tmp_path: Path) -> None:
    timeline = programme(tmp_path, [Scene("a", [30], fade_out=10), Scene("b", [20], dissolve=8)])
    out, into = jobs(timeline)
    assert out.fades == (Fade(29, -1, 10),)
    assert (into.dissolve, into.fades) == (None, (Fade(0, 1, 8),))


def test_fades_reach_the_ground_at_the_outermost_frame_and_end_on_time() -> None:
    # Source: the storyboard's meaning of a fade, from or to the ground, inside its own span.
    rising = [ground_share(Fade(0, 1, 4), frame) for frame in range(6)]
    assert rising == [1, Fraction(3, 4), Fraction(1, 2), Fraction(1, 4), 0, 0]
    falling = [ground_share(Fade(5, -1, 4), frame) for frame in range(6)]
    assert falling == rising[::-1]


def test_a_dissolve_is_even_and_shows_both_pictures_throughout() -> None:
    # Source: arithmetic: between 0 the frame before and 1 the frame after, in equal steps.
    assert [incoming_share(frame, 0, 4) for frame in range(5)] == [Fraction(k, 5) for k in (1, 2, 3, 4)] + [1]
    assert incoming_share(1, 2, 4) == Fraction(4, 5)


@pytest.mark.parametrize(("bits", "steps"), [(8, 256), (10, 1024)])
def test_mixing_is_right_to_within_its_step_for_every_code(bits: int, steps: int) -> None:
    codes = np.arange(1 << bits)
    one = blank(1 << bits, 70, bits=bits)
    one.y[:] = codes
    other = blank(1 << bits, 70, bits=bits)
    other.y[:] = codes[::-1]
    for share in (Fraction(1, 3), Fraction(1, 2), Fraction(9, 10)):
        canvas = replace(one, y=one.y.copy())
        mix(canvas, other, share)
        # Source: exact arithmetic, floating point: half a code of rounding, and half a step of the share.
        exact = codes * (1 - float(share)) + codes[::-1] * float(share)
        assert np.abs(canvas.y[69] - exact).max() <= 0.5 + (1 << bits) * 0.5 / steps
        assert np.array_equal(canvas.y[0], canvas.y[69])
        assert (canvas.u == 128 << (bits - 8)).all()


def test_a_share_of_nothing_or_all_is_exact_and_a_colour_mixes_like_a_picture() -> None:
    one, other = blank(64, 36, luma=200), blank(64, 36, luma=40)
    mix(one, other, Fraction(0))
    assert (one.y == 200).all()
    mix_colour(one, (40, 90, 60), Fraction(1, 2))
    assert (int(one.y[0, 0]), int(one.u[0, 0]), int(one.v[0, 0])) == (120, 109, 94)
    mix(one, other, Fraction(1))
    assert (one.y == 40).all()


def test_chapters_follow_the_segments_and_an_empty_one_belongs_to_the_one_before(tmp_path: Path) -> None:
    scenes = [Scene("a", [30]), Scene("b", [40], chapter="Verdict"), Scene("c", [25], chapter=""), Scene("d", [5])]
    timeline = programme(tmp_path, scenes)
    found = chapters_of(timeline, Span(0, 100))
    assert [(c.title, c.start_frame, c.end_frame) for c in found] == [("a", 0, 30), ("Verdict", 30, 95), ("d", 95, 100)]
    cut = chapters_of(timeline, Span(50, 97))
    assert [(c.title, c.start_frame, c.end_frame) for c in cut] == [("Verdict", 0, 45), ("d", 45, 47)]
    alone = chapters_of(timeline, Span(75, 90))  # within the segment that has no chapter of its own
    assert [(c.title, c.start_frame, c.end_frame) for c in alone] == [("Verdict", 0, 15)]


def test_asking_for_what_is_not_there_is_an_error_of_use(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    assert span_of(timeline, only="b", start_frame=None, end_frame=None) == Span(42, 82)
    assert span_of(timeline, only=None, start_frame=10, end_frame=9999) == Span(10, 107)
    with pytest.raises(UsageError, match=r"no segment 'bb'\s+mend: did you mean 'b'"):
        span_of(timeline, only="bb", start_frame=None, end_frame=None)
    with pytest.raises(UsageError, match=r"between 00:00\.000 and 00:03\.567"):
        span_of(timeline, only=None, start_frame=200, end_frame=None)


def test_a_large_file_is_known_by_its_size_and_three_places(tmp_path: Path) -> None:
    size = 5 << 20
    for place, seen in ((0, True), (size // 2, True), (size - 1, True), (1_500_000, False)):
        content = bytearray(size)
        (tmp_path / "a").write_bytes(content)
        before = content_print(tmp_path / "a")
        content[place] = 1
        (tmp_path / "b").write_bytes(content)
        assert (content_print(tmp_path / "b") != before) is seen
        assert file_print(tmp_path / "b") != file_print(tmp_path / "a")
    (tmp_path / "b").write_bytes(bytes(size + 1))
    assert content_print(tmp_path / "b") != before
    with pytest.raises(MediaError, match="nowhere"):
        content_print(tmp_path / "nowhere")


def test_the_engines_digest_stays_the_same_within_a_run() -> None:
    first = engine_print()
    engine_print.cache_clear()
    assert engine_print() == first
