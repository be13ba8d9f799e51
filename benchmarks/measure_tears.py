"""Score the tears that are found against planted ones, for scenes used in tuning and others.

    python benchmarks/measure_tears.py FOLDER [--halves tuned,scored]

R seen: recall of the tears with something to tell by, that is where the two pictures differ by a mean of 0.5 code
both above and below the tear. Row errors are of the interval's middle. False: share of the pictures of captures
in step with the refresh. 'told' says in how many clips tears were held to be measurable.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from planted import Coder, encode, flips, scene, torn

from assembler.measure.store import measure_capture
from assembler.media.probe import probe

COUNT = 240
HALVES = {
    "tuned": (("pan coffee", 1.5), ("film bigbuckbunny", 1.0), ("road brick", 1.0), ("turn rocket", 1.0)),
    "scored": (("pan chelsea", 1.2), ("film bikes", 1.0), ("road grass", 1.0), ("turn astronaut", 1.0)),
}
CASES: dict[str, tuple[float, ...]] = {
    "torn 33-55 Hz": (33, 40, 47, 55),
    "tears near the top": (50,),
    "in step, 30 and 40 Hz": (30, 40),
    "every refresh, 60 and 66 Hz": (60, 66),
}
CODERS = (Coder("libx264", "medium", 20), Coder("libx264", "medium", 26))


@dataclass
class Sums:
    pictures: int = 0
    clips: int = 0
    told: int = 0
    tears: int = 0
    seen: int = 0
    said: int = 0
    hit: int = 0
    hit_seen: int = 0
    inside: int = 0
    errors: list[float] = field(default_factory=list)

    def __str__(self) -> str:
        told = f"told in {self.told} of {self.clips}"
        if not self.tears:
            return f"false {100 * self.said / self.pictures:.2f} % of {self.pictures}; {told}"
        rows = "-"
        if self.errors:
            p50, p95 = np.percentile(self.errors, [50, 95])
            rows = f"{p50:.0f} / {p95:.0f}, in the interval {100 * self.inside / max(self.hit, 1):.1f} %"
        return (
            f"n {self.tears}, P {self.hit / max(self.said, 1):.3f}, R {self.hit / self.tears:.3f},"
            f" R seen {self.hit_seen / max(self.seen, 1):.3f}, rows p50 / p95 {rows}; {told}"
        )


def times(case: str, rate: float, seed: int) -> list[float]:
    if case.startswith("in step") or rate == 60:
        return [float(np.ceil(k * 60 / rate)) for k in range(int(COUNT * rate / 60))]
    return flips(rate, COUNT, seed, uneven=0.02 if rate > 60 else 0.1, top=0.12 if "top" in case else 0)


def add(sums: Sums, folder: Path, name: str, speed: float, case: str, rate: float, coder: Coder) -> None:
    drawn = scene(name, int(COUNT * 1.2) + 8, speed=speed, seed=3)
    pictures, rows = torn(drawn, times(case, rate, int(rate)), COUNT)
    path = folder / f"tears {name} {case} {rate} {coder}.mp4".replace(" ", "_").replace("/", "").replace(",", "")
    if not path.exists():
        encode(path, pictures, coder)
    cadence = measure_capture(probe(path), folder / "measure").cadence
    said = cadence.p_tear >= 0.5
    truth = np.array([r[0] if r else -1 for r in rows])
    is_torn = truth > 0
    is_torn[0] = False
    flipped = np.cumsum([len(r) for r in rows])
    sums.pictures += COUNT
    sums.clips += 1
    sums.told += cadence.tears_measurable
    sums.said += int(said.sum())
    for k in np.flatnonzero(is_torn):
        step = np.abs(drawn[flipped[k]].astype(np.int16) - drawn[flipped[k] - 1])
        seen = step[truth[k] :].mean() >= 0.5 and step[: truth[k]].mean() >= 0.5
        sums.tears += 1
        sums.seen += int(seen)
        if said[k]:
            sums.hit += 1
            sums.hit_seen += int(seen)
            sums.inside += int(cadence.tear_first_row[k] <= truth[k] < cadence.tear_last_row[k])
            sums.errors.append(abs((cadence.tear_first_row[k] + cadence.tear_last_row[k]) / 2 - truth[k]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--halves", default="tuned,scored")
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    for half in options.halves.split(","):
        print(f"\n{half} scenes, x264 medium crf 20 and 26, 360 rows")
        for case, rates in CASES.items():
            for name, speed in HALVES[half]:
                sums = Sums()
                for rate in rates:
                    for coder in CODERS:
                        add(sums, options.folder, name, speed, case, rate, coder)
                print(f"{case:28} {name:18} {sums}", flush=True)


if __name__ == "__main__":
    main()
