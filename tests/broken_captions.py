"""Caption files that are broken in known ways, each with what can be made of it and the line of its fault."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

Cue = tuple[int, int, str]
Fault = tuple[int, str, bool]
"""A line from 1, words of what is told of it, and whether its block is refused."""


@dataclass(frozen=True)
class Broken:
    """name: of the file, whose end tells its form. cues: what is read of it. faults: all that is told."""

    name: str
    data: bytes
    cues: tuple[Cue, ...]
    faults: tuple[Fault, ...]


BASE: tuple[Cue, ...] = (
    (1_000, 2_500, "Two machines,\none harbour."),
    (3_000, 4_500, "Ash holds 60.\nBirch does not."),
    (5_000, 6_250, "The ferry turns\nat the pier."),
    (7_000, 8_999, "Every second picture\nis new."),
    (9_100, 11_000, "The last line\nends here."),
)


def clock(milliseconds: int, point: str) -> str:
    seconds, part = divmod(milliseconds, 1000)
    return f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}{point}{part:03}"


def srt_lines() -> list[str]:
    """Five lines a cue: counter, times, two lines of text, an empty one."""
    return [
        line
        for number, (start, end, text) in enumerate(BASE, 1)
        for line in (str(number), f"{clock(start, ',')} --> {clock(end, ',')}", *text.split("\n"), "")
    ]


def vtt_lines() -> list[str]:
    """A header of two lines, then five lines a cue: identifier, times, two lines of text, an empty one."""
    cues = [
        line
        for number, (start, end, text) in enumerate(BASE, 1)
        for line in (f"cue {number}", f"{clock(start, '.')} --> {clock(end, '.')}", *text.split("\n"), "")
    ]
    return ["WEBVTT", "", *cues]


Change = Callable[[list[str], int], list[str]]
"""A file's lines and the index of a cue's first line, to the lines of the broken one."""


def on_times(change: Callable[[str], str]) -> Change:
    return lambda lines, at: [*lines[: at + 1], change(lines[at + 1]), *lines[at + 2 :]]


def put(offset: int, line: str) -> Change:
    return lambda lines, at: [*lines[: at + offset], line, *lines[at + offset :]]


def cut(offset: int, count: int = 1) -> Change:
    return lambda lines, at: [*lines[: at + offset], *lines[at + offset + count :]]


def turned(line: str) -> str:
    start, end = line.split(" --> ")
    return f"{end} --> {start}"


def stopped(line: str) -> str:
    start, _ = line.split(" --> ")
    return f"{start} --> {start}"


def shorter(line: str) -> str:
    """The start loses its milliseconds."""
    return line[:8] + line[12:]


def without_hours(line: str) -> str:
    return line[3:]


@dataclass(frozen=True)
class Kind:
    """A way to break one cue. offset: of the line that is told of, from the cue's first. what becomes of the cue:
    'same', 'gone', or a function on it."""

    name: str
    change: Change
    offset: int
    words: str
    refused: bool = False
    becomes: str | Callable[[Cue], Cue] = "same"
    first_too: bool = True


def whole_second(cue: Cue) -> Cue:
    return (cue[0] // 1000 * 1000, cue[1], cue[2])


SRT_KINDS = (
    Kind("full-stops", on_times(lambda t: t.replace(",", ".")), 1, "'.' was taken for the comma"),
    Kind("semicolons", on_times(lambda t: t.replace(",", ";")), 1, "';' was taken for the comma"),
    Kind("colons", on_times(lambda t: t.replace(",", ":")), 1, "':' was taken for the comma"),
    Kind("space-for-comma", on_times(lambda t: t.replace(",", " ")), 1, "' ' was taken for the comma"),
    Kind("thin-arrow", on_times(lambda t: t.replace("-->", "->")), 1, "'->' was taken for '-->'"),
    Kind("long-arrow", on_times(lambda t: t.replace("-->", "--->")), 1, "'--->' was taken for '-->'"),
    Kind("dash-arrow", on_times(lambda t: t.replace("-->", "–>")), 1, "'–>' was taken for '-->'"),
    Kind("one-sign-arrow", on_times(lambda t: t.replace("-->", "→")), 1, "'→' was taken for '-->'"),
    Kind("broken-arrow", on_times(lambda t: t.replace("-->", "-- >")), 1, "'-- >' was taken for '-->'"),
    Kind("no-arrow", on_times(lambda t: t.replace("-->", "")), 1, "'-->' is missing"),
    Kind("dash-only", on_times(lambda t: t.replace("-->", "-")), 1, "'-->' is missing"),
    Kind("no-spaces", on_times(lambda t: t.replace(" ", "")), 1, "a space is missing"),
    Kind("full-stops-in-time", on_times(lambda t: t.replace(":", ".")), 1, "parted by colons"),
    Kind("no-hours", on_times(without_hours), 1, "the hours are missing"),
    Kind("one-digit-hours", on_times(lambda t: t[1:]), 1, "two digits each"),
    Kind("no-milliseconds", on_times(shorter), 1, "a whole second", becomes=whole_second),
    Kind("placed", on_times(lambda t: t + "  X1:100 X2:200"), 1, "behind the times was left out"),
    Kind("turned", on_times(turned), 1, "ends before it starts", True, "gone"),
    Kind("no-length", on_times(stopped), 1, "lasts no time", True, "gone"),
    Kind("before-zero", on_times(lambda t: "-" + t), 1, "before 0", True, "gone"),
    Kind("years", on_times(lambda t: "99999" + t), 1, "beyond 1000 hours", True, "gone"),
    Kind("letters-for-digits", on_times(lambda t: "0O" + t[2:]), 1, "cannot be read", True, "gone"),
    Kind("one-time", on_times(lambda t: t[:16]), 1, "cannot be read", True, "gone"),
    Kind("no-counter", cut(0), 0, "the counter is missing"),
    Kind("empty-behind-counter", put(1, ""), 0, "between counter and times"),
    Kind("empty-behind-times", put(2, "  "), 2, "between times and text"),
    Kind("empty-in-text", put(3, ""), 3, "inside a caption"),
    Kind("no-text", cut(2, 2), 1, "has no text", becomes="gone"),
    Kind("no-empty-line", cut(-1), -1, "the empty line before", first_too=False),
)

VTT_KINDS = (
    Kind("commas", on_times(lambda t: t.replace(".", ",")), 1, "',' was taken for the full stop"),
    Kind("thin-arrow", on_times(lambda t: t.replace("-->", "->")), 1, "'->' was taken for '-->'"),
    Kind("no-spaces", on_times(lambda t: t.replace(" ", "")), 1, "a space is missing"),
    Kind("no-arrow", on_times(lambda t: t.replace("-->", "")), 1, "'-->' is missing"),
    Kind("one-digit-hours", on_times(lambda t: t[1:]), 1, "two digits each"),
    Kind("no-milliseconds", on_times(shorter), 1, "a whole second", becomes=whole_second),
    Kind("no-setting", on_times(lambda t: t + " line:over"), 1, "'line:over' is no setting"),
    Kind("beyond", on_times(lambda t: t + " position:120%"), 1, "'position:120%' is no setting"),
    Kind("set-twice", on_times(lambda t: t + " size:50% size:60%"), 1, "size is set already"),
    Kind("turned", on_times(turned), 1, "ends before it starts", True, "gone"),
    Kind("no-length", on_times(stopped), 1, "lasts no time", True, "gone"),
    Kind("letters-for-digits", on_times(lambda t: "0O" + t[2:]), 1, "cannot be read", True, "gone"),
    Kind("one-time", on_times(lambda t: t[:16]), 1, "cannot be read", True, "gone"),
    Kind("empty-in-text", put(3, ""), 3, "inside a caption"),
    Kind("no-text", cut(2, 2), 0, "has no text", becomes="gone"),
)


def mutations() -> Iterator[Broken]:
    """Every kind of fault, in every cue of a good file that can have it."""
    for form, lines, head, kinds in (("srt", srt_lines(), 0, SRT_KINDS), ("vtt", vtt_lines(), 2, VTT_KINDS)):
        for kind in kinds:
            for number, cue in enumerate(BASE):
                if number == 0 and not kind.first_too:
                    continue
                at = head + 5 * number
                text = "\n".join(kind.change(lines, at)) + "\n"
                left = [*BASE]
                if kind.becomes == "gone":
                    del left[number]
                elif callable(kind.becomes):
                    left[number] = kind.becomes(cue)
                fault = (at + kind.offset + 1, kind.words, kind.refused)
                yield Broken(f"{kind.name}-{number + 1}.{form}", text.encode(), tuple(left), (fault,))


A, B = (1_000, 2_000, "one"), (3_000, 4_000, "two")
ONE = "1\n00:00:01,000 --> 00:00:02,000\none\n"
TWO = "2\n00:00:03,000 --> 00:00:04,000\ntwo\n"
V_ONE = "00:01.000 --> 00:02.000\none\n"
V_TWO = "00:03.000 --> 00:04.000\ntwo\n"
_TT = '<tt xmlns="http://www.w3.org/ns/ttml" xmlns:ttp="http://www.w3.org/ns/ttml#parameter" xml:lang="en">\n<body>\n'
_END = "</body>\n</tt>\n"
P_ONE = '<p begin="1s" end="2s">one</p>\n'
P_TWO = '<p begin="3s" end="4s">two</p>\n'


def _case(name: str, text: str | bytes, cues: tuple[Cue, ...], *faults: Fault) -> Broken:
    return Broken(name, text if isinstance(text, bytes) else text.encode(), cues, faults)


BY_HAND: tuple[Broken, ...] = (
    # SubRip: encodings, marks and line ends
    _case("mark.srt", "\ufeff" + ONE + "\n" + TWO, (A, B)),
    _case("crlf.srt", (ONE + "\n" + TWO).replace("\n", "\r\n"), (A, B)),
    _case("cr.srt", (ONE + "\n" + TWO).replace("\n", "\r"), (A, B)),
    _case("mixed-ends.srt", ONE.replace("\n", "\r\n") + "\n" + TWO.replace("\n", "\r"), (A, B)),
    _case("no-last-end.srt", ONE + "\n" + TWO.rstrip("\n"), (A, B)),
    _case("many-empty.srt", "\n\n\n" + ONE + "\n\n\n\n" + TWO + "\n\n\n", (A, B)),
    _case("utf16.srt", (ONE + "\n" + TWO).encode("utf-16"), (A, B)),
    _case("utf16-le.srt", (ONE + "\n" + TWO).encode("utf-16-le"), (A, B), (1, "no byte order mark", False)),
    _case("utf16-be.srt", (ONE + "\n" + TWO).encode("utf-16-be"), (A, B), (1, "no byte order mark", False)),
    _case("utf32.srt", (ONE + "\n" + TWO).encode("utf-32"), (A, B)),
    _case(
        "utf16-cut.srt",
        (ONE + "\n" + TWO).encode("utf-16")[:-1],
        ((1_000, 2_000, "one"), (3_000, 4_000, "two\ufffd")),
        (7, "not UTF-16-LE", False),
    ),
    _case(
        "latin.srt", ONE.replace("one", "Gerät").encode("latin-1"), ((1_000, 2_000, "Gerät"),), (3, "not UTF-8", False)
    ),
    _case(
        "one-latin-byte.srt",
        ONE.replace("one", "für").encode() + b"\n" + TWO.replace("two", "Ger\xe4t").encode("latin-1"),
        ((1_000, 2_000, "für"), (3_000, 4_000, "Gerät")),
        (7, "were read as Windows-1252", False),
    ),
    _case(
        "curly-windows.srt",
        ONE.replace("one", "\u201cone\u201d").encode("windows-1252"),
        ((1_000, 2_000, "\u201cone\u201d"),),
        (3, "not UTF-8", False),
    ),
    _case("zeros.srt", ONE + "\n" + TWO.replace("two", "t\x00wo"), (A, B), (7, "zero bytes", False)),
    _case("mark-inside.srt", ONE + "\n\ufeff" + TWO, (A, B)),
    # SubRip: structure
    _case("empty.srt", b"", ()),
    _case("only-empty.srt", "\n \n\t\n", ()),
    _case("prose.srt", "This is a letter\nand no caption file.\n", (), (1, "nothing here is a caption", True)),
    _case("prose-above.srt", "made with care\n\n" + ONE + "\n" + TWO, (A, B), (1, "before the first", True)),
    _case("first-counter-missing.srt", ONE[2:] + "\n" + TWO, (A, B), (1, "the counter is missing", False)),
    _case("counters-wrong.srt", "7" + ONE[1:] + "\n" + "7" + TWO[1:], (A, B)),
    _case("counter-zero.srt", "0" + ONE[1:] + "\n" + "1" + TWO[1:], (A, B)),
    _case("counters-down.srt", "2" + ONE[1:] + "\n" + "1" + TWO[1:], (A, B)),
    _case("number-as-text.srt", ONE.replace("one", "60") + "\n" + TWO, ((1_000, 2_000, "60"), B)),
    _case("number-ends-text.srt", ONE + "60\n\n" + TWO, ((1_000, 2_000, "one\n60"), B)),
    _case(
        "number-on-next-head.srt",
        ONE + "60\n" + TWO[2:],
        ((1_000, 2_000, "one\n60"), B),
        (4, "'60' was taken for text", False),
        (5, "counter is missing", False),
        (5, "empty line before", False),
    ),
    _case("counter-on-next-head.srt", ONE + TWO, (A, B), (4, "the empty line before", False)),
    _case(
        "no-counters-no-gaps.srt",
        ONE[2:] + TWO[2:],
        (A, B),
        (1, "counter", False),
        (3, "counter", False),
        (3, "the empty line before", False),
    ),
    _case(
        "two-empty-in-text.srt",
        ONE + "\n\nstill one\n\n" + TWO,
        ((1_000, 2_000, "one\nstill one"), B),
        (4, "inside a caption", False),
        (5, "inside a caption", False),
    ),
    _case(
        "word-for-counter.srt",
        ONE + "\nsecond\n" + TWO[2:],
        ((1_000, 2_000, "one\nsecond"), B),
        (4, "inside a caption", False),
        (6, "counter", False),
        (6, "empty line before", False),
    ),
    _case("times-alone.srt", "1\n00:00:01,000 --> 00:00:02,000\n\n" + TWO, (B,), (2, "no text", False)),
    _case("cut-off-in-times.srt", ONE + "\n2\n00:00:03,0", (A,), (6, "cannot be read", True)),
    _case("cut-off-at-arrow.srt", ONE + "\n2\n00:00:03,000 --", (A,), (6, "cannot be read", True)),
    _case("cut-off-in-counter.srt", ONE + "\n2", ((1_000, 2_000, "one\n2"),), (4, "inside a caption", False)),
    _case(
        "time-in-text.srt", ONE + "12:30:15 by the clock\n\n" + TWO, ((1_000, 2_000, "one\n12:30:15 by the clock"), B)
    ),
    _case("cut-off-behind-arrow.srt", ONE + "\n2\n00:00:03,000 -->", (A,), (6, "cannot be read", True)),
    _case(
        "times-in-text.srt",
        ONE + "from 00:01:00 --> 00:02:00 it rains\n\n" + TWO,
        ((1_000, 2_000, "one\nfrom 00:01:00 --> 00:02:00 it rains"), B),
        (4, "kept as text", False),
    ),
    _case("arrow-in-text.srt", ONE + "A --> B\n\n" + TWO, ((1_000, 2_000, "one\nA --> B"), B)),
    _case("tags.srt", ONE.replace("one", "<i>one</b> {\\an8}<"), ((1_000, 2_000, "<i>one</b> {\\an8}<"),)),
    _case("spaces-at-ends.srt", "1 \n 00:00:01,000 --> 00:00:02,000 \none  \n", (A,)),
    _case("tabs.srt", "1\n00:00:01,000\t-->\t00:00:02,000\none\n", (A,)),
    # SubRip: times
    _case("half-second.srt", ONE.replace("01,000", "01,5"), ((1_500, 2_000, "one"),), (2, "decimal fraction", False)),
    _case("microseconds.srt", ONE.replace("02,000", "02,000999"), (A,), (2, "decimal fraction", False)),
    _case("sixty-seconds.srt", ONE.replace("00:02,", "00:60,"), ((1_000, 60_000, "one"),), (2, "carried over", False)),
    _case(
        "ninety-minutes.srt", ONE.replace("00:00:02", "00:90:00"), ((1_000, 5_400_000, "one"),), (2, "carried", False)
    ),
    _case("a-day.srt", ONE.replace("00:00:02", "26:00:00"), ((1_000, 93_600_000, "one"),)),
    _case("hundred-hours.srt", ONE.replace("00:00:02", "100:00:00"), ((1_000, 360_000_000, "one"),)),
    _case("out-of-order.srt", TWO + "\n" + ONE, (A, B), (5, "put in order", False)),
    _case(
        "overlap.srt", ONE.replace("02,000", "03,500") + "\n" + TWO, ((1_000, 3_000, "one"), B), (1, "cut short", False)
    ),
    _case(
        "same-start.srt",
        ONE + "\n" + TWO.replace("03,000", "01,000"),
        (A, (1_000, 4_000, "two")),
        (5, "starts together", False),
    ),
    _case(
        "joined-files.srt",
        ONE + "\n" + TWO + "\n" + ONE.replace("one", "again"),
        (A, (1_000, 2_000, "again"), B),
        (9, "put in order", False),
        (9, "starts together", False),
    ),
    # WebVTT
    _case("short-times.vtt", "WEBVTT\n\n" + V_ONE + "\n" + V_TWO, (A, B)),
    _case("mark.vtt", "\ufeffWEBVTT\n\n" + V_ONE, (A,)),
    _case("crlf.vtt", ("WEBVTT - title\n\n" + V_ONE + "\n" + V_TWO).replace("\n", "\r\n"), (A, B)),
    _case("cr.vtt", ("WEBVTT\n\n" + V_ONE + "\n" + V_TWO).replace("\n", "\r"), (A, B)),
    _case("no-header.vtt", V_ONE + "\n" + V_TWO, (A, B), (1, "WEBVTT, is missing", False)),
    _case("late-header.vtt", "\nWEBVTT\n\n" + V_ONE, (A,), (2, "must begin with", False)),
    _case("small-header.vtt", "webvtt\n\n" + V_ONE, (A,), (1, "must begin with", False)),
    _case("glued-header.vtt", "WEBVTTs\n\n" + V_ONE, (A,), (1, "must begin with", False)),
    _case("no-line-behind-header.vtt", "WEBVTT\n" + V_ONE + "\n" + V_TWO, (A, B), (2, "behind WEBVTT", False)),
    _case("name-behind-header.vtt", "WEBVTT\nfirst\n" + V_ONE, (A,), (2, "behind WEBVTT", False)),
    _case("header-text.vtt", "WEBVTT\nKind: captions\nLanguage: en\n\n" + V_ONE, (A,)),
    _case("notes.vtt", "WEBVTT\n\nNOTE\nof hand\n\n" + V_ONE + "\nNOTE again\n\n" + V_TWO, (A, B)),
    _case("style.vtt", "WEBVTT\n\nSTYLE\n::cue { color: red }\n\n" + V_ONE, (A,), (3, "a style block", False)),
    _case("region.vtt", "WEBVTT\n\nREGION\nid:foot\n\n" + V_ONE, (A,), (3, "a region block", False)),
    _case(
        "late-style.vtt",
        "WEBVTT\n\n" + V_ONE + "\nSTYLE\n::cue { color: red }\n\n" + V_TWO,
        (A, B),
        (6, "none is allowed", False),
    ),
    _case("split-note.vtt", "WEBVTT\n\n" + V_ONE + "\nNOTE a\n\nb\n\n" + V_TWO, (A, B), (8, "has no times", True)),
    _case("text-first.vtt", "WEBVTT\n\nstray\n\n" + V_ONE, (A,), (3, "before the first", True)),
    _case("joined.vtt", "WEBVTT\n\n" + V_ONE + V_TWO, (A, B), (5, "the empty line before", False)),
    _case("joined-numbers.vtt", "WEBVTT\n\n1\n" + V_ONE + "2\n" + V_TWO, (A, B), (6, "the empty line before", False)),
    _case(
        "number-apart.vtt", "WEBVTT\n\n" + V_ONE + "\n2\n\n" + V_TWO, (A, B), (6, "between identifier and times", False)
    ),
    _case(
        "names-twice.vtt", "WEBVTT\n\na\n" + V_ONE + "\na\n" + V_TWO, (A, B), (7, "names the caption of line 3", False)
    ),
    _case("overlap.vtt", "WEBVTT\n\n" + V_ONE.replace("02.000", "03.500") + "\n" + V_TWO, ((1_000, 3_500, "one"), B)),
    _case("out-of-order.vtt", "WEBVTT\n\n" + V_TWO + "\n" + V_ONE, (A, B), (6, "put in order", False)),
    _case("utf16.vtt", ("WEBVTT\n\n" + V_ONE).encode("utf-16"), (A,), (1, "must be UTF-8", False)),
    _case("settings.vtt", "WEBVTT\n\n" + V_ONE.replace("\n", " line:0 align:start position:10%,line-left\n", 1), (A,)),
    _case("only-header.vtt", "WEBVTT\n", ()),
    _case(
        "subrip-named.vtt",
        ONE + "\n" + TWO,
        (A, B),
        (1, "WEBVTT, is missing", False),
        (2, "full stop", False),
        (6, "full stop", False),
    ),
    _case("really-webvtt.srt", "WEBVTT\n\n" + V_ONE, (A,)),
    # TTML
    _case("plain.ttml", _TT + P_ONE + P_TWO + _END, (A, B)),
    _case("really-ttml.srt", _TT + P_ONE + _END, (A,)),
    _case("cut.ttml", _TT + P_ONE + '<p begin="3s" en', (A,), (4, "no well-formed XML", True)),
    _case("unclosed.ttml", _TT + P_ONE + P_TWO, (A, B), (5, "no well-formed XML", True)),
    _case(
        "crossed.ttml", _TT + P_ONE + "<div>" + P_TWO + "</span></div>" + _END, (A, B), (5, "no well-formed XML", True)
    ),
    _case(
        "bare-ampersand.ttml",
        _TT + P_ONE + P_TWO.replace("two", "this & that") + _END,
        (A,),
        (4, "no well-formed XML", True),
    ),
    _case("doctype.ttml", "<!DOCTYPE tt>\n" + _TT + P_ONE + _END, (), (1, "document type", True)),
    _case(
        "entities.ttml",
        '<?xml version="1.0"?>\n<!DOCTYPE tt [<!ENTITY a "b">]>\n' + _TT + P_ONE.replace("one", "&a;") + _END,
        (),
        (2, "document type", True),
    ),
    _case("no-end.ttml", _TT + P_ONE.replace(' end="2s"', "") + P_TWO + _END, (B,), (3, "has no end", True)),
    _case(
        "bad-time.ttml", _TT + P_ONE.replace("1s", "soon") + P_TWO + _END, (B,), (3, "begin='soon' is no time", True)
    ),
    _case("bad-minutes.ttml", _TT + P_ONE.replace("1s", "00:61:00") + P_TWO + _END, (B,), (3, "is no time", True)),
    _case("turned.ttml", _TT + P_ONE.replace("2s", "0.5s") + P_TWO + _END, (B,), (3, "ends before it starts", True)),
    _case("no-text.ttml", _TT + P_ONE.replace("one", " ") + P_TWO + _END, (B,), (3, "has no text", False)),
    _case("order.ttml", _TT + P_TWO + P_ONE + _END, (A, B), (4, "put in order", False)),
    _case("other-root.ttml", "<html>\n<p>one</p>\n</html>", (), (1, "not <tt>", True)),
    _case(
        "rate.ttml",
        _TT.replace(" xml:lang", ' ttp:frameRate="fast" xml:lang') + P_ONE + _END,
        (A,),
        (1, "frame rate", False),
    ),
    _case("frames.ttml", _TT + P_ONE.replace("2s", "00:00:01:15") + _END, ((1_000, 1_500, "one"),)),
    _case(
        "multiplied.ttml",
        _TT.replace(" xml:lang", ' ttp:frameRate="30" ttp:frameRateMultiplier="1000 1001" xml:lang')
        + P_ONE.replace("2s", "00:00:01:15")
        + _END,
        ((1_000, 1_500, "one"),),
    ),
    _case(
        "nested.ttml",
        _TT + '<div begin="10s" end="12.5s">' + P_ONE + P_TWO.replace("4s", "1h") + "</div>" + _END,
        ((11_000, 12_000, "one"),),
        (4, "ends before it starts", True),
    ),
    _case("duration.ttml", _TT + P_ONE.replace('end="2s"', 'dur="1000ms"') + _END, (A,)),
)


def corpus() -> tuple[Broken, ...]:
    return (*mutations(), *BY_HAND)
