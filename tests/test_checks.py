"""Findings: each fault of a project is found, where it stands, with a mend that works."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from media_maker import Sound, tone, write_clip, write_sound

from assembler.cli.main import main

HEAD = """\
storyboard: 1
title: t
canvas: {size: 640x360, rate: 30}
subjects: {a: Ash}
captures:
  a: {file: footage/a.mp4, subject: a}
narration: {voice: none}
segments:
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    (tmp_path / "footage").mkdir()
    (tmp_path / "takes").mkdir()
    write_clip(tmp_path / "footage" / "a.mp4", pictures=90, rate=30, colour=(1, 1, 1, 1))
    return tmp_path


def take(project: Path, name: str, seconds: float) -> None:
    """A take of known length: a tone, sounding from end to end."""
    write_sound(project / "takes" / name, Sound(tone(300, seconds=seconds, level=0.3)))


def found(project: Path, segments: str, capsys: pytest.CaptureFixture[str]) -> list[dict[str, object]]:
    (project / "storyboard.yaml").write_text(HEAD + segments, encoding="utf-8")
    code = main(["check", str(project), "--json"])
    document = json.loads(capsys.readouterr().out)
    findings: list[dict[str, object]] = document["findings"]
    assert code == int(any(f["severity"] == "error" for f in findings))
    # The takes are tones: that no word can be found in them is true, and not what these checks are about.
    return [f for f in findings if f["code"] not in ("take-doubtful", "recogniser-missing")]


def codes(findings: list[dict[str, object]]) -> set[object]:
    return {f["code"] for f in findings}


def test_a_sound_project_has_no_findings(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take(project, "one-1.wav", 1.0)
    assert found(project, "  - {id: one, lasts: 2.5 s, say: 'All is well here.', show: {full: a}}\n", capsys) == []


def test_narration_longer_than_its_segment_says_by_how_much_and_the_mend_works(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    take(project, "one-1.wav", 2.0)
    after = "  - {id: two, lasts: 1 s, show: {full: a}}\n"
    line = "  - {id: one, lasts: 1.5 s, say: 'Ten words of speech that will not fit this segment.', show: {full: a}}\n"
    findings = found(project, line + after, capsys)
    long = next(f for f in findings if f["code"] == "narration-too-long")
    # lead 0.3 s + take 2.0 s - segment 1.5 s = 0.8 s, by hand; the take's ends may keep 20 ms of silence.
    seconds = re.search(r"is (\d\.\d\d) s longer", str(long["what"]))
    assert seconds and abs(float(seconds[1]) - 0.80) <= 0.05
    assert (long["line"], long["column"]) == (9, 29)
    lasts = re.search(r"let it last (\d\d:\d\d:\d\d:\d\d)", str(long["mend"]))
    assert lasts
    mended = line.replace("lasts: 1.5 s", f"lasts: '{lasts[1]}'")
    assert "narration-too-long" not in codes(found(project, mended + after, capsys))


def test_a_neighbours_slack_is_offered(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take(project, "one-1.wav", 1.4)
    text = "  - {id: one, lasts: 1.5 s, say: 'Words enough.', show: {full: a}}\n"
    (finding,) = [f for f in found(project, text + "  - {id: two, lasts: 1 s, show: {full: a}}\n", capsys)
                  if f["code"] == "narration-too-long"]  # fmt: skip
    cheapest = finding["mends"][0]  # type: ignore[index]
    # 0.3 s + 1.4 s - 1.5 s = 0.2 s, which are 6 of 30 frames; the half second of silence after it is not to be had.
    assert (cheapest["kind"], "'two'" in cheapest["what"]) == ("borrow", True)
    assert [(edit["path"], edit["old"], edit["new"]) for edit in cheapest["edits"]] == [
        ("/segments/0/lasts", "1.5 s", "00:00:01:21"), ("/segments/1/lasts", "1 s", "00:00:00:24")]


def test_narration_cut_by_the_programmes_end_is_an_error(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take(project, "one-1.wav", 2.0)
    assert "narration-cut" in codes(found(project, "  - {id: one, lasts: 1 s, say: Cut., show: {full: a}}\n", capsys))


@pytest.mark.usefixtures("unheard_takes")
def test_two_voices_at_once_are_an_error(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take(project, "one-1.wav", 2.0)
    take(project, "two-1.wav", 0.5)
    text = "  - {id: one, lasts: 1 s, say: x., show: {full: a}}\n  - {id: two, lasts: 2 s, say: z., show: {full: a}}\n"
    assert "narration-overlap" in codes(found(project, text, capsys))


@pytest.mark.parametrize(
    ("segments", "code"),
    [
        ("  - {id: one, lasts: 4 s, show: {full: a}}\n", "capture-too-short"),
        ("  - {id: one, lasts: 1 s, show: {full: {capture: a, from: 9 s}}}\n", "capture-too-short"),
        ("  - {id: one, lasts: 1 s, show: {card: Hello}}\n", "capture-unused"),
        ("  - {id: one, lasts: 1 s, hear: a, show: {full: a}}\n", "capture-silent"),
        ("  - {id: one, lasts: 1 s, show: {card: '\U00020000'}}\n", "glyph-missing"),
        ("  - {id: one, lasts: 1 s, show: {grid: [{capture: a, crop: {x: 0, y: 0, w: 160, h: 90}}, a, a, a, a, a, a]}}"
         "\n", None),
        ("  - {id: one, lasts: 1 s, show: {card: {picture: footage/none.png}}}\n", "file-missing"),
        ("  - {id: one, lasts: 1 s, say: {text: x, take: takes/none.wav}, show: {full: a}}\n", "take-missing"),
        ("  - {id: one, lasts: 1 s, show: {made: {file: cards/none.py}}}\n", "file-missing"),
    ],
)  # fmt: skip
def test_each_fault_is_found(
    project: Path, capsys: pytest.CaptureFixture[str], segments: str, code: str | None
) -> None:
    findings = codes(found(project, segments, capsys))
    assert (code in findings) if code else "detail-lost" not in findings


def test_a_crop_shown_smaller_than_it_is_loses_detail(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_clip(project / "footage" / "a.mp4", pictures=10, rate=30, size=(1280, 720), colour=(1, 1, 1, 1))
    pane = "{capture: a, crop: {x: 0, y: 0, w: 800, h: 450}}"
    text = f"  - {{id: one, lasts: 0.2 s, show: {{side-by-side: [{pane}, {pane}]}}}}\n"
    assert "detail-lost" in codes(found(project, text, capsys))


def test_missing_and_broken_captures_are_all_named_at_once(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (project / "footage" / "broken.mp4").write_bytes(np.random.default_rng(1).bytes(4000))
    text = (HEAD + "  - {id: one, lasts: 1 s, show: {side-by-side: [a, b, c]}}\n").replace(
        "narration:", "  b: {file: footage/none.mp4}\n  c: {file: footage/broken.mp4}\nnarration:"
    )
    (project / "storyboard.yaml").write_text(text, encoding="utf-8")
    assert main(["check", str(project)]) == 1
    shown = capsys.readouterr().out
    assert "storyboard.yaml:7:7: error" in shown and "storyboard.yaml:8:7: error" in shown
    assert main(["draft", str(project)]) == 1
    assert not (project / "out").exists() or not list((project / "out").iterdir())


def test_a_fast_take_is_a_warning(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take(project, "one-1.wav", 1.0)
    text = "  - {id: one, lasts: 2.5 s, say: 'one two three four five six seven', show: {full: a}}\n"
    assert "speech-too-fast" in codes(found(project, text, capsys))  # 7 words in a second: 420 a minute


def test_a_caption_that_cannot_be_read_in_time_is_a_warning(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    take(project, "one-1.wav", 0.6)
    text = "So many words that nobody could read them all in the time given to it."
    findings = found(project, f"  - {{id: one, lasts: 2 s, say: '{text}', show: {{full: a}}}}\n", capsys)
    assert "caption-too-fast" in codes(findings)


def test_findings_are_sorted_by_place(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = "  - {id: one, lasts: 4 s, show: {full: a}}\n  - {id: two, at: 1 s, lasts: 9 s, show: {full: a}}\n"
    places = [(f["line"], f["column"]) for f in found(project, text, capsys)]
    assert len(places) >= 3 and places == sorted(places)


def test_an_hdr_capture_is_refused_in_a_draft(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_clip(project / "footage" / "a.mp4", pictures=30, rate=30, colour=(9, 16, 9, 1))
    text = "  - {id: one, lasts: 1 s, show: {full: a}}\n"
    assert "capture-hdr" in codes(found(project, text, capsys))
    assert main(["draft", str(project)]) == 1


def test_a_start_before_the_captures_first_picture_is_found(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_clip(project / "footage" / "b.mp4", pictures=90, rate=30, colour=(1, 1, 1, 1))
    text = (HEAD + "  - {id: one, lasts: 1 s, show: {side-by-side: [{capture: a, from: 0 s}, b]}}\n").replace(
        "narration:", "  b: {file: footage/b.mp4, line-up: {with: a, offset: -6 f}}\nnarration:"
    )
    (project / "storyboard.yaml").write_text(text, encoding="utf-8")
    assert main(["check", str(project)]) == 1
    # 6 frames of 30 a second.
    assert "begins 0.20 s after the moment asked for" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("crop", "inside"),
    [
        ("{x: 100, y: 50, w: 100, h: 80}", "{x: 60, y: 10, w: 100, h: 80}"),  # partly outside 160x90
        ("{x: 500, y: 500, w: 20, h: 10}", "{x: 140, y: 80, w: 20, h: 10}"),  # wholly outside
        ("{x: 10, y: 0, w: 640, h: 90}", "{x: 0, y: 0, w: 160, h: 90}"),  # larger than the picture
    ],
)
def test_a_crop_that_leaves_the_picture_is_an_error_whose_mend_lies_inside(
    project: Path, capsys: pytest.CaptureFixture[str], crop: str, inside: str
) -> None:
    text = f"  - {{id: one, lasts: 1 s, show: {{full: {{capture: a, crop: {crop}}}}}}}\n"
    (finding,) = [f for f in found(project, text, capsys) if f["code"] == "crop-outside"]
    assert finding["severity"] == "error" and "160x90" in str(finding["what"])
    assert inside in str(finding["mend"])
    assert "crop-outside" not in codes(found(project, text.replace(crop, inside), capsys))


def test_a_freeze_that_begins_after_its_shot_has_ended_is_a_warning(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = "  - {id: one, lasts: 1 s, show: {full: {capture: a, freeze: [{at: 29 f}, {at: 1 s, lasts: 1 s}]}}}\n"
    (finding,) = [f for f in found(project, text, capsys) if f["code"] == "freeze-outside"]
    assert (finding["severity"], finding["column"]) == ("warning", text.index("at: 1 s") + 1)
    assert "1 s" in str(finding["what"])


def test_sound_that_ends_before_the_segment_that_hears_it_is_a_warning(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    film = project / "footage" / "a.mp4"
    write_clip(film, pictures=90, rate=30, colour=(1, 1, 1, 1), sound=Sound(tone(300, seconds=3.0), codec="aac"))
    text = "  - {id: one, lasts: 2 s, hear: {capture: a, from: START}, show: {full: a}}\n"
    assert "sound-too-short" not in codes(found(project, text.replace("START", "0.9 s"), capsys))
    (partly,) = [f for f in found(project, text.replace("START", "2 s"), capsys) if f["code"] == "sound-too-short"]
    assert "ends 1.0" in str(partly["what"])  # 2 s + 2 s of 3 s, to the codec's 21 ms
    (late,) = [f for f in found(project, text.replace("START", "100 s"), capsys) if f["code"] == "sound-too-short"]
    assert "is heard from 01:40.000, but its sound ends at 00:03.0" in str(late["what"])


def test_the_freeze_offered_for_footage_that_is_too_short_is_enough(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = "  - {id: one, lasts: 4 s, show: {full: {capture: a, speed: 2}}}\n"
    (finding,) = [f for f in found(project, text, capsys) if f["code"] == "capture-too-short"]
    offered = re.search(r"`(freeze: \{at: \d+ f\})`", str(finding["mend"]))
    assert offered
    mended = text.replace("speed: 2", f"speed: 2, {offered[1]}")
    assert "capture-too-short" not in codes(found(project, mended, capsys))


def test_footage_too_short_for_its_words_asks_for_fewer_words(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    take(project, "one-1.wav", 4.0)
    text = "  - {id: one, lasts: fit, say: 'Nine words that take longer than the footage has.', show: {full: a}}\n"
    (finding,) = [f for f in found(project, text, capsys) if f["code"] == "capture-too-short"]
    assert "say less" in str(finding["mend"])
