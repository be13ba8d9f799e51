"""The keys under `sound:`: how loud the programme is, how far the background is lowered under speech, and music."""

from __future__ import annotations

import difflib
import re
from fractions import Fraction

from assembler.storyboard.scalars import shown
from assembler.storyboard.shapes import FLOAT, INT, TEXT, Either, Flag, Key, Keys, ListOf, Parsed, UnfitError
from assembler.storyboard.written import FILE, GAIN, INSTANT, OWN_ID

TARGETS = {
    # Common practice for video on the web and for podcasts, no normative source.
    "web": (-14.0, -1.0),
    "podcast": (-16.0, -1.0),
    # EBU R 128: -23.0 LUFS, true peak at most -1 dBTP.
    "broadcast-r128": (-23.0, -1.0),
    # ATSC A/85, from memory: -24 LKFS, true peak at most -2 dBTP.
    "broadcast-a85": (-24.0, -2.0),
}
"""Named targets: integrated loudness in LUFS and the highest true peak in dBTP."""

DEFAULT_TARGET = "web"
LOUDNESS_LIMITS = (-36.0, -9.0)
PEAK_LIMITS = (-12.0, 0.0)
DUCK_LIMITS = (-40.0, 0.0)

_NUMBER = r"([-+−]?\d{1,3}(?:\.\d{1,4})?)"


def loudness(text: str, rate: Fraction) -> str | float:
    """The name of a target, or `-16 LUFS` as a number."""
    written = text.strip()
    if written in TARGETS:
        return written
    match = re.fullmatch(rf"{_NUMBER} ?(?:LUFS|LKFS)?", written, re.ASCII | re.IGNORECASE)
    if not match:
        near = difflib.get_close_matches(written.lower(), TARGETS, n=1, cutoff=0.5)
        mend = f"did you mean '{near[0]}'?" if near else f"write {', '.join(TARGETS)}, or a loudness such as -16 LUFS"
        raise UnfitError(f"'{shown(text)}' is not a loudness", mend)
    return _within(match[1], LOUDNESS_LIMITS, f"a loudness of {shown(written)}", "LUFS", "-14 LUFS")


def peak(text: str, rate: Fraction) -> float:
    """`-1 dBTP`."""
    match = re.fullmatch(rf"{_NUMBER} ?(?:dBTP|dB)?", text.strip(), re.ASCII | re.IGNORECASE)
    if not match:
        raise UnfitError(f"'{shown(text)}' is not a peak", "write the highest true peak, such as -1 dBTP")
    return _within(match[1], PEAK_LIMITS, f"a peak of {shown(text.strip())}", "dBTP", "-1 dBTP")


def duck(text: str, rate: Fraction) -> float:
    """`-12 dB`."""
    match = re.fullmatch(rf"{_NUMBER} ?(?:dB)?", text.strip(), re.ASCII | re.IGNORECASE)
    if not match:
        raise UnfitError(f"'{shown(text)}' is not a change of level", "write decibels, such as -12 dB")
    if float(match[1].replace("−", "-")) > 0:
        number = match[1].lstrip("+")
        raise UnfitError(f"{shown(text.strip())} would raise the background under speech", f"write -{number} dB")
    return _within(match[1], DUCK_LIMITS, f"lowering by {shown(text.strip())}", "dB", "-12 dB")


def _within(number: str, limits: tuple[float, float], what: str, unit: str, example: str) -> float:
    value = float(number.replace("−", "-"))
    low, high = limits
    if not low <= value <= high:
        raise UnfitError(f"{what} is outside {low:g} {unit} to {high:g} {unit}", f"write a value such as {example}")
    return value


def _level(noun: str, parse: object, limits: tuple[float, float], unit: str, *words: str) -> Parsed:
    number = rf"[-+−]?[0-9]{{1,3}}(\.[0-9]{{1,4}})? ?({unit})?"
    pattern = f"^ *({'|'.join((*words, number))}) *$"
    schema = {"anyOf": [{"type": "number", "minimum": limits[0], "maximum": limits[1]},
                        {"type": "string", "pattern": pattern}]}
    return Parsed(noun=noun, parse=parse, schema=schema, takes=(TEXT, INT, FLOAT))  # type: ignore[arg-type]


_LOUDNESS = _level("web, podcast, broadcast-r128, broadcast-a85, or a loudness such as -16 LUFS", loudness,
                   LOUDNESS_LIMITS, "LUFS|LKFS", *TARGETS)
_PEAK = _level("a true peak such as -1 dBTP", peak, PEAK_LIMITS, "dBTP|dB")
_DUCK = _level("decibels, such as -12 dB", duck, DUCK_LIMITS, "dB")

_MUSIC = Keys(
    name="music",
    noun="keys such as {file: music/tide.flac}",
    about="Music under the programme. It is first brought to 4 LU below the narration, and lowered under speech like "
          "the sound of captures.",
    keys=(
        Key(name="file", shape=FILE, about="The sound file, as a path from the storyboard's folder.",
            examples=("music/tide.flac",), required=True),
        Key(name="gain", shape=GAIN, about="How much louder or softer than 4 LU below the narration.",
            examples=("-4 dB",), default="0 dB", gives="0 dB"),
        Key(name="segments", shape=ListOf(noun="a list of segment ids", item=OWN_ID, least=1, most=2000),
            about="The segments it plays under. Where one follows the other it plays on; after a gap it begins anew.",
            examples=(["opening", "verdict"],), default="the whole programme"),
        Key(name="from", shape=INSTANT, about="The time in the file at which it begins.", examples=("12 s",),
            default="0 s", gives="0 s"),
        Key(name="loop", shape=Flag(noun="true or false"),
            about="Whether it begins anew where the file ends; the seam is faded over 5 ms.", examples=(True,),
            default="false: silence follows", gives=False),
        Key(name="fade-in", shape=INSTANT, about="How long it takes to come in.", examples=("2 s",), default="1 s",
            gives="1 s"),
        Key(name="fade-out", shape=INSTANT, about="How long it takes to go out.", examples=("3 s",), default="2 s",
            gives="2 s"),
    ),
)

SOUND = Keys(
    name="sound",
    noun="keys such as {loudness: web, duck: -12 dB}",
    about="How loud the programme is, how far the background is lowered under speech, and music.",
    keys=(
        Key(name="loudness", shape=_LOUDNESS,
            about="The programme's integrated loudness (ITU-R BS.1770), as a number or by name: web (-14 LUFS) and "
                  "podcast (-16 LUFS) are common practice without a source; broadcast-r128 (-23 LUFS) is EBU R 128, "
                  "broadcast-a85 (-24 LKFS) ATSC A/85.",
            examples=("web", "broadcast-r128", "-16 LUFS"), default="web", gives="web"),
        Key(name="peak", shape=_PEAK,
            about="The highest true peak. The limiter stays 1.8 dB under it, for what coding does to peaks.",
            examples=("-1 dBTP", "-2 dBTP"), default="-1 dBTP; -2 dBTP for broadcast-a85"),
        Key(name="duck", shape=_DUCK,
            about="How far the sound of captures and music are lowered while someone speaks, from -40 dB to 0 dB. They "
                  "fall over 0.12 s, beginning 0.15 s before the first word, stay down for 0.35 s after the last one "
                  "and come back over 0.6 s. In pauses shorter than 1.1 s, in a line or between lines, they stay down.",
            examples=("-12 dB", "-18 dB"), default="-12 dB", gives="-12 dB"),
        Key(name="music",
            shape=Either(noun="keys such as {file: music/tide.flac}, or a list of them",
                         shapes=(_MUSIC, ListOf(noun="a list of music", item=_MUSIC, least=1, most=50))),
            about="Music under the whole programme or some of its segments.",
            examples=({"file": "music/tide.flac"},
                      {"file": "music/tide.flac", "gain": "-4 dB", "loop": True, "segments": ["opening"]}),
            default="none"),
    ),
)
