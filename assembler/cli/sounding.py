"""The numbers of a mix, as one line for people and as data."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from assembler.sound.report import MixReport


def sound_line(report: MixReport, state: str, *, aimed: bool = True) -> str:
    """Such as `sound (foreseen): -14.0 LUFS (wanted -14), true peak -2.8 dBTP (at most -1); narration alone -14.2 LUFS,
    background alone -30.4 LUFS, 17.1 LU under the voice while it speaks`. aimed: it is the whole programme, whose
    loudness was to be the target and of which the streams' loudness is known."""
    if report.programme_lufs is None:
        return "sound: silent, or too short to have a loudness"
    wanted = f" (wanted {report.target_lufs:g})" if aimed else ""
    parts = [
        f"sound ({state}): {_level(report.programme_lufs)} LUFS{wanted}, "
        f"true peak {_level(report.true_peak_dbtp)} dBTP (at most {report.limit_dbtp:g})"
    ]
    if not aimed:
        return parts[0]
    streams = (("narration", report.narration_lufs), ("background", report.background_lufs))
    voiced = [f"{name} alone {_level(lufs)} LUFS" for name, lufs in streams if lufs is not None]
    if report.speech_over_background_lu is not None:
        voiced.append(f"{report.speech_over_background_lu:.1f} LU under the voice while it speaks")
    return "; ".join([*parts, ", ".join(voiced)] if voiced else parts)


def _level(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f}"


def sound_data(report: MixReport | None) -> dict[str, Any] | None:
    """The same as data, rounded to hundredths; None where the sound could not be mixed."""
    return None if report is None else _rounded(asdict(report))


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 2) + 0.0
    if isinstance(value, dict):
        return {name: _rounded(each) for name, each in value.items()}
    return [_rounded(each) for each in value] if isinstance(value, (list, tuple)) else value
