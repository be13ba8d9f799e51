"""Every mend that a finding proposes, written into the storyboard, makes that finding go away and brings no new error.

There is no outside source for fit: the judge here is the storyboard read anew, from the edits alone.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from assembler.checks.fit import narration_fit
from assembler.checks.footage import footage_lengths
from assembler.checks.pace import speech_rate
from assembler.errors import Edit, Finding
from assembler.media.info import CaptureInfo, Colour
from assembler.narration.speech import Speech, Word
from assembler.narration.stretch import at_speed, change_of
from assembler.storyboard import read_storyboard
from assembler.storyboard.model import Storyboard
from assembler.timeline.model import Timeline
from assembler.timeline.resolve import resolve
from assembler.timing.rates import SAMPLE_RATE

Board = dict[str, Any]
Lengths = dict[tuple[str, int], int]


def film(pictures: int) -> CaptureInfo:
    """A capture of 30 pictures a second, known without a file."""
    times = np.arange(pictures, dtype=np.int64)
    return CaptureInfo(
        Path("a.mp4"), 320, 180, Fraction(1), 0, "h264", "yuv420p", 8, Colour(1, 1, 1, False), times,
        Fraction(1, 30), 1, Fraction(30), None, False,
    )  # fmt: skip


def take(samples: int, words: int) -> Speech:
    step = samples // words
    return Speech("take", samples, tuple(Word("word", step * n, step * (n + 1)) for n in range(words)))


def lines_of(segment: Board) -> list[Any]:
    said = segment.get("say", [])
    return said if isinstance(said, list) else [said]


def timeline_of(board: Board, lengths: Lengths, footage: int) -> tuple[Timeline, list[Finding]]:
    """The storyboard as a person would have written it, its takes as long as they were spoken."""
    storyboard = read_storyboard(json.dumps(board), "storyboard.yaml")
    speech = {key: at_speed(take(lengths[key], word_count(line.text)), change_of(line, storyboard))
              for key, line in written_lines(storyboard)}  # fmt: skip
    timeline, placing = resolve(storyboard, Path(), dict.fromkeys("abc", film(footage)), speech)
    return timeline, list(placing)


def written_lines(storyboard: Storyboard) -> Iterable[tuple[tuple[str, int], Any]]:
    return (((seg.id, n), line) for seg in storyboard.segments for n, line in enumerate(seg.say, 1))


def word_count(text: str) -> int:
    return len(text.split())


def findings_of(board: Board, lengths: Lengths, footage: int) -> list[Finding]:
    timeline, placing = timeline_of(board, lengths, footage)
    return [*placing, *narration_fit(timeline), *speech_rate(timeline), *footage_lengths(timeline)]


def apply(board: Board, edits: Iterable[Edit]) -> Board:
    """The storyboard with edits written in, as RFC 6901 says where."""
    after: Board = json.loads(json.dumps(board))
    for edit in edits:
        *parents, last = edit.path.split("/")[1:]
        node = after
        for part in parents:
            node = node[int(part)] if isinstance(node, list) else node[part]
        key: Any = int(last) if isinstance(node, list) else last
        present = node[key] if isinstance(node, list) else node.get(key)
        assert present == (None if edit.old is None else json.loads(edit.old)), edit
        assert edit.new is not None
        node[key] = json.loads(edit.new)
    return after


def called(finding: Finding) -> tuple[str, str]:
    """A finding without its figures: the same one in two versions of a storyboard."""
    what = re.sub(r"; .*| before the dissolve that follows does| too soon| \([^)]*\)", "", finding.what)
    return finding.code, re.sub(r"-?\d[\d.:]*", "#", re.sub(r"(line|segment) '?\d+", r"\g<0>", what))


def without_words(finding: Finding, advice: str, lengths: Lengths) -> Lengths:
    """How long the takes are once the words are cut, each word being as long as the segment's others."""
    segment = re.findall(r"'([p-s])'", finding.what)[-1]
    told = re.search(r"cut about (\d+) words? of its (\d+)", advice)
    assert told
    keep = 1 - Fraction(int(told[1]), int(told[2]))
    return {key: int(length * keep) if key[0] == segment else length for key, length in lengths.items()}


@st.composite
def boards(draw: st.DrawFn) -> tuple[Board, Lengths, int]:
    """Storyboards whose narration nearly fits, or not quite, with every way to write lengths, lines and shots."""
    rate = draw(st.sampled_from(["24", "25", "30", "59.94", "60"]))
    lengths: Lengths = {}
    segments: list[Board] = []
    here = Fraction(0)
    for name in "pqrs"[: draw(st.integers(1, 4))]:
        segment: Board = {"id": name}
        needed = Fraction(8, 10)
        for line in range(1, draw(st.sampled_from([0, 1, 1, 2, 3])) + 1):
            samples = draw(st.integers(30_000, 150_000))
            words = draw(st.integers(1, max(1, samples // 20_000)))
            lengths[name, line] = samples
            text = " ".join(["word"] * words)
            shape = draw(st.sampled_from(["text", "keys", "pause"]))
            entry: Any = text if shape == "text" else {"text": text}
            if shape == "pause":
                entry["pause"] = f"{draw(st.integers(0, 900))} ms"
            needed += Fraction(samples, SAMPLE_RATE) + Fraction(35, 100)
            segment.setdefault("say", []).append(entry)
        if len(segment.get("say", [])) == 1 and draw(st.booleans()):
            segment["say"] = segment["say"][0]
        if needed == Fraction(8, 10):
            needed = Fraction(draw(st.integers(3, 30)), 10)
        off_ms = draw(st.integers(-1500, -501) | st.integers(-1100, 100) | st.sampled_from([400, 1500, 7000]))
        lasts = max(Fraction(3, 10), needed + Fraction(off_ms, 1000))
        if draw(st.integers(0, 5)) == 0:
            segment["at"] = f"{float(here + Fraction(draw(st.sampled_from([0, 0, 0, 500])), 1000)):.3f} s"
            here = Fraction(segment["at"].split()[0])
        end = draw(st.sampled_from(["lasts", "lasts", "until", "fit"]))
        if end == "fit" and "say" in segment:
            segment["lasts"] = "fit"
        elif end == "until":
            segment["until"] = f"{float(here + lasts):.3f} s"
        else:
            segment["lasts"] = f"{float(lasts):.3f} s"
        here += lasts
        pane: Any = draw(st.sampled_from(["a", {"capture": "a", "from": f"{draw(st.integers(0, 40)) / 10} s"}]))
        shots = [{"full": pane}]
        if draw(st.integers(0, 2)) == 0:
            pair = [{"capture": "b", "from": "1 s"}, "c"]
            first = {"lasts": f"{draw(st.integers(2, 20)) / 10} s", "side-by-side": pair}
            shots = [first, *shots] if draw(st.booleans()) else [*shots, first]
            if end != "fit" and draw(st.integers(0, 3)) == 0:
                shots[shots[0] is first]["lasts"] = segment.get("lasts", "1 s")
        segment["show"] = shots if len(shots) > 1 or draw(st.booleans()) else shots[0]
        if segments and draw(st.integers(0, 4)) == 0:
            segment["enter"] = {"dissolve": "0.1 s"}
        segments.append(segment)
    board: Board = {"storyboard": 1, "title": "t", "canvas": {"size": "640x360", "rate": rate},
                    "captures": {name: {"file": f"{name}.mp4"} for name in "abc"}, "segments": segments}  # fmt: skip
    return board, lengths, draw(st.sampled_from([90, 180, 900, 900]))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(boards())
def test_every_mend_written_into_the_storyboard_makes_its_finding_go_away(made: tuple[Board, Lengths, int]) -> None:
    board, lengths, footage = made
    before = findings_of(board, lengths, footage)
    errors = {called(finding) for finding in before if finding.severity == "error"}
    for finding in before:
        for mend in finding.mends:
            if mend.kind == "cut" and "altogether" not in mend.what:
                event(f"{finding.code}: cut")
                fewer = without_words(finding, mend.what, lengths)
                assert called(finding) not in {called(each) for each in findings_of(board, fewer, footage)}
            if not mend.edits:
                continue
            event(f"{finding.code}: {mend.kind}")
            after = findings_of(apply(board, mend.edits), lengths, footage)
            assert called(finding) not in {called(each) for each in after}, (finding, mend)
            assert {called(each) for each in after if each.severity == "error"} <= errors, (finding, mend)
