"""The door to pocketsphinx: where known words lie in a recording, and which of a script's words are heard in one.

The library is loaded only in a program of its own (`python -m assembler.narration.recogniser`), because on odd input
it may end its whole process. That program makes a fresh decoder for every question: a decoder remembers the level of
what it heard before, and the same recording would be heard differently the next time.

The program reads {"do": "align" | "sounds" | "spare" | "decode", "words": …, "sentences": …, "leave": share,
"dictionary": "word PH ON ES\\n…", "samples": n} as one line of JSON and n little-endian 16-bit samples at 16 kHz, and
answers {"heard": [[word, first frame, past-last frame, score], …]} (100 frames a second; words are "" for spare), for
sounds [[sound, number of its word, first frame, past-last frame, score], …], {"heard": null} for refused, or
{"error": "…"}.
"""

from __future__ import annotations

import importlib.util
import json
import math
import os
import re
import sys
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
import numpy.typing as npt

from assembler.errors import MissingPartError, NarrationError
from assembler.narration.process import HelperProcess
from assembler.timing.rates import SAMPLE_RATE

INSTALL = "pip install 'assembler[takes]'"
VERSION = "3"
"""Part of what is kept of a recording; changes when the same recording would be heard otherwise."""
HEARD_RATE = 16_000
"""Samples a second of what the recogniser listens to."""
LEAVE, HARDLY_LEAVE = 0.3, 0.05
"""How likely a listener thinks it that a sentence is left after any of its words."""
VOWELS = frozenset(("AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"))
CONSONANTS = frozenset(
    (
        *("B", "CH", "D", "DH", "F", "G", "HH", "JH", "K", "L", "M", "N"),
        *("NG", "P", "R", "S", "SH", "T", "TH", "V", "W", "Y", "Z", "ZH"),
    )
)
PHONES = VOWELS | CONSONANTS
"""The sounds a pronunciation may be made of (ARPAbet without stress marks)."""

_FRAMES_S = 100
_HALF_FRAME = HEARD_RATE // _FRAMES_S // 2  # samples
_PAD_S = 0.3  # at both ends: words that begin with the recording are otherwise found late
# Noise laid under every recording. The recogniser learnt from rooms: of clean synthetic speech, silent in its pauses,
# it refused up to 15 lines of 24 without it and at most 1 with it; real speech was found no worse.
_UNDER_SPEECH_DB = 30.0
_LEAST_S = 0.1
_LOUDEST = 16_000
_WORD = re.compile(r"[^\s()<>|]+")
# The widest search is slow, so it is the second try.
_ALIGN_BEAMS: tuple[dict[str, float], ...] = ({}, {"beam": 1e-120, "pbeam": 1e-120, "wbeam": 1e-100})
_DECODE_BEAMS = {"beam": 1e-60, "wbeam": 1e-40}
# How likely it is that speech stands between two words of a line, and how wide that is searched. Set on 18 right lines
# of five real recordings: 1e-20 found some in five of them, 1e-40 in none.
_SPARE_LIKELY = "1e-40"
_SPARE = {"lw": 1.0, "wip": 0.05, "beam": 1e-80, "pbeam": 1e-80, "wbeam": 1e-60}
# The lattice's likelihoods are whole ones; without it they come divided.
_UNSCALED = 1024.0
_SCORE = _UNSCALED * math.log(1.0001)  # of whole numbers to the base 1.0001 that it keeps of each sound
_UNDERFLOW = -745.0  # the logarithm of the smallest number a score can be

Pcm = npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class Heard:
    """A word in a recording, in seconds from its start. score: how well its sounds fit, log likelihood a frame of
    10 ms; about -2 to -3 where they do, below -5 where they hardly can be this word."""

    word: str
    start_s: float
    end_s: float
    score: float


@dataclass(frozen=True, slots=True)
class Sound:
    """One sound of a word in a recording. word: its place in the line. start_s, end_s: from the recording's start.
    score: log likelihood a frame against whichever of all sounds fits each frame best, so 0 at most; about -3 where it
    is this one."""

    name: str
    word: int
    start_s: float
    end_s: float
    score: float


def available() -> bool:
    """Whether the package that hears words is installed. Does not load it."""
    return importlib.util.find_spec("pocketsphinx") is not None


def pcm16k(samples: npt.NDArray[np.float32]) -> Pcm:
    """Sound as the recogniser wants it, from mono float at 48 kHz; its level is brought to one height."""
    if not samples.size:
        return np.zeros(0, np.int16)
    from scipy.signal import resample_poly  # here, not above: it takes long to load, and few commands need it

    centred = samples - samples.mean(dtype=np.float64)  # a constant on all samples would take up the height
    heard = resample_poly(centred, HEARD_RATE, SAMPLE_RATE)
    peak = float(np.abs(heard).max())
    level: Pcm = np.round(heard * (_LOUDEST / peak if peak > 1e-6 else 0.0)).astype(np.int16)
    return level


class Recogniser:
    """English words in recordings. Use as a context manager; one at a time in a thread.

    Raises MissingPartError when the recogniser is not installed; NarrationError from `align` and `decode` when a word
    has no pronunciation, or when the recogniser breaks off.
    """

    def __init__(self) -> None:
        if not available():
            raise MissingPartError("the recogniser of recorded words is not installed", mend=INSTALL)
        self._process = HelperProcess("assembler.narration.recogniser", "the recogniser")

    def __enter__(self) -> Recogniser:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """End the recogniser's process."""
        self._process.close()

    def known(self, word: str) -> bool:
        """Whether the shipped dictionary says how a word sounds."""
        return word.casefold() in _dictionary()

    def align(self, pcm: Pcm, words: Sequence[str], added: Mapping[str, str] | None = None) -> tuple[Heard, ...] | None:
        """When each of `words` is said, given that they are said in this order and nothing else is.

        pcm: (n,) int16 mono at 16 kHz. added: pronunciations of words the dictionary lacks ("AH P S K EY L ER"), or
        that are to be said otherwise; a second way as "word(2)". Returns one Heard for each word, or None: refused,
        the words cannot be found. That they were found does not mean that they were said.
        """
        folded = [word.casefold() for word in words]
        entries = _entries(folded, added or {})
        if not folded or pcm.size < _LEAST_S * HEARD_RATE or not pcm.any():
            return None
        rows = self._ask({"do": "align", "words": folded, "dictionary": entries}, pcm)
        found = None if rows is None else _heard(rows, pcm)
        if found is None or [heard.word for heard in found] != folded:
            return None
        return tuple(
            Heard(word, heard.start_s, _sounding_end(pcm, heard), heard.score)
            for word, heard in zip(words, found, strict=True)
        )

    def sounds(
        self, pcm: Pcm, words: Sequence[str], added: Mapping[str, str] | None = None
    ) -> tuple[Sound, ...] | None:
        """Every sound of words that are said in this order and nothing else is, held against all other sounds.

        Arguments as for `align`, None for refused as there; it takes about four times as long.
        """
        folded = [word.casefold() for word in words]
        entries = _entries(folded, added or {})
        if not folded or pcm.size < _LEAST_S * HEARD_RATE or not pcm.any():
            return None
        rows = self._ask({"do": "sounds", "words": folded, "dictionary": entries}, pcm)
        if rows is None:
            return None
        inside = _placed(pcm)
        return tuple(Sound(name, word, inside(first), inside(past), score) for name, word, first, past, score in rows)

    def spare(self, pcm: Pcm, words: Sequence[str], added: Mapping[str, str] | None = None) -> tuple[Heard, ...]:
        """Stretches of speech that fit sounds of any kind far better than they fit `words` in this order, as Heard
        without a word: something was said there that is not among the words. None of them where nothing was, or where
        the words cannot be found; arguments as for `align`."""
        folded = [word.casefold() for word in words]
        entries = _entries(folded, added or {})
        if not folded or pcm.size < _LEAST_S * HEARD_RATE or not pcm.any():
            return ()
        return _heard(self._ask({"do": "spare", "words": folded, "dictionary": entries}, pcm) or [], pcm)

    def finer(self, pcm: Pcm, found: tuple[Heard, ...], added: Mapping[str, str] | None = None) -> tuple[Heard, ...]:
        """What `align` found in a recording, with edges from a second listening whose frames lie half a frame apart:
        they are the middle of both, so that an edge that one of them puts in the wrong place is pulled back."""
        words = [word.word for word in found]
        late = self.align(np.concatenate((np.zeros(_HALF_FRAME, np.int16), pcm)), words, added)
        if late is None:
            return found
        most_s = pcm.size / HEARD_RATE

        def between(one_s: float, other_s: float) -> float:
            return round(min(max((one_s + other_s - _HALF_FRAME / HEARD_RATE) / 2, 0.0), most_s), 4)

        return tuple(
            Heard(one.word, between(one.start_s, two.start_s), between(one.end_s, two.end_s), one.score)
            for one, two in zip(found, late, strict=True)
        )

    def decode(
        self,
        pcm: Pcm,
        sentences: Sequence[Sequence[str]],
        added: Mapping[str, str] | None = None,
        *,
        leave: float = LEAVE,
    ) -> tuple[Heard, ...]:
        """The words heard in a recording by somebody who expects `sentences`, in any order, broken off or repeated.

        Other words are never heard. Give a sentence more than once to expect it more. Words come back lower-case.
        leave: how likely it is that after any word something else is said than what follows it in a sentence.
        """
        folded = [[word.casefold() for word in sentence] for sentence in sentences if sentence]
        entries = _entries((word for sentence in folded for word in sentence), added or {})
        if not folded or pcm.size < _LEAST_S * HEARD_RATE or not pcm.any():
            return ()
        rows = self._ask({"do": "decode", "sentences": folded, "leave": leave, "dictionary": entries}, pcm)
        return _heard(rows or [], pcm)

    def _ask(self, request: dict[str, object], pcm: Pcm) -> list[list[Any]] | None:
        padded = _in_a_room(pcm)
        seconds = padded.size / HEARD_RATE
        head, _ = self._process.ask(
            {**request, "samples": int(padded.size)}, padded.astype("<i2").tobytes(), 60.0 + 6.0 * seconds
        )
        if "error" in head:
            raise NarrationError(f"the recogniser could not listen to a recording: {head['error']}")
        rows: list[list[Any]] | None = head["heard"]
        return rows


def _heard(rows: Sequence[Sequence[Any]], pcm: Pcm) -> tuple[Heard, ...]:
    inside = _placed(pcm)
    return tuple(Heard(word, inside(first), inside(past), score) for word, first, past, score in rows)


def _placed(pcm: Pcm) -> Callable[[int], float]:
    """From the frames of a recording with silence around it to seconds of the recording."""
    end_s = pcm.size / HEARD_RATE
    return lambda frame: round(min(max(frame / _FRAMES_S - _PAD_S, 0.0), end_s), 4)


def _in_a_room(pcm: Pcm) -> Pcm:
    """The recording with faint pink noise before, under and after it; the same noise every time."""
    pad = round(_PAD_S * HEARD_RATE)
    whole = np.concatenate((np.zeros(pad), pcm.astype(np.float64), np.zeros(pad)))
    frame = HEARD_RATE // _FRAMES_S
    power = np.mean(np.square(whole[: whole.size // frame * frame].reshape(-1, frame)), axis=1)
    speech = float(np.mean(power[power >= np.percentile(power, 70.0)]))
    spectrum = np.fft.rfft(np.random.default_rng(0).standard_normal(whole.size))
    noise = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.arange(spectrum.size), 1.0)), whole.size)
    level = np.sqrt(speech * 10.0 ** (-_UNDER_SPEECH_DB / 10.0) / np.mean(np.square(noise)))
    room: Pcm = np.clip(np.round(whole + level * noise), -32768, 32767).astype(np.int16)
    return room


def _sounding_end(pcm: Pcm, heard: Heard) -> float:
    """Where a word falls silent: the aligner lets words run on through the pause after them.

    The end moves back only over quiet of 80 ms or more, quiet being under three tenths of the way from the word's
    softest to its loudest 10 ms. Measured on synthetic speech with exact ends.
    """
    frame = HEARD_RATE // _FRAMES_S
    first, past = round(heard.start_s * _FRAMES_S), round(heard.end_s * _FRAMES_S)
    part = pcm[first * frame : past * frame].astype(np.float64)
    frames = part.size // frame
    if frames < 12:
        return heard.end_s
    power = np.mean(np.square(part[: frames * frame].reshape(frames, frame)), axis=1)
    level = 10.0 * np.log10(np.maximum(power, 1.0))
    low, high = np.percentile(level, (5.0, 95.0))
    sounding = np.flatnonzero(level >= low + 0.3 * (high - low))
    last = int(sounding[-1]) + 1 if sounding.size else frames
    return round(heard.start_s + last / _FRAMES_S, 4) if frames - last >= 8 and last >= 4 else heard.end_s


@cache
def _dictionary() -> Mapping[str, tuple[str, ...]]:
    """The shipped pronunciations: every way of saying each word, the commonest first."""
    spec = importlib.util.find_spec("pocketsphinx")
    if spec is None or not spec.submodule_search_locations:
        return {}
    path = Path(next(iter(spec.submodule_search_locations)), "model", "en-us", "cmudict-en-us.dict")
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as fault:
        raise MissingPartError(f"the recogniser's dictionary cannot be read: {fault}", mend=INSTALL) from fault
    ways: dict[str, tuple[str, ...]] = {}
    for line in text.splitlines():
        word, _, phones = line.partition(" ")
        if word.endswith(")"):
            word = word[: word.rindex("(")]
        ways[word] = (*ways.get(word, ()), phones.strip())
    return ways


def pronunciations(word: str) -> tuple[str, ...]:
    """Every way the shipped dictionary says a word, as ARPAbet sounds; none when it is not in it."""
    return _dictionary().get(word.casefold(), ())


def _entries(words: Iterable[str], added: Mapping[str, str]) -> str:
    """The dictionary of one question. Raises NarrationError for words that cannot be looked up."""
    given: dict[str, list[str]] = {}
    for key, phones in added.items():
        if not phones.split() or not PHONES.issuperset(phones.split()):
            raise NarrationError(f"'{phones}' is not a pronunciation of '{key}'", mend="use ARPAbet sounds, as AH P")
        given.setdefault(key.casefold().partition("(")[0], []).append(" ".join(phones.split()))
    lines = []
    missing = []
    for word in dict.fromkeys(words):
        ways = given.get(word) or _dictionary().get(word, ())
        if not ways or not _WORD.fullmatch(word):
            missing.append(word)
        lines += [f"{word}({n}) {way}" if n > 1 else f"{word} {way}" for n, way in enumerate(ways, start=1)]
    if missing:
        raise NarrationError(
            f"nobody knows how {', '.join(repr(word) for word in missing)} sounds",
            mend="write it as it is said with spoken:, or put it into the lexicon",
        )
    return "\n".join(lines) + "\n"


# What follows runs in the program of its own.


def _decoder(folder: Path, **settings: Any) -> Any:
    from pocketsphinx import Decoder

    return Decoder(lm=None, dict=str(folder / "words.dict"), cmn="batch", loglevel="FATAL", **settings)


def _listen(decoder: Any, pcm: bytes, scale: float = 1.0) -> list[list[Any]] | None:
    """The words found, as the answer has them, without pauses and without the number of a way of saying.

    scale: of the library's likelihoods.
    """
    _hear(decoder, pcm)
    if decoder.hyp() is None:
        return None
    heard = []
    for part in decoder.seg():
        if part.word[0] in "<[+":
            continue
        frames = part.end_frame + 1 - part.start_frame
        likely = scale * math.log(part.ascore) if part.ascore > 0 else _UNDERFLOW
        heard.append([part.word.partition("(")[0], part.start_frame, part.end_frame + 1, likely / max(frames, 1)])
    return heard


def _hear(decoder: Any, pcm: bytes) -> None:
    decoder.start_utt()
    decoder.process_raw(pcm, full_utt=True)
    decoder.end_utt()


def _align(folder: Path, words: Sequence[str], pcm: bytes) -> list[list[Any]] | None:
    for beams in _ALIGN_BEAMS:
        # The search through the lattice of what was found may end before the last word, whatever the beams.
        decoder = _decoder(folder, bestpath=False, **beams)
        decoder.set_align_text(" ".join(words))
        if (heard := _listen(decoder, pcm, _UNSCALED)) and [word for word, *_ in heard] == list(words):
            return heard
    return None


def _sounds(folder: Path, words: Sequence[str], pcm: bytes) -> list[list[Any]] | None:
    for beams in _ALIGN_BEAMS:
        # Words first, by a decoder that reckons what it needs.
        first = _decoder(folder, bestpath=False, **beams)
        first.set_align_text(" ".join(words))
        heard = _listen(first, pcm, _UNSCALED)
        if not heard or [word for word, *_ in heard] != list(words):
            continue
        first.set_alignment()
        # With every sound reckoned in every frame, scores are against the best of all, not of those that were tried.
        decoder = _decoder(folder, bestpath=False, compallsen=True, **beams)
        decoder.set_alignment(first.get_alignment())
        _hear(decoder, pcm)
        # An entry is gone as soon as the alignment is: read on the way.
        whole = decoder.get_alignment()
        made: list[list[Any]] = []
        n = -1
        for word in whole or ():
            if word.name[0] not in "<[+":
                n += 1
                for part in word:
                    score = part.score * _SCORE / max(part.duration, 1)
                    made.append([part.name, n, part.start, part.start + part.duration, score])
        if n + 1 == len(words):
            return made
    return None


def _spare(folder: Path, words: Sequence[str], pcm: bytes) -> list[list[Any]]:
    # Names that no grammar can misread: w0 is the first of the words, s0 the first of all sounds.
    named = {word: f"w{n}" for n, word in enumerate(dict.fromkeys(words))}
    ways = (line.partition(" ") for line in (folder / "words.dict").read_text("utf-8").splitlines())
    rows = [named[name.partition("(")[0]] + name[len(name.partition("(")[0]) :] + f" {way}" for name, _, way in ways]
    rows += [f"s{n} {sound}" for n, sound in enumerate(sorted(PHONES))]
    (folder / "words.dict").write_text("\n".join(rows) + "\n", "utf-8")
    sounds = " | ".join(f"s{n}" for n in range(len(PHONES)))
    line = " <spare> ".join(named[word] for word in words)
    (folder / "line.gram").write_text(
        f"#JSGF V1.0;\ngrammar line;\n<sound> = {sounds};\n"
        f"<spare> = /{_SPARE_LIKELY}/ <sound>+ | /1.0/ <NULL>;\npublic <line> = <spare> {line} <spare>;\n",
        "utf-8",
    )
    decoder = _decoder(folder, bestpath=False, compallsen=True, **_SPARE)
    decoder.add_jsgf_file("line", str(folder / "line.gram"))
    decoder.activate_search("line")
    _hear(decoder, pcm)
    found: list[list[Any]] = []
    if decoder.hyp() is None:
        return found
    for part in decoder.seg():
        if part.word[0] == "s":
            if found and found[-1][2] == part.start_frame:
                found[-1][2] = part.end_frame + 1
            else:
                found.append(["", part.start_frame, part.end_frame + 1, 0.0])
    return found


def _decode(folder: Path, sentences: Sequence[Sequence[str]], leave: float, pcm: bytes) -> list[list[Any]]:
    from pocketsphinx.lm import ArpaBoLM

    model = ArpaBoLM(add_start=True, discount_mass=leave)
    model.read_corpus(" ".join(sentence) for sentence in sentences)
    model.compute()
    model.write_file(str(folder / "script.arpa"))
    decoder = _decoder(folder, **_DECODE_BEAMS)
    decoder.add_lm_file("script", str(folder / "script.arpa"))
    decoder.activate_search("script")
    return _listen(decoder, pcm) or []


def _serve(request: Mapping[str, Any], pcm: bytes, folder: Path) -> dict[str, object]:
    try:
        (folder / "words.dict").write_text(request["dictionary"], encoding="utf-8")
        if request["do"] == "align":
            return {"heard": _align(folder, request["words"], pcm)}
        if request["do"] == "sounds":
            return {"heard": _sounds(folder, request["words"], pcm)}
        if request["do"] == "spare":
            return {"heard": _spare(folder, request["words"], pcm)}
        return {"heard": _decode(folder, request["sentences"], request.get("leave", LEAVE), pcm)}
    except Exception as fault:
        return {"error": str(fault) or type(fault).__name__}


def main() -> int:
    """Serve until stdin ends."""
    # The library prints where it likes; answers keep a stdout of their own.
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    with tempfile.TemporaryDirectory(prefix="assembler-") as folder:
        for line in sys.stdin.buffer:
            request = json.loads(line)
            pcm = sys.stdin.buffer.read(2 * request["samples"])
            out.write(json.dumps(_serve(request, pcm, Path(folder))).encode() + b"\n")
            out.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
