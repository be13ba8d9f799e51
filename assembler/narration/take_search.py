"""Looks for every line of a script in long recordings, and proposes the last good take of each.

The recording is only read. What was heard is kept by content under the cache folder, so that a run that was stopped
goes on where it was, and a second run over the same recording and script is quick.
"""

from __future__ import annotations

import contextlib
import io
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from assembler.media.content import content_print
from assembler.media.landing import write_whole
from assembler.media.recording import FRAME, Levels, read_levels
from assembler.narration import ear
from assembler.narration.accent import Sample, learned, with_shifts
from assembler.narration.recogniser import Heard, Sound, pronunciations
from assembler.narration.spoken import SpokenToken
from assembler.narration.take_choice import (
    ATTEMPT,
    SURE,
    Candidate,
    LineResult,
    choose,
    confidence,
    explained,
    most_rival,
    reason,
)
from assembler.narration.take_ear import EarHearing
from assembler.narration.take_fit import shortfall, usual
from assembler.narration.take_hits import find_hits
from assembler.narration.take_judge import Evidence, judge
from assembler.narration.take_listen import Listener, Stretch, blocks, quiet_db, stretches
from assembler.narration.take_missed import looked_for
from assembler.narration.take_restart import begun_later
from assembler.timing.rates import SAMPLE_RATE

TAKES_FOLDER = "takes"
"""In the cache folder, where what was heard is kept."""
CLIPPED = 20
"""Neighbouring samples at full scale from which on a recording is called clipped."""
_MARGIN_IN, _MARGIN_OUT = 10, 24  # frames of silence kept before and after the speech
_REACH, _CLOSURE, _BURST = 20, 10, 12  # frames; of a word's unfound rest, and of the end of a word like `rest`
_FRAMES_S = SAMPLE_RATE // FRAME
_TO_LEARN, _PAD = 0.6, 10  # share of a line's words from which on it tells of the reader's accent; frames around it
_TO_MEASURE = 16  # tries heard word for word from which a reader's measure is taken

# Said between takes; without them every aside would be heard as words of the script.
_AROUND = """a about after again all an and any are as at back be because before both but by can come could did do does
down each even every few first five for four from get go good had has have he her here him his how i if in into is it
its just know last left less let like look made make many me more most much my need never new next nine no not now of
off okay on one only or other our out over own right same second see seven she should six so some sorry start still such
take ten than that the their them then there these they thing think this three through time to too twice two uh um under
up us very wait was way we well were what when where which while who why will with without would yes you your
zero"""

Progress = Callable[[str, int, int], None]
"""Told what is done, how many seconds (or lines) of it, and of how many."""


@dataclass(frozen=True, slots=True)
class ScriptLine:
    """A line to look for: its key (`opening-1`), its text, and what is said for it."""

    key: str
    text: str
    tokens: tuple[SpokenToken, ...]

    @property
    def words(self) -> tuple[str, ...]:
        """The words that are said."""
        return tuple(word for token in self.tokens for word in token.words)


@dataclass(frozen=True, slots=True)
class Searched:
    """A recording that was searched. content: its print. seconds: its length. notes: what is to be said of it."""

    path: Path
    content: str
    seconds: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Found:
    """results: by line, in the script's order. recordings: in the order in which they were searched."""

    results: Mapping[str, LineResult]
    recordings: tuple[Searched, ...]


def find_takes(
    script: Sequence[ScriptLine],
    recordings: Sequence[Path],
    cache: Path,
    *,
    added: Mapping[str, str] | None = None,
    by_ear: bool | None = None,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Found:
    """Search recordings, in the order in which they were made, for the lines of a script.

    cache: the project's cache folder. added: pronunciations that the dictionary lacks, as ARPAbet sounds. by_ear:
    whether the listener of ear.py does it, which hears far more readers than the recogniser; None where it is
    installed. cancelled: asked often; true raises KeyboardInterrupt, and what was heard is kept. Raises MediaError for
    a recording that cannot be read, MissingPartError where what listens is not installed.
    """
    by_ear = ear.available() if by_ear is None else by_ear
    added = dict(added or {})
    known = {line.key: line.words if by_ear else _sayable(line.words, added) for line in script}
    candidates: dict[str, list[Candidate]] = {line.key: [] for line in script}
    lines = list(dict.fromkeys(words for words in known.values() if words))
    sentences = [list(line) for line in lines] + [[word] for word in _AROUND.split()]
    searched = []
    for n, path in enumerate(recordings):
        content = content_print(path)
        levels = _levels(path, content, cache, progress, cancelled)
        sounding = stretches(levels)
        searched.append(Searched(path, content, levels.seconds, _notes(levels, sounding)))
        if not sounding or not any(known.values()):
            continue
        with Listener(path, content, cache / TAKES_FOLDER, added) as listener:
            if by_ear:
                told = _Told(path, levels, progress, cancelled)
                seen = EarHearing(levels, sounding, listener, added, told).tries(script)
                for key, found in seen.items():
                    candidates[key] += [_candidate(n, evidence, levels, 0.0) for evidence in found]
                continue
            heard = _Hearing(path, levels, sounding, sentences, listener, progress, cancelled)
            seen = heard.tries(known)
            if names := learned(_samples(seen, known, levels), listener, added, heard.learning):
                spoken = list(dict.fromkeys(word for sentence in sentences for word in sentence))
                listener.expect(with_shifts(spoken, names, added))
                seen = heard.tries(known)
            seen = heard.measured(heard.completed(heard.measured(seen, known), known), known)
        limit = most_rival([each for found in seen.values() for each in found])
        for key, found in seen.items():
            candidates[key] += [_candidate(n, evidence, levels, limit) for evidence in found]
    results = {}
    tries = explained(candidates)
    for line in script:
        results[line.key] = _result(line, known[line.key], tries[line.key])
    return Found(results, tuple(searched))


def _sayable(words: Sequence[str], added: Mapping[str, str]) -> tuple[str, ...]:
    """A line's words as the recogniser knows them; what it cannot know is left out."""
    out: list[str] = []
    for word in words:
        parts = [word] if word in added or pronunciations(word) else word.split("-")
        out += [part for part in parts if part in added or pronunciations(part)]
    return tuple(out)


def _result(line: ScriptLine, known: Sequence[str], candidates: Sequence[Candidate]) -> LineResult:
    result = choose(candidates)
    parts = sum(len(word.split("-")) for word in line.words)
    if len(known) < 0.7 * parts or not known:
        why = "it cannot be looked for: most of its words have no English pronunciation known here"
        picked = result.picked
        return LineResult("flagged" if picked is not None else "missing", picked, why, result.candidates)
    return result


def _levels(
    path: Path, content: str, cache: Path, progress: Progress | None, cancelled: Callable[[], bool] | None
) -> Levels:
    """The recording's level over time, read once."""
    kept = cache / TAKES_FOLDER / f"levels-{content}.npz"
    with contextlib.suppress(OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile), np.load(kept) as told:
        return Levels(told["db"], int(told["samples"]), float(told["peak"]), int(told["clipped"]))

    def tell(seconds: float, of: float) -> None:
        if progress is not None:
            progress(f"reading {path.name}", int(seconds), int(of))

    levels = read_levels(path, progress=tell, cancelled=cancelled)
    data = io.BytesIO()
    np.savez(data, db=levels.db, samples=levels.samples, peak=levels.peak, clipped=levels.clipped)
    write_whole(kept, data.getvalue())
    return levels


def _notes(levels: Levels, sounding: Sequence[Stretch]) -> tuple[str, ...]:
    notes = []
    if levels.samples < SAMPLE_RATE // 2:
        notes.append("it is shorter than half a second")
    elif not sounding:
        notes.append("nothing is to be heard in it")
    # Floating-point files and sums of many channels go far over full scale without harm.
    if levels.clipped >= CLIPPED and levels.peak < 1.25:
        notes.append("it is clipped: what is cut off cannot be brought back")
    return tuple(notes)


def _samples(
    seen: Mapping[str, Sequence[Evidence]], known: Mapping[str, Sequence[str]], levels: Levels
) -> list[Sample]:
    """Of each line the try that was heard best, where most of it was heard."""
    best = []
    for key, tries in seen.items():
        placed = [each for each in tries if not each.refused and each.share >= _TO_LEARN]
        if placed:
            one = max(placed, key=lambda each: each.again)
            first = max(0, round(one.start_s * _FRAMES_S) - _PAD)
            past = min(int(levels.db.size), round(one.end_s * _FRAMES_S) + _PAD)
            best.append((one.again, Sample(first, past, tuple(known[key]))))
    return [sample for _, sample in sorted(best, key=lambda each: -each[0])]


def _as_written(one: Evidence) -> bool:
    """Whether a try was heard word for word, twice."""
    return not one.refused and one.share >= 1.0 and one.again >= 1.0 and one.extra == 0


@dataclass(frozen=True, slots=True)
class _Told:
    """Tells how far a recording was heard."""

    path: Path
    levels: Levels
    progress: Progress | None
    cancelled: Callable[[], bool] | None

    def __call__(self, frame: int) -> None:
        if self.cancelled is not None and self.cancelled():
            raise KeyboardInterrupt
        if self.progress is not None:
            self.progress(f"listening to {self.path.name}", frame // _FRAMES_S, int(self.levels.seconds))


@dataclass(frozen=True, slots=True)
class _Hearing:
    """A recording and who listens to it."""

    path: Path
    levels: Levels
    sounding: Sequence[Stretch]
    sentences: Sequence[Sequence[str]]
    listener: Listener
    progress: Progress | None
    cancelled: Callable[[], bool] | None

    def tries(self, known: Mapping[str, Sequence[str]]) -> dict[str, list[Evidence]]:
        """Every try at each line, by its key."""
        stream = self._stream()
        seen: dict[str, list[Evidence]] = {}
        for m, (key, words) in enumerate(known.items()):
            self._stop()
            hits = find_hits(words, stream)
            shared = (stream, self.sounding, self.levels, self.listener, self.sentences)
            seen[key] = []
            for hit in hits:
                first = judge(hit, words, *shared)
                doubtful = first.share >= ATTEMPT and confidence(first) < SURE
                later = begun_later(first, words, stream, *shared[2:]) if doubtful else None
                better = later is not None and confidence(later) > confidence(first)
                seen[key].append(later if later is not None and better else first)
            if self.progress is not None:
                self.progress(f"comparing takes in {self.path.name}", m + 1, len(known))
        return seen

    def measured(
        self, seen: Mapping[str, Sequence[Evidence]], known: Mapping[str, Sequence[str]]
    ) -> dict[str, list[Evidence]]:
        """The tries, each with how well its line fits by the reader's own measure."""
        trusted = [(known[key], one) for key, tries in seen.items() for one in tries if confidence(one) >= SURE]
        # Those that were heard word for word tell most of the reader, and need no measuring themselves.
        clear = [pair for pair in trusted if _as_written(pair[1])]
        others = [pair for pair in trusted if not _as_written(pair[1])]
        told = [self._sounds(one, words) for words, one in (*clear[:_TO_MEASURE], *others)]
        measure = usual(sounds for sounds in told if sounds)
        if not measure:
            return {key: list(tries) for key, tries in seen.items()}

        def short(one: Evidence, words: Sequence[str]) -> Evidence:
            if one.refused or one.share < ATTEMPT or _as_written(one):
                return one
            sounds = self._sounds(one, words)
            return replace(one, short=shortfall(sounds, measure)) if sounds else one

        return {key: [short(one, known[key]) for one in tries] for key, tries in seen.items()}

    def _sounds(self, one: Evidence, words: Sequence[str]) -> tuple[Sound, ...] | None:
        self._stop()
        if self.progress is not None:
            at_s, of_s = int(one.start_s), int(self.levels.seconds)
            self.progress(f"measuring takes in {self.path.name}", at_s, of_s)
        first, past = max(0, round(one.start_s * _FRAMES_S) - _PAD), round(one.end_s * _FRAMES_S) + _PAD
        return self.listener.sounds(first, min(past, int(self.levels.db.size)), words)

    def completed(
        self, seen: Mapping[str, Sequence[Evidence]], known: Mapping[str, Sequence[str]]
    ) -> dict[str, list[Evidence]]:
        """The tries, and further ones at lines of which no try is good."""
        shared = (self._stream(), self.sounding, self.levels, self.listener, self.sentences)
        more = looked_for(seen, known, *shared, self._stop)
        return {key: sorted([*tries, *more.get(key, ())], key=lambda one: one.start_s) for key, tries in seen.items()}

    def learning(self, done: int, of: int) -> None:
        """Between two questions about the reader's accent."""
        self._stop()
        if self.progress is not None:
            self.progress(f"comparing accents in {self.path.name}", done, of)

    def _stream(self) -> list[Heard]:
        """Everything heard, in order."""
        expected = [sentence for sentence in self.sentences for _ in range(3 if len(sentence) > 1 else 1)]
        stream: list[Heard] = []
        for block in blocks(self.sounding, self.levels.db.size):
            self._stop()
            stream += self.listener.decode(block.first, block.past, expected)
            if self.progress is not None:
                seconds = int(self.levels.seconds)
                self.progress(f"listening to {self.path.name}", block.past // _FRAMES_S, seconds)
        return stream

    def _stop(self) -> None:
        if self.cancelled is not None and self.cancelled():
            raise KeyboardInterrupt


def _candidate(recording: int, evidence: Evidence, levels: Levels, limit: float) -> Candidate:
    start, end = cut(evidence, levels)
    sure = confidence(evidence, limit)
    why = reason(evidence, limit) if sure < 0.98 else ""
    told = round(sure, 3), why, round(evidence.share, 3), evidence.heard, round(evidence.lead, 3), evidence.extra
    return Candidate(recording, start, end, *told)


def cut(evidence: Evidence, levels: Levels) -> tuple[float, float]:
    """Where to cut a take out, in seconds: in the silence around its speech, never nearer to a neighbour's speech
    than to its own."""
    quiet = quiet_db(levels)
    first, past = round(evidence.start_s * _FRAMES_S), round(evidence.end_s * _FRAMES_S)
    start, end = _edge(levels, first, -1, quiet, _MARGIN_IN), _edge(levels, past, 1, quiet, _MARGIN_OUT)
    return start / _FRAMES_S, end / _FRAMES_S


def _edge(levels: Levels, at: int, step: int, quiet: float, margin: int) -> int:
    """From a word's edge outwards over what is left of its sound, then `margin` frames into the silence; where the
    silence is shorter, to its middle; where there is none within 0.15 s, to the softest frame there."""
    db = levels.db
    size = int(db.size)
    at = min(max(at, 0), size)

    def level(frame: int) -> float:
        index = frame if step > 0 else frame - 1
        # Noise goes up and down from one 10 ms to the next.
        return float(db[max(0, index - 2) : index + 3].mean()) if 0 <= index < size else -120.0

    def run(begin: int, sounding: bool, most: int) -> int:
        """Frames from `begin` outwards that sound, or that do not."""
        for k in range(most):
            if (level(begin + step * k) >= quiet + (0.0 if sounding else 3.0)) is not sounding:
                return k
        return most

    edge = run(at, True, _REACH + 1)
    if edge > _REACH:
        soft = min(range(_REACH + 1), key=lambda k: level(at + step * k))
        return min(max(at + step * soft, 0), size)
    begin = at + step * edge
    silent = run(begin, False, 2 * margin)
    # The burst of a last `t` or `k` comes after a short silence of its own.
    if step > 0 and silent < _CLOSURE:
        burst = run(begin + silent, True, _BURST + 1)
        if burst <= _BURST and (after := run(begin + silent + burst, False, 2 * margin)) >= _CLOSURE:
            begin, silent = begin + silent + burst, after
    return min(max(begin + step * min(margin, silent // 2), 0), size)
