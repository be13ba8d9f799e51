"""Tries at the lines of a script, found by the recogniser that knows the script's words (recogniser.py).

It hears a stream of those words; where enough of a line's lie near each other is a try, which is looked at closely.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from assembler.media.recording import Levels
from assembler.narration.accent import Sample, learned, with_shifts
from assembler.narration.recogniser import Heard, Sound, pronunciations
from assembler.narration.take_choice import ATTEMPT, SURE, confidence
from assembler.narration.take_fit import shortfall, usual
from assembler.narration.take_hits import find_hits
from assembler.narration.take_judge import FRAMES_S, Evidence, judge
from assembler.narration.take_listen import Listener, Progress, Source, Stretch, blocks
from assembler.narration.take_missed import looked_for
from assembler.narration.take_restart import begun_later

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


def tries_by_words(
    known: Mapping[str, Sequence[str]],
    source: Source,
    folder: Path,
    added: Mapping[str, str],
    progress: Progress | None,
    cancelled: Callable[[], bool] | None,
    only: Collection[str] | None = None,
) -> dict[str, list[Evidence]]:
    """Every try at each line in one recording, by its key. known: what can be looked for of each line. folder: where
    what was heard is kept. added: pronunciations that the dictionary lacks. only: lines that are asked for, where
    others were found without; then nothing is learnt of the reader."""
    if not source.sounding or not any(known.values()):
        return {}
    lines = list(dict.fromkeys(tuple(words) for words in known.values() if words))
    sentences = [list(line) for line in lines] + [[word] for word in _AROUND.split()]
    with Listener(source.path, source.content, folder, added) as listener:
        heard = _Hearing(source.path, source.levels, source.sounding, sentences, listener, progress, cancelled)
        if only is not None:
            return heard.tries({key: words for key, words in known.items() if key in only})
        seen = heard.tries(known)
        if names := learned(_samples(seen, known, source.levels), listener, added, heard.learning):
            spoken = list(dict.fromkeys(word for sentence in sentences for word in sentence))
            listener.expect(with_shifts(spoken, names, added))
            seen = heard.tries(known)
        return heard.measured(heard.completed(heard.measured(seen, known), known), known)


def sayable(words: Sequence[str], added: Mapping[str, str]) -> tuple[str, ...]:
    """A line's words as the recogniser knows them; what it cannot know is left out."""
    out: list[str] = []
    for word in words:
        parts = [word] if word in added or pronunciations(word) else word.split("-")
        out += [part for part in parts if part in added or pronunciations(part)]
    return tuple(out)


def _samples(
    seen: Mapping[str, Sequence[Evidence]], known: Mapping[str, Sequence[str]], levels: Levels
) -> list[Sample]:
    """Of each line the try that was heard best, where most of it was heard."""
    best = []
    for key, tries in seen.items():
        placed = [each for each in tries if not each.refused and each.share >= _TO_LEARN]
        if placed:
            one = max(placed, key=lambda each: each.again)
            first = max(0, round(one.start_s * FRAMES_S) - _PAD)
            past = min(int(levels.db.size), round(one.end_s * FRAMES_S) + _PAD)
            best.append((one.again, Sample(first, past, tuple(known[key]))))
    return [sample for _, sample in sorted(best, key=lambda each: -each[0])]


def _as_written(one: Evidence) -> bool:
    """Whether a try was heard word for word, twice."""
    return not one.refused and one.share >= 1.0 and one.again >= 1.0 and one.extra == 0


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
        first, past = max(0, round(one.start_s * FRAMES_S) - _PAD), round(one.end_s * FRAMES_S) + _PAD
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
                self.progress(f"listening to {self.path.name}", block.past // FRAMES_S, seconds)
        return stream

    def _stop(self) -> None:
        if self.cancelled is not None and self.cancelled():
            raise KeyboardInterrupt
