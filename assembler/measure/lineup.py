"""Line two captures up by what they show.

Nothing is decoded here. A rough search over all lengths, an exact line through many short windows, and sound as a
second witness; a match is accepted only where both the search and the windows bear it out.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from assembler.measure.lineup_drift import Fitted, fit, in_common
from assembler.measure.lineup_search import Found, search
from assembler.measure.lineup_sound import Sound, heard_offset
from assembler.measure.lineup_tracks import WHOLE, Track, common_cells, moving_share, picture_box, track_of
from assembler.measure.model import Cadence, LineUpResult, Thumbs
from assembler.media.info import CaptureInfo

LEAST_SCORE = 8.0
"""Standard deviations above chance. On the planted pairs it was set by, captures of different scenes reached 6.3 at
most and of the same 11.8 at least; on others looked at afterwards, 7.7 and 8.3: the windows must bear it out too."""
LEAST_AGREEING = 0.35
"""Share of the windows in which something moves that must lie on one line; chance alone puts few there."""
BORNE_OUT_SCORE, BORNE_OUT_AGREEING, BORNE_OUT_WINDOWS = 7.0, 0.8, 6
"""A short or slow capture may stay below the least score. From this score on it is accepted all the same where
nearly all of several windows, each searched on its own, lie on one line."""
_TWICE = 0.8
"""A second place that matches as well as this share of the first leaves the answer open."""
_LEAST_S = 2.0
_LEAST_MOVING = 0.03
_ROWS, _COLUMNS = 9, 16


def line_up(
    a: CaptureInfo,
    thumbs_a: Thumbs,
    cadence_a: Cadence | None,
    b: CaptureInfo,
    thumbs_b: Thumbs,
    cadence_b: Cadence | None,
    sound: Sound | None = None,
) -> LineUpResult:
    """Where b, on its own clock, shows what a shows at its own 0, and how the two clocks run apart.

    b's time = offset_s + (1 + drift_ppm / 1e6) * a's time, both in seconds from the first picture. drift_ppm is 0
    where none shows (its interval holds 0). Where a's 0 is not among what both show, the offset is carried there
    along the line, and its interval grows with the distance. Thumbs and cadence run along the captures' pictures;
    a cadence makes the answer free of how long either holds its pictures. Nothing is raised: where the captures
    do not match, `matched` is False and `why` says so.
    """
    tracks = track_of(a, thumbs_a, cadence_a), track_of(b, thumbs_b, cadence_b)
    for track, info in zip(tracks, (a, b), strict=True):
        if track.end_s < _LEAST_S or len(track.luma) < 3:
            return _none(f"too short: '{info.path.name}' has less than {_LEAST_S:.0f} s of pictures")
        if track.times.size < 3 or moving_share(track) < _LEAST_MOVING:
            return _none(f"nothing moves in '{info.path.name}', so there is nothing to line up by")
    return _of_tracks(*tracks, sound)


def _of_tracks(a: Track, b: Track, sound: Sound | None) -> LineUpResult:
    best: tuple[Found, Fitted | None] | None = None
    boxes = [sorted({WHOLE, picture_box(track)}) for track in (a, b)]
    # Bars may cut the picture or shrink it: both readings are tried, and the better one is taken.
    for box_a, box_b in product(*boxes):
        cells = common_cells(a, b, box_a, box_b, _ROWS, _COLUMNS)
        found = search(a, b, *cells)
        if found is None or (best is not None and found.score <= best[0].score):
            continue
        fine = fit(a, b, *cells, (found.offset_s, found.drift)) if found.score >= BORNE_OUT_SCORE else None
        best = found, fine
    if best is None:
        return _none("too short: the captures are not long enough to tell a match from chance")
    found, fitted = best
    if found.score < LEAST_SCORE and not _borne_out(fitted):
        return _none("no match: the pictures have nothing in common", found.score)
    if found.second > _TWICE * found.score:
        places = f"{found.offset_s:.2f} s and {found.second_s:.2f} s"
        return _none(f"no one match: the pictures repeat, and fit at {places} alike", found.score)
    if fitted is None or fitted.agreeing < LEAST_AGREEING:
        return _none("no match: the pictures are alike here and there, but not along one line of time", found.score)
    return _result(a, b, found, fitted, sound)


def _borne_out(fitted: Fitted | None) -> bool:
    """Whether the windows alone speak for a match; None where the search left too little to lay them along."""
    return fitted is not None and fitted.agreeing >= BORNE_OUT_AGREEING and fitted.windows >= BORNE_OUT_WINDOWS


def _result(a: Track, b: Track, found: Found, fitted: Fitted, sound: Sound | None) -> LineUpResult:
    offset, drift = fitted.line
    heard = heard_offset(sound, fitted.line) if sound is not None else None
    low, high = in_common(a, b, fitted.line)
    frame = max(a.frame_s, b.frame_s)
    agree = None if heard is None else abs(heard) <= frame
    why = f"the pictures match over {high - low:.1f} s, {fitted.agreeing:.0%} of {fitted.windows} windows on one line"
    if heard is not None and not agree:
        later = "later" if heard > 0 else "earlier"
        why += f"; the sound lies {abs(heard) * 1000:.0f} ms {later} than the pictures, which machines may differ in"
    return LineUpResult(
        offset_s=offset,
        low_s=fitted.low_s,
        high_s=fitted.high_s,
        drift_ppm=drift * 1e6,
        drift_low_ppm=fitted.drift_low * 1e6,
        drift_high_ppm=fitted.drift_high * 1e6,
        score=found.score,
        matched=True,
        why=why,
        sound_offset_s=None if heard is None else offset + heard,
        agree=agree,
    )


def _none(why: str, score: float = 0.0) -> LineUpResult:
    """No match: the offset is not a number, and the intervals say nothing."""
    nan, inf = float(np.nan), float(np.inf)
    return LineUpResult(nan, -inf, inf, 0.0, -inf, inf, score, False, why, None, None)
