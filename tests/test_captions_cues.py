"""Cues of whole programmes: what must hold for any words, and how single cases are laid."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from math import floor

import pytest
from captions_maker import S, programme, spoken, timed
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assembler.captions.cues import Cue, frame_of_sample, make_cues, seen
from assembler.captions.limits import LIMITS, ONLINE, Limits, characters
from assembler.captions.violations import violations
from assembler.timeline.model import Timeline
from assembler.timing.rates import CANVAS_RATES, sample_of_frame

SIXTY = Fraction(60)
WORDS = ["a", "of", "60", "fps,", "frame", "1440p", "harbour.", "memory", "anti-aliasing", "23.976", "Ash", "שלום"]


@st.composite
def timelines(draw: st.DrawFn) -> Timeline:
    """Programmes whose words last 60 to 900 ms, with silences, long words, shot changes and overruns."""
    rate = draw(st.sampled_from(CANVAS_RATES))
    segments = []
    for _ in range(draw(st.integers(1, 3))):
        lines = []
        for _ in range(draw(st.integers(0, 3))):
            here, words = 0, []
            for _ in range(draw(st.integers(0, 30))):
                here += draw(st.sampled_from([0, 0, 0, 0, 2_000, 12_000, 60_000, 200_000]))
                text = draw(st.one_of(st.sampled_from(WORDS), st.just("m" * 50), st.just(" \n"), st.text(max_size=8)))
                length = draw(st.integers(43_200 if len(text) > 12 else 2_880, 43_200))
                words.append((text, here, here + length))
                here += length
            lines.append(timed(words))
        segments.append(lines)
    pause_s = draw(st.sampled_from([0.0, 0.35, 2.0]))
    options = {
        "limits": draw(st.sampled_from(sorted(LIMITS))),
        "pause_s": pause_s,
        "changes": draw(st.lists(st.integers(1, 5_000), max_size=12).map(sorted)),
    }
    made = programme(segments, rate, **options)
    # Here and there a segment ends 0.2 s before its speech does, still before the next is said.
    over = floor((Fraction(pause_s) + Fraction(1, 5)) * rate)
    lengths = [max(1, item.span.frames - draw(st.sampled_from([0, over]))) for item in made.segments]
    made = programme(segments, rate, frames=lengths, **options)
    return replace(made, frames=made.frames + over + draw(st.sampled_from([0, 600])))


def limits_of(timeline: Timeline) -> Limits:
    return LIMITS[timeline.storyboard.captions.limits]


def words_of(timeline: Timeline, cue: Cue) -> list[tuple[int, int, str]]:
    """(start, end, text) of a cue's words, in programme samples."""
    (segment,) = (item for item in timeline.segments if item.segment.id == cue.segment)
    found = []
    for line in segment.lines:
        if cue.line <= line.number <= (cue.last_line or cue.line):
            first = cue.first_word if line.number == cue.line else 0
            last = cue.last_word if line.number == (cue.last_line or cue.line) else len(line.speech.words) - 1
            for word in line.speech.words[first : last + 1]:
                if seen(word.text):
                    start, end = word.start_sample, word.end_sample
                    found.append((line.start_sample + start, line.start_sample + end, word.text))
    return found


PROPERTY = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))


@PROPERTY
@given(timelines())
def test_every_word_is_in_exactly_one_cue_in_order(timeline: Timeline) -> None:
    cues = make_cues(timeline)
    for segment in timeline.segments:
        expected = [
            (line.number, index)
            for line in segment.lines
            if any(seen(word.text) for word in line.speech.words)
            for index in range(len(line.speech.words))
        ]
        found = []
        for cue in (cue for cue in cues if cue.segment == segment.segment.id):
            for line in segment.lines:
                if cue.line <= line.number <= (cue.last_line or cue.line):
                    first = cue.first_word if line.number == cue.line else 0
                    last = cue.last_word if line.number == (cue.last_line or cue.line) else len(line.speech.words) - 1
                    found += [(line.number, index) for index in range(first, last + 1)]
        assert [pair for pair in found if pair in set(expected)] == expected
    shown = " ".join(" ".join(cue.lines) for cue in cues)
    said = [seen(w.text) for s in timeline.segments for line in s.lines for w in line.speech.words]
    assert shown == " ".join(text for text in said if text)


@PROPERTY
@given(timelines())
def test_cues_are_in_order_never_overlap_and_keep_their_gap(timeline: Timeline) -> None:
    cues = make_cues(timeline)
    assert all(0 <= cue.start_frame < cue.end_frame <= timeline.frames for cue in cues)
    gap = limits_of(timeline).gap_frames
    assert all(following.start_frame - cue.end_frame >= gap for cue, following in pairwise(cues))
    kinds = {found.kind for found in violations(cues, timeline.rate, limits_of(timeline))}
    assert not kinds & {"too-close", "too-many-lines"}


@PROPERTY
@given(timelines())
def test_a_cue_stands_while_its_words_are_said_and_no_longer_than_allowed(timeline: Timeline) -> None:
    rate, limits = timeline.rate, limits_of(timeline)
    snap_s, frame_s = limits.snap_s, 1 / rate
    cues = make_cues(timeline)
    for cue, following in zip(cues, [*cues, None][1:], strict=True):
        words = words_of(timeline, cue)
        first_s, last_s = Fraction(words[0][0], S), Fraction(max(end for _, end, _ in words), S)
        start_s, end_s = cue.start_frame / rate, cue.end_frame / rate
        assert -snap_s - frame_s <= start_s - first_s <= snap_s + frame_s
        assert end_s <= last_s + limits.hang_s + frame_s
        # It may only leave before its last word ends to make room, at a shot change or the programme's end.
        room_s = (following.start_frame - limits.gap_frames) / rate if following else Fraction(timeline.frames) / rate
        assert end_s >= min(last_s, room_s) - snap_s


@PROPERTY
@given(timelines())
def test_text_only_outgrows_its_lines_where_one_word_does(timeline: Timeline) -> None:
    limits = limits_of(timeline)
    for cue in make_cues(timeline):
        assert 1 <= len(cue.lines) <= limits.lines
        assert all(line == seen(line) != "" for line in cue.lines)
        if max(map(characters, cue.lines)) > limits.chars_per_line:
            assert len(words_of(timeline, cue)) == 1


@PROPERTY
@given(timelines())
def test_a_cue_stays_in_its_segment_unless_speech_runs_over(timeline: Timeline) -> None:
    for cue in make_cues(timeline):
        (segment,) = (item for item in timeline.segments if item.segment.id == cue.segment)
        last = max(end for _, end, _ in words_of(timeline, cue))
        assert cue.start_frame >= segment.span.start_frame
        assert cue.end_frame <= max(segment.span.end_frame, frame_of_sample(last, timeline.rate) + 1)


@PROPERTY
@given(timelines())
def test_the_same_programme_has_the_same_cues(timeline: Timeline) -> None:
    assert make_cues(timeline) == make_cues(replace(timeline))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from(WORDS), st.integers(0, 90_000), st.integers(0, 90_000)), max_size=60),
    st.sampled_from(CANVAS_RATES),
)
def test_words_at_any_times_still_make_ordered_cues(words: list[tuple[str, int, int]], rate: Fraction) -> None:
    speech = timed([(text, start, start + length) for text, start, length in words])
    timeline = replace(programme([[speech]], rate), frames=10**6)
    cues = make_cues(timeline)
    assert all(following.start_frame - cue.end_frame >= ONLINE.gap_frames for cue, following in pairwise(cues))
    assert " ".join(" ".join(cue.lines) for cue in cues) == " ".join(text for text, _, _ in words)


@pytest.mark.parametrize("rate", CANVAS_RATES, ids=str)
def test_a_frames_first_sample_belongs_to_it_and_the_one_before_does_not(rate: Fraction) -> None:
    for frame in [*range(1, 400), 107_892, 215_784, 5_178_815]:
        assert frame_of_sample(sample_of_frame(frame, rate), rate) == frame
        assert frame_of_sample(sample_of_frame(frame, rate) - 1, rate) == frame - 1


def texts(cues: Sequence[Cue]) -> list[str]:
    return [" | ".join(cue.lines) for cue in cues]


def test_a_cue_starts_with_its_first_word_and_lingers_after_its_last() -> None:
    speech = timed([("Both", 0, S), ("machines", S, 2 * S), ("hold.", 2 * S, 3 * S)])
    (cue,) = make_cues(programme([[speech]], lead_s=0.5, frames=[600]))
    assert cue == Cue(30, 30 + 180 + 24, ("Both machines hold.",), "part-0", 1, 0, 2)  # 0.4 s is 24 frames


def test_a_cue_ends_with_its_segment_when_nothing_is_said_beyond() -> None:
    made = programme([["Both hold sixty."], ["Then Birch falls behind."]], pause_s=0.0, frames=[100, 400])
    first, second = make_cues(made)
    assert (first.end_frame, second.start_frame) == (100, 115)


def test_a_short_line_joins_its_neighbour_in_the_segment() -> None:
    cues = make_cues(programme([["Yes.", "Both draw 1440 lines."]]))
    assert texts(cues) == ["Yes. Both draw 1440 lines."]
    assert (cues[0].line, cues[0].last_line, cues[0].first_word, cues[0].last_word) == (1, 2, 0, 3)


def test_a_short_line_does_not_join_across_a_segment_or_a_long_silence() -> None:
    assert texts(make_cues(programme([["Yes."], ["Both draw 1440 lines."]]))) == ["Yes.", "Both draw 1440 lines."]
    apart = programme([["Yes.", "Both draw 1440 lines."]], pause_s=3.0)
    assert texts(make_cues(apart)) == ["Yes.", "Both draw 1440 lines."]


def test_lines_that_are_long_enough_stay_apart() -> None:
    said = ["Ash holds its pace at dusk.", "Birch loses a third of its frames."]
    assert texts(make_cues(programme([said]))) == said


def test_a_start_moves_onto_a_shot_change_a_few_frames_away() -> None:
    speech = timed([("Both", 0, S), ("machines", S, 2 * S), ("hold.", 2 * S, 3 * S)])
    near = make_cues(replace(programme([[speech]], lead_s=0.5, frames=[600], changes=[24]), frames=600))
    assert near[0].start_frame == 24
    far = make_cues(replace(programme([[speech]], lead_s=0.5, frames=[600], changes=[10]), frames=600))
    assert far[0].start_frame == 30


def test_an_end_moves_onto_a_shot_change_a_few_frames_away() -> None:
    speech = timed([("Both", 0, S), ("machines", S, 2 * S), ("hold.", 2 * S, 3 * S)])
    made = programme([[speech]], lead_s=0.5, frames=[600], changes=[230])
    assert make_cues(made)[0].end_frame == 230
    later = programme([[speech]], lead_s=0.5, frames=[600], changes=[240])
    assert make_cues(later)[0].end_frame == 240


def test_two_cues_that_follow_each_other_move_onto_a_shot_change_together() -> None:
    lines = ["Ash holds its pace at dusk, as it did at noon.", "Birch loses a third of its frames at the quay."]
    before = make_cues(programme([lines], pause_s=0.1))
    assert len(before) == 2
    change = before[1].start_frame - 5
    after = make_cues(programme([lines], pause_s=0.1, changes=[change]))
    assert (after[1].start_frame, after[0].end_frame) == (change, change - ONLINE.gap_frames)


def test_an_end_does_not_move_where_the_gap_would_flicker() -> None:
    speech = timed([("Both", 0, S), ("machines", S, 2 * S), ("hold.", 2 * S, 3 * S)])
    free, after = make_cues(programme([[speech, speech]], pause_s=1.2))
    assert after.start_frame - free.end_frame == 48
    moved, _ = make_cues(programme([[speech, speech]], pause_s=1.2, changes=[free.end_frame + 12]))
    kept, _ = make_cues(programme([[speech, speech]], pause_s=1.1, changes=[free.end_frame + 12]))
    assert (moved.end_frame - free.end_frame, kept.end_frame - free.end_frame) == (12, 12)
    close, _ = make_cues(programme([[speech, speech]], pause_s=1.0, changes=[free.end_frame + 12]))
    assert close.end_frame == free.end_frame  # 24 frames would be left, less than half a second


def test_a_shot_change_does_not_make_a_cue_too_long() -> None:
    speech = timed([("Both", 0, 3 * S), ("machines", 3 * S, 6 * S), ("hold.", 6 * S, 7 * S)])
    (cue,) = make_cues(programme([[speech]], lead_s=0.5, changes=[26]))
    assert (cue.start_frame, cue.end_frame) == (30, 450)  # 7 s, the most there may be


def test_lines_said_over_each_other_are_shown_in_the_order_they_begin() -> None:
    first = ["Ash holds its pace at dusk.", "So it does at noon."]
    cues = make_cues(programme([first, ["Birch falls behind."]], frames=[60, 900], lead_s=0.1))
    assert [(cue.segment, cue.line) for cue in cues] == [("part-0", 1), ("part-1", 1), ("part-0", 2)]


def test_short_gaps_are_closed_and_long_ones_left() -> None:
    # Source: BBC subtitle guidelines: no gap, or one of at least a second; others: two frames.
    lines = ["Ash holds its pace at dusk, as it did at noon.", "Birch loses a third of its frames at the quay."]
    cases = [("broadcast", 0.9, 0), ("broadcast", 3.0, 156), ("online", 0.6, 2), ("online", 3.0, 156)]
    for limits, pause_s, gap in cases:
        first, second = make_cues(programme([lines], limits=limits, pause_s=pause_s))
        assert abs(second.start_frame - first.end_frame - gap) <= 1


def test_over_long_words_stand_alone_and_are_reported() -> None:
    word = "un" * 40
    made = programme([[f"The word {word} is far too long for one line."]])
    cues = make_cues(made)
    assert word in texts(cues)
    assert [found.kind for found in violations(cues, made.rate, ONLINE) if found.kind == "too-wide"] == ["too-wide"]


def test_empty_lines_and_silent_programmes_have_no_cues() -> None:
    assert make_cues(programme([[]])) == ()
    assert make_cues(programme([[timed([])], [timed([(" \n", 0, S), ("\u200b", S, 2 * S)])]])) == ()


def test_a_newline_written_in_the_words_is_a_space() -> None:
    (cue,) = make_cues(programme([[timed([("Two\nmachines,", 0, S), ("one\r\nharbour.", S, 2 * S)])]]))
    assert cue.lines == ("Two machines, one harbour.",)


def test_right_to_left_words_keep_the_order_they_are_said_in() -> None:
    said = "שתי מכונות, נמל אחד: 60 תמונות בשנייה."
    assert texts(make_cues(programme([[said]], language="he"))) == [said]


def test_words_after_the_programmes_end_have_no_cue() -> None:
    made = programme([["Ash holds its pace at dusk.", "Birch loses a third of its frames."]], frames=[130])
    (cue,) = make_cues(made)
    assert cue.lines == ("Ash holds its pace at dusk.",)
    assert cue.end_frame <= 130


def test_speech_that_runs_into_the_next_segment_gives_way_to_it() -> None:
    made = programme([["Ash holds its pace at dusk."], ["Birch does not."]], frames=[120, 600], lead_s=0.5)
    first, second = make_cues(made)
    assert (first.end_frame, second.start_frame) == (148, 150)


def test_a_line_of_hundreds_of_words_keeps_every_limit() -> None:
    sentence = "Ash holds 60 frames a second, and Birch drops to 41.5 fps, because its memory is full. "
    made = programme([[sentence * 30]])
    assert violations(make_cues(made), made.rate, ONLINE) == ()


@pytest.mark.parametrize("limits", sorted(LIMITS))
def test_ten_thousand_words_take_less_than_two_seconds(limits: str) -> None:
    sentence = "Ash holds 60 frames a second, and Birch drops to 41.5 fps, because its memory is full."
    made = programme([[spoken(sentence)] * 60] * 10, limits=limits)
    count = sum(len(line.speech.words) for segment in made.segments for line in segment.lines)
    assert count >= 10_000
    started = time.process_time()
    make_cues(made)
    assert time.process_time() - started < 2
