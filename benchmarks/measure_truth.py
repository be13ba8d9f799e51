"""Score the verdicts on planted captures against the truth, for the tuned and the scored half of the sources.

    python benchmarks/measure_truth.py FOLDER [--halves tuned,scored] [--sources] [--least 0.1]

Verdicts are those of the whole of measuring, tears and all. P and R are precision and recall of "new picture".
Pairs of the source that differ by less than a mean of 0.1 code (or --least) are left out. Beside them, mpdecimate of
FFmpeg at its defaults on the same clips. 'taken' counts only the clips that the quality gate lets pass, for both.
Windows are whole seconds of clips taken; right within one picture. 'caught': wrong windows in clips refused.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from fit_cadence import STILL
from measure_clips import CODERS, SCORED, STORY_CODERS, TUNED, Clip
from measure_notes import Noted, noted
from peer_mpdecimate import kept

from assembler.measure.model import Cadence, State
from assembler.measure.verdicts import cadence_of
from assembler.media.probe import probe

HALVES = {"tuned": TUNED, "scored": SCORED}
WINDOW = 60


@dataclass
class Count:
    """True and false verdicts, added up."""

    hit: int = 0
    false: int = 0
    missed: int = 0

    def add(self, new: np.ndarray, said: np.ndarray) -> None:
        self.hit += int((new & said).sum())
        self.false += int((~new & said).sum())
        self.missed += int((new & ~said).sum())

    def __str__(self) -> str:
        precision = self.hit / max(self.hit + self.false, 1)
        return f"{precision:.4f} / {self.hit / max(self.hit + self.missed, 1):.4f}"


def verdicts(one: Noted, least: float = STILL) -> tuple[Cadence, np.ndarray]:
    """What is said, and which pairs are counted."""
    use = ~(one.new & (one.moved < least))
    use[0] = False
    return cadence_of(probe(one.path), one.notes, one.ever), use


def windows(new: np.ndarray, said: np.ndarray, use: np.ndarray) -> tuple[int, int]:
    """How many whole seconds there are, one beginning at each picture, and in how many the count is off by over one."""
    kernel = np.ones(WINDOW, np.int64)
    off = np.convolve(said.astype(np.int64) - new, kernel, "valid")
    whole = np.convolve(use, kernel, "valid") == WINDOW
    return int(whole.sum()), int((np.abs(off[whole]) > 1).sum())


def mixed(folder: Path, half: str, least: float, sources: bool) -> None:
    print(f"\n{half} half: {', '.join(s.name for s in HALVES[half])}")
    print(f"{'coder':22} {'all: ours P / R':17} {'mpdecimate P / R':17} {'taken: ours':17} {'mpdecimate':17}", end=" ")
    print("refused  windows right  caught")
    for coder in CODERS:
        ours, peer, ours_taken, peer_taken, lines = Count(), Count(), Count(), Count(), []
        refused = seconds = wrong = caught = 0
        for source in HALVES[half]:
            one = noted(folder, Clip(source, coder))
            cadence, use = verdicts(one, least)
            said, theirs = cadence.is_new, kept(one.path, one.new.size)
            own, other = Count(), Count()
            for count, answer in ((own, said), (ours, said), (other, theirs), (peer, theirs)):
                count.add(one.new[use], answer[use])
            counted, off = windows(one.new, said, use)
            if cadence.reliable:
                ours_taken.add(one.new[use], said[use])
                peer_taken.add(one.new[use], theirs[use])
                seconds, wrong = seconds + counted, wrong + off
            else:
                refused, caught = refused + 1, caught + off
            lines.append(f"    {source.name:26} {own!s:17} {other!s:17} {cadence.why}")
        right = f"{100 * (1 - wrong / max(seconds, 1)):.2f} %"
        found = f"{caught} of {caught + wrong}"
        print(f"{coder!s:22} {ours!s:17} {peer!s:17} {ours_taken!s:17} {peer_taken!s:17}", end=" ")
        print(f"{refused:2} of {len(HALVES[half]):2} {right:14} {found}")
        if sources:
            print("\n".join(lines))


def stories(folder: Path, half: str) -> None:
    """Sessions with a hitch, fades, dark and a menu with a blinking sign."""
    for coder in STORY_CODERS:
        still, dark, rated, held, hitches = [], [], [], 0, 0
        for source in HALVES[half]:
            one = noted(folder, Clip(source, coder, "story"))
            cadence, _ = verdicts(one)
            if not cadence.reliable:
                continue
            state = cadence.state
            still.append(state[one.state == State.STILL] != State.MOVING)
            dark.append(state[one.state == State.DARK] == State.DARK)
            rated.append(state[one.state != State.MOVING] == State.MOVING)
            hitches += 1
            held += int((state[40:52] == State.MOVING).all() and not cadence.is_new[41:52].any())
        if not hitches:
            print(f"{coder!s:22} every story refused")
            continue
        shares = [f"{100 * np.concatenate(part).mean():.2f} %" for part in (still, dark, rated)]
        print(
            f"{coder!s:22} still named {shares[0]}, dark named {shares[1]}, rated though still or dark {shares[2]},"
            f" hitches {held} of {hitches}; refused {len(HALVES[half]) - hitches}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--halves", default="tuned,scored")
    parser.add_argument("--least", type=float, default=STILL)
    parser.add_argument("--sources", action="store_true", help="a line for each source too")
    options = parser.parse_args()
    for half in options.halves.split(","):
        mixed(options.folder, half, options.least, options.sources)
        stories(options.folder, half)


if __name__ == "__main__":
    main()
