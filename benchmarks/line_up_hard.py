"""Pairs that must be refused though they are alike, and pairs of real film: `python benchmarks/line_up_hard.py
[tuning|scoring] [pairs of a kind] [film files…]`.

other time: the same scene, seconds that the other never shows. near still: little moves, of the same size in both.
dark: a twentieth of the light. periodic: different scenes that come round in the same time, with flashes or steps in
step. film: different stretches of one film. The films' related pairs are degraded as the planted ones are, and overlap
by 6 s or more. A film's first half is for tuning, its second for scoring.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[1] / "tests")]

from lineup_maker import KINDS, Array, Pair, Scene, make_machine, make_scene, plant  # noqa: E402

from assembler.measure.lineup import line_up  # noqa: E402
from assembler.media.luma import read_luma  # noqa: E402
from assembler.media.probe import probe  # noqa: E402

SEEDS = {"tuning": 210_000, "scoring": 310_000}
UNRELATED = ("other time", "near still", "dark", "periodic")
_BOX = (18, 32)


def stilled(scene: Scene, share: float) -> Scene:
    """The scene's first picture, with a share of what it changes by."""
    def out(u: Array, rows: int, columns: int) -> np.ndarray:
        first = scene(np.zeros(1), rows, columns)
        return np.asarray(first + share * (scene(u, rows, columns) - first), np.float32)

    return out


def dimmed(scene: Scene) -> Scene:
    return lambda u, rows, columns: 16 + 0.05 * (scene(u, rows, columns) - 16)


def round_again(scene: Scene, period: float, rng: np.random.Generator) -> Scene:
    """There and back in `period` seconds, again and again, or with a flash each time."""
    if rng.random() < 0.5:
        return lambda u, r, c: scene(period / 2 * (1 - np.cos(2 * np.pi * u / period)), r, c)
    return lambda u, r, c: np.clip(
        scene(u, r, c) * (0.7 + 0.6 * np.exp(-(u % period) / 0.15))[:, None, None], 0, 255
    ).astype(np.float32)


def unrelated(seed: int, what: str) -> Pair:
    rng = np.random.default_rng([seed, 8])
    kind = KINDS[seed % len(KINDS)]
    other = kind if rng.random() < 0.7 else KINDS[rng.integers(len(KINDS))]
    scenes = [make_scene(kind, seed), make_scene(other, seed + 50_000)]
    start = 3.0
    if what == "other time":
        scenes[1], start = scenes[0], float(rng.uniform(80, 200))
    elif what == "near still":
        scenes = [stilled(scene, float(rng.uniform(0.01, 0.1))) for scene in scenes]
    elif what == "dark":
        scenes = [dimmed(scene) for scene in scenes]
    else:
        period = float(rng.uniform(0.5, 4))
        scenes = [round_again(scene, period, rng) for scene in scenes]
    lengths = np.exp(rng.uniform(np.log(8), np.log(60), 2))
    a = plant(scenes[0], make_machine(rng, True), lengths[0], 0.0, 0.0, 2 * seed)
    b = plant(scenes[1], make_machine(rng, False), lengths[1], start, 0.0, 2 * seed + 1)
    return Pair(a, b, np.nan, 0.0, f"{kind} / {scenes and other}")


def film_pictures(path: Path) -> tuple[np.ndarray, float]:
    """Small pictures (n, 18, 32) and pictures a second."""
    info = probe(path)
    small = []
    for luma in read_luma(info):
        height = luma.lines.shape[0]
        rows, columns = (np.linspace(0, size, count + 1).astype(int)[:-1]
                         for size, count in zip((height, luma.width), _BOX, strict=True))  # fmt: skip
        sums = np.add.reduceat(np.add.reduceat(luma.lines[:, : luma.width], rows, 0, np.float64), columns, 1)
        area = np.outer(np.diff([*rows, height]), np.diff([*columns, luma.width]))
        small.append((sums / area / luma.code).astype(np.float32))
    return np.stack(small), float(info.pictures / info.duration_s)


def film_pair(pictures: np.ndarray, rate: float, seed: int, related: bool) -> Pair | None:
    """Two stretches of the film, as two machines show it. None where it is too short for such a pair."""
    rng = np.random.default_rng([seed, 9])
    seconds = len(pictures) / rate

    def scene(u: Array, rows: int, columns: int) -> np.ndarray:
        return pictures[np.clip((u * rate).astype(int), 0, len(pictures) - 1)]

    if related:
        common = rng.uniform(6, min(20, seconds)) if seconds > 6.5 else seconds - 0.5
        at = rng.uniform(0, seconds - common)
        spans = [(at - rng.uniform(0, at), at + common), (at, rng.uniform(at + common, seconds))]
    else:
        cut = rng.uniform(0.4, 0.6) * seconds
        spans = [(0.0, cut), (cut, seconds)]
    if min(end - start for start, end in spans) < 4:
        return None
    order = [0, 1] if rng.random() < 0.5 else [1, 0]
    (start_a, end_a), (start_b, end_b) = spans[order[0]], spans[order[1]]
    a = plant(scene, make_machine(rng, True), end_a - start_a, start_a, 0.0, 2 * seed)
    b = plant(scene, make_machine(rng, False), end_b - start_b, start_b, 0.0, 2 * seed + 1)
    return Pair(a, b, start_a - start_b if related else np.nan, 0.0, f"{seconds:.0f} s of film")


def main() -> None:
    half = sys.argv[1] if len(sys.argv) > 1 else "scoring"
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 40
    print(f"{half} seeds from {SEEDS[half]}")
    for what in UNRELATED:
        told(what, [unrelated(SEEDS[half] + k, what) for k in range(count)])
    films = [(Path(name), *film_pictures(Path(name))) for name in sys.argv[3:]]
    for path, pictures, rate in films:
        middle = len(pictures) // 2
        part = pictures[:middle] if half == "tuning" else pictures[middle:]
        for related in (True, False):
            pairs = [film_pair(part, rate, SEEDS[half] + k, related) for k in range(count)]
            told(f"{path.stem}, {'related' if related else 'unrelated'}", [pair for pair in pairs if pair is not None])
    for i, (one, first, rate) in enumerate(films):
        for other, second, rate_b in films[i + 1 :]:
            pairs = []
            for k in range(count // 4):
                rng = np.random.default_rng([SEEDS[half] + k, 10])
                both = [
                    plant(lambda u, r, c, p=p, f=f: p[np.clip((u * f).astype(int), 0, len(p) - 1)],
                          make_machine(rng, plain), len(p) / f, 0.0, 0.0, k)
                    for p, f, plain in ((first, rate, True), (second, rate_b, False))
                ]  # fmt: skip
                pairs.append(Pair(*both, np.nan, 0.0, f"{one.stem} / {other.stem}"))
            told(f"{one.stem} / {other.stem}", pairs)


def told(what: str, pairs: list[Pair]) -> None:
    off, scores, accepted, refused = [], [], [], []
    for pair in pairs:
        a, b = pair.a, pair.b
        got = line_up(a.info, a.thumbs, a.cadence, b.info, b.thumbs, b.cadence)
        scores.append(got.score)
        if not got.matched:
            refused.append(f"{pair.words}: {got.why} (score {got.score:.1f})")
            continue
        accepted.append(f"{pair.words}: {got.why} (score {got.score:.1f})")
        frame = max(float(np.median(np.diff(p.info.pts)) * p.info.time_base) for p in (a, b))
        low, high = pair.in_common() if np.isfinite(pair.offset_s) else (0.0, 0.0)
        off.append(abs(got.offset_s - pair.offset_s + got.drift_ppm * 1e-6 * (low + high) / 2) / frame)
    if not pairs:
        return
    if np.isfinite(pairs[0].offset_s):
        within = sum(each <= 1 for each in off)
        print(f"{what}: {len(off)} of {len(pairs)} matched, {within} within one frame, median {np.median(off):.2f}, "
              f"most {max(off):.2f} frames; scores {min(scores):.1f} to {max(scores):.1f}", flush=True)  # fmt: skip
        wrong = refused
    else:
        print(f"{what}: {len(refused)} of {len(pairs)} refused, highest score {max(scores):.1f}", flush=True)
        wrong = accepted
    for words in wrong:
        print(f"  {words}")


if __name__ == "__main__":
    main()
