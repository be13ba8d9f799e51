"""How often the right take is found in made-up recording sessions whose truth is known to the sample.

    python benchmarks/take_sessions.py            score: voices, lines and seeds that tuning never saw
    python benchmarks/take_sessions.py --tune     the tuning sessions, for comparison
    python benchmarks/take_sessions.py --fit      fit the weights of take_sure.py on the tuning sessions, and print
    … --real FOLDER                               also sessions of real readings: a folder with the utterances
                                                  (`transcription` beside .wav files) of the pocketsphinx source package

Right: the proposed stretch overlaps the line's last good take (intersection over union above 0.7), or a line without
any good take is not proposed. Wrong: something else is proposed. Flagged: a person is asked although there is a good
take. Lost speech: more than 30 ms of the take's own sound is cut off. All figures are of made-up sessions: voices are
synthetic but for --real, and a fresh seed is a fresh order of things, not a fresh voice.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
import wave
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
from scipy.optimize import minimize

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from assembler.narration import take_ear, take_sure
from assembler.narration.pronounce import Pronouncer
from assembler.narration.spoken import spoken_form
from assembler.narration.take_judge import Evidence
from assembler.narration.take_search import ScriptLine, find_takes
from tests.take_sessions import (
    RATE,
    SCORING_LINES,
    SCORING_VOICES,
    TUNING_LINES,
    TUNING_VOICES,
    Habits,
    Samples,
    Session,
    close_voices,
    make_session,
    real_say,
    real_utterances,
    scratch_say,
)

LINES_A_SESSION = 24
REAL = "real reader"
Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Plan:
    """One session: seed, voice, and how far speech stands above the noise."""

    seed: int
    voice: str
    noise_db: float


TUNING = tuple(
    Plan(10 + n, voice, noise)
    for n, (voice, noise) in enumerate(
        [(v, d) for d in (28.0, 20.0) for v in TUNING_VOICES] + [(REAL, d) for d in (28.0, 24.0, 20.0)]
    )
)


def scoring(first_seed: int, voices: Sequence[str]) -> tuple[Plan, ...]:
    """Sessions of real pieces first, then of each voice."""
    kinds = [(REAL, d) for d in (30.0, 26.0, 22.0, 18.0, 28.0, 20.0)]
    kinds += [(v, (30.0, 24.0, 20.0, 16.0)[n % 4]) for n, v in enumerate(voices)]
    return tuple(Plan(first_seed + n, voice, noise) for n, (voice, noise) in enumerate(kinds))


SCORING = scoring(9900, SCORING_VOICES)


def session_of(plan: Plan, pool: tuple[str, ...], real: dict[str, Samples]) -> Session:
    dice = Random(f"lines {plan.seed}")
    if plan.voice == REAL:
        lines = dice.sample(list(real), len(real))
        return make_session(plan.seed, real_say(real, scratch_say("en-us")), lines, Habits(noise_db=plan.noise_db))
    lines = dice.sample(pool, LINES_A_SESSION)
    return make_session(plan.seed, scratch_say(plan.voice), lines, Habits(noise_db=plan.noise_db))


def script_of(session: Session) -> list[ScriptLine]:
    return [
        ScriptLine(f"read-{n}", text, spoken_form(text))
        for n, text in enumerate(session.lines, start=1)
    ]


def write_wav(path: Path, samples: Samples) -> None:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes((samples * 32767).astype("<i2").tobytes())


def overlap(one: Span, other: Span) -> float:
    shared = min(one[1], other[1]) - max(one[0], other[0])
    return max(0.0, shared) / (max(one[1], other[1]) - min(one[0], other[0]))


@dataclass(slots=True)
class Tally:
    lines: int = 0
    right: int = 0
    wrong: int = 0
    flagged: int = 0
    lost: int = 0
    proposed: int = 0
    seconds: float = 0.0
    took_s: float = 0.0

    def add(self, other: Tally) -> None:
        for name in self.__slots__:
            setattr(self, name, getattr(self, name) + getattr(other, name))

    def row(self, name: str) -> str:
        share = [f"{100 * part / max(1, self.lines):5.1f} %" for part in (self.right, self.wrong, self.flagged)]
        speed = self.seconds / max(0.01, self.took_s)
        return (
            f"{name:28} {self.lines:4} lines  right {self.right:4} {share[0]}  wrong {self.wrong:3} {share[1]}  "
            f"flagged {self.flagged:3} {share[2]}  lost speech {self.lost}/{self.proposed}  {speed:4.1f}x"
        )


def run(plan: Plan, session: Session, cache: Path, *, tell: bool) -> Tally:
    path = cache / f"{plan.seed}.wav"
    write_wav(path, session.samples)
    script = script_of(session)
    with Pronouncer() as pronouncer:
        added = pronouncer.added_with_parts(word for line in script for word in line.words)
    began = time.perf_counter()
    found = find_takes(script, [path], cache, added=added)
    tally = Tally(seconds=session.samples.size / RATE, took_s=time.perf_counter() - began)
    path.unlink()
    for n, line in enumerate(script):
        result, truth = found.results[line.key], session.truth[n]
        tally.lines += 1
        said = ""
        if result.verdict == "proposed" and result.picked is not None:
            take = result.candidates[result.picked]
            if truth is not None and overlap((take.in_s, take.out_s), truth) > 0.7:
                tally.right += 1
                tally.proposed += 1
                if take.in_s > truth[0] + 0.03 or take.out_s < truth[1] - 0.03:
                    tally.lost += 1
                    said = f"lost speech: {take.in_s:.2f} to {take.out_s:.2f}, true {truth[0]:.2f} to {truth[1]:.2f}"
            else:
                tally.wrong += 1
                said = f"WRONG {take.in_s:.2f} to {take.out_s:.2f}, true {truth}"
        elif truth is None:
            tally.right += 1
        else:
            tally.flagged += 1
            said = f"{result.verdict}: {result.why}; true {truth[0]:.2f} to {truth[1]:.2f}"
        if tell and said:
            print(f"    {plan.voice} {plan.seed} {line.key} '{line.text}' {said}")
    return tally


def sessions(
    plans: tuple[Plan, ...], pool: tuple[str, ...], real: dict[str, Samples]
) -> Iterator[tuple[Plan, Session]]:
    for plan in plans:
        if plan.voice != REAL or real:
            yield plan, session_of(plan, pool, real)


def score(plans: tuple[Plan, ...], pool: tuple[str, ...], real: dict[str, Samples], cache: Path) -> None:
    total, by_kind = Tally(), {"synthetic voices": Tally(), "real pieces": Tally()}
    for plan, session in sessions(plans, pool, real):
        tally = run(plan, session, cache, tell=True)
        print(tally.row(f"{plan.voice}, {plan.noise_db:.0f} dB, {plan.seed}"), flush=True)
        total.add(tally)
        by_kind["real pieces" if plan.voice == REAL else "synthetic voices"].add(tally)
    for name, tally in by_kind.items():
        if tally.lines:
            print(tally.row(name))
    print(total.row("all"))


def fit(plans: Sequence[Plan], pool: tuple[str, ...], real: dict[str, Samples], cache: Path) -> None:
    """Weights by which what the listener that knows no script made of a try becomes a probability: logistic, none
    below 0, held small; and how such weights do on each session when they were fitted on the others."""
    rows: list[tuple[str, dict[str, float], bool]] = []
    tried: list[tuple[str, Evidence]] = []
    readers: list[take_ear._Reader | None] = []
    inner_try, inner_reader = take_ear._Hearing._try, take_ear._reader

    def noting(self: take_ear._Hearing, line: ScriptLine, first: int, past: int) -> Evidence:
        tried.append((line.key, inner_try(self, line, first, past)))
        return tried[-1][1]

    def reading(*found: Any) -> take_ear._Reader | None:
        readers.append(inner_reader(*found))
        return readers[-1]

    take_ear._Hearing._try, take_ear._reader = noting, reading  # type: ignore[assignment,method-assign]
    for plan, session in sessions(tuple(plans), pool, real):
        tried.clear()
        readers.clear()
        path = cache / f"{plan.seed}.wav"
        write_wav(path, session.samples)
        script = {line.key: line for line in script_of(session)}
        find_takes(list(script.values()), [path], cache, by_ear=True)
        path.unlink()
        reader = next((each for each in readers if each is not None), None)
        for key, one in tried:
            n = int(key.removeprefix("read-")) - 1
            goods = [*session.earlier[n], *([session.truth[n]] if session.truth[n] is not None else [])]
            shared = max((overlap((one.start_s, one.end_s), good) for good in goods if good is not None), default=0.0)
            if reader is not None and not 0.65 < shared < 0.85:  # between them it is a matter of taste
                ear = reader.known(script[key], one).ear
                assert ear is not None
                rows.append((f"{plan.voice} {plan.seed}", take_sure.features(ear), shared >= 0.85))
        print(f"{plan.voice} {plan.seed}: {len(rows)} tries", flush=True)
    names = list(rows[0][1])
    x = np.array([[row[name] for name in names] for _, row, _ in rows])
    y = np.array([good for *_, good in rows], float)
    whose = np.array([session for session, *_ in rows])

    def best(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        def loss(w: np.ndarray) -> float:
            z = w[0] - x @ w[1:]
            likely = np.logaddexp(0, -z) * y + np.logaddexp(0, z) * (1 - y)
            return float(likely.sum() + 0.02 * np.square(w[1:]).sum())

        start = np.array([4.0, *np.full(len(names), 0.2)])
        return np.asarray(minimize(loss, start, bounds=[(0, 12)] * (len(names) + 1)).x)

    w = best(x, y)
    print({name: round(float(value), 3) for name, value in zip(["bias", *names], w, strict=True)})
    p = np.zeros(y.size)
    for session_name in dict.fromkeys(whose):
        mine = whose == session_name
        part = best(x[~mine], y[~mine]) if not mine.all() else w
        p[mine] = 1 / (1 + np.exp(-(part[0] - x[mine] @ part[1:])))
        good, bad = p[mine & (y == 1)], p[mine & (y == 0)]
        print(
            f"{session_name:28} good tries {good.size:3}, sure {(good >= 0.6).sum():3}, given up "
            f"{(good < 0.15).sum():2}; others {bad.size:3}, sure {(bad >= 0.6).sum():2}"
        )
    print(f"good tries {int(y.sum())}, sure {int((p[y == 1] >= 0.6).sum())}; others {int((1 - y).sum())}, "
          f"sure {int((p[y == 0] >= 0.6).sum())}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tune", action="store_true")
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--real", type=Path)
    parser.add_argument("--part", metavar="K/N", default="0/1", help="every N-th session from the K-th on")
    parser.add_argument("--cache", type=Path, help="keep what was heard here, for another run")
    options = parser.parse_args()
    real = real_utterances(options.real) if options.real else {}
    part, parts = (int(number) for number in options.part.split("/"))
    if not real:
        print("NO REAL READINGS: every figure below is of synthetic voices (see --real)")
    with tempfile.TemporaryDirectory() as passing:
        cache = options.cache or Path(passing)
        cache.mkdir(parents=True, exist_ok=True)
        if options.fit:
            fit(TUNING, TUNING_LINES, real, cache)
        elif options.tune:
            score(TUNING[part::parts], TUNING_LINES, real, cache)
        else:
            score(SCORING[part::parts], SCORING_LINES, real, cache)
    close_voices()


if __name__ == "__main__":
    main()
