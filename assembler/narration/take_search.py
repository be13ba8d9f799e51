"""Looks for every line of a script in long recordings, and proposes the last good take of each.

The recording is only read. What was heard is kept by content under the cache folder, so that a run that was stopped
goes on where it was, and a second run over the same recording and script is quick.
"""

from __future__ import annotations

import contextlib
import io
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from assembler.media.content import content_print
from assembler.media.landing import write_whole
from assembler.media.recording import FRAME, Levels, read_levels
from assembler.narration import ear, recogniser
from assembler.narration.spoken import SpokenToken
from assembler.narration.take_choice import (
    Candidate,
    LineResult,
    choose,
    confidence,
    explained,
    most_rival,
    reason,
)
from assembler.narration.take_ear import EarSearch
from assembler.narration.take_judge import Evidence
from assembler.narration.take_listen import Progress, Source, Stretch, quiet_db, stretches
from assembler.narration.take_recognised import sayable, tries_by_words
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
    added = dict(added or {})
    sources, searched = [], []
    for path in recordings:
        content = content_print(path)
        levels = _levels(path, content, cache, progress, cancelled)
        sources.append(Source(path, content, levels, stretches(levels)))
        searched.append(Searched(path, content, levels.seconds, _notes(levels, sources[-1].sounding)))
    folder = cache / TAKES_FOLDER
    by_words = partial(tries_by_words, folder=folder, added=added, progress=progress, cancelled=cancelled)
    if ear.available() if by_ear is None else by_ear:
        known = {line.key: line.words for line in script}
        search = EarSearch(script, sources, folder, added, progress, cancelled)
        seen = search.tries()
        results = _results(script, known, sources, seen)
        # The recogniser hears some that this listener does not.
        doubtful = {key for key, result in results.items() if result.verdict != "proposed"}
        if doubtful and recogniser.available():
            asked = {line.key: sayable(line.words, added) for line in script}
            seen = [
                search.backed(n, seen[n], by_words(asked, source, only=doubtful)) for n, source in enumerate(sources)
            ]
            results = _results(script, known, sources, seen)
    else:
        known = {line.key: sayable(line.words, added) for line in script}
        results = _results(script, known, sources, [by_words(known, source) for source in sources])
    return Found(results, tuple(searched))


def _results(
    script: Sequence[ScriptLine],
    known: Mapping[str, Sequence[str]],
    sources: Sequence[Source],
    seen: Sequence[Mapping[str, Sequence[Evidence]]],
) -> dict[str, LineResult]:
    """What is proposed for each line. known: its words that could be looked for. seen: the tries in each recording."""
    candidates: dict[str, list[Candidate]] = {line.key: [] for line in script}
    for n, (source, found) in enumerate(zip(sources, seen, strict=True)):
        limit = most_rival([each for tries in found.values() for each in tries])
        for key, tries in found.items():
            candidates[key] += [_candidate(n, evidence, source.levels, limit) for evidence in tries]
    likely = explained(candidates)
    return {line.key: _result(line, known[line.key], likely[line.key]) for line in script}


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
