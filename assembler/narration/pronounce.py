"""How words sound that the recogniser's dictionary lacks, in its own sounds (ARPAbet).

Three ways, the first that gives an answer: the scratch voice's own reading of the word (its sounds are ARPAbet's in
all but name), the pieces of the word that the dictionary knows (`upscaler` ends like `scaler`), and letters turned
into sounds by rough rules. A pronunciation need not be right to find a word among known neighbours, but it shifts
edges: what was made up is told, so that a person can write the word as it is said.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Protocol

from assembler.errors import MissingPartError, NarrationError
from assembler.narration.recogniser import PHONES, pronunciations
from assembler.narration.scratch import ScratchVoice

VERSION = "2"
"""Part of what is kept of a recording; changes when unknown words get other sounds."""


class _Reader(Protocol):
    def sounds(self, words: Iterable[str]) -> tuple[str, ...]: ...


# The voice's names for the sounds of American English. Checked against the recogniser's dictionary.
_SOUNDS = {
    "aI@3": "AY ER", "aI3": "AY ER", "aI@": "AY AH", "aU3": "AW ER", "aU@": "AW AH", "i@3": "IH R", "A@": "AA R",
    "o@": "AO R", "O@": "AO R", "e@": "EH R", "i@": "IY AH", "U@": "UH R", "3:": "ER", "@L": "AH L", "IR": "IH R",
    "VR": "AH R", "eI": "EY", "aI": "AY", "aU": "AW", "oU": "OW", "OI": "OY", "i:": "IY", "u:": "UW", "O:": "AO",
    "A:": "AA", "E2": "EH", "I2": "IH", "I#": "IH", "a#": "AH", "@2": "AH", "@5": "AH", "0#": "AA", "E#": "EH",
    "O2": "AO", "U2": "UH", "aa": "AE", "tS": "CH", "dZ": "JH", "n-": "AH N", "m-": "AH M", "l-": "AH L", "t#": "T",
    "t2": "T", "d#": "D", "z#": "Z", "n^": "N Y", "l^": "L", "r-": "R", "w#": "W", "h#": "HH", "k2": "K",
    "3": "ER", "@": "AH", "a": "AE", "A": "AA", "e": "EH", "E": "EH", "i": "IY", "I": "IH", "o": "OW", "O": "AO",
    "0": "AA", "u": "UW", "U": "UH", "V": "AH", "y": "IY", "b": "B", "d": "D", "D": "DH", "f": "F", "g": "G",
    "h": "HH", "j": "Y", "k": "K", "l": "L", "L": "L", "m": "M", "n": "N", "N": "NG", "p": "P", "r": "R", "s": "S",
    "S": "SH", "t": "T", "T": "TH", "v": "V", "w": "W", "x": "K", "z": "Z", "Z": "ZH", "Q": "G", "C": "SH",
}  # fmt: skip
# Where the British voice's sounds of these names are others than the American one's: no `r` but before a vowel. (From
# the names' meaning in the voice's own documentation, in the recogniser's nearest sounds.)
_BRITISH = _SOUNDS | {
    "A@": "AA", "o@": "AO", "O@": "AO", "e@": "EH AH", "i@3": "IY AH", "U@": "UH AH", "3": "AH", "aI@3": "AY AH",
    "aI3": "AY AH", "aU3": "AW AH", "aU@": "AW AH", "IR": "IH", "VR": "AH",
}  # fmt: skip
# Two of its vowels lie between two of the recogniser's, which knows American English: both are tried.
_LOT = ("AA", "AO")
_GOAT = ("OW", "AH UH")
_LONGEST = max(map(len, _SOUNDS))
_MARKS = re.compile(r"\([a-z-]+\)|[',%=|_;:!?~*\" ]")  # stress, joins, pauses and a change of language

# Letters to sounds, the longest first; good enough to be found among neighbours, no more (common practice, no source).
_LETTERS = {
    "tion": "SH AH N", "sion": "ZH AH N", "ough": "AO", "eigh": "EY", "igh": "AY", "tch": "CH", "dge": "JH",
    "sch": "SH", "ture": "CH ER", "ee": "IY", "ea": "IY", "oo": "UW", "ou": "AW", "ow": "OW", "oa": "OW", "oi": "OY",
    "oy": "OY", "ai": "EY", "ay": "EY", "au": "AO", "aw": "AO", "ie": "IY", "ei": "IY", "ew": "Y UW", "ue": "UW",
    "er": "ER", "ir": "ER", "ur": "ER", "or": "AO R", "ar": "AA R", "th": "TH", "sh": "SH", "ch": "CH", "ph": "F",
    "gh": "G", "ck": "K", "ng": "NG", "qu": "K W", "wh": "W", "wr": "R", "kn": "N", "ce": "S EH", "ci": "S IH",
    "cy": "S AY", "ge": "JH EH", "gi": "JH IH", "a": "AE", "b": "B", "c": "K", "d": "D", "e": "EH", "f": "F", "g": "G",
    "h": "HH", "i": "IH", "j": "JH", "k": "K", "l": "L", "m": "M", "n": "N", "o": "AA", "p": "P", "q": "K", "r": "R",
    "s": "S", "t": "T", "u": "AH", "v": "V", "w": "W", "x": "K S", "y": "IY", "z": "Z",
}  # fmt: skip
_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


class Pronouncer:
    """Sounds of unknown words. Use as a context manager; the voice is started by the first word it is asked for."""

    def __init__(self) -> None:
        self._voice: ScratchVoice | None = None
        self._no_voice = False
        self._made: dict[str, str | None] = {}
        self._british: dict[str, tuple[str, ...]] = {}

    def __enter__(self) -> Pronouncer:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the voice, if one was asked."""
        if self._voice:
            self._voice.close()

    def added(self, words: Iterable[str]) -> Mapping[str, str]:
        """Sounds for those of `words` that the recogniser's dictionary lacks, each as 'AH P S K EY L ER'.

        A word in no Latin letters, whose sounds nobody knows, is left out.
        """
        wanted = [word for word in dict.fromkeys(word.casefold() for word in words) if not pronunciations(word)]
        fresh = [word for word in wanted if word not in self._made]
        said = self._said(fresh)
        for word in fresh:
            self._made[word] = of_letter(word) or said.get(word) or from_parts(word) or from_letters(word)
        return {word: sounds for word in wanted if (sounds := self._made[word])}

    def added_with_parts(self, words: Iterable[str]) -> Mapping[str, str]:
        """The same for words and for what stands between their hyphens, by which they may be known."""
        return self.added({part for word in words for part in (word, *word.split("-"))})

    def accented(self, words: Iterable[str]) -> Mapping[str, str]:
        """Every way of saying each of `words` in American or British English, the first by the word itself, the next
        by 'word(2)' and so on. Empty where no voice is installed to say how the British do."""
        wanted = list(dict.fromkeys(word.casefold() for word in words))
        fresh = [word for word in wanted if word not in self._british]
        named = self._named([word for word in fresh if word[1:2] != "."], "en-gb")
        for word in fresh:
            self._british[word] = british(named.get(word, ""))
        if not any(self._british[word] for word in wanted):
            return {}
        unknown = self.added(wanted)
        ways = {word: (*(pronunciations(word) or filter(None, [unknown.get(word)])), *self._british[word])
                for word in wanted}  # fmt: skip
        return {
            f"{word}({n})" if n > 1 else word: way
            for word, every in ways.items()
            for n, way in enumerate(dict.fromkeys(every), start=1)
        }

    def _said(self, words: list[str]) -> dict[str, str]:
        return {word: said for word, name in self._named(words, "en").items() if (said := from_voice(name))}

    def _named(self, words: list[str], language: str) -> dict[str, str]:
        """What the voice calls the sounds of those of `words` that it can say."""
        latin = [word for word in words if _latin(word)]
        if not latin or self._no_voice:
            return {}
        try:
            self._voice = self._voice or ScratchVoice("en")
            return dict(zip(latin, self._voice.sounds(latin, language), strict=True))
        except (MissingPartError, NarrationError, LookupError):
            self._no_voice = True
            return {}


def of_letter(word: str) -> str | None:
    """A letter said by its name with an ending: 'p.s' as in 'two Ps'. None for other words."""
    if word[1:2] != "." or not (name := pronunciations(word[:2])):
        return None
    return f"{name[0]} {ending}" if (ending := from_letters(word[2:].replace("s", "z"))) else name[0]


def british(named: str) -> tuple[str, ...]:
    """The British voice's own names of a word's sounds, every way, as ARPAbet; none where one is not known."""
    ways = []
    for lot in _LOT:
        for goat in _GOAT:
            ways.append(from_voice(named, _BRITISH | {"0": lot, "O2": lot, "oU": goat}))
    return tuple(dict.fromkeys(way for way in ways if way))


def from_voice(named: str, names: Mapping[str, str] = _SOUNDS) -> str | None:
    """The voice's own names of a word's sounds as ARPAbet; None where one of them is not known."""
    rest = _MARKS.sub(lambda mark: ":" if mark[0] == ":" else "", named)
    sounds: list[str] = []
    while rest:
        for length in range(min(_LONGEST, len(rest)), 0, -1):
            if found := names.get(rest[:length]):
                sounds += found.split()
                rest = rest[length:]
                break
        else:
            if rest[0] not in "#-23:^":
                return None
            rest = rest[1:]
    return " ".join(sounds) or None


def from_parts(word: str) -> str | None:
    """A compound's sounds from two words of the dictionary, parted as near to its middle as works."""
    bare = _bare(word)
    for cut in sorted(range(3, len(bare) - 2), key=lambda cut: abs(2 * cut - len(bare))):
        first, second = pronunciations(bare[:cut]), pronunciations(bare[cut:])
        if first and second:
            return f"{first[0]} {second[0]}"
    return None


def from_letters(word: str) -> str | None:
    """A word's sounds by its letters alone; digits are said one by one. None when nothing in it can be said."""
    rest = _bare(word)
    sounds: list[str] = []
    while rest:
        if rest[0].isdecimal() and rest[0].isascii():
            sounds += pronunciations(_DIGITS[int(rest[0])])[:1]
            rest = rest[1:]
            continue
        if rest == "e" and len(sounds) > 1:
            break
        length = next((n for n in (4, 3, 2, 1) if rest[:n] in _LETTERS), 0)
        if not length:
            return None
        if not (length == 1 and len(rest) > 1 and rest[0] == rest[1]):  # doubled letters sound once
            sounds.append(_LETTERS[rest[:length]])
        rest = rest[length:]
    said = " ".join(sounds)
    return said if said and PHONES.issuperset(said.split()) else None


def _bare(word: str) -> str:
    """Letters and digits without accents: `Zürich` is 'zurich'."""
    apart = unicodedata.normalize("NFKD", word.casefold().replace("ß", "ss").replace("ø", "o").replace("æ", "e"))
    return "".join(sign for sign in apart if sign.isalnum())


def _latin(word: str) -> bool:
    return all("LATIN" in unicodedata.name(sign, "") for sign in word if sign.isalpha()) and word.isprintable()
