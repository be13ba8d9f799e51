"""`explain`: what a key of the storyboard is, what it takes, and what can stand beneath it.

A key's path is its names joined with dots, without ids and positions: `captures.line-up`, `segments.show.split.line`.
"""

from __future__ import annotations

import difflib
import json
import re
import textwrap
from collections.abc import Iterator
from typing import Any

from assembler.errors import UsageError
from assembler.storyboard.keys import STORYBOARD
from assembler.storyboard.scalars import shown
from assembler.storyboard.shapes import Choice, Either, Key, Keys, ListOf, Number, Parsed, Shape, inner, keys_within

_WIDTH = 88
_DEEPEST = 8


def explain(key_path: str) -> str:
    """Readable text about one key; '' explains the whole storyboard.

    Raises UsageError, with the most similar path, when there is no such key.
    """
    written = re.sub(r"\[[^\]]*\]", "", key_path.strip()).strip(".")
    if not written:
        return _page("storyboard", STORYBOARD.about, None, STORYBOARD)
    names = written.split(".")
    shape: Shape = STORYBOARD
    key: Key | None = None
    for name in names:
        key = next((found for keys in keys_within(shape) if (found := keys.key(name))), None)
        if key is None:
            raise _unknown(written)
        shape = key.shape
    assert key is not None
    return _page(written, key.about, key, shape)


def key_paths() -> tuple[str, ...]:
    """Every path that `explain` answers, in the order of the format."""
    return tuple(_paths(STORYBOARD, "", 0))


def _paths(shape: Shape, above: str, depth: int) -> Iterator[str]:
    if depth > _DEEPEST:
        return
    for keys in keys_within(shape):
        for key in keys.keys:
            path = f"{above}{key.name}"
            yield path
            yield from _paths(key.shape, f"{path}.", depth + 1)


def _unknown(written: str) -> UsageError:
    paths = list(dict.fromkeys(key_paths()))
    last = written.rsplit(".", 1)[-1]
    same_end = [path for path in paths if path.rsplit(".", 1)[-1] == last]
    near = difflib.get_close_matches(written[:200], same_end or paths, n=1, cutoff=0.0 if same_end else 0.5)
    mend = f"did you mean `{near[0]}`?" if near else "`explain` without a key lists the keys at the top"
    return UsageError(f"the storyboard has no key `{shown(written)}`", mend=mend)


def _page(path: str, about: str, key: Key | None, shape: Shape) -> str:
    parts = [path, _filled(about, "  ")]
    facts = [("takes", takes) for takes in _takes(shape)]
    if key is not None:
        facts.append(("default", key.default or ("none: it must be written" if key.required else "none")))
        facts += [("example", _example(key, example)) for example in key.examples]
    if facts:
        parts.append("\n".join(_fact(label, text) for label, text in facts))
    for choice in _choices(shape):
        lines = [_fact(word, meaning) for word, meaning in choice.words]
        parts.append("  words it can be:\n" + _indented(lines))
    below_here = {keys.name: keys for keys in keys_within(shape)}
    for keys in below_here.values():
        lines = [_fact(below.name + ("*" if below.required else ""), below.about) for below in keys.keys]
        rule = _rule(keys)
        of = f"of `{keys.name}`" if len(below_here) > 1 else "below"
        parts.append(_filled(f"keys {of} (* must be written){rule}:", "  ") + "\n" + _indented(lines))
    return "\n\n".join(parts) + "\n"


def _rule(keys: Keys) -> str:
    if len(keys.one_of) > 1:
        return f"; exactly one of {', '.join(keys.one_of)}"
    if keys.not_both:
        return f"; not both of {' and '.join(keys.not_both)}"
    if keys.some_of:
        return f"; at least one of {', '.join(keys.some_of)}"
    return ""


def _takes(shape: Shape) -> Iterator[str]:
    if isinstance(shape, Either):
        for one in shape.shapes:
            yield from _takes(one)
        return
    limits = ""
    if isinstance(shape, Number) and not any(letter.isdigit() for letter in shape.noun):
        ends = (shape.least, shape.most)
        limits = f" from {ends[0]} to {ends[1]}" if None not in ends else ""
    if isinstance(shape, ListOf) and shape.noun == "a list":
        limits = f" of up to {shape.most}: {shape.item.noun}"
    yield shape.noun + limits


def _choices(shape: Shape) -> Iterator[Choice]:
    if isinstance(shape, Choice):
        yield shape
    elif not isinstance(shape, Keys | Parsed):
        for part in inner(shape):
            yield from _choices(part)


def _example(key: Key, example: Any) -> str:
    return f"{key.name}: {_flow(example)}"


def _flow(value: Any) -> str:
    """A value as one line of YAML."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{name}: {_flow(item)}" for name, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_flow(item) for item in value) + "]"
    if isinstance(value, str):
        bare = re.fullmatch(r"[A-Za-z0-9-][^:#,\[\]{}\"']*|[A-Za-z0-9-][\w:/.-]*", value)
        return value if bare else json.dumps(value)
    return json.dumps(value)


def _indented(lines: list[str]) -> str:
    return textwrap.indent("\n".join(lines), "  ")


def _filled(text: str, indent: str) -> str:
    return textwrap.fill(text, _WIDTH, initial_indent=indent, subsequent_indent=indent)


def _fact(label: str, text: str) -> str:
    start = f"  {label:<14}"
    start = start if start.endswith(" ") else start + "  "
    return textwrap.fill(text, _WIDTH, initial_indent=start, subsequent_indent=" " * 16, break_long_words=False,
                         break_on_hyphens=False)
