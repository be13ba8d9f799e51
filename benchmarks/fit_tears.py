"""Fit what tells a band that changed from one that did not, on the tuned scenes, and write its numbers.

    python benchmarks/fit_tears.py CLIPS TORN [--leave-out WORD] [--at-hand] [--write]

CLIPS: the folder of measure_clips.py, whose mixed cadences (never torn) are taken in too; TORN: where planted tears
are kept. A scene weighs the same however many clips it has. The scored half is not looked at here. --leave-out: not to
be taught from scenes with this word in their name; how well they are told is printed. --at-hand: teach from the clips
that are in the folders, make none.

Two networks: one from all that is known of a band, one from what says nothing of whether it changed itself.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from fit_cadence import FORMAT_OFF, Network, numbers
from measure_clips import TUNED, Clip
from measure_notes import noted
from measure_tears import COUNT, HALVES
from planted import LONG_FILM, Coder, encode, flips, plan, scene, torn
from scipy.optimize import minimize

from assembler.measure.blocks import BAND
from assembler.measure.cadence import p_new
from assembler.measure.features import Notes, joined
from assembler.measure.passes import new_watcher, notes_of
from assembler.measure.tears_evidence import AROUND, NAMES, BandEvidence, standardised
from assembler.media.probe import probe

WEIGHTS = Path(__file__).resolve().parent.parent / "assembler" / "measure" / "tears_weights.py"
UNITS, AROUND_UNITS, PENALTY, STEPS = 8, 6, 2e-4, 200
BANDS_PER_CLIP, MIXED = 700, 0.35
"""Bands taught from of each clip; how much a source of mixed cadence weighs against a torn scene."""
MIXED_CODERS = (*(Coder("libx264", "medium", crf) for crf in (16, 20, 23)), Coder("libx264", "veryfast", 23))
MORE = (
    *(("dancers rocket", 1.0), ("movers coffee", 1.2), ("film bigbuckbunny soft", 1.0)),
    *((f"film {LONG_FILM} from 200 soft", 1.0), ("pan made21", 0.7), ("dancers camera", 0.6)),
)
"""Scenes besides those that tears are tuned on, of the same half: the scene and its speed."""
CASES: dict[str, tuple[tuple[float, int], ...]] = {
    "torn": ((40, 23), (50, 20), (33, 23), (47, 16), (55, 20), (50, 26)),
    "step": ((40, 20), (30, 23)),
    "top": ((50, 20),),
    "drops": ((60, 20),),
    "full": ((60, 20),),
    "rough": ((45, 20),),
}
FEWER = ("torn", "step", "top", "drops")
"""What is taught of the further scenes."""


@dataclass(frozen=True)
class Taught:
    scene: str
    notes: Notes
    changed: np.ndarray
    """(n, bands) whether each band changed."""
    counts: np.ndarray
    """(n, bands) False where a tear crosses the band, and in the first picture."""
    weight: float


def times(case: str, rate: float) -> list[float]:
    if case == "step":
        return [float(np.ceil(k * 60 / rate)) for k in range(int(COUNT * rate / 60))]
    if case in ("drops", "full"):
        return [float(k) for k in np.flatnonzero(plan("60" if case == "full" else case, COUNT, int(rate)))]
    uneven, top = (0.3, 0.0) if case == "rough" else (0.1, 0.12 if case == "top" else 0.0)
    return flips(rate, COUNT, int(rate), uneven=uneven, top=top)


def path_of(folder: Path, name: str, case: str, rate: float, crf: int) -> Path:
    return folder / f"{name} {case} {rate:g} {crf} medium.mp4".replace(" ", "_")


def torn_clip(folder: Path, name: str, speed: float, case: str, rate: float, crf: int) -> Taught:
    at = times(case, rate)
    path = path_of(folder, name, case, rate, crf)
    if not path.exists():
        encode(path, torn(scene(name, len(at) + 2, speed=speed, seed=3), at, COUNT)[0], Coder("libx264", "medium", crf))
    notes = _noted(path)
    bands = notes.level.shape[1]
    # Where the change-overs lie does not depend on what is shown: one column will do.
    rows = [r[0] if r else -1 for r in torn(np.zeros((len(at) + 2, bands * BAND, 1), np.uint8), at, COUNT)[1]]
    changed, counts = np.zeros((COUNT, bands), np.bool_), np.ones((COUNT, bands), np.bool_)
    counts[:1] = False
    for k in range(1, COUNT):
        if rows[k] >= 0:
            changed[k, -(-rows[k] // BAND) :] = True
        changed[k, : max(rows[k - 1], 0) // BAND] = True
        for row in (rows[k], rows[k - 1]):
            if row > 0 and row % BAND:
                counts[k, row // BAND] = changed[k, row // BAND]
    return Taught(name, notes, changed, counts, 1.0)


def _noted(path: Path) -> Notes:
    stored = path.with_suffix(".notes.npz")
    if not stored.exists():
        notes = joined(list(notes_of(probe(path), new_watcher(probe(path), ()))))
        np.savez(stored, **{name: getattr(notes, name) for name in Notes.__slots__})
    with np.load(stored) as loaded:
        return Notes(**{name: loaded[name] for name in Notes.__slots__})


def taught(clips: Path, folder: Path, at_hand: bool) -> list[Taught]:
    out = []
    for scenes, cases in ((HALVES["tuned"], tuple(CASES)), (MORE, FEWER)):
        for name, speed in scenes:
            for case in cases:
                some = CASES[case] if scenes is not MORE or case != "torn" else ((40, 23), (50, 26), (55, 20))
                out += [
                    torn_clip(folder, name, speed, case, rate, crf)
                    for rate, crf in some
                    if not at_hand or path_of(folder, name, case, rate, crf).exists()
                ]
    for source in TUNED:
        for coder in MIXED_CODERS:
            if at_hand and not Clip(source, coder).path(clips).exists():
                continue
            one = noted(clips, Clip(source, coder))
            changed = np.repeat(one.new[:, None], one.notes.level.shape[1], 1)
            counts = np.ones_like(changed)
            counts[:1] = False
            out.append(Taught(f"mixed {source.name}", one.notes, changed, counts, MIXED))
    return out


def examples(clips: list[Taught]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Inputs, truth and weights; what changed and what did not weigh the same."""
    rng = np.random.default_rng(0)
    number = Counter(clip.scene for clip in clips)
    xs, ys, ws = [], [], []
    for clip in clips:
        some = rng.choice(np.flatnonzero(clip.counts), BANDS_PER_CLIP, replace=False)
        inputs = BandEvidence(clip.notes, p_new(clip.notes)).inputs(0, clip.changed.shape[0])
        xs.append(inputs.reshape(-1, inputs.shape[2])[some])
        ys.append(clip.changed.ravel()[some].astype(np.float64))
        ws.append(np.full(some.size, clip.weight / number[clip.scene]))
    x, y, w = (np.concatenate(part) for part in (xs, ys, ws))
    return x, y, w * np.where(y > 0, 1 / w[y > 0].sum(), 1 / w[y == 0].sum())


def fit(x: np.ndarray, y: np.ndarray, weight: np.ndarray, units: int = UNITS) -> Network:
    """A network for standardised inputs."""
    m = x.shape[1]
    rng = np.random.default_rng(0)
    sizes = np.cumsum([units * m, units, units, m])
    begin = np.concatenate([rng.normal(0, 0.5 / np.sqrt(m), sizes[0]), np.zeros(units), rng.normal(0, 0.3, units)])
    begin = np.concatenate([begin, np.zeros(m + 1)])

    def network(values: np.ndarray) -> Network:
        inward, *rest = np.split(values, sizes)
        return Network(inward.reshape(units, m), *rest)

    def cost(values: np.ndarray) -> tuple[float, np.ndarray]:
        net = network(values)
        hidden = np.tanh(x @ net.inward.T + net.hidden_bias)
        z = hidden @ net.outward + x @ net.straight + net.bias[0]
        loss = (weight * (np.logaddexp(0, z) - y * z)).sum() / 2 + PENALTY * (values[:-1] ** 2).sum()
        dz = weight * (1 / (1 + np.exp(-z)) - y) / 2
        dh = np.outer(dz, net.outward) * (1 - hidden**2)
        slopes = [(dh.T @ x).ravel(), dh.sum(0), hidden.T @ dz, x.T @ dz]
        return loss, np.concatenate([*slopes, [dz.sum()]]) + 2 * PENALTY * np.append(values[:-1], 0)

    return network(minimize(cost, begin, jac=True, method="L-BFGS-B", options={"maxiter": STEPS}).x)


HEAD = '''"""Numbers of `tears_evidence`. Written by benchmarks/fit_tears.py; not to be changed by hand.

Fitted on planted captures, 640x360, 60 Hz, 8 bits, x264; inputs in the order of its `NAMES`. Those that
begin with AROUND are of the network that is told only what `AROUND` names.
"""

'''


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("clips", type=Path)
    parser.add_argument("torn", type=Path)
    parser.add_argument("--leave-out", default="")
    parser.add_argument("--at-hand", action="store_true")
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    options.torn.mkdir(parents=True, exist_ok=True)
    every = taught(options.clips, options.torn, options.at_hand)
    out = [clip for clip in every if options.leave_out and options.leave_out in clip.scene]
    x, y, weight = examples([clip for clip in every if clip not in out])
    assert x.shape[1] == len(NAMES)
    centre, spread = x.mean(0), x.std(0) + 1e-6
    net = fit(standardised(x, centre, spread), y, weight)
    some = list(AROUND)
    around = fit(standardised(x[:, some], centre[some], spread[some]), y, weight, AROUND_UNITS)
    for name, clips in (("taught", [c for c in every if c not in out]), ("left out", out)):
        if clips:
            x, y, weight = examples(clips)
            z = net.logit(standardised(x, centre, spread))
            wrong = [float((weight * ((z > 0) != y))[y == k].sum()) for k in (0, 1)]
            print(f"{name}: {100 * wrong[0]:.1f} % of unchanged, {100 * wrong[1]:.1f} % of changed bands taken wrongly")
    if options.write:
        text = numbers(centre, spread, net) + numbers(centre[some], spread[some], around, "AROUND_")
        WEIGHTS.write_text(HEAD + FORMAT_OFF + text, "utf-8")


if __name__ == "__main__":
    main()
