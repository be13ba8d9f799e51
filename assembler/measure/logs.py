"""Frame-time logs: a plain CSV written by the machine itself, read strictly and laid on a capture.

The format:

    # anything after a hash at the start of a line is a comment
    time_s,frame_ms
    0.000,16.7
    0.0167,33.3

- UTF-8 text, cells parted by commas, decimals by a point, at most 32 MiB and a million frames.
- The first line that is neither empty nor a comment names the columns. One or both of these must be there, each once:
  `time_s`: when the frame came on screen, in seconds from any start; every one later than the one before.
  `frame_ms`: how long it stayed, in milliseconds, above 0 and at most 60000.
  Other columns may stand beside them and are not read.
- With `time_s` alone the last line only ends the frame before. With `frame_ms` alone the first frame comes at 0.
  With both, each frame must end where the next begins, to within `AGREE_MS`.
- Double quotes around a cell are allowed; a comma inside one is not.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from assembler.errors import Place, Problem, StoryboardError
from assembler.measure.clock import Doubles
from assembler.storyboard.reader import MOST_PROBLEMS
from assembler.storyboard.scalars import shown

MOST_BYTES = 32 * 1024 * 1024
MOST_FRAMES = 1_000_000
LONGEST_FRAME_MS = 60_000.0
LATEST_S = 7 * 24 * 3600.0
AGREE_MS = 1.0
COLUMNS = ("time_s", "frame_ms")

_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,2})?", re.ASCII)
_LONGEST_CELL = 64


@dataclass(frozen=True, slots=True, eq=False)
class FrameLog:
    """Frames as the machine counted them. start_s: (n,) rising seconds; frame_ms: (n,) how long each stayed."""

    name: str
    start_s: Doubles
    frame_ms: Doubles

    @property
    def end_s(self) -> float:
        """Where the last frame ends."""
        return float(self.start_s[-1] + self.frame_ms[-1] / 1000)


def load_log(path: Path) -> FrameLog:
    """Read a log file. Raises StoryboardError, the error for files that a person brings, with all its problems."""
    try:
        if path.exists() and not path.is_file():
            raise StoryboardError([Problem(None, f"{shown(str(path), 400)} is not a file", "name the log's file")])
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "its name cannot be used"
        what = f"{shown(str(path), 400)} cannot be read: {reason}"
        raise StoryboardError([Problem(None, what, "check the name and that you may read it")]) from error
    return read_log(data, str(path))


def read_log(data: bytes | str, name: str) -> FrameLog:
    """Read a log's text; `name` stands before line and column. Raises StoryboardError with all its problems."""
    return _Log(name).read(_text(data, name))


def _text(data: bytes | str, name: str) -> str:
    start = Place(shown(name, 4096), 1, 1)
    if len(data) > MOST_BYTES:
        what = f"the log is larger than {MOST_BYTES // 2**20} MiB"
        raise StoryboardError([Problem(start, what, "cut it to the part that was captured")])
    if isinstance(data, str):
        return data.removeprefix("\ufeff")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8-sig", "ignore")
        place = Place(start.file, before.count("\n") + 1, len(before) - before.rfind("\n"))
        raise StoryboardError([Problem(place, "the log is not UTF-8 text", "save it again as UTF-8")]) from error


class _Log:
    """Reads lines and collects problems."""

    def __init__(self, name: str) -> None:
        self.name = shown(name, 4096)
        self.problems: list[Problem] = []
        self.more = 0
        self.columns: dict[str, int] = {}
        self.cells = 0
        self.values: dict[str, list[float]] = {}
        self.places: list[tuple[int, tuple[int, ...]]] = []

    def read(self, text: str) -> FrameLog:
        for line, written in enumerate(re.split(r"\r\n|\r|\n", text), start=1):
            if not written.strip() or written.lstrip().startswith("#"):
                continue
            if not self.columns:
                self._header(written, line)
                if self.problems:
                    break
            elif len(self.places) >= MOST_FRAMES:
                self._note(line, 1, f"the log holds more than {MOST_FRAMES:,} frames", "cut it to what was captured")
                break
            else:
                self._row(written, line)
        if not self.columns and not self.problems:
            self._note(1, 1, "the log is empty", "begin it with a line that names its columns: time_s,frame_ms")
        self._stop_if_any()
        log = self._log()
        self._stop_if_any()
        assert log is not None
        return log

    def _note(self, line: int, column: int, what: str, mend: str) -> None:
        if len(self.problems) < MOST_PROBLEMS:
            self.problems.append(Problem(Place(self.name, line, column), what, mend))
        else:
            self.more += 1

    def _stop_if_any(self) -> None:
        if self.more:
            last = self.problems[-1].place
            assert last is not None
            below = Place(last.file, last.line + 1, 1)
            self.problems.append(Problem(below, f"below are {self.more} more problems", "mend those above first"))
        if self.problems:
            raise StoryboardError(self.problems)

    def _header(self, written: str, line: int) -> None:
        names = [(_bare(cell).strip().lower(), column) for cell, column in _cells(written)]
        self.cells = len(names)
        mend = f"name the columns {' and '.join(COLUMNS)}, one or both, parted by commas"
        for wanted in COLUMNS:
            at = [i for i, (name, _) in enumerate(names) if name == wanted]
            if len(at) > 1:
                self._note(line, names[at[1]][1], f"the column {wanted} is there twice", "keep one of them")
            if at:
                self.columns[wanted] = at[0]
                self.values[wanted] = []
        if self.columns:
            return
        if len(names) == 1 and re.search(r"[;\t]", written):
            mend = "part cells with ',' and write decimals with '.'"
            self._note(line, 1, "the columns are not parted by commas", mend)
        elif all(_NUMBER.fullmatch(name) for name, _ in names):
            self._note(line, 1, "the first line holds numbers, not the names of the columns", mend)
        else:
            found = ", ".join(f"'{shown(name, 30)}'" for name, _ in names[:8])
            self._note(line, 1, f"no column is called {' or '.join(COLUMNS)}; there are {found}", mend)

    def _row(self, written: str, line: int) -> None:
        cells = _cells(written)
        self.places.append((line, tuple(cells[i][1] for i in self.columns.values() if i < len(cells))))
        if len(cells) != self.cells:
            mend = "write one cell a column, and decimals with a point: a decimal comma makes two cells of one"
            what = f"this line has {len(cells)} cells and the header {self.cells}"
            self._note(line, cells[min(self.cells, len(cells) - 1)][1], what, mend)
            numbers = {name: float("nan") for name in self.columns}
        else:
            numbers = {name: self._number(*cells[i], name, line) for name, i in self.columns.items()}
        for name, number in numbers.items():
            self.values[name].append(number)

    def _number(self, cell: str, column: int, name: str, line: int) -> float:
        text = _bare(cell).strip()
        least, most, noun = (0.0, LATEST_S, "seconds") if name == "time_s" else (0.0, LONGEST_FRAME_MS, "milliseconds")
        if not text:
            self._note(line, column, f"{name} is empty", f"write a number of {noun}, or remove the line")
        elif len(text) > _LONGEST_CELL or not _NUMBER.fullmatch(text):
            mend = f"write {noun} with digits and a decimal point, such as 16.67"
            self._note(line, column, f"{name} is '{shown(text, 40)}', which is not a number", mend)
        else:
            number = float(text)
            if number < least or number > most or (name == "frame_ms" and number == 0):
                limits = "above 0" if name == "frame_ms" else "at least 0"
                what = f"{name} is {shown(text, 40)}; it must be {limits} and at most {most:g}"
                self._note(line, column, what, f"check that the column holds {noun}")
            else:
                return number
        return float("nan")

    def _log(self) -> FrameLog | None:
        times = np.array(self.values["time_s"]) if "time_s" in self.values else None
        lasts = np.array(self.values["frame_ms"]) if "frame_ms" in self.values else None
        if times is not None:
            for i in np.flatnonzero(np.diff(times) <= 0):
                self._at(int(i) + 1, "time_s", "time_s does not come after the line before", "put the frames in order")
        if not self.places or (lasts is None and len(self.places) < 2):
            least = "two lines of time_s" if lasts is None else "one line"
            line = self.places[0][0] if self.places else 1
            self._note(line, 1, "the log holds no whole frame", f"it needs at least {least} of numbers")
        elif times is not None and lasts is not None:
            apart = np.abs(np.diff(times) * 1000 - lasts[:-1])
            for i in np.flatnonzero(apart > AGREE_MS):
                later = 1000 * (times[i + 1] - times[i])
                what = f"frame_ms is {lasts[i]:g}, and the next time_s comes {later:g} ms later"
                self._at(int(i), "frame_ms", what, "keep the column that is right and remove the other")
        if self.problems:
            return None
        if times is None:
            assert lasts is not None
            return FrameLog(self.name, np.concatenate(([0.0], np.cumsum(lasts)[:-1])) / 1000, lasts)
        if lasts is None:
            return FrameLog(self.name, times[:-1], np.diff(times) * 1000)
        return FrameLog(self.name, times, lasts)

    def _at(self, row: int, name: str, what: str, mend: str) -> None:
        line, columns = self.places[row]
        self._note(line, columns[list(self.columns).index(name)], what, mend)


def _cells(written: str) -> list[tuple[str, int]]:
    """Cells with the columns they begin in, counted from 1, blanks before them left out."""
    cells, column = [], 1
    for cell in written.split(","):
        cells.append((cell, column + len(cell) - len(cell.lstrip()) if cell.strip() else column))
        column += len(cell) + 1
    return cells


def _bare(cell: str) -> str:
    text = cell.strip()
    return text[1:-1] if len(text) >= 2 and text[0] == text[-1] == '"' else text
