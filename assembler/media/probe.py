"""What a capture is: every picture's time, its size, colour and sound, from one pass over its packets.

Nothing is guessed: times come from the file's own stamps, and a stamp that is missing is an error.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import islice, pairwise
from math import atan2, degrees
from pathlib import Path
from typing import Literal, cast

import numpy as np
import numpy.typing as npt
from av import VideoFrame
from av.audio.stream import AudioStream
from av.container import InputContainer
from av.sidedata.sidedata import SideData
from av.stream import Disposition
from av.video.stream import VideoStream

from assembler.errors import MediaError
from assembler.media.convert import colour_of
from assembler.media.even import even_rate
from assembler.media.info import CaptureInfo, SoundInfo
from assembler.media.opening import ends_early, open_media, our_errors, refuse_cut_off, unreadable
from assembler.media.whole import cut_off

_RESTAMP = "copy it, without re-encoding, into an .mp4 or .mkv that has a time for every picture"
_REMAKE = "re-encode it into an .mp4 or .mkv; AVI cannot hold the times of such pictures"
_AVI_LOOK = 64
"""Pictures of an AVI that are decoded to see their order; groups with B pictures are shorter."""


def probe(path: Path) -> CaptureInfo:
    """Read a capture's packets once, and decode its first picture and first sound.

    Raises MediaError naming the file, and how far it could be read where it is cut off.
    """
    with open_media(path) as container, our_errors(path):
        video = picture_stream(path, container)
        sound = container.streams.audio[0] if container.streams.audio else None
        # Everything is read off the stream here: once its container is closed, it must not be touched.
        base = _time_base(path, video)
        hint = Fraction(video.average_rate) if video.average_rate else None
        aspect = Fraction(video.sample_aspect_ratio or 1)
        codec = video.codec_context.codec.canonical_name
        packets = _read_packets(path, container, video, sound)
        has_sound = sound is not None
    with open_media(path) as container, our_errors(path):
        first = _first_picture(path, container)
    pts = _shown(path, packets, first, base)
    rate = even_rate(pts, base, hint)
    rotation = _rotation(path, first)
    turned = rotation in (90, 270)
    return CaptureInfo(
        path=path,
        width=first.height if turned else first.width,
        height=first.width if turned else first.height,
        aspect=1 / aspect if turned else aspect,
        rotation=rotation,
        codec=codec,
        pixel_format=first.format.name,
        bits=first.format.components[0].bits,
        colour=colour_of(first),
        pts=pts,
        time_base=base,
        last_duration=_last_duration(packets, pts, rate, base),
        frame_rate=rate,
        sound=_sound_info(path, packets, pts, base) if has_sound else None,
        interlaced=first.interlaced_frame,
    )


def probe_sound(path: Path) -> SoundInfo:
    """What is known of a sound file, counted from its first sample.

    Raises MediaError when it has no sound, is cut off, or its beginning cannot be decoded.
    """
    with open_media(path) as container, our_errors(path):
        if not container.streams.audio:
            raise MediaError(f"'{path}' has no sound", mend="name a sound file")
        end_s = Fraction(0)
        for packet in container.demux(container.streams.audio[0]):
            if packet.pts is not None and packet.time_base and packet.size:
                end_s = max(end_s, (packet.pts + (packet.duration or 0)) * packet.time_base)
        refuse_cut_off(path)
    found = _first_sound(path, end_s)
    if found is None:
        raise unreadable(path, "its sound cannot be decoded", Fraction(0))
    return replace(found, start_s=Fraction(0))


def picture_stream(path: Path, container: InputContainer) -> VideoStream:
    """The stream of pictures that moves: the first that is not a cover or thumbnail."""
    aside = Disposition.attached_pic | Disposition.timed_thumbnails | Disposition.still_image
    for stream in container.streams.video:
        if not stream.disposition & aside:
            if cast(object, stream.codec_context) is None:
                raise MediaError(f"'{path}': its pictures are coded in a way not known here", mend="re-encode it first")
            return stream
    raise MediaError(f"'{path}' has no pictures", mend="name a video file")


@dataclass(slots=True)
class _Packets:
    """What the pass over the packets saw, in file order."""

    shown: list[int] = field(default_factory=list)
    durations: dict[int, int] = field(default_factory=dict)
    sound_end_s: Fraction | None = None


def _time_base(path: Path, video: VideoStream) -> Fraction:
    if video.time_base is None:
        raise MediaError(f"'{path}' does not say what its times count in", mend=_RESTAMP)
    return video.time_base


def _read_packets(path: Path, container: InputContainer, video: VideoStream, sound: AudioStream | None) -> _Packets:
    base, seen = _time_base(path, video), _Packets()
    with our_errors(path):
        for packet in container.demux(*filter(None, (video, sound))):
            if packet.size == 0:  # the end, once a stream
                continue
            if packet.is_corrupt:
                raise _short(path, seen, base, "its last packet is not whole")
            if sound is not None and packet.stream_index == sound.index:
                if packet.pts is not None and packet.time_base:
                    end = (packet.pts + (packet.duration or 0)) * packet.time_base
                    seen.sound_end_s = max(end, seen.sound_end_s or end)
                continue
            if packet.is_discard:  # hidden by an edit list
                continue
            if packet.pts is None:
                raise MediaError(
                    f"'{path}': picture {len(seen.shown) + 1} in the file has no time stamp", mend=_RESTAMP
                )
            seen.shown.append(packet.pts)
            seen.durations[packet.pts] = packet.duration or 0
    if reason := cut_off(path):
        raise _short(path, seen, base, reason)
    if not seen.shown:
        raise MediaError(f"'{path}' has no pictures", mend="name a video file")
    return seen


def _short(path: Path, seen: _Packets, base: Fraction, why: str) -> MediaError:
    """Say how far a cut-off file could be read."""
    if not seen.shown:
        return ends_early(path, why, Fraction(0), 0)
    first, last = min(seen.shown), max(seen.shown)
    return ends_early(path, why, (last + seen.durations[last] - first) * base, len(seen.shown))


def _first_picture(path: Path, container: InputContainer) -> VideoFrame:
    frames = container.decode(picture_stream(path, container))
    first = next(frames, None)
    if first is None:
        raise unreadable(path, "no picture can be decoded", Fraction(0))
    if container.format.name == "avi":
        # AVI has no times for pictures stored out of order, and the library then makes some up.
        stamps = [first.pts, *(frame.pts for frame in islice(frames, _AVI_LOOK))]
        if any(later is None or earlier is None or later <= earlier for earlier, later in pairwise(stamps)):
            raise MediaError(f"'{path}': its pictures are stored out of order, without time stamps", mend=_REMAKE)
    return first


def _shown(path: Path, packets: _Packets, first: VideoFrame, base: Fraction) -> npt.NDArray[np.int64]:
    """Times of the pictures that a player shows, rising."""
    if first.pts is None:
        raise MediaError(f"'{path}': its first picture has no time stamp", mend=_RESTAMP)
    # Pictures before the first that decodes lean on ones that were cut away; no player shows them.
    pts = np.array(sorted(p for p in packets.shown if p >= first.pts), np.int64)
    if pts.size == 0 or int(pts[0]) != first.pts:
        raise MediaError(f"'{path}': the times in the file and of its decoded pictures differ", mend=_RESTAMP)
    if (twice := np.flatnonzero(np.diff(pts) == 0)).size:
        when = (int(pts[twice[0]]) - int(pts[0])) * base
        raise MediaError(f"'{path}': two pictures have the same time, {float(when):.3f} s", mend=_RESTAMP)
    return pts


def _last_duration(packets: _Packets, pts: npt.NDArray[np.int64], rate: Fraction | None, base: Fraction) -> int:
    """How long the last picture stays, in time_base units: the even step, else what its packet says."""
    if rate is not None:
        return max(1, round(1 / (rate * base)))
    stated = packets.durations[int(pts[-1])]
    return stated if stated > 0 else int(pts[-1] - pts[-2]) if pts.size > 1 else 1


def _rotation(path: Path, first: VideoFrame) -> Literal[0, 90, 180, 270]:
    """Degrees clockwise to turn by, from the display matrix (ISO/IEC 14496-12, 6.2.2)."""
    side = next((side for side in _sides(first) if side.type.name == "DISPLAYMATRIX"), None)
    if side is None:
        return 0
    a, b, _, c, d = (int(value) for value in np.frombuffer(bytes(side), np.int32)[:5])
    if a * d - b * c < 0:
        raise MediaError(f"'{path}' is stored mirrored", mend="re-encode it the right way round")
    turn = round(degrees(atan2(b, a))) % 360
    if turn not in (0, 90, 180, 270):
        raise MediaError(f"'{path}' is to be turned by {turn} degrees", mend="re-encode it upright")
    return cast(Literal[0, 90, 180, 270], turn)


def _sides(frame: VideoFrame) -> Iterator[SideData]:
    """The frame's side data; the library's typing takes it for a mapping, which it is not when walked."""
    return iter(cast(Iterable[SideData], frame.side_data))


def _sound_info(path: Path, packets: _Packets, pts: npt.NDArray[np.int64], base: Fraction) -> SoundInfo | None:
    """The sound of a capture, placed against its first picture; None when there is none."""
    found = _first_sound(path, packets.sound_end_s)
    return None if found is None else replace(found, start_s=found.start_s - int(pts[0]) * base)


def _first_sound(path: Path, sound_end_s: Fraction | None) -> SoundInfo | None:
    """Rate, channels and place on the file's own clock of the first sound that decodes; None when there is none."""
    with open_media(path) as container, our_errors(path):
        stream = container.streams.audio[0]
        if cast(object, stream.codec_context) is None:
            raise MediaError(f"'{path}': its sound is coded in a way not known here", mend="re-encode its sound first")
        frame = next(iter(container.decode(stream)), None)
        if frame is None or frame.pts is None or frame.time_base is None:
            return None
        start_s = frame.pts * frame.time_base
        end_s = sound_end_s if sound_end_s is not None else start_s
        return SoundInfo(
            rate=frame.sample_rate,
            channels=frame.layout.nb_channels,
            start_s=start_s,
            duration_s=max(Fraction(0), end_s - start_s),
        )
