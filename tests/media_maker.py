"""Small clips made by code, whose pictures carry numbers that can be read back.

    write_clip(tmp_path / "a.mp4", pictures=90, rate=Fraction(60))       # numbers 0..89
    write_clip(path, pictures=[0, 0, 1, 1])                              # any numbers, repeats too
    write_clip(path, pictures=3, pts=[0, 10, 40], time_base=Fraction(1, 1000))
    write_clip(path, sound=Sound(click_track([Fraction(1, 2)], seconds=1)))
    number_in(planes.y)                                                  # of a whole pane, or a slice

A number is drawn as 5 x 4 large black and white cells: 16 bits and a 4-bit check, so that it
survives scaling and lossy coding, and a misread is an error rather than a wrong answer.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt

Array = npt.NDArray[Any]
Draw = Callable[[int, int, int], Sequence[Array]]
"""(number, width, height) -> the planes of one picture, in the clip's pixel format."""

COLUMNS, ROWS = 5, 4
BLACK, WHITE = 16, 235

BT709 = (1, 1, 1, 1)
"""Colour tags: primaries, transfer, matrix (H.273 code points), range (1 limited, 2 full)."""
BT601 = (6, 6, 6, 1)
PQ_2020 = (9, 16, 9, 1)
_DELAY = 8
_QUICK = {
    "libx264": {"preset": "ultrafast"},
    "libx265": {"preset": "ultrafast"},
    "libvpx-vp9": {"deadline": "realtime", "cpu-used": "8"},
    "libsvtav1": {"preset": "10"},
}


@dataclass(frozen=True)
class Sound:
    """samples: (n,) or (n, channels) float32. start_s: where the first one lies on the clip's clock."""

    samples: Array
    rate: int = 48_000
    codec: str = "pcm_s16le"
    layout: str | None = None
    start_s: Fraction = Fraction(0)


def _cells(number: int) -> Array:
    """(ROWS, COLUMNS) of 0 and 1. The check is never all equal to the bits, so flat grey never reads."""
    if not 0 <= number < 1 << 16:
        raise ValueError(f"numbers run from 0 to 65535, not {number}")
    check = (number ^ number >> 4 ^ number >> 8 ^ number >> 12 ^ 0b1001) & 15
    bits = number << 4 | check
    return np.array([bits >> i & 1 for i in range(ROWS * COLUMNS)], np.uint8).reshape(ROWS, COLUMNS)


def _edges(length: int, parts: int) -> list[int]:
    return [round(length * i / parts) for i in range(parts + 1)]


def number_picture(number: int, width: int, height: int, *, bits: int = 8) -> Array:
    """Luma (height, width) that carries a number, limited range, uint8 or (10 bits) uint16."""
    rows, columns = _edges(height, ROWS), _edges(width, COLUMNS)
    luma = np.empty((height, width), np.uint8)
    for row, values in enumerate(_cells(number)):
        for column, value in enumerate(values):
            luma[rows[row] : rows[row + 1], columns[column] : columns[column + 1]] = WHITE if value else BLACK
    return luma if bits == 8 else luma.astype(np.uint16) << (bits - 8)


def number_in(luma: Array) -> int:
    """The number a luma plane (or the slice of one that holds the whole picture) carries.

    Raises ValueError where there is none that can be read with certainty.
    """
    rows, columns = _edges(luma.shape[0], ROWS), _edges(luma.shape[1], COLUMNS)
    scale = 1 if luma.dtype == np.uint8 else 4
    bits = 0
    for cell in range(ROWS * COLUMNS):
        top, bottom = rows[cell // COLUMNS], rows[cell // COLUMNS + 1]
        left, right = columns[cell % COLUMNS], columns[cell % COLUMNS + 1]
        high, wide = (bottom - top) // 4, (right - left) // 4
        inner = luma[top + high : bottom - high, left + wide : right - wide]
        level = float(np.partition(inner, inner.size // 2, axis=None)[inner.size // 2]) / scale  # as the median, sooner
        if 80 < level < 170:
            raise ValueError(f"no number: a cell is neither black nor white ({level:.0f})")
        bits |= (level >= 170) << cell
    number = bits >> 4
    if not np.array_equal(_cells(number).ravel(), [bits >> i & 1 for i in range(ROWS * COLUMNS)]):
        raise ValueError("no number: the check does not agree")
    return number


def read_number(luma: Array) -> int:
    """The same as `number_in`."""
    return number_in(luma)


def fill_frame(frame: av.VideoFrame, planes: Sequence[Array]) -> None:
    """Copy arrays, (rows, columns) or (rows, columns x components), into a new frame's planes."""
    for plane, values in zip(frame.planes, planes, strict=True):
        data = np.ascontiguousarray(values).reshape(values.shape[0], -1).view(np.uint8)
        memory = np.frombuffer(plane, np.uint8).reshape(plane.height, plane.line_size)
        memory[:, : data.shape[1]] = data


def _number_planes(pixel_format: str) -> Draw:
    """How to draw numbers in a planar Y'CbCr pixel format."""
    layout = av.VideoFormat(pixel_format)
    bits = layout.components[0].bits
    if layout.is_rgb:
        raise ValueError("give `draw` for RGB pixel formats")

    def draw(number: int, width: int, height: int) -> list[Array]:
        luma = number_picture(number, width, height, bits=bits)
        shaped = av.VideoFormat(pixel_format, width, height)
        chroma = [np.full((part.height, part.width), 128 << (bits - 8), luma.dtype) for part in shaped.components[1:]]
        return [luma, *chroma]

    return draw


def write_clip(
    path: Path,
    *,
    pictures: int | Sequence[int] = 30,
    rate: Fraction | int = 30,
    pts: Sequence[int] | None = None,
    time_base: Fraction | None = None,
    size: tuple[int, int] = (160, 90),
    codec: str = "libx264",
    pixel_format: str = "yuv420p",
    options: Mapping[str, str] | None = None,
    start_s: Fraction | int = 0,
    rotation: int = 0,
    colour: tuple[int, int, int, int] | None = None,
    aspect: Fraction | None = None,
    sound: Sound | None = None,
    draw: Draw | None = None,
    container_options: Mapping[str, str] | None = None,
) -> Path:
    """Write a clip; the container follows the file name. Returns `path`.

    pictures: how many (numbers 0, 1, ...), or the numbers themselves. rate: evenly spaced pictures a
    second; or else `pts`, one per picture in `time_base` (1/90000 unless given). start_s: when the
    first picture shows on the clip's clock; below 0, an .mp4 hides the pictures before 0 by an edit
    list. options: of the encoder (`g`, `bf`, `crf`, `x264-params`, ...). rotation: degrees clockwise a
    player must turn the pictures by. colour: tags, else none are written.
    draw: see `Draw`; default draws the numbers.
    """
    numbers = range(pictures) if isinstance(pictures, int) else pictures
    step = 1
    if pts is None:
        base = time_base or 1 / Fraction(rate)
        step = round(1 / Fraction(rate) / base)
        pts = [i * step for i in range(len(numbers))]
    else:
        base = time_base or Fraction(1, 90_000)
    offset = round(Fraction(start_s) / base)
    draw = draw or _number_planes(pixel_format)
    os.environ.setdefault("SVT_LOG", "1")  # the AV1 encoder prints a page otherwise
    chosen = dict(_QUICK.get(codec, {})) | dict(options or {})
    if codec == "libx265":
        chosen["x265-params"] = ":".join(filter(None, ["log-level=none:pools=1", chosen.get("x265-params", "")]))
    muxing = dict(container_options or {})
    if path.suffix in (".mp4", ".mov"):
        muxing.setdefault("movie_timescale", "48000")  # else edit lists place sound to the millisecond only
    with _usual_scheduling(), av.open(str(path), "w", options=muxing) as out:
        stream = out.add_stream(codec, rate=Fraction(rate), options=chosen)
        stream.width, stream.height, stream.pix_fmt = *size, pixel_format
        stream.time_base = base
        stream.codec_context.time_base = base
        stream.thread_count = 1
        if aspect is not None:
            stream.sample_aspect_ratio = aspect
            stream.codec_context.sample_aspect_ratio = aspect
        if colour is not None:
            context = stream.codec_context
            context.color_primaries, context.color_trc, context.colorspace, context.color_range = colour
        if rotation:
            stream.set_display_rotation(-rotation)
        voice = _add_sound(out, sound) if sound is not None else None
        packets = []
        for number, stamp in zip(numbers, pts, strict=True):
            frame = av.VideoFrame(*size, pixel_format)
            fill_frame(frame, draw(number, *size))
            frame.pts, frame.time_base = stamp + offset, base
            if colour is not None:
                frame.color_primaries, frame.color_trc, frame.colorspace, frame.color_range = colour
            packets += stream.encode(frame)
        packets += stream.encode(None)
        if codec == "libx265" and len(pts) < _DELAY:
            # Its decoding times are random in clips shorter than its own delay: count them, one step early each.
            for packet, stamp in zip(packets, sorted(packet.pts for packet in packets), strict=True):
                packet.dts = stamp - _DELAY * max(step, 1)
        out.mux(packets)
        if voice is not None and sound is not None:
            _write_sound(out, voice, sound)
    return path


@contextmanager
def _usual_scheduling() -> Iterator[None]:
    """Undo what the AV1 encoder does where it may: it moves the thread that opens it, and with it every process that
    thread starts from then on, to real-time scheduling, under which a busy process never makes room for another."""
    policy = os.sched_getscheduler(0) if hasattr(os, "sched_getscheduler") else None
    try:
        yield
    finally:
        if policy is not None and os.sched_getscheduler(0) != policy:
            os.sched_setscheduler(0, policy, os.sched_param(0))


def write_sound(path: Path, sound: Sound) -> Path:
    """Write a file with sound alone: .wav, .flac, .mp3, .ogg, .m4a, as `sound.codec` allows."""
    with av.open(str(path), "w") as out:
        _write_sound(out, _add_sound(out, sound), sound)
    return path


def click_track(at_s: Sequence[Fraction], *, seconds: Fraction | int, rate: int = 48_000, channels: int = 2) -> Array:
    """(n, channels) float32 silence with a click of one sample at each time (nearest sample)."""
    samples = np.zeros((round(seconds * rate), channels), np.float32)
    for time in at_s:
        samples[round(time * rate)] = 0.9
    return samples


def tone(hertz: float, *, seconds: float, rate: int = 48_000, level: float = 0.5, channels: int = 1) -> Array:
    """(n, channels) float32 of a sine."""
    wave = level * np.sin(2 * np.pi * hertz * np.arange(round(seconds * rate)) / rate)
    return np.repeat(wave.astype(np.float32)[:, None], channels, axis=1)


def _add_sound(out: Any, sound: Sound) -> Any:
    samples = sound.samples if sound.samples.ndim == 2 else sound.samples[:, None]
    layout = sound.layout or {1: "mono", 2: "stereo", 6: "5.1"}[samples.shape[1]]
    return out.add_stream(sound.codec, rate=sound.rate, layout=layout)


def _write_sound(out: Any, stream: Any, sound: Sound) -> None:
    samples = sound.samples if sound.samples.ndim == 2 else sound.samples[:, None]
    first = round(sound.start_s * sound.rate)
    for begin in range(0, len(samples), 1024):
        block = np.ascontiguousarray(samples[begin : begin + 1024].T, np.float32)
        frame = av.AudioFrame.from_ndarray(block, "fltp", stream.codec_context.layout.name)
        frame.sample_rate, frame.pts = sound.rate, first + begin
        frame.time_base = Fraction(1, sound.rate)
        out.mux(stream.encode(frame))
    out.mux(stream.encode(None))
