"""Hold a finished master against what it was to be, point by point.

Pure but for the reading of the file: media/finished.py says what it holds, the sound room's meters how loud it is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal

from assembler.errors import MediaError
from assembler.media.finished import Finished, coded_digest, read_finished
from assembler.media.join import Chapter
from assembler.media.probe import probe_sound
from assembler.media.sound import SoundReader
from assembler.media.writer import EncoderSettings
from assembler.render.classes import Frame, Level
from assembler.sound.hearing import Listener
from assembler.sound.report import MixReport
from assembler.timing.rates import SAMPLE_RATE

# What the file has is what was heard when it was coded. Source: the tolerance of EBU R 128 (2020) for quality control.
_CODED_LU = 0.2
# Beyond this a person is told that the target was not reached, which for some material it cannot be.
_TARGET_LU = 0.2
# The limit was held as the coded sound was heard; this is what a reading to one decimal does not show.
_PEAK_DB = 0.05
_PROFILES = {"libx264": "High", "libx265": "Main 10"}
_CODECS = {"libx264": ("h264", "avc1"), "libx265": ("hevc", "hvc1")}
_LIMITED = 1


@dataclass(frozen=True, slots=True)
class Point:
    """One thing that was looked at. state: `failed` where the file is not what it was to be, `warning` where it is but
    a person should know. found, wanted: in words."""

    name: str
    state: Literal["ok", "warning", "failed"]
    found: str
    wanted: str


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """What a master was to be. parts: files it was joined from, in order. captions: how many the soft track has, None =
    no such track. sound: the mix's report, None where there is none."""

    frames: int
    rate: Fraction
    frame: Frame
    settings: EncoderSettings
    title: str
    chapters: Sequence[Chapter]
    parts: Sequence[Path] = ()
    captions: int | None = None
    sound: MixReport | None = None


@dataclass(frozen=True, slots=True)
class SoundMeasured:
    """Of the file's own sound: loudness in LUFS and true peak in dBTP, None for silence."""

    loudness_lufs: float | None
    true_peak_dbtp: float | None


@dataclass(frozen=True, slots=True)
class Verified:
    """What came of it."""

    points: tuple[Point, ...]
    measured: dict[str, Any] = field(default_factory=dict)

    @property
    def failed(self) -> tuple[Point, ...]:
        return tuple(point for point in self.points if point.state == "failed")

    def as_data(self) -> dict[str, Any]:
        """For a report in JSON."""
        return {"passed": not self.failed, "points": [asdict(point) for point in self.points], **self.measured}


def verify(path: Path, wanted: Wanted, progress: Callable[[int, int], None] | None = None) -> Verified:
    """Decode the whole file and judge it.

    progress: told of pictures done and in all. Raises MediaError if the file cannot be opened.
    """
    found = read_finished(path, lambda done: progress(min(done, wanted.frames), wanted.frames) if progress else None)
    sound, broken = None, ""
    if found.sound_codec:
        try:
            sound = measure_sound(path)
        except MediaError as error:
            broken = error.problems[0].what
    points = (
        *_pictures(found, wanted), *_stream(found, wanted), *_rates(found, wanted),
        *_sound(found, sound, broken, wanted), *_texts(found, wanted),
    )  # fmt: skip
    return Verified(points, _measured(found, sound, wanted))


def measure_sound(path: Path) -> SoundMeasured:
    """Loudness and true peak of a file's sound, decoded. Raises MediaError."""
    meter = Listener()
    info = probe_sound(path)
    samples = math.ceil(info.duration_s * SAMPLE_RATE)
    with SoundReader(path, info) as reader:
        for start in range(0, samples, SAMPLE_RATE):
            meter.add(reader.read(start, min(SAMPLE_RATE, samples - start)))
    found = meter.end()
    return SoundMeasured(found.lufs, found.peak_dbtp)


def _point(name: str, good: bool, found: str, wanted: str) -> Point:
    return Point(name, "ok" if good else "failed", found, wanted)


def _pictures(found: Finished, wanted: Wanted) -> Iterator[Point]:
    count = len(found.shown_s)
    yield _point("pictures", count == wanted.frames, f"{count} decoded", f"{wanted.frames}")
    off = next((k for k, shown in enumerate(found.shown_s) if shown != k / wanted.rate), None)
    good = off is None and found.rising and count > 0
    bad = "decoding times do not rise" if off is None else f"picture {off} is off"
    yield _point("times", good, "each at its time, rising" if good else bad, f"picture k at k / {wanted.rate} s")
    faults = "; ".join(found.faults[:3])
    yield _point("decoding", not found.faults, faults or "no errors", "no errors")
    if wanted.parts:
        same = coded_digest(wanted.parts) == found.digest
        yield _point("copy", same, "as in the parts" if same else "differs from the parts", "the parts' own pictures")


def _stream(found: Finished, wanted: Wanted) -> Iterator[Point]:
    frame, settings = wanted.frame, wanted.settings
    codec, tag = _CODECS[settings.codec]
    told = f"{found.width}x{found.height} {found.pixel_format}"
    aim = f"{frame.width}x{frame.height} {settings.pixel_format}"
    yield _point("size", told == aim, told, aim)
    level = Level(_level_name(found, settings), found.level_idc, 0, 0)
    told = f"{found.codec} {found.profile} level {level.name} ({found.tag})" + (", High tier" if found.tier else "")
    aim = f"{codec} {_PROFILES[settings.codec]} level {frame.level.name} ({tag})"
    yield _point("codec", told == aim and found.level_idc == frame.level.idc, told, aim)
    # Rec. ITU-T H.273 code points; the box is `nclx`, three of 16 bits, and a flag for full range in the last byte.
    tags = (settings.primaries, settings.transfer, settings.matrix)
    box = b"nclx" + b"".join(code.to_bytes(2, "big") for code in tags) + b"\0"
    good = found.colours == {(*tags, _LIMITED)} and found.colr == box
    streams = ", ".join("/".join(map(str, each)) for each in sorted(found.colours))
    yield _point(
        "colour tags", good, f"{streams}; colr {found.colr.hex() or 'missing'}",
        f"{'/'.join(map(str, (*tags, _LIMITED)))}; colr {box.hex()}",
    )  # fmt: skip
    steps = [after - before for before, after in zip(found.keys, [*found.keys[1:], len(found.sizes)], strict=True)]
    most = max(steps, default=0)
    limit = max(1, round(settings.keyint_s * wanted.rate))
    told = f"at most {most} pictures apart, {'closed' if found.closed else 'open'}"
    yield _point("key pictures", found.closed and 0 < most <= limit, told, f"at most {limit} pictures apart, closed")
    yield _point("index", found.index_first, "first" if found.index_first else "after the media", "before the media")


def _level_name(found: Finished, settings: EncoderSettings) -> str:
    return f"{found.level_idc / (10 if settings.codec == 'libx264' else 30):g}"


def _rates(found: Finished, wanted: Wanted) -> Iterator[Point]:
    """The cap is a part's own; where parts meet, a master may spend what a part's buffer began with once more."""
    frame = wanted.frame
    mean, most = _bit_rates(found, wanted.rate)
    seconds = len(found.sizes) / wanted.rate
    spare = frame.buffer * Fraction(1 + len(wanted.parts), 2) / max(seconds, Fraction(1))
    told = f"mean {_mega(mean)}, at most {_mega(most)} Mb/s over a second"
    state: Literal["ok", "warning"] = "ok" if mean <= frame.cap + spare else "warning"
    name = "level " + frame.level.name if frame.upload is None else frame.upload.name
    yield Point("bit rate", state, told, f"capped at {_mega(frame.cap)} Mb/s ({name})")
    short = _underflow(found.sizes, wanted.rate, frame.level)
    told = "kept" if short is None else f"exceeded at picture {short} in decoding order"
    yield _point("level's buffer", short is None, told, f"{_mega(frame.level.max_rate)} Mb/s, level {frame.level.name}")


def _bit_rates(found: Finished, rate: Fraction) -> tuple[float, float]:
    """Mean bits a second, and the most over any second (over the whole, if that is shorter)."""
    window = max(1, min(len(found.sizes), round(rate)))
    total = running = most = sum(found.sizes[:window])
    for place in range(window, len(found.sizes)):
        total += found.sizes[place]
        running += found.sizes[place] - found.sizes[place - window]
        most = max(most, running)
    return float(total * 8 * rate / max(1, len(found.sizes))), float(most * 8 * rate / window)


def _underflow(sizes: Sequence[int], rate: Fraction, level: Level) -> int | None:
    """The first coded picture that a decoder of that level, fed at the level's rate, would not have whole in time.
    Source: the leaky bucket of Rec. ITU-T H.264 annex C, begun full."""
    room = level.max_buffer
    held = Fraction(room)
    for place, size in enumerate(sizes):
        held -= size * 8
        if held < 0:
            return place
        held = min(Fraction(room), held + level.max_rate / rate)
    return None


def _sound(found: Finished, sound: SoundMeasured | None, broken: str, wanted: Wanted) -> Iterator[Point]:
    if not found.sound_codec:
        yield Point("sound", "failed", "none", "AAC, 48000 Hz, stereo")
        return
    good = found.sound_codec.startswith("aac") and (found.sound_rate, found.sound_channels) == (SAMPLE_RATE, 2)
    told = f"{found.sound_codec.upper()}, {found.sound_rate} Hz, {found.sound_channels} channels"
    yield _point("sound", good, told, "AAC, 48000 Hz, 2 channels")
    away = max(abs(found.sound_length_s - found.length_s), abs(found.sound_start_s))
    told = f"sound {_time(found.sound_length_s)}, pictures {_time(found.length_s)}"
    good = away <= 1 / wanted.rate and found.length_s == wanted.frames / wanted.rate
    yield _point("length", good, told, f"{_time(wanted.frames / wanted.rate)}, both, to a picture")
    yield _point("sound decoding", not broken, broken or "no errors", "no errors")
    if sound is not None:
        yield from _loudness(sound, wanted.sound)


def _loudness(sound: SoundMeasured, mix: MixReport | None) -> Iterator[Point]:
    if mix is None:
        return
    told, aim = _lufs(sound.loudness_lufs), mix.target_lufs
    foreseen = mix.programme_lufs
    if sound.loudness_lufs is None or foreseen is None:
        same = (sound.loudness_lufs is None) == (foreseen is None)
        yield Point("loudness", "warning" if same else "failed", told, f"{aim:.1f} LUFS")
        return
    state: Literal["ok", "warning", "failed"] = "ok"
    if abs(sound.loudness_lufs - foreseen) > _CODED_LU:
        state = "failed"
    elif abs(sound.loudness_lufs - aim) > _TARGET_LU:
        state = "warning"
    yield Point("loudness", state, told, f"{aim:.1f} LUFS, as mixed ({foreseen:.1f}) to {_CODED_LU} LU")
    peak = sound.true_peak_dbtp
    good = peak is None or peak <= mix.limit_dbtp + _PEAK_DB
    told = "silent" if peak is None else f"{peak:.1f} dBTP"
    yield _point("true peak", good, told, f"at most {mix.limit_dbtp:.1f} dBTP")


def _texts(found: Finished, wanted: Wanted) -> Iterator[Point]:
    aims = [(each.title, each.start_frame / wanted.rate, each.end_frame / wanted.rate) for each in wanted.chapters]
    near = Fraction(1, 1000)  # their clock is not the pictures' own
    same = len(found.chapters) == len(aims) and all(
        here.title == title and abs(here.start_s - start) < near and abs(here.end_s - end) < near
        for here, (title, start, end) in zip(found.chapters, aims, strict=True)
    )
    told = f"{len(found.chapters)}" + ("" if same else ", not as planned")
    yield _point("chapters", same, told, f"{len(aims)}, each at its picture")
    if wanted.captions is not None or found.captions is not None:
        count = None if found.captions is None else len(found.captions)
        told = "no track" if count is None else f"{count}, {found.language or 'no language'}"
        aim = "no track" if wanted.captions is None else f"{wanted.captions}, with their language"
        good = count == wanted.captions and (count is None or found.language not in ("", "und"))
        yield _point("captions", good, told, aim)
    yield _point("title", found.title == wanted.title, found.title, wanted.title)


def _measured(found: Finished, sound: SoundMeasured | None, wanted: Wanted) -> dict[str, Any]:
    mean, most = _bit_rates(found, wanted.rate)
    return {
        "bytes": found.bytes_,
        "pictures": len(found.shown_s),
        "seconds": round(float(found.length_s), 6),
        "mean_bits_per_s": round(mean),
        "most_bits_per_s": round(most),
        "sound": None if sound is None else asdict(sound),
    }


def _mega(bits: float) -> str:
    return f"{bits / 1e6:.1f}" if bits >= 1e6 else f"{bits / 1e6:.3f}"


def _time(seconds: Fraction) -> str:
    return f"{float(seconds):.3f} s"


def _lufs(value: float | None) -> str:
    return "silent, or too short" if value is None else f"{value:.1f} LUFS"
