"""A tree of written values, held against the format's description: checked values out, problems collected.

Nothing here stops at the first fault. A value that cannot be used is left out and noted as unusable, so that
later rules do not complain about its absence too.
"""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from assembler.errors import Place, Problem
from assembler.storyboard.scalars import exact_number, kind_of, shown, whole_number
from assembler.storyboard.shapes import (
    ById,
    Choice,
    Either,
    Flag,
    Keys,
    ListOf,
    Number,
    Parsed,
    Reference,
    Shape,
    Text,
    UnfitError,
)
from assembler.storyboard.tree import Listing, Mapping, Node, Scalar

MOST_PROBLEMS = 100
_MOST_COMPARISONS = 8_000

# Words that older YAML took for truth values; here they are plain text.
_MEANT = {"yes": "true", "on": "true", "no": "false", "off": "false"}

# Tabs and line ends become spaces; the other control characters could change what a terminal shows.
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff]")


@dataclass(frozen=True, slots=True)
class Value:
    """A checked single value: text, number, truth, or what a small grammar made of it."""

    place: Place
    value: Any


@dataclass(slots=True)
class Items:
    """A checked list; `whole` is False when entries were left out as unusable."""

    place: Place
    items: list[Checked] = field(default_factory=list)
    whole: bool = True


@dataclass(slots=True)
class Fields:
    """Checked keys, in the order written. `unusable` names keys whose values were left out."""

    place: Place
    values: dict[str, Checked] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)
    unusable: set[str] = field(default_factory=set)

    def wrote(self, key: str) -> bool:
        """Whether the key was written, usable or not."""
        return key in self.places


Checked = Value | Items | Fields


class Report:
    """Collects problems: each once, sorted, and no more than a person can take in."""

    def __init__(self) -> None:
        self._found: dict[tuple[Place, str], Problem] = {}
        self._comparisons = 0

    def add(self, place: Place, what: str, mend: str = "") -> None:
        """Note a problem; the same one at the same place counts once."""
        self._found.setdefault((place, what), Problem(place, what, mend))

    def take(self, problems: Iterable[Problem]) -> None:
        """Note problems found elsewhere."""
        for problem in problems:
            assert problem.place is not None
            self.add(problem.place, problem.what, problem.mend)

    def problems(self) -> tuple[Problem, ...]:
        """All of them by place; beyond the hundredth only their number."""
        found = sorted(self._found.values(), key=lambda problem: (problem.place, problem.what))
        if len(found) <= MOST_PROBLEMS:
            return tuple(found)
        more = found[MOST_PROBLEMS:]
        rest = Problem(more[0].place, f"here and below are {len(more)} more problems", "mend the ones above first")
        return (*found[:MOST_PROBLEMS], rest)

    def nearest(self, written: str, known: Iterable[str]) -> str:
        """The known word most like the written one, or ''. Gives up in files with very many faults."""
        words = list(known)
        self._comparisons += len(words)
        if len(written) > 64 or self._comparisons > _MOST_COMPARISONS:
            return ""
        plain = {word.lower().replace("_", "-"): word for word in words}
        near = difflib.get_close_matches(written.lower().replace("_", "-"), plain, n=1, cutoff=0.6)
        return plain[near[0]] if near else ""


class Reader:
    """Reads nodes against shapes. `ids` are those written under each table of the storyboard."""

    def __init__(self, report: Report, rate: Fraction, ids: dict[str, tuple[str, ...]]) -> None:
        self.report = report
        self.rate = rate
        self.ids = ids

    def read(self, node: Node, shape: Shape, name: str, key_place: Place | None = None) -> Checked | None:
        """The checked value, or None with at least one problem noted. `name` is how messages call it."""
        kind = "list" if isinstance(node, Listing) else "keys" if isinstance(node, Mapping) else node.kind
        if kind == "null":
            self.report.add(key_place or node.place, f"{name} has no value", "write a value, or remove the line")
            return None
        if isinstance(shape, Either):
            inner = shape.for_kind(kind)
            if inner is not None:
                return self.read(node, inner, name, key_place)
        if kind not in shape.kinds:
            self._mismatch(node, shape, name)
            return None
        if isinstance(node, Listing):
            assert isinstance(shape, ListOf)
            return self._list(node, shape, name)
        if isinstance(node, Mapping):
            if isinstance(shape, Keys):
                return self._keys(node, shape, name, key_place)
            assert isinstance(shape, ById)
            return self._by_id(node, shape, name)
        return self._single(node, shape, name)

    def _mismatch(self, node: Node, shape: Shape, name: str) -> None:
        mend = f"write {shape.noun}"
        if isinstance(node, Listing):
            found = "a list"
        elif isinstance(node, Mapping):
            found = "a set of keys"
        else:
            found = f"the number {shown(node.text)}" if node.kind in ("int", "float") else shown(node.text)
            if node.kind == "text":
                found = f"the text '{found}'"
                if "bool" in shape.kinds and node.text.lower() in _MEANT:
                    mend = f"write {_MEANT[node.text.lower()]}"
            elif "text" in shape.kinds:
                mend = f'if you mean text, put it in quotes: "{shown(node.text)}"'
        self.report.add(node.place, f"{name} must be {shape.noun}, not {found}", mend)

    def _single(self, node: Scalar, shape: Shape, name: str) -> Value | None:
        try:
            return Value(node.place, self._value(node, shape, name))
        except UnfitError as fault:
            self.report.add(node.place, fault.what, fault.mend)
        return None

    def _value(self, node: Scalar, shape: Shape, name: str) -> object:
        if isinstance(shape, Text):
            return _words(node.text, shape, name)
        if isinstance(shape, Parsed):
            return shape.parse(node.text, self.rate)
        if isinstance(shape, Number):
            return _number(node.text, shape, name)
        if isinstance(shape, Flag):
            truth = node.text.lower() == "true"
            if shape.only is not None and truth is not shape.only:
                raise UnfitError(f"{name} cannot be {str(truth).lower()}", f"write {shape.noun}, or remove the line")
            return truth
        if isinstance(shape, Choice):
            words = [word for word, _ in shape.words]
            return self._known(node.text, words, f"{name} must be {shape.noun}, not '{shown(node.text)}'")
        assert isinstance(shape, Reference)
        ids = self.ids.get(shape.table, ())
        what = f"there is no {shape.table.removesuffix('s')} '{shown(node.text)}'"
        return self._known(node.text, ids, what, f"write it under `{shape.table}:` first")

    def _known(self, written: str, known: Iterable[str], what: str, otherwise: str = "") -> str:
        words = tuple(known)
        if written in words:
            return written
        near = self.report.nearest(written, words)
        if near:
            raise UnfitError(what, f"did you mean '{near}'?")
        if otherwise and words and len(words) <= 8:
            otherwise = f"there are: {', '.join(shown(word) for word in words)}"
        raise UnfitError(what, otherwise or f"write one of: {', '.join(words)}")

    def _list(self, node: Listing, shape: ListOf, name: str) -> Items | None:
        count = len(node.items)
        if not shape.least <= count <= shape.most:
            holds = f"holds {count}" if count else "is empty"
            limit = f"at least {shape.least}" if count < shape.least else f"at most {shape.most}"
            self.report.add(node.place, f"{name} must be {shape.noun}; this one {holds}", f"it takes {limit}")
        items = Items(node.place, whole=shape.least <= count <= shape.most)
        for position, item in enumerate(node.items[: shape.most], start=1):
            checked = self.read(item, shape.item, _entry_name(item, position, name))
            if checked is None:
                items.whole = False
            else:
                items.items.append(checked)
        return items

    def _keys(self, node: Mapping, shape: Keys, name: str, key_place: Place | None) -> Fields:
        fields = Fields(node.place)
        unknown: list[str] = []
        for written, key_node in node.keys.items():
            key = shape.key(written)
            if key is None:
                unknown.append(written)
                continue
            fields.places[written] = key_node.place
            checked = self.read(node.values[written], key.shape, f"`{written}`", key_node.place)
            if checked is None:
                fields.unusable.add(written)
            else:
                fields.values[written] = checked
        names = [known.name for known in shape.keys]
        strange = [written for written in unknown if not self.report.nearest(written, names)]
        for text, keys in _torn_texts(node, strange):
            what = f"a comma ends a value inside {{…}}, so `{shown(keys[0])}` is read as a key of its own"
            quoted = json.dumps(text, ensure_ascii=False)
            self.report.add(node.keys[keys[0]].place, what, f"put the text in quotes: {shown(quoted, 120)}")
            unknown = [written for written in unknown if written not in keys]
        meant = {self._unknown(node.keys[written], shape, fields) for written in unknown}
        self._missing(shape, fields, name, key_place or node.place, meant)
        return fields

    def _unknown(self, key: Scalar, shape: Keys, fields: Fields) -> str:
        """Note a key that does not exist; returns the one probably meant."""
        names = [known.name for known in shape.keys]
        if key.text == "<<":
            mend = "keys are not merged into one another here; write them out, or repeat a whole part with '*'"
            self.report.add(key.place, "'<<' is not a key", mend)
            return ""
        near = self.report.nearest(key.text, [known for known in names if not fields.wrote(known)])
        mend = f"did you mean `{near}`?" if near else f"keys that can stand here: {', '.join(names)}"
        self.report.add(key.place, f"there is no key `{shown(key.text)}` here", mend)
        return near

    def _missing(self, shape: Keys, fields: Fields, name: str, place: Place, meant: set[str]) -> None:
        for key in shape.keys:
            if key.required and not fields.wrote(key.name) and key.name not in meant:
                what, mend = key.missing or (
                    f"{name} has no `{key.name}`",
                    f"add `{key.name}:` with {key.shape.noun}",
                )
                self.report.add(place, what, mend)
        for rule, names in (("one", shape.one_of), ("both", shape.not_both), ("some", shape.some_of)):
            written = [key for key in names if fields.wrote(key)]
            if rule != "some" and len(written) > 1:
                second = max(written, key=lambda key: fields.places[key])
                both = " and ".join(f"`{key}`" for key in sorted(written, key=lambda key: fields.places[key]))
                what = f"{name} has {both}, which exclude each other"
                self.report.add(fields.places[second], what, "keep one of them")
            elif rule != "both" and names and not written and not meant & set(names):
                listed = ", ".join(f"`{key}`" for key in names)
                wanted = f"none of {listed}" if len(names) > 1 else f"no {listed}"
                self.report.add(place, f"{name} has {wanted}", "add one of them" if len(names) > 1 else "add it")

    def _by_id(self, node: Mapping, shape: ById, name: str) -> Fields:
        fields = Fields(node.place)
        if len(node.keys) > shape.most:
            self.report.add(node.place, f"{name} holds {len(node.keys)} entries", f"it takes at most {shape.most}")
        for written, key_node in list(node.keys.items())[: shape.most]:
            if not shape.id_pattern.fullmatch(written):
                self.report.add(key_node.place, f"'{shown(written)}' cannot be {shape.id_noun}", shape.id_rule)
            fields.places[written] = key_node.place
            checked = self.read(node.values[written], shape.item, f"'{shown(written)}'", key_node.place)
            if checked is None:
                fields.unusable.add(written)
            else:
                fields.values[written] = checked
        return fields


def _entry_name(item: Node, position: int, name: str) -> str:
    """How messages call an entry of a list: by its own id where it has one."""
    own = item.values.get("id") if isinstance(item, Mapping) else None
    called = f"'{shown(own.text)}'" if isinstance(own, Scalar) else str(position)
    return f"entry {called} of {name}"


def _words(text: str, shape: Text, name: str) -> str:
    """Text fit to show and speak: no control characters, blank space tidied."""
    if _CONTROL.search(text):
        mend = "remove it; inside double quotes, write \\\\ for a backslash"
        raise UnfitError(f"{name} holds a control character: '{shown(text)}'", mend)
    tidy = "\n".join(" ".join(line.split()) for line in text.splitlines()).strip("\n")
    if not shape.lines:
        tidy = " ".join(tidy.split())
    if not tidy and not shape.may_be_empty:
        raise UnfitError(f"{name} is empty", f"write {shape.noun}, or remove the line")
    if len(tidy) > shape.longest:
        raise UnfitError(f"{name} is {len(tidy)} characters long", f"it takes at most {shape.longest}")
    return tidy


def _number(text: str, shape: Number, name: str) -> int | Fraction:
    try:
        number = whole_number(text) if kind_of(text) == "int" else exact_number(text)
    except ValueError as error:
        raise UnfitError(f"{name} cannot be {shown(text)}, which {error}", f"write {shape.noun}") from error
    if shape.whole and number != int(number):
        raise UnfitError(f"{name} must be {shape.noun}, not {shown(text)}", f"write {round(number)}")
    low = shape.least is not None and number < Fraction(str(shape.least))
    high = shape.most is not None and number > Fraction(str(shape.most))
    if low or high or (shape.above is not None and number <= shape.above):
        limits = f"from {shape.least}" if shape.above is None else f"above {shape.above}"
        mend = shape.hint or f"write a number {limits} to {shape.most}"
        raise UnfitError(f"{name} cannot be {shown(text)}", mend)
    return int(number) if shape.whole else number


def _torn_texts(node: Mapping, unknown: Sequence[str]) -> list[tuple[str, list[str]]]:
    """Texts that commas have torn, as they were meant, and the keys without values that their pieces became."""
    found: list[tuple[str, list[str]]] = []
    text, line, keys = "", 0, list[str]()
    for written, key in node.keys.items():
        value = node.values[written]
        if text and written in unknown and key.place.line == line and isinstance(value, Scalar) and not value.text:
            text, keys = f"{text}, {written}", [*keys, written]
            continue
        if keys:
            found.append((text, keys))
        text = value.text if isinstance(value, Scalar) and value.kind == "text" else ""
        line, keys = key.place.line, []
    return [*found, (text, keys)] if keys else found
