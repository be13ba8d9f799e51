"""A sound storyboard becomes the values its author meant, each with its place."""

from __future__ import annotations

import time
from dataclasses import FrozenInstanceError
from fractions import Fraction
from pathlib import Path

import pytest
from sound_storyboards import FRAMES_ONLY, LONG, SHORT, SOUND

from assembler.errors import Place, StoryboardError
from assembler.storyboard import Storyboard, load_storyboard, read_storyboard
from assembler.storyboard.model import Card, Crop, Difference, Inset, Made, Panes, Split
from assembler.timing.rates import NTSC_60


@pytest.fixture(scope="module")
def story() -> Storyboard:
    return read_storyboard(LONG, "story.yaml")


def test_the_head_is_read_as_written(story: Storyboard) -> None:
    assert (story.title, story.language) == ("Harbour Lights on two machines", "en-GB")
    assert (story.canvas.width, story.canvas.height) == (1280, 720)
    assert story.canvas.rate == NTSC_60 == Fraction(60_000, 1_001)
    assert [(s.id, s.name, s.note, s.order) for s in story.subjects.values()] == [
        ("ash", "Ash", "desktop", 0),
        ("birch", "Birch", "", 1),
    ]
    assert story.captures["ash-quay"].line_up is None
    line_up = story.captures["birch-quay"].line_up
    assert line_up is not None
    assert (line_up.partner, line_up.offset.frames) == ("ash-quay", -21)
    assert (story.narration.takes, story.narration.voice, story.narration.pace) == ("voice", "none", 150)
    assert story.narration.pause.seconds == Fraction(3, 10)
    assert (story.captions.burn, story.captions.limits) == (False, "slow")
    assert story.fonts == ("fonts/Hand.ttf", "fonts/Other.ttf")


def test_what_is_left_out_has_its_default() -> None:
    # Source: the defaults stated in `explain` and in the schema.
    story = read_storyboard(SHORT, "short.yaml")
    assert (story.canvas.width, story.canvas.height, story.canvas.rate) == (1920, 1080, Fraction(60))
    assert (story.language, story.fonts, dict(story.subjects), dict(story.captures)) == ("en", (), {}, {})
    narration = story.narration
    assert (narration.takes, narration.voice, narration.pace) == ("takes", "scratch", 160)
    assert [t.seconds for t in (narration.lead, narration.pause, narration.tail)] == [
        Fraction("0.3"),
        Fraction("0.35"),
        Fraction("0.5"),
    ]
    assert (story.captions.burn, story.captions.limits) == (True, "online")
    only = story.segments[0]
    assert (only.chapter, only.start, only.until, only.say, only.hear, only.enter) == (None, None, None, (), (), None)


def test_sound_is_read_as_written_and_has_its_defaults(story: Storyboard) -> None:
    sound = story.sound
    # Source of the named targets: EBU R 128 (-23 LUFS, -1 dBTP) and ATSC A/85, from memory (-24 LKFS, -2 dBTP).
    assert (sound.target, sound.loudness_lufs, sound.peak_dbtp, sound.duck_db) == ("broadcast-r128", -23.0, -2.0, -18.0)
    tide, end = sound.music
    assert (tide.file, tide.gain_db, tide.start.seconds, tide.loop) == ("music/tide.flac", -3.0, 2, True)
    assert (tide.fade_in.seconds, tide.fade_out.seconds, tide.segments) == (0, 3, ("opening",))
    assert (end.gain_db, end.start.seconds, end.loop, end.segments) == (0.0, 0, False, ())
    assert (end.fade_in.seconds, end.fade_out.seconds) == (1, 2)
    plain = read_storyboard(SHORT, "s").sound
    assert (plain.target, plain.loudness_lufs, plain.peak_dbtp, plain.duck_db, plain.music) == ("web", -14, -1, -12, ())
    for written, lufs, peak in (("broadcast-a85", -24, -2), ("podcast", -16, -1), ("-18.5 LUFS", -18.5, -1)):
        chosen = read_storyboard(SHORT + f"sound: {{loudness: {written}}}\n", "s").sound
        assert (chosen.loudness_lufs, chosen.peak_dbtp) == (lufs, peak)


def test_a_zero_pause_is_not_taken_for_a_missing_one() -> None:
    story = read_storyboard(SHORT + "narration: {lead: 0 s, pause: 0 f, tail: 0 s}\n", "s")
    assert [t.seconds for t in (story.narration.lead, story.narration.pause, story.narration.tail)] == [0, 0, 0]


def test_words_hear_and_edges(story: Storyboard) -> None:
    opening, closer, figures = story.segments
    assert [line.text for line in opening.say] == [
        "Two machines, one harbour at dusk.",
        "Ash holds 60 frames a second.",
    ]
    assert opening.say[1].pause is not None
    assert opening.say[1].pause.seconds == Fraction("0.4")
    assert opening.say[1].take == "voice/second.wav"
    assert [(h.capture, h.gain_db, h.start and h.start.seconds) for h in opening.hear] == [
        ("ash-quay", 0.0, None),
        ("birch-quay", -6.0, 1),
    ]
    assert [(h.capture, h.gain_db) for h in closer.hear + figures.hear] == [("ash-quay", 0.0), ("ash-quay", 3.0)]
    assert (opening.chapter, closer.chapter, figures.chapter) == ("The quay", "", None)
    edges = [edge and (edge.kind, edge.lasts.seconds) for edge in (opening.enter, opening.leave, closer.enter)]
    assert edges == [("fade", Fraction(1, 2)), None, ("dissolve", Fraction(1, 2))]
    assert figures.leave is not None
    assert figures.leave.lasts.seconds == 1


def test_how_long_segments_last(story: Storyboard) -> None:
    opening, closer, figures = story.segments
    assert (opening.fit, opening.lasts, opening.until) == (True, None, None)
    assert (closer.fit, closer.lasts) == (False, None)
    assert closer.until is not None
    assert closer.until.frames == 20 * 60  # timecode 00:00:20:00 counts 60 labels a second at 59.94
    # Neither `lasts` nor words: the sum of 1.5 s, 30 frames of 1001/60000 s and 2 s.
    assert figures.lasts is not None
    assert figures.lasts.seconds == Fraction(7, 2) + 30 * Fraction(1_001, 60_000)


def test_a_sum_of_frames_stays_whole_frames() -> None:
    (segment,) = read_storyboard(FRAMES_ONLY, "s").segments
    assert segment.lasts is not None
    assert (segment.lasts.frame, segment.lasts.text) == (42, "42 f")


def test_words_make_a_segment_fit_unless_its_end_is_written() -> None:
    text = SHORT + "  - {id: b, say: Hello, show: {lasts: 1 s, card: B}}\n"
    text += "  - {id: c, say: Hi, lasts: 1 s, show: {card: C}}\n"
    _, second, third = read_storyboard(text, "s").segments
    assert (second.fit, second.lasts) == (True, None)
    assert (third.fit, third.lasts is not None) == (False, True)


def test_every_arrangement(story: Storyboard) -> None:
    made = [shot.arrangement for segment in story.segments for shot in segment.shots]
    assert [arrangement.kind for arrangement in made] == [
        *("side-by-side", "full", "stacked", "grid", "split", "split", "inset", "inset", "difference", "difference"),
        *("card", "full", "card", "card", "made"),
    ]
    assert [len(arrangement.panes) for arrangement in made] == [2, 1, 2, 3, 2, 2, 2, 2, 2, 2, 0, 1, 0, 0, 0]
    splits = [arrangement for arrangement in made if isinstance(arrangement, Split)]
    assert [(s.line, s.direction) for s in splits] == [((0.5, 0.5), "across"), ((0.2, 0.8), "down")]
    insets = [arrangement for arrangement in made if isinstance(arrangement, Inset)]
    assert [(i.corner, i.size) for i in insets] == [("top-right", 0.33), ("bottom-left", 0.25)]
    assert [a.gain for a in made if isinstance(a, Difference)] == [4.0, 8.0]


def test_panes_and_cards(story: Storyboard) -> None:
    close = story.segments[1].shots[0]
    assert close.labels is False
    assert isinstance(close.arrangement, Panes)
    (pane,) = close.arrangement.panes
    assert (pane.speed, pane.crop, pane.scaling) == (Fraction(1, 4), Crop(x=640, y=360, w=640, h=360), "nearest")
    assert (pane.fitting, pane.label, pane.start) == ("fill", "Night", None)
    held = [pane for shot in story.segments[1].shots for pane in shot.arrangement.panes if pane.freezes]
    assert [[(f.start and f.start.seconds, f.lasts and f.lasts.seconds) for f in pane.freezes] for pane in held] == [
        [(None, None)],
        [(1, Fraction(1, 2))],
        [(1, 1), (4, None)],
    ]
    assert held[0].label == ""
    first, second, third = (shot.arrangement for shot in story.segments[2].shots)
    assert isinstance(first, Card)
    assert (first.title, first.note, first.picture) == ("Figures", "Over one\nminute", "stills/quay.png")
    assert first.motion == "still"
    assert isinstance(second, Card)
    assert second.table is not None
    assert second.table.columns == ("", "Ash", "Birch")
    assert second.table.rows == (("Frames a second", "60", "48.20"),)  # as written: 48.20 keeps its nought
    assert isinstance(third, Made)
    assert (third.file, third.function) == ("code/chart.py", "chart")
    assert dict(third.options) == {"steps": 3, "scale": 1.0, "name": "x", "dark": True}
    assert [type(option) for option in third.options.values()] == [int, float, str, bool]


def test_a_speed_is_exact() -> None:
    # Source: decimal arithmetic; 0.1 as a float is not one tenth.
    text = "storyboard: 1\ntitle: T\ncaptures: {a: {file: a.mp4}}\n"
    story = read_storyboard(text + "segments: [{id: s, lasts: 1 s, show: {full: {capture: a, speed: 0.1}}}]\n", "s")
    assert story.segments[0].shots[0].arrangement.panes[0].speed == Fraction(1, 10)


@pytest.mark.parametrize("size", ["0.1", "0.9"])
def test_the_ends_of_a_range_belong_to_it(size: str) -> None:
    # Source: our limits; the float nearest to 0.9 is greater than nine tenths, so this needs exact numbers.
    text = "storyboard: 1\ntitle: T\ncaptures: {a: {file: a.mp4}}\nsegments:\n"
    shot = f"{{inset: {{panes: [a, a], size: {size}}}}}"
    story = read_storyboard(text + f"  - {{id: s, lasts: 1 s, show: {shot}}}\n", "s")
    arrangement = story.segments[0].shots[0].arrangement
    assert isinstance(arrangement, Inset)
    assert arrangement.size == float(size)


def find(text: str, part: str, number: int = 1) -> Place:
    """Where the n-th occurrence of a part stands, counted apart from the loader."""
    at = -1
    for _ in range(number):
        at = text.index(part, at + 1)
    before = text[:at]
    return Place("story.yaml", before.count("\n") + 1, at - (before.rfind("\n") + 1) + 1)


def test_every_value_knows_its_place(story: Storyboard) -> None:
    # Source: the text itself, searched; keys have the place of the key, values under "" their own.
    opening, closer, _ = story.segments
    assert opening.at("lasts") == find(LONG, "lasts: fit")
    assert opening.at() == find(LONG, "id: opening")
    assert opening.at("until") == opening.at()  # not written: the segment's own place
    assert opening.say[0].at() == find(LONG, "Two machines, one")
    assert opening.say[1].at("pause") == find(LONG, "pause: 0.4 s")
    assert opening.shots[0].at("side-by-side") == find(LONG, "side-by-side")
    assert opening.shots[0].arrangement.panes[0].at("from") == find(LONG, "from: 2 s")
    assert opening.shots[0].arrangement.panes[1].at("capture") == find(LONG, "birch-quay\n")
    assert opening.hear[1].at("gain") == find(LONG, "gain: -6")
    assert closer.enter is not None
    assert closer.enter.at("dissolve") == find(LONG, "dissolve: 0.5 s")
    assert story.at("captions") == find(LONG, "captions:")
    assert story.at("fonts[1]") == find(LONG, "fonts/Other.ttf")
    assert story.subjects["birch"].at("id") == find(LONG, "birch: Birch")
    birch = story.captures["birch-quay"]
    assert (birch.at("id"), birch.at()) == (find(LONG, "birch-quay:"), find(LONG, "file: footage/birch"))
    assert birch.line_up is not None
    assert birch.line_up.at("offset") == find(LONG, "offset:")
    assert story.canvas.at("rate") == find(LONG, "rate: 59.94")


@pytest.mark.parametrize("text", SOUND.values(), ids=list(SOUND))
def test_bytes_line_ends_and_marks_do_not_change_the_meaning(text: str) -> None:
    # Source: YAML 1.2.2, sections 5.2 and 5.4: a byte order mark and the kind of line end carry no meaning.
    story = read_storyboard(text, "a")
    for other in (text.encode(), b"\xef\xbb\xbf" + text.encode(), text.replace("\n", "\r\n").encode()):
        assert read_storyboard(other, "b") == story


def test_values_are_frozen(story: Storyboard) -> None:
    with pytest.raises(FrozenInstanceError):
        story.title = "Other"  # type: ignore[misc]  # that it is refused is the test


def test_a_storyboard_is_loaded_from_its_file(tmp_path: Path) -> None:
    path = tmp_path / "Käse [1] 100%.yaml"
    path.write_text(SHORT, encoding="utf-8")
    story = load_storyboard(path)
    assert story == read_storyboard(SHORT, "other")
    assert story.at("title") == Place(str(path), 2, 1)


def test_files_that_cannot_be_read_are_named(tmp_path: Path) -> None:
    for path, part in (
        (tmp_path / "none.yaml", "there is no file"),
        (tmp_path, "is not a file"),
        (tmp_path / "nul\0.yaml", "cannot be read"),
        (tmp_path / ("x" * 300), "cannot be read"),
    ):
        with pytest.raises(StoryboardError, match=part):
            load_storyboard(path)


def test_a_long_storyboard_is_read_quickly() -> None:
    # Source: our own wish: an hour of programme, a segment every ten seconds, is read in less than a second.
    lines = [
        f"  - {{id: s{n}, say: [One line., Another.], show: {{side-by-side: [{{capture: a, from: {n} s}}, b]}}}}"
        for n in range(360)
    ]
    head = "storyboard: 1\ntitle: T\ncaptures: {a: {file: a.mp4}, b: {file: b.mp4}}\nsegments:\n"
    started = time.process_time()
    story = read_storyboard(head + "\n".join(lines), "s")
    assert time.process_time() - started < 1.0
    assert len(story.segments) == 360
