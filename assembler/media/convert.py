"""From a capture's codes to ours: which matrix and range a capture has, and the filters that convert.

Ours are BT.709, limited range, 4:2:0, 8 or 10 bits. Tags are read and never left to a library's
default; what an untagged capture is taken for is said in `Colour.assumed`.
Code points: Rec. ITU-T H.273 tables 2 to 4.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from av import VideoFormat, VideoFrame
from av.filter import Graph

from assembler.errors import MediaError
from assembler.media.info import Colour

LIMITED, FULL = 1, 2
UNTAGGED = 2
RGB = 0

_MATRICES = {
    1: ("bt709", "bt709", "bt709"),
    4: ("fcc", "fcc", "fcc"),
    5: ("bt470bg", "bt601", "bt470bg"),
    6: ("smpte170m", "bt601", "smpte170m"),
    7: ("smpte240m", "smpte240m", "smpte240m"),
    9: ("bt2020nc", "bt2020", "bt2020ncl"),
}
"""Code point -> its name to the frame source, to the scaler and to the matrix filter."""

_FLAGS = {"lanczos": "lanczos+accurate_rnd", "bicubic": "bicubic+accurate_rnd", "area": "area+accurate_rnd"}
"""accurate_rnd costs a sixth more and takes away a bias of up to a code. full_chroma_int is left out: it
acts on RGB results only."""

Step = tuple[str, str]
"""A filter and its arguments."""


def colour_of(frame: VideoFrame) -> Colour:
    """The tags of a decoded picture, and what stands in for those that are missing."""
    guesses = []
    matrix, full = int(frame.colorspace), frame.color_range == FULL or frame.format.name.startswith("yuvj")
    if frame.format.is_rgb or frame.format.has_palette:
        matrix, full = RGB, frame.color_range != LIMITED
    else:
        if matrix in (UNTAGGED, RGB):
            matrix = UNTAGGED
            guesses.append(f"matrix BT.{'601' if _assumed_matrix(frame.height) == 6 else '709'}")
        if not full and frame.color_range != LIMITED:
            guesses.append("limited range")
    assumed = f"not tagged; taken for {' and '.join(guesses)}" if guesses else ""
    return Colour(int(frame.color_primaries), int(frame.color_trc), matrix, full, assumed)


def _assumed_matrix(stored_height: int) -> int:
    """The matrix of an untagged capture: small pictures are taken for standard definition."""
    return 6 if stored_height < 720 else 1


@dataclass(frozen=True, slots=True)
class Source:
    """Pictures as they leave the decoder, before rotation: size, pixel format, matrix code point, range."""

    width: int
    height: int
    pixel_format: str
    matrix: int
    full_range: bool

    @property
    def layout(self) -> VideoFormat:
        return VideoFormat(self.pixel_format, self.width, self.height)

    @property
    def is_rgb(self) -> bool:
        return bool(self.layout.is_rgb or self.layout.has_palette)

    @property
    def bits(self) -> int:
        return self.layout.components[0].bits

    @property
    def chroma_shifts(self) -> tuple[int, int]:
        """log2 of how many luma pixels share a chroma sample, across and down."""
        layout = self.layout
        return (8 // layout.chroma_width(8)).bit_length() - 1, (8 // layout.chroma_height(8)).bit_length() - 1

    @property
    def is_planar(self) -> bool:
        """Whether it is one of the plain formats the matrix filter takes."""
        return self.pixel_format.replace("yuvj", "yuv") in _PLANAR

    @property
    def is_ours(self) -> bool:
        """Whether its codes already mean light as ours do."""
        return not self.is_rgb and self.matrix == 1 and not self.full_range


def _plain(shifts: tuple[int, int], bits: int) -> str:
    kind = {(0, 0): "yuv444p", (1, 0): "yuv422p", (1, 1): "yuv420p"}[shifts]
    return kind if bits == 8 else f"{kind}{bits}le"


_SHIFTS = ((0, 0), (1, 0), (1, 1))
_PLANAR = {_plain(shifts, bits) for shifts in _SHIFTS for bits in (8, 10, 12)}


def source_of(path: Path, colour: Colour, width: int, height: int, pixel_format: str) -> Source:
    """width, height: as stored. Raises MediaError for colour that cannot be converted."""
    matrix = _assumed_matrix(height) if colour.matrix == UNTAGGED else colour.matrix
    source = Source(width, height, pixel_format, matrix, colour.full_range)
    if (
        len(source.layout.components) < 3 and not source.is_rgb
    ):  # the scaler takes grey for full range, whatever its tag
        raise MediaError(f"'{path}' is grey only ({pixel_format}), which is not handled", mend="re-encode it in colour")
    if not source.is_rgb and matrix not in _MATRICES:
        raise MediaError(
            f"'{path}' has colour coded by H.273 matrix {matrix}, which cannot be converted",
            mend="re-encode it with the BT.709 matrix",
        )
    return source


def native_steps(source: Source, bits: int) -> tuple[tuple[Step, ...], tuple[int, int]]:
    """Filters that make a picture's codes ours and change neither size nor, if they can, chroma sites.

    Returns the steps (none if it is ours already) and the chroma shifts of the result.
    """
    if source.is_rgb:
        return (*_scaled(source, source.width, source.height, "bicubic", _plain((0, 0), bits)),), (0, 0)
    shifts = source.chroma_shifts if source.chroma_shifts in _SHIFTS else (1, 1)
    steps: list[Step] = []
    if (source.width % 2 or source.height % 2) and not (source.is_ours and source.is_planar and source.bits == bits):
        # The matrix filter takes even sizes only. The scaler's own conversion is slower and clips to RGB.
        return (*_scaled(source, source.width, source.height, "bicubic", _plain(shifts, bits), ours=True),), shifts
    if not source.is_planar:
        working = 8 if source.bits <= 8 else 10 if source.bits <= 10 else 12
        steps += _scaled(source, source.width, source.height, "bicubic", _plain(shifts, working))
    if not source.is_ours or source.bits != bits:
        steps.append(_to_ours(source, _plain(shifts, bits)))
    return tuple(steps), shifts


def scaling_steps(
    source: Source, crop: tuple[int, int, int, int], size: tuple[int, int], rotation: int, scaling: str, bits: int
) -> tuple[Step, ...]:
    """Filters that crop exactly, scale, turn, and make the codes ours.

    crop: x, y, width, height in stored pixels, before rotation. size: after rotation, even.
    """
    x, y, width, height = crop
    steps: list[Step] = []
    if crop != (0, 0, source.width, source.height):
        steps.append(("crop", f"{width}:{height}:{x}:{y}:exact=1"))
    out_width, out_height = size if rotation in (0, 180) else size[::-1]
    steps += _scaled(source, out_width, out_height, scaling, _plain((1, 1), bits), odd=(x % 2, y % 2))
    # Turned after scaling, when there is usually less to turn. Two quarter turns: a flip would give
    # planes that run backwards in memory.
    turns = {0: (), 90: ("clock",), 180: ("clock", "clock"), 270: ("cclock",)}[rotation]
    steps += [("transpose", turn) for turn in turns]
    if not source.is_ours and not source.is_rgb:
        # Last, on the small picture. Unlike the scaler's own way it does not pass through RGB, so codes
        # beyond the legal range live on.
        steps.append(_to_ours(source, _plain((1, 1), bits)))
    return tuple(steps)


def _scaled(
    source: Source,
    width: int,
    height: int,
    scaling: str,
    pixel_format: str,
    odd: tuple[int, int] = (0, 0),
    ours: bool = False,
) -> list[Step]:
    """Scale and change format, keeping matrix and range unless `ours`; RGB becomes ours at any rate.

    odd: 1 where a crop began on an odd pixel: shared chroma then sits one luma pixel further back than
    the scaler would think.
    """
    chroma = source.chroma_shifts
    arguments = [f"{width}:{height}:flags={_FLAGS[scaling]}{'+full_chroma_inp' if source.is_rgb else ''}"]
    if source.is_rgb:
        arguments.append(f"in_range={'pc' if source.full_range else 'tv'}:out_color_matrix=bt709:out_range=tv")
    else:
        matrix, span = _MATRICES[source.matrix][1], "pc" if source.full_range else "tv"
        to = "out_color_matrix=bt709:out_range=tv" if ours else f"out_color_matrix={matrix}:out_range={span}"
        arguments.append(f"in_color_matrix={matrix}:in_range={span}:{to}")
    arguments.append("in_chroma_loc=left:out_chroma_loc=left")  # the scaler's own default is centred
    if odd[0] and chroma[0]:
        arguments.append("in_h_chr_pos=-256")
    if odd[1] and chroma[1]:
        arguments.append("in_v_chr_pos=-128")
    return [("scale", ":".join(arguments)), ("format", pixel_format)]


def _to_ours(source: Source, pixel_format: str) -> Step:
    """Matrix and range to ours; transfer and primaries are left as they are."""
    matrix, span = _MATRICES[source.matrix][2], "pc" if source.full_range else "tv"
    name = pixel_format.removesuffix("le")
    return (
        "colorspace",
        f"iall=bt709:ispace={matrix}:irange={span}:all=bt709:space=bt709:range=tv:fast=1:format={name}",
    )


class Converter:
    """A filter graph from a source's pictures to the last step's. One picture in, one picture out."""

    def __init__(self, source: Source, steps: tuple[Step, ...]) -> None:
        self._source = source
        self._graph = Graph()
        self._graph.threads = 1  # panes are read side by side; more threads a pane only wait for each other
        self._matrix = RGB if source.is_rgb else source.matrix
        self._range = FULL if source.full_range else LIMITED
        name = "gbr" if source.is_rgb else _MATRICES[source.matrix][0]
        # A buffer made from the stream would forget matrix and range.
        node = self._graph.add(
            "buffer",
            f"video_size={source.width}x{source.height}:pix_fmt={source.pixel_format}:time_base=1/1000"
            f":pixel_aspect=1/1:colorspace={name}:range={'pc' if source.full_range else 'tv'}",
        )
        for step, arguments in (*steps, ("buffersink", None)):
            following = self._graph.add(step, arguments)
            node.link_to(following)
            node = following
        self._graph.configure()

    def __call__(self, frame: VideoFrame) -> VideoFrame:
        frame.colorspace, frame.color_range = self._matrix, self._range
        self._graph.vpush(frame)
        return self._graph.vpull()
