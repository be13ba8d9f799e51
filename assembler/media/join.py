"""Join parts into one programme: pictures by stream copy, sound encoded once over the whole length.

Parts are opened one at a time, twice each: first to see that they fit together, then to copy.
Presentation and decoding times are counted from the frame grid, never added up from durations, so
that joins of parts of one or two pictures stay exact.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av

from assembler.errors import AssemblerError, MediaError, RenderError
from assembler.media.landing import landing, write_error
from assembler.media.opening import open_media
from assembler.media.soft_captions import CaptionTrack, SoftCaptions, verify_track
from assembler.media.sound_coder import CodedPackets, SoundBlock, SoundCoder, SoundCoding
from assembler.media.writer import clock_of
from assembler.timing.rates import SAMPLE_RATE

# Ticks a second of the file's own clock. Every picture rate and the sound's rate divide it, so that
# the lengths in the edit lists are exact; the usual millisecond would cut up to 1 ms of sound.
MOVIE_CLOCK = 240_000
# The clock of a chapter list; milliseconds would put a chapter past the start of its first picture,
# and an exact seek to it would miss that picture.
_CHAPTER_CLOCK = 10_000_000

_AHEAD_S = Fraction(1, 2)
_AHEAD = round(_AHEAD_S * SAMPLE_RATE)
_USUAL_CODING = SoundCoding()
_TELL_EVERY = 64


@dataclass(frozen=True, slots=True)
class Chapter:
    """A named stretch of the programme, half-open, in canvas frames."""

    title: str
    start_frame: int
    end_frame: int


@dataclass(frozen=True, slots=True)
class _Shape:
    """What must be equal in all parts for stream copy to be sound."""

    codec: str
    width: int
    height: int
    pixel_format: str
    header: bytes
    colour: tuple[int, int, int, int]

    def differs_from(self, other: _Shape) -> str:
        """In words, or empty."""
        if (self.width, self.height) != (other.width, other.height):
            return f"{self.width}x{self.height} against {other.width}x{other.height}"
        if (self.codec, self.pixel_format) != (other.codec, other.pixel_format):
            return f"{self.codec} {self.pixel_format} against {other.codec} {other.pixel_format}"
        if self.colour != other.colour:
            return "their colour tags differ"
        return "their codec headers differ" if self.header != other.header else ""


@dataclass(frozen=True, slots=True)
class _Scan:
    shape: _Shape
    pictures: int
    delay: int  # pictures by which decoding runs ahead of showing


def join_parts(
    parts: Sequence[Path],
    out: Path,
    *,
    rate: Fraction,
    sound: Iterable[SoundBlock] | Path | None,
    chapters: Sequence[Chapter] = (),
    title: str = "",
    sound_coding: SoundCoding = _USUAL_CODING,
    captions: SoftCaptions | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> int:
    """Write the programme to `out` (mp4) and return its number of pictures.

    parts: files by `writer.PartWriter`, in order, all with the same settings. rate: pictures a
    second. sound: a file by `sound_coder.code_sound`, or blocks of float32 (samples, 2) at 48 kHz to be
    coded now (sound_coding: how), as long as the pictures to within a sample, or None for no sound.
    captions: a track that players can show or hide. progress: called with pictures done and in all; what
    it raises ends the join. The file is read back before it gets its name.
    Raises RenderError when parts do not fit together or the result is not whole,
    MissingPartError when the disk is full.
    """
    if not parts:
        raise RenderError("there is nothing to join")
    scans = _scan_all(parts, rate)
    frames = sum(scan.pictures for scan in scans)
    out = out.absolute()
    with landing(out) as partial:
        try:
            with av.open(
                str(partial),
                "w",
                format="mp4",
                container_options={"movflags": "+faststart", "movie_timescale": str(MOVIE_CLOCK)},
            ) as container:
                _write(container, parts, scans, rate, sound, chapters, title, sound_coding, captions, progress)
        except AssemblerError:
            raise
        except (OSError, av.FFmpegError) as error:
            raise write_error(out, error) from error
        _verify(partial, out, frames, rate, with_sound=sound is not None)
        if captions is not None:
            _verify_captions(partial, out, captions, frames, rate)
    return frames


def _scan_all(parts: Sequence[Path], rate: Fraction) -> list[_Scan]:
    scans: list[_Scan] = []
    for path in parts:
        scan = _scan(path, rate)
        if scans and (difference := scan.shape.differs_from(scans[0].shape)):
            raise RenderError(
                f"{path.name} does not join {parts[0].name}: {difference}",
                mend="delete the parts and render them anew with one set of encoder settings",
            )
        scans.append(scan)
    return scans


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[tuple[Any, Any]]:
    """A part's container and picture stream."""
    try:
        container = open_media(path)
    except MediaError as error:
        what = error.problems[0].what
        raise RenderError(f"{path}: this part cannot be read: {what}", mend="delete it and render again") from error
    with container:
        if not container.streams.video:
            raise RenderError(f"{path}: this part has no pictures", mend="delete it and render again")
        yield container, container.streams.video[0]


def _packets(path: Path, rate: Fraction) -> Iterator[tuple[int, Any]]:
    """Each packet in file order with the number of the picture it shows (display order from 0)."""
    with _opened(path) as (container, stream):
        yield from _packets_in(container, stream, path, rate)


def _packets_in(container: Any, stream: Any, path: Path, rate: Fraction) -> Iterator[tuple[int, Any]]:
    pictures_a_tick, start = Fraction(stream.time_base) * rate, stream.start_time or 0
    up, down = pictures_a_tick.numerator, pictures_a_tick.denominator
    try:
        for packet in container.demux(stream):
            if packet.pts is None or not packet.size:
                continue
            shown, off_grid = divmod((packet.pts - start) * up, down)
            if off_grid:
                raise RenderError(f"{path}: this part is not at {rate} pictures a second")
            yield shown, packet
    except (ValueError, av.FFmpegError) as error:
        raise RenderError(f"{path}: this part is damaged: {error}", mend="delete it and render again") from error


def _scan(path: Path, rate: Fraction) -> _Scan:
    with _opened(path) as (container, stream):
        context = stream.codec_context
        shape = _Shape(
            codec=context.name,
            width=context.width,
            height=context.height,
            pixel_format=context.pix_fmt or "",
            header=bytes(context.extradata or b""),
            colour=(context.color_primaries, context.color_trc, context.colorspace, context.color_range),
        )
        order = [(shown, packet.is_keyframe) for shown, packet in _packets_in(container, stream, path, rate)]
    if sorted(shown for shown, _ in order) != list(range(len(order))):
        raise RenderError(f"{path}: this part has gaps between its pictures", mend="delete it and render again")
    if not order or order[0] != (0, True):
        raise RenderError(f"{path}: this part does not start with a whole picture", mend="delete it and render again")
    return _Scan(shape, len(order), max(place - shown for place, (shown, _) in enumerate(order)))


def _write(
    container: Any,
    parts: Sequence[Path],
    scans: Sequence[_Scan],
    rate: Fraction,
    sound: Iterable[SoundBlock] | Path | None,
    chapters: Sequence[Chapter],
    title: str,
    sound_coding: SoundCoding,
    captions: SoftCaptions | None,
    progress: Callable[[int, int], None] | None,
) -> None:
    frames = sum(scan.pictures for scan in scans)
    clock, step = clock_of(rate)
    with _opened(parts[0]) as (_, template):
        video = container.add_stream_from_template(template, opaque=True)
        if template.codec_context.name == "hevc":
            # The other name for it, which a copied stream gets by itself, is refused by many players.
            video.codec_context.codec_tag = "hvc1"
    video.time_base = clock
    video.sample_aspect_ratio = Fraction(1)
    track = _sound_track(container, sound, sound_coding) if sound is not None else None
    texts = CaptionTrack(container, captions, frames, clock, step) if captions is not None else None
    if title:
        container.metadata["title"] = title
    if chapters:
        container.set_chapters(_chapter_marks(chapters, rate))

    delay = max(scan.delay for scan in scans)
    ahead_pictures = round(2 * _AHEAD_S * rate)
    done = 0  # packets of earlier parts: a part has as many packets as pictures
    for path, scan in zip(parts, scans, strict=True):
        place = done
        for shown, source in _packets(path, rate):
            packet = av.Packet(bytes(source))
            packet.stream, packet.time_base = video, clock
            packet.is_keyframe = source.is_keyframe
            packet.pts, packet.dts, packet.duration = (done + shown) * step, (place - delay) * step, step
            if texts is not None:  # before any sound: a caption that comes late is ended by what comes before it
                texts.feed_to(place + ahead_pictures)
            if track is not None:
                track.feed_to(_AHEAD + place * rate.denominator * SAMPLE_RATE // rate.numerator)
            container.mux(packet)
            place += 1
            if progress is not None and place % _TELL_EVERY == 0:
                progress(place, frames)
        if place - done != scan.pictures:
            raise RenderError(f"{path}: this part changed while it was being joined", mend="run again")
        done = place
    if texts is not None:
        texts.feed_to(frames)
    if track is not None:
        track.finish(Fraction(frames) / rate)
    if progress is not None:
        progress(frames, frames)


def _chapter_marks(chapters: Sequence[Chapter], rate: Fraction) -> list[dict[str, Any]]:
    def ticks(frame: int) -> int:
        # Rounded up, so that the place that is kept so coarsely never lies on the picture before. On the
        # file's own clock, where the chapters also stand, it comes out exact.
        return -((-frame * _CHAPTER_CLOCK / rate).__floor__())

    return [
        {
            "id": number,
            "start": ticks(chapter.start_frame),
            "end": ticks(chapter.end_frame),
            "time_base": Fraction(1, _CHAPTER_CLOCK),
            "metadata": {"title": chapter.title},
        }
        for number, chapter in enumerate(chapters, start=1)
    ]


def _sound_track(container: Any, sound: Iterable[SoundBlock] | Path, coding: SoundCoding) -> _SoundTrack | _SoundCopy:
    return _SoundCopy(container, sound) if isinstance(sound, Path) else _SoundTrack(container, sound, coding)


class _SoundTrack:
    """The programme's sound, encoded as it is needed, a little ahead of the pictures."""

    def __init__(self, container: Any, blocks: Iterable[SoundBlock], coding: SoundCoding) -> None:
        self._container = container
        self._coder = SoundCoder(container, coding)
        self._blocks = iter(blocks)

    def feed_to(self, sample: int) -> None:
        """Encode blocks until the sound reaches a sample, or ends."""
        while self._coder.received < sample and self._receive():
            pass

    def finish(self, length_s: Fraction) -> None:
        """Encode the rest; the whole must be `length_s` long, to within a sample."""
        while self._receive():
            pass
        _refuse_length(self._coder.received, length_s)
        for packet in self._coder.end():
            self._container.mux(packet)

    def _receive(self) -> bool:
        block = next(self._blocks, None)
        if block is None:
            return False
        for packet in self._coder.add(block):
            self._container.mux(packet)
        return True


class _SoundCopy:
    """The same, coded beforehand."""

    def __init__(self, container: Any, path: Path) -> None:
        self._source = open_media(path)
        self._packets = CodedPackets(container, self._source, path)

    def feed_to(self, sample: int) -> None:
        """Copy packets until the sound reaches a sample, or ends."""
        self._packets.feed_to(sample)

    def finish(self, length_s: Fraction) -> None:
        """Copy the rest; the whole must be `length_s` long, to within a sample."""
        self._packets.feed_to(None)
        self._source.close()
        _refuse_length(self._packets.reached, length_s)


def _refuse_length(samples: int, length_s: Fraction) -> None:
    if abs(samples - length_s * SAMPLE_RATE) > 1:
        pictures = float(length_s * SAMPLE_RATE)
        raise RenderError(f"the sound is {samples} samples long but the pictures last {pictures:.1f}")


def _verify(partial: Path, out: Path, frames: int, rate: Fraction, *, with_sound: bool) -> None:
    """Read every packet of the written file back: all pictures on the grid, all times rising."""
    shown: list[int] = []
    sound_end = 0
    last: dict[int, int] = {}
    with _opened(partial) as (container, video):
        if bool(container.streams.audio) != with_sound:
            raise _not_whole(out, "the sound track is missing")
        pictures_a_tick, pictures = Fraction(video.time_base) * rate, video.index
        sound_clock = Fraction(container.streams.audio[0].time_base) if with_sound else Fraction(1)
        try:
            for packet in container.demux(*container.streams.video, *container.streams.audio):
                dts, pts, stream = packet.dts, packet.pts, packet.stream_index
                if dts is None or pts is None or not packet.size:
                    continue
                if dts <= last.get(stream, dts - 1) or pts < dts:
                    raise _not_whole(out, "its times do not rise")
                last[stream] = dts
                if stream == pictures:
                    shown.append(pts)
                else:
                    sound_end = pts + (packet.duration or 0)
        except (OSError, ValueError, av.FFmpegError) as error:
            raise _not_whole(out, str(error)) from error
    shown.sort()
    if len(shown) != frames:
        raise _not_whole(out, f"{len(shown)} of {frames} pictures can be read back")
    up, down = pictures_a_tick.numerator, pictures_a_tick.denominator
    if any(pts * up != number * down for number, pts in enumerate(shown)):
        raise _not_whole(out, "a picture is off the frame grid")
    ended_s = sound_end * sound_clock
    if with_sound and ended_s * SAMPLE_RATE < Fraction(frames) / rate * SAMPLE_RATE - 1:
        raise _not_whole(out, f"its sound ends at {float(ended_s):.3f} s")


def _verify_captions(partial: Path, out: Path, captions: SoftCaptions, frames: int, rate: Fraction) -> None:
    with _opened(partial) as (container, _):
        try:
            verify_track(container, captions, frames, rate)
        except (OSError, ValueError, av.FFmpegError) as error:
            raise _not_whole(out, str(error)) from error
        except RenderError as error:
            raise _not_whole(out, error.problems[0].what) from error


def _not_whole(out: Path, why: str) -> RenderError:
    return RenderError(f"{out}: the joined file is not whole: {why}", mend="run again; the parts are kept")
