"""Where a draft or a figure may land: a file of its own, and never one that the programme is made from."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from assembler.errors import UsageError
from assembler.media.landing import write_error
from assembler.storyboard.model import Card, Made, Storyboard
from assembler.timeline.model import Timeline

CAPTION_ENDINGS = (".srt", ".vtt", ".ttml")
"""Of the files that are written beside a draft, under its name."""


def destination(timeline: Timeline, asked: Path | None, thing: str = "draft") -> Path:
    """The file to write: the one asked for, or out/draft.mp4 (after the `thing` it is) in the project.

    Raises UsageError when it is a folder, is not named .mp4, or when it or a caption file beside it
    would take the place of a capture, a take, a picture or another file that the storyboard uses.
    """
    out = timeline.folder / "out" / f"{thing}.mp4" if asked is None else asked
    if out.is_dir():
        example = out / f"{thing}.mp4"
        raise UsageError(f"{out} is a folder, not a file to write", mend=f"name a file in it, such as {example}")
    if out.suffix.lower() != ".mp4":
        mend = f"a {thing} is an MP4 file: write {out.with_suffix('.mp4')}"
        raise UsageError(f"{out} does not end in .mp4", mend=mend)
    used = tuple(sources(timeline))
    for path in (out, *map(out.with_suffix, CAPTION_ENDINGS)):
        if _taken(path, used):
            what = f"{path} is a file that the storyboard uses; this {thing} would take its place"
            raise UsageError(what, mend=f"write the {thing} elsewhere with --out, or keep that file in another folder")
    return out


def refuse_unwritable(path: Path) -> None:
    """See that a file may be written, before hours are spent on it. Raises MissingPartError."""
    folder = next((folder for folder in path.absolute().parents if folder.exists()), path.parent)
    if not os.access(folder, os.W_OK):
        raise write_error(path, PermissionError(errno.EACCES, os.strerror(errno.EACCES)))


def refuse_taken(path: Path, used: Iterable[Path], thing: str, endings: tuple[str, ...]) -> None:
    """See that a `thing`, such as 'figure', may be written to path.

    Raises UsageError when it is a folder, has none of the endings, or is one of the files that are used.
    """
    if path.is_dir():
        mend = f"name a file in it that ends in {endings[0]}"
        raise UsageError(f"{path} is a folder, not a file to write", mend=mend)
    if path.suffix.lower() not in endings:
        what = f"{path} does not end in {' or '.join(endings)}"
        raise UsageError(what, mend=f"write {path.with_suffix(endings[0])}")
    if _taken(path, used):
        what = f"{path} is a file that is used here; this {thing} would take its place"
        raise UsageError(what, mend="write to another file")


def _taken(path: Path, used: Iterable[Path]) -> bool:
    return any(_same(path, there) for there in used)


def sources(timeline: Timeline) -> Iterator[Path]:
    """Files that the programme is made from; some may not be there."""
    folder = timeline.folder
    yield from (info.path for info in timeline.captures.values())
    yield from (folder / name for name in named_files(timeline.storyboard))
    for segment in timeline.segments:
        yield from (line.speech.source for line in segment.lines if line.speech.source is not None)


def named_files(storyboard: Storyboard) -> Iterator[str]:
    """Every file that a storyboard names, as written."""
    for capture in storyboard.captures.values():
        yield capture.file
        if capture.log is not None:
            yield capture.log.file
    yield from storyboard.fonts
    yield from (music.file for music in storyboard.sound.music)
    for segment in storyboard.segments:
        yield from (line.take for line in segment.say if line.take)
        for shot in segment.shots:
            if isinstance(shot.arrangement, Card) and shot.arrangement.picture is not None:
                yield shot.arrangement.picture
            elif isinstance(shot.arrangement, Made):
                yield shot.arrangement.file


def _same(path: Path, other: Path) -> bool:
    """Whether two names are one file: by a link, or by letters that the file system holds equal, too."""
    try:
        return path.samefile(other)
    except OSError:
        return False
