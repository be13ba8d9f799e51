"""Cadences at other refresh rates, on real film and with left-out repeats: from the file to the name of the span."""

from __future__ import annotations

import sys
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from planted import LONG_FILM, Array, Bools, Coder, encode, film_path, plan, scene, shown

from assembler.measure.clock import Clock
from assembler.measure.model import State
from assembler.measure.spans import pacing
from assembler.measure.store import Measurement, measure_capture
from assembler.media.probe import probe

FAST = Coder("libx264", "veryfast", 18)
DEEP = Coder("libx264", "veryfast", 18, bits=10)
NTSC = Fraction(1000, 1001)


def display(rate: int, refresh: int, pictures: int) -> Bools:
    """A display's own rule: each refresh shows the newest source picture that has begun."""
    return np.diff([k * rate // refresh for k in range(-1, pictures)]) > 0


def measured(folder: Path, pictures: list[Array], coder: Coder, rate: Fraction) -> tuple[Measurement, Clock]:
    info = probe(encode(folder / "clip.mp4", pictures, coder, rate))
    assert info.frame_rate == rate
    return measure_capture(info, folder / "measure"), Clock.of(info)


# Source of the names and holds: arithmetic of refresh over rate; 3:2 for film is common practice.
@pytest.mark.parametrize(
    ("rate", "refresh", "exact", "coder", "name", "holds"),
    [
        (25, 50, Fraction(50), FAST, "25-in-50", (2,)),
        (24, 60, 60 * NTSC, FAST, "24-in-60", (3, 2)),
        (50, 60, Fraction(60), DEEP, "50-in-60", (2, 1, 1, 1, 1)),
        (24, 120, 120 * NTSC, DEEP, "24-in-120", (5,)),
        (40, 120, Fraction(120), FAST, "40-in-120", (3,)),
    ],
)
def test_cadences_are_named_frame_for_frame_at_any_refresh(
    tmp_path: Path, rate: int, refresh: int, exact: Fraction, coder: Coder, name: str, holds: tuple[int, ...]
) -> None:
    new = display(rate, refresh, round(1.6 * refresh))
    renders = scene("pan made5", int(new.sum()), speed=1.3 * 60 / rate, seed=8)
    result, clock = measured(tmp_path, list(shown(renders, new)), coder, exact)
    assert result.cadence.reliable, result.cadence.why
    assert np.array_equal(result.cadence.is_new, new)
    (span,) = pacing(result.cadence, clock).locked
    assert (span.start, span.end, span.name, span.holds, span.even) == (0, new.size, name, holds, True)
    assert span.rate_hz == exact * rate / refresh


def skip_loudly(why: Exception) -> None:
    assert sys.__stderr__ is not None
    sys.__stderr__.write(f"\nNOT TESTED on real film: {why}\n")  # past pytest, which shows reasons only when asked
    pytest.skip(str(why))


@pytest.mark.parametrize(("film", "first"), [("bikes", 0), ("carphone_pristine", 0), (LONG_FILM, 300)])
def test_cadences_planted_into_real_film_are_read_back(tmp_path: Path, film: str, first: int) -> None:
    try:
        film_path(film)
    except FileNotFoundError as error:
        skip_loudly(error)
    renders = scene(f"film {film} from {first}", 130, seed=1)
    moved = np.array([np.abs(b.astype(np.int16) - a).mean() for a, b in pairwise(renders)])
    new = np.concatenate([plan(kind, 40, seed=5) for kind in ("30", "60", "40", "uneven")])
    result, _ = measured(tmp_path, list(shown(renders, new)), FAST, Fraction(60))
    # Not counted: pictures the film itself hardly changes in.
    at = np.cumsum(new) - 1
    counted = ~new | (np.concatenate([[np.inf], moved])[at] >= 0.3)
    said = result.cadence.is_new
    # Expected values: the acceptance set for this measure; of 160 pictures one may be wrong.
    assert ((said != new) & counted).sum() <= 1
    assert result.cadence.reliable, result.cadence.why


@pytest.mark.parametrize(("film", "first"), [("bigbuckbunny", 40), ("bikes", 0), (LONG_FILM, 0)])
def test_film_that_changes_with_every_refresh_is_all_new(tmp_path: Path, film: str, first: int) -> None:
    # Nothing repeats here, so no difference is small beside that of a repeat; some are still small beside others.
    try:
        film_path(film)
    except FileNotFoundError as error:
        skip_loudly(error)
    renders = scene(f"film {film} from {first}", 150, seed=1)
    moved = np.array([np.inf, *(np.abs(b.astype(np.int16) - a).mean() for a, b in pairwise(renders))])
    result, _ = measured(tmp_path, list(renders), Coder("libx264", "medium", 20), Fraction(60))
    # Expected values: the acceptance set for this measure, recall of .995 at up to crf 23 in motion.
    counted = moved >= 0.3
    assert result.cadence.is_new[counted].mean() >= 0.995


def test_nothing_is_ever_a_rate_of_zero_where_nothing_moves(tmp_path: Path) -> None:
    picture = scene("pan made5", 1, seed=8)[0]
    result, clock = measured(tmp_path, [picture] * 90, FAST, 120 * NTSC)
    assert np.all(result.cadence.state[1:] == State.STILL)
    from assembler.measure.figures import figures, window_rates

    told = figures(result.cadence, clock)
    assert told.average_hz.value is None and told.average_hz.why == "nothing moves"
    assert np.isnan(window_rates(result.cadence, clock).hz).all()
