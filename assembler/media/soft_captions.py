"""A caption track in an MP4 file that players can show or hide: timed text as 3GPP TS 26.245 has it.

Its clock divides that of the pictures, so a caption begins and ends on a picture exactly. Between captions an
empty text stands, so that nothing is left to a player's idea of gaps.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import av
from av.stream import Disposition

from assembler.errors import RenderError
from assembler.media.language_codes import three_letters
from assembler.timing.rates import SAMPLE_RATE

_STYLE_BITS = {"b": 1, "i": 2, "u": 4}
_FONT_ID, _FONT_SIZE, _WHITE = 1, 18, 0xFFFFFFFF
_MOST_BYTES = 0xFFFF
# What the encoder's own sample description is made from: a white font on a dark ground, low in the middle.
_DESCRIPTION = b"""[Script Info]
ScriptType: v4.00+
PlayResX: 384
PlayResY: 288

[V4+ Styles]
Format: Name, Fontname, Fontsize, PrimaryColour, SecondaryColour, OutlineColour, BackColour, Bold, Italic, Underline, \
StrikeOut, ScaleX, ScaleY, Spacing, Angle, BorderStyle, Outline, Shadow, Alignment, MarginL, MarginR, MarginV, Encoding
Style: Default,Sans-Serif,18,&Hffffff,&Hffffff,&H0,&H33161310,0,0,0,0,100,100,0,0,3,1,0,2,10,10,10,0

[Events]
Format: Layer, Start, End, Style, Name, MarginL, MarginR, MarginV, Effect, Text
"""


@dataclass(frozen=True, slots=True)
class StyledText:
    """Characters `start` up to `stop` of a caption's text in the styles of the letters b, i, u."""

    start: int
    stop: int
    styles: str


@dataclass(frozen=True, slots=True)
class SoftCaption:
    """Text shown on the pictures from start_frame up to end_frame. Lines are parted by a line feed."""

    start_frame: int
    end_frame: int
    text: str
    styles: tuple[StyledText, ...] = ()


@dataclass(frozen=True, slots=True)
class SoftCaptions:
    """A track. language: a BCP 47 tag. chosen: players show it unless told otherwise."""

    captions: tuple[SoftCaption, ...]
    language: str
    chosen: bool = True


@dataclass(frozen=True, slots=True)
class Sample:
    """What the track holds from start_frame up to end_frame."""

    start_frame: int
    end_frame: int
    data: bytes


def samples_of(captions: Sequence[SoftCaption], frames: int) -> list[Sample]:
    """The track's samples, which fill the programme of that many frames without a gap.

    Raises ValueError when captions overlap, are out of order, or reach over the programme's end.
    """
    found: list[Sample] = []
    at = 0
    for caption in captions:
        if not at <= caption.start_frame < caption.end_frame <= frames:
            raise ValueError(f"a caption cannot stand from frame {caption.start_frame} to {caption.end_frame}")
        if caption.start_frame > at:
            found.append(Sample(at, caption.start_frame, _sample("", ())))
        found.append(Sample(caption.start_frame, caption.end_frame, _sample(caption.text, caption.styles)))
        at = caption.end_frame
    if at < frames:
        found.append(Sample(at, frames, _sample("", ())))
    return found


def _sample(text: str, styles: Sequence[StyledText]) -> bytes:
    """A text sample: its length, UTF-8, and a box of style records where there are any (TS 26.245, 5.17)."""
    data = text.encode("utf-8")
    if len(data) > _MOST_BYTES:
        raise ValueError("a caption of a soft track holds at most 65535 bytes")
    sample = struct.pack(">H", len(data)) + data
    if not styles:
        return sample
    records = b"".join(
        struct.pack(
            ">HHHBBI",
            style.start,
            style.stop,
            _FONT_ID,
            sum(_STYLE_BITS[letter] for letter in style.styles),
            _FONT_SIZE,
            _WHITE,
        )
        for style in styles
    )
    return sample + struct.pack(">I4sH", 10 + len(records), b"styl", len(styles)) + records


class CaptionTrack:
    """The track of a file that is being written; it goes in a little ahead of the pictures."""

    def __init__(self, container: Any, captions: SoftCaptions, frames: int, clock: Fraction, step: int) -> None:
        # The mp4 writer ends a caption early when a packet of another track has a number beyond the caption's end,
        # whatever the two clocks: so this one must not be coarser than that of the sound.
        finer = -(-SAMPLE_RATE // clock.denominator)
        clock, step = clock / finer, step * finer
        self._container, self._clock, self._step = container, clock, step
        self._stream = container.add_stream("mov_text")
        self._stream.codec_context.subtitle_header = _DESCRIPTION
        self._stream.codec_context.time_base = self._stream.time_base = clock
        self._stream.metadata["language"] = three_letters(captions.language)
        self._stream.metadata["handler_name"] = "Captions"
        self._stream.disposition = Disposition.default if captions.chosen else Disposition(0)
        self._samples = samples_of(captions.captions, frames)
        self._sent = 0

    def feed_to(self, frame: int) -> None:
        """Write the samples that begin at or before a frame."""
        while self._sent < len(self._samples) and self._samples[self._sent].start_frame <= frame:
            sample = self._samples[self._sent]
            packet = av.Packet(sample.data)
            packet.stream, packet.time_base = self._stream, self._clock
            packet.pts = packet.dts = sample.start_frame * self._step
            packet.duration = (sample.end_frame - sample.start_frame) * self._step
            packet.is_keyframe = True
            self._container.mux(packet)
            self._sent += 1


def verify_track(container: Any, captions: SoftCaptions, frames: int, rate: Fraction) -> None:
    """See that a written file holds these samples and no others. Raises RenderError with what is wrong."""
    if len(container.streams.subtitles) != 1:
        raise RenderError("the caption track is missing")
    stream = container.streams.subtitles[0]
    clock = Fraction(stream.time_base)
    read = [
        (packet.pts * clock * rate, (packet.pts + (packet.duration or 0)) * clock * rate, bytes(packet))
        for packet in container.demux(stream)
        if packet.pts is not None and packet.size
    ]
    if read != [(each.start_frame, each.end_frame, each.data) for each in samples_of(captions.captions, frames)]:
        raise RenderError("the caption track is not as it was written")
