"""The one door through which media files are opened for reading.

A file is opened by absolute path, with white lists of container formats and of protocols: either
list alone lets a text file that names other files through. Foreign errors become `MediaError`.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path

import av
from av.container import InputContainer

from assembler.errors import MediaError
from assembler.media.whole import cut_off
from assembler.timing.timecode import clock

FORMATS = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,wav,w64,flac,mp3,ogg,aac,aiff"
"""Containers that hold their own pictures and sound. Playlists and image sequences name other files."""

MAX_STREAMS = 64
MAX_PIXELS = 8192 * 8192

_COPY = "copy it, without re-encoding, into an .mp4, .mov or .mkv"
_SAVE = "save it again as .wav or .flac"
_SOUND = frozenset({".wav", ".flac", ".mp3", ".m4a", ".ogg", ".opus", ".aac", ".aif", ".aiff"})
_RECORD = "copy the file again from where it was recorded; if that one is short too, record it again"


def open_media(path: Path) -> InputContainer:
    """Open a media file for reading; close it after use (it is a context manager).

    Raises MediaError when it is missing, not an ordinary file, empty, not media we read, cut off
    before its index, or beyond the limits on streams and picture size.
    """
    ordinary(path)
    options = {"format_whitelist": FORMATS, "protocol_whitelist": "file"}
    # An absolute path starts with a separator (or a drive), so no part of a name is taken for a protocol.
    absolute = os.path.abspath(path)  # noqa: PTH100  resolve() would follow links, and messages name what was asked
    try:
        container = av.open(absolute, "r", options=options, metadata_errors="replace")
    except (av.FFmpegError, ValueError) as error:
        raise _not_media(path, error) from error
    try:
        _within_limits(path, container)
    except BaseException:
        container.close()
        raise
    return container


@contextmanager
def our_errors(path: Path, reached_s: Fraction | None = None) -> Iterator[None]:
    """Turn the decoder's errors into MediaError. reached_s: how far the file was read, if known."""
    try:
        yield
    except av.FFmpegError as error:
        raise unreadable(path, error.strerror or str(error), reached_s) from error


def unreadable(path: Path, why: str, reached_s: Fraction | None = None) -> MediaError:
    """The error for a file that opens but fails on the way."""
    where = "" if reached_s is None else f" past {clock(reached_s)}"
    return MediaError(f"'{path}' cannot be read{where}: {why}", mend=_RECORD)


def refuse_cut_off(path: Path) -> None:
    """Raise MediaError when the file is shorter than it says of itself."""
    if reason := cut_off(path):
        raise MediaError(f"'{path}' is cut off ({reason})", mend=_RECORD)


def ends_early(path: Path, why: str, reached_s: Fraction, pictures: int) -> MediaError:
    """The error for a file that stops before it says it does."""
    counted = "1 picture" if pictures == 1 else f"{pictures} pictures"
    return MediaError(f"'{path}' is cut off ({why}): readable to {clock(reached_s)} ({counted})", mend=_RECORD)


def ordinary(path: Path) -> None:
    """Refuse what is not a plain file with something in it: a pipe would hang, a folder means a slip."""
    try:
        found = path.stat()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        mend = "check the name and folder" if isinstance(error, FileNotFoundError) else "check that it may be read"
        raise MediaError(f"'{path}' cannot be opened: {reason}", mend=mend) from error
    if not stat.S_ISREG(found.st_mode):
        raise MediaError(f"'{path}' is not an ordinary file", mend="name a media file")
    if found.st_size == 0:
        raise MediaError(f"'{path}' is empty", mend=_RECORD)


def _not_media(path: Path, error: Exception) -> MediaError:
    if isinstance(error, PermissionError):
        return MediaError(f"'{path}' cannot be opened: permission denied", mend="check that it may be read")
    start = _first_bytes(path).lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if start.startswith((b"#extm3u", b"ffconcat", b"<mpd", b"[playlist]")) or b"urn:mpeg:dash" in start:
        return MediaError(f"'{path}' is a list of other files, not media", mend="name the media file itself")
    if reason := cut_off(path):
        return MediaError(f"'{path}' is cut off ({reason}): nothing of it can be read", mend=_RECORD)
    mend = _SAVE if path.suffix.casefold() in _SOUND else _COPY
    return MediaError(f"'{path}' is not a media file that can be read here", mend=mend)


def _first_bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(512)
    except OSError:
        return b""


def _within_limits(path: Path, container: InputContainer) -> None:
    if len(container.streams) > MAX_STREAMS:
        raise MediaError(f"'{path}' holds {len(container.streams)} streams; at most {MAX_STREAMS} are read", mend=_COPY)
    for stream in container.streams.video:
        if stream.codec_context is not None and stream.width * stream.height > MAX_PIXELS:
            raise MediaError(
                f"'{path}' has pictures of {stream.width}x{stream.height}, more than can be handled",
                mend="scale it to 8192x8192 or less first",
            )
