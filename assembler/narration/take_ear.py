"""Tries at the lines of a script, found by the listener that knows no script (ear.py).

What it hears between silences is held against every line; where one is like it, the line is compared word by word
(ear_line.py). A line with a pause in it lies in several stretches, so runs of neighbouring ones are heard as well; one
that was begun twice without a breath lies in a part of a stretch, so its beginning is looked for where the sound dips.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np

from assembler.media.closing import Closing
from assembler.narration.ear import LONGEST_S, Ear
from assembler.narration.ear_line import Comparison, alike, compare, words_of
from assembler.narration.pronounce import Pronouncer
from assembler.narration.spoken import SpokenToken
from assembler.narration.take_choice import HOPELESS, confidence
from assembler.narration.take_judge import FRAMES_S, Evidence
from assembler.narration.take_listen import Listener, Progress, Source, Stretch
from assembler.narration.take_second import SecondOpinion
from assembler.narration.take_sure import EarTry, against

_STRETCHES, _PAUSE = 4, 130  # of a run: how many stretches, and frames of silence between two
_LIKE, _HARDLY_LIKE = 0.52, 0.42  # how alike a line and what was heard are for a try, and for the likeliest lines
_LIKELIEST = 2
_GAIN = 0.02  # of likeness that a further stretch has to bring
_EACH = 4  # lines compared with one run
_BEFORE, _AFTER = 18, 20  # frames around what is heard
_DIPS, _DIP_DB = 6, 5.0  # moments to begin at: how many, how deep
_ABOUT = 40  # frames about where one is foretold
_NEAR, _PAUSE_LEAST = 25, 7  # frames around one; frames of a pause
_A_WORD = 0.7  # what speaks against a part for each word before or after the line
_AS_GOOD = 1.0  # of what speaks against a part: the longest so near the best is taken, or a word's edge is lost
_HOPELESSLY = 18.0  # of what speaks against a try; no part of it is the line
_KNOWN_WELL = 4  # lines from which on a reader is known
_LONG, _VERY_LONG = 0.05, 0.2  # how much longer than the line usually is (log)
_MORE_FOLLOWS = 2.0  # Comparison.end from which on more was said
_SAME = 0.5


class Sought(Protocol):
    """A line that is looked for."""

    @property
    def key(self) -> str: ...
    @property
    def tokens(self) -> tuple[SpokenToken, ...]: ...
    @property
    def words(self) -> tuple[str, ...]: ...


class EarSearch:
    """Looks for lines in recordings. folder: where what was heard is kept. added: pronunciations that the dictionary
    lacks."""

    def __init__(
        self, lines: Sequence[Sought], sources: Sequence[Source], folder: Path, added: Mapping[str, str],
        progress: Progress | None, cancelled: Callable[[], bool] | None,
    ) -> None:  # fmt: skip
        self._lines = [line for line in lines if line.words]
        self._sources, self._folder, self._added = sources, folder, added
        self._progress, self._cancelled = progress, cancelled
        self._ear = Ear()
        self._readers: list[_Reader | None] = []
        self._trusts: list[float] = []

    def tries(self) -> list[dict[str, list[Evidence]]]:
        """Every try at each line, by its key, for each recording."""
        found = []
        for source in self._sources:
            with self._hearing(source) as heard:
                found.append(heard.tries(self._lines))
        alone = [_reader(each, self._lines) for each in found]
        # In a recording of a line or two the reader is known from the others.
        together = {line.key: [one for each in found for one in each[line.key]] for line in self._lines}
        anybody = _reader(together, self._lines)
        self._readers = [each if each is not None and each.known_well else anybody for each in alone]
        out = []
        for source, seen, reader in zip(self._sources, found, self._readers, strict=True):
            with self._hearing(source) as heard:
                out.append(heard.judged(self._lines, seen, reader) if reader is not None else seen)
                self._trusts.append(heard.trust)
        return out

    def backed(
        self, number: int, seen: Mapping[str, Sequence[Evidence]], by_words: Mapping[str, Sequence[Evidence]]
    ) -> dict[str, list[Evidence]]:
        """The tries in a recording, those found by the recogniser among them, each as this listener sees it, too."""
        reader = self._readers[number]
        out = {key: list(tries) for key, tries in seen.items()}
        if reader is None:
            return out
        with self._hearing(self._sources[number]) as heard, heard.second(self._trusts[number]) as second:
            for line in self._lines:
                likely = [one for one in by_words.get(line.key, ()) if confidence(one) >= HOPELESS]
                more = [heard.seen(line, one, reader, second) for one in likely]
                out[line.key] = _apart([*out[line.key], *more])
        return out

    def _hearing(self, source: Source) -> _Hearing:
        asked = Listener(source.path, source.content, self._folder, self._added, self._ear)
        return _Hearing(source, asked, self._added, self._progress, self._cancelled)


class _Hearing(Closing):
    """One recording, heard. A context manager."""

    def __init__(
        self, source: Source, listener: Listener, added: Mapping[str, str], progress: Progress | None,
        cancelled: Callable[[], bool] | None,
    ) -> None:  # fmt: skip
        self._levels, self._sounding, self._name = source.levels, source.sounding, source.path.name
        self._listener, self._added, self._progress, self._cancelled = listener, added, progress, cancelled
        self._heard: dict[tuple[int, int], str] = {}  # what neighbouring runs share is asked for once
        self.trust = 1.0  # how much the recogniser's opinion of this reader counts

    @contextmanager
    def second(self, trust: float) -> Iterator[SecondOpinion]:
        """Who is asked for a second opinion."""
        with Pronouncer() as pronouncer:
            yield SecondOpinion(self._listener, pronouncer, int(self._levels.db.size), trust)

    def close(self) -> None:
        """Let the recording go."""
        self._listener.close()

    def tries(self, lines: Sequence[Sought]) -> dict[str, list[Evidence]]:
        """Every try at each line."""
        found: dict[str, list[Evidence]] = {line.key: [] for line in lines}
        for run in self._runs():
            self._step("listening to", run.past)
            for line in self._likely(run, lines):
                found[line.key].append(self._try(line, run.first, run.past))
        return found

    def judged(
        self, lines: Sequence[Sought], found: Mapping[str, Sequence[Evidence]], reader: _Reader
    ) -> dict[str, list[Evidence]]:
        """The tries, held against what is known of the reader, in order of time."""
        tried: dict[str, list[Evidence]] = {}
        for line in lines:
            tries = [reader.known(line, one) for one in found[line.key]]
            tried[line.key] = _apart([self._trimmed(line, one, reader) for one in tries])
        with self.second(1.0) as second:
            best = [(min(tried[line.key], key=_against), line.words) for line in lines if tried[line.key]]
            self.trust = second.meet(sorted(best, key=lambda each: _against(each[0])))
            return {line.key: [self._asked(one, line, second) for one in tried[line.key]] for line in lines}

    def seen(self, line: Sought, by_words: Evidence, reader: _Reader, second: SecondOpinion) -> Evidence:
        """A try that the recogniser found, as this listener sees it."""
        first, past = round(by_words.start_s * FRAMES_S), round(by_words.end_s * FRAMES_S)
        self._step("looking closely at takes in", past)
        likely = min(0.999, confidence(by_words))
        made = second.of(reader.known(line, self._try(line, first, past)), line.words)
        assert made.ear is not None
        return replace(made, ear=replace(made.ear, backed=max(0.0, math.log(likely / (1.0 - likely)))))

    def _asked(self, one: Evidence, line: Sought, second: SecondOpinion) -> Evidence:
        """The try with a second opinion, unless it is hopeless without one."""
        if confidence(one) < HOPELESS:
            return one
        self._step("looking closely at takes in", round(one.end_s * FRAMES_S))
        return second.of(one, line.words)

    def _step(self, what: str, frame: int) -> None:
        if self._cancelled is not None and self._cancelled():
            raise KeyboardInterrupt
        if self._progress is not None:
            self._progress(f"{what} {self._name}", frame // FRAMES_S, int(self._levels.seconds))

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
        if (first, past) not in self._heard:
            self._heard[first, past] = self._listener.hears(*self._around(first, past))
        return self._heard[first, past]

    def _around(self, first: int, past: int) -> tuple[int, int]:
        return max(0, first - _BEFORE), min(int(self._levels.db.size), past + _AFTER)

    def _try(self, line: Sought, first: int, past: int) -> Evidence:
        span = self._around(first, past)
        heard = self._hears(first, past)
        made = compare(line.tokens, heard, lambda texts: self._listener.reads(*span, texts), self._added)
        return _evidence(made, first, past)

    def _trimmed(self, line: Sought, one: Evidence, reader: _Reader) -> Evidence:
        """The try, or, where it is long and more may have been said than the line, the part that holds it best."""
        assert one.ear is not None
        told, heard = one.ear.told, words_of(one.ear.told.heard)
        more = told.before + told.after > 0 or len(heard) > len(line.words) or one.ear.long >= _VERY_LONG
        if one.ear.long < _LONG or not more or _against(one) > _HOPELESSLY:
            return one
        first, past = round(one.start_s * FRAMES_S), round(one.end_s * FRAMES_S)
        self._step("looking closely at takes in", past)
        least = 0.6 * reader.length_s(line) * FRAMES_S
        dips = self._dips(first, past, self._foretold(heard, len(line.words), first, past))

        def best(parts: list[tuple[int, int]]) -> Evidence:
            tries = [one, *(reader.known(line, self._try(line, low, high)) for low, high in parts)]
            least_unfit = min(map(_unfit, tries))
            return max((each for each in tries if _unfit(each) <= least_unfit + _AS_GOOD), key=_seconds)

        later = best([(at, past) for at in dips if past - at >= least])
        if not told.after and told.end <= _MORE_FOLLOWS:
            return later
        # Where it was said twice without a breath, the second time was meant.
        earlier = best([(first, at) for at in dips if at - first >= least])
        return later if _unfit(later) <= _unfit(earlier) + _AS_GOOD else earlier

    @staticmethod
    def _foretold(heard: Sequence[str], words: int, first: int, past: int) -> list[int]:
        """Where the last and the first of as many words as the line has would begin and end, by their letters."""
        letters = [len(word) for word in heard]
        if len(letters) <= words:
            return []
        length = (past - first) / sum(letters)
        return [first + round(length * sum(part)) for part in (letters[:-words], letters[:words])]

    def _dips(self, first: int, past: int, foretold: Sequence[int] = ()) -> list[int]:
        """Moments inside a stretch at which the sound dips, in order. foretold: where else it may be softest."""
        from scipy.ndimage import uniform_filter1d  # here, not above: it takes long to load, and few commands need it

        # A stop within a word is shorter than the shortest pause.
        db = uniform_filter1d(self._levels.db[first:past].astype(np.float64), _PAUSE_LEAST)
        deep: list[tuple[float, int]] = []
        for n in range(_NEAR, db.size - _NEAR):
            if db[n] == db[max(0, n - 12) : n + 13].min():
                depth = min(db[n - _NEAR : n].max(), db[n : n + _NEAR].max()) - db[n]
                if depth >= _DIP_DB:
                    deep.append((float(depth), n))
        around = ((max(0, at - first - _ABOUT), at - first + _ABOUT) for at in foretold)
        chosen = [low + int(db[low:high].argmin()) for low, high in around if db[low:high].size]
        for _, n in sorted(deep, reverse=True):
            if len(chosen) < _DIPS + len(foretold) and all(abs(n - other) >= _NEAR // 2 for other in chosen):
                chosen.append(n)
        return [first + n for n in sorted(set(chosen))]


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
    """What is known of a reader: seconds a letter, and Comparison.astray of the best tries, the middle of them.
    known_well: whether from enough lines."""

    pace: float
    astray: float
    known_well: bool

    def length_s(self, line: Sought) -> float:
        return self.pace * _letters(line)

    def known(self, line: Sought, one: Evidence) -> Evidence:
        """A try, held against the reader's others."""
        assert one.ear is not None
        long = math.log(max(0.05, one.end_s - one.start_s) / self.length_s(line))
        return replace(one, ear=replace(one.ear, long=long, usually_astray=self.astray))


def _reader(found: Mapping[str, Sequence[Evidence]], lines: Sequence[Sought]) -> _Reader | None:
    """From the best try at each line; None where there is none."""
    best: list[tuple[float, float, Comparison]] = []
    for line in lines:
        tries = [(_astray(one), one) for one in found[line.key] if one.ear is not None and line.words]
        if tries:
            against, one = min(tries, key=lambda each: each[0])
            assert one.ear is not None
            best.append((against, (one.end_s - one.start_s) / _letters(line), one.ear.told))
    if not best:
        return None
    best.sort(key=lambda each: each[0])
    pace = float(np.median([pace for _, pace, _ in best[: max(3, len(best) // 2)]]))
    return _Reader(pace, float(np.median([told.astray for *_, told in best])), len(best) >= _KNOWN_WELL)


def _against(one: Evidence) -> float:
    assert one.ear is not None
    return against(one.ear)


def _unfit(one: Evidence) -> float:
    """What speaks against a part of the sound rather than another that holds the same try."""
    assert one.ear is not None
    return against(one.ear) + _A_WORD * (one.ear.told.before + one.ear.told.after)


def _seconds(one: Evidence) -> float:
    return one.end_s - one.start_s


def _astray(one: Evidence) -> float:
    """What speaks against a try while nothing is known of its reader."""
    assert one.ear is not None
    return one.ear.told.total + 20.0 * one.ear.told.astray


def _apart(tries: Sequence[Evidence]) -> list[Evidence]:
    """Of those that share their sound the best, in order of time."""
    kept: list[Evidence] = []
    for one in sorted(tries, key=_unfit):
        if all(_shared(one, other) < _SAME for other in kept):
            kept.append(one)
    return sorted(kept, key=lambda each: each.start_s)


def _shared(one: Evidence, other: Evidence) -> float:
    """What two tries share, of the shorter one."""
    shared = min(one.end_s, other.end_s) - max(one.start_s, other.start_s)
    return max(0.0, shared) / max(0.01, min(one.end_s - one.start_s, other.end_s - other.start_s))
