"""What a finished programme holds, read back to its last picture as a player would.

Facts only: render/verify.py holds them against what was wanted. Nothing here trusts what was meant to be
written, and a decoder's complaint is a fact like any other.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import av

from assembler.media.boxes import layout_of
from assembler.media.opening import open_media

_TELL_EVERY = 32
_STRICT = {"err_detect": "explode+crccheck+bitstream+buffer"}
"""A decoder that mends what is broken would hide it."""


@dataclass(frozen=True, slots=True)
class Named:
    """A chapter, or a caption (its text as `title`), in seconds from the file's start."""

    title: str
    start_s: Fraction
    end_s: Fraction


@dataclass(slots=True)
class Finished:
    """A file read to its end.

    index_first: `moov` before `mdat`. tag: of the picture track, such as `hvc1`. colr: body of its colour box.
    profile, level_idc, tier: from the codec's own header. colours: H.273 primaries, transfer, matrix and FFmpeg's range
    (1 = limited) of the stream and of every decoded picture. shown_s: when each decoded picture shows, in order.
    sizes: bytes of each coded picture, in decoding order. keys: place, in decoding order, of those that need no other;
    closed: whether nothing after one shows before it. rising: whether decoding times rise and never pass showing times.
    digest: of all coded pictures. faults: what decoders complained of. captions: None where there is no such track.
    """

    bytes_: int = 0
    index_first: bool = False
    title: str = ""
    codec: str = ""
    tag: str = ""
    colr: bytes = b""
    profile: str = ""
    level_idc: int = 0
    tier: int = 0
    width: int = 0
    height: int = 0
    pixel_format: str = ""
    colours: set[tuple[int, int, int, int]] = field(default_factory=set)
    shown_s: list[Fraction] = field(default_factory=list)
    sizes: list[int] = field(default_factory=list)
    keys: list[int] = field(default_factory=list)
    closed: bool = True
    rising: bool = True
    digest: str = ""
    faults: list[str] = field(default_factory=list)
    length_s: Fraction = Fraction(0)
    sound_codec: str = ""
    sound_rate: int = 0
    sound_channels: int = 0
    sound_start_s: Fraction = Fraction(0)
    sound_length_s: Fraction = Fraction(0)
    chapters: list[Named] = field(default_factory=list)
    captions: list[Named] | None = None
    language: str = ""


def read_finished(path: Path, progress: Callable[[int], None] = lambda pictures: None) -> Finished:
    """Read a programme. progress: told of pictures decoded. Raises MediaError when it cannot be opened at all."""
    found = Finished(bytes_=path.stat().st_size)
    layout = layout_of(path)
    found.index_first = layout.index_first
    if layout.picture is not None:
        found.tag, found.colr = layout.picture.tag, layout.picture.colr
        _header(layout.picture.configuration, found)
    with open_media(path) as container:
        found.title = container.metadata.get("title", "")
        found.chapters = [
            Named(each["metadata"].get("title", ""), each["start"] * base, each["end"] * base)
            for each in container.chapters()
            if (base := each["time_base"]) is not None
        ]
        _sound(container, found)
        if container.streams.video:
            _pictures(container, found, progress)
    _captions(path, found)
    return found


def coded_digest(parts: Sequence[Path]) -> str:
    """A digest of the coded pictures of parts, one after the other. Raises MediaError."""
    digest = hashlib.sha256()
    for path in parts:
        with open_media(path) as container:
            for packet in container.demux(container.streams.video[0]):
                if packet.size:
                    digest.update(bytes(packet))
    return digest.hexdigest()


def _header(configuration: bytes, found: Finished) -> None:
    """Profile and level: ISO/IEC 14496-15 sections 5.3.3.1 (`avcC`) and 8.3.3.1 (`hvcC`)."""
    if len(configuration) > 12 and found.tag.startswith("h"):
        found.tier, found.level_idc = configuration[1] >> 5 & 1, configuration[12]
    elif len(configuration) > 3:
        found.level_idc = configuration[3]


def _pictures(container: Any, found: Finished, progress: Callable[[int], None]) -> None:
    stream = container.streams.video[0]
    context = stream.codec_context
    context.options = _STRICT
    context.thread_type = "AUTO"
    found.codec, found.profile = context.name, context.profile or ""
    found.width, found.height, found.pixel_format = context.width, context.height, context.pix_fmt or ""
    found.colours.add((context.color_primaries, context.color_trc, context.colorspace, context.color_range))
    base = Fraction(stream.time_base)
    found.length_s = (stream.duration or 0) * base
    digest = hashlib.sha256()
    last_dts: int | None = None
    stamps: list[int] = []
    try:
        for packet in container.demux(stream):
            if packet.size:
                digest.update(bytes(packet))
                if packet.is_keyframe:
                    found.keys.append(len(found.sizes))
                found.sizes.append(packet.size)
                if packet.pts is None or packet.dts is None:
                    found.rising = False
                else:
                    found.rising &= packet.dts <= packet.pts and (last_dts is None or packet.dts > last_dts)
                    last_dts = packet.dts
                    stamps.append(packet.pts)
            for picture in packet.decode():
                if picture.is_corrupt:
                    found.faults.append(f"picture {len(found.shown_s)} is damaged")
                tags = picture.color_primaries, picture.color_trc, picture.colorspace, picture.color_range
                found.colours.add(tags)
                found.shown_s.append((picture.pts if picture.pts is not None else -1) * base)
                if len(found.shown_s) % _TELL_EVERY == 0:
                    progress(len(found.shown_s))
    except (OSError, ValueError, av.FFmpegError) as error:
        found.faults.append(f"after picture {len(found.shown_s)}: {error}")
    found.digest = digest.hexdigest()
    found.closed = _closed(stamps, found.keys)
    progress(len(found.shown_s))


def _closed(stamps: list[int], keys: list[int]) -> bool:
    """Whether no picture that is decoded after a key picture shows before it."""
    if not stamps or not keys or keys[-1] >= len(stamps):
        return False
    following, wanted, closed = stamps[-1], set(keys), keys[0] == 0
    for place in range(len(stamps) - 1, -1, -1):
        following = min(following, stamps[place])
        if place in wanted:
            closed &= following == stamps[place]
    return closed


def _sound(container: Any, found: Finished) -> None:
    if not container.streams.audio:
        return
    stream = container.streams.audio[0]
    base = Fraction(stream.time_base)
    found.sound_codec = f"{stream.codec_context.name} {stream.codec_context.profile or ''}".strip()
    found.sound_rate, found.sound_channels = stream.codec_context.rate, stream.codec_context.channels
    found.sound_start_s = (stream.start_time or 0) * base
    found.sound_length_s = (stream.duration or 0) * base


def _captions(path: Path, found: Finished) -> None:
    """Of the first caption track. An empty text ends the caption before it."""
    with open_media(path) as container:
        if not container.streams.subtitles:
            return
        stream = container.streams.subtitles[0]
        found.language = stream.language or ""
        base, captions = stream.time_base or Fraction(0), []
        try:
            for packet in container.demux(stream):
                if not packet.size or packet.pts is None:
                    continue
                data = bytes(packet)  # a length of 2 bytes, then the text: 3GPP TS 26.245 section 5.17
                text = data[2 : 2 + int.from_bytes(data[:2], "big")].decode("utf-8", "replace")
                if text:
                    start = packet.pts * base
                    captions.append(Named(text, start, start + (packet.duration or 0) * base))
        except (OSError, ValueError, av.FFmpegError) as error:
            found.faults.append(f"in the captions: {error}")
        found.captions = captions
