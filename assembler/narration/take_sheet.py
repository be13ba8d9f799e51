"""The sheet of a search for takes: what was found for each line, as values, as text, and as it is kept between runs.

The sheet lies in the cache folder (`takes/sheet.json`), so that a person can choose a take by its number on it.
"""

from __future__ import annotations

import json
from collections.abc import Container, Mapping
from dataclasses import asdict, dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from assembler.errors import UsageError
from assembler.media.landing import write_whole
from assembler.narration.choices import Chosen, text_print
from assembler.narration.take_choice import Candidate, LineResult, clock_s
from assembler.narration.take_search import TAKES_FOLDER, Found

VERSION = 1
_FILE = "sheet.json"


@dataclass(frozen=True, slots=True)
class SheetRecording:
    """A recording that was searched: its file from the project's folder, its print, its length, and notes."""

    file: str
    content: str
    seconds: float
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SheetLine:
    """A line and what was found for it. text: as written; said: the print of its words."""

    key: str
    text: str
    said: str
    result: LineResult


@dataclass(frozen=True, slots=True)
class Sheet:
    """lines: in the storyboard's order."""

    recordings: tuple[SheetRecording, ...]
    lines: tuple[SheetLine, ...]

    def line(self, key: str) -> SheetLine | None:
        return next((line for line in self.lines if line.key == key), None)

    def counts(self, by_hand: Container[str] = ()) -> dict[str, int]:
        """Lines by verdict. by_hand: keys of the lines that a person has decided."""
        verdicts = ["by hand" if line.key in by_hand else line.result.verdict for line in self.lines]
        return {name: verdicts.count(name) for name in ("proposed", "flagged", "missing", "by hand")}


def make_sheet(found: Found, texts: Mapping[str, tuple[str, str]], folder: Path) -> Sheet:
    """texts: for each line its written text, and the text whose words are said."""
    recordings = tuple(
        SheetRecording(each.path.relative_to(folder).as_posix(), each.content, each.seconds, each.notes)
        for each in found.recordings
    )
    lines = tuple(
        SheetLine(key, texts[key][0], text_print(texts[key][1]), result) for key, result in found.results.items()
    )
    return Sheet(recordings, lines)


def proposals(sheet: Sheet) -> tuple[Chosen, ...]:
    """What goes into the choices file by itself."""
    return tuple(_entry(sheet, line, line.result.picked, by_hand=False) for line in sheet.lines)


def chosen(sheet: Sheet, key: str, number: int | None) -> Chosen:
    """A person's choice of a candidate, counted from 1; None: no take. Raises UsageError where it is not there."""
    line = sheet.line(key)
    if line is None:
        known = ", ".join(each.key for each in sheet.lines[:8]) + (" …" if len(sheet.lines) > 8 else "")
        raise UsageError(f"there is no line '{key}' on the sheet", mend=f"the lines are: {known}")
    count = len(line.result.candidates)
    if number is not None and not 1 <= number <= count:
        what = f"line '{key}' has no candidate {number}"
        mend = f"choose 1 to {count}, or none" if count else "choose none, or search another recording"
        raise UsageError(what, mend=mend)
    return _entry(sheet, line, None if number is None else number - 1, by_hand=True)


def _entry(sheet: Sheet, line: SheetLine, picked: int | None, *, by_hand: bool) -> Chosen:
    result = line.result
    verdict = result.verdict if not by_hand else "missing" if picked is None else "chosen"
    why = result.why if not by_hand else ""
    if picked is None:
        return Chosen(key=line.key, verdict=verdict, why=why, by_hand=by_hand, text_print=line.said)
    take = result.candidates[picked]
    recording = sheet.recordings[take.recording]
    return Chosen(
        key=line.key,
        verdict=verdict,
        recording=recording.file,
        in_s=Fraction(round(take.in_s * 1000), 1000),
        out_s=Fraction(round(take.out_s * 1000), 1000),
        confidence=take.confidence,
        why=why[:400],
        by_hand=by_hand,
        recording_print=recording.content[:16],
        text_print=line.said,
    )


def keep_sheet(sheet: Sheet, cache: Path) -> None:
    """Keep the sheet for the next command. Raises MissingPartError or RenderError when it cannot be written."""
    write_whole(cache / TAKES_FOLDER / _FILE, json.dumps({"sheet": VERSION, **asdict(sheet)}).encode())


def kept_sheet(cache: Path) -> Sheet | None:
    """The sheet of the last search, or None where there is none that can be read."""
    try:
        told = json.loads((cache / TAKES_FOLDER / _FILE).read_text("utf-8"))
        if told["sheet"] != VERSION:
            return None
        recordings = tuple(SheetRecording(**{**each, "notes": tuple(each["notes"])}) for each in told["recordings"])
        return Sheet(recordings, tuple(_line(each) for each in told["lines"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _line(told: Any) -> SheetLine:
    result = told["result"]
    candidates = tuple(Candidate(**each) for each in result["candidates"])
    return SheetLine(
        told["key"], told["text"], told["said"],
        LineResult(result["verdict"], result["picked"], result["why"], candidates),
    )  # fmt: skip


def needed_sheet(cache: Path) -> Sheet:
    """The same, where a command cannot do without. Raises UsageError."""
    sheet = kept_sheet(cache)
    if sheet is None:
        raise UsageError("no recording has been searched yet", mend="name one: assembler takes takes/session.wav")
    return sheet


def as_data(sheet: Sheet, standing: Mapping[str, Chosen]) -> dict[str, object]:
    """The sheet for programs. standing: entries of the choices file by hand, which win."""
    return {
        "recordings": [asdict(each) for each in sheet.recordings],
        "counts": sheet.counts(standing),
        "lines": [
            {
                "line": line.key,
                "text": line.text,
                "verdict": line.result.verdict,
                "why": line.result.why,
                "take": None if line.result.picked is None else line.result.picked + 1,
                "by_hand": _by_hand(standing.get(line.key)),
                "candidates": [
                    {
                        "number": number,
                        "recording": sheet.recordings[take.recording].file,
                        "in_s": take.in_s, "out_s": take.out_s, "confidence": take.confidence,
                        "why": take.why, "heard": take.heard,
                    }
                    for number, take in enumerate(line.result.candidates, start=1)
                ],
            }
            for line in sheet.lines
        ],
    }  # fmt: skip


def _by_hand(entry: Chosen | None) -> str | None:
    return None if entry is None else (entry.where or "no take")


def as_text(sheet: Sheet, standing: Mapping[str, Chosen]) -> str:
    """The sheet for people. standing: entries of the choices file by hand, which win."""
    rows = []
    for recording in sheet.recordings:
        rows.append(f"{recording.file}  {clock_s(recording.seconds)}")
        rows += [f"  note: {note}" for note in recording.notes]
    width = max([len(line.key) for line in sheet.lines] + [4])
    many = len(sheet.recordings) > 1
    rows += ["", f"{'line':{width}}  {'verdict':8}  {'take':>4}  {'in':>10}  {'out':>10}  {'sure':>4}  why"]
    for line in sheet.lines:
        result = line.result
        verdict = "by hand" if line.key in standing else result.verdict
        if line.key in standing:
            why = _by_hand(standing[line.key]) or ""
            rows.append(f"{line.key:{width}}  {verdict:8}  {'':4}  {'':10}  {'':10}  {'':4}  {why}")
        elif result.picked is None:
            rows.append(f"{line.key:{width}}  {verdict:8}  {'-':>4}  {'':10}  {'':10}  {'':4}  {result.why}")
        else:
            rows.append(f"{line.key:{width}}  {verdict:8}  {_take(sheet, line, result.picked, many)}  {result.why}")
        others = [n for n in range(len(result.candidates)) if n != result.picked or line.key in standing]
        for n in others:
            why = result.candidates[n].why or "good"
            rows.append(f"{'':{width}}  {'':8}  {_take(sheet, line, n, many)}  {why}")
    counts = sheet.counts(standing)
    rows += ["", f"{len(sheet.lines)} lines: " + ", ".join(f"{count} {name}" for name, count in counts.items())]
    return "\n".join(rows)


def _take(sheet: Sheet, line: SheetLine, number: int, many: bool) -> str:
    take = line.result.candidates[number]
    where = f"  {sheet.recordings[take.recording].file}" if many else ""
    return f"{number + 1:>4}  {clock_s(take.in_s):>10}  {clock_s(take.out_s):>10}  {take.confidence:4.2f}{where}"
