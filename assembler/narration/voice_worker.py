"""The scratch voice's own process: text in, samples and word positions out.

    python -m assembler.narration.voice_worker

espeak-ng is under the GPL and this project is not, so the library is only ever loaded here, in a separate
program that talks over pipes and hands back sound. It also keeps one global voice and may stop the whole
process, two more reasons for it to have a process of its own.

Each request is one line of JSON on stdin: {"words": ["spoken form of word 1", …], "rate": 142, "voice": "en-us"}.
Each answer is one line of JSON on stdout, {"bytes": 2 n, "rate": 22050, "marks": [[start, end], …]}, followed by
n little-endian 16-bit samples; `end` is where the word's own sound stops. Leading silence and the pause after
the last word are already cut. Times are exact to the sample; where the voice runs words together ("on the"), the
second begins with the first of their sounds that is its own. A pause belongs to no word. A request that fails is
answered {"error": "…"} with no samples. {"phonemes": ["word", …], "voice": "en-us"} is answered
{"phonemes": ["w'3:d", …]}: the library's own names of the sounds, without a sound being made.

How the library says a line depends on what it said before, so each line is said by a copy of the fresh process:
the same line is the same sound for ever. Where processes cannot be copied, answers carry {"spent": true} and the
asker starts a new one. The program ends when stdin does.
"""

from __future__ import annotations

import array
import ctypes
import json
import os
import re
import signal
import sys
from collections.abc import Mapping, Sequence
from html import escape
from itertools import pairwise
from pathlib import Path
from typing import Any, BinaryIO

# Values from espeak-ng's public header speak_lib.h.
_SYNCHRONOUS = 2
_PHONEME_EVENTS, _DONT_EXIT = 1, 0x8000
_UTF8, _SSML = 1, 0x10
_LIST_ENDS, _MARK, _PHONEME = 0, 3, 7
_RATE = 1
SLOWEST, FASTEST = 80, 450

_TAIL_S = 0.08
_HEAD_S = 0.01
_QUIET = 50  # of 32768: softer than this is silence
_LONGEST_S = 60
_FORKS = hasattr(os, "fork")


class _EventId(ctypes.Union):
    _fields_ = (("number", ctypes.c_int), ("name", ctypes.c_char_p), ("string", ctypes.c_char * 8))


class _Event(ctypes.Structure):
    _fields_ = (
        ("type", ctypes.c_int),
        ("unique_identifier", ctypes.c_uint),
        ("text_position", ctypes.c_int),
        ("length", ctypes.c_int),
        ("audio_position", ctypes.c_int),
        ("sample", ctypes.c_int),
        ("user_data", ctypes.c_void_p),
        ("id", _EventId),
    )


_Callback = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.POINTER(_Event))


class Voice:
    """The loaded library. One only, in one thread."""

    def __init__(self) -> None:
        import espeakng_loader

        self._library: Any = ctypes.CDLL(espeakng_loader.get_library_path())
        self._library.espeak_Initialize.argtypes = [ctypes.c_int, ctypes.c_int, ctypes.c_char_p, ctypes.c_int]
        self._library.espeak_SetVoiceByName.argtypes = [ctypes.c_char_p]
        self._library.espeak_Synth.argtypes = [
            *(ctypes.c_char_p, ctypes.c_size_t, ctypes.c_uint, ctypes.c_int, ctypes.c_uint, ctypes.c_uint),
            *(ctypes.POINTER(ctypes.c_uint), ctypes.c_void_p),
        ]
        self._library.espeak_TextToPhonemes.argtypes = [ctypes.POINTER(ctypes.c_void_p), ctypes.c_int, ctypes.c_int]
        self._library.espeak_TextToPhonemes.restype = ctypes.c_char_p
        self._data = Path(espeakng_loader.get_data_path())
        home = os.fsencode(self._data.parent)
        self.rate = int(self._library.espeak_Initialize(_SYNCHRONOUS, 0, home, _PHONEME_EVENTS | _DONT_EXIT))
        if self.rate <= 0:
            raise RuntimeError("the voice's own data could not be loaded")
        self._samples = array.array("h")
        self._marks: dict[int, int] = {}
        self._phonemes: list[tuple[int, str]] = []  # where, and the library's name; a pause begins with `_`
        self._callback = _Callback(self._take)  # must live as long as the library may call it
        self._library.espeak_SetSynthCallback(self._callback)

    def _take(self, wave: Any, count: int, events: Any) -> int:
        index = 0
        while events[index].type != _LIST_ENDS:
            event = events[index]
            if event.type == _MARK:
                self._marks[int(event.id.name)] = event.sample
            elif event.type == _PHONEME:
                name = bytes(event.id.string).split(b"\0")[0].decode("utf-8", "replace")
                self._phonemes.append((event.sample, name))
            index += 1
        if wave and count > 0:
            self._samples.frombytes(ctypes.string_at(wave, 2 * count))
        return 0

    def speak(self, words: Sequence[str], rate: int, voice: str) -> tuple[array.array[int], list[list[int]]]:
        """Samples and, for each word, [start, end] in them."""
        self._choose(voice)
        self._library.espeak_SetParameter(_RATE, min(max(rate, SLOWEST), FASTEST), 0)
        self._samples = array.array("h")
        self._marks.clear()
        self._phonemes.clear()
        # A line feed, not a space: a mark that follows a full stop and a space is swallowed before a capital letter.
        text = "\n".join(f'<mark name="{n}"/>{escape(_printable(word), quote=False)}' for n, word in enumerate(words))
        written = f"<speak>{text}</speak>".encode()
        failed = self._library.espeak_Synth(written, len(written) + 1, 0, 1, 0, _UTF8 | _SSML, None, None)
        self._library.espeak_Synchronize()
        if failed:
            raise RuntimeError(f"the voice refused the line (code {failed})")
        if missing := [n for n in range(len(words)) if n not in self._marks]:
            if len(missing) > max(1, len(words) // 3):
                raise RuntimeError(f"the voice gave no time for word {missing[0] + 1}, '{words[missing[0]]}'")
            self._mark(missing, len(words))
        return self._trimmed(words)

    def _mark(self, missing: Sequence[int], words: int) -> None:
        """Times for words that the voice runs together with their neighbours without a mark (seen of "hang on," in one
        of its accents): where the next word begins, as for those that it runs together with one. See `_parted`."""
        sounds = [at for at, name in self._phonemes if not name.startswith("_")]
        last = max(sounds, default=len(self._samples))
        silence = min((at for at, _ in self._phonemes if at > last), default=len(self._samples))
        for n in reversed(missing):
            self._marks[n] = self._marks[n + 1] if n + 1 < words else silence
        self._marks[0] = min([self._marks[0], *sounds])  # the mark of such words may stand too late

    def phonemes(self, words: Sequence[str], voice: str) -> list[str]:
        """The library's names for the sounds of each word."""
        self._choose(voice)
        return [self._phonemes_of(_printable(word)) for word in words]

    def _phonemes_of(self, word: str) -> str:
        text = ctypes.create_string_buffer(word.encode())
        rest = ctypes.c_void_p(ctypes.addressof(text))
        said = []
        while rest.value:  # one clause at a time
            said.append(self._library.espeak_TextToPhonemes(ctypes.byref(rest), _UTF8, 0).decode("utf-8", "replace"))
        return " ".join(said)

    def voices(self) -> tuple[list[str], list[str]]:
        """The names of its voices, and those of the variants that any of them may have behind a `+`."""
        languages = sorted(path.name.lower() for path in (self._data / "lang").rglob("*") if path.is_file())
        return languages, sorted(path.name for path in (self._data / "voices" / "!v").iterdir())

    def _choose(self, voice: str) -> None:
        _, plus, variant = voice.partition("+")
        # The library says nothing of a variant that it does not have.
        known = not plus or (self._data / "voices" / "!v" / variant).is_file()
        if not known or self._library.espeak_SetVoiceByName(voice.encode()) != 0:
            raise LookupError(f"there is no voice '{voice}'")

    def _trimmed(self, words: Sequence[str]) -> tuple[array.array[int], list[list[int]]]:
        samples = self._samples
        pauses = [at for at, name in self._phonemes if name.startswith("_")]
        named = [(at, name) for at, name in self._phonemes if not name.startswith("_")]
        sounds = [at for at, _ in named]
        last_sound = max(sounds, default=len(samples))
        silence = min((at for at in pauses if at > last_sound), default=len(samples))
        end = min(len(samples), silence + round(_TAIL_S * self.rate))
        first = next((at for at in range(end) if abs(samples[at]) > _QUIET), 0)
        start = max(0, first - round(_HEAD_S * self.rate))
        edges = [*(self._marks[n] for n in range(len(words))), silence]
        empty = [n for n in range(len(words)) if edges[n] == edges[n + 1]]
        alone = {words[n]: self._phonemes_of(_printable(words[n])) for last in empty for n in (last - 1, last)}
        edges = _parted(edges, words, named, alone)
        spans = []
        for begin, following in pairwise(edges):
            # A word said as several may pause inside; what counts is the pause after its last sound.
            mine = [at for at in sounds if begin <= at < following]
            last = mine[-1] if mine else begin
            # The pause that the voice makes of itself before `and` and `or` stands behind their mark.
            if mine and any(begin <= at < mine[0] for at in pauses):
                begin = mine[0]
            stop = min((at for at in pauses if last < at <= following), default=following)
            low = min(max(begin - start, 0), end - start)
            spans.append([low, max(low, min(stop, end) - start)])
        return samples[start:end], spans


def _parted(
    edges: list[int], words: Sequence[str], named: Sequence[tuple[int, str]], alone: Mapping[str, str]
) -> list[int]:
    """Where words begin, with time for those that the voice runs together.

    "on the", "of a" and the like are one entry of its dictionary: both marks are there, but the second stands where
    the word after begins. Such words are parted where what is left and right of the cut sounds most like the words do
    by themselves; where two cuts are alike, by their letters. named: the sounds. alone: how words sound alone.
    """
    parted = list(edges)
    first = 0
    while first < len(words):
        last = first
        while last + 1 < len(words) and edges[last + 1] == edges[last + 2]:
            last += 1
        begin, end = edges[first], edges[last + 1]
        for n in range(first + 1, last + 1):
            inside = [(at, name) for at, name in named if parted[n - 1] <= at < end]
            own, rest = words[n - 1], words[n : last + 1]
            wanted = begin + (end - begin) * sum(map(len, words[first:n])) / sum(map(len, words[first : last + 1]))
            ranked = [
                (
                    _unlike("".join(name for _, name in inside[:cut]), alone.get(own, ""))
                    + _unlike("".join(name for _, name in inside[cut:]), "".join(alone.get(one, "") for one in rest)),
                    abs(inside[cut][0] - wanted),
                    inside[cut][0],
                )
                for cut in range(1, len(inside))
            ]
            parted[n] = min(ranked)[2] if ranked else end
        first = last + 1
    return parted


def _unlike(said: str, written: str) -> int:
    """How many signs part two rows of the library's names for sounds (edit distance), stress left out."""
    one, other = (re.sub("[',%=|_:2-]", "", text) for text in (said, written))
    row = list(range(len(other) + 1))
    for i, sign in enumerate(one, start=1):
        before, row[0] = row[0], i
        for j, against in enumerate(other, start=1):
            before, row[j] = row[j], min(before + (sign != against), row[j] + 1, row[j - 1] + 1)
    return row[-1]


def _printable(word: str) -> str:
    """Control characters are not allowed in XML and say nothing."""
    return "".join(sign if sign.isprintable() else " " for sign in word)


def _answer(out: BinaryIO, head: dict[str, object], samples: bytes = b"") -> None:
    out.write(json.dumps(head).encode() + b"\n" + samples)
    out.flush()


def _serve(line: bytes, voice: Voice, out: BinaryIO) -> None:
    """Answer one request; every fault but a lost asker is the asker's to report."""
    try:
        request = json.loads(line)
        if "phonemes" in request:
            told = voice.phonemes(request["phonemes"], str(request["voice"]))
            _answer(out, {"phonemes": told, "spent": not _FORKS})
            return
        if "voices" in request:
            languages, variants = voice.voices()
            _answer(out, {"voices": languages, "variants": variants, "spent": False})
            return
        samples, marks = voice.speak(request["words"], int(request["rate"]), str(request["voice"]))
        if sys.byteorder == "big":
            samples.byteswap()
        head = {"bytes": 2 * len(samples), "rate": voice.rate, "marks": marks, "spent": not _FORKS}
        _answer(out, head, samples.tobytes())
    except BrokenPipeError:
        os._exit(1)
    except Exception as fault:
        _answer(out, {"error": str(fault) or type(fault).__name__, "kind": type(fault).__name__})


def _serve_in_child(line: bytes, voice: Voice, out: BinaryIO) -> None:
    """Answer from a copy of this process, so that the next request finds the library as fresh as this one did."""
    child = os.fork()
    if child == 0:
        signal.alarm(_LONGEST_S)  # ends even a library that hangs, and an orphan
        _serve(line, voice, out)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    if status:
        _answer(out, {"error": "the voice broke off", "kind": "RuntimeError"})


def main() -> int:
    """Serve until stdin ends."""
    # The library prints where it likes; answers keep a stdout of their own.
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    voice: Voice | None = None
    for line in sys.stdin.buffer:
        try:
            voice = voice or Voice()
        except Exception as fault:
            _answer(out, {"error": str(fault) or type(fault).__name__, "kind": type(fault).__name__})
            continue
        (_serve_in_child if _FORKS else _serve)(line, voice, out)
    return 0


if __name__ == "__main__":
    sys.exit(main())
