"""Tries at the lines of a script, found by the listener that knows no script (ear.py).

What it hears between silences is held against every line; where one is like it, the line is compared word by word
(ear_line.py). A line with a pause in it lies in several stretches, so runs of neighbouring ones are heard as well; one
that was begun twice without a breath lies in a part of a stretch, so its beginning is looked for where the sound dips.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from assembler.media.recording import Levels
from assembler.narration.ear import LONGEST_S
from assembler.narration.ear_line import Comparison, alike, compare, words_of
from assembler.narration.spoken import SpokenToken
from assembler.narration.take_choice import SURE, confidence
from assembler.narration.take_judge import FRAMES_S, Evidence
from assembler.narration.take_listen import Listener, Stretch
from assembler.narration.take_sure import EarTry, Usual, usual

_STRETCHES, _PAUSE = 4, 130  # of a run: how many stretches, and frames of silence between two
_LIKE, _HARDLY_LIKE = 0.52, 0.42  # how alike a line and what was heard are for a try, and for the likeliest lines
_LIKELIEST = 2
_GAIN = 0.02  # of likeness that a further stretch has to bring
_EACH = 4  # lines compared with one run
_BEFORE, _AFTER = 18, 20  # frames around what is heard
_DIPS, _DIP_DB, _NEAR = 5, 5.0, 25  # moments to begin at: how many, how deep, frames apart
_TO_TRIM = 0.45  # share of the line's words, heard in any place, from which a try may hide a better beginning
_LONG = 0.12  # how much longer than the line usually is (log)
_SAME = 0.5
_WORDS = 2  # more than the line's that make a try long


class Sought(Protocol):
    """A line that is looked for."""

    @property
    def key(self) -> str: ...
    @property
    def tokens(self) -> tuple[SpokenToken, ...]: ...
    @property
    def words(self) -> tuple[str, ...]: ...


class EarHearing:
    """One recording, heard. step: called now and then with the frame that was reached; may raise to end it."""

    def __init__(
        self, levels: Levels, sounding: Sequence[Stretch], listener: Listener, added: Mapping[str, str],
        step: Callable[[int], None] = lambda _: None,
    ) -> None:  # fmt: skip
        self._levels, self._sounding, self._listener, self._added, self._step = levels, sounding, listener, added, step

    def tries(self, lines: Sequence[Sought]) -> dict[str, list[Evidence]]:
        """Every try at each line, by its key, in order of time."""
        found: dict[str, list[Evidence]] = {line.key: [] for line in lines}
        for run in self._runs():
            self._step(run.past)
            for line in self._likely(run, lines):
                found[line.key].append(self._try(line, run.first, run.past))
        reader = _reader(found, lines)
        if reader is None:
            return found
        out = {}
        for line in lines:
            tries = [reader.known(line, one) for one in found[line.key]]
            out[line.key] = _apart([self._trimmed(line, one, reader) for one in tries])
        return out

    def _runs(self) -> list[Stretch]:
        """Stretches, and runs of neighbouring ones, in order; what never falls silent is cut."""
        most = round(LONGEST_S * FRAMES_S) - _BEFORE - _AFTER
        whole = [
            Stretch(at, min(at + most, each.past))
            for each in self._sounding
            for at in range(each.first, each.past, most)
        ]  # fmt: skip
        out = []
        for n, stretch in enumerate(whole):
            for m in range(n, min(n + _STRETCHES, len(whole))):
                if m > n and whole[m].first - whole[m - 1].past > _PAUSE:
                    break
                if whole[m].past - stretch.first > most:
                    break
                out.append(Stretch(stretch.first, whole[m].past))
        return out

    def _likely(self, run: Stretch, lines: Sequence[Sought]) -> list[Sought]:
        """The lines that what was heard in a run is like, the likest first: liker than any shorter run in it."""
        parts = [each for each in self._sounding if each.first < run.past and run.first < each.past]
        heard = [words_of(self._hears(max(run.first, part.first), min(run.past, part.past))) for part in parts]
        ranked = []
        for line in lines:
            like = alike(line.words, [word for words in heard for word in words])
            inner = (heard[:-1], heard[1:]) if len(heard) > 1 else ()
            if like >= _HARDLY_LIKE and all(
                like > alike(line.words, [word for words in shorter for word in words]) + _GAIN for shorter in inner
            ):
                ranked.append((like, line))
        ranked.sort(key=lambda each: -each[0])
        return [
            line for place, (like, line) in enumerate(ranked[:_EACH]) if like >= _LIKE or place < _LIKELIEST
        ]  # fmt: skip

    def _hears(self, first: int, past: int) -> str:
        return self._listener.hears(max(0, first - _BEFORE), min(self._levels.db.size, past + _AFTER))

    def _try(self, line: Sought, first: int, past: int) -> Evidence:
        low, high = max(0, first - _BEFORE), min(self._levels.db.size, past + _AFTER)
        heard = self._listener.hears(low, high)
        made = compare(line.tokens, heard, lambda texts: self._listener.reads(low, high, texts), self._added)
        return _evidence(made, first, past)

    def _trimmed(self, line: Sought, one: Evidence, reader: _Reader) -> Evidence:
        """The try, or, where more was said in it than the line, the part of it that holds the line best."""
        ear = one.ear
        assert ear is not None
        heard = words_of(ear.told.heard)
        more = ear.told.before + ear.told.after > 0 or len(heard) >= len(line.words) + _WORDS
        little = len(set(heard) & set(line.words)) < _TO_TRIM * len(set(line.words))
        if ear.long < _LONG or confidence(one) >= SURE or not more or little:
            return one
        first, past = round(one.start_s * FRAMES_S), round(one.end_s * FRAMES_S)
        best = one
        for at in self._dips(first, past):
            if past - at >= 0.5 * reader.length_s(line) * FRAMES_S:
                made = reader.known(line, self._try(line, at, past))
                best = max(best, made, key=confidence)
        return best

    def _dips(self, first: int, past: int) -> list[int]:
        """Moments inside a stretch at which the sound dips, in order."""
        from scipy.ndimage import uniform_filter1d  # here, not above: it takes long to load, and few commands need it

        db = uniform_filter1d(self._levels.db[first:past].astype(np.float64), 3)
        deep: list[tuple[float, int]] = []
        for n in range(_NEAR, int(0.75 * db.size)):
            near = db[max(0, n - 12) : n + 13]
            if db[n] == near.min():
                depth = min(db[max(0, n - 25) : n].max(), db[n : n + 25].max()) - db[n]
                if depth >= _DIP_DB:
                    deep.append((float(depth), n))
        chosen: list[int] = []
        for _, n in sorted(deep, reverse=True):
            if len(chosen) < _DIPS and all(abs(n - other) >= _NEAR // 2 for other in chosen):
                chosen.append(n)
        return [first + n for n in sorted(chosen)]


def _evidence(made: Comparison, first: int, past: int) -> Evidence:
    extra = made.before + made.after
    return Evidence(
        first / FRAMES_S, past / FRAMES_S, made.share, False, 0.0, 0.0, 0.0, made.share, extra, 0.0, 0.0, made.heard,
        made.lead, ear=EarTry(made),
    )  # fmt: skip


def _letters(line: Sought) -> int:
    return sum(map(len, line.words))


@dataclass(frozen=True, slots=True)
class _Reader:
    """What is known of a reader: seconds a letter, and how the reader is heard."""

    pace: float
    usual: Usual

    def length_s(self, line: Sought) -> float:
        return self.pace * _letters(line)

    def known(self, line: Sought, one: Evidence) -> Evidence:
        """A try, held against the reader's others."""
        assert one.ear is not None
        long = math.log(max(0.05, one.end_s - one.start_s) / self.length_s(line))
        return replace(one, ear=replace(one.ear, long=long, usual=self.usual))


def _reader(found: Mapping[str, Sequence[Evidence]], lines: Sequence[Sought]) -> _Reader | None:
    """From the best try at each line; None where there is none."""
    best: list[tuple[float, float, Comparison]] = []
    for line in lines:
        tries = [(_against(one), one) for one in found[line.key] if one.ear is not None and line.words]
        if tries:
            against, one = min(tries, key=lambda each: each[0])
            assert one.ear is not None
            best.append((against, (one.end_s - one.start_s) / _letters(line), one.ear.told))
    if not best:
        return None
    best.sort(key=lambda each: each[0])
    pace = float(np.median([pace for _, pace, _ in best[: max(3, len(best) // 2)]]))
    return _Reader(pace, usual([told for _, _, told in best]))


def _against(one: Evidence) -> float:
    assert one.ear is not None
    return one.ear.told.total + 20.0 * one.ear.told.astray


def _apart(tries: Sequence[Evidence]) -> list[Evidence]:
    """Of those that share their sound the likeliest, in order of time."""
    kept: list[Evidence] = []
    for one in sorted(tries, key=lambda each: -confidence(each)):
        if all(_shared(one, other) < _SAME for other in kept):
            kept.append(one)
    return sorted(kept, key=lambda each: each.start_s)


def _shared(one: Evidence, other: Evidence) -> float:
    """What two tries share, of the shorter one."""
    shared = min(one.end_s, other.end_s) - max(one.start_s, other.start_s)
    return max(0.0, shared) / max(0.01, min(one.end_s - one.start_s, other.end_s - other.start_s))
