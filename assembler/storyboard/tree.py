"""YAML text to a tree of values that know their places, with limits kept before anything is built.

PyYAML's parser (libyaml where the installation has it) turns the text into events; the tree is grown from the
events in one loop, so deep nesting cannot exhaust the stack and every limit stops the reading at once.
Read as YAML 1.2: one document, core scalars, no merge keys, no tags but the core ones.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NoReturn

import yaml

from assembler.errors import Place, Problem, StoryboardError
from assembler.storyboard.scalars import ScalarKind, kind_of, shown
from assembler.storyboard.source import SourceText
from assembler.storyboard.syntax import in_plain_words

MOST_BYTES = 4 * 1024 * 1024
DEEPEST = 64
MOST_VALUES = 50_000
"""Values after every alias has been replaced by what it stands for."""

_CORE = "tag:yaml.org,2002:"


@dataclass(frozen=True, slots=True)
class Scalar:
    """A single word, number or text. `text` is as written, without quotes."""

    place: Place
    text: str
    kind: ScalarKind


@dataclass(slots=True)
class Listing:
    """A list, in order."""

    place: Place
    items: list[Node] = field(default_factory=list)


@dataclass(slots=True)
class Mapping:
    """Keys with values, in the order written; keys are unique."""

    place: Place
    keys: dict[str, Scalar] = field(default_factory=dict)
    values: dict[str, Node] = field(default_factory=dict)


Node = Scalar | Listing | Mapping


@dataclass(slots=True)
class _Open:
    """A list or mapping still being filled."""

    node: Listing | Mapping
    anchor: str | None
    weight: int = 1
    key: Scalar | None = None


def grow(source: SourceText) -> tuple[Node, list[Problem]]:
    """The tree of one storyboard, and the problems that did not stop the reading (repeated keys).

    Raises StoryboardError, with one problem, where the text cannot be read on.
    """
    return _Grower(source).grow()


class _Grower:
    def __init__(self, source: SourceText) -> None:
        self.source = source
        self.problems: list[Problem] = []
        self.open: list[_Open] = []
        self.root: Node | None = None
        self.named: dict[str, tuple[Node, int]] = {}  # anchors, with the number of values each stands for
        self.total = 0

    def grow(self) -> tuple[Node, list[Problem]]:
        try:
            for event in self._events():
                self._take(event)
        except yaml.MarkedYAMLError as error:
            raise StoryboardError([in_plain_words(error, self.source)]) from error
        except yaml.YAMLError as error:
            raise StoryboardError([Problem(self.source.place(0, 0), "this file cannot be read as YAML")]) from error
        if self.root is None:
            self._stop(self.source.place(0, 0), "the storyboard is empty", "begin it with the line: storyboard: 1")
        return self.root, self.problems

    def _events(self) -> Iterator[yaml.Event]:
        loader = yaml.CSafeLoader if yaml.__with_libyaml__ else yaml.SafeLoader
        return iter(yaml.parse(self.source.text, Loader=loader))

    def _stop(self, place: Place, what: str, mend: str) -> NoReturn:
        raise StoryboardError([Problem(place, what, mend)])

    def _take(self, event: yaml.Event) -> None:
        mark = event.start_mark
        assert mark is not None
        place = self.source.place(mark.line, mark.column)
        if isinstance(event, yaml.ScalarEvent):
            self._close_leaf(self._scalar(event, place), event.anchor, place)
        elif isinstance(event, yaml.SequenceStartEvent | yaml.MappingStartEvent):
            self._start(event, place)
        elif isinstance(event, yaml.SequenceEndEvent | yaml.MappingEndEvent):
            done = self.open.pop()
            self._put(done.node, done.weight, done.anchor)
        elif isinstance(event, yaml.AliasEvent):
            self._alias(event, place)
        elif isinstance(event, yaml.DocumentStartEvent):
            if self.root is not None:
                mend = "keep one storyboard a file; remove the line with ---"
                self._stop(place, "a second document begins here", mend)
            if event.version == (1, 1):
                self._stop(place, "this file asks for the rules of YAML 1.1", "remove the line %YAML 1.1")

    def _scalar(self, event: yaml.ScalarEvent, place: Place) -> Scalar:
        text: str = event.value
        tag: str | None = event.tag
        if tag is None:
            return Scalar(place, text, kind_of(text) if event.implicit[0] else "text")
        if tag in ("!", _CORE + "str"):
            return Scalar(place, text, "text")
        kind = kind_of(text)
        if tag != _CORE + kind and not (tag == _CORE + "float" and kind == "int"):
            self._refuse_tag(tag, place)
        return Scalar(place, text, kind)

    def _refuse_tag(self, tag: str, place: Place) -> NoReturn:
        written = "!!" + tag.removeprefix(_CORE) if tag.startswith(_CORE) else tag
        what = f"'{shown(written)}' cannot be used here: a storyboard holds only text, numbers, lists and keys"
        self._stop(place, what, "remove the word that begins with '!', or put the whole value in quotes")

    def _start(self, event: yaml.SequenceStartEvent | yaml.MappingStartEvent, place: Place) -> None:
        mapping = isinstance(event, yaml.MappingStartEvent)
        if event.tag not in (None, "!", _CORE + ("map" if mapping else "seq")):
            self._refuse_tag(str(event.tag), place)
        if self.open and isinstance(self.open[-1].node, Mapping) and self.open[-1].key is None:
            self._stop(place, "a key must be a word, not a list or a set of keys", "write a plain word before the ':'")
        if len(self.open) >= DEEPEST:
            what = f"lists and keys are nested more than {DEEPEST} deep here"
            self._stop(place, what, "a storyboard needs about ten levels; look for brackets that were never closed")
        self._count(1, place)
        self.open.append(_Open(Mapping(place) if mapping else Listing(place), event.anchor))
        if event.anchor is not None:
            self.named.pop(event.anchor, None)

    def _count(self, weight: int, place: Place) -> None:
        self.total += weight
        if self.total > MOST_VALUES:
            what = f"the storyboard holds more than {MOST_VALUES:,} values here, counting each repeat made with '*'"
            self._stop(place, what, "split it into several storyboards, or repeat fewer parts with '*'")

    def _close_leaf(self, node: Scalar, anchor: str | None, place: Place) -> None:
        self._count(1, place)
        self._put(node, 1, anchor)

    def _alias(self, event: yaml.AliasEvent, place: Place) -> None:
        name = str(event.anchor)
        if any(part.anchor == name for part in self.open) and name not in self.named:
            what = f"'*{shown(name)}' repeats a part from inside itself, without end"
            self._stop(place, what, "write that part out here instead")
        if name not in self.named:
            what = f"'*{shown(name)}' repeats a part that was never named"
            self._stop(place, what, f"name the part with '&{shown(name)}' above, or put plain text in quotes")
        node, weight = self.named[name]
        self._count(weight, place)
        self._put(node, weight, None)

    def _put(self, node: Node, weight: int, anchor: str | None) -> None:
        if anchor is not None:
            self.named[anchor] = (node, weight)
        if not self.open:
            self.root = node
            return
        parent = self.open[-1]
        parent.weight += weight
        if isinstance(parent.node, Listing):
            parent.node.items.append(node)
        elif parent.key is None:
            if not isinstance(node, Scalar):
                self._stop(node.place, "a key must be a word", "write a plain word before the ':'")
            parent.key = node
        else:
            self._enter(parent.node, parent.key, node)
            parent.key = None

    def _enter(self, mapping: Mapping, key: Scalar, value: Node) -> None:
        first = mapping.keys.get(key.text)
        if first is None:
            mapping.keys[key.text] = key
            mapping.values[key.text] = value
            return
        what = f"the key '{shown(key.text)}' is written twice, on lines {first.place.line} and {key.place.line}"
        if first.place.line == key.place.line:
            what = f"the key '{shown(key.text)}' is written twice on this line"
        self.problems.append(Problem(key.place, what, "keep one of them"))


def plain(node: Node) -> object:
    """The tree as dicts, lists, text, numbers, true/false and None, as a JSON reader would give it.

    Expects a tree whose numbers have been read without a problem.
    """
    if isinstance(node, Listing):
        return [plain(item) for item in node.items]
    if isinstance(node, Mapping):
        return {key: plain(value) for key, value in node.values.items()}
    if node.kind == "null":
        return None
    if node.kind == "bool":
        return node.text.lower() == "true"
    if node.kind == "int":
        return int(node.text, 0) if node.text[:2] in ("0o", "0x") else int(node.text)
    if node.kind == "float":
        return float(node.text.lower().replace(".inf", "inf").replace(".nan", "nan"))
    return node.text
