"""A pane's pictures, read ahead in a thread of their own.

Decoding and scaling release the interpreter, so while one frame is composed the next pictures of
every pane are already being read. A picture that is shown for several frames is read once.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Protocol

import numpy as np
import numpy.typing as npt

from assembler.media.closing import Closing
from assembler.media.info import CaptureInfo
from assembler.media.planes import Planes, blank
from assembler.media.reader import PaneShape, PictureReader


class Source(Protocol):
    """What a feed needs of a reader."""

    def planes(self, index: int) -> Planes:
        """The picture, valid until the next call but one."""

    @property
    def lasting(self) -> bool:
        """Whether the picture given last stays as it is for as long as it is referred to, at little cost."""


class PaneFeed(Closing):
    """Hands out, frame by frame, the picture of one pane. A context manager.

    picture: (frames,) index into the capture's pictures for each frame of the shot. first: the first
    frame that will be asked for. ahead: how many pictures may wait, read but not yet asked for; as many as keep the
    decoders at work while one part is finished and the next begun.
    An error while reading is raised by `at` when the frame that needs the picture is asked for.
    """

    def __init__(
        self,
        info: CaptureInfo,
        shape: PaneShape,
        picture: npt.NDArray[np.int32],
        first: int = 0,
        *,
        ahead: int = 6,
        opened: Callable[[CaptureInfo, PaneShape], AbstractContextManager[Source]] = PictureReader,
    ) -> None:
        shown = picture[first:]
        if not shown.size:
            raise ValueError(f"the shot has {picture.size} frames, so none from frame {first}")
        # Frames, counted from `first`, on which another picture comes.
        self._changes = np.flatnonzero(np.diff(shown, prepend=shown[0] - 1))
        self._wanted = shown[self._changes]
        self._first = first
        self._frames = int(picture.size)
        self._ahead = ahead
        self._taken = 0  # pictures taken so far
        self._current: tuple[Planes, bool] | None = None  # and whether it lies in memory that is used again
        self._ready: deque[tuple[Planes, bool]] = deque()
        self._shape = shape
        # What does not last is copied, into memory that is used again: fresh memory costs more than the copy.
        self._free: deque[Planes] = deque()
        self._error: BaseException | None = None
        self._closed = False
        self._turn = threading.Condition()
        self._thread = threading.Thread(
            target=self._read, args=(opened, info, shape), name=f"pane {info.path.name}", daemon=True
        )
        self._thread.start()

    def at(self, frame: int) -> Planes:
        """The picture of a frame of the shot; frames rise from call to call. Valid until the next call."""
        if not self._first <= frame < self._frames:
            raise ValueError(f"frame {frame} is outside {self._first} to {self._frames - 1}")
        due = int(np.searchsorted(self._changes, frame - self._first, side="right"))
        if due < self._taken:
            raise ValueError(f"frame {frame} comes before one already shown")
        while self._taken < due:
            with self._turn:
                if self._current is not None:
                    if self._current[1]:
                        self._free.append(self._current[0])
                    self._current = None
                self._turn.notify_all()
                self._turn.wait_for(lambda: self._ready or self._error or self._closed)
                if self._ready:
                    self._current = self._ready.popleft()
                    self._taken += 1
                elif self._error:
                    raise self._error
                else:
                    raise ValueError("the feed is closed")
        assert self._current is not None
        return self._current[0]

    def close(self) -> None:
        """Stop reading and wait for the thread to end: at most one picture's time."""
        with self._turn:
            self._closed = True
            self._turn.notify_all()
        self._thread.join()

    def _read(
        self,
        opened: Callable[[CaptureInfo, PaneShape], AbstractContextManager[Source]],
        info: CaptureInfo,
        shape: PaneShape,
    ) -> None:
        try:
            with opened(info, shape) as source:
                for index in self._wanted:
                    with self._turn:
                        self._turn.wait_for(lambda: self._closed or len(self._ready) < self._ahead)
                        if self._closed:
                            return
                    picture = source.planes(int(index))
                    ours = not source.lasting
                    if ours:
                        picture = self._copy(picture)
                    with self._turn:
                        self._ready.append((picture, ours))
                        self._turn.notify_all()
        except BaseException as error:
            with self._turn:
                self._error = error
                self._turn.notify_all()

    def _copy(self, picture: Planes) -> Planes:
        """The picture in memory of our own."""
        # Nothing else takes from what is free, so what is there stays there.
        shape = self._shape
        room = self._free.popleft() if self._free else blank(shape.width, shape.height, bits=shape.bits)
        np.copyto(room.y, picture.y, casting="no")
        np.copyto(room.u, picture.u, casting="no")
        np.copyto(room.v, picture.v, casting="no")
        return room
