"""Broken storyboards, one fault or a few each, with the places and words that the messages must have.

`▸` stands right before the character at which a problem must be placed and is taken out before reading; the
texts in `says` belong to the marks in order. `schema` tells whether JSON Schema must see the fault too;
None where there is no sound YAML to hold against it.
"""

from __future__ import annotations

from dataclasses import dataclass

MARK = "▸"

HEAD = """\
storyboard: 1
title: Two machines
subjects: {ash: Ash, birch: Birch}
captures:
  quay: {file: footage/a.mp4, subject: ash}
  pier: {file: footage/b.mp4, subject: birch}
"""


CARD_ONLY = """\
storyboard: 1
title: One machine
segments: [{id: only, lasts: 2 s, show: {card: Hello}}]
"""


@dataclass(frozen=True)
class Broken:
    """A faulty storyboard with its marks, and a distinctive part of each message in their order."""

    name: str
    marked: str
    says: tuple[str, ...]
    schema: bool | None

    @property
    def text(self) -> str:
        """The storyboard without marks."""
        return self.marked.replace(MARK, "")

    @property
    def places(self) -> tuple[tuple[int, int], ...]:
        """Line and column of each mark, counted from 1, other marks left out."""
        found = []
        for number, line in enumerate(self.marked.split("\n"), start=1):
            pieces = line.split(MARK)
            column = 1
            for piece in pieces[:-1]:
                column += len(piece)
                found.append((number, column))
        return tuple(found)


def top(lines: str) -> str:
    """A sound storyboard with further lines at its top level."""
    return HEAD + "segments: [{id: one, lasts: 5 s, show: {full: quay}}]\n" + lines


def bare(lines: str) -> str:
    """Version, title and a sound segment that needs no capture, with further lines."""
    return "storyboard: 1\ntitle: T\nsegments: [{id: one, lasts: 5 s, show: {card: Hello}}]\n" + lines


def segment(lines: str) -> str:
    """A storyboard of one segment written in block form; lines are indented by four."""
    return HEAD + "segments:\n  - " + lines


def show(shot: str) -> str:
    """A storyboard whose one segment shows this."""
    return segment("id: one\n    lasts: 5 s\n    show: " + shot)


def pane(written: str) -> str:
    """A storyboard whose one pane is written so."""
    return show("{full: " + written + "}")


_YAML = (
    Broken("nothing at all", "▸", ("the storyboard is empty",), None),
    Broken("only a comment", "▸# to do\n", ("the storyboard is empty",), None),
    Broken("a list instead of keys", "▸- a\n- b\n", ("not a storyboard",), True),
    Broken("some other YAML file", "▸services: {web: 1}\n", ("not a storyboard",), True),
    Broken("a tab before a key", "storyboard: 1\n▸\ttitle: T\n", ("indented with a tab",), None),
    Broken("a tab after spaces", "segments:\n  -  id: a\n  ▸\tlasts: 1 s\n", ("indented with a tab",), None),
    Broken("a bracket left open", "storyboard: 1\nfonts: ▸[a.ttf,\ntitle: T\n", ("'['",), None),
    Broken("a brace left open", "canvas: ▸{size: 1920x1080, rate: 60\ntitle: T\n", ("'{'",), None),
    Broken("a quote left open", "storyboard: 1\ntitle: ▸\"Two machines\nlanguage: en\n", ("never closed",), None),
    Broken("a colon in bare text", "title: Ash▸: the desktop\n", ("':' cannot stand here",), None),
    Broken("a key without a colon", "storyboard: 1\n▸title\n", ("without ': '",), None),
    Broken("a line too far to the left", "canvas:\n   size: 2x2\n ▸rate: 60\n", ("does not fit",), None),
    Broken("an at sign first", "title: ▸@home\n", ("cannot begin with '@'",), None),
    Broken("a backslash that means nothing", 'title: "C▸:\\quay"\n'.replace("C▸:\\q", "C:▸\\q"), ("'\\'",), None),
    Broken("two documents", "storyboard: 1\n▸---\ntitle: T\n", ("second document",), None),
    Broken("a Python tag", "title: ▸!!python/name:os.system\n", ("!!python/name:os.system",), None),
    Broken("a tag of one's own", "title: ▸!mine T\n", ("'!mine'",), None),
    Broken("binary data", "title: ▸!!binary aGk=\n", ("!!binary",), None),
    Broken("a part repeated inside itself", "fonts: &f [a, ▸*f]\n", ("inside itself",), None),
    Broken("a repeat of what is not there", "title: ▸*ttl\n", ("never named",), None),
    Broken("a list as a key", "? ▸[a, b]\n: c\n", ("must be a word",), None),
    Broken("the rules of YAML 1.1", "▸%YAML 1.1\n---\ntitle: T\n", ("YAML 1.1",), None),
    Broken("a key twice", bare("language: en\n▸language: de\n"), ("on lines 4 and 5",), None),
    Broken("a key twice in a line", pane("{capture: quay, from: 1 s, ▸from: 2 s}"), ("twice on this line",), None),
    Broken("a merge key", pane("{capture: quay, ▸<<: {speed: 2}}"), ("'<<' is not a key",), True),
)

_TOP = (
    Broken("no version", "▸title: T\nsegments: [{id: a, lasts: 1 s, show: {card: C}}]\n", ("which version",), True),
    Broken("a later version", bare("").replace("board: 1", "board: ▸2"), ("`storyboard` cannot be 2",), True),
    Broken("no title and no segments", "▸storyboard: 1\n".replace("▸", "▸▸"), ("no `segments`", "no `title`"), True),
    Broken("a key with a slip", "▸scens: []\n".join(("storyboard: 1\ntitle: T\n", "")).replace("scens", "segmnts"),
           ("no key `segmnts`",), True),
    Broken("a number for a title", bare("").replace("T\n", "▸2024\n"), ("not the number 2024",), True),
    Broken("a title that is true", bare("").replace("T\n", "▸true\n"), ("must be text, not true",), True),
    Broken("a key without a value", bare("▸language:\n"), ("`language` has no value",), True),
    Broken("blank text", bare("").replace("T\n", '▸" "\n'), ("`title` is empty",), True),
    Broken("a control code in text", bare("").replace("T\n", '▸"a\\e[31m"\n'), ("a\\x1b[31m",), False),
    Broken("a language in words", bare("language: ▸British English\n"), ("language code",), True),
    Broken("no segments in the list", "storyboard: 1\ntitle: T\nsegments: ▸[]\n", ("is empty",), True),
    Broken("a canvas without x", bare("canvas: {size: ▸1080p}\n"), ("'1080p' is not a size",), True),
    Broken("an odd canvas", bare("canvas: {size: ▸1921x1080}\n"), ("odd",), True),
    Broken("a tiny canvas", bare("canvas: {size: ▸64x64}\n"), ("outside 160x90",), True),
    Broken("a rate that is none", bare("canvas: {rate: ▸61}\n"), ("61 is not a rate",), True),
    Broken("a rounded rate", bare("canvas: {rate: ▸23.98}\n"), ("23.98 is not a rate",), True),
    Broken("a rate over nothing", bare('canvas: {rate: ▸"60/0"}\n'), ("60/0 is not a rate",), False),
    Broken("a bad rate and a bad time", bare("canvas: {rate: ▸61}\nnarration: {lead: ▸1:75}\n"),
           ("61 is not a rate", "more than 59"), True),
    Broken("a path to the root", bare("fonts: [▸/etc/a.ttf]\n"), ("disk's root",), True),
    Broken("a path out of the folder", bare("fonts: [fine.ttf, ▸a/../../b.ttf]\n"), ("leads outside",), False),
    Broken("a path with a drive", bare("fonts: ['▸C:/a.ttf']\n".replace("'▸", "▸'")), ("disk's root",), True),
    Broken("a path with backslashes", bare("fonts: [▸'a\\b.ttf']\n"), ("backslash",), True),
    Broken("an address", bare("fonts: [▸'https://example.org/a.ttf']\n"), ("an address",), True),
    Broken("a path with a NUL", bare('fonts: [▸"a\\0.ttf"]\n'), ("a\\x00.ttf",), True),
    Broken("an odd voice", bare("narration: {voice: ▸scratsh}\n"), ("not 'scratsh'",), True),
    Broken("too quick a pace", bare("narration: {pace: ▸900}\n"), ("`pace` cannot be 900",), True),
    Broken("half a word a minute", bare("narration: {pace: ▸160.5}\n"), ("whole number",), True),
    Broken("no for false", bare("captions: {burn: ▸no}\n"), ("not the text 'no'",), True),
)

_IDS = (
    Broken("a subject with a blank in its id", top("").replace("{ash: Ash,", "{ash: Ash, ▸the ash: Ash,"),
           ("'the ash' cannot be an id",), True),
    Broken("a subject without a name", top("").replace("{ash: Ash,", "{▸ash: {note: n},"), ("no `name`",), True),
    Broken("a subject that is not there", top("").replace("subject: birch}", "subject: ▸brich}"),
           ("no subject 'brich'",), False),
    Broken("a capture without a file", top("").replace("  quay: {file: footage/a.mp4, ", "  ▸quay: {"),
           ("'quay' has no `file`",), True),
    Broken("a graph that is not there", top("").replace("lasts: 5 s,", "lasts: 5 s, graphs: [▸framerate],"),
           ("framerate",), True),
    Broken("a graph named twice", top("").replace("lasts: 5 s,", "lasts: 5 s, graphs: [cadence, ▸cadence],"),
           ("named twice",), False),
    Broken("a graph over too short a time",
           top("").replace("lasts: 5 s,", "lasts: 5 s, graphs: {kinds: [cadence], window: ▸1 s},"),
           ("cannot span",), False),
    Broken("a line-up with itself", top("").replace("birch}\n", "birch, line-up: {with: ▸pier, offset: 2 f}}\n"),
           ("lined up with itself",), False),
    Broken("line-ups in a circle",
           top("").replace("ash}\n", "ash, line-up: {with: pier, offset: 2 f}}\n").replace(
               "birch}\n", "birch, line-up: {with: ▸quay, offset: 2 f}}\n").replace("{ash: Ash, birch: Birch, ", "{"),
           ("in a circle: quay, pier",), False),
    Broken("a capture that is not there", pane("▸quey"), ("no capture 'quey'",), False),
    Broken("two segments of one name", show("{full: quay}\n  - id: ▸one\n    lasts: 2 s\n    show: {full: pier}\n"),
           ("the segment on line 8",), False),
    Broken("a segment without an id", segment("▸lasts: 2 s\n    show: {full: quay}\n"), ("no `id`",), True),
)

_TIMES = (
    Broken("a length without a unit", segment("id: a\n    lasts: ▸9\n    show: {full: quay}\n"), ("no unit",), True),
    Broken("a clock that could be two things", segment("{id: a, at: ▸1:02:03, lasts: 1 s, show: {full: quay}}\n"),
           ("timecode without its frames",), False),
    Broken("frame 60 of 60", segment("{id: a, at: ▸00:00:01:60, lasts: 1 s, show: {full: quay}}\n"),
           ("from 00 to 59",), False),
    Broken("drop-frame at 60", segment("{id: a, at: ▸'00:00:01;10', lasts: 1 s, show: {full: quay}}\n"),
           ("drop-frame",), False),
    Broken("words for a time", segment("{id: a, lasts: ▸a while, show: {full: quay}}\n"), ("not a time",), True),
    Broken("no time at all", segment("{id: a, lasts: ▸0 s, show: {full: quay}}\n"), ("less than one frame",), False),
    Broken("days on end", segment("{id: a, lasts: ▸99999 min, show: {full: quay}}\n"), ("longer than 24",), False),
    Broken("a time before the start", segment("{id: a, at: ▸-2 s, lasts: 1 s, show: {full: quay}}\n"),
           ("'-2 s' lies before 0",), True),
    Broken("until and lasts", segment("{id: a, lasts: 2 s, ▸until: 9 s, show: {full: quay}}\n"), ("exclude",), True),
    Broken("an end before the beginning", segment("{id: a, at: 10 s, until: ▸9 s, show: {full: quay}}\n"),
           ("ends at 9 s but begins at 10 s",), False),
    Broken("no end", segment("▸id: a\n    show: {full: quay}\n"), ("nothing says how long",), False),
    Broken("fit without words", segment("{id: a, lasts: ▸fit, show: {full: quay}}\n"), ("says nothing",), False),
    Broken("two shots without lasts", show("[{full: quay}, ▸{full: pier}]\n"), ("second shot",), False),
    Broken("a dissolve from nothing",
           segment("{id: a, lasts: 2 s, show: {full: quay}, enter: {▸dissolve: 1 s}}\n"), ("dissolve from",), False),
    Broken("dissolve and fade",
           show("{full: quay}\n  - {id: b, lasts: 2 s, show: {full: quay}, enter: {dissolve: 1 s, ▸fade: 1 s}}\n"),
           ("`dissolve` and `fade`",), True),
    Broken("a dissolve at the end",
           segment("{id: a, lasts: 2 s, show: {full: quay}, leave: {▸dissolve: 1 s, fade: 1 s}}\n"),
           ("no key `dissolve`",), True),
)

_SHOTS = (
    Broken("nothing to show", segment("▸id: a\n    lasts: 2 s\n"), ("no `show`",), True),
    Broken("a shot without an arrangement", show("{lasts: 2 s}\n").replace("show:", "▸show:"),
           ("none of `full`",), True),
    Broken("two arrangements", show("{full: quay, ▸card: T}\n"), ("`full` and `card`",), True),
    Broken("a slip in an arrangement", show("{▸side-by-sid: [quay, pier]}\n"), ("no key `side-by-sid`",), True),
    Broken("an underscore for a dash", show("{▸side_by_side: [quay, pier]}\n"), ("no key `side_by_side`",), True),
    Broken("texts that commas tear", show("{card: {title: One, ▸two, and three, note: calm, ▸clear, motion: still}}\n"),
           ("`two` is read as a key", "`clear` is read as a key"), True),
    Broken("a slip that is torn from nothing", show("{card: {picture: a.png, ▸titel: }}\n"),
           ("no key `titel`",), True),
    Broken("one pane beside nothing", show("{side-by-side: ▸[quay]}\n"), ("this one holds 1",), True),
    Broken("three panes in a split", show("{split: ▸[quay, pier, quay]}\n"), ("this one holds 3",), True),
    Broken("a list in full", show("{full: ▸[quay]}\n"), ("not a list",), True),
    Broken("text for a shot", show("▸quay\n"), ("not the text 'quay'",), True),
    Broken("a speed of nothing", pane("{capture: quay, speed: ▸0}"), ("never move on",), True),
    Broken("backwards", pane("{capture: quay, speed: ▸-1}"), ("-1 is outside",), True),
    Broken("a speed without end", pane("{capture: quay, speed: ▸.inf}"), ("ordinary number",), True),
    Broken("a speed with a huge exponent", pane("{capture: quay, speed: ▸1e-999999999}"), ("too large or",), True),
    Broken("a pane without a capture", pane("▸{speed: 2}").replace("▸{", "{").replace("{full", "{▸full"),
           ("`full` has no `capture`",), True),
    Broken("a freeze that is false", pane("{capture: quay, freeze: ▸false}"), ("cannot be false",), True),
    Broken("a label that is true", pane("{capture: quay, label: ▸true}"), ("cannot be true",), True),
    Broken("a crop without height", pane("{capture: quay, ▸crop: {x: 0, y: 0, w: 9}}"), ("no `h`",), True),
    Broken("a crop left of the picture", pane("{capture: quay, crop: {x: ▸-1, y: 0, w: 9, h: 9}}"),
           ("`x` cannot be -1",), True),
    Broken("a scaling with a slip", pane("{capture: quay, scaling: ▸nearst}"), ("not 'nearst'",), True),
    Broken("a line beyond the edge", show("{split: {panes: [quay, pier], line: ▸1.5}}\n"), ("cannot be 1.5",), True),
    Broken("a line that goes nowhere", show("{split: {panes: [quay, pier], ▸line: {from: 0.1}}}\n"),
           ("`line` has no `to`",), True),
    Broken("an unknown corner", show("{inset: {panes: [quay, pier], corner: ▸left}}\n"), ("not 'left'",), True),
    Broken("an empty card", show("{▸card: {note: n}}\n"), ("none of `title`",), True),
    Broken("a row too short", show("{card: {table: {columns: [a, b], rows: [[1, 2], ▸[3]]}}}\n"),
           ("1 cells, and the table 2",), False),
    Broken("code outside the project", show("{made: {file: ▸../x.py}}\n"), ("leads outside",), False),
    Broken("an option of a taken name", show("{made: {file: x.py, options: {▸rate: 3}}}\n"), ("cannot be",), True),
    Broken("an option that is a list", show("{made: {file: x.py, options: {a: ▸[1]}}}\n"), ("not a list",), True),
    Broken("a loud gain", segment("{id: a, lasts: 2 s, show: {full: quay}, hear: {capture: quay, gain: ▸99}}\n"),
           ("outside -60 dB",), True),
    Broken("a loudness with a slip", CARD_ONLY + "sound: {loudness: ▸brodcast-r128}\n", ("not a loudness",), True),
    Broken("a loudness out of bounds", CARD_ONLY + "sound: {loudness: ▸-60 LUFS, peak: ▸3}\n",
           ("outside -36 LUFS to -9 LUFS", "outside -12 dBTP to 0 dBTP"), None),
    Broken("speech that raises what lies under it", CARD_ONLY + "sound: {duck: ▸12 dB}\n", ("would raise",), None),
    Broken("music from outside, under no such segment",
           CARD_ONLY + "sound: {music: {file: ▸../a.wav, segments: [▸on, only, ▸only]}}\n",
           ("leads outside", "no segment 'on'", "named twice"), None),
    Broken("an empty line", segment("{id: a, say: [Hello, ▸''], show: {full: quay}}\n"), ("is empty",), True),
    Broken("a line that is nothing", segment("{id: a, say: [Hello, ▸~], show: {full: quay}}\n"), ("no value",), True),
    Broken("a take outside", segment("{id: a, say: {text: Hello, take: ▸../t.wav}, show: {full: quay}}\n"),
           ("leads outside",), False),
)

_SEVERAL = (
    Broken(
        "many faults in one file",
        """\
storyboard: 1
title: T
canvas: {size: ▸1921x1080, rate: ▸61}
captures:
  quay: {file: ▸/a.mp4}
segments:
  - id: ▸a b
    lasts: ▸9
    show: {full: ▸kuay}
  - id: two
    ▸shwo: {full: quay}
    lasts: 2 s
""",
        ("odd", "61 is not a rate", "disk's root", "cannot be an id", "no unit", "no capture 'kuay'", "no key `shwo`"),
        True,
    ),
)

BROKEN: tuple[Broken, ...] = (*_YAML, *_TOP, *_IDS, *_TIMES, *_SHOTS, *_SEVERAL)
