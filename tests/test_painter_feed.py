"""Reading ahead: order, repeats, errors, and an end at once."""

from __future__ import annotations

import threading
import time
import weakref
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
import pytest
from test_layout import capture

from assembler.errors import MediaError
from assembler.media.planes import Planes, blank
from assembler.media.reader import PaneShape
from assembler.picture.feed import PaneFeed

SHAPE = PaneShape(16, 8, None, "lanczos")


class Reader:
    """Gives pictures whose luma is their number, in two buffers that are used in turn, as a reader may, or, where they
    are `lasting`, each in memory of its own."""

    def __init__(
        self,
        fails_at: int | None = None,
        wait: threading.Event | None = None,
        lasting: Callable[[int], bool] | None = None,
    ) -> None:
        self.asked: list[int] = []
        self.closed = False
        self._fails_at, self._wait = fails_at, wait
        self.lasting, self._lasts = False, lasting or (lambda index: False)
        self.given: list[weakref.ref[Any]] = []
        self._buffers = [blank(16, 8), blank(16, 8)]

    def __call__(self, info: Any, shape: Any) -> Reader:
        return self

    def __enter__(self) -> Reader:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.closed = True

    def planes(self, index: int) -> Planes:
        if self._wait is not None:
            self._wait.wait(5)
        if index == self._fails_at:
            raise MediaError("no more")
        self.lasting = self._lasts(index)
        buffer = blank(16, 8) if self.lasting else self._buffers[len(self.asked) % 2]
        self.given.append(weakref.ref(buffer.y))
        self.asked.append(index)
        buffer.y[:] = index
        return buffer


def feed(reader: Reader, pictures: list[int], first: int = 0, ahead: int = 3) -> PaneFeed:
    return PaneFeed(capture(), SHAPE, np.array(pictures, np.int32), first, ahead=ahead, opened=reader)


@pytest.mark.parametrize("lasting", [lambda index: True, lambda index: index % 3 != 0])
def test_lasting_pictures_are_handed_on_as_they_are_and_let_go(lasting: Callable[[int], bool]) -> None:
    # Some readers change from one kind to the other on the way, as from a proxy to the capture itself.
    reader = Reader(lasting=lasting)
    pictures = list(range(1, 60))
    with feed(reader, pictures) as source:
        for frame, wanted in enumerate(pictures):
            shown = source.at(frame)
            assert (shown.y == wanted).all()
            assert (shown.y is reader.given[frame]()) == lasting(wanted)
            if frame and lasting(pictures[frame - 1]):
                assert reader.given[frame - 1]() is None


def test_each_frame_gets_its_picture_and_repeats_are_read_once() -> None:
    reader = Reader()
    pictures = [4, 4, 4, 5, 7, 7, 2, 2, 9]
    with feed(reader, pictures) as source:
        assert [int(source.at(frame).y[3, 3]) for frame in range(9)] == pictures
    assert reader.asked == [4, 5, 7, 2, 9] and reader.closed


def test_frames_may_be_skipped_and_asked_for_again() -> None:
    reader = Reader()
    with feed(reader, [0, 1, 2, 3, 4, 5, 6, 7]) as source:
        assert [int(source.at(frame).y[0, 0]) for frame in (0, 0, 5, 5, 7)] == [0, 0, 5, 5, 7]


def test_it_starts_at_the_first_frame_that_is_wanted() -> None:
    reader = Reader()
    with feed(reader, [0, 1, 2, 3, 4], first=3) as source:
        assert int(source.at(3).y[0, 0]) == 3
        with pytest.raises(ValueError, match="outside"):
            source.at(2)
    assert 0 not in reader.asked


def test_going_back_is_refused() -> None:
    with feed(Reader(), [0, 1, 2]) as source:
        source.at(2)
        with pytest.raises(ValueError, match="already shown"):
            source.at(0)


def test_it_reads_no_further_ahead_than_told() -> None:
    reader = Reader()
    with feed(reader, list(range(100)), ahead=2) as source:
        source.at(0)
        time.sleep(0.1)
        assert reader.asked == [0, 1, 2]


def test_a_picture_stays_whole_while_others_are_read() -> None:
    with feed(Reader(), list(range(50)), ahead=4) as source:
        for frame in range(50):
            picture = source.at(frame)
            time.sleep(0.002)
            assert np.all(picture.y == frame)


def test_an_error_comes_when_its_frame_is_asked_for_and_not_before() -> None:
    with feed(Reader(fails_at=3), [0, 1, 2, 3, 4]) as source:
        time.sleep(0.05)
        assert [int(source.at(frame).y[0, 0]) for frame in range(3)] == [0, 1, 2]
        for _ in range(2):
            with pytest.raises(MediaError, match="no more"):
                source.at(3)


def test_a_reader_that_cannot_be_opened_is_an_error_on_the_first_frame(tmp_path: Path) -> None:
    def refuse(info: Any, shape: Any) -> Any:
        raise MediaError("cannot be opened")

    with (
        PaneFeed(capture(), SHAPE, np.zeros(3, np.int32), opened=refuse) as source,
        pytest.raises(MediaError, match="opened"),
    ):
        source.at(0)


def test_closing_early_ends_the_thread() -> None:
    before = threading.active_count()
    reader = Reader()
    source = feed(reader, list(range(1000)))
    source.at(1)
    started = time.monotonic()
    source.close()
    assert time.monotonic() - started < 1  # common practice, no source: no person notices less
    assert threading.active_count() == before and reader.closed
    with pytest.raises(ValueError, match="closed"):
        source.at(900)


def test_closing_twice_does_no_harm() -> None:
    source = feed(Reader(), [0, 1])
    source.close()
    source.close()
