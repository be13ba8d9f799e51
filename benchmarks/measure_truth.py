"""Score the verdicts on planted captures against the truth, for the tuned and the scored half of the sources.

    python benchmarks/measure_truth.py FOLDER [--halves tuned,scored] [--sources] [--least 0.1]

Verdicts are those of the whole of measuring, tears and all. P and R are precision and recall of "new picture".
Pairs of the source that differ by less than a mean of 0.1 code (or --least) are left out. Beside them, mpdecimate of
FFmpeg at its defaults on the same clips. 'taken' counts only the clips that the quality gate lets pass, for both.
Windows are whole seconds, one beginning at each picture; right within one picture. 'windows right': of those for which
a rate is given. 'caught': wrong ones for which none is, as the clip is refused or too much there is in doubt, of all
wrong ones. 'lost': right ones for which none is, in clips refused + elsewhere, of all right ones.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from fit_cadence import STILL
from measure_clips import CODERS, FRESH, SCORED, STEADY_CODERS, STORY_CODERS, TUNED, Clip
from measure_notes import Noted, noted
from peer_mpdecimate import kept

from assembler.measure.clock import Clock
from assembler.measure.figures import window_rates
from assembler.measure.model import Cadence, State
from assembler.measure.verdicts import cadence_of
from assembler.media.probe import probe

HALVES = {"tuned": TUNED, "scored": SCORED, "fresh": FRESH}
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


def windows(one: Noted, cadence: Cadence, use: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """For each whole second, one beginning at each picture: whether its count is off by over one, and whether it has
    a rate at all."""
    kernel = np.ones(WINDOW, np.int64)
    off = np.convolve(cadence.is_new.astype(np.int64) - one.new, kernel, "valid")
    whole = np.convolve(use, kernel, "valid") == WINDOW
    rates = window_rates(cadence, Clock.of(probe(one.path)))
    given = rates.whole[WINDOW // 2 :][: off.size]
    return np.abs(off[whole]) > 1, given[whole]


def mixed(folder: Path, half: str, least: float, sources: bool) -> None:
    print(f"\n{half} half: {', '.join(s.name for s in HALVES[half])}")
    print(f"{'coder':22} {'all: ours P / R':17} {'mpdecimate P / R':17} {'taken: ours':17} {'mpdecimate':17}", end=" ")
    print("refused  windows right  caught          lost")
    for coder in CODERS:
        ours, peer, ours_taken, peer_taken, lines = Count(), Count(), Count(), Count(), []
        refused = lost_refused = 0
        offs, givens = [], []
        for source in HALVES[half]:
            one = noted(folder, Clip(source, coder))
            cadence, use = verdicts(one, least)
            said, theirs = cadence.is_new, kept(one.path, one.new.size)
            own, other = Count(), Count()
            for count, answer in ((own, said), (ours, said), (other, theirs), (peer, theirs)):
                count.add(one.new[use], answer[use])
            off, given = windows(one, cadence, use)
            offs.append(off)
            givens.append(given)
            if cadence.reliable:
                ours_taken.add(one.new[use], said[use])
                peer_taken.add(one.new[use], theirs[use])
            else:
                refused, lost_refused = refused + 1, lost_refused + int((~off).sum())
            lines.append(f"    {source.name:26} {own!s:17} {other!s:17} {cadence.why}")
        wrong, shown = np.concatenate(offs), np.concatenate(givens)
        right = f"{100 * (1 - (wrong & shown).sum() / max(shown.sum(), 1)):.2f} %"
        found = f"{(wrong & ~shown).sum()} of {wrong.sum()}"
        lost = f"{lost_refused} + {(~wrong & ~shown).sum() - lost_refused} of {(~wrong).sum()}"
        print(f"{coder!s:22} {ours!s:17} {peer!s:17} {ours_taken!s:17} {peer_taken!s:17}", end=" ")
        print(f"{refused:2} of {len(HALVES[half]):2} {right:14} {found:15} {lost}")
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


def steady(folder: Path, half: str, least: float, sources: bool) -> None:
    """Captures in which every refresh shows a new picture: nothing repeats that differences could be held against."""
    for coder in STEADY_CODERS:
        ours, peer, refused, lines = Count(), Count(), 0, []
        for source in HALVES[half]:
            one = noted(folder, Clip(source, coder, "steady"))
            cadence, use = verdicts(one, least)
            own, other = Count(), Count()
            for count, answer in (
                *((own, cadence.is_new), (ours, cadence.is_new)),
                *((other, kept(one.path, one.new.size)), (peer, kept(one.path, one.new.size))),
            ):
                count.add(one.new[use], answer[use])
            refused += int(not cadence.reliable)
            lines.append(f"    {source.name:26} {own!s:17} {other!s:17} {cadence.why}")
        print(f"{coder!s:22} {ours!s:17} {peer!s:17} every refresh new; refused {refused} of {len(HALVES[half])}")
        if sources:
            print("\n".join(lines))


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
        steady(options.folder, half, options.least, options.sources)


if __name__ == "__main__":
    main()
