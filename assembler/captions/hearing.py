"""Find in a recording when the words of an existing caption file are said, whatever its own times are.

Times of the file are not used to find words, so they may be wrong by minutes or drift. English only: the recogniser
knows no other language.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import pairwise
from pathlib import Path

from assembler.captions.caption_file import FileCue
from assembler.captions.styled import styled_srt, text_of
from assembler.media.content import content_print
from assembler.media.recording import FRAME, read_levels
from assembler.narration.align import LEAST_SCORE
from assembler.narration.pronounce import Pronouncer
from assembler.narration.recogniser import Heard, pronunciations
from assembler.narration.spoken import spoken_form
from assembler.narration.take_listen import Listener, Stretch, blocks, stretches
from assembler.timing.rates import SAMPLE_RATE

_FRAMES_S = SAMPLE_RATE // FRAME
_ENOUGH = 0.6
"""Share of a cue's words that must be heard for its time to be sure."""
_LINGER_S, _HANG_S, _GAP_S = 0.4, 1.5, 0.08
_COMMON = "a an and the of to in is it that this was for on with as at by but not be are or so we you he she they"

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Resynced:
    """A cue at the time at which it was heard. unsure: empty, or why a person should listen to it."""

    cue: FileCue
    start_ms: int
    end_ms: int
    unsure: str = ""


def resync(
    cues: Sequence[FileCue], recording: Path, cache: Path, *, progress: Progress | None = None
) -> list[Resynced]:
    """The cues of a SubRip file, in its order, at the times at which a recording says them.

    cache: where what was heard is kept, by content. progress: told how many seconds of how many were listened to.
    Raises MediaError for a recording that cannot be read, MissingPartError where the recogniser is not installed.
    """
    with Pronouncer() as pronouncer:
        spoken = [_spoken(cue) for cue in cues]
        added = pronouncer.added([word for words in spoken for word in words])
    said = [[word for word in words if word in added or pronunciations(word)] for words in spoken]
    words = [word for each in said for word in each]
    heard: list[Heard | None] = [None] * len(words)
    alone = [False] * len(words)
    if words:
        heard, alone = _heard(words, said, recording, cache, dict(added), progress)
    return _placed(cues, spoken, said, heard, alone)


def _spoken(cue: FileCue) -> list[str]:
    text = " ".join(text_of(line) for line in styled_srt(cue.lines))
    if text.startswith(("[", "(", "♪")) and text.endswith(("]", ")", "♪")):
        return []  # a description of sound, which nobody says
    return [word.casefold() for token in spoken_form(text) for word in token.words]


def _heard(
    words: Sequence[str],
    said: Sequence[Sequence[str]],
    recording: Path,
    cache: Path,
    added: dict[str, str],
    progress: Progress | None,
) -> tuple[list[Heard | None], list[bool]]:
    """When each word is said, None where it was not found; and whether it was heard by somebody who was not told
    that it is there."""
    levels = read_levels(recording)
    pieces = blocks(stretches(levels), levels.db.size)
    # Neighbours together: what a cue begins, the next goes on with.
    sentences = [list(one) for one in said if one]
    sentences += [[*one, *other] for one, other in pairwise(sentences)]
    sentences += [[word] for word in _COMMON.split()]
    found: list[Heard | None] = [None] * len(words)
    alone = [False] * len(words)
    with Listener(recording, content_print(recording), cache, added) as listener:
        stream: list[Heard] = []
        for piece in pieces:
            stream += listener.decode(piece.first, piece.past, sentences)
            if progress is not None:
                progress(piece.past // _FRAMES_S, int(levels.seconds))
        for at, other, size in SequenceMatcher(None, words, [one.word for one in stream], autojunk=False
                                               ).get_matching_blocks():  # fmt: skip
            for step in range(size):
                found[at + step] = stream[other + step]
                alone[at + step] = True
        for piece, span in _shares(pieces, found):
            aligned = listener.align(piece.first, piece.past, words[span.start : span.stop])
            for at, one in zip(span, aligned or (), strict=False):
                found[at] = one
    return found, alone


def _shares(pieces: Sequence[Stretch], found: Sequence[Heard | None]) -> list[tuple[Stretch, range]]:
    """For each piece of the recording the words said in it: from the first to the last that was heard there, and
    what lies between them and the edge where no other piece can hold it."""
    firsts = [piece.first / _FRAMES_S for piece in pieces]
    inside: dict[int, list[int]] = {}
    for at, one in enumerate(found):
        if one is not None:
            inside.setdefault(bisect_right(firsts, (one.start_s + one.end_s) / 2) - 1, []).append(at)
    return [(pieces[number], range(min(ats), max(ats) + 1)) for number, ats in sorted(inside.items()) if number >= 0]


def _placed(
    cues: Sequence[FileCue],
    spoken: Sequence[Sequence[str]],
    said: Sequence[Sequence[str]],
    heard: Sequence[Heard | None],
    alone: Sequence[bool],
) -> list[Resynced]:
    starts: list[float | None] = []
    ends: list[float] = []
    why: list[str] = []
    at = 0
    for words, sayable in zip(spoken, said, strict=True):
        mine = heard[at : at + len(sayable)]
        sure = sum(alone[at : at + len(sayable)])
        at += len(sayable)
        times = [one for one in mine if one is not None]
        starts.append(times[0].start_s if times else None)
        ends.append(times[-1].end_s if times else 0.0)
        why.append(_doubt(words, sayable, mine, sure))
    known = [(cue.start_ms / 1000, start) for cue, start in zip(cues, starts, strict=True) if start is not None]
    placed = []
    for number, cue in enumerate(cues):
        length = (cue.end_ms - cue.start_ms) / 1000
        start = starts[number]
        if start is None:
            start = _between(cue.start_ms / 1000, known)
            end = start + length
        else:
            end = min(max(ends[number] + _LINGER_S, start + length), ends[number] + _HANG_S)
        placed.append((start, end))
    return _in_order(cues, placed, why)


def _doubt(words: Sequence[str], sayable: Sequence[str], mine: Sequence[Heard | None], sure: int) -> str:
    """Why a cue's time is not sure, or nothing."""
    if not words:
        return "it has no words to hear it by; it keeps its place between its neighbours"
    if not sayable:
        return "nobody knows how its words sound; it keeps its place between its neighbours"
    if not any(mine):
        return "its words were not heard; it keeps its place between its neighbours"
    if sure < _ENOUGH * len(sayable):
        return f"{sure} of its {len(sayable)} spoken words were heard"
    if mine[0] is None:
        return f"its first word, '{sayable[0]}', was not heard"
    if mine[0].score < LEAST_SCORE:
        return f"'{sayable[0]}' does not sound like it"
    return ""


def _between(old_s: float, known: Sequence[tuple[float, float]]) -> float:
    """The new time of an old one, by the cues around it that were heard."""
    if not known:
        return old_s
    at = bisect_right(known, (old_s, float("inf")))
    if at == 0 or at == len(known):
        old, new = known[0 if at == 0 else -1]
        return max(0.0, new + old_s - old)
    (a, b), (c, d) = known[at - 1], known[at]
    return b + (old_s - a) * (d - b) / (c - a) if c > a else b


def _in_order(cues: Sequence[FileCue], placed: Sequence[tuple[float, float]], why: Sequence[str]) -> list[Resynced]:
    """Cues in the file's order, none over the next; one that would go back behind the one before is not sure."""
    out: list[Resynced] = []
    for number, (cue, (start, end)) in enumerate(zip(cues, placed, strict=True)):
        following = placed[number + 1][0] if number + 1 < len(placed) else None
        unsure = why[number]
        if following is not None and start < following < end + _GAP_S:
            end = max(following - _GAP_S, min(end, following), start + 0.1)
            end = min(end, following)
        start_ms, end_ms = round(start * 1000), round(end * 1000)
        if out and start_ms < out[-1].end_ms:
            unsure = unsure or "it was heard before the caption above it ended"
            start_ms = out[-1].end_ms
        out.append(Resynced(cue, start_ms, max(end_ms, start_ms + 1), unsure))
    return out
