"""What it costs the reader to break a text after a word.

0 is a full stop, about 5 a break somewhere inside a phrase, more where two words belong together:
a number and its unit, an article and its noun, the two parts of a name. The scale is ours and only
its order matters. The word lists are English; other languages go by punctuation and numbers.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import overload

SENTENCE, CLAUSE, COMMA, BRACKET = 0.0, 0.6, 1.2, 2.0
BEFORE_CONJUNCTION, BEFORE_PREPOSITION, ANYWHERE = 2.5, 3.5, 5.0
BOUND, TIED, NEVER = 9.0, 13.0, 40.0

_CLOSERS = "\"'”’»›)]}"
_OPENERS = "\"'“‘«‹([{¿¡"
_SENTENCE_ENDS = tuple(".?!…‽؟۔।॥。！？")
_CLAUSE_ENDS = tuple(";:؛；：")
_COMMAS = tuple(",،、，")
_DASHES = frozenset({"-", "–", "—", "―"})
_SIGNS = frozenset(
    ["+", "=", "<", ">", "≤", "≥", "≈", "×", "x", "X", "/", "&", "±", "~", "→", "->", "-->", "vs", "vs."]
)

_NUMBER = re.compile(r"[(\[~≈<>≤≥±+−-]*[$€£#]?\d[\d.,:/×x+−–%-]*(?:st|nd|rd|th|k|K|M|x|s|p|i)?")
_BARE_NUMBER = re.compile(r"[(\[~≈<>≤≥±+−-]*\d[\d.,:/]*")


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_ABBREVIATIONS = _words("e.g. i.e. vs. approx. ca. cf. mr. mrs. ms. dr. resp.")
_BEFORE_NUMBERS = _words("no. nos. fig. figs. max. min. avg. pp. p.")
_SPELT_NUMBERS = _words(
    "one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen "
    "eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety hundred thousand million billion half "
    "third quarter double twice zero point first second third fourth fifth"
)
_UNITS = _words(
    "fps hz khz mhz ghz hertz s ms us µs μs ns sec secs second seconds minute minutes min mins hour hours h "
    "frame frames picture pictures pixel pixels px p k x times nit nits cd/m2 cd/m² lux w watt watts v volts a amps "
    "db dbfs dbtp lufs lu bit bits byte bytes kb mb gb tb kib mib gib kb/s mb/s gb/s mbit/s kbit/s gbit/s mbps gbps "
    "milliseconds millisecond microseconds nanoseconds kilohertz megahertz gigahertz megabits megabytes gigabytes "
    "kilobytes gigabits kilobits decibels metres millimetres centimetres lumens loudness-units megapixels "
    "% percent per-cent point points line lines core cores thread threads stop stops degree degrees °c °f kelvin "
    "k/s mm cm m km inch inches ft cycles refreshes repeats tears samples passes"
)
_PER = _words("a an per each every")
_CONJUNCTIONS = _words(
    "and but or nor so yet because although though while whereas which who whom whose when where whenever wherever "
    "if unless until since before after as than that whether"
)
_PREPOSITIONS = _words(
    "about above across against along among around at below beneath beside between beyond by despite down during "
    "except for from in inside into like near of off on onto out outside over past per through throughout to toward "
    "towards under up upon via with within without"
)
# A word of these lists wants the next word in the same line.
_TIED_TO_NEXT = _words(
    "a an the this these those my your our their his her its each every both no some any all such another either "
    "neither much many"
) | _PREPOSITIONS
_BOUND_TO_NEXT = _words(
    "is are was were be been being am has have had do does did will would shall should can could may might must "
    "not never very too quite more most less least only just almost nearly roughly even still also already "
    "exactly twice half i we you he she it they there who which that and or but nor if because while when as than so"
)
_JOINTS = _words("and or to by against versus minus plus times over")
_NUMBERED = _words(
    "version figure step frame level segment chapter mode part number page table take line pass layer build preset "
    "section item row column case test scene profile tier generation"
)


class BreakCosts(Sequence[float]):
    """The cost of a break after each word of a text, worked out when it is asked for; 0 at the best places and at
    the end of each line. words, lines: (n,) written words with their punctuation, and the number of each one's line."""

    def __init__(self, words: Sequence[str], lines: Sequence[int], language: str = "en") -> None:
        self._words, self._lines = words, lines
        self._english = language.split("-")[0].lower() == "en"
        self._known: dict[int, float] = {}

    def __len__(self) -> int:
        return len(self._words)

    @overload
    def __getitem__(self, at: int) -> float: ...
    @overload
    def __getitem__(self, at: slice) -> list[float]: ...
    def __getitem__(self, at: int | slice) -> float | list[float]:
        if isinstance(at, slice):
            return [self[each] for each in range(*at.indices(len(self)))]
        found = self._known.get(at)
        if found is None:
            if not 0 <= at < len(self._words):
                raise IndexError(at)
            found = self._known[at] = TIED if self._in_figure(at) else self._plain(at)
        return found

    def _plain(self, at: int) -> float:
        lines = self._lines
        if at + 1 >= len(lines) or lines[at] != lines[at + 1]:
            return SENTENCE
        return _cost(self._words[at], self._words[at + 1], self._english)

    def _in_figure(self, at: int) -> bool:
        """Whether a break here would part 'between 22 and 33 ms', '40 to 60', '1920 by 1080': one figure, in two."""
        return self._figure(at) or self._figure(at - 1)

    def _figure(self, at: int) -> bool:
        words, lines = self._words, self._lines
        return (
            at >= 0
            and at + 2 < len(words)
            and words[at + 1].lower() in _JOINTS
            and lines[at] == lines[at + 2]
            and is_number(words[at])
            and is_number(words[at + 2])
            and self._plain(at) > COMMA
        )


def break_costs(words: Sequence[str], language: str = "en") -> list[float]:
    """The cost of a break after each word but the last. words: (n,) written words, with their
    punctuation. Returns (n - 1,) costs, 0 at the best places."""
    return BreakCosts(words, [0] * len(words), language)[:-1]


def is_number(word: str) -> bool:
    """Whether a written word is a figure: `60`, `16.7`, `1,234`, `1440p`, `~3`."""
    return _NUMBER.fullmatch(word.rstrip(_CLOSERS + ",;:.?!")) is not None


def is_unit(word: str) -> bool:
    """Whether a written word is a unit a figure may stand before."""
    return word.strip(_OPENERS + _CLOSERS + ",;:.?!").lower() in _UNITS


def _cost(this: str, following: str, english: bool) -> float:
    ending = this.rstrip(_CLOSERS)
    closed = ending != this
    if ending.endswith(_SENTENCE_ENDS) and not (english and _abbreviated(ending.lower(), following)):
        return SENTENCE
    if ending.endswith(_CLAUSE_ENDS) or this in _DASHES:
        return CLAUSE
    # A dash belongs to what stands before it, never to the start of a line.
    if following in _DASHES:
        return TIED
    if ending.endswith(_COMMAS):
        return COMMA
    return _tie(this, following, english) or _loose(this, following, closed, english)


def _tie(this: str, following: str, english: bool) -> float:
    """How firmly two words belong together; 0 when nothing ties them."""
    next_core = following.strip(_OPENERS + _CLOSERS + ",;:.?!").lower()
    core = this.strip(_OPENERS + _CLOSERS).lower()
    figure = is_number(this)
    if this in _SIGNS or following in _SIGNS:
        return NEVER if figure or is_number(following) else TIED
    if figure and (next_core in _UNITS or is_number(following)):
        return NEVER
    if not english:
        return TIED if _BARE_NUMBER.fullmatch(this) else 0.0
    if core in _SPELT_NUMBERS and (next_core in _UNITS or next_core in _SPELT_NUMBERS):
        return NEVER
    if core in _UNITS and next_core in _PER:
        return TIED
    if core in _NUMBERED and (is_number(following) or next_core in _SPELT_NUMBERS):
        return NEVER
    if _abbreviated(core, following) or (core in _TIED_TO_NEXT and not _particle(core, next_core)):
        return TIED
    if _BARE_NUMBER.fullmatch(this) and next_core not in _CONJUNCTIONS | _PREPOSITIONS:
        return TIED
    if core in _BOUND_TO_NEXT or core.endswith(("'s", "’s", "s'", "s’")):
        return BOUND
    if _capital(this) and (_capital(following) or is_number(following)):
        return BOUND + 1
    return 0.0


def _abbreviated(word: str, following: str) -> bool:
    return word in _ABBREVIATIONS or (word in _BEFORE_NUMBERS and is_number(following))


def _particle(core: str, next_core: str) -> bool:
    # 'slows down and', 'drops off when': the little word ends a phrase here.
    return core in _PREPOSITIONS and next_core in _CONJUNCTIONS


def _loose(this: str, following: str, closed: bool, english: bool) -> float:
    if closed or following[:1] in _OPENERS:
        return BRACKET
    if english:
        core = following.strip(_OPENERS + _CLOSERS).lower()
        if core in _CONJUNCTIONS:
            return BEFORE_CONJUNCTION
        if core in _PREPOSITIONS:
            return BEFORE_PREPOSITION if core != "of" else BOUND
    return ANYWHERE


def _capital(word: str) -> bool:
    bare = word.lstrip(_OPENERS)
    return bare[:1].isupper()
