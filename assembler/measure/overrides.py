"""Verdicts by hand: a small YAML file beside a capture, `<capture file>.by-hand.yaml`.

    pictures: {1234: new, 1240: repeat}                       # by number, from 0
    spans: [{from: 3.2 s, to: 4.0 s, is: still}]              # or dark, moving, undecided
    masks: [{x: 20, y: 20, w: 200, h: 60, why: counter}]      # capture pixels that measuring leaves out
    tears: {741: {row: 624}, 802: none}

Times are capture time, from its first picture; frames and timecodes count its pictures and need an even rate.
Read with the storyboard's own machinery, so places, repeated keys and limits are the same.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from assembler.errors import Place, Problem, StoryboardError
from assembler.measure.clock import Clock
from assembler.measure.model import Cadence, State
from assembler.storyboard.reader import Fields, Items, Reader, Report, Value
from assembler.storyboard.scalars import shown
from assembler.storyboard.shapes import ById, Choice, Either, Key, Keys, ListOf, Number, Parsed, Text, UnfitError
from assembler.storyboard.source import decode
from assembler.storyboard.tree import MOST_BYTES, Mapping, grow
from assembler.storyboard.written import INSTANT, instant
from assembler.timing.grammar import Time

SUFFIX = ".by-hand.yaml"
_MOST_ENTRIES = 20_000
_STATES = {"moving": State.MOVING, "still": State.STILL, "dark": State.DARK, "undecided": State.UNDECIDED}


@dataclass(frozen=True, slots=True)
class HandSpan:
    """What a person says of the half-open span of capture seconds."""

    start_s: Fraction
    end_s: Fraction
    state: State


@dataclass(frozen=True, slots=True)
class Mask:
    """A rectangle of capture pixels (after rotation) that measuring leaves out, and why."""

    x: int
    y: int
    width: int
    height: int
    why: str

    @property
    def rectangle(self) -> tuple[int, int, int, int]:
        """x, y, width, height."""
        return self.x, self.y, self.width, self.height


@dataclass(frozen=True, slots=True)
class ByHand:
    """All verdicts of a file. pictures: (number, whether new). tears: (number, row, or None for no tear)."""

    pictures: tuple[tuple[int, bool], ...] = ()
    spans: tuple[HandSpan, ...] = ()
    masks: tuple[Mask, ...] = ()
    tears: tuple[tuple[int, int | None], ...] = ()


T = TypeVar("T")

_NUMBERED: dict[str, Any] = {
    "id_noun": "the number of a picture",
    "id_pattern": re.compile(r"0|[1-9][0-9]{0,8}", re.ASCII),
    "id_rule": "write the picture's number, counted from 0",
    "most": _MOST_ENTRIES,
}
_PIXEL = Number(noun="a whole number of pixels", whole=True, least=0, most=16384)
_EXTENT = Number(noun="a whole number of pixels above 0", whole=True, least=1, most=16384)


def _capture_time(text: str, rate: Fraction) -> Time:
    """A time of the capture; rate 0 stands for variable timing, which has no frames to count by."""
    time = instant(text, rate or Fraction(60))
    if time.frame is not None and not rate:
        what = f"'{shown(text)}' counts frames, and this capture's timing is variable"
        raise UnfitError(what, "write seconds, such as 3.2 s")
    return time


_TIME = Parsed(
    noun="a time of the capture, such as 3.2 s", parse=_capture_time, schema=INSTANT.schema, takes=INSTANT.takes
)
_VERDICT = Choice(noun="new or repeat", words=(("new", "it shows something new"), ("repeat", "it shows nothing new")))
_STATE = Choice(
    noun="moving, still, dark or undecided",
    words=(
        ("moving", "pictures are counted here"),
        ("still", "nothing moves"),
        ("dark", "nothing can be seen"),
        ("undecided", "it cannot be told"),
    ),
)
_SPAN = Keys(
    name="hand-span",
    noun="keys such as {from: 3.2 s, to: 4.0 s, is: still}",
    about="What can be said of a span.",
    keys=(
        Key(name="from", shape=_TIME, about="Where it begins.", examples=("3.2 s",), required=True),
        Key(name="to", shape=_TIME, about="Where it ends.", examples=("4.0 s",), required=True),
        Key(name="is", shape=_STATE, about="What it is.", examples=("still",), required=True),
    ),
)
_MASK = Keys(
    name="mask",
    noun="keys such as {x: 20, y: 20, w: 200, h: 60, why: counter}",
    about="A rectangle that measuring leaves out.",
    keys=(
        Key(name="x", shape=_PIXEL, about="Its left edge.", examples=(20,), required=True),
        Key(name="y", shape=_PIXEL, about="Its upper edge.", examples=(20,), required=True),
        Key(name="w", shape=_EXTENT, about="Its width.", examples=(200,), required=True),
        Key(name="h", shape=_EXTENT, about="Its height.", examples=(60,), required=True),
        Key(name="why", shape=Text(noun="text", longest=200), about="What it hides.", examples=("a counter",),
            required=True),
    ),
)
_TEAR = Keys(
    name="hand-tear",
    noun="keys such as {row: 624}",
    about="Where a picture is torn.",
    keys=(Key(name="row", shape=_PIXEL, about="The first row of the newer picture.", examples=(624,), required=True),),
)
_NO_TEAR = Choice(noun="none", words=(("none", "it is not torn"),))
FILE = Keys(
    name="by-hand",
    noun="keys such as pictures, spans, masks and tears",
    about="Verdicts by hand on one capture.",
    keys=(
        Key(name="pictures", shape=ById(noun="picture numbers, each new or repeat", item=_VERDICT, **_NUMBERED),
            about="Whether single pictures are new.", examples=({1234: "new"},)),
        Key(name="spans", shape=ListOf(noun="a list of spans", item=_SPAN, most=1000),
            about="What whole spans are.", examples=([{"from": "3.2 s", "to": "4 s", "is": "still"}],)),
        Key(name="masks", shape=ListOf(noun="a list of masks", item=_MASK, most=32),
            about="What measuring leaves out.", examples=([{"x": 20, "y": 20, "w": 200, "h": 60, "why": "counter"}],)),
        Key(name="tears",
            shape=ById(noun="picture numbers, each with a row or none",
                       item=Either(noun="none, or keys such as {row: 624}", shapes=(_NO_TEAR, _TEAR)), **_NUMBERED),
            about="Where single pictures are torn.", examples=({741: {"row": 624}},)),
    ),
)  # fmt: skip


def by_hand_path(capture: Path) -> Path:
    """Where a capture's verdicts by hand lie."""
    return capture.with_name(capture.name + SUFFIX)


def load_by_hand(capture: Path, clock: Clock, width: int | None = None) -> ByHand:
    """The verdicts beside a capture; none where there is no file. Raises StoryboardError with all problems."""
    path = by_hand_path(capture)
    data = read_if_there(path)
    if data is None:
        return ByHand()
    return read_by_hand(data, str(path), clock, width)


def read_if_there(path: Path) -> bytes | None:
    """The bytes of a person's small file, one more than may be read at most; None where there is none.

    Raises StoryboardError, the error for files that a person writes.
    """
    try:
        if not path.exists():
            return None
        if not path.is_file():
            raise StoryboardError([Problem(None, f"{shown(str(path), 400)} is not a file", "remove or rename it")])
        with path.open("rb") as file:
            return file.read(MOST_BYTES + 1)
    except OSError as error:
        what = f"{shown(str(path), 400)} cannot be read: {error.strerror or 'no reason given'}"
        raise StoryboardError([Problem(None, what, "check that you may read the file")]) from error


def grown(text: str | bytes, name: str, report: Report, begin: str) -> Mapping | None:
    """The tree of a person's small file; None where it holds nothing but comments. begin: how to mend one that
    holds no keys. Raises StoryboardError, repeated keys are noted in `report`."""
    try:
        source = decode(text, name, MOST_BYTES)
        if not re.sub(r"(?m)^\s*(#.*)?$", "", source.text).strip():
            return None
        root, repeated = grow(source)
    except StoryboardError as error:
        raise StoryboardError([of_this_file(problem) for problem in error.problems]) from error
    report.take(repeated)
    if not isinstance(root, Mapping):
        raise StoryboardError([Problem(root.place, "this file must hold keys", begin)])
    return root


def read_by_hand(text: str | bytes, name: str, clock: Clock, width: int | None = None) -> ByHand:
    """Read the verdicts' text; `name` stands before line and column in places.

    clock: of the capture, by which numbers, times and rows are checked; width: its pixels across, checked if given.
    Raises StoryboardError, the error for files that a person writes, with all problems.
    """
    report = Report()
    root = grown(text, name, report, "begin it with pictures:, spans:, masks: or tears:")
    if root is None:
        return ByHand()
    checked = Reader(report, clock.frame_rate or Fraction(0), {}).read(root, FILE, "this file")
    assert isinstance(checked, Fields)
    found = _Checker(report, clock, width).verdicts(checked)
    if problems := report.problems():
        raise StoryboardError([of_this_file(problem) for problem in problems])
    return found


def apply_overrides(cadence: Cadence, by_hand: ByHand, clock: Clock) -> Cadence:
    """The cadence with a person's verdicts in place of its own, and `manual` set where they are.

    A picture torn by hand is new unless said otherwise. Masks act on measuring itself and change nothing here.
    """
    p_new, state = cadence.p_new.copy(), cadence.state.copy()
    first, last, p_tear = cadence.tear_first_row.copy(), cadence.tear_last_row.copy(), cadence.p_tear.copy()
    manual = cadence.manual.copy()
    for span in by_hand.spans:
        inside = slice(*clock.pictures_in(span.start_s, span.end_s))
        state[inside] = span.state
        manual[inside] = True
    for picture, row in by_hand.tears:
        torn = row is not None
        first[picture], last[picture] = (row, row + 1) if row is not None else (-1, -1)
        p_tear[picture] = float(torn)
        if torn:
            p_new[picture] = 1
        manual[picture] = True
    for picture, new in by_hand.pictures:
        p_new[picture] = float(new)
        manual[picture] = True
        if not new:
            first[picture], last[picture], p_tear[picture] = -1, -1, 0
    return replace(
        cadence, p_new=p_new, state=state, tear_first_row=first, tear_last_row=last, p_tear=p_tear, manual=manual
    )


class _Checker:
    """Turns checked keys into verdicts, and notes what no single key can show to be wrong."""

    def __init__(self, report: Report, clock: Clock, width: int | None) -> None:
        self.report = report
        self.clock = clock
        self.width = width

    def verdicts(self, root: Fields) -> ByHand:
        pictures = {number: value.value == "new" for number, value in self._numbered(root, "pictures")}
        tears: dict[int, int | None] = {}
        for number, value in self._numbered(root, "tears"):
            tears[number] = None if isinstance(value, Value) else self._row(value)
            if tears[number] is not None and pictures.get(number) is False:
                what = f"picture {number} is torn here and a repeat under `pictures`"
                self.report.add(_key_place(root, "tears", number), what, "remove one of them: a torn picture is new")
        if pictures.get(0) is False:
            mend = "nothing comes before it; remove it"
            self.report.add(_key_place(root, "pictures", 0), "picture 0 cannot be a repeat", mend)
        spans = self._each(root, "spans", self._span)
        self._overlaps(spans)
        masks = self._each(root, "masks", self._mask)
        return ByHand(
            tuple(sorted(pictures.items())),
            tuple(sorted((span for span, _ in spans), key=lambda span: span.start_s)),
            tuple(mask for mask, _ in masks),
            tuple(sorted(tears.items())),
        )

    def _numbered(self, root: Fields, key: str) -> Iterator[tuple[int, Any]]:
        table = root.values.get(key)
        if not isinstance(table, Fields):
            return
        last = int(self.clock.pts.size) - 1
        for written, value in table.values.items():
            if not _NUMBERED["id_pattern"].fullmatch(written):
                continue
            if int(written) > last:
                what = f"there is no picture {written}: the capture's last one is {last}"
                self.report.add(table.places[written], what, "count from 0 along the capture")
            else:
                yield int(written), value

    def _each(self, root: Fields, key: str, read: Callable[[Fields], T]) -> list[tuple[T, Place]]:
        listed = root.values.get(key)
        entries = listed.items if isinstance(listed, Items) else []
        return [(read(entry), entry.place) for entry in entries if isinstance(entry, Fields) and _whole(entry)]

    def _row(self, fields: Fields) -> int:
        value = fields.values.get("row")
        row = int(value.value) if isinstance(value, Value) else 0
        if isinstance(value, Value) and not 0 < row < self.clock.rows:
            what = f"row {row} is not inside a picture of {self.clock.rows} rows"
            self.report.add(value.place, what, f"write 1 to {self.clock.rows - 1}, or none where it is not torn")
        return row

    def _span(self, fields: Fields) -> HandSpan:
        start, end = _value(fields, "from").seconds, _value(fields, "to").seconds
        if end <= start:
            self.report.add(fields.places["to"], "this span ends before it begins", "write a `to` later than `from`")
        elif start >= self.clock.duration_s:
            what = f"this span begins after the capture's end at {float(self.clock.duration_s):.3f} s"
            self.report.add(fields.places["from"], what, "times count from the capture's first picture")
        return HandSpan(start, max(start, end), _STATES[_value(fields, "is")])

    def _overlaps(self, spans: list[tuple[HandSpan, Place]]) -> None:
        in_order = sorted(spans, key=lambda entry: (entry[0].start_s, entry[1]))
        reach: tuple[HandSpan, Place] | None = None
        for span, place in in_order:
            if reach and span.start_s < reach[0].end_s:
                what = f"this span overlaps the one on line {reach[1].line}"
                self.report.add(place, what, "let one end where the other begins")
            if reach is None or span.end_s > reach[0].end_s:
                reach = (span, place)

    def _mask(self, fields: Fields) -> Mask:
        x, y, width, height = (int(_value(fields, key)) for key in "xywh")
        mask = Mask(x, y, width, height, str(_value(fields, "why")))
        high = mask.y + mask.height > self.clock.rows
        if high or (self.width is not None and mask.x + mask.width > self.width):
            size = f"{self.width}x{self.clock.rows}" if self.width is not None else f"{self.clock.rows} rows"
            what = f"this mask reaches beyond the picture of {size}"
            self.report.add(fields.places["h" if high else "w"], what, "make it smaller; pixels count after rotation")
        return mask


def _key_place(root: Fields, table: str, number: int) -> Place:
    found = root.values[table]
    assert isinstance(found, Fields)
    return found.places[str(number)]


def _value(fields: Fields, key: str) -> Any:
    found = fields.values[key]
    assert isinstance(found, Value)
    return found.value


def _whole(fields: Fields) -> bool:
    """Whether every key of a span or mask is there and usable; what is not has been told of."""
    wanted = ("from", "to", "is") if fields.values.keys() & {"from", "to", "is"} else ("x", "y", "w", "h", "why")
    return all(key in fields.values for key in wanted)


def of_this_file(problem: Problem) -> Problem:
    """The reading machinery's words speak of storyboards; this file is not one."""
    words = (("than any storyboard needs", "than such a file needs"), ("several storyboards", "fewer verdicts"),
             ("a storyboard", "this file"), ("the storyboard", "the file"), ("one storyboard", "one part"))  # fmt: skip
    what, mend = problem.what, problem.mend
    for said, meant in words:
        what, mend = what.replace(said, meant), mend.replace(said, meant)
    return Problem(problem.place, what, mend)


def unsure_pictures(cadence: Cadence, most: int = 20) -> tuple[int, ...]:
    """The pictures in motion whose verdicts are least certain, not yet judged by hand: what a person checks first."""
    open_ = (cadence.state == State.MOVING) & ~cadence.manual
    doubt = np.where(open_, np.abs(cadence.p_new - 0.5), np.inf)
    order = np.argsort(doubt, kind="stable")[:most]
    return tuple(int(picture) for picture in order if doubt[picture] < 0.5)
