"""What a mix is like to a listener, in the numbers that people publish by."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SegmentSound:
    """A segment while somebody speaks in it: loudness of the speech and of what lies under it, in LUFS, before the
    programme's gain; None where there is none."""

    segment: str
    speech_lufs: float | None
    captures_lufs: float | None
    music_lufs: float | None
    background_lufs: float | None

    def over(self, background_lufs: float | None) -> float | None:
        """How far the speech stands above a background, in LU."""
        return None if self.speech_lufs is None or background_lufs is None else self.speech_lufs - background_lufs


@dataclass(frozen=True, slots=True)
class MixReport:
    """What the listener gets. Integrated loudness in LUFS, None where there is none (silence, or under 0.4 s).

    target_lufs, limit_dbtp: what was aimed at. programme_lufs, true_peak_dbtp: what the first pass foresees; once
    blocks() has run to its end, what was measured on the sound itself. range_lu: loudness range of the programme.
    narration_lufs, captures_lufs, music_lufs, background_lufs (captures and music together): the parts as they stand
    in the programme, its gain and its limiter included. speech_over_background_lu: how far speech stands above the
    background while it lasts. gain_db: what the programme was raised by. most_limited_db: the limiter's deepest gain,
    0 or less. segments: those in which somebody speaks.
    """

    target_lufs: float
    limit_dbtp: float
    programme_lufs: float | None
    true_peak_dbtp: float | None
    range_lu: float | None
    narration_lufs: float | None
    captures_lufs: float | None
    music_lufs: float | None
    background_lufs: float | None
    speech_over_background_lu: float | None
    gain_db: float
    most_limited_db: float
    segments: tuple[SegmentSound, ...] = ()
