"""Score the cadence verdicts against planted truth, for the tuned and the scored half of the sources.

    python benchmarks/measure_truth.py FOLDER [--halves tuned,scored] [--sources]

P and R are precision and recall of "new picture". Pairs of the source that differ by less than a mean of
0.1 code are left out. Beside them, FFmpeg's mpdecimate at its defaults on the same clips.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from fit_cadence import STILL
from measure_clips import CODERS, SCORED, TUNED, Clip
from measure_notes import Noted, noted
from peer_mpdecimate import kept

from assembler.measure.cadence import p_new
from assembler.measure.quality import gate
from assembler.measure.states import states

HALVES = {"tuned": TUNED, "scored": SCORED}


@dataclass
class Count:
    """True and false verdicts, added up."""

    hit: int = 0
    false: int = 0
    missed: int = 0
    pairs: int = 0
    decided: int = 0
    decided_wrong: int = 0

    def add(self, new: np.ndarray, said: np.ndarray, p: np.ndarray | None = None) -> None:
        self.hit += int((new & said).sum())
        self.false += int((~new & said).sum())
        self.missed += int((new & ~said).sum())
        self.pairs += new.size
        if p is not None:
            sure = (p < 0.05) | (p > 0.95)
            self.decided += int(sure.sum())
            self.decided_wrong += int((sure & (said != new)).sum())

    def __str__(self) -> str:
        precision = self.hit / max(self.hit + self.false, 1)
        return f"{precision:.4f} / {self.hit / max(self.hit + self.missed, 1):.4f}"

    @property
    def wrong(self) -> float:
        return (self.false + self.missed) / max(self.pairs, 1)


def verdicts(one: Noted) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Truth, p, and which pairs are counted."""
    use = ~(one.new & (one.moved < STILL))
    use[0] = False
    return one.new, p_new(one.notes), use


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--halves", default="tuned,scored")
    parser.add_argument("--sources", action="store_true", help="a line for each source too")
    options = parser.parse_args()
    for half in options.halves.split(","):
        print(f"\n{half} half: {', '.join(s.name for s in HALVES[half])}")
        print(f"{'coder':24} {'ours P / R':18} {'mpdecimate P / R':18} decided  wrong of decided  refused clips")
        for coder in CODERS:
            ours, peer, refused, lines = Count(), Count(), 0, []
            for source in HALVES[half]:
                one = noted(options.folder, Clip(source, coder))
                new, p, use = verdicts(one)
                own, other = Count(), Count()
                own.add(new[use], p[use] >= 0.5, p[use])
                other.add(new[use], kept(one.path, new.size)[use])
                ours.add(new[use], p[use] >= 0.5, p[use])
                peer.add(new[use], kept(one.path, new.size)[use])
                state = states(one.notes.pairs, one.notes.light, p, one.ever, 60.0)
                why = gate(one.notes.pairs, p, state)
                refused += bool(why)
                lines.append(f"    {source.name:22} {own!s:18} {other!s:18} wrong {100 * own.wrong:.2f} % {why}")
            sure = f"{100 * ours.decided / ours.pairs:.1f} %"
            bad = f"{100 * ours.decided_wrong / max(ours.decided, 1):.2f} %"
            print(f"{coder!s:24} {ours!s:18} {peer!s:18} {sure:8} {bad:17} {refused} of {len(HALVES[half])}")
            if options.sources:
                print("\n".join(lines))


if __name__ == "__main__":
    main()
