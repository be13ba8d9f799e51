"""Resampling without scipy is scipy's, sample by sample."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from scipy.signal import resample_poly

from assembler.media import resample
from assembler.media.resample import resampled


@pytest.mark.parametrize(("up", "down"), [(320, 147), (160, 147), (147, 160), (1, 3), (3, 1), (6, 1), (640, 441)])
@pytest.mark.parametrize("count", [1, 2, 7, 500, 100_001])
def test_it_is_what_scipy_makes_of_the_same(up: int, down: int, count: int) -> None:
    samples = np.random.default_rng(count).normal(0, 0.3, count).astype(np.float32)
    found = resampled(samples, up, down)
    # Source: scipy.signal.resample_poly. On the machine this was written on every sample is equal; one that multiplies
    # and adds in one step may differ in the last place.
    expected = resample_poly(samples, up, down)
    assert found.dtype == np.float32
    assert found.shape == expected.shape
    np.testing.assert_allclose(found, expected, rtol=0, atol=5e-7)


def test_blocks_leave_no_trace(monkeypatch: pytest.MonkeyPatch) -> None:
    samples = np.random.default_rng(1).normal(0, 0.3, 3_000).astype(np.float32)
    whole = resampled(samples, 320, 147)
    monkeypatch.setattr(resample, "_BLOCK", 97)
    assert resampled(samples, 320, 147).tobytes() == whole.tobytes()


def test_nothing_and_the_same_rate_are_given_back() -> None:
    samples = np.ones(5, np.float32)
    assert resampled(samples, 1, 1) is samples
    assert resampled(np.zeros(0, np.float32), 3, 1).size == 0


def test_a_scratch_voice_speaks_without_loading_a_library_that_takes_longer_than_it_does() -> None:
    pytest.importorskip("espeakng_loader")
    code = """
import sys
from assembler.narration.scratch import ScratchVoice
with ScratchVoice() as voice:
    assert voice.speak(["hello", "there"], 160).samples.size > 10_000
print("scipy.signal" in sys.modules)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120)
    assert done.stdout.strip() == "False", done.stderr
