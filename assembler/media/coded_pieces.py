"""The programme's sound coded piece by piece, so that a piece in which nothing is heard to change is not coded again.

A coder of its own codes each piece. It begins a little early and what it makes of that is left out; by then it has come
to what a coder that had coded everything would be doing, so pieces follow on each other as if one had made them all.
That holds for the quick way of coding alone: the careful one remembers longer.

Packet k of a programme, from 0, holds the sound of frames k - 1 and k, and with packet k - 1 gives out frame k - 1.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np

from assembler.media.landing import landing, write_error
from assembler.media.sound_coder import (
    CLOCK,
    FRAME,
    SoundBlock,
    SoundCoding,
    coded_frames,
    open_coder,
    samples_of,
    sound_file,
)

LEAD = 16
"""Frames before its own from which a piece's coder begins. The sound is as close to what went in at the seams as
elsewhere (tests/test_sound_pieces.py); a 3 s piece costs 3 % more for it."""


@dataclass(frozen=True, slots=True)
class CodedPiece:
    """header: what a decoder has to know first, the same for all pieces of a programme."""

    header: bytes
    packets: tuple[bytes, ...]


def code_piece(sound: SoundBlock, lead: int, coding: SoundCoding, *, last: bool) -> CodedPiece:
    """Code one piece. sound: float32 (samples, 2): `lead` frames that belong to the piece before, the piece's own, and
    one more; the last piece's goes to the end of the programme and need not end with a whole frame."""
    coder = open_coder(coding)
    packets = [bytes(packet) for frame in coded_frames(sound) for packet in coder.encode(frame)]
    if last:
        packets.extend(bytes(packet) for packet in coder.encode(None))
    return CodedPiece(bytes(coder.extradata or b""), tuple(packets[lead:]))


def decode_packets(header: bytes, packets: Iterable[bytes]) -> SoundBlock:
    """Float32 (samples, 2): FRAME samples for each packet, of which the first packet's lack what lies before."""
    decoder = av.CodecContext.create("aac", "r")
    decoder.extradata = header
    frames = [frame for packet in packets for frame in decoder.decode(av.Packet(packet))]
    frames.extend(decoder.decode(None))
    return np.concatenate([np.zeros((0, 2), np.float32), *map(samples_of, frames)])


def write_pieces(pieces: Iterable[Sequence[bytes]], samples: int, coding: SoundCoding, path: Path) -> None:
    """Put the packets of all pieces into one file like that of `code_sound`. samples: of the whole. Raises
    MissingPartError when the disk is full."""
    with landing(path, shared=True) as partial:
        try:
            with sound_file(partial, coding) as (container, coder):
                place = -FRAME
                for data in (data for piece in pieces for data in piece):
                    packet = av.Packet(data)
                    packet.stream, packet.time_base = coder.stream, CLOCK
                    packet.pts = packet.dts = place
                    packet.duration = min(FRAME, samples - place)
                    packet.is_keyframe = True
                    container.mux(packet)
                    place += FRAME
        except (OSError, av.FFmpegError) as error:
            raise write_error(path, error) from error
