"""Small programmes made only of sound, and the FFmpeg program's reading of what comes of them."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterable, Sequence
from fractions import Fraction
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import numpy.typing as npt

from assembler.media.info import CaptureInfo, Colour, SoundInfo
from assembler.narration.speech import Speech, Word
from assembler.sound.mix import Mix
from assembler.storyboard.model import (
    Canvas,
    CaptionSettings,
    Capture,
    Card,
    Hear,
    Line,
    Narration,
    Segment,
    Shot,
    SoundSettings,
    Storyboard,
)
from assembler.timeline.model import PlacedHear, PlacedLine, PlacedMusic, PlacedSegment, Timeline
from assembler.timing.grammar import Time
from assembler.timing.spans import Span
from tests.media_maker import Sound, write_sound

RATE = 48_000
Array = npt.NDArray[np.float32]
GAME = Capture(id="game", file="game.wav")


def timeline(
    folder: Path,
    frames: int,
    rate: Fraction = Fraction(60),
    lines: Iterable[PlacedLine] = (),
    heard: Iterable[PlacedHear] = (),
    game: SoundInfo | None = None,
    *,
    sound: SoundSettings | None = None,
    music: Sequence[PlacedMusic] = (),
) -> Timeline:
    zero = Time("0 s", rate, second=Fraction(0))
    heard = tuple(heard)
    hears = tuple(Hear(capture=each.capture.id, gain_db=each.gain_db) for each in heard)
    segment = Segment(id="a", fit=True, shots=(Shot(arrangement=Card(title="x")),), hear=hears)
    storyboard = Storyboard(
        title="t",
        canvas=Canvas(rate=rate),
        subjects={},
        captures={"game": GAME},
        narration=Narration(lead=zero, pause=zero, tail=zero),
        captions=CaptionSettings(),
        sound=sound or SoundSettings(),
        segments=(segment,),
    )
    info = CaptureInfo(
        path=folder / GAME.file,
        width=64,
        height=36,
        aspect=Fraction(1),
        rotation=0,
        codec="h264",
        pixel_format="yuv420p",
        bits=8,
        colour=Colour(1, 1, 1, False),
        pts=np.arange(2, dtype=np.int64),
        time_base=Fraction(1, 60),
        last_duration=1,
        frame_rate=Fraction(60),
        sound=game,
        interlaced=False,
    )
    placed = PlacedSegment(segment, Span(0, frames), (), tuple(lines), tuple(heard), 0)
    return Timeline(storyboard, folder, rate, frames, (placed,), {"game": info}, music=tuple(music))


def spoken(
    folder: Path,
    name: str,
    samples: Array,
    start: int,
    kind: str = "take",
    *,
    source: Path | None = None,
    words: tuple[Word, ...] = (),
) -> PlacedLine:
    path = folder / f"{name}.f32"
    path.write_bytes(samples.astype("<f4").tobytes())
    speech = Speech(kind, samples.size, words, path, source)  # type: ignore[arg-type]
    return PlacedLine("a", 1, Line(text=name), speech, start)


def game_sound(folder: Path, samples: Array) -> SoundInfo:
    write_sound(folder / GAME.file, Sound(samples))
    return SoundInfo(RATE, samples.shape[1], Fraction(0), Fraction(len(samples), RATE))


def hear(start: int, end: int, *, capture_s: Fraction = Fraction(0), gain_db: float = 0.0) -> PlacedHear:
    return PlacedHear(GAME, start, end, capture_s, gain_db)


def babble(seconds: float, level: float = 0.1, seed: int = 1) -> Array:
    """Noise that comes and goes four times a second, as speech does."""
    at = np.arange(round(seconds * RATE)) / RATE
    random = np.random.default_rng(seed)
    noise = np.convolve(random.standard_normal(at.size), np.ones(12) / 12, "same")
    return (level * 3 * noise * (0.5 + 0.5 * np.sin(2 * np.pi * 4 * at))).astype(np.float32)


def whole(made: Mix) -> Array:
    return np.concatenate(list(made.blocks()) or [np.zeros((0, 2), np.float32)])


def ebur128(path: Path) -> tuple[float, float]:
    """Integrated loudness and true peak as the FFmpeg program reads them."""
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-hide_banner", "-nostats", "-i", str(path)]
    command += ["-filter_complex", "ebur128=peak=true", "-f", "null", "-"]
    said = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stderr
    summary = said[said.rindex("Summary:") :]
    loudness = re.search(r"I:\s+(-?[\d.]+) LUFS", summary)
    peak = re.search(r"Peak:\s+(-?[\d.]+) dBFS", summary)
    assert loudness is not None
    assert peak is not None
    return float(loudness[1]), float(peak[1])
