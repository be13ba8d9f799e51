"""A storyboard file to a frozen `Storyboard`, or every problem in it at once."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from assembler.errors import Place, Problem, StoryboardError
from assembler.storyboard.build import build
from assembler.storyboard.keys import STORYBOARD
from assembler.storyboard.model import Storyboard
from assembler.storyboard.reader import Fields, Reader, Report
from assembler.storyboard.rules import check_rules
from assembler.storyboard.scalars import shown
from assembler.storyboard.shapes import UnfitError
from assembler.storyboard.source import decode
from assembler.storyboard.tree import MOST_BYTES, Mapping, Node, Scalar, grow, plain
from assembler.storyboard.written import canvas_rate

DEFAULT_RATE = Fraction(60)


def load_storyboard(path: Path) -> Storyboard:
    """Read a storyboard file. Raises StoryboardError with all problems; files it names are not opened."""
    name = str(path)
    try:
        # A pipe or device could make us wait for ever.
        if path.exists() and not path.is_file():
            raise StoryboardError([Problem(None, f"{shown(name, 400)} is not a file", "name the storyboard's file")])
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except FileNotFoundError as error:
        what = f"there is no file {shown(name, 400)}"
        raise StoryboardError([Problem(None, what, "check the name and the folder")]) from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "its name cannot be used"
        what = f"{shown(name, 400)} cannot be read: {reason}"
        raise StoryboardError([Problem(None, what, "check that you may read the file")]) from error
    return read_storyboard(data, name)


def read_storyboard(text: str | bytes, name: str) -> Storyboard:
    """Read a storyboard's text; `name` stands before line and column in places.

    Raises StoryboardError with all problems, sorted by place.
    """
    root, repeated = grow(decode(text, name, MOST_BYTES))
    report = Report()
    report.take(repeated)
    rate = _canvas_rate(root)
    if isinstance(root, Mapping) and not set(root.keys) & {key.name for key in STORYBOARD.keys}:
        first = next(iter(root.keys.values())).place if root.keys else root.place
        raise _not_a_storyboard(first)
    if isinstance(root, Scalar) and root.text.startswith("storyboard:"):
        what = "this is one long text, because no ':' has a space after it"
        raise StoryboardError([Problem(root.place, what, "put a space after each ':', as in `storyboard: 1`")])
    if not isinstance(root, Mapping):
        raise _not_a_storyboard(root.place)
    reader = Reader(report, rate or DEFAULT_RATE, {table: _ids(root, table) for table in ("subjects", "captures")})
    checked = reader.read(root, STORYBOARD, "the storyboard", root.place)
    assert isinstance(checked, Fields)
    check_rules(checked, report)
    if problems := report.problems():
        raise StoryboardError(problems)
    return replace(build(checked, rate or DEFAULT_RATE), written=plain(root))


def _not_a_storyboard(place: Place) -> StoryboardError:
    mend = "begin it with `storyboard: 1` and `title:`; `explain` lists the keys"
    return StoryboardError([Problem(place, "this is not a storyboard: it has none of a storyboard's keys", mend)])


def _canvas_rate(root: Node) -> Fraction | None:
    """The canvas rate where it can be read; times are read against it before anything else is known."""
    canvas = root.values.get("canvas") if isinstance(root, Mapping) else None
    rate = canvas.values.get("rate") if isinstance(canvas, Mapping) else None
    if isinstance(rate, Scalar) and rate.kind in ("text", "int", "float"):
        try:
            return canvas_rate(rate.text, DEFAULT_RATE)
        except UnfitError:
            return None
    return None


def _ids(root: Mapping, table: str) -> tuple[str, ...]:
    """Ids written under a table, whether or not what stands beneath them is sound."""
    node = root.values.get(table)
    return tuple(node.keys) if isinstance(node, Mapping) else ()
