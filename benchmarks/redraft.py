"""What an edit costs: a programme of 20 segments, drafted cold and then again after one edit of each kind.

    python benchmarks/redraft.py [--runs 3] [--segments 20] [--folder DIR]

Two 1080p60 captures, side by side on a 720p60 draft, with labels, a frame-rate graph, burnt-in captions from a
corrected captions/en.srt and the scratch voice. Each run forgets what was rendered and mixed (measurements and voices
stay, so that `cold` is no longer than it must be), drafts, and then makes each edit to the same programme in turn,
with other words each time, always starting from the programme as it was. Every draft is a process of its own, and
its wall time counts from the interpreter's start. The result is the median over the runs of the share of that run's
own cold draft, and how many parts were made.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import random
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from cold_draft import make_captures
from usual import environment

BANK = (
    "harbour lantern slowly bright steady picture second between rising window colour machine water gentle corner "
    "evening narrow signal longer shadow market winter yellow simple garden quiet silver morning distant copper"
)
WORDS = BANK.split()
CAPTURE_S = 20


@dataclass(frozen=True)
class Programme:
    """What the storyboard is written from."""

    ids: list[str]
    words: dict[str, list[str]]
    starts: dict[str, float]
    graphs: dict[str, str] = field(default_factory=dict)
    note: str = "desktop"

    def text(self) -> str:
        """The storyboard."""
        lines = [
            "storyboard: 1",
            "title: Benchmark",
            "canvas: {size: 1280x720, rate: 60}",
            f"subjects: {{a: {{name: Ash, note: {self.note}}}, b: {{name: Birch, note: handheld}}}}",
            "captures:",
            "  a: {file: footage/a.mp4, subject: a}",
            "  b: {file: footage/b.mp4, subject: b}",
            "narration: {voice: scratch}",
            "segments:",
        ]
        for name in self.ids:
            start = self.starts[name]
            lines += [
                f"  - id: {name}",
                f"    say: {' '.join(self.words[name]).capitalize()}.",
                "    show: {side-by-side: "
                f"[{{capture: a, from: {start:.2f} s}}, {{capture: b, from: {start:.2f} s}}]}}",
                f"    graphs: [{self.graphs.get(name, 'frame-rate')}]",
                "    hear: a",
            ]
        return "\n".join(lines) + "\n"


def new_programme(segments: int) -> Programme:
    chance = random.Random(7)
    ids = [f"part-{number:02}" for number in range(1, segments + 1)]
    words = {name: chance.choices(WORDS, k=9) for name in ids}
    starts = {name: round(0.2 + number * 11.0 / segments, 2) for number, name in enumerate(ids)}
    return Programme(ids, words, starts)


def forget(project: Path) -> None:
    """Leave measurements and voices, forget what was rendered and mixed."""
    for kept in (project / ".assembler").glob("*"):
        if kept.name not in ("measure", "voice", "voices"):
            shutil.rmtree(kept) if kept.is_dir() else kept.unlink()


def run(*arguments: str) -> tuple[float, dict[str, object]]:
    """Wall seconds of a command, and the JSON it printed."""
    command = [sys.executable, "-m", "assembler.cli.main", *arguments]
    start = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment())
    took = time.perf_counter() - start
    if done.returncode:
        raise SystemExit(f"{command} failed ({done.returncode}):\n{done.stderr[-2000:]}{done.stdout[-2000:]}")
    return took, json.loads(done.stdout)


def process_s() -> float:
    """Processor seconds of all commands so far."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


Edit = Callable[[Path, Programme, random.Random], None]


def nothing(_project: Path, _programme: Programme, _chance: random.Random) -> None:
    """The same programme again."""


def one_word(project: Path, programme: Programme, chance: random.Random) -> None:
    name = chance.choice(programme.ids[3:-3])
    words = list(programme.words[name])
    words[4] = chance.choice(sorted({*WORDS} - {words[4]}))
    write(project, replace(programme, words={**programme.words, name: words}))


def caption(project: Path, _programme: Programme, chance: random.Random) -> None:
    path = project / "captions" / "en.srt"
    rows = path.read_text(encoding="utf-8").split("\n")
    spoken = [place for place, row in enumerate(rows) if row.endswith(".")]
    place = chance.choice(spoken[3:-3])
    rows[place] = rows[place].removesuffix(".") + chance.choice("?!;")
    path.write_text("\n".join(rows), encoding="utf-8")


def moved(project: Path, programme: Programme, chance: random.Random) -> None:
    ids = list(programme.ids)
    ids.insert(chance.randrange(3, 8), ids.pop(chance.randrange(10, 17)))
    write(project, replace(programme, ids=ids))


def renamed(project: Path, programme: Programme, chance: random.Random) -> None:
    name = chance.choice(programme.ids[3:-3])
    new = f"other-{chance.randrange(1000)}"

    def known(table: dict[str, object]) -> dict[str, object]:
        return {new if key == name else key: value for key, value in table.items()}

    ids = [new if each == name else each for each in programme.ids]
    write(project, replace(programme, ids=ids, words=known(programme.words), starts=known(programme.starts)))  # type: ignore[arg-type]


def trimmed(project: Path, programme: Programme, chance: random.Random) -> None:
    name = chance.choice(programme.ids[3:-3])
    start = programme.starts[name] + chance.randrange(1, 40) / 100
    write(project, replace(programme, starts={**programme.starts, name: start}))


def graph(project: Path, programme: Programme, chance: random.Random) -> None:
    name = chance.choice(programme.ids[3:-3])
    write(project, replace(programme, graphs={name: "frame-rate, cadence"}))


def label(project: Path, programme: Programme, chance: random.Random) -> None:
    write(project, replace(programme, note=f"desktop {chance.randrange(1000)}"))


EDITS: dict[str, Edit] = {
    "nothing changed": nothing,
    "one word of one line": one_word,
    "one caption in captions/en.srt": caption,
    "a segment moved": moved,
    "an id renamed": renamed,
    "another `from` in one segment": trimmed,
    "a graph added to one segment": graph,
    "a label that all segments show": label,
}


def write(project: Path, programme: Programme) -> None:
    (project / "storyboard.yaml").write_text(programme.text(), encoding="utf-8")


def main() -> None:
    """Run the rounds and print one table."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--runs", type=int, default=3)
    arguments.add_argument("--segments", type=int, default=20)
    arguments.add_argument("--folder", type=Path, default=None)
    arguments.add_argument("--without-label", action="store_true", help="leave out the edit that changes every picture")
    options = arguments.parse_args()
    project = options.folder or Path(tempfile.mkdtemp(prefix="redraft-"))
    make_captures(project / "footage", CAPTURE_S)
    programme = new_programme(options.segments)
    write(project, programme)
    shutil.rmtree(project / "captions", ignore_errors=True)
    run("check", str(project), "--json")  # measures and voices
    run("retime", str(project), "--json")  # writes captions/en.srt
    captions = {path: path.read_bytes() for path in (project / "captions").iterdir()}
    edits = {name: edit for name, edit in EDITS.items() if edit is not label or not options.without_label}
    taken: dict[str, list[tuple[float, float, int, int, float]]] = {name: [] for name in ("cold", *edits)}
    for turn in range(options.runs):
        chance = random.Random(100 + turn)
        forget(project)
        before = process_s()
        cold, told = run("draft", str(project), "--json")
        counts = (int(str(told["parts_made"])), int(str(told["frames"])))
        taken["cold"].append((cold, 1.0, *counts, process_s() - before))
        print(f"  run {turn + 1} cold {cold:.2f} s", file=sys.stderr)
        for name, edit in edits.items():
            edit(project, programme, chance)
            before = process_s()
            wall, told = run("draft", str(project), "--json")
            counts = (int(str(told["parts_made"])), int(str(told["frames"])))
            taken[name].append((wall, wall / cold, *counts, process_s() - before))
            stages = told.get("stage_seconds")
            print(f"  run {turn + 1} {name}: {wall:.2f} s, {told['parts_made']} made, {stages}", file=sys.stderr)
            write(project, programme)
            for path, content in captions.items():
                path.write_bytes(content)
    seconds, parts = taken["cold"][0][3] / 60, taken["cold"][0][2]
    machine = f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    print(f"{machine}; {options.segments} segments, {seconds:.0f} s, {parts} parts")
    print("| edit | runs | parts made | median s | min | max | share of cold | process s | within 8 % of cold + 1 s |")
    print("|---" * 9 + "|")
    for name, rows in taken.items():
        walls, made = [row[0] for row in rows], sorted({row[2] for row in rows})
        share, process = (statistics.median(row[place] for row in rows) for place in (1, 4))
        within = sum(row[0] <= 0.08 * cold[0] + 1 for row, cold in zip(rows, taken["cold"], strict=True))
        times = [f"{x:.2f}" for x in (statistics.median(walls), min(walls), max(walls))]
        cells = (name, len(rows), ", ".join(map(str, made)), *times, f"{share:.3f}", f"{process:.1f}")
        print("| " + " | ".join(map(str, cells)) + f" | {within} of {len(rows)} |")


if __name__ == "__main__":
    main()
