"""A line of written English as it is read aloud, piece by piece, each with an eye on its neighbours.

In what is said a capital letter standing alone is read by its name (`P`), and `P's` is several of it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from assembler.narration.english import figures, names
from assembler.narration.english.names import Said
from assembler.narration.english.numbers import cardinal, decimal, digits, ordinal, paired, plural, run
from assembler.narration.english.signs import ascii_digits, single_signs, without_figures
from assembler.narration.english.units import ALONE, is_rate, unit
from assembler.narration.english.words import (
    BARE,
    COMMON,
    DESCRIBED,
    GREEK,
    INITIALISMS,
    MONTH_OF,
    NUMBERED,
    NUMBERED_THINGS,
    SHORT,
    SIGNS,
    SPELT_SIGNS,
    STOPPED,
    YEAR_COMES,
    listed,
)
from assembler.narration.words import Piece

_ROMAN = re.compile(r"(?=[IVX])X{0,3}(?:IX|IV|V?I{0,3})")
_ROMAN_VALUES = {"I": 1, "V": 5, "X": 10}
_NO_NOUN = listed("of per and or in at to with for from over is are was on as than but by that which while")
_TENS = listed("20 30 40 50 60 70 80 90")
_COUNTS = listed(
    "one two three four five six seven eight nine ten eleven twelve twenty thirty forty fifty sixty seventy eighty "
    "ninety hundred thousand million billion half many few some several"
)
_NUMBER = re.compile(figures.NUMBER)
_KEYS = listed("ctrl alt shift cmd fn")
_UNIT_TO = re.compile(rf"([^\d\s–—-]+)[-–—]({figures.NUMBER})([^\d\s]*)")
_POSSESSIVE = re.compile(r"(.+)['’]s")


def read(pieces: Sequence[Piece]) -> list[Said]:
    """What is said for each piece ('' for nothing), with '' or why a person should look."""
    line = _Line(pieces)
    return [without_figures(*line.read(at)) for at in range(len(pieces))]


def _is_below(text: str, most: int) -> bool:
    """Whether a written number lies below another."""
    return text.count(".") < 2 and float(text.replace(",", "").rstrip("+") or 0) < most


class _Line:
    def __init__(self, pieces: Sequence[Piece]) -> None:
        self._pieces = pieces
        self._cores = [ascii_digits(SPELT_SIGNS.get(piece.text) or single_signs(piece.core)) for piece in pieces]

    def read(self, at: int) -> Said:
        core = self._cores[at]
        if not core or core in SIGNS:
            return self._sign(at, core or self._pieces[at].text), ""
        for rule in (self._short, self._in_date, self._number, self._unit, self._roman):
            if said := rule(at, core):
                return said
        return self._form(at, core)

    def _core(self, at: int) -> str:
        return self._cores[at] if 0 <= at < len(self._cores) else ""

    def _breaks(self, at: int) -> bool:
        """Whether a sentence or clause ends behind this piece."""
        return at < 0 or any(mark in self._pieces[at].after for mark in ".!?;:")

    def _small_word_after(self, at: int) -> bool:
        """Whether something that the figure here may count or measure stands next to it."""
        following = self._core(at + 1)
        return not self._pieces[at].after and following.isalpha() and following.casefold() not in _NO_NOUN

    # -- pieces by themselves -------------------------------------------------------------------------------------

    def _sign(self, at: int, text: str) -> str:
        """A piece of punctuation or signs only."""
        if text == "-" and "=" in self._cores:
            return "minus"
        if text == "×" and self._is_size(at):
            return "by"
        if text in "-–—":
            both = (_NUMBER.match(self._core(at + 1)), re.search(r"\d\D{0,4}$", self._core(at - 1)))
            return "to" if all(both) else ""
        return SIGNS.get(text, "")

    def _is_size(self, at: int) -> bool:
        """Whether a line count stands on either side."""
        return all(re.fullmatch(r"\d,\d{3}|\d{3,5}", self._core(near)) for near in (at - 1, at + 1))

    def _short(self, at: int, core: str) -> Said | None:
        low = core.casefold()
        if low in SHORT and (core.islower() or core.istitle() or "-" in core or "." in core or "+" in core):
            return SHORT[low], ""
        if low in STOPPED and (self._pieces[at].after.startswith(".") or low in BARE):
            numbered = bool(_NUMBER.match(self._core(at + 1)))
            after_number = bool(re.fullmatch(figures.NUMBER, self._core(at - 1)))
            if low == "min" and after_number:
                return None
            if low not in NUMBERED or numbered:
                return STOPPED[low], ""
        if re.fullmatch(r"(?:[A-Za-z]\.)+[A-Za-z]", core):
            return names.letters(core.replace(".", "")), ""
        if core in ("am", "pm", "AM", "PM") and re.search(r"(?<!\d)\d{1,2}(?::\d\d)?$", self._core(at - 1)):
            return names.letters(core), ""
        return None

    # -- dates ----------------------------------------------------------------------------------------------------

    def _in_date(self, at: int, core: str) -> Said | None:
        if re.fullmatch(r"\d{1,2}(?:st|nd|rd|th)?", core) and self._is_day(core):
            plain = re.sub(r"\D", "", core)
            if self._is_month(at + 1):
                the = "" if self._core(at - 1).casefold() == "the" else "the "
                return f"{the}{ordinal(int(plain))} of", ""
            if self._is_month(at - 1):
                return ordinal(int(plain)), ""
        if self._is_month(at) and core[0].isupper():
            beside = self._core(at - 1), self._core(at + 1)
            if any(re.fullmatch(r"\d{1,2}(?:st|nd|rd|th)?|\d{4}", near) for near in beside):
                return MONTH_OF[core.casefold()], ""
        if figures.is_year(core) and not self._breaks(at - 1):
            day_between = re.fullmatch(r"\d{1,2}(?:st|nd|rd|th)?", self._core(at - 1))
            if self._is_month(at - 2 if day_between else at - 1):
                return figures.year(core), ""
        return None

    @staticmethod
    def _is_day(core: str) -> bool:
        return 1 <= int(re.sub(r"\D", "", core)) <= 31

    def _is_month(self, at: int) -> bool:
        core = self._core(at)
        return core.casefold() in MONTH_OF and core[:1].isupper()

    # -- numbers --------------------------------------------------------------------------------------------------

    def _number(self, at: int, core: str) -> Said | None:
        """A figure and what the words around it make of it."""
        if "′" not in core and re.fullmatch(rf"{figures.NUMBER}[\"”″]?", core) and self._is_inches(at):
            return f"{decimal(core.rstrip('″'))} {'inch' if self._core(at + 1).isalpha() else 'inches'}", ""
        if self._is_telephone(at):
            return (("plus " if core[0] == "+" else "") + digits(core.lstrip("+"))), ""
        if grouped := self._grouped(at, core):
            return grouped
        parts = figures.split_measure(core)
        if not parts or re.fullmatch(r"\d{1,2}[Kk]", core) or re.fullmatch(r"[12]\d\d0s", core):
            return None
        prefix, text, name = parts
        if name == "K" and not prefix and _is_below(text, 17):
            return f"{decimal(text)} K", ""
        if name in ("B", "b", "M") or (name in ("m", "k") and "," in text):
            return None
        plus = " plus" if text.endswith("+") else ""
        bare = text.rstrip("+")
        head = figures.prefix_words(prefix)
        if name:
            return self._joined_measure(at, head, bare, plus, name)
        if plus or prefix:
            return f"{head}{self._plain(at, bare, '' if not prefix else 'signed')[0]}{plus}", ""
        said, doubt = self._plain(at, bare, "")
        return said, doubt

    def _joined_measure(self, at: int, head: str, text: str, plus: str, name: str) -> Said | None:
        short = self._pieces[at].before[-1:] in ("'", "’")  # `'80s`
        decade = short or self._core(at - 1).casefold() in ("the", "early", "late", "mid")
        if name == "s" and text in _TENS and decade:
            return plural(cardinal(int(text))), ""
        found = unit(name, joined=True)
        assert found
        one, several, doubt = found
        round_view = text == "360" and name == "°" and self._small_word_after(at)
        many = one if text == "1" or round_view or (self._is_adjective(at) and not is_rate(one)) else several
        return f"{head}{figures.number(text)}{plus} {many}", doubt

    def _is_adjective(self, at: int) -> bool:
        """`a 60 s clip`: the figure at `at` says what kind of thing follows, so its unit stays singular."""
        return self._small_word_after(at) and (
            self._core(at - 1) in ("a", "an", "A", "An") or self._core(at + 1).casefold() in DESCRIBED
        )

    def _plain(self, at: int, text: str, kind: str) -> Said:
        """A figure with nothing joined to it."""
        before, after = self._core(at - 1), self._core(at + 1)
        ends = bool(self._pieces[at].after)
        if not ends and (name := self._unit_after(at)):
            return figures.number(text), name[2]
        if any(self._core(near) in ("x", "×", "by") and self._is_size(near) for near in (at - 1, at + 1)):
            return paired(int(text.replace(",", ""))), ""
        if before in ("Rec", "BT", "ITU-R") and len(text) < 5:
            return run(text), ""
        if before.casefold() == "version" and "," not in text:
            return figures.version(text), ""
        if before.casefold() == "port" and text.isdecimal() and len(text) > 2:
            return figures.port(text), ""
        behind_model = re.fullmatch(r"[A-Z]{1,4}\d{1,2}", before) and not self._breaks(at - 1)
        if behind_model and len(text) == 4 and text.isdecimal():
            return run(text), ""  # `R9 9950`
        if kind or not text.isdecimal() or len(text) < 3:
            return figures.number(text), ""
        if re.fullmatch(r"[A-Z]{1,5}", before) and before not in ("I", "A") and before.casefold() not in COMMON:
            return run(text), ""
        if figures.is_year(text):
            if before.casefold() in YEAR_COMES:
                return figures.year(text), ""
            counted = not ends and re.fullmatch(r"[a-z]+[^s]s", after) and after not in ("was", "has")
            if counted:
                return cardinal(int(text)), "read as a number, not as a year"
            return figures.year(text), "read as a year"
        named = re.fullmatch(r"[A-Z][a-z]+", before) and not self._breaks(at - 2) and before.casefold() not in COMMON
        if named and len(text) == 4:
            return paired(int(text)), "read in pairs, as a model's name"
        return figures.number(text), ""

    def _is_inches(self, at: int) -> bool:
        piece = self._pieces[at]
        if piece.core.endswith("″"):
            return True
        opened = sum(other.text.count('"') for other in self._pieces[:at]) % 2
        return piece.after[:1] == '"' and '"' not in piece.before and not opened

    def _grouped(self, at: int, core: str) -> Said | None:
        """Thousands set apart by a blank: `10 000`."""
        start = end = at
        while start > 0 and re.fullmatch(r"\d{3}", self._core(start)) and self._is_bare_number(start - 1):
            start -= 1
        while self._is_bare_number(end) and re.fullmatch(r"\d{3}", self._core(end + 1)):
            end += 1
        if start == end or end - start > 3 or not re.fullmatch(r"[1-9]\d{0,2}", self._core(start)):
            return None
        doubt = "" if "000" in self._cores[start + 1 : end + 1] else "read as one number"
        scale = ("", "thousand", "million", "billion")
        own = cardinal(int(core)) if int(core) else ""
        if at < end and self._core(at + 1) != "000":
            own = f"{own} {scale[end - at]}" if own else ""
        elif core == "000" and int(self._core(at - 1)):
            own = scale[end - at + 1]
        return own, doubt

    def _is_bare_number(self, at: int) -> bool:
        return bool(re.fullmatch(r"\d{1,3}", self._core(at))) and not self._pieces[at].after

    def _is_telephone(self, at: int) -> bool:
        """One of several groups of digits that begin with a plus."""
        start = at
        while start > 0 and re.fullmatch(r"[1-9]\d{1,3}|0\d", self._core(start)):
            start -= 1
        groups = 0
        while re.fullmatch(r"\+\d{1,3}|0\d{2,4}" if not groups else r"\d{2,4}", self._core(start + groups)):
            groups += 1
        return groups > 2 and at < start + groups

    # -- units apart from their figure ----------------------------------------------------------------------------

    def _unit_after(self, at: int) -> tuple[str, str, str] | None:
        following = self._core(at + 1)
        return unit(following, joined=False) if following else None

    def _unit(self, at: int, core: str) -> Said | None:
        """A unit behind its figure, or by itself where it can be nothing else."""
        if core in figures.LARGE_WORDS and self._core(at - 1)[:1] in "$€£¥" and self._core(at - 1):
            count = "1" if self._is_adjective_unit(at) else "2"
            return f"{core} {figures.money(self._core(at - 1)[0], count)[0].split()[-1]}", ""
        if core in ("x", "×") and _NUMBER.match(self._core(at + 1)) and re.search(r"\d$", self._core(at - 1)):
            sizes = min(len(self._core(at - 1)), len(self._core(at + 1))) >= 3 or core == "x"
            return ("by" if sizes else "times"), ""
        if (both := _UNIT_TO.fullmatch(core)) and re.search(r"\d$", self._core(at - 1)):
            begin, end = unit(both[1], joined=False), unit(both[3], joined=True) if both[3] else None
            if begin and (end or not both[3]):
                return f"{begin[1]} to {figures.number(both[2])} {end[1] if end else ''}".rstrip(), ""
        both = re.fullmatch(r"([^\d\s/]+)/(\d\S*)", core)  # `48 kHz/24-bit`
        if both and re.search(r"\d$", self._core(at - 1)) and (begin := unit(both[1], joined=False)):
            return f"{begin[1]} {self._form(at, both[2])[0]}", ""
        if not (found := unit(core, joined=False)):
            return None
        one, several, doubt = found
        before = self._core(at - 1)
        if self._pieces[at - 1].after if at else "":
            before = ""
        if re.fullmatch(r"\d+/\d+", before) and core in ("s", "min", "h", "ms"):
            return f"of {'an' if one[0] == 'h' else 'a'} {one}", ""
        if re.search(r"[½¼¾⅓⅔]$", before) and not before[:1].isdecimal():
            return one, ""
        if re.fullmatch(r"[-−–+~≈±<>≥≤]*1", before):
            return one, doubt
        if re.search(r"\d\+?$", before):
            return (one if self._is_adjective_unit(at) and not is_rate(one) else several), doubt
        if before.casefold() in _COUNTS and len(core) > 1:
            return (one if before.casefold() == "one" else several), doubt
        return (several, doubt) if core in ALONE else None

    def _is_adjective_unit(self, at: int) -> bool:
        return self._small_word_after(at) and (
            self._core(at - 2) in ("a", "an", "A", "An") or self._core(at + 1).casefold() in DESCRIBED
        )

    def _roman(self, at: int, core: str) -> Said | None:
        before = self._core(at - 1)
        stopped = self._pieces[at - 1].after and before.casefold() not in ("mk", "vol")  # `Mk. II`
        if not before[:1].isupper() or stopped or not _ROMAN.fullmatch(core):
            return None
        thing = before.casefold() in NUMBERED_THINGS
        ends = core == "I" and self._breaks(at) and not self._breaks(at - 2)
        if len(core) == 1 and not thing and not ends:
            return None
        if before.isupper() and len(before) > 1:
            return None
        values = [_ROMAN_VALUES[letter] for letter in core]
        total = sum(-one if one < two else one for one, two in zip(values, [*values[1:], 0], strict=True))
        return cardinal(total), "" if thing or len(core) > 2 else "read as a Roman numeral"

    # -- everything else ------------------------------------------------------------------------------------------

    def _form(self, at: int, core: str) -> Said:
        if (amount := re.fullmatch(rf"([$€£¥])({figures.NUMBER})", core)) and self._core(at + 1) in figures.LARGE_WORDS:
            return decimal(amount[2]), ""
        if (price := re.fullmatch(rf"([$€£¥])({figures.NUMBER})", core)) and self._is_adjective(at):
            one = figures.money(price[1], "1")[0].split()[-1]
            if "." not in price[2]:
                return f"{decimal(price[2])} {one}", ""
        if core == "C#":
            return "C sharp", ""
        if core.startswith("#") and core[1:2].isalpha() and not figures.read_figure(core):
            return f"hashtag {names.handle(core[1:])}", ""
        if core.startswith("@") and core[1:2].isalpha():
            return f"at {names.handle(core[1:])}", ""
        if said := names.address(core):
            return said, ""
        if pulled := self._listed_ratio(at, core):
            return pulled, ""
        if said_figure := figures.read_figure(core):
            return said_figure
        if found := _POSSESSIVE.fullmatch(core):
            said, doubt = self._number(at, found[1]) or self._form(at, found[1])
            return f"{said}'s", doubt
        if said_model := names.model(core):
            return said_model
        if hyphened := self._hyphened(at, core):
            return hyphened
        return self._parts(at, core)

    def _listed_ratio(self, at: int, core: str) -> str:
        """`3:2 pulldown`, `30/60 fps` and the like, read as a list."""
        if re.fullmatch(r"\d{2,3}(?:/\d{2,3})+", core) and self._core(at + 1) in ("fps", "FPS", "Hz"):
            return " ".join(cardinal(int(part)) for part in core.split("/"))
        if re.fullmatch(r"\d:\d", core) and self._core(at + 1).casefold() in ("pulldown", "cadence", "pattern"):
            return " ".join(digits(part) for part in core.split(":"))
        return ""

    def _hyphened(self, at: int, core: str) -> Said | None:
        """`10-bit`, `3-second`, `27-inch`: what follows the figure stays singular."""
        if found := re.fullmatch(r"([1-9]/\d{1,2})[-‑]([^\d\s-]+)", core):  # `3/4-size`
            part, doubt = figures.read_figure(found[1]) or ("", "")
            return (f"{part} {self._parts(at, found[2])[0]}", doubt) if part else None
        found = re.fullmatch(rf"({figures.NUMBER})[-‑]([^\d\s-]+)(?:-(.+))?", core)
        if not found:
            return None
        letter = found[2] in ("A", "B", "b", "K")  # `1042-B` is no bytes
        named = None if letter or found[2] in ("in", "a") else unit(found[2], joined=True)
        said, doubt = (named[0], "") if named else self._parts(at, found[2])
        more = f" {self._parts(at, found[3])[0]}" if found[3] else ""
        count = run(found[1]) if letter and found[1].isdecimal() else figures.number(found[1])
        return f"{count} {said}{more}", doubt

    def _parts(self, at: int, core: str) -> Said:
        """Words joined by hyphens, strokes and other signs."""
        parts = re.findall(r"\d+(?:\.\d+)+(?![^\W_])|[^\W_]+(?:['’][^\W\d_]+)*|[+&=→@%×÷–]|[.,]\d+", core)
        if len(parts) == 1:
            return self._word(at, parts[0])
        said, doubts = [], []
        for number, part in enumerate(parts):
            if part == "–":
                said.append("to" if re.search(r"\d–|–\d", core) else "")
                continue
            if part in SIGNS:
                said.append(SIGNS[part])
                continue
            if part == "a" and all(len(one) == 1 for one in parts):
                said.append("A")
                continue
            one, doubt = self._part(part, "/" in core and number > 0)
            said.append(one)
            doubts.append(doubt)
        odd = re.sub(r"[\w\s'’.,/+&=→@%×÷‑–:;-]", "", core)
        if parts and parts[0].casefold() in _KEYS:
            said = [word for word in said if word != "plus"]
        doubts.append(f"'{odd[0]}' is not said" if odd else "")
        return " ".join(word for word in said if word), next((doubt for doubt in doubts if doubt), "")

    def _part(self, part: str, behind_stroke: bool) -> Said:
        if figures.is_year(part):
            return figures.year(part), ""
        if found := re.fullmatch(r"([12]\d\d0|[2-9]0)s", part):
            return plural(paired(int(found[1]))), ""
        if re.fullmatch(r"\d+(?:\.\d+)+", part):
            return decimal(part) if part.count(".") == 1 else figures.version(part), ""
        if part.casefold() in SHORT and not part.isupper():
            return SHORT[part.casefold()], ""
        if part.isdecimal():
            return run(part) if len(part) == 4 else figures.number(part), ""
        if (measure := figures.split_measure(part)) and (len(measure[2]) > 1 or measure[2] == "%"):
            named = unit(measure[2], joined=True)
            assert named
            return f"{decimal(measure[1])} {named[0 if measure[1] == '1' else 1]}", ""
        if said := figures.read_figure(part):
            return said
        if behind_stroke and part == "s":
            return "per second", ""
        if len(part) == 1:
            return ("a" if part == "a" else names.letters(part)) if part.isascii() else part, ""
        return names.model(part) or names.mixed(part) or (part.casefold(), "")

    def _word(self, at: int, word: str) -> Said:
        if word == "I" or word.startswith(("I'", "I’")):
            return word.casefold(), ""
        if word == "A":
            following = self._core(at + 1)
            opens = self._breaks(at - 1) and following[:1].islower()
            return ("a" if opens else "A"), ""
        if len(word) == 1 and word.isascii():
            return (word if word == "a" else word.upper()), ""
        if word in INITIALISMS:
            return INITIALISMS[word], ""
        if word[0] in GREEK and (len(word) == 1 or (len(word) == 2 and word[1].isascii())):
            return f"{GREEK[word[0]]} {names.letters(word[1:])}".rstrip(), ""
        if found := _POSSESSIVE.fullmatch(word):
            said, doubt = self._word(at, found[1])
            return f"{said}'s", doubt
        if word.isupper() and word.isascii() and word.isalpha():
            if self._shouted(at) and len(word) > 1:
                return word.casefold(), ""
            return names.initials(word)
        if word == "Ti" and re.search(r"\d", self._core(at - 1)):
            return "T I", ""
        return names.mixed(word) or (word.casefold(), "")

    def _shouted(self, at: int) -> bool:
        """Whether the whole line is in capitals, where they mean nothing."""
        words = [core for core in self._cores if core.isalpha() and len(core) > 1]
        return len(words) >= 4 and all(word.isupper() for word in words)
