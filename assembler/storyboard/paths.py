"""From a path as written in a storyboard to a file on disk that is certain to lie in the project folder.

Links may lead on from there only to folders that the person at this machine has allowed.
"""

from __future__ import annotations

import difflib
import os
from itertools import islice
from pathlib import Path, PurePosixPath
from typing import Literal

from assembler.errors import Place, Problem, StoryboardError
from assembler.storyboard.scalars import shown
from assembler.storyboard.shapes import UnfitError
from assembler.storyboard.written import file_path, folder_path

_MOST_NEIGHBOURS = 2000
ALLOWED = "ASSEMBLER_FOOTAGE"
"""The environment's list of folders, parted as PATH is, that links in a project may lead to."""


def resolve_inside(
    folder: Path, written: str, place: Place | None, *, kind: Literal["file", "folder"] = "file"
) -> Path:
    """The absolute path, links followed, of a file (or folder) that the storyboard names.

    Raises StoryboardError at `place` when the path is not a plain relative one, when it or a link in it leads
    outside the project folder and what is `ALLOWED`, or when no regular file (or folder) is there.
    """
    try:
        (file_path if kind == "file" else folder_path)(written)
    except UnfitError as fault:
        raise StoryboardError([Problem(place, fault.what, fault.mend)]) from None
    name = shown(written, 200)
    try:
        root = folder.resolve(strict=True)
        target = (root / written).resolve(strict=True)
    except (FileNotFoundError, NotADirectoryError) as error:
        near = _neighbour(folder, written)
        mend = f"did you mean '{shown(near)}'?" if near else "paths begin at the storyboard's folder"
        raise StoryboardError([Problem(place, f"there is no {kind} '{name}'", mend)]) from error
    except (OSError, RuntimeError, ValueError) as error:
        # RuntimeError is how Python up to 3.12 reports links that lead round in a circle.
        reason = (error.strerror if isinstance(error, OSError) else None) or "its links lead round in a circle"
        problem = Problem(place, f"'{name}' cannot be reached: {reason}", "put the file itself into the project folder")
        raise StoryboardError([problem]) from error
    if not any(target.is_relative_to(home) for home in (root, *_allowed())):
        what = f"'{name}' leads outside the project folder through a link"
        where = shown(str(target if kind == "folder" else target.parent), 200)
        mend = f"put the {kind} itself into the project folder, or allow its folder with {ALLOWED}={where}"
        raise StoryboardError([Problem(place, what, mend)])
    if not (target.is_file() if kind == "file" else target.is_dir()):
        other = "a folder" if target.is_dir() else "not a regular file"
        raise StoryboardError([Problem(place, f"'{name}' is {other}", f"name a {kind} in the project folder")])
    return target


def _allowed() -> tuple[Path, ...]:
    named = (Path(each) for each in os.environ.get(ALLOWED, "").split(os.pathsep) if each)
    return tuple(path.resolve() for path in named if path.is_absolute())


def _neighbour(root: Path, written: str) -> str:
    """The path there is that is most like a missing one, name by name, or ''."""
    here = root
    for name in PurePosixPath(written).parts:
        if name == ".." or not (here / name).exists():
            name = _nearest(here, name)
            if not name:
                return ""
        here /= name
    return here.relative_to(root).as_posix()


def _nearest(folder: Path, name: str) -> str:
    """The name in a folder that is most like this one, letters large or small alike, or ''."""
    try:
        names = {entry.name.casefold(): entry.name for entry in islice(folder.iterdir(), _MOST_NEIGHBOURS)}
    except (OSError, ValueError):
        return ""
    near = difflib.get_close_matches(name.casefold(), names, n=1, cutoff=0.75)
    return names[near[0]] if near else ""
