"""Fit the cadence model on the tuned half of the planted sources, and write its numbers.

    python benchmarks/fit_cadence.py FOLDER [--write]

Ridge-penalised logistic regression; each source weighs the same. Each source of the tuned half is left out in turn,
and the smallest penalty is taken that is wrong hardly more often than the best: larger ones make p needlessly
unsure. The scored half is not looked at here.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from measure_clips import CODERS, TUNED, clips
from measure_notes import Noted, noted
from scipy.optimize import minimize

from assembler.measure.cadence import design, design_names

PENALTIES = (3.0, 10.0, 30.0, 100.0)
STILL = 0.1
"""Pairs of the source that differ by less than this mean code are neither new nor repeats worth teaching."""
WEIGHTS = Path(__file__).resolve().parent.parent / "assembler" / "measure" / "weights.py"


def examples(notes: list[Noted]) -> tuple[np.ndarray, np.ndarray]:
    xs, ys = [], []
    for one in notes:
        use = ~(one.new & (one.moved < STILL))
        use[0] = False
        xs.append(design(one.notes)[use])
        ys.append(one.new[use])
    return np.concatenate(xs), np.concatenate(ys).astype(float)


def fit(x: np.ndarray, y: np.ndarray, weight: np.ndarray, penalty: float) -> tuple[np.ndarray, float]:
    """Weights of standardised inputs, and the bias."""

    def loss(theta: np.ndarray) -> tuple[float, np.ndarray]:
        z = x @ theta[:-1] + theta[-1]
        value = (weight * (np.logaddexp(0, z) - y * z)).sum() + penalty * (theta[:-1] ** 2).sum()
        slope = weight * (1 / (1 + np.exp(-np.clip(z, -40, 40))) - y)
        return value, np.concatenate([x.T @ slope + 2 * penalty * theta[:-1], [slope.sum()]])

    found = minimize(loss, np.zeros(x.shape[1] + 1), jac=True, method="L-BFGS-B", options={"maxiter": 400})
    return found.x[:-1], float(found.x[-1])


def main() -> None:
    folder = Path(sys.argv[1])
    per_source = {s.name: examples([noted(folder, clip) for clip in clips((s,))]) for s in TUNED}
    everything = np.concatenate([x for x, _ in per_source.values()])
    centre, spread = everything.mean(0), everything.std(0) + 1e-6
    names = list(per_source)
    size = np.mean([y.size for _, y in per_source.values()])

    def data(keep: list[str]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        x = np.concatenate([(per_source[n][0] - centre) / spread for n in keep])
        y = np.concatenate([per_source[n][1] for n in keep])
        return x, y, np.concatenate([np.full(per_source[n][1].size, size / per_source[n][1].size) for n in keep])

    scores = {}
    for penalty in PENALTIES:
        losses, wrong = [], []
        for out in names:
            weights, bias = fit(*data([n for n in names if n != out]), penalty)
            x, y, _ = data([out])
            z = x @ weights + bias
            losses.append((np.logaddexp(0, z) - y * z).mean())
            wrong.append(((z > 0) != y).mean())
        scores[penalty] = float(np.mean(wrong))
        print(f"penalty {penalty}: left-out loss {np.mean(losses):.4f}, wrong {100 * np.mean(wrong):.3f} %", end="; ")
        print(" ".join(f"{100 * w:.2f}" for w in wrong), flush=True)
    best = min(p for p, wrong in scores.items() if wrong <= 1.05 * min(scores.values()))
    weights, bias = fit(*data(names), best)
    if "--write" in sys.argv:
        write(centre, spread, weights, bias, best, int(sum(y.size for _, y in per_source.values())))


def write(centre: np.ndarray, spread: np.ndarray, weights: np.ndarray, bias: float, penalty: float, count: int) -> None:
    def numbers(name: str, values: np.ndarray) -> str:
        rows = [f"    {v:.6g},  # {what}" for v, what in zip(values, design_names(), strict=True)]
        return "\n".join([f"{name} = (", *rows, ")"])

    sources = ", ".join(s.name for s in TUNED)
    coders = ", ".join(str(c) for c in CODERS)
    text = f'''"""Numbers of the cadence model. Written by benchmarks/fit_cadence.py; not to be changed by hand.

Fitted on {count} pairs of planted clips, 640x360, 60 Hz, 8 bits; pairs of the source that hardly
differ are left out. Ridge penalty {penalty:g}, chosen by leaving out one source at a time.
Sources: {sources}.
Coders: {coders}.
"""

'''
    body = "\n".join([numbers("CENTRE", centre), numbers("SPREAD", spread), numbers("WEIGHTS", weights)])
    WEIGHTS.write_text(f"{_wrapped(text)}{body}\nBIAS = {bias:.6g}\n")


def _wrapped(text: str) -> str:
    import textwrap

    return "\n".join(
        "\n".join(textwrap.wrap(line, 116, break_long_words=False, break_on_hyphens=False)) if len(line) > 116 else line
        for line in text.split("\n")
    )


if __name__ == "__main__":
    main()
