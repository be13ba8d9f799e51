"""A recorded narration take, ready to place: decoded, trimmed of silence at both ends, and faded.

The decoding is the media door's own; pydub, imported when first needed, trims, fades and sets level.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from assembler.errors import MediaError
from assembler.media.sound import decode_all
from assembler.timing.rates import SAMPLE_RATE

QUIET_DB = 40.0
"""Softer than the take's peak by this counts as silence. Common practice, no source."""
SILENT_DBFS = -60.0
"""A take whose peak is below this has nothing in it."""
KEEP_MS = 20
"""Left before the first and after the last sound, so that soft beginnings are not clipped."""
FADE_MS = 5
SHORTEST_MS = 50
"""No word is shorter; anything less is a slip of the recorder. Common practice, no source."""
_LOOK_MS = 5

_FULL_SCALE = 2**31 - 1


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """samples: (n,) float32 mono at 48 kHz. lead_s, tail_s: seconds cut off the start and the end."""

    samples: npt.NDArray[np.float32]
    lead_s: Fraction
    tail_s: Fraction


def load_take(path: Path) -> npt.NDArray[np.float32]:
    """A take's samples: (n,) float32 mono at 48 kHz, n > 0, without the silence around them.

    Raises MediaError when the file cannot be decoded to its end, or holds nothing that can be heard.
    """
    return trimmed_take(path).samples


def trimmed_take(path: Path, *, gain_db: float = 0.0) -> Take:
    """The same, with what was cut off, and with its level changed by gain_db. Raises MediaError."""
    sound = decode_all(path)
    if len(sound) < SHORTEST_MS * SAMPLE_RATE // 1000:
        raise MediaError(f"'{path}' holds less than {SHORTEST_MS} ms of sound", mend="record the take again")
    mono = sound.mean(axis=1, dtype=np.float32)
    if not np.isfinite(mono).all():
        raise MediaError(f"'{path}' holds values that are not numbers", mend="save it again as .wav or .flac")
    # Floating-point files may go over full scale; whole numbers, which pydub works in, may not.
    peak = max(1.0, float(np.abs(mono).max()))
    whole = np.round(mono.astype(np.float64) / peak * _FULL_SCALE).astype(np.int32)
    audio_segment, detect_leading_silence = _pydub()
    take = audio_segment(data=whole.tobytes(), sample_width=4, frame_rate=SAMPLE_RATE, channels=1)
    if take.max_dBFS < SILENT_DBFS:
        raise MediaError(f"'{path}' is silent", mend="record the take again, with the microphone on")
    quiet = take.max_dBFS - QUIET_DB
    lead = max(0, detect_leading_silence(take, quiet, _LOOK_MS) - KEEP_MS)
    tail = max(0, detect_leading_silence(take.reverse(), quiet, _LOOK_MS) - KEEP_MS)
    kept = take[lead : len(take) - tail] if len(take) - tail - lead > 2 * FADE_MS else take
    fade = min(FADE_MS, len(kept) // 2)
    kept = kept.fade_in(fade).fade_out(fade)
    samples = np.frombuffer(kept.raw_data, np.int32).astype(np.float64) / _FULL_SCALE * peak
    loudness = 10 ** (gain_db / 20)
    lead = lead if kept is not take else 0
    return Take(
        (samples * loudness).astype(np.float32),
        Fraction(lead, 1000),
        max(Fraction(0), Fraction(len(mono) - len(samples), SAMPLE_RATE) - Fraction(lead, 1000)),
    )


def _pydub() -> tuple[Any, Any]:
    """Its segment class and its search for silence. It warns, when imported, of a program we never use."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from pydub import AudioSegment
        from pydub.silence import detect_leading_silence
    return AudioSegment, detect_leading_silence
