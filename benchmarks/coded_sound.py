"""Whether harsh sounds keep their loudness and their limit once they are coded, as another program reads them.

    python benchmarks/coded_sound.py --seeds 401,402,403

Seven kinds of made sounds that are unkind to a coder, 20 s each, are mixed for -14 and -9 LUFS at most -1 dBTP, and
coded: as drafts were before the coded sound was heard (one round), as drafts are, and as masters are. The reading is
that of the ebur128 filter of the program that imageio-ffmpeg brings, which says one decimal. A sound of nothing but
bangs or clicks cannot be brought to its target, since nothing is raised by more than 20 dB: that is told, not counted.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from assembler.media.sound_coder import SoundCoding
from assembler.sound.delivery import Delivery, deliver, draft_delivery, master_delivery
from assembler.sound.levels import measure
from assembler.sound.sessions import MOST_GAIN_DB
from assembler.sound.stems import Stems
from assembler.storyboard.model import SoundSettings
from assembler.timing.spans import Span
from tests.sound_maker import RATE, ebur128, game_sound, hear, timeline

SECONDS = 20
LIMIT_DBTP = -1.0
Array = npt.NDArray[np.float64]
WAYS = {
    "one round": Delivery(SoundCoding(256_000, quick=True), 1, 0.2),
    "draft": draft_delivery(),
    "master": master_delivery(),
}


def bangs(random: np.random.Generator) -> Array:
    sound = np.zeros((SECONDS * RATE, 2))
    for at in random.integers(0, SECONDS * RATE - 2400, 60):
        sound[at : at + 2400] += 0.9 * random.standard_normal((2400, 2)) * np.exp(-np.arange(2400) / 400)[:, None]
    return sound


def barrage(random: np.random.Generator) -> Array:
    """So many bangs, over soft noise, that the target can be reached."""
    sound = 0.02 * random.standard_normal((SECONDS * RATE, 2))
    for at in random.integers(0, SECONDS * RATE - 2400, 300):
        sound[at : at + 2400] += 0.9 * random.standard_normal((2400, 2)) * np.exp(-np.arange(2400) / 400)[:, None]
    return sound


def tunes(random: np.random.Generator) -> Array:
    """Three voices of pulses of eight notes a second."""
    sound = np.zeros(SECONDS * RATE)
    for share in (0.125, 0.25, 0.5):
        hertz = 110 * 2 ** (random.integers(0, 24, SECONDS * 8) / 12)
        sound += 0.3 * np.where(np.cumsum(np.repeat(hertz, RATE // 8)) / RATE % 1 < share, 1.0, -1.0)
    return np.stack((sound, sound), axis=1)


def drums(random: np.random.Generator) -> Array:
    at = np.arange(SECONDS * RATE) / RATE
    beat, off = at % 0.5, (at + 0.25) % 0.5
    kick = 0.9 * np.exp(-12 * beat) * np.sin(2 * np.pi * (50 * beat + 20 * (1 - np.exp(-30 * beat))))
    sound = kick + 0.4 * np.exp(-60 * off) * random.standard_normal(at.size)
    return np.stack((sound, sound), axis=1)


def noise(random: np.random.Generator) -> Array:
    return 0.2 * random.standard_normal((SECONDS * RATE, 2))


def clicks(random: np.random.Generator) -> Array:
    sound = np.zeros((SECONDS * RATE, 2))
    sound[random.integers(0, SECONDS * RATE, 400)] = 0.95
    return sound


def square(random: np.random.Generator) -> Array:
    hertz = random.uniform(80, 250)
    sound = 0.9 * np.sign(np.sin(2 * np.pi * hertz * (np.arange(SECONDS * RATE) + 0.5) / RATE))
    return np.stack((sound, sound), axis=1)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="401,402,403")
    seeds = [int(seed) for seed in parser.parse_args().seeds.split(",")]
    print("| sound | way | highest dBTP | farthest from its target, LU | told and read apart, LU | most rounds |")
    print("|---|---|---|---|---|---|", flush=True)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for kind in (bangs, barrage, tunes, drums, noise, clicks, square):
            read: dict[str, list[tuple[float, float | None, float, int]]] = {name: [] for name in WAYS}
            for seed in seeds:
                sound = np.clip(kind(np.random.default_rng(seed)), -1, 1).astype(np.float32)
                for target in (-14.0, -9.0):
                    settings = SoundSettings(loudness_lufs=target, peak_dbtp=LIMIT_DBTP)
                    game, heard = game_sound(folder, sound), [hear(0, len(sound))]
                    programme = timeline(folder, SECONDS * 60, heard=heard, game=game, sound=settings)
                    levels = measure(programme)
                    for name, delivery in WAYS.items():
                        path = folder / "coded.m4a"
                        done = deliver(programme, Span(0, SECONDS * 60), levels, Stems(None), delivery, path)
                        lufs, dbtp = ebur128(path)
                        reached = levels.gain_db < MOST_GAIN_DB
                        apart = abs(lufs - (done.report.programme_lufs or 0.0))
                        read[name].append((dbtp, abs(lufs - target) if reached else None, apart, done.rounds))
            for name, found in read.items():
                off = [each for _, each, _, _ in found if each is not None]
                row = [max(each[0] for each in found), max(off) if off else None, max(each[2] for each in found)]
                told = " | ".join("not reached" if each is None else f"{each:.1f}" for each in row)
                print(f"| {kind.__name__} | {name} | {told} | {max(each[3] for each in found)} |", flush=True)


if __name__ == "__main__":
    main()
