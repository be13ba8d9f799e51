"""Reading limits: the published tables, numbers of a storyboard's own, and findings at the line that causes them."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from captions_maker import programme
from test_cli_retime import BOARD

from assembler.captions.cues import make_cues
from assembler.captions.limits import BROADCAST, ONLINE, SLOW, Limits, cps_of_wpm, limits_from
from assembler.captions.violations import violations
from assembler.cli.main import main
from assembler.errors import StoryboardError
from assembler.prepare import prepare
from assembler.storyboard import read_storyboard

# What each profile takes from which publication. Numbers 'from memory' were not seen in the source again.
PUBLISHED = [
    (BROADCAST, "chars_per_line", 37, "BBC subtitle guidelines 1.2: teletext width"),
    (BROADCAST, "lines", 2, "BBC subtitle guidelines 1.2"),
    (BROADCAST, "target_cps", cps_of_wpm(180), "BBC, Ofcom: 160 to 180 words a minute"),
    (BROADCAST, "max_cps", 5 / Fraction(3, 10), "BBC: about 0.3 s a word; five characters: common practice"),
    (BROADCAST, "min_s", Fraction(12, 10), "BBC: four words 1.2 s"),
    (BROADCAST, "gap_frames", 0, "BBC: no gap,"),
    (BROADCAST, "join_s", 1, "or one of at least 1 s"),
    (BROADCAST, "hang_s", Fraction(3, 2), "BBC: hang at most 1.5 s while the speaker is in shot"),
    (ONLINE, "chars_per_line", 42, "published timed-text style guides"),
    (ONLINE, "lines", 2, "published timed-text style guides"),
    (ONLINE, "target_cps", 17, "published timed-text style guides: children"),
    (ONLINE, "max_cps", 20, "published timed-text style guides: adults"),
    (ONLINE, "min_s", Fraction(5, 6), "published timed-text style guides: 20 frames at 24"),
    (ONLINE, "max_s", 7, "published timed-text style guides"),
    (ONLINE, "gap_frames", 2, "published timed-text style guides, older editions; from memory"),
    (SLOW, "chars_per_line", 32, "DCMP Captioning Key; from memory"),
    (SLOW, "lines", 2, "DCMP Captioning Key; from memory"),
    (SLOW, "target_cps", cps_of_wpm(140), "DCMP Captioning Key: middle level"),
    (SLOW, "max_cps", cps_of_wpm(160), "DCMP Captioning Key: upper level"),
    (SLOW, "min_s", Fraction(40, 30), "DCMP Captioning Key: 40 frames at 30"),
    (SLOW, "max_s", 6, "DCMP Captioning Key"),
]


@pytest.mark.parametrize(("limits", "name", "value", "source"), PUBLISHED, ids=lambda each: str(each)[:24])
def test_each_profile_carries_the_published_number(limits: Limits, name: str, value: Fraction, source: str) -> None:
    assert source
    assert getattr(limits, name) == value


def story(limits: str) -> str:
    return BOARD.replace("narration:", f"captions: {{limits: {limits}}}\nnarration:")


@pytest.mark.parametrize(("written", "field", "value"), [
    ("width: 30", "chars_per_line", 30), ("lines: 1", "lines", 1), ("wanted: 12.5", "target_cps", Fraction(25, 2)),
    ("most: 18", "max_cps", 18), ("shortest: 1 s", "min_s", 1), ("longest: 5 s", "max_s", 5),
    ("gap: 3 f", "gap_frames", 3),
    ("gap: 100 ms", "gap_frames", 6), ("join: 1 s", "join_s", 1), ("linger: 200 ms", "linger_s", Fraction(1, 5)),
    ("hang: 1 s", "hang_s", 1), ("snap: 0 s", "snap_s", 0),
])  # fmt: skip
def test_every_number_can_be_the_storyboards_own(written: str, field: str, value: Fraction) -> None:
    settings = read_storyboard(story(f"{{profile: broadcast, {written}}}"), "s").captions
    made = limits_from(settings)
    assert getattr(made, field) == value
    # All others stay the profile's, but for one that would contradict it.
    others = {name for name in Limits.__slots__ if getattr(made, name) != getattr(BROADCAST, name)}
    assert others == {field} - ({field} if getattr(BROADCAST, field) == value else set())


def test_a_number_that_crosses_the_profiles_takes_it_along() -> None:
    made = limits_from(read_storyboard(story("{profile: online, most: 12}"), "s").captions)
    assert (made.target_cps, made.max_cps) == (12, 12)
    made = limits_from(read_storyboard(story("{profile: online, shortest: 8 s}"), "s").captions)
    assert (made.min_s, made.max_s) == (8, 8)


@pytest.mark.parametrize(("wrong", "place", "words"), [
    ("{wanted: 20, most: 18}", 20, "above `most`"), ("{shortest: 3 s, longest: 2 s}", 22, "above `longest`"),
    ("{longest: 0.2 s}", 21, "under a second"), ("{width: 4}", 19, "10 to 100"), ("{widht: 40}", 12, "widht"),
    ("{profile: onlin}", 21, "onlin"),
])  # fmt: skip
def test_numbers_that_cannot_be_kept_are_refused_where_they_stand(wrong: str, place: int, words: str) -> None:
    with pytest.raises(StoryboardError) as caught:
        read_storyboard(story(wrong), "s")
    (problem,) = caught.value.problems
    assert words in f"{problem.what}; {problem.mend}"
    assert problem.place is not None
    assert problem.place.line == 3
    assert problem.place.column >= place


def test_the_layout_keeps_a_storyboards_own_width() -> None:
    timeline = programme([["Moonlight follows the far pier for as long as the ferry draws its thin line."]])
    narrow = read_storyboard(story("{width: 20, lines: 1}"), "s").captions
    cues = make_cues(timeline, limits_from(narrow))
    assert all(len(cue.lines) == 1 and len(cue.lines[0]) <= 20 for cue in cues)
    assert not [each for each in violations(cues, timeline.rate, limits_from(narrow)) if each.kind == "too-wide"]


def test_a_persons_caption_is_told_of_at_its_line_of_the_file(tmp_path: Path) -> None:
    (tmp_path / "storyboard.yaml").write_text(BOARD)
    assert main(["retime", str(tmp_path)]) == 0
    path = tmp_path / "captions" / "en.srt"
    blocks = path.read_text().split("\n\n")
    number, times, *_ = blocks[1].split("\n")
    blocks[1] = f"{number}\n{times}\n{'A very long line that a person wrote, wider than any ' * 2}"
    path.write_text("\n\n".join(blocks))
    line = path.read_text().split("\n").index(number, 3) + 1
    found = {(each.code, str(each.place)): each for each in prepare(tmp_path).findings}
    here = f"captions/en.srt:{line}:1"
    assert ("caption-too-fast", here) in found
    assert found["caption-too-wide", here].mend == "break its line elsewhere, or shorten its text"
    # Captions that nobody touched are told of where the storyboard has their words.
    (tmp_path / "storyboard.yaml").write_text(story("{most: 5}"))
    places = {str(each.place) for each in prepare(tmp_path).findings if each.code == "caption-too-fast"}
    assert f"captions/en.srt:{line}:1" in places
    assert any("storyboard.yaml:" in place for place in places)
