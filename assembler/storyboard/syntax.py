"""What PyYAML says when it cannot read on, in words for someone new to YAML.

libyaml and PyYAML's own parser word the same faults differently; both wordings are looked for.
"""

from __future__ import annotations

import yaml

from assembler.errors import Problem
from assembler.storyboard.source import SourceText

_QUOTES = "put the text in quotes"
_INDENT = "begin lines that belong together in the same column, with spaces only"

# (part of the parser's problem, what to say, mend, whether the fault began where the context says)
_WORDS: tuple[tuple[str, str, str, bool], ...] = (
    ("mapping values are not allowed", "this ':' cannot stand here",
     "put text that holds ': ' in quotes; for a key, check the indentation of this line and the one before", False),
    ("expected ',' or ']'", "the list that begins here with '[' has no matching ']', or lacks a ',' between entries",
     "close it with ']' and separate its entries with ','", True),
    ("expected ',' or '}'", "the keys that begin here with '{' have no matching '}', or lack a ',' between them",
     "close them with '}' and separate them with ','", True),
    ("could not find expected ':'", "this line has a key without ': ' after it", "write `key: value`", True),
    ("maximum nesting depth", "lists and keys are nested far too deep here",
     "look for brackets that were never closed", False),
    ("expected node content", "something is missing before this", "write a value, or remove this sign", False),
    ("expected the node content", "something is missing before this", "write a value, or remove this sign", False),
    ("expected <block end>", "this line does not fit the lines before it", _INDENT, False),
    ("did not find expected key", "this line does not fit the lines before it", _INDENT, False),
    ("did not find expected '-' indicator", "this line does not fit the list before it", _INDENT, False),
    ("sequence entries are not allowed", "a '- ' cannot stand here", "begin the list on a line of its own", False),
    ("mapping keys are not allowed", "a '? ' cannot stand here", _QUOTES, False),
    ("unexpected end of stream", "the quote that opens here is never closed", "close it with the same quote", True),
    ("document indicator", "the quote that opens here is never closed", "close it with the same quote", True),
    ("unknown escape character", "this '\\' means nothing inside double quotes",
     "use single quotes, or write \\\\ for one backslash", False),
    ("did not find expected hexdecimal", "this '\\' code lacks its digits", "use single quotes, or write \\\\", False),
    ("expected escape sequence of", "this '\\' code lacks its digits", "use single quotes, or write \\\\", False),
    ("found undefined tag handle", "a word that begins with '!' cannot be used here", _QUOTES, False),
    ("duplicate", "this is written twice", "keep one of them", False),
    ("expected alphabetic or numeric character", "text cannot begin with '*' or '&' here", _QUOTES, False),
    ("expected <document start>", "the storyboard has ended above, so this line belongs nowhere", _INDENT, False),
    ("indentation indicator", "the mark after '|' or '>' is not one YAML knows", "write only '|' or '>' there", False),
    ("expected comment or", "nothing can follow here on this line", "begin the text on the next line", False),
    ("directive", "a line that begins with '%' cannot stand here", "remove the line", False),
    ("found a tab character", "the line is indented with a tab", "indent with spaces", False),
    ("incompatible YAML document", "this file asks for another version of YAML", "remove the line with %YAML", False),
)


def in_plain_words(error: yaml.MarkedYAMLError, source: SourceText) -> Problem:
    """The problem to show for a parser's error, placed where the person should look."""
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line, mark.column) if mark else (0, 0)
    written = source.line(line)
    said = error.problem or ""
    indent = written[: len(written) - len(written.lstrip())]
    if "\t" in indent:
        place = source.place(line, indent.index("\t"))
        return Problem(place, "the line is indented with a tab", "indent with spaces")
    if "cannot start any token" in said:
        return _bad_start(written[column : column + 1], line, column, source)
    if "escape" in said and written[column - 1 : column] == "\\" != written[column : column + 1]:
        column -= 1  # PyYAML's own parser points behind the backslash, libyaml at it
    for part, what, mend, from_context in _WORDS:
        if part in said:
            if from_context and error.context_mark:
                line, column = error.context_mark.line, error.context_mark.column
            return Problem(source.place(line, column), what, mend)
    return Problem(source.place(line, column), f"this cannot be read as YAML ({said})", _QUOTES)


def _bad_start(character: str, line: int, column: int, source: SourceText) -> Problem:
    place = source.place(line, column)
    if character == "\t":
        return Problem(place, "a tab stands where only spaces can", "replace the tab with spaces")
    return Problem(place, f"text cannot begin with '{character}'", _QUOTES)
