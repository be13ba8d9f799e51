"""Which stretch of which recording each line is spoken from: `choices.yaml` in the takes folder.

    takes:
      opening-1:                        # line 1 of segment `opening`
        verdict: proposed               # or flagged, missing; chosen = decided by a person
        recording: takes/session.wav
        in: 12.340 s
        out: 15.670 s
        confidence: 0.97
        why: the last of 2 good takes
        by: assembler                   # hand = decided by a person, and left alone from then on
        prints: {recording: 5d0c…, text: 91bc…, entry: 03aa…}

A person's file: entries that a person wrote or changed stay as they are, letter for letter (an entry that no longer
fits its own print was changed), and so do comments. Only untouched proposals give way to new ones.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

from assembler.errors import Place, Problem, StoryboardError
from assembler.measure.overrides import grown, of_this_file, read_if_there
from assembler.media.landing import write_whole
from assembler.narration.words import split_words
from assembler.storyboard.reader import Fields, Reader, Report, Value
from assembler.storyboard.shapes import ById, Choice, Key, Keys, Number, Parsed, Text, UnfitError
from assembler.storyboard.written import FILE as PATH_INSIDE
from assembler.storyboard.written import INSTANT, instant
from assembler.timing.grammar import Time

FILE_NAME = "choices.yaml"
Verdict = Literal["proposed", "flagged", "missing", "chosen"]

HEAD = """\
# Which stretch of which recording each line is spoken from. `assembler takes RECORDING` adds to this file.
# Entries that you write or change are yours: they win from then on and are never written over.
# To decide a line: `assembler takes --choose LINE=NUMBER`, or set `in`, `out` and `verdict: chosen` here.
takes:
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """One line's entry. in_s, out_s: seconds from the recording's first sample; None, like `recording`, where there
    is no take. prints: of recording and of the line's words when the entry was made.
    place: where the entry stands, where it was read from a file."""

    key: str
    verdict: Verdict
    recording: str | None = None
    in_s: Fraction | None = None
    out_s: Fraction | None = None
    confidence: float | None = None
    why: str = ""
    by_hand: bool = False
    recording_print: str = ""
    text_print: str = ""
    place: Place | None = None

    @property
    def usable(self) -> bool:
        """Whether there is a stretch to speak from that needs no further word of a person."""
        return self.recording is not None and self.in_s is not None and (self.by_hand or self.verdict == "proposed")

    @property
    def where(self) -> str:
        """'takes/session.wav 12.340 to 15.670 s', or ''."""
        if self.recording is None or self.in_s is None or self.out_s is None:
            return ""
        return f"{self.recording} {float(self.in_s):.3f} to {float(self.out_s):.3f} s"


def text_print(text: str) -> str:
    """A short print of a line's words; punctuation and large letters do not count."""
    words = ("".join(sign for sign in word.casefold() if sign.isalnum()) for word in split_words(text))
    return hashlib.sha256(" ".join(filter(None, words)).encode()).hexdigest()[:12]


def _seconds(text: str, rate: Fraction) -> Time:
    time = instant(text, Fraction(60))
    if time.frame is not None:
        raise UnfitError("a recording has no frames to count by", "write seconds, such as 12.340 s")
    return time


_TIME = Parsed(noun="a time in the recording, such as 12.340 s", parse=_seconds, schema=INSTANT.schema,
               takes=INSTANT.takes)  # fmt: skip
_PRINT = Text(noun="a print", longest=64, figures=True)
_VERDICT = Choice(
    noun="proposed, flagged, missing or chosen",
    words=(
        ("proposed", "found, and used"),
        ("flagged", "found, but not sure: not used until a person has decided"),
        ("missing", "there is no take"),
        ("chosen", "decided by a person"),
    ),
)
_BY = Choice(noun="assembler or hand", words=(("assembler", "a proposal"), ("hand", "a person's decision")))
_ENTRY = Keys(
    name="chosen-take",
    noun="keys such as verdict, recording, in and out",
    about="What one line is spoken from.",
    keys=(
        Key(name="verdict", shape=_VERDICT, about="What is thought of it.", examples=("chosen",)),
        Key(name="recording", shape=PATH_INSIDE, about="The sound file, from the project's folder.",
            examples=("takes/session.wav",)),
        Key(name="in", shape=_TIME, about="Where the take begins.", examples=("12.340 s",)),
        Key(name="out", shape=_TIME, about="Where it ends.", examples=("15.670 s",)),
        Key(name="confidence", shape=Number(noun="a number from 0 to 1", least=0, most=1), about="How sure it is.",
            examples=(0.97,)),
        Key(name="why", shape=Text(noun="text", longest=500, may_be_empty=True), about="Why.", examples=("",)),
        Key(name="by", shape=_BY, about="Who decided.", examples=("hand",)),
        Key(name="prints", shape=Keys(name="prints", noun="keys recording, text and entry", about="Prints.", keys=tuple(
            Key(name=name, shape=_PRINT, about="A print.", examples=("5d0c",)) for name in
            ("recording", "text", "entry"))), about="By which changes are noticed.", examples=({},)),
    ),
)  # fmt: skip
FILE = Keys(
    name="choices",
    noun="the key takes",
    about="Which take each line is spoken from.",
    keys=(
        Key(name="takes", about="By line.", examples=({},), shape=ById(
            noun="lines, such as opening-1, each with its take", item=_ENTRY, id_noun="a line",
            id_pattern=re.compile(r"[A-Za-z0-9_-]{1,64}-[1-9][0-9]{0,3}"),
            id_rule="write <segment id>-<line number>, such as opening-1", most=5000)),
    ),
)  # fmt: skip


def load_choices(path: Path) -> dict[str, Chosen]:
    """The entries of a choices file by line; none where there is no file. Raises StoryboardError, all problems."""
    data = read_if_there(path)
    return {} if data is None else read_choices(data, str(path))


def read_choices(text: str | bytes, name: str) -> dict[str, Chosen]:
    """Read the file's text; `name` stands before line and column. Raises StoryboardError with all problems."""
    report = Report()
    root = grown(text, name, report, "begin it with takes:")
    if root is None or (list(root.keys) == ["takes"] and _is_empty(root.values["takes"])):
        return {}
    checked = Reader(report, Fraction(60), {}).read(root, FILE, "this file")
    found: dict[str, Chosen] = {}
    table = checked.values.get("takes") if isinstance(checked, Fields) else None
    for key, fields in table.values.items() if isinstance(table, Fields) else ():
        if isinstance(fields, Fields):
            found[key] = _entry(key, fields, table.places[key], report)  # type: ignore[union-attr]
    if problems := report.problems():
        raise StoryboardError([of_this_file(problem) for problem in problems])
    return found


def _is_empty(node: Any) -> bool:
    return getattr(node, "kind", "") == "null" or (hasattr(node, "keys") and not node.keys)


def _entry(key: str, fields: Fields, place: Place, report: Report) -> Chosen:
    def value(name: str) -> Any:
        found = fields.values.get(name)
        return found.value if isinstance(found, Value) else None

    prints = fields.values.get("prints")
    told = {name: str(each.value) for name, each in prints.values.items() if isinstance(each, Value)} if isinstance(
        prints, Fields) else {}  # fmt: skip
    start, end = value("in"), value("out")
    recording, confidence = value("recording"), value("confidence")
    entry = Chosen(
        key=key,
        verdict=value("verdict") or "chosen",
        recording=recording,
        in_s=None if start is None else start.seconds,
        out_s=None if end is None else end.seconds,
        confidence=None if confidence is None else float(confidence),
        why=value("why") or "",
        recording_print=told.get("recording", ""),
        text_print=told.get("text", ""),
        place=place,
    )
    touched = value("by") == "hand" or entry.verdict == "chosen" or told.get("entry") != _entry_print(entry)
    missing = [name for name in ("recording", "in", "out") if not fields.wrote(name)]
    if 0 < len(missing) < 3 or (len(missing) == 3 and entry.verdict != "missing" and not fields.unusable):
        what = f"'{key}' lacks {' and '.join(missing)}"
        report.add(place, what, "write recording, in and out together, or `verdict: missing` for no take")
    if entry.in_s is not None and entry.out_s is not None and entry.out_s <= entry.in_s:
        report.add(fields.places["out"], f"the take of '{key}' ends before it begins", "write an `out` later than `in`")
    if touched and entry.verdict == "missing":
        entry = replace(entry, recording=None, in_s=None, out_s=None)
    return replace(entry, by_hand=touched)


def _entry_print(entry: Chosen) -> str:
    told = (entry.verdict, entry.recording or "", _written(entry.in_s), _written(entry.out_s))
    return hashlib.sha256("\n".join(told).encode()).hexdigest()[:8]


def _written(seconds: Fraction | None) -> str:
    return "" if seconds is None else f"{float(seconds):.3f} s"


def save_choices(path: Path, new: Iterable[Chosen], order: Mapping[str, int]) -> tuple[str, ...]:
    """Write entries into a choices file, beside those that a person has decided; returns the keys left alone.

    order: the storyboard's lines and their places, by which new entries are put in. An entry with `by_hand` set
    replaces any other. Raises StoryboardError where the file cannot be read or added to, MissingPartError where it
    cannot be written.
    """
    data = read_if_there(path)
    text = "" if data is None else data.decode("utf-8-sig", errors="strict") if _utf8(data, path) else ""
    standing = read_choices(text, str(path)) if text else {}
    kept = tuple(key for key, entry in standing.items() if entry.by_hand)
    wanted = {entry.key: entry for entry in new if entry.by_hand or entry.key not in kept}
    written = _with(text, standing, wanted, order, str(path))
    if written != text or data is None:
        write_whole(path, written.encode())
    return kept


def _utf8(data: bytes, path: Path) -> bool:
    read_choices(data, str(path))  # refuses what is not UTF-8, with its place
    return bool(data)


def _with(
    text: str, standing: Mapping[str, Chosen], wanted: Mapping[str, Chosen], order: Mapping[str, int], name: str
) -> str:
    lines = text.splitlines(keepends=True) if standing else []
    head = lines
    blocks: list[tuple[str, list[str]]] = []
    if standing:
        starts = sorted((entry.place.line - 1, key) for key, entry in standing.items() if entry.place)
        for (start, key), (end, _) in zip(starts, [*starts[1:], (len(lines), "")], strict=True):
            if not re.match(rf"  ([\"']?){re.escape(key)}\1\s*:", lines[start]) or end <= start:
                place = Place(name, start + 1, 1)
                what = f"'{key}' stands where nothing can be added beside it"
                mend = "give each line's entry lines of its own, with its name indented by two spaces"
                raise StoryboardError([Problem(place, what, mend)])
            blocks.append((key, lines[start:end]))
        head = lines[: starts[0][0]]
        _give_comments_to_the_next(blocks)
    elif text.strip():
        bare = [line for line in text.splitlines(keepends=True) if not re.match(r"takes\s*:", line)]
        head = [*bare, "" if not bare or bare[-1].endswith("\n") else "\n", "takes:\n"]
    else:
        head = [HEAD]
    done = {key for key, _ in blocks}
    out = [(key, [_block(wanted[key])] if key in wanted else block) for key, block in blocks]
    for key in sorted(wanted.keys() - done, key=lambda each: (order.get(each, len(order)), each)):
        mine = order.get(key, len(order))
        at = next((n for n, (other, _) in enumerate(out) if order.get(other, -1) > mine), len(out))
        out.insert(at, (key, [_block(wanted[key])]))
    body = [line if line.endswith("\n") else line + "\n" for _, block in out for line in block]
    return "".join(head) + "".join(body)


def _give_comments_to_the_next(blocks: list[tuple[str, list[str]]]) -> None:
    """Comments right above an entry belong to it, not to the entry before."""
    for (_, before), (_, after) in pairwise(blocks):
        moved: list[str] = []
        while len(before) > 1 and re.match(r" {0,2}#", before[-1]):
            moved.insert(0, before.pop())
        after[:0] = moved


def _block(entry: Chosen) -> str:
    rows = [f"  {entry.key}:", f"    verdict: {entry.verdict}"]
    if entry.recording is not None:
        rows += [f"    recording: {_quoted(entry.recording)}", f"    in: {_written(entry.in_s)}",
                 f"    out: {_written(entry.out_s)}"]  # fmt: skip
    if entry.confidence is not None:
        rows.append(f"    confidence: {entry.confidence:.2f}")
    if entry.why:
        rows.append(f"    why: {_quoted(entry.why)}")
    rows.append(f"    by: {'hand' if entry.by_hand else 'assembler'}")
    prints = {"recording": entry.recording_print, "text": entry.text_print, "entry": _entry_print(entry)}
    rows.append("    prints: {" + ", ".join(f'{key}: "{value}"' for key, value in prints.items() if value) + "}")
    return "\n".join(rows) + "\n"


def _quoted(text: str) -> str:
    """As it is where that is safe in YAML, else in double quotes."""
    if re.fullmatch(r"[A-Za-z][A-Za-z0-9 _./(),;'%-]*", text) and not text.endswith(" "):
        return text
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
