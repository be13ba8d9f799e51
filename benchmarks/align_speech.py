"""How well words are found in recordings, how wrong text is told, and how well lengths are foretold.

    python benchmarks/align_speech.py [--real FOLDER] [--quick] [--unseen] [--tables starts,right,wrong,lengths]

Synthetic speech has exact word times. FOLDER holds real recordings, which are not part of the project:
  pocketsphinx's source archive unpacked (`pip download --no-binary :all: --no-deps pocketsphinx`): librivox, cards;
  any *.wav with a *.TextGrid of the same name (long text form, first tier words) made by an independent aligner.
Without it the real tables are left out, and say so.
"""

from __future__ import annotations

import argparse
import random
import sys
import wave
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.signal import resample_poly

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from assembler.narration.align import Alignment, align_take
from assembler.narration.align_ear import shared_ear
from assembler.narration.ear import Ear
from assembler.narration.pace import fit
from assembler.narration.pronounce import Pronouncer
from assembler.narration.recogniser import Recogniser, pcm16k
from assembler.narration.scratch import ScratchVoice
from assembler.narration.spoken import spoken_form
from assembler.narration.takes import speech_span
from tests.take_script import LINES as TAKE_LINES

LINES = """
Both machines run the same scene from the same start.
The first one holds 60 frames per second through the whole walk.
On the quay the second one drops to 48 fps.
A frame time of 20 ms is easy to feel.
Look at the far wall, where textures arrive late.
Reflections are drawn at half resolution on the left.
The picture on the right stays sharp when the camera turns.
At 1440p the gap grows to a third.
Memory use never goes above 11 gigabytes in either mode.
The lowest one percent tells you more than the average.
Shadows near the boat flicker in the older version.
We measured every run three times and show the middle one.
Water is the hardest part, because the light keeps changing.
The upscaler hides most of it until something moves.
Power draw stays near 200 watts for the whole test.
Turn the quality setting down one step, and the problem is gone.
Pacing matters more than the number in the corner.
Here the capture shows a torn picture for two frames.
The new driver costs 4 % and fixes the stutter.
Nothing in this test was sped up or slowed down.
In the last minute both machines are limited by the processor.
A quiet room makes the fan noise easy to hear.
Distance detail is the only setting that we changed.
So which one should you buy for a small desk?
""".strip().splitlines()
VOICES = (("en-us", 140), ("en-us+f3", 160), ("en-us+m3", 165), ("en-gb", 150), ("en-us+f2", 170))
# Lines and voices that nothing was tuned on.
UNSEEN_LINES = TAKE_LINES[1:48:2]
UNSEEN_VOICES = (("en-us+m4", 155), ("en-us+f4", 165), ("gmw/en+f1", 150), ("gmw/en-GB-x-rp", 160))
SHORT = ["a", "the", "not", "is", "of", "in", "to", "and", "it", "on", "no", "for", "so", "by", "two", "one"]
SEGMENT = 5  # lines that the listener expects together


@dataclass(frozen=True)
class Take:
    """samples: mono at 48 kHz. starts: seconds, where they are known."""

    samples: npt.NDArray[np.float32]
    words: tuple[str, ...]
    starts: tuple[float, ...] = ()


def synthetic(speaker: str, pace: int, lines: Sequence[str] = LINES) -> list[Take]:
    """Every line in one voice. Each spoken word is given to the voice by itself, so each has an exact start."""
    takes = []
    own = speaker == "en-gb" or "/" in speaker
    with ScratchVoice(speaker if own else "en", speaker="" if own else speaker) as voice:
        for line in lines:
            tokens = spoken_form(line)
            words = tuple(word for token in tokens for word in token.words)
            said = voice.speak(spoken_form(" ".join(words), {"p.": "P"}), pace)
            if len(said.words) != len(words):
                raise RuntimeError(f"{line}: {len(said.words)} times for {len(words)} words")
            starts = tuple(word.start_sample / 48_000 for word in said.words)
            takes.append(Take(said.samples, words, starts))
    return takes


def noisy(take: Take, seed: int) -> Take:
    """Pink noise 10 dB under the speech."""
    speech = take.samples.astype(np.float64)
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(speech.size))
    noise = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.arange(spectrum.size), 1)), speech.size)
    power = np.mean(speech[np.abs(speech) > 0.005] ** 2)
    noise *= np.sqrt(power / 10 / np.mean(noise**2))
    return Take((speech + noise).astype(np.float32), take.words, take.starts)


def read_wav(path: Path) -> npt.NDArray[np.float32]:
    with wave.open(str(path)) as file:
        whole = np.frombuffer(file.readframes(-1), "<i2").astype(np.float64) / 32768
        mono = whole.reshape(-1, file.getnchannels()).mean(axis=1)
        return np.asarray(resample_poly(mono, 48_000, file.getframerate()), np.float32)


def archive_takes(folder: Path, name: str) -> list[Take]:
    """librivox (one reader) or cards of pocketsphinx's own test data; no independent word times."""
    found = sorted(folder.rglob(f"test/data/{name}/*transcription"))
    if not found:
        return []
    takes = []
    for line in found[0].read_text().splitlines():
        said, _, rest = line.replace("<s>", "").replace("</s>", "").rpartition("(")
        takes.append(Take(read_wav(found[0].with_name(rest.strip(" )") + ".wav")), tuple(said.split())))
    return takes


def grid_takes(path: Path) -> list[Take]:
    """A recording cut at its pauses of a quarter second or more, with an independent aligner's word times."""
    rows = path.read_text().split("\n")
    at = rows.index('"words"')
    sound = read_wav(path.with_suffix(".wav"))
    phrases: list[list[tuple[float, float, str]]] = [[]]
    for n in range(int(rows[at + 3])):
        start, end, word = float(rows[at + 4 + 3 * n]), float(rows[at + 5 + 3 * n]), rows[at + 6 + 3 * n].strip('"')
        if not word or not word.replace("'", "").isalpha():
            if end - start >= 0.25 or word:
                phrases.append([])
        else:
            phrases[-1].append((start, end, word))
    takes = []
    for phrase in (phrase for phrase in phrases if len(phrase) > 1):
        first, past = max(0.0, phrase[0][0] - 0.15), phrase[-1][1] + 0.15
        samples = sound[round(first * 48_000) : round(past * 48_000)]
        takes.append(Take(samples, tuple(w for _, _, w in phrase), tuple(s - first for s, _, _ in phrase)))
    return takes


class Bench:
    def __init__(self, listener: Recogniser, pronouncer: Pronouncer, ear: Ear | None, *, once: bool) -> None:
        self.listener, self.pronouncer, self.ear, self.once = listener, pronouncer, ear, once

    def starts(self, name: str, takes: list[Take]) -> None:
        """One row of start errors, whatever the verdict: how well words are found that are there."""
        off: list[float] = []
        refused = 0
        for take in takes:
            added = self.pronouncer.added(take.words)
            pcm = pcm16k(take.samples)
            found = self.listener.align(pcm, take.words, added)
            if found is None:
                refused += 1
                continue
            if not self.once:
                found = self.listener.finer(pcm, found, added)
            off += [abs(heard.start_s - start) for heard, start in zip(found, take.starts, strict=True)]
        ms = 1000 * np.array(off)
        row = f"{np.median(ms):6.0f} {np.mean(ms):6.0f} {np.percentile(ms, 95):6.0f}"
        print(
            f"{name:28} {len(takes):5} {refused:7} {ms.size:6} {row} {share(ms <= 50):7} {share(ms <= 100):7}",
            flush=True,
        )

    def verdict(self, take: Take, words: tuple[str, ...], script: list[tuple[str, ...]]) -> Alignment:
        return align_take(take.samples, words, script, self.listener, self.pronouncer, self.ear)

    def right(self, name: str, takes: list[Take]) -> None:
        """How many takes of the text as written are accepted."""
        found = Counter(self.verdict(take, take.words, neighbours(takes, n)).verdict for n, take in enumerate(takes))
        print(f"{name:28} {len(takes):5} {found['aligned']:8} {found['doubtful']:8} {found['refused']:8}", flush=True)

    def wrong(self, name: str, takes: list[Take], some: int, *, short: bool) -> Counter[tuple[str, str]]:
        """Verdicts by kind of fault; the listener expects the wrong text, never the right one. short: faults in words
        of up to three letters only."""
        chance = random.Random(7)
        pool = sorted({word for take in takes for word in take.words if len(word) > 3})
        told: Counter[tuple[str, str]] = Counter()
        for n, take in enumerate(takes[:some]):
            own, other = list(take.words), takes[(n + 1) % len(takes)].words
            at = chance.choice([i for i, word in enumerate(own) if len(word) > 3] or [0])
            new = chance.choice([word for word in pool if word not in own])
            faults = {
                "another line": other,
                "half of it and another's half": (*own[: len(own) // 2], *other[len(other) // 2 :]),
                "text goes on": (*own, *other),
                "text stops half way": tuple(own[: len(own) // 2]),
                "one word for another": (*own[:at], new, *own[at + 1 :]),
                "one word more": (*own[:at], new, *own[at:]),
                "one word less": (*own[:at], *own[at + 1 :]),
            }
            for kind, words in (short_faults(take, n) if short else faults).items():
                if words == take.words:
                    continue  # two halves can make the right text again
                script = [words if line == take.words else line for line in neighbours(takes, n)]
                told[kind, self.verdict(take, words, script).verdict] += 1
        print(f"  {name}: done", file=sys.stderr, flush=True)
        return told


def short_faults(take: Take, seed: int) -> dict[str, tuple[str, ...]]:
    """Wrong texts that differ from what was said by one short word."""
    own = take.words
    chance = random.Random(seed)
    place = chance.randrange(len(own) + 1)
    faults = {"one short word more": (*own[:place], chance.choice(SHORT), *own[place:])}
    if few := [n for n, word in enumerate(own) if len(word) <= 3]:
        at, gone = chance.choice(few), chance.choice(few)
        new = chance.choice([word for word in SHORT if word != own[at].casefold()])
        faults["one short word for another"] = (*own[:at], new, *own[at + 1 :])
        faults["one short word less"] = (*own[:gone], *own[gone + 1 :])
    return faults


def neighbours(takes: list[Take], n: int) -> list[tuple[str, ...]]:
    first = n // SEGMENT * SEGMENT
    return [take.words for take in takes[first : first + SEGMENT]]


def share(good: npt.NDArray[np.bool_]) -> str:
    return f"{100 * np.mean(good):.1f} %"


def lengths(name: str, takes: list[Take]) -> None:
    """Errors after three lines by the same reader, for every choice of the three."""
    with ScratchVoice("en") as voice:
        pairs = [
            (voice.speak(spoken_form(" ".join(take.words)), 160).samples.size / 48_000, spoken_s(take))
            for take in takes
        ]
    if len(pairs) < 5:
        return
    line, total, inside = [], [], []
    for three in combinations(range(len(pairs)), 3):
        pace = fit([pairs[n] for n in three])
        rest = [pair for n, pair in enumerate(pairs) if n not in three]
        guesses = [pace.expect(predicted) for predicted, _ in rest]
        line += [abs(g.seconds / real - 1) for g, (_, real) in zip(guesses, rest, strict=True)]
        inside += [g.low_s <= real <= g.high_s for g, (_, real) in zip(guesses, rest, strict=True)]
        total.append(abs(sum(g.seconds for g in guesses) / sum(real for _, real in rest) - 1))
    factors = [real / predicted for predicted, real in pairs]
    good = "met" if np.mean(line) <= 0.12 and np.mean(total) <= 0.06 else "NOT met"
    print(
        f"{name:28} {len(pairs):5} {np.median(factors):6.2f} {100 * np.mean(line):8.1f} % "
        f"{100 * np.mean(total):6.1f} % {100 * np.mean(inside):8.0f} %  {good}",
        flush=True,
    )


def spoken_s(take: Take) -> float:
    """Seconds that an accepted take would keep."""
    span = speech_span(take.samples)
    return (span[1] - span[0]) / 48_000 if span else 0.0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--real", type=Path, help="folder of real recordings")
    parser.add_argument("--tables", default="starts,right,wrong,lengths", help="which tables, in this order")
    parser.add_argument("--only-real", action="store_true", help="leave the synthetic voices out")
    parser.add_argument("--quick", action="store_true", help="two voices and few wrong texts")
    parser.add_argument("--unseen", action="store_true", help="voices and lines that nothing was tuned on, alone")
    parser.add_argument("--voices", metavar="NAME@PACE,…", help="these voices in place of the script's own")
    parser.add_argument("--once", action="store_true", help="place words from one listening instead of two")
    parser.add_argument("--short", action="store_true", help="wrong texts that differ by one short word")
    parser.add_argument("--no-ear", action="store_true", help="without the listener that knows no script")
    parser.add_argument("--trials", type=int, default=6, help="lines of each voice that get wrong texts")
    asked = parser.parse_args()
    if asked.unseen:
        asked.real = None
    voices = UNSEEN_VOICES if asked.unseen else () if asked.only_real else VOICES[:2] if asked.quick else VOICES
    if asked.voices:
        named = (each.partition("@") for each in asked.voices.split(","))
        voices = tuple((name, int(pace or 155)) for name, _, pace in named)
    tables = asked.tables.split(",")
    real: dict[str, list[Take]] = {}
    if asked.real:
        real = {name: archive_takes(asked.real, name) for name in ("librivox", "cards")}
        real |= {grid.stem: grid_takes(grid) for grid in sorted(asked.real.rglob("*.TextGrid"))}
        real = {name: takes for name, takes in real.items() if takes}
    if not real:
        print("NO REAL SPEECH: give --real FOLDER (see the head of this file); only synthetic tables follow\n")
    with Recogniser() as listener, Pronouncer() as pronouncer:
        ear = None if asked.no_ear else shared_ear()
        print("with the listener that knows no script\n" if ear else "WITHOUT the listener that knows no script\n")
        bench = Bench(listener, pronouncer, ear, once=asked.once)
        made = {
            f"{voice} at {pace}": synthetic(voice, pace, UNSEEN_LINES if asked.unseen else LINES)
            for voice, pace in voices
        }
        noise = {f"{name}, 10 dB": [noisy(t, n) for n, t in enumerate(takes)] for name, takes in made.items()}
        if "starts" in tables:
            print(f"{'WORD STARTS (ms)':28} lines refused  words median   mean    p95  <= 50  <= 100")
            for name, takes in (made | noise | real).items():
                if takes[0].starts:
                    bench.starts(name, takes)
        if "right" in tables:
            print(f"\n{'THE TEXT AS WRITTEN':28} lines  aligned doubtful  refused")
            for name, takes in (made | noise | real).items():
                bench.right(name, takes)
        if "wrong" in tables:
            print(f"\n{'WRONG TEXT':32} trials accepted doubtful refused")
            told: Counter[tuple[str, str]] = Counter()
            for name, takes in (made | real).items():
                told += bench.wrong(name, takes, 4 if asked.quick else asked.trials, short=asked.short)
            for kind in dict.fromkeys(kind for kind, _ in told):
                row = [told[kind, verdict] for verdict in ("aligned", "doubtful", "refused")]
                print(f"{kind:32} {sum(row):6} {row[0]:8} {row[1]:8} {row[2]:7}")
    if "lengths" in tables:
        print(f"\n{'LENGTHS AFTER THREE LINES':28} lines   pace     a line    total  in interval")
        for name, takes in real.items():  # a synthetic reader would be foretold by itself
            lengths(name, takes)
    return 0


if __name__ == "__main__":
    sys.exit(main())
