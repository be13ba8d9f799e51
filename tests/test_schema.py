"""The JSON Schema: what is shipped is what is made, and it agrees with the loader."""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import pytest
from broken_storyboards import BROKEN, Broken
from jsonschema import Draft202012Validator
from sound_storyboards import SOUND

from assembler.storyboard import explain, json_schema, read_storyboard
from assembler.storyboard.keys import STORYBOARD
from assembler.storyboard.reader import Reader, Report
from assembler.storyboard.schema import SHIPPED_FILE, schema_text
from assembler.storyboard.shapes import Key, Keys, Shape, inner
from assembler.storyboard.source import decode
from assembler.storyboard.tree import MOST_BYTES, grow, plain

VALIDATOR = Draft202012Validator(json_schema())
HELD_AGAINST_SCHEMA = [broken for broken in BROKEN if broken.schema is not None]


def data(text: str) -> object:
    tree, _ = grow(decode(text, "s.yaml", MOST_BYTES))
    return plain(tree)


def test_the_shipped_schema_is_the_one_made_from_the_description() -> None:
    assert SHIPPED_FILE.read_text(encoding="utf-8") == schema_text()
    assert json.loads(schema_text()) == json_schema()


def test_the_schema_is_a_sound_schema_with_a_versioned_name() -> None:
    # Source: the meta-schema of JSON Schema draft 2020-12, as shipped with the jsonschema library.
    Draft202012Validator.check_schema(json_schema())
    assert json_schema()["$id"] == "urn:assembler:storyboard:1"
    assert json_schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize("text", SOUND.values(), ids=list(SOUND))
def test_the_schema_accepts_what_the_loader_accepts(text: str) -> None:
    read_storyboard(text, "s.yaml")
    assert [error.message for error in VALIDATOR.iter_errors(data(text))] == []


@pytest.mark.parametrize("broken", HELD_AGAINST_SCHEMA, ids=lambda broken: broken.name)
def test_the_schema_sees_the_faults_that_a_schema_can_see(broken: Broken) -> None:
    # The loader refuses every one of these (test_storyboard_broken.py); the table says which a schema must refuse too.
    assert bool(list(VALIDATOR.iter_errors(data(broken.text)))) is broken.schema


def test_the_table_holds_faults_of_both_sorts() -> None:
    assert sum(broken.schema is True for broken in BROKEN) >= 40
    assert sum(broken.schema is False for broken in BROKEN) >= 10


def all_keys(shape: Shape, above: str = "", seen: frozenset[str] = frozenset()) -> Iterator[tuple[str, Key]]:
    if isinstance(shape, Keys):
        for key in shape.keys:
            path = f"{above}.{key.name}".lstrip(".")
            yield path, key
            yield from all_keys(key.shape, path)
    else:
        for part in inner(shape):
            yield from all_keys(part, above)


KEYS = dict(all_keys(STORYBOARD))


def test_every_property_has_a_title_a_description_and_an_example() -> None:
    def properties(node: Any) -> Iterator[dict[str, Any]]:
        if isinstance(node, dict):
            yield from (node.get("properties") or {}).values()
            for below in node.values():
                yield from properties(below)
        elif isinstance(node, list):
            for below in node:
                yield from properties(below)

    found = list(properties(json_schema()))
    assert len(found) > 60
    for described in found:
        assert described["title"]
        assert described["description"].endswith(".")
        assert described["examples"]


@pytest.mark.parametrize("path", KEYS)
def test_the_examples_and_defaults_of_a_key_satisfy_its_schema(path: str) -> None:
    # Each example is held against the very part of the schema that describes its key.
    key = KEYS[path]
    described = next(
        part["properties"][key.name]
        for part in [json_schema(), *json_schema()["$defs"].values()]
        if part.get("properties", {}).get(key.name, {}).get("description") == key.about
    )
    validator = Draft202012Validator({"$defs": json_schema()["$defs"], **described})
    for value in (*key.examples, *([] if key.gives is None else [key.gives])):
        assert list(validator.iter_errors(value)) == []


@pytest.mark.parametrize("path", KEYS)
def test_the_examples_of_a_key_are_read_by_the_loader(path: str) -> None:
    # The ids are those that the examples speak of; JSON is YAML (YAML 1.2.2, section 1.2).
    ids: dict[str, tuple[str, ...]] = {"subjects": ("ash", "birch"), "captures": ("ash-quay", "birch-quay")}
    key = KEYS[path]
    for example in key.examples:
        report = Report()
        tree, _ = grow(decode(json.dumps(example), "s.yaml", MOST_BYTES))
        assert Reader(report, Fraction(60), ids).read(tree, key.shape, path) is not None
        assert report.problems() == ()


def test_every_key_can_be_explained() -> None:
    for path, key in KEYS.items():
        text = explain(path)
        assert text.startswith(path + "\n")
        assert " ".join(key.about.split()) in " ".join(text.split())
        assert max(len(line) for line in text.splitlines()) <= 100
