"""Fit the cadence model on the tuned half of the planted sources, and write its numbers.

    python benchmarks/fit_cadence.py FOLDER [--penalty 4] [--at-hand] [--write]

A few small networks, each begun from other random numbers, are fitted with a ridge penalty and joined into one;
each source weighs the same. Thirds of the tuned sources are left out in turn to choose the penalty, unless one is
given. The scored half is not looked at here. --at-hand: teach from the clips that are in the folder, make none.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from measure_clips import CODERS, DROPS_CODERS, STEADY_CODERS, STORY_CODERS, TUNED, Clip, Source
from measure_notes import Noted, noted
from scipy.optimize import minimize

from assembler.measure.cadence import design, standardised
from assembler.measure.features import Notes

PENALTIES = (1.0, 4.0)
STRAIGHT_PENALTY = 8.0
"""Times the penalty, on the weights that go past the hidden units."""
UNITS, MEMBERS, STEPS = 8, 2, 100
STILL = 0.1
"""Pairs of the source that differ by less than this mean code are not scored."""
TEACH = 0.15
"""Those that differ by less than this are not taught from: coders leave out most such changes, and what is not in the
file can only be learned as noise."""
LEAST_PIECE = 30
"""Pictures in a row without a repeat that are taught from by themselves."""
FORMAT_OFF = "# fmt: off\n"
WEIGHTS = Path(__file__).resolve().parent.parent / "assembler" / "measure" / "weights.py"


class Network(NamedTuple):
    """inward (units, m), hidden bias (units,), outward (units,), straight (m,), bias (1,)."""

    inward: np.ndarray
    hidden_bias: np.ndarray
    outward: np.ndarray
    straight: np.ndarray
    bias: np.ndarray

    def logit(self, x: np.ndarray) -> np.ndarray:
        return np.tanh(x @ self.inward.T + self.hidden_bias) @ self.outward + x @ self.straight + self.bias[0]


def taught(source: Source) -> list[Clip]:
    """What is taught of a source: stories and steadily new pictures by fewer coders than mixed cadences."""
    stories = [c for c in STORY_CODERS if not c.mbits and c.crf != 16]
    steady = [c for c in STEADY_CODERS if c.codec == "libx264"]
    kinds = (("mixed", CODERS), ("story", stories), ("steady", steady), ("drops", DROPS_CODERS))
    return [Clip(source, coder, kind) for kind, coders in kinds for coder in coders]


def examples(one: Noted) -> tuple[np.ndarray, np.ndarray]:
    """Inputs and truth of a clip, and of two pieces of it by themselves: short captures, and such as never repeat."""
    rng = np.random.default_rng(0)
    use = ~(one.new & (one.moved < TEACH))
    use[0] = False
    xs, ys = [design(one.notes)[use]], [one.new[use]]
    length = int(rng.integers(50, 200))
    first = int(rng.integers(0, one.new.size - length))
    for piece in (slice(first, first + length), steadiest(one.new)):
        part = Notes(*(getattr(one.notes, name)[piece] for name in Notes.__slots__))
        some = use[piece].copy()
        some[:1] = False
        if piece.stop - piece.start >= LEAST_PIECE:
            xs.append(design(part)[some])
            ys.append(one.new[piece][some])
    return np.concatenate(xs).astype(np.float32), np.concatenate(ys).astype(np.float32)


def joined_examples(notes: list[Noted]) -> tuple[np.ndarray, np.ndarray]:
    each = [examples(one) for one in notes]
    return np.concatenate([x for x, _ in each]), np.concatenate([y for _, y in each])


def steadiest(new: np.ndarray) -> slice:
    """The longest stretch without a repeat."""
    edges = np.concatenate([[-1], np.flatnonzero(~new), [new.size]])
    at = int(np.diff(edges).argmax())
    return slice(int(edges[at]) + 1, int(edges[at + 1]))


def fit(x: np.ndarray, y: np.ndarray, weight: np.ndarray, penalty: float, seed: int) -> Network:
    """One network for standardised inputs."""
    m = x.shape[1]
    rng = np.random.default_rng(seed)
    begin = Network(
        rng.normal(0, 0.7 / np.sqrt(m), (UNITS, m)), rng.normal(0, 0.5, UNITS), rng.normal(0, 0.5, UNITS),
        np.zeros(m), np.zeros(1),
    )  # fmt: skip
    cut = np.cumsum([part.size for part in begin])[:-1]
    ridge = np.concatenate(
        [np.full(part.size, penalty * scale) for part, scale in zip(begin, (1, 0, 1, STRAIGHT_PENALTY, 0), strict=True)]
    )

    def network(theta: np.ndarray) -> Network:
        return Network(*(p.reshape(b.shape) for p, b in zip(np.split(theta, cut), begin, strict=True)))

    def loss(theta: np.ndarray) -> tuple[float, np.ndarray]:
        net = Network(*(part.astype(np.float32) for part in network(theta)))
        hidden = np.tanh(x @ net.inward.T + net.hidden_bias)
        z = hidden @ net.outward + x @ net.straight + net.bias[0]
        value = (weight * (np.logaddexp(0, z) - y * z)).sum(dtype=np.float64) + (ridge * theta**2).sum()
        slope = weight * (1 / (1 + np.exp(-np.clip(z, -40, 40))) - y)
        back = np.outer(slope, net.outward) * (1 - hidden * hidden)
        parts = (back.T @ x, back.sum(0), hidden.T @ slope, x.T @ slope, slope.sum(keepdims=True))
        return float(value), np.concatenate([p.ravel().astype(np.float64) for p in parts]) + 2 * ridge * theta

    start = np.concatenate([part.ravel() for part in begin])
    return network(minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": STEPS}).x)


def joined(members: list[Network]) -> Network:
    """One network that gives the mean of their logits."""
    n = len(members)
    return Network(
        np.concatenate([m.inward for m in members]),
        np.concatenate([m.hidden_bias for m in members]),
        np.concatenate([m.outward for m in members]) / n,
        np.mean([m.straight for m in members], 0),
        np.mean([m.bias for m in members], 0),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--penalty", type=float)
    parser.add_argument("--at-hand", action="store_true")
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    folder = options.folder
    some = {s.name: [c for c in taught(s) if not options.at_hand or c.path(folder).exists()] for s in TUNED}
    per_source = {name: joined_examples([noted(folder, clip) for clip in each]) for name, each in some.items()}
    everything = np.concatenate([x for x, _ in per_source.values()])
    centre, spread = everything.mean(0, dtype=np.float64), everything.std(0, dtype=np.float64) + 1e-6
    names = list(per_source)
    size = 5000.0

    def data(keep: list[str]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        x = np.concatenate([standardised(per_source[n][0], centre, spread) for n in keep]).astype(np.float32)
        y = np.concatenate([per_source[n][1] for n in keep])
        weights = [np.full(per_source[n][1].size, size / per_source[n][1].size, np.float32) for n in keep]
        return x, y, np.concatenate(weights)

    scores = {}
    for penalty in () if options.penalty else PENALTIES:
        losses, wrong = [], []
        for out in batched([n for i in range(3) for n in names[i::3]], -(-len(names) // 3)):
            network = fit(*data([n for n in names if n not in out]), penalty, seed=1)
            for name in out:
                x, y, _ = data([name])
                z = network.logit(x)
                losses.append((np.logaddexp(0, z) - y * z).mean())
                wrong.append(((z > 0) != y).mean())
        scores[penalty] = float(np.mean(losses))
        print(f"penalty {penalty}: left-out loss {np.mean(losses):.4f}, wrong {100 * np.mean(wrong):.3f} %", end="; ")
        print(" ".join(f"{100 * w:.2f}" for w in wrong), flush=True)
    best = options.penalty or min(scores, key=lambda penalty: scores[penalty])
    everything_at_hand = data(names)
    network = joined([fit(*everything_at_hand, best, seed) for seed in range(MEMBERS)])
    if options.write:
        write(centre, spread, network, best, int(sum(y.size for _, y in per_source.values())), some)


def batched(values: Sequence[str], size: int) -> Iterator[Sequence[str]]:
    for first in range(0, len(values), size):
        yield values[first : first + size]


def write(
    centre: np.ndarray, spread: np.ndarray, network: Network, penalty: float, count: int, some: dict[str, list[Clip]]
) -> None:
    sources = ", ".join(some)
    number = Counter(f"{clip.kind} {clip.coder}" for each in some.values() for clip in each)
    coders = ", ".join(f"{name} ({n})" for name, n in number.items())
    text = f'''"""Numbers of the cadence model. Written by benchmarks/fit_cadence.py; not to be changed by hand.

Fitted on {count} pairs of planted clips, 640x360, 60 Hz, 8 bits; pairs of the source that hardly
differ are left out. {MEMBERS} networks of {UNITS} units side by side; ridge penalty {penalty:g}.
Inputs in the order of `cadence.design_names`.
Sources: {sources}.
Clips (of so many sources): {coders}.
"""

'''
    WEIGHTS.write_text(_wrapped(text) + FORMAT_OFF + numbers(centre, spread, network))


def numbers(centre: np.ndarray, spread: np.ndarray, network: Network, of: str = "") -> str:
    """The source text of a network's numbers, whose names begin with `of`."""

    def rows(values: np.ndarray, indent: str) -> str:
        lines = batched([f"{v:.4g}" for v in values], 8)
        return "\n".join(indent + ", ".join(line) + "," for line in lines)

    def named(name: str, values: np.ndarray) -> str:
        return f"{of}{name} = (\n{rows(values, '    ')}\n)"

    inward = "\n".join(f"    (\n{rows(unit, '        ')}\n    )," for unit in network.inward)
    body = [
        *(named("CENTRE", centre), named("SPREAD", spread)),
        f"{of}INWARD = (\n{inward}\n)",
        *(named("HIDDEN_BIAS", network.hidden_bias), named("OUTWARD", network.outward)),
        *(named("STRAIGHT", network.straight), f"{of}BIAS = {network.bias[0]:.6g}"),
    ]
    return "\n".join(body) + "\n"


def _wrapped(text: str) -> str:
    import textwrap

    return "\n".join(
        "\n".join(textwrap.wrap(line, 116, break_long_words=False, break_on_hyphens=False)) if len(line) > 116 else line
        for line in text.split("\n")
    )


if __name__ == "__main__":
    main()
