"""Every key of a storyboard: what it is, what it takes, its default and examples.

The reader, the JSON Schema and `explain` all work from `STORYBOARD`; rules that join several keys are in `rules.py`.
"""

from __future__ import annotations

import re

from assembler.storyboard.keys_captions import CAPTIONS
from assembler.storyboard.keys_shot import PANE_WITH_ID, SHOT, TIMES_OF_A_LINE
from assembler.storyboard.keys_sound import SOUND
from assembler.storyboard.shapes import ById, Choice, Either, Flag, Key, Keys, ListOf, Number, Reference, Text
from assembler.storyboard.written import (
    FILE,
    FOLDER,
    GAIN,
    INSTANT,
    LANGUAGE,
    LENGTH,
    LENGTH_OR_FIT,
    OWN_ID,
    RATE,
    SAID,
    SIGNED,
    SIZE,
    SPEAKER,
    STRETCH,
)

FORMAT_VERSION = 1

__all__ = ["FORMAT_VERSION", "PANE_WITH_ID", "SEGMENT", "STORYBOARD"]

_CAPTURE_ID = Reference(noun="the id of a capture", table="captures")

_CANVAS = Keys(
    name="canvas",
    noun="keys such as {size: 1920x1080, rate: 60}",
    about="The programme's picture: how large it is and how many frames it has a second.",
    keys=(
        Key(name="size", shape=SIZE, about="Width and height in pixels, both even, 160x90 to 7680x4320.",
            examples=("1920x1080", "3840x2160"), default="1920x1080", gives="1920x1080"),
        Key(name="rate", shape=RATE,
            about="Frames a second: 24, 25, 30, 50, 60, 120, or 23.976, 29.97, 59.94, 119.88, which stand for "
                  "their exact values over 1001 (59.94 is 60000/1001).",
            examples=(60, 59.94, "60000/1001"), default="60", gives=60),
    ),
)

_SUBJECT = Keys(
    name="subject",
    noun="keys such as {name: Ash, note: desktop}",
    about="A thing compared, such as one of two machines.",
    keys=(
        Key(name="name", shape=Text(noun="text", longest=80), about="The name that labels show.",
            examples=("Ash",), required=True),
        Key(name="note", shape=Text(noun="text", longest=120, may_be_empty=True),
            about="A few words that labels show smaller, beneath the name.", examples=("desktop",), default="none",
            gives=""),
    ),
)

_LINE_UP = Keys(
    name="line-up",
    noun="keys such as {with: ash-quay}",
    about="How this capture lines up in time with another, so that both show the same moment.",
    keys=(
        Key(name="with", shape=_CAPTURE_ID, about="The id of the other capture.", examples=("ash-quay",),
            required=True),
        Key(name="offset", shape=SIGNED,
            about="The time in this capture at which it shows what the other shows at its own 0: the time of "
                  "an event here minus its time there. It is negative where this capture began later.",
            examples=("-21 f", "350 ms"), default="measured from the pictures"),
    ),
)

_LOG = Keys(
    name="log",
    noun="keys such as {file: logs/ash_quay.csv}",
    about="Frame times that the machine itself wrote while it was captured. They stand in for the measured ones.",
    keys=(
        Key(name="file", shape=FILE,
            about="A CSV file with a column time_s (when each frame came, seconds), frame_ms (how long it stayed, "
                  "milliseconds), or both, as a path from the storyboard's folder.",
            examples=("logs/ash_quay.csv",), required=True),
        Key(name="offset", shape=SIGNED,
            about="The time in this capture at which the log's own clock stands at 0; negative where the log began "
                  "earlier.",
            examples=("2.5 s", "-350 ms"), default="found by comparing the log's rhythm with the measured one"),
    ),
)

_CAPTURE = Keys(
    name="capture",
    noun="keys such as {file: footage/ash.mp4, subject: ash}",
    about="A video file of a subject.",
    keys=(
        Key(name="file", shape=FILE, about="The video file, as a path from the storyboard's folder.",
            examples=("footage/ash_quay.mp4",), required=True),
        Key(name="subject", shape=Reference(noun="the id of a subject", table="subjects"),
            about="The id of the subject it shows; labels take their words and colour from it.", examples=("ash",),
            default="none: the pane has no label"),
        Key(name="line-up", shape=_LINE_UP, about="How this capture lines up in time with another.",
            examples=({"with": "ash-quay"}, {"with": "ash-quay", "offset": "-21 f"}),
            default="none: it counts from its own beginning"),
        Key(name="log", shape=_LOG, about="Frame times that the machine itself wrote; graphs are drawn from them.",
            examples=({"file": "logs/ash_quay.csv"}, {"file": "logs/ash_quay.csv", "offset": "2.5 s"}),
            default="none: frame times are measured from the pictures"),
    ),
)

_VOICE = Keys(
    name="voice",
    noun="{scratch: en-us+f3}",
    about="Which of its voices the scratch voice uses.",
    keys=(
        Key(name="scratch", shape=SPEAKER,
            about="A voice of the scratch voice, such as en-us, with + and a variant such as f3 or m3. A name that it "
                  "does not have is answered with those that it has.",
            examples=("en-us+f3", "en-us+m3"), required=True),
    ),
)

_NARRATION = Keys(
    name="narration",
    noun="keys such as {takes: takes, pace: 160}",
    about="How the lines are voiced, and the silence around them.",
    keys=(
        Key(name="takes", shape=FOLDER, about="The folder that holds the recordings.", examples=("takes",),
            default="takes", gives="takes"),
        Key(name="voice",
            shape=Either(noun="scratch, none, or {scratch: en-us+f3}", shapes=(
                Choice(noun="scratch or none", words=(
                    ("scratch", "a machine voice speaks the lines that have no take yet"),
                    ("none", "lines without a take stay silent; their length is estimated from `pace`"))),
                _VOICE)),
            about="What speaks the lines that have no recording yet.", examples=("scratch", {"scratch": "en-us+f3"}),
            default="scratch", gives="scratch"),
        Key(name="pace", shape=Number(noun="a whole number", whole=True, least=60, most=400),
            about="Words a minute, for lines that have no recording yet.", examples=(160,), default="160", gives=160),
        Key(name="lead", shape=INSTANT, about="Silence before the first line of a segment.", examples=("0.3 s",),
            default="0.3 s", gives="0.3 s"),
        Key(name="pause", shape=INSTANT, about="Silence between two lines.", examples=("0.35 s",), default="0.35 s",
            gives="0.35 s"),
        Key(name="tail", shape=INSTANT,
            about="Silence after the last line, in a segment that lasts as long as its words.",
            examples=("0.5 s",), default="0.5 s", gives="0.5 s"),
        Key(name="stretch", shape=STRETCH,
            about="Make every line faster or slower at its own pitch: at most 5 % faster or 3 % slower. Word times and "
                  "captions follow.",
            examples=("3 % faster", "2 % slower"), default="none: lines stay as they were spoken"),
    ),
)

_LINE_TEXT = Text(noun="the words to speak", longest=2000)

_LINE = Keys(
    name="line",
    noun="text, or keys such as {text: ..., pause: 0.4 s}",
    about="One narration line.",
    keys=(
        Key(name="text", shape=_LINE_TEXT, about="The words to speak.",
            examples=("Ash holds 60 frames a second.",), required=True),
        Key(name="spoken", shape=SAID,
            about="What is said for the whole line, in words, where its text does not give it. Captions keep the text.",
            examples=("The Q X forty ninety holds sixty.",),
            default="what the lexicon and the rules of the language give; `assembler check --spoken` shows it"),
        *TIMES_OF_A_LINE,
    ),
)

_LINE_OR_TEXT = Either(noun="text, or keys such as {text: ..., pause: 0.4 s}", shapes=(_LINE_TEXT, _LINE))

_GRAPH = Choice(noun="frame-rate, frame-time or cadence", words=(
    ("frame-rate", "new pictures a second, as a line"),
    ("frame-time", "how long each picture stood, in milliseconds"),
    ("cadence", "a strip with a cell for each new picture, as long as it stood")))

_GRAPHS = Keys(
    name="graphs",
    noun="keys such as {kinds: [frame-rate, cadence], window: 5 s}",
    about="Graphs of what the captures shown were measured to do, in step with the picture.",
    keys=(
        Key(name="kinds", shape=ListOf(noun="a list of graphs", item=_GRAPH, least=1, most=3),
            about="Which graphs, from top to bottom.", examples=(["frame-rate", "cadence"],), required=True),
        Key(name="window", shape=LENGTH, about="How much time they span, from 2 s to 30 s.", examples=("8 s",),
            default="5 s", gives="5 s"),
    ),
)

_HEAR = Keys(
    name="hear",
    noun="keys such as {capture: ash-quay, gain: -6 dB}",
    about="The sound of a capture, heard under a segment and lowered while someone speaks.",
    keys=(
        Key(name="capture", shape=_CAPTURE_ID, about="The id of the capture to hear.", examples=("ash-quay",),
            required=True),
        Key(name="from", shape=INSTANT, about="The time in the capture at which its sound begins.", examples=("2 s",),
            default="the same moment as the capture's picture, where the segment shows it; else its beginning"),
        Key(name="gain", shape=GAIN, about="How much louder or softer, from -60 dB to 24 dB.",
            examples=("-6 dB", -6), default="0 dB", gives="0 dB"),
    ),
)

_HEAR_ONE = Either(noun="the id of a capture, or keys such as {capture: ash-quay, gain: -6 dB}",
                   shapes=(_CAPTURE_ID, _HEAR))

_FADE = Key(name="fade", shape=LENGTH, about="How long the fade from or to the dark ground colour takes.",
            examples=("0.5 s",))

_ENTER = Keys(
    name="enter",
    noun="{dissolve: 0.5 s} or {fade: 0.5 s}",
    about="How a segment begins, other than with a cut.",
    keys=(
        Key(name="dissolve", shape=LENGTH, about="How long the picture before takes to turn into this one.",
            examples=("0.5 s",)),
        _FADE,
    ),
    one_of=("dissolve", "fade"),
)

_LEAVE = Keys(name="leave", noun="{fade: 0.5 s}", about="How a segment ends, other than with a cut.",
              keys=(_FADE,), one_of=("fade",))

SEGMENT = Keys(
    name="segment",
    noun="keys such as {id: opening, say: ..., show: ...}",
    about="A stretch of the programme: something to show and, mostly, something to say.",
    keys=(
        Key(name="id", shape=OWN_ID, about="A short name of its own, by which findings and options call the segment.",
            examples=("opening",), required=True),
        Key(name="chapter",
            shape=Either(noun="text, or false", shapes=(Text(noun="text", longest=120, may_be_empty=True),
                                                        Flag(noun="false", only=False))),
            about="The name of the chapter that begins here; false when none does.", examples=("Opening", False),
            default="the segment's id"),
        Key(name="at", shape=INSTANT, about="The programme time at which the segment begins.",
            examples=("00:00:09:00",), default="where the segment before it ends"),
        Key(name="until", shape=INSTANT, about="The programme time at which it ends. Write either this or `lasts`.",
            examples=("00:00:18:00",)),
        Key(name="lasts", shape=LENGTH_OR_FIT,
            about="How long it lasts, or `fit`: as long as its narration needs. Write either this or `until`.",
            examples=("fit", "9 s"), default="fit where there is something to say, else the sum of its shots"),
        Key(name="say",
            shape=Either(noun="text or a list of lines",
                         shapes=(_LINE_TEXT, _LINE, ListOf(noun="a list of lines", item=_LINE_OR_TEXT, most=200))),
            about="The narration: one line of text, or a list of lines.",
            examples=("Two machines, one harbour at dusk.", [{"text": "Here they differ.", "pause": "0.4 s"}]),
            default="nothing is said"),
        Key(name="show",
            shape=Either(noun="one shot, such as {full: ash-quay}, or a list of shots",
                         shapes=(SHOT, ListOf(noun="a list of shots", item=SHOT, least=1, most=200))),
            about="What is seen: one shot, or several one after the other. One of them may go without `lasts` and "
                  "takes the time the others leave.",
            examples=({"full": "ash-quay"}, [{"lasts": "2 s", "full": "ash-quay"}, {"full": "birch-quay"}]),
            required=True),
        Key(name="hear",
            shape=Either(noun="the id of a capture, keys, or a list of either",
                         shapes=(_CAPTURE_ID, _HEAR, ListOf(noun="a list", item=_HEAR_ONE, most=8))),
            about="Captures whose sound is heard.", examples=("ash-quay", {"capture": "ash-quay", "gain": "-6 dB"}),
            default="no capture is heard"),
        Key(name="graphs",
            shape=Either(noun="the name of a graph, a list of them, or keys",
                         shapes=(_GRAPH, ListOf(noun="a list of graphs", item=_GRAPH, least=1, most=3), _GRAPHS)),
            about="Graphs of what the captures shown were measured to do, in step with the picture.",
            examples=(["frame-rate", "cadence"], {"kinds": ["frame-time"], "window": "8 s"}),
            default="no graphs"),
        Key(name="enter", shape=_ENTER, about="How the segment begins.", examples=({"dissolve": "0.5 s"},),
            default="with a cut"),
        Key(name="leave", shape=_LEAVE, about="How the segment ends.", examples=({"fade": "1 s"},),
            default="with a cut"),
    ),
    not_both=("until", "lasts"),
)

STORYBOARD = Keys(
    name="storyboard",
    noun="keys, beginning with `storyboard: 1`",
    about="A storyboard: what is compared, the footage, the words, and what is seen while they are spoken.",
    keys=(
        Key(name="storyboard",
            shape=Number(noun="1", whole=True, least=FORMAT_VERSION, most=FORMAT_VERSION,
                         hint="this is the only version of the format so far; write storyboard: 1"),
            about="The version of the format, always 1.", examples=(1,), required=True,
            missing=("the storyboard does not say which version of the format it is",
                     "begin it with the line: storyboard: 1")),
        Key(name="title", shape=Text(noun="text", longest=200), about="The programme's title.",
            examples=("Harbour Lights on two machines",), required=True),
        Key(name="language", shape=LANGUAGE, about="The language that is spoken.", examples=("en", "de"),
            default="en", gives="en"),
        Key(name="lexicon",
            shape=ById(noun="written words, each with how it is said", item=SAID, id_noun="a written word",
                       id_pattern=re.compile(r"(?=.*\w)[^\s\x00-\x1f\x7f](?:[^\x00-\x1f\x7f]{0,98}[^\s\x00-\x1f\x7f])?"),
                       id_rule="write one or more words as they stand in the lines, 100 characters at most"),
            about="How written words are said, before any rule. Letters said by name stand alone as capitals (G P U). "
                  "Captions keep the written words.",
            examples=({"QX 4090": "Q X forty ninety", "VRAM": "vee ram"},),
            default="none: the rules of the language decide; `assembler check --spoken` shows what they give"),
        Key(name="canvas", shape=_CANVAS, about="The size and rate of the programme's picture.",
            examples=({"size": "1920x1080", "rate": 60},), default="1920x1080 at 60 frames a second"),
        Key(name="subjects",
            shape=ById(noun="an id for each subject, with its name", most=12, item=Either(
                noun="a name, or keys such as {name: Ash, note: desktop}",
                shapes=(Text(noun="text", longest=80), _SUBJECT))),
            about="The things compared, each under an id. Their order decides colours and line styles.",
            examples=({"ash": {"name": "Ash", "note": "desktop"}, "birch": "Birch"},), default="none"),
        Key(name="captures", shape=ById(noun="an id for each capture, with its file", item=_CAPTURE),
            about="The video files, each under an id.",
            examples=({"ash-quay": {"file": "footage/ash_quay.mp4", "subject": "ash"}},), default="none"),
        Key(name="narration", shape=_NARRATION, about="How the lines are voiced.",
            examples=({"takes": "takes", "pace": 160},), default="a scratch voice at 160 words a minute"),
        Key(name="captions", shape=CAPTIONS, about="Captions of the narration.",
            examples=({"burn": True, "limits": "online"},), default="shown in drafts, limits for online viewing"),
        Key(name="sound", shape=SOUND,
            about="How loud the programme is, how far the background is lowered under speech, and music.",
            examples=({"loudness": "web", "duck": "-12 dB"}, {"music": {"file": "music/tide.flac"}}),
            default="-14 LUFS, -1 dBTP, lowered by 12 dB, no music"),
        Key(name="fonts", shape=ListOf(noun="a list of font files", item=FILE, most=16),
            about="Font files from the project folder, used for what the fonts that come with assembler cannot draw.",
            examples=(["fonts/Handwriting.ttf"],), default="none"),
        Key(name="segments", shape=ListOf(noun="a list of segments", item=SEGMENT, least=1, most=2000),
            about="The programme, in order.",
            examples=([{"id": "opening", "say": "Two machines.", "show": {"full": "ash-quay"}}],), required=True),
    ),
)
