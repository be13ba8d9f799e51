"""Fit verdicts on takes of known length, pace in both directions, and the table of `check --fit`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from media_maker import Sound, tone, write_clip, write_sound

from assembler.cli.main import main

pytestmark = pytest.mark.usefixtures("unheard_takes")

HEAD = """\
storyboard: 1
title: t
canvas: {size: 640x360, rate: 30}
captures:
  a: {file: a.mp4}
narration: {voice: none}
segments:
"""
SIX = "one two three four five six"


@pytest.fixture
def project(tmp_path: Path) -> Path:
    (tmp_path / "takes").mkdir()
    write_clip(tmp_path / "a.mp4", pictures=300, rate=30, colour=(1, 1, 1, 1))
    return tmp_path


def take(project: Path, name: str, seconds: float, gap: tuple[float, float] | None = None) -> None:
    """A take that sounds from end to end, but for a gap between two moments."""
    samples = tone(300, seconds=seconds, level=0.3)
    if gap is not None:
        samples[int(gap[0] * 48_000) : int(gap[1] * 48_000)] = 0
    write_sound(project / "takes" / f"{name}.wav", Sound(samples))


def checked(project: Path, capsys: pytest.CaptureFixture[str], *segments: str) -> dict[str, Any]:
    """What `check --fit --json` answers."""
    text = HEAD + "".join(f"  - {{{segment}, show: {{full: a}}}}\n" for segment in segments)
    (project / "storyboard.yaml").write_text(text, encoding="utf-8")
    main(["check", "--fit", "--json", str(project)])
    answer: dict[str, Any] = json.loads(capsys.readouterr().out)
    return answer


def finding(answer: dict[str, Any], code: str) -> dict[str, Any]:
    (found,) = [each for each in answer["findings"] if each["code"] == code]
    return dict(found)


@pytest.mark.parametrize(("first", "second", "lasts"), [(2.0, 1.5, 3.9), (0.8, 0.62, 1.7), (3.333, 1.001, 4.5)])
def test_figures_of_takes_of_known_length_are_exact_to_10_ms(
    project: Path, capsys: pytest.CaptureFixture[str], first: float, second: float, lasts: float
) -> None:
    take(project, "one-1", first)
    take(project, "one-2", second)
    answer = checked(project, capsys, f"id: one, lasts: {lasts} s, say: [Two words, And more]", "id: two, lasts: 1 s")
    one, two = answer["fit"]
    # By hand: 0.3 s before, the takes, 0.35 s between, 0.5 s after.
    needed = 0.3 + first + 0.35 + second + 0.5
    assert one["needed_s"] == pytest.approx(needed, abs=0.01)
    assert (one["available_s"], one["start_s"], one["verdict"]) == (lasts, 0.0, "too-long")
    assert one["slack_s"] == pytest.approx(lasts - needed, abs=0.01)
    assert one["over_s"] == pytest.approx(needed - 0.5 - lasts, abs=0.01)
    assert f"is {one['over_s']:.2f} s longer" in finding(answer, "narration-too-long")["what"]
    for line, seconds, start in zip(one["lines"], (first, second), (0.3, 0.65 + first), strict=True):
        assert line["lasts_s"] == line["low_s"] == line["high_s"] == pytest.approx(seconds, abs=0.01)
        assert (line["start_s"], line["kind"]) == (pytest.approx(start, abs=0.01), "take")
    assert (two["verdict"], two["lines"], two["start_s"]) == ("silent", [], lasts)


@pytest.mark.parametrize(
    ("lasts", "verdict", "code"),
    [
        ("2.7 s", "tight", None),  # 0.3 + 2.0 + 0.5 = 2.8 s are needed
        ("2.8 s", "fits", None),
        ("fit", "fits", None),
        ("2.2 s", "cut", "narration-cut"),
        ("9 s", "long-silence", "narration-ends-early"),
        ("7.8 s", "fits", None),  # 5 s of silence beyond the usual half second are not yet long
    ],
)
def test_verdicts(
    project: Path, capsys: pytest.CaptureFixture[str], lasts: str, verdict: str, code: str | None
) -> None:
    take(project, "one-1", 2.0)
    answer = checked(project, capsys, f"id: one, lasts: {lasts}, say: Four words are here")
    assert answer["fit"][0]["verdict"] == verdict
    codes = {each["code"] for each in answer["findings"] if each["code"].startswith("narration-")}
    assert codes == ({code} if code else set())


def test_a_line_that_is_not_recorded_has_an_interval_and_may_not_fit(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (row,) = checked(project, capsys, f"id: one, lasts: fit, say: {SIX}")["fit"]
    (line,) = row["lines"]
    assert line["kind"] == "estimate" and line["low_s"] < line["lasts_s"] < line["high_s"]
    (row,) = checked(project, capsys, f"id: one, lasts: {line['lasts_s'] + 0.9} s, say: {SIX}")["fit"]
    assert row["verdict"] == ("unsure" if line["high_s"] - line["lasts_s"] > 0.6 else "fits")
    (row,) = checked(project, capsys, f"id: one, lasts: {line['lasts_s'] + 0.35} s, say: {SIX}")["fit"]
    assert row["verdict"] == "unsure"


def test_a_pause_that_is_written_means_the_silence(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take(project, "one-1", 2.0)
    answer = checked(project, capsys, "id: one, lasts: 9 s, say: {text: Four words are here, pause: 1 s}")
    assert "narration-ends-early" not in {each["code"] for each in answer["findings"]}


def test_mends_come_in_the_order_of_their_cost(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take(project, "one-1", 3.0)
    take(project, "one-2", 3.0)
    say = "say: [Four words are here, And four more words]"
    # 0.3 + 3 + 0.35 + 3 = 6.65 s of words in 6.5 s: 0.15 s too long.
    answer = checked(project, capsys, f"id: one, lasts: 6.5 s, {say}", "id: two, lasts: 2 s")
    mends = finding(answer, "narration-too-long")["mends"]
    assert [mend["kind"] for mend in mends] == ["borrow", "pauses", "extend", "stretch", "cut"]
    (shorter,) = mends[1]["edits"]
    assert shorter == {"path": "/segments/0/say/0", "old": "Four words are here",
                       "new": {"text": "Four words are here", "pause": "0.2 s"}}  # fmt: skip
    # 6 s have to be said in 5.85 s: 2.564 % faster, to the next tenth.
    assert [edit["new"]["stretch"] for edit in mends[3]["edits"]] == ["2.6 % faster"] * 2
    assert mends[4]["edits"] == [] and "cut about 1 word" in mends[4]["what"]


def test_a_neighbours_own_at_is_not_moved(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take(project, "one-1", 1.4)
    answer = checked(project, capsys, "id: one, lasts: 1.5 s, say: Enough", "id: two, at: 1.5 s, lasts: 2 s")
    assert [mend["kind"] for mend in finding(answer, "narration-too-long")["mends"]] == ["cut"]


def test_an_extension_beyond_the_footage_is_not_offered(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take(project, "one-1", 10.2)  # the capture lasts 10 s
    answer = checked(project, capsys, "id: one, lasts: 9.9 s, say: Very slow words")
    kinds = [mend["kind"] for mend in finding(answer, "narration-cut")["mends"]]
    assert "extend" not in kinds and "cut" in kinds


def test_fit_with_footage_that_ends_too_early_offers_ways_out(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    take(project, "one-1", 9.5)
    words = " ".join([SIX] * 4)
    answer = checked(project, capsys, f"id: one, lasts: fit, say: {words}")
    mends = finding(answer, "capture-too-short")["mends"]
    # 10.3 s are shown of 10 s: 9 frames of 30 have no picture.
    assert [mend["kind"] for mend in mends] == ["freeze", "stretch", "cut"]
    assert mends[0]["edits"] == [{"path": "/segments/0/show/full", "old": "a",
                                  "new": {"capture": "a", "freeze": {"at": "00:00:09:29"}}}]  # fmt: skip


@pytest.mark.parametrize(
    ("seconds", "gap", "code"),
    [
        (1.7, None, "speech-too-fast"),  # 6 words in 1.7 s are 212 a minute
        (1.9, None, None),  # 189
        (3.5, None, None),  # 103
        (3.7, None, "speech-too-slow"),  # 97
        (4.7, (1.5, 3.0), None),  # the same pace as 3.2 s with a long pause: 112
        (6.0, (1.5, 2.7), "speech-too-slow"),  # 4.8 s without it: 75
    ],
)
def test_pace(
    project: Path, capsys: pytest.CaptureFixture[str], seconds: float, gap: tuple[float, float] | None, code: str | None
) -> None:
    take(project, "one-1", seconds, gap)
    answer = checked(project, capsys, f"id: one, lasts: fit, say: {SIX}")
    assert [each["code"] for each in answer["findings"] if "speech" in each["code"]] == ([code] if code else [])


def test_a_pace_that_a_small_stretch_mends_is_mended_so(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take(project, "one-1", 3.7)
    slow = finding(checked(project, capsys, f"id: one, lasts: fit, say: {SIX}"), "speech-too-slow")
    (edit,) = slow["mends"][0]["edits"]
    # 97.3 words a minute have to become 100: 2.78 % faster.
    assert edit["new"]["stretch"] == "2.8 % faster"
    text = f"say: {{text: {SIX}, stretch: 2.8 % faster}}"
    after = checked(project, capsys, f"id: one, lasts: fit, {text}")
    assert not [each for each in after["findings"] if "speech" in each["code"]]
    assert after["fit"][0]["lines"][0]["lasts_s"] == pytest.approx(3.7 / 1.028, abs=0.001)


def test_no_line_is_stretched_until_nobody_can_follow(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take(project, "one-1", 1.85)  # 194.6 words a minute; 5 % faster 204.3
    answer = checked(project, capsys, f"id: one, lasts: fit, say: {{text: {SIX}, stretch: 5 % faster}}")
    wrong = finding(answer, "stretch-too-fast")
    assert wrong["severity"] == "error"
    # 200 / 194.6 is 1.0277.
    assert wrong["mends"][0]["edits"] == [
        {"path": "/segments/0/say/stretch", "old": "5 % faster", "new": "2.7 % faster"}]


def test_the_table_says_in_words_what_json_says_in_figures(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    take(project, "one-1", 2.0)
    checked(project, capsys, f"id: one, lasts: 1.5 s, say: {SIX}", "id: two, lasts: 2 s")
    assert main(["check", "--fit", str(project)]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split() == ["begins", "needed", "available", "slack", "words", "a", "minute"]
    assert lines[1].split(maxsplit=8) == [
        "one", "00:00.000", "2.80", "s", "1.50", "s", "-1.30", "s", "too long by 0.80 s"]  # fmt: skip
    assert lines[2].split() == ["line", "1", "00:00.300", "2.00", "s", "180", "take"]
    assert lines[3].split(maxsplit=4) == ["two", "00:01.500", "2.00", "s", "nothing is said"]
    assert "nothing is said" in lines[3] and not any(line != line.rstrip() for line in lines)


def test_many_findings_stay_quick(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    names = [f"s{number}" for number in range(40)]
    for name in names:
        take(project, f"{name}-1", float(np.round(1.3 + 0.001 * len(name), 3)))
    answer = checked(project, capsys, *(f"id: {name}, lasts: 1.2 s, say: Two words" for name in names))
    codes = [each["code"] for each in answer["findings"]]
    assert codes.count("narration-too-long") == 39 and codes.count("narration-cut") == 1
    with_mends = [each for each in answer["findings"] if each["mends"] and each["code"] == "narration-too-long"]
    assert len(with_mends) == 20
