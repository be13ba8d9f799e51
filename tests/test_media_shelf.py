"""Readers kept open between shots: the same pictures as from readers of their own, few of them, none left behind."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from media_maker import number_in, write_clip

from assembler.media import shelf as room
from assembler.media.info import CaptureInfo
from assembler.media.probe import probe
from assembler.media.reader import PaneShape, PictureReader
from assembler.media.shelf import MOST, lent, shelf

SHAPES = (
    PaneShape(160, 90, None, "bicubic"),
    PaneShape(80, 44, None, "lanczos"),
    PaneShape(160, 90, (160, 90, 160, 90), "nearest"),
)


@pytest.fixture(scope="module")
def captures(tmp_path_factory: pytest.TempPathFactory) -> list[CaptureInfo]:
    folder = tmp_path_factory.mktemp("shelf")
    made = []
    for number in range(MOST + 2):
        clip = folder / f"{number}.mp4"
        numbers = range(100 * number, 100 * number + 60)
        made.append(probe(write_clip(clip, pictures=numbers, rate=30, size=(320, 180), options={"g": "20"})))
    return made


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[PictureReader]]:
    """Every reader that is made; none may have its file open at the end."""
    made: list[PictureReader] = []

    def noted(info: CaptureInfo, shape: PaneShape) -> PictureReader:
        made.append(PictureReader(info, shape))
        return made[-1]

    monkeypatch.setattr(room, "PictureReader", noted)
    yield made
    assert all(reader._container is None for reader in made)
    assert not room._idle


@settings(max_examples=25, deadline=None)
@given(
    shots=st.lists(
        st.tuples(st.integers(0, 1), st.sampled_from(SHAPES), st.integers(0, 50), st.integers(1, 9)), max_size=6
    )
)
def test_pictures_are_the_same_as_from_readers_of_their_own(
    captures: list[CaptureInfo], shots: list[tuple[int, PaneShape, int, int]]
) -> None:
    with shelf():
        for number, shape, first, count in shots:
            with lent(captures[number], shape) as reader, PictureReader(captures[number], shape) as fresh:
                for index in range(first, first + count):
                    kept, own = reader.planes(index), fresh.planes(index)
                    assert all(np.array_equal(getattr(kept, name), getattr(own, name)) for name in "yuv")


def test_the_next_shot_goes_on_with_the_open_file(captures: list[CaptureInfo], opened: list[PictureReader]) -> None:
    with shelf():
        for first in (0, 10, 20):
            with lent(captures[0], SHAPES[first // 10 % 2]) as reader:
                assert [number_in(reader.planes(k).y) for k in range(first, first + 10)] == [*range(first, first + 10)]
        with lent(captures[0], SHAPES[0]) as one, lent(captures[0], SHAPES[1]) as other:
            assert one is not other
    assert len(opened) == 2


def test_few_are_kept_and_none_without_a_shelf(captures: list[CaptureInfo], opened: list[PictureReader]) -> None:
    with lent(captures[0], SHAPES[0]) as reader:
        reader.planes(0)
    assert not room._idle
    with shelf():
        for info in captures:
            with lent(info, SHAPES[0]) as reader:
                reader.planes(0)
        assert [info for info, _ in room._idle] == captures[-MOST:]
        with shelf():  # one inside another, as of two tools, ends with the outer one
            pass
        assert len(room._idle) == MOST


def test_a_reader_that_failed_is_not_kept(captures: list[CaptureInfo], opened: list[PictureReader]) -> None:
    with shelf():
        with pytest.raises(IndexError), lent(captures[0], SHAPES[0]) as reader:
            reader.planes(10_000)
        assert not room._idle
        with lent(captures[0], SHAPES[0]) as reader:
            reader.planes(0)
        with pytest.raises(ValueError), lent(captures[0], PaneShape(160, 90, (300, 0, 160, 90), "nearest")):
            pass
        assert not room._idle


def test_threads_share_it(captures: list[CaptureInfo], opened: list[PictureReader]) -> None:
    wrong: list[object] = []

    def read(number: int) -> None:
        for first in (0, 5, 30):
            with lent(captures[number % 3], SHAPES[0]) as reader:
                found = [number_in(reader.planes(k).y) for k in range(first, first + 5)]
                if found != [100 * (number % 3) + k for k in range(first, first + 5)]:
                    wrong.append((number, first, found))

    with shelf():
        threads = [threading.Thread(target=read, args=(number,)) for number in range(6)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert not wrong
