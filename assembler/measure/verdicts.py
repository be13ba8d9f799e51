"""From the notes of a capture to what is said of it: the pure half of measuring.

New pictures come from the cadence model; where tears are seen, from the model of change-overs, which
knows that the picture after a tear only finishes a frame that had begun.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from assembler.measure.blocks import BAND
from assembler.measure.cadence import p_new
from assembler.measure.features import COLUMN, Floats, Notes, strips_in_band
from assembler.measure.masks import stored_size
from assembler.measure.model import Cadence, State, Thumbs
from assembler.measure.quality import gate
from assembler.measure.states import states
from assembler.measure.tears import Tears, find_tears
from assembler.measure.tears_evidence import BandEvidence
from assembler.media.info import CaptureInfo

_NEARBY, _COMMON = 30, 0.1
"""Where more than this share of the pictures so near are torn, the machine does not wait for the refresh."""


def thumbs_of(notes: Notes) -> Thumbs:
    """The small pictures, as the model has them."""
    return Thumbs(notes.thumbs.astype(np.float32) / np.float32(256), notes.light[:, 0].astype(np.float32))


def cadence_of(info: CaptureInfo, notes: Notes, ever: Floats) -> Cadence:
    """Every verdict on a capture. ever: the largest change each block showed."""
    rate = float(info.frame_rate or info.pictures / info.duration_s)
    black = 0.0 if info.colour.full_range else 16.0
    p = p_new(notes)
    state = states(notes.pairs, notes.light, p, ever, rate, black=black)
    # A torn picture differs in part, which the cadence model is unsure of; so tears are looked for there too.
    active = (state == State.MOVING) | (state == State.UNDECIDED)
    also = BandEvidence(notes, p)
    found = find_tears(notes.level, notes.seen, active, p >= 0.5, notes.pairs[:, COLUMN["rms"]], also)
    tears_why = found.why
    if info.rotation or info.interlaced:
        tears_why = "the capture is stored turned" if info.rotation else "the capture is interlaced"
    measurable = found.measurable and not tears_why
    if measurable:
        p = with_tears(p, found)
        state = states(notes.pairs, notes.light, p, ever, rate, black=black)
    why = gate(notes.pairs, p, state)
    if info.interlaced:
        why = "the capture is interlaced: half of a picture's lines belong to another moment"
    first, last = _rows(info, found) if measurable else (np.full(p.size, -1, np.int32), np.full(p.size, -1, np.int32))
    return Cadence(
        p_new=p,
        state=state,
        tear_first_row=first,
        tear_last_row=last,
        p_tear=found.p_tear if measurable else np.full(p.size, np.nan, np.float32),
        manual=np.zeros(p.size, np.bool_),
        reliable=not why,
        why=why,
        tears_measurable=measurable,
        tears_why=tears_why,
    )


def with_tears(p: Floats, found: Tears) -> Floats:
    """p with what the model of change-overs says, wherever tears are common, and at and right after single ones."""
    torn = found.p_tear >= 0.5
    near = torn | np.concatenate([[False], torn[:-1]])
    reach = np.ones(2 * _NEARBY + 1)
    common = np.convolve(torn, reach, "full")[_NEARBY : _NEARBY + torn.size] >= _COMMON * reach.size
    out = np.where(near | (common & np.isfinite(found.p_tear)), found.p_flip, p).astype(np.float32)
    out[:1] = p[:1]
    return out


def _rows(info: CaptureInfo, found: Tears) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.int32]]:
    """Bands as rows of the capture."""
    height = stored_size(info)[1]
    rows = BAND * strips_in_band(height)
    some = found.first_band >= 0
    first = np.where(some, found.first_band * rows, -1)
    last = np.where(some, np.minimum(found.last_band * rows, height), -1)
    return first.astype(np.int32), last.astype(np.int32)
