"""The numbers of a mix, as one line for people and as data."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from assembler.sound.report import MixReport


def sound_line(report: MixReport) -> str:
    """Such as `sound: -14.0 LUFS, true peak -2.3 dBTP; narration -14.2, background -30.4, 17.1 LU under the voice`."""
    if report.programme_lufs is None:
        return "sound: silent, or too short to have a loudness"
    parts = [f"sound: {_level(report.programme_lufs)} LUFS, true peak {_level(report.true_peak_dbtp)} dBTP"]
    voiced = [f"{name} {_level(lufs)}" for name, lufs in _streams(report) if lufs is not None]
    if report.speech_over_background_lu is not None:
        voiced.append(f"{report.speech_over_background_lu:.1f} LU under the voice")
    return "; ".join([*parts, ", ".join(voiced)] if voiced else parts)


def _streams(report: MixReport) -> list[tuple[str, float | None]]:
    return [("narration", report.narration_lufs), ("background", report.background_lufs)]


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
