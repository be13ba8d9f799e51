"""What stands behind a name: digests of files and of the engine itself.

Times of change are left out on purpose: a project that is copied or checked out again keeps its parts.
"""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Iterable, Mapping
from importlib import metadata
from pathlib import Path

from assembler.errors import RenderError
from assembler.measure.model import Cadence
from assembler.media.content import content_print
from assembler.storyboard.paths import resolve_inside
from assembler.timeline.model import PlacedShot, Timeline

_ENGINE_ROOMS = ("media", "picture")
_ENGINE_FILES = (
    "render/part.py",
    "render/mixing.py",
    "render/tools.py",
    *(f"measure/{name}.py" for name in ("clock", "distribution", "figures", "lows", "tables")),  # figures are drawn
)
_ENGINE_LIBRARIES = ("av", "moviepy", "Pillow", "uharfbuzz", "freetype-py")


def file_print(path: Path) -> str:
    """A digest of a whole file."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise RenderError(f"{path}: could not be read: {error.strerror}") from error


def files_print(paths: Iterable[Path]) -> str:
    """One digest of several whole files, their order counted, their names not."""
    digest = hashlib.sha256()
    for path in paths:
        digest.update(file_print(path).encode())
    return digest.hexdigest()


@functools.cache
def engine_print() -> str:
    """A digest of the code that makes pictures and of the libraries it stands on."""
    package = Path(__file__).resolve().parent.parent
    own = [path for room in _ENGINE_ROOMS for path in sorted((package / room).glob("*.py"))]
    own += [package / name for name in _ENGINE_FILES]
    digest = hashlib.sha256(files_print(path for path in own if path.is_file()).encode())
    for library in _ENGINE_LIBRARIES:
        digest.update(f"{library} {metadata.version(library)}\n".encode())
    return digest.hexdigest()


def source_print(name: str, path: Path) -> str:
    """The digest of a file that jobs call `name`: `capture ID`, `still FILE` or `code FILE`."""
    return content_print(path) if name.startswith("capture ") else file_print(path)


def refuse_changed(files: Mapping[str, Path], prints: Mapping[str, str]) -> None:
    """See that files are what they were. prints: their digests then, by the same names. Raises RenderError."""
    for name, path in files.items():
        if source_print(name, path) != prints[name]:
            raise RenderError(
                f"{path}: this file changed while the programme was made from it",
                mend="run again when it is complete; finished parts are kept",
            )


def measured_print(measured: Mapping[str, Cadence], shots: Iterable[PlacedShot]) -> str:
    """A digest of the cadences that the graphs and summaries of some shots draw, in their order; empty where none has
    any."""
    drawn: list[str] = []
    for shot in shots:
        drawn += [pane.capture.id for pane in shot.panes if shot.graphs] + [each.capture.id for each in shot.summed]
    names = [name for name in drawn if name in measured]
    if not names:
        return ""
    digest = hashlib.sha256()
    for name in names:
        cadence = measured[name]
        digest.update(f"{cadence.reliable} {cadence.why} {cadence.tears_measurable}\n".encode())
        for array in (cadence.p_new, cadence.state, cadence.tear_first_row, cadence.tear_last_row, cadence.p_tear):
            digest.update(array.tobytes())
    return digest.hexdigest()


class Prints:
    """Digests of all that a timeline draws from, each file read once.

    fonts: digest of the fonts at hand. engine: digest of the code and libraries.
    """

    def __init__(self, timeline: Timeline, font_files: Iterable[Path]) -> None:
        self._timeline = timeline
        self._known: dict[str, str] = {}
        self.fonts = files_print(font_files)
        self.engine = engine_print()

    def of(self, name: str) -> str:
        """The digest behind `capture ID`, `still FILE` or `code FILE`. Raises RenderError."""
        if name not in self._known:
            self._known[name] = source_print(name, source_path(self._timeline, name))
        return self._known[name]


def source_path(timeline: Timeline, name: str) -> Path:
    """The file that jobs call `capture ID`, `still FILE` or `code FILE`. Raises RenderError."""
    kind, _, rest = name.partition(" ")
    if kind != "capture":
        return resolve_inside(timeline.folder, rest, None)
    if rest not in timeline.captures:
        raise RenderError(f"capture '{rest}' was not read", mend="see what `assembler check` says of it")
    return timeline.captures[rest].path
