"""The YAML layer: what bare words mean, what is refused, and that hostile input is refused at once."""

from __future__ import annotations

import time
from fractions import Fraction
from itertools import pairwise

import pytest

from assembler.errors import StoryboardError
from assembler.storyboard import read_storyboard
from assembler.storyboard.scalars import exact_number, kind_of
from assembler.storyboard.source import decode
from assembler.storyboard.tree import DEEPEST, MOST_BYTES, MOST_VALUES, Mapping, grow, plain

# Source: YAML 1.2.2, section 10.3.2, the table of patterns (checked by hand against each row).
CORE = [
    ("null", "null"),
    ("Null", "null"),
    ("NULL", "null"),
    ("~", "null"),
    ("", "null"),
    ("nULL", "text"),
    ("true", "bool"),
    ("True", "bool"),
    ("FALSE", "bool"),
    ("tRUE", "text"),
    ("0", "int"),
    ("-19", "int"),
    ("+12", "int"),
    ("010", "int"),
    ("0o7", "int"),
    ("0o8", "text"),
    ("-0o7", "text"),
    ("0x3A", "int"),
    ("0xg", "text"),
    ("0b11", "text"),
    ("1_000", "text"),
    ("0.", "float"),
    ("-0.0", "float"),
    (".5", "float"),
    ("+12e03", "float"),
    ("-2E+05", "float"),
    ("1e3", "float"),
    ("1e", "text"),
    (".", "text"),
    ("-", "text"),
    ("+", "text"),
    (".inf", "float"),
    ("-.Inf", "float"),
    ("+.INF", "float"),
    (".NAN", "float"),
    (".nAn", "text"),
    ("+.nan", "text"),
    ("inf", "text"),
    # The words below are something else in YAML 1.1 and text in 1.2.
    ("1:30", "text"),
    ("1:30.5", "text"),
    ("00:00:09:00", "text"),
    ("yes", "text"),
    ("no", "text"),
    ("on", "text"),
    ("Off", "text"),
    ("y", "text"),
    ("=", "text"),
    ("<<", "text"),
    ("2026-01-31", "text"),
    ("2026-01-31T10:00:00Z", "text"),
    ("9 s", "text"),
    ("٣", "text"),
]


@pytest.mark.parametrize(("written", "kind"), CORE)
def test_bare_words_are_what_yaml_1_2_says(written: str, kind: str) -> None:
    assert kind_of(written) == kind


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("1:30", "1:30"),
        ("no", "no"),
        ("010", 10),
        ("0o10", 8),
        ("0x10", 16),
        ("1e3", 1000.0),
        ("=", "="),
        ("2026-01-31", "2026-01-31"),
        ("~", None),
        ("'12'", "12"),
        ('"true"', "true"),
        ("!!str 12", "12"),
        ("! 12", "12"),
        ("!!float 3", 3),
        ("|\n  12\n", "12\n"),
    ],
)
def test_values_as_another_program_would_see_them(written: str, value: object) -> None:
    # Source: YAML 1.2.2, sections 10.3.2 and 10.1.1 (tags); literal text keeps its line end (8.1.1.2, clip).
    tree, problems = grow(decode(f"key: {written}", "s.yaml", MOST_BYTES))
    assert not problems
    assert plain(tree) == {"key": value}


@pytest.mark.parametrize(
    ("written", "value"),
    [("0.1", Fraction(1, 10)), ("5.", 5), (".25", Fraction(1, 4)), ("-2E+05", -200_000), ("010", 10), ("0x1F", 31)],
)
def test_numbers_are_exact(written: str, value: Fraction) -> None:
    # Source: decimal arithmetic by hand; 0.1 as a float would not be one tenth.
    assert exact_number(written) == value


@pytest.mark.parametrize("written", [".nan", "-.inf", "1e999999999", "1e-999999999", "9" * 5000])
def test_numbers_without_a_sensible_value_are_refused_at_once(written: str) -> None:
    started = time.process_time()
    with pytest.raises(ValueError, match=r"number|too"):
        exact_number(written)
    assert time.process_time() - started < 0.1


def _bomb(levels: int) -> str:
    names = [f"n{level}" for level in range(levels)]
    lines = ["n0: &n0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"{after}: &{after} [{', '.join([f'*{before}'] * 10)}]" for before, after in pairwise(names)]
    return "\n".join(lines)


HOSTILE: dict[str, tuple[str | bytes, str]] = {
    "aliases that multiply": (_bomb(9), "values"),
    "one step over the limit of values": ("- x\n" * MOST_VALUES, "values"),
    "a part inside itself": ("a: &a {b: *a}", "inside itself"),
    "ten thousand brackets": ("[" * 10_000, "nested"),
    "ten thousand braces": ("{a: " * 10_000, "nested"),
    "ten thousand dashes": ("- " * 10_000, "nested"),
    "ten thousand question marks": ("? " * 10_000, "key"),
    "two thousand levels by indentation": ("\n".join(" " * n + "a:" for n in range(2_000)), "nested"),
    "a hundred megabytes": (b"a" * 100_000_000, "larger than 4 MiB"),
    "four megabytes of dashes": (b"- a\n" * 1_000_000, "lines"),
    "four megabytes of line ends": (b"\n" * 4_000_000, "lines"),
    "four megabytes of comment": (b"#" * 4_000_000, "empty"),
    "four megabytes of one word": (b"a" * 4_000_000, "not a storyboard"),
    "four megabytes in an open quote": (b"'" + b"a" * 4_000_000, "never closed"),
    "four megabytes of opening": (b"[" * 4_000_000, "nested"),
    "four megabytes of anchors": (b"&a " * 1_300_000, ""),
    "a Python object": ("!!python/object/apply:os.system ['true']", "!!python/object/apply:os.system"),
    "a long title": ("storyboard: 1\ntitle: " + "a" * 4_000_000, "characters long"),
    "very many unknown keys": ("storyboard: 1\n" + "\n".join(f"segment{n}: 1" for n in range(24_000)), "no key"),
    "thousands of wrong ids": (
        "storyboard: 1\ncaptures: {" + ", ".join(f"abc{n}: {{file: x}}" for n in range(1_000)) + "}\nsegments:\n"
        + "".join(f"  - {{id: s{n}, lasts: 1 s, show: {{grid: [acb{n}, bca{n}, cab{n}]}}}}\n" for n in range(1_500)),
        "no capture",
    ),
    "a key of a million letters": ("storyboard: 1\n? " + "k" * 1_000_000 + "\n: 1\n", "no key"),
    "a number of a million digits": ("storyboard: " + "1" * 1_000_000, "too long"),
    "a time of a million digits": ("storyboard: 1\nnarration: {lead: " + "1" * 1_000_000 + "}", "no unit"),
    "a rate of a million digits": ("storyboard: 1\ncanvas: {rate: " + "1" * 1_000_000 + "}", "rate"),
    "a chain of line-ups": (
        "storyboard: 1\ncaptures:\n"
        + "".join(f"  c{n}: {{file: x, line-up: {{with: c{n + 1}, offset: 1 s}}}}\n" for n in range(999))
        + "  c999: {file: x, line-up: {with: c0, offset: 1 s}}\n",
        "circle",
    ),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_input_is_refused_clearly_and_at_once(name: str) -> None:
    # Half a second is what they may take on an idle machine. The bound here is ten times that, in processor
    # time: it tells what never ends from what does, on any machine, and is no measurement of speed.
    text, part = HOSTILE[name]
    started = time.process_time()
    with pytest.raises(StoryboardError) as caught:
        read_storyboard(text, "s.yaml")
    taken = time.process_time() - started
    assert any(part in problem.what for problem in caught.value.problems)
    assert len(str(caught.value)) < 60_000
    assert taken < 5


def test_parts_may_be_repeated_and_nested_within_the_limits() -> None:
    tree, _ = grow(decode("a: &a [1, 2]\nb: [*a, *a]\n" + "c: " + "[" * (DEEPEST - 1) + "]" * (DEEPEST - 1), "s", 999))
    seen = plain(tree)
    assert isinstance(seen, dict)
    assert seen["b"] == [[1, 2], [1, 2]]


def test_one_level_more_is_refused() -> None:
    with pytest.raises(StoryboardError, match="more than 64 deep"):
        grow(decode("c: " + "[" * DEEPEST + "]" * DEEPEST, "s", 999))


def test_a_name_may_be_given_to_a_new_part() -> None:
    # Source: YAML 1.2.2, section 7.1: an alias refers to the most recent node with its anchor.
    tree, _ = grow(decode("a: &x 1\nb: *x\nc: &x 2\nd: *x\n", "s", 999))
    assert plain(tree) == {"a": 1, "b": 1, "c": 2, "d": 2}


@pytest.mark.parametrize(
    ("data", "line", "column", "part"),
    [
        ("a: 1\n".encode("utf-16"), 1, 1, "UTF-16"),
        ("title: caf\u00e9".encode("latin-1"), 1, 11, "not UTF-8"),
        ("# żó\ntitle: caf\u00e9".encode() + b"\xff", 2, 12, "not UTF-8"),
        (b"a: 1\nb: \x00", 2, 4, "U+0000"),
        (b"\xef\xbb\xbfb: \x00", 1, 4, "U+0000"),
        (b"\xef\xbb\xbfb: \xff", 1, 4, "not UTF-8"),
        (b"a: 1\r\nb: \x1b[31m", 2, 4, "U+001B"),
        ("a: 1\nb: c\u2028d".encode(), 2, 5, "U+2028"),
        ("a: \x85".encode(), 1, 4, "U+0085"),
        (b"a: \xed\xa0\x80", 1, 4, "not UTF-8"),
    ],
)
def test_what_is_not_text_is_refused_with_its_place(data: bytes, line: int, column: int, part: str) -> None:
    # Source: YAML 1.2.2, section 5.1 (characters that a file may hold); places counted by hand.
    with pytest.raises(StoryboardError) as caught:
        read_storyboard(data, "s.yaml")
    (problem,) = caught.value.problems
    assert problem.place is not None
    assert (problem.place.line, problem.place.column) == (line, column)
    assert part in problem.what


def test_a_lone_surrogate_in_text_is_refused() -> None:
    with pytest.raises(StoryboardError, match="U\\+D800"):
        read_storyboard("a: \ud800", "s.yaml")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_of_every_system_are_one_line(end: str) -> None:
    # Source: YAML 1.2.2, section 5.4 (line breaks).
    tree, _ = grow(decode(end.join(["a: 1", "", "# c", "b: 2"]), "s", 999))
    assert isinstance(tree, Mapping)
    assert tree.keys["b"].place.line == 4
