"""The keys of a shot: its arrangement, panes and cards. The rest of a storyboard is in `keys.py`."""

from __future__ import annotations

import re
from fractions import Fraction

from assembler.storyboard.scalars import exact_number, shown
from assembler.storyboard.shapes import (
    FLOAT,
    INT,
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
    UnfitError,
)
from assembler.storyboard.written import FILE, FUNCTION, INSTANT, LENGTH, STRETCH

FASTEST = 16

TIMES_OF_A_LINE = (
    Key(name="pause", shape=INSTANT, about="The silence after this line.", examples=("0.4 s",),
        default="the `pause` of `narration`"),
    Key(name="take", shape=FILE, about="The recording of this line, as a path from the storyboard's folder.",
        examples=("takes/opening-1.wav",),
        default="the file in the folder of takes that is named after the segment and the line, such as opening-1"),
    Key(name="stretch", shape=STRETCH,
        about="Make this line faster or slower at its own pitch, at most 5 % faster or 3 % slower.",
        examples=("3 % faster", "2 % slower"), default="the `stretch` of `narration`"),
)


def _speed(text: str, rate: Fraction) -> Fraction:
    try:
        speed = exact_number(text)
    except ValueError as error:
        raise UnfitError(f"{shown(text)} {error}", "write a speed such as 0.25") from error
    if speed == 0:
        raise UnfitError("a speed of 0 would never move on", "to hold a picture, write `freeze: true` instead")
    if not 0 < speed <= FASTEST:
        raise UnfitError(f"the speed {shown(text)} is outside 0 to {FASTEST}", "write a speed such as 0.25 or 2")
    return speed


_CAPTURE_ID = Reference(noun="the id of a capture", table="captures")
_CAPTURE_KEY = Key(name="capture", shape=_CAPTURE_ID, about="The id of the capture to show.", examples=("ash-quay",),
                   required=True)

_CROP = Keys(
    name="crop",
    noun="keys such as {x: 640, y: 360, w: 640, h: 360}",
    about="A rectangle of the capture's picture, in the capture's own pixels.",
    keys=tuple(
        Key(name=name, shape=Number(noun="a whole number", whole=True, least=least, most=32768), about=about,
            examples=(example,), required=True)
        for name, least, about, example in (
            ("x", 0, "Pixels to leave out on the left.", 640),
            ("y", 0, "Pixels to leave out at the top.", 360),
            ("w", 2, "Width in pixels.", 640),
            ("h", 2, "Height in pixels.", 360),
        )
    ),
)

_FREEZE = Keys(
    name="freeze",
    noun="keys such as {at: 2 s, lasts: 1 s}",
    about="Holds the picture for a while.",
    keys=(
        Key(name="at", shape=INSTANT, about="When it stops, counted from the start of the shot.", examples=("2 s",),
            default="at the start of the shot"),
        Key(name="lasts", shape=LENGTH, about="How long it holds.", examples=("1 s",),
            default="to the end of the shot"),
    ),
)

_FREEZE_ONE = Either(noun="true, or keys such as {at: 2 s, lasts: 1 s}",
                     shapes=(Flag(noun="true", only=True), _FREEZE))

PANE = Keys(
    name="pane",
    noun="the id of a capture, or keys such as {capture: ash-quay, from: 2 s}",
    about="One capture's picture.",
    keys=(
        _CAPTURE_KEY,
        Key(name="from", shape=INSTANT, about="The time in the capture to begin at, counted from its first picture.",
            examples=("2 s", "00:00:09:00"),
            default="the moment shown by the capture it is lined up with, when that is in the same shot; else 0"),
        Key(name="speed",
            shape=Parsed(noun="a number above 0, at most 16, such as 0.25", parse=_speed, takes=(INT, FLOAT),
                         schema={"type": "number", "exclusiveMinimum": 0, "maximum": FASTEST}),
            about="How fast it plays: 0.25 is a quarter of the speed.", examples=(0.25, 2), default="1", gives=1),
        Key(name="freeze",
            shape=Either(noun="true, keys such as {at: 2 s, lasts: 1 s}, or a list of them",
                         shapes=(Flag(noun="true", only=True), _FREEZE,
                                 ListOf(noun="a list", item=_FREEZE_ONE, least=1, most=50))),
            about="Holds the picture: `true` for the whole shot, or from a time and for a while.",
            examples=(True, {"at": "2 s", "lasts": "1 s"}), default="the picture is not held"),
        Key(name="crop", shape=_CROP, about="Shows only a part of the picture, magnified.",
            examples=({"x": 640, "y": 360, "w": 640, "h": 360},), default="the whole picture"),
        Key(name="scaling",
            shape=Choice(noun="lanczos, bicubic, nearest or area", words=(
                ("lanczos", "sharp; for moving pictures"), ("bicubic", "a little softer"),
                ("nearest", "shows every pixel as a square; for magnified detail"),
                ("area", "averages; for making much smaller"))),
            about="How its pixels are made larger or smaller.", examples=("nearest",), default="lanczos",
            gives="lanczos"),
        Key(name="fit",
            shape=Choice(noun="fit, fill or actual", words=(
                ("fit", "all of it is seen, with empty space around it if the proportions differ"),
                ("fill", "the space is filled, cutting off what does not fit"),
                ("actual", "one pixel of the capture is one pixel of the canvas"))),
            about="How it fills its space.", examples=("fill",), default="fit", gives="fit"),
        Key(name="label",
            shape=Either(noun="text, or false", shapes=(Text(noun="text", longest=80, may_be_empty=True),
                                                        Flag(noun="false", only=False))),
            about="Words for its label; false for none.", examples=("Ash, night mode", False),
            default="the subject's name and note"),
    ),
)

PANE_WITH_ID = Either(noun=PANE.noun, shapes=(_CAPTURE_ID, PANE))


def _panes(least: int, most: int) -> ListOf:
    count = f"{least}" if least == most else f"{least} to {most}"
    return ListOf(noun=f"a list of {count} panes", item=PANE_WITH_ID, least=least, most=most)


def _two_panes(what: str, more: tuple[Key, ...], name: str) -> Shape:
    """Two panes as a bare list, or under `panes` beside further keys."""
    panes = Key(name="panes", shape=_panes(2, 2), about=what, examples=(["ash-quay", "birch-quay"],), required=True)
    return Either(noun="a list of 2 panes, or keys with `panes` among them", shapes=(
        _panes(2, 2),
        Keys(name=name, noun="keys with `panes` among them", about=what, keys=(panes, *more)),
    ))


_SHARE = Number(noun="a number from 0 to 1", least=0, most=1)

_MOVING_LINE = Keys(
    name="moving-line",
    noun="{from: 0.2, to: 0.8}",
    about="A line that moves evenly over the shot.",
    keys=(
        Key(name="from", shape=_SHARE, about="Where it starts.", examples=(0.2,), required=True),
        Key(name="to", shape=_SHARE, about="Where it ends.", examples=(0.8,), required=True),
    ),
)

_SPLIT_KEYS = (
    Key(name="line", shape=Either(noun="a number from 0 to 1, or {from: 0.2, to: 0.8}", shapes=(_SHARE, _MOVING_LINE)),
        about="Where the dividing line stands: 0 is the left (or top) edge, 1 the right (or bottom) one.",
        examples=(0.5, {"from": 0.2, "to": 0.8}), default="0.5", gives=0.5),
    Key(name="direction",
        shape=Choice(noun="across or down", words=(("across", "the first pane is on the left"),
                                                   ("down", "the first pane is on top"))),
        about="Which way the picture is divided.", examples=("across",), default="across", gives="across"),
)

_INSET_KEYS = (
    Key(name="corner",
        shape=Choice(noun="top-left, top-right, bottom-left or bottom-right", words=(
            ("top-left", "at the top on the left"), ("top-right", "at the top on the right"),
            ("bottom-left", "at the bottom on the left"), ("bottom-right", "at the bottom on the right"))),
        about="The corner for the small pane.", examples=("top-right",), default="top-right", gives="top-right"),
    Key(name="size", shape=Number(noun="a number from 0.1 to 0.9", least=0.1, most=0.9),
        about="Width of the small pane as a share of the canvas width.", examples=(0.33,), default="0.33", gives=0.33),
)

_DIFFERENCE_KEYS = (
    Key(name="gain", shape=Number(noun="a number above 0, at most 64", above=0, most=64),
        about="How many times the difference in brightness is magnified.", examples=(4,), default="4", gives=4),
)

_CELL = Text(noun="text or a number", longest=200, may_be_empty=True, figures=True)

_TABLE = Keys(name="table", noun="keys with `columns` and `rows`", about="A small table.", keys=(
    Key(name="columns", shape=ListOf(noun="a list of 1 to 8 headings", item=_CELL, least=1, most=8),
        about="The headings.", examples=(["", "Ash", "Birch"],), required=True),
    Key(name="rows", shape=ListOf(noun="a list of 1 to 20 rows", least=1, most=20, item=ListOf(
            noun="a list with a cell for each column", item=_CELL, least=1, most=8)),
        about="The rows; each has as many cells as there are columns.", examples=([["Frames a second", 60, 48.2]],),
        required=True),
))

_TITLE = Text(noun="text", longest=200)

_MOTION = Key(
    name="motion",
    shape=Choice(noun="ease or still", words=(("ease", "its parts come in gently"), ("still", "nothing moves"))),
    about="Whether it moves.", examples=("still",), default="ease", gives="ease",
)

_CARD = Keys(
    name="card",
    noun="a title, or keys such as {title: Verdict, note: ...}",
    about="A drawn picture: a title with a note, a still picture, or a small table.",
    keys=(
        Key(name="title", shape=_TITLE, about="The title.", examples=("Verdict",), default="none"),
        Key(name="note", shape=Text(noun="text", longest=500, lines=True), about="Smaller text beneath the title.",
            examples=("Measured over one minute",), default="none"),
        Key(name="picture", shape=FILE, about="A still picture from the project folder.",
            examples=("pictures/settings.png",), default="none"),
        Key(name="table", shape=_TABLE, about="A small table.",
            examples=({"columns": ["", "Ash", "Birch"], "rows": [["Frames a second", 60, 48.2]]},), default="none"),
        _MOTION,
    ),
    some_of=("title", "picture", "table"),
)

_LOWS = Choice(noun="A-nearest, A-linear, B, B', C or C'", words=(
    ("A-nearest", "the rate of one picture, at the percentile by nearest rank"),
    ("A-linear", "the rate at the percentile, between the two nearest pictures"),
    ("B", "the average rate over the pictures that stood longest"),
    ("B'", "the mean of those pictures' own rates"),
    ("C", "the rate of the picture at which the longest reach that share of the time"),
    ("C'", "the rate over that share of the time")))  # fmt: skip

_SUMMED = ListOf(noun="a list of 1 to 4 captures", item=_CAPTURE_ID, least=1, most=4)

_SUMMARY = Keys(
    name="summary",
    noun="keys such as {captures: [ash-quay, birch-quay], title: One minute at the quay}",
    about="What captures were measured to do: how long their pictures stood, average rate, percentile lows, the "
    "longest hold, tears, and what stays undecided.",
    keys=(
        Key(name="captures", shape=_SUMMED, about="The captures, from left to right.",
            examples=(["ash-quay", "birch-quay"],), required=True),
        Key(name="title", shape=_TITLE, about="The title.", examples=("One minute at the quay",), default="none"),
        Key(name="from", shape=INSTANT, about="Counts from here on, in the first capture's time; a capture that is "
            "lined up with it is counted over the same moments, any other over the same times of its own.",
            examples=("2 s",), default="from each capture's first picture"),
        Key(name="to", shape=INSTANT, about="Counts up to here, in the first capture's time.", examples=("10 s",),
            default="to each capture's end"),
        Key(name="lows", shape=_LOWS, about="Which definition of percentile lows: the same name stands for several.",
            examples=("A-nearest",), default="B", gives="B"),
        _MOTION,
    ),
)

_OPTION = Either(noun="text, a number, true or false", shapes=(
    Text(noun="text", longest=1000, may_be_empty=True, lines=True), Number(noun="a number"),
    Flag(noun="true or false")))

_MADE = Keys(
    name="made",
    noun="keys such as {file: pictures/chart.py}",
    about="A clip made by a Python function in the project. It runs only when you allow the project's code.",
    keys=(
        Key(name="file", shape=FILE, about="The Python file, as a path from the storyboard's folder.",
            examples=("pictures/chart.py",), required=True),
        Key(name="function", shape=FUNCTION, about="The function that returns a moviepy clip.", examples=("clip",),
            default="clip", gives="clip"),
        Key(name="options",
            shape=ById(noun="options by name", item=_OPTION, id_noun="the name of an option", most=50,
                       id_pattern=re.compile(r"(?!(?:width|height|rate|seconds)$)[A-Za-z_][A-Za-z0-9_]{0,63}"),
                       id_rule="use letters, digits and _; width, height, rate and seconds are given anyway"),
            about="Handed to the function by name.", examples=({"steps": 3},), default="none"),
    ),
)

ARRANGEMENTS = ("full", "side-by-side", "stacked", "grid", "split", "inset", "difference", "card", "summary", "made")

_PAIR = ["ash-quay", "birch-quay"]

SHOT = Keys(
    name="shot",
    noun="keys such as {full: ash-quay}",
    about=f"One arrangement of pictures for a while. Exactly one of these is written: {', '.join(ARRANGEMENTS)}.",
    keys=(
        Key(name="lasts", shape=LENGTH, about="How long the shot lasts.", examples=("2 s",),
            default="the time that the segment's other shots leave"),
        Key(name="labels", shape=Flag(noun="true or false"), about="Whether panes carry labels.", examples=(False,),
            default="true", gives=True),
        Key(name="full", shape=PANE_WITH_ID, about="One pane on the whole canvas.", examples=("ash-quay",)),
        Key(name="side-by-side", shape=_panes(2, 4), about="Two to four panes from left to right.", examples=(_PAIR,)),
        Key(name="stacked", shape=_panes(2, 3), about="Two or three panes from top to bottom.", examples=(_PAIR,)),
        Key(name="grid", shape=_panes(2, 9), about="Two to nine panes in rows.", examples=(_PAIR,)),
        Key(name="split", shape=_two_panes("Two panes in one framing, divided at a line.", _SPLIT_KEYS, "split"),
            about="Two panes in one framing, divided at a line that may move.",
            examples=(_PAIR, {"panes": _PAIR, "line": 0.5})),
        Key(name="inset", shape=_two_panes("The large pane, then the small one.", _INSET_KEYS, "inset"),
            about="The second pane small, in a corner of the first.",
            examples=(_PAIR, {"panes": _PAIR, "corner": "top-right"})),
        Key(name="difference", shape=_two_panes("The two panes to compare.", _DIFFERENCE_KEYS, "difference"),
            about="Where two panes differ in brightness, on black.", examples=(_PAIR, {"panes": _PAIR, "gain": 4})),
        Key(name="card", shape=Either(noun="a title, or keys such as {title: Verdict}", shapes=(_TITLE, _CARD)),
            about=_CARD.about, examples=("Verdict", {"title": "Verdict", "note": "Measured over one minute"})),
        Key(name="summary", shape=Either(noun="a list of captures, or keys with `captures` among them",
                                         shapes=(_SUMMED, _SUMMARY)),
            about=_SUMMARY.about, examples=(_PAIR, {"captures": _PAIR, "title": "One minute at the quay"})),
        Key(name="made", shape=_MADE, about=_MADE.about, examples=({"file": "pictures/chart.py"},)),
    ),
    one_of=ARRANGEMENTS,
)
