"""The clips that other tests are built on say what they are told to say."""

from __future__ import annotations

import os
from pathlib import Path

import av
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from media_maker import number_in, number_picture, write_clip


@given(
    number=st.integers(0, 65535), width=st.integers(40, 200), height=st.integers(32, 120), bits=st.sampled_from([8, 10])
)
def test_a_drawn_number_reads_back(number: int, width: int, height: int, bits: int) -> None:
    assert number_in(number_picture(number, width, height, bits=bits)) == number


def test_a_flat_picture_has_no_number() -> None:
    for level in (16, 128, 235):
        with pytest.raises(ValueError, match="no number"):
            number_in(np.full((90, 160), level, np.uint8))


def test_numbers_survive_lossy_coding(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "a.mp4", pictures=[7, 7, 65535, 0], options={"crf": "40"})
    with av.open(str(clip)) as container:
        seen = [number_in(frame.to_ndarray(format="gray")) for frame in container.decode(video=0)]
    assert seen == [7, 7, 65535, 0]


@pytest.mark.skipif(not hasattr(os, "sched_getscheduler"), reason="this system has no scheduling policies")
def test_no_clip_changes_how_this_process_is_scheduled(tmp_path: Path) -> None:
    policy = os.sched_getscheduler(0)
    write_clip(tmp_path / "a.mkv", pictures=2, codec="libsvtav1")
    assert os.sched_getscheduler(0) == policy
