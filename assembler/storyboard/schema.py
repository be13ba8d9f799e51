"""The storyboard's JSON Schema (draft 2020-12), for editors and other programs.

It says all that a schema can: keys, kinds, limits, choices, patterns. Rules that look at several places of a
storyboard, such as whether an id exists, are the loader's alone.
The file beside this module holds the same text; `write_shipped_file` renews it after a change of the format.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from assembler.storyboard.keys import FORMAT_VERSION, STORYBOARD
from assembler.storyboard.shapes import (
    ID_PATTERN,
    ById,
    Choice,
    Either,
    Flag,
    Key,
    Keys,
    ListOf,
    Number,
    Parsed,
    Reference,
    Shape,
    Text,
)

SHIPPED_FILE = Path(__file__).with_name("storyboard.schema.json")
SCHEMA_ID = f"urn:assembler:storyboard:{FORMAT_VERSION}"


def json_schema() -> dict[str, Any]:
    """The whole schema as plain dicts and lists."""
    shared: dict[str, Any] = {}
    top = _keys(STORYBOARD, shared)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": SCHEMA_ID,
        **top,
        "$defs": dict(sorted(shared.items())),
    }


def schema_text() -> str:
    """The schema as the text of the shipped file."""
    return json.dumps(json_schema(), indent=2, ensure_ascii=False) + "\n"


def write_shipped_file() -> None:
    """Write the schema beside this module."""
    SHIPPED_FILE.write_text(schema_text(), encoding="utf-8")


def _shape(shape: Shape, shared: dict[str, Any]) -> dict[str, Any]:
    if isinstance(shape, Keys):
        return _shared(shape.name, shared, lambda: _keys(shape, shared))
    if isinstance(shape, Either):
        return {"anyOf": [_shape(one, shared) for one in shape.shapes]}
    if isinstance(shape, ListOf):
        limits = {"minItems": shape.least} if shape.least else {}
        return {"type": "array", "items": _shape(shape.item, shared), **limits, "maxItems": shape.most}
    if isinstance(shape, ById):
        names = {"pattern": f"^({shape.id_pattern.pattern})$"}
        items = _shape(shape.item, shared)
        return {"type": "object", "propertyNames": names, "additionalProperties": items, "maxProperties": shape.most}
    if isinstance(shape, Parsed):
        return _shared(shape.name, shared, lambda: dict(shape.schema)) if shape.name else dict(shape.schema)
    return _leaf(shape)


def _shared(name: str, shared: dict[str, Any], make: Any) -> dict[str, Any]:
    """A reference to a definition that is written once."""
    if name not in shared:
        shared[name] = {}  # stands in for it while its own parts are made
        shared[name] = make()
    return {"$ref": f"#/$defs/{name}"}


def _leaf(shape: Shape) -> dict[str, Any]:
    if isinstance(shape, Text):
        # The longest text is counted after blank space is tidied, which a schema cannot say.
        visible = {} if shape.may_be_empty else {"pattern": "\\S"}
        return {"type": ["string", "number"], **visible} if shape.figures else {"type": "string", **visible}
    if isinstance(shape, Number):
        limits = {"minimum": shape.least, "maximum": shape.most, "exclusiveMinimum": shape.above}
        given = {name: limit for name, limit in limits.items() if limit is not None}
        return {"type": "integer" if shape.whole else "number", **given}
    if isinstance(shape, Flag):
        return {"type": "boolean"} if shape.only is None else {"const": shape.only}
    if isinstance(shape, Choice):
        return {"oneOf": [{"const": word, "description": meaning} for word, meaning in shape.words]}
    assert isinstance(shape, Reference)
    return {"type": "string", "pattern": f"^{ID_PATTERN.pattern}$"}


def _keys(shape: Keys, shared: dict[str, Any]) -> dict[str, Any]:
    made: dict[str, Any] = {
        "title": shape.name,
        "description": shape.about,
        "type": "object",
        "properties": {key.name: _key(key, shared) for key in shape.keys},
        "additionalProperties": False,
    }
    if required := [key.name for key in shape.keys if key.required]:
        made["required"] = required
    if shape.one_of:
        made["oneOf"] = [{"required": [name]} for name in shape.one_of]
    if shape.not_both:
        made["not"] = {"required": list(shape.not_both)}
    if shape.some_of:
        made["anyOf"] = [{"required": [name]} for name in shape.some_of]
    return made


def _key(key: Key, shared: dict[str, Any]) -> dict[str, Any]:
    described: dict[str, Any] = {"title": key.name, "description": key.about, **_shape(key.shape, shared)}
    if key.gives is not None:
        described["default"] = key.gives
    described["examples"] = list(key.examples)
    return described
