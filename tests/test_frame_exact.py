"""The whole way, from storyboard to decoded draft: every pane of every frame shows the right picture.

Captures carry their picture numbers as cells of black and white. Random storyboards cut, slow, freeze
and arrange them; the draft is rendered by the command, decoded, and every number read back and held
against the rule worked out here slowly, in exact fractions, from the times the captures were written at.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from media_maker import number_in, write_clip

from assembler.cli.main import main
from assembler.picture.layout import lay_out
from assembler.storyboard import read_storyboard

WIDTH, HEIGHT = 320, 180
RATES = ["23.976", "24", "25", "29.97", "30", "50", "59.94", "60", "120"]
EXACT = {"23.976": Fraction(24000, 1001), "29.97": Fraction(30000, 1001), "59.94": Fraction(60000, 1001)}


@dataclass(frozen=True)
class Clip:
    """times: (n,) when each picture comes on, from the first one; end: when the last one goes."""

    path: Path
    times: tuple[Fraction, ...]
    first_number: int

    def number_at(self, wanted: Fraction) -> int:
        shown = sum(1 for time in self.times if time <= wanted)
        return self.first_number + max(0, shown - 1)


def exact(rate: str) -> Fraction:
    return EXACT.get(rate) or Fraction(int(rate))


@pytest.fixture(scope="module")
def clips(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Clip]:
    folder = tmp_path_factory.mktemp("clips")
    made: dict[str, Clip] = {}

    def add(name: str, suffix: str, times: list[Fraction], **options: Any) -> None:
        first = 1000 * len(made)
        path = write_clip(folder / f"{name}.{suffix}", pictures=range(first, first + len(times)), **options)
        made[name] = Clip(path, tuple(times), first)

    shapes = [{"g": "12", "bf": "0"}, {"g": "250", "bf": "2"}, {"g": "30", "bf": "3"}]
    for number, rate in enumerate(RATES):
        count = 40 if exact(rate) < 100 else 100
        grid = [k / exact(rate) for k in range(count)]
        add(f"r{number}", "mp4", grid, rate=exact(rate), options=shapes[number % 3], start_s=Fraction(number % 4, 2))
    rng = np.random.default_rng(7)
    ticks = [0, *np.cumsum(rng.integers(300, 9000, 60)).tolist()]
    uneven = [Fraction(t, 90_000) for t in ticks]
    add("vfr", "mp4", uneven, pts=ticks, options={"bf": "2", "g": "20"})
    add("vfrlate", "mp4", uneven, pts=ticks, start_s=5, options={"bf": "0"})
    milli = [0, *np.cumsum(rng.integers(4, 90, 60)).tolist()]
    add("mkv", "mkv", [Fraction(t, 1000) for t in milli], pts=milli, time_base=Fraction(1, 1000), start_s=2)
    add("hevc", "mp4", [Fraction(k, 60) for k in range(60)], rate=60, codec="libx265", options={"g": "15"})
    return made


PANES = {"full": (1, 1), "side-by-side": (2, 4), "stacked": (2, 3), "grid": (2, 6)}


@st.composite
def panes(draw: st.DrawFn, names: list[str]) -> dict[str, Any]:
    pane: dict[str, Any] = {"capture": draw(st.sampled_from(names))}
    pane["from"] = draw(st.integers(0, 1500))  # milliseconds
    pane["speed"] = draw(st.sampled_from(["1", "0.25", "0.5", "0.3", "2", "1.001"]))
    if draw(st.booleans()):
        pane["freeze"] = (draw(st.integers(0, 10)), draw(st.integers(1, 12)))
    return pane


@st.composite
def programmes(draw: st.DrawFn, names: list[str]) -> dict[str, Any]:
    segments = []
    for _ in range(draw(st.integers(1, 3))):
        shots = []
        for _ in range(draw(st.integers(1, 2))):
            kind = draw(st.sampled_from(list(PANES)))
            least, most = PANES[kind]
            shown = draw(st.lists(panes(names), min_size=least, max_size=most))
            shots.append({"kind": kind, "frames": draw(st.integers(1, 20)), "panes": shown})
        segments.append(shots)
    return {"rate": draw(st.sampled_from(RATES)), "segments": segments}


def written(programme: dict[str, Any], clips: dict[str, Clip]) -> str:
    lines = ["storyboard: 1", "title: exact", f"canvas: {{size: {WIDTH}x{HEIGHT}, rate: {programme['rate']}}}"]
    lines += ["narration: {voice: none}", "captures:"]
    used = sorted({pane["capture"] for shots in programme["segments"] for shot in shots for pane in shot["panes"]})
    lines += [f"  {name}: {{file: footage/{clips[name].path.name}}}" for name in used]
    lines += ["segments:"]
    for number, shots in enumerate(programme["segments"]):
        total = sum(shot["frames"] for shot in shots)
        lines += [f"  - id: s{number}", f"    lasts: {total} f", "    show:"]
        for shot in shots:
            lines += [f"      - lasts: {shot['frames']} f", "        labels: false"]
            texts = [pane_text(pane) for pane in shot["panes"]]
            one = shot["kind"] == "full"
            lines += [f"        {shot['kind']}: {texts[0] if one else '[' + ', '.join(texts) + ']'}"]
    return "\n".join(lines) + "\n"


def pane_text(pane: dict[str, Any]) -> str:
    freeze = ""
    if "freeze" in pane:
        freeze = f", freeze: {{at: {pane['freeze'][0]} f, lasts: {pane['freeze'][1]} f}}"
    return f"{{capture: {pane['capture']}, from: {pane['from']} ms, speed: {pane['speed']}{freeze}}}"


def expected(programme: dict[str, Any], clips: dict[str, Clip]) -> list[list[int]]:
    """For each output frame, the number each pane must show."""
    rate = exact(programme["rate"])
    frames: list[list[int]] = []
    for shots in programme["segments"]:
        for shot in shots:
            run = [0] * len(shot["panes"])
            for k in range(shot["frames"]):
                row = []
                for number, pane in enumerate(shot["panes"]):
                    wanted = Fraction(pane["from"], 1000) + Fraction(pane["speed"]) * run[number] / rate
                    row.append(clips[pane["capture"]].number_at(wanted))
                    at, lasts = pane.get("freeze", (0, 0))
                    run[number] += not at <= k < at + lasts
                frames.append(row)
    return frames


def read_back(draft: Path, programme: dict[str, Any], text: str) -> tuple[list[list[int]], list[Fraction]]:
    board = read_storyboard(text, "storyboard.yaml")
    rects = []
    for segment in board.segments:
        for shot in segment.shots:
            sizes = ((160, 90),) * len(shot.arrangement.panes)
            layout = lay_out(shot.arrangement, sizes, WIDTH, HEIGHT, labels=False)
            assert shot.lasts is not None
            rects += [layout.panes] * shot.lasts.frames
    numbers, times = [], []
    with av.open(str(draft)) as container:
        stream = container.streams.video[0]
        assert stream.average_rate == exact(programme["rate"])
        for index, frame in enumerate(container.decode(stream)):
            luma = frame.to_ndarray()[:HEIGHT]
            times.append(frame.pts * stream.time_base)
            row = [number_in(luma[r.y : r.bottom, r.x : r.right]) for r in rects[index]]
            numbers.append(row)
    return numbers, times


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_every_pane_shows_the_picture_the_rule_names(clips: dict[str, Clip], data: st.DataObject) -> None:
    programme = data.draw(programmes(sorted(clips)))
    with tempfile.TemporaryDirectory(dir=next(iter(clips.values())).path.parent) as folder:
        project = Path(folder)
        (project / "footage").mkdir()
        for clip in clips.values():
            (project / "footage" / clip.path.name).hardlink_to(clip.path)
        render_and_compare(project, programme, clips)


def render_and_compare(project: Path, programme: dict[str, Any], clips: dict[str, Clip]) -> None:
    text = written(programme, clips)
    (project / "storyboard.yaml").write_text(text, encoding="utf-8")
    assert main(["draft", str(project), "--no-marks"]) == 0
    numbers, times = read_back(project / "out" / "draft.mp4", programme, text)
    wanted = expected(programme, clips)
    assert len(numbers) == len(wanted)
    assert numbers == wanted
    rate = exact(programme["rate"])
    assert times == [k / rate for k in range(len(wanted))]


@pytest.mark.parametrize("rate", RATES)
def test_every_rate_shows_every_capture_exactly(tmp_path: Path, clips: dict[str, Clip], rate: str) -> None:
    # Each canvas rate against captures of every rate and kind, so that chance leaves none out.
    names = sorted(clips)
    (tmp_path / "footage").mkdir()
    for clip in clips.values():
        (tmp_path / "footage" / clip.path.name).hardlink_to(clip.path)
    shots = [
        {"kind": "grid", "frames": 24, "panes": [{"capture": n, "from": 40, "speed": "1"} for n in names[k : k + 4]]}
        for k in range(0, len(names), 4)
    ]
    shots = [shot | {"kind": "full"} if len(shot["panes"]) == 1 else shot for shot in shots]
    render_and_compare(tmp_path, {"rate": rate, "segments": [shots]}, clips)
