"""The vocabulary in which the storyboard's format is described.

From one description (`keys.py`) come the reader, the JSON Schema and the explanations, so they cannot disagree.
A shape says which kinds of value it takes (`kinds`), what people call it (`noun`) and how it is limited.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

TEXT, INT, FLOAT, BOOL, LIST, KEYS = "text", "int", "float", "bool", "list", "keys"

ID_PATTERN = re.compile(r"[A-Za-z0-9_-]{1,64}")

Parse = Callable[[str, Fraction], object]
"""Written text and the canvas rate to a value. Raises `UnfitError`."""


class UnfitError(ValueError):
    """A value that does not fit its shape: what is wrong and how to mend it. Never leaves the reader."""

    def __init__(self, what: str, mend: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.mend = mend


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """A kind of value. `noun` reads after 'must be'."""

    noun: str

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds of written value this shape takes."""
        raise NotImplementedError


@dataclass(frozen=True, slots=True, kw_only=True)
class Text(Shape):
    """Words to show or speak. Numbers are taken as written where `figures` is set."""

    longest: int = 500
    may_be_empty: bool = False
    lines: bool = False
    figures: bool = False

    @property
    def kinds(self) -> tuple[str, ...]:
        return (TEXT, INT, FLOAT) if self.figures else (TEXT,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Parsed(Shape):
    """Something with a grammar of its own, such as a time. `schema` says as much of it as JSON Schema can."""

    parse: Parse
    schema: dict[str, Any]
    name: str = ""
    takes: tuple[str, ...] = (TEXT,)

    @property
    def kinds(self) -> tuple[str, ...]:
        return self.takes


@dataclass(frozen=True, slots=True, kw_only=True)
class Number(Shape):
    """A number within limits, ends included unless `above` is given. Exact: read through its digits."""

    whole: bool = False
    least: int | float | None = None
    most: int | float | None = None
    above: int | None = None
    hint: str = ""

    @property
    def kinds(self) -> tuple[str, ...]:
        return (INT, FLOAT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag(Shape):
    """true or false, or only one of the two."""

    only: bool | None = None

    @property
    def kinds(self) -> tuple[str, ...]:
        return (BOOL,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice(Shape):
    """One word out of several; each with what it means."""

    words: tuple[tuple[str, str], ...]

    @property
    def kinds(self) -> tuple[str, ...]:
        return (TEXT,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference(Shape):
    """The id of something written elsewhere in the storyboard under the key `table`."""

    table: str

    @property
    def kinds(self) -> tuple[str, ...]:
        return (TEXT,)


@dataclass(frozen=True, slots=True, kw_only=True)
class ListOf(Shape):
    """Between `least` and `most` of one shape."""

    item: Shape
    least: int = 0
    most: int = 1000

    @property
    def kinds(self) -> tuple[str, ...]:
        return (LIST,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a mapping. `default` is worded for people; `gives` is the value the schema states."""

    name: str
    shape: Shape
    about: str
    examples: tuple[Any, ...]
    default: str = ""
    gives: Any = None
    required: bool = False
    missing: tuple[str, str] | None = None  # what and mend when a required key needs more said than its name


@dataclass(frozen=True, slots=True, kw_only=True)
class Keys(Shape):
    """A set of named keys. `name` is its short name in the schema.

    `one_of`: exactly one of these must be written; `not_both`: at most one; `some_of`: at least one.
    """

    name: str
    about: str
    keys: tuple[Key, ...]
    one_of: tuple[str, ...] = ()
    not_both: tuple[str, ...] = ()
    some_of: tuple[str, ...] = ()

    @property
    def kinds(self) -> tuple[str, ...]:
        return (KEYS,)

    def key(self, name: str) -> Key | None:
        """The key of that name, if there is one."""
        return next((key for key in self.keys if key.name == name), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class ById(Shape):
    """Things of one shape, each under an id that the person chooses."""

    item: Shape
    id_noun: str = "an id"
    id_pattern: re.Pattern[str] = ID_PATTERN
    id_rule: str = "use letters, digits, - and _ only, 64 at most"
    most: int = 1000

    @property
    def kinds(self) -> tuple[str, ...]:
        return (KEYS,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Either(Shape):
    """One of several shapes, told apart by the kind of value written."""

    shapes: tuple[Shape, ...]

    @property
    def kinds(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(kind for shape in self.shapes for kind in shape.kinds))

    def for_kind(self, kind: str) -> Shape | None:
        """The shape that reads this kind of value."""
        return next((shape for shape in self.shapes if kind in shape.kinds), None)


def inner(shape: Shape) -> Iterator[Shape]:
    """The shapes directly inside a shape."""
    if isinstance(shape, ListOf | ById):
        yield shape.item
    elif isinstance(shape, Either):
        yield from shape.shapes
    elif isinstance(shape, Keys):
        for key in shape.keys:
            yield key.shape


def keys_within(shape: Shape) -> Iterator[Keys]:
    """The sets of keys a person meets at this shape without naming another key first."""
    if isinstance(shape, Keys):
        yield shape
    else:
        for part in inner(shape):
            yield from keys_within(part)
