"""Whatever is done to a storyboard's bytes, reading gives a storyboard or a StoryboardError, and soon."""

from __future__ import annotations

import json
import random

from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from sound_storyboards import LONG, SOUND

from assembler.errors import StoryboardError
from assembler.storyboard import Storyboard, json_schema, read_storyboard
from assembler.storyboard.source import decode
from assembler.storyboard.tree import MOST_BYTES, grow, plain

_PIECES = [
    *(b"\t", b"\x00", b"\xff", b"[", b"]", b"{", b"}", b"'", b'"', b": ", b"- ", b"&a ", b"*a", b"!x ", b"|\n", b"~"),
    *(b"\n", b"\r", b"#", b"-1", b"0", b".inf", b"1e999999999", b"\xc2\x85", b"%", b"---\n", b"<<: ", b"? ", b"true"),
]


def outcome(data: bytes | str) -> str:
    try:
        story = read_storyboard(data, "s.yaml")
    except StoryboardError as error:
        assert error.problems
        for problem in error.problems:
            assert problem.place is not None
            assert problem.place.line >= 1
            assert problem.place.column >= 1
            assert problem.what
            str(problem).encode()  # no half characters
        places = [problem.place for problem in error.problems if problem.place]
        assert places == sorted(places)
        return "refused"
    assert isinstance(story, Storyboard)
    return "read"


def _mutated(chance: random.Random, data: bytes) -> bytes:
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        at, length = chance.randrange(len(data)), chance.choice((0, 1, 1, 2, 8, 40))
        new = chance.choice([*_PIECES, bytes([chance.randrange(256)]), data[at : at + chance.randint(1, 60)]])
        data = data[:at] + new + data[at + length :]
    return data


def test_random_changes_of_bytes_never_break_the_reader() -> None:
    # The seed is fixed so that a failure can be repeated; both outcomes must occur or the changes prove nothing.
    chance = random.Random(20)
    texts = [_mutated(chance, LONG.encode()) for _ in range(400)]
    seen = [outcome(text) for text in texts]
    assert seen.count("refused") > 100
    assert seen.count("read") > 10
    # What the loader reads, the schema accepts: it must never be the stricter of the two.
    validator = Draft202012Validator(json_schema())
    for text in (text for text, result in zip(texts, seen, strict=True) if result == "read"):
        tree, _ = grow(decode(text, "s.yaml", MOST_BYTES))
        assert [error.message for error in validator.iter_errors(plain(tree))] == []


def test_every_beginning_of_a_storyboard_is_read_or_refused() -> None:
    for text in SOUND.values():
        for end in range(0, len(text), 7):
            outcome(text[:end])


def test_leaving_out_any_line_is_read_or_refused() -> None:
    lines = LONG.splitlines(keepends=True)
    for number in range(len(lines)):
        outcome("".join(lines[:number] + lines[number + 1 :]))


_LEAF = st.one_of(
    st.none(), st.booleans(), st.integers(-9, 99), st.floats(allow_nan=False), st.text(max_size=8),
    st.sampled_from(["ash-quay", "9 s", "fit", "30 f", "a.mp4", "opening", "1280x720"]),
)
_KEYS = st.sampled_from(
    [
        *("storyboard", "title", "canvas", "segments", "show", "say", "full", "split", "panes", "capture", "captures"),
        *("file", "id", "lasts", "card", "table", "rows", "columns", "line-up", "with", "offset", "freeze", "crop"),
        "x",
    ]
)
_TREE = st.recursive(
    _LEAF,
    lambda below: st.one_of(st.lists(below, max_size=3), st.dictionaries(_KEYS, below, max_size=4)),
    max_leaves=20,
)


@settings(max_examples=150, deadline=None, database=None)
@given(st.dictionaries(_KEYS, _TREE, max_size=6))
def test_known_keys_in_any_order_and_with_any_value_never_break_the_reader(tree: dict[str, object]) -> None:
    # JSON is YAML (YAML 1.2.2, section 1.2), so json.dumps writes the storyboard.
    outcome(json.dumps(tree))


@settings(max_examples=150, deadline=None, database=None)
@given(st.binary(max_size=60))
def test_any_bytes_never_break_the_reader(data: bytes) -> None:
    outcome(data)
    outcome(b"storyboard: 1\ntitle: " + data)
