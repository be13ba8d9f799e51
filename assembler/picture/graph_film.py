"""A band of graphs on a page that is known: the same picture as `GraphBand.paint` makes, mostly by copying.

    film = BandFilm(band, page, x, y)      # the page holds what does not move
    film.paint(times_s)
    put(canvas, film.picture, film.rect.x, film.rect.y)

The band is kept on planes of its own from frame to frame. What scrolls lies on rows whose page is the same in every
column, so it is blended with the page once, in chunks, and copied from there to wherever it has scrolled. Labels stay
until they change; only the part of a dot that lies over a line is blended anew. Which frames were painted before never
shows: every row and column is either what it must be from the frame before, or painted again.
"""

from __future__ import annotations

from collections import OrderedDict, deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from assembler.media.planes import Plane, Planes
from assembler.picture.geometry import Rect
from assembler.picture.graph_band import PAST, GraphBand, Placed, Shown
from assembler.picture.graph_chunks import Strip
from assembler.picture.sprite import Sprite, blend, blend_plane

CHUNK_PX = 512
_KEPT = 4  # times the chunks of one window: they are asked for in two parities and in some lags
_LAGS = 16  # how far captures lag behind each other is kept for so many frames


@dataclass(frozen=True, slots=True, eq=False)
class Stacked:
    """Planes with both kinds of chroma in one array, so that two copies do where three planes need three.

    y: (rows, columns); c: (2, rows / 2, columns / 2).
    """

    y: Plane
    c: Plane

    @classmethod
    def of(cls, planes: Planes, rows: slice, columns: slice) -> Stacked:
        """A copy of some rows and columns (even)."""
        half = _halved(rows), _halved(columns)
        return cls(planes.y[rows, columns].copy(), np.stack((planes.u[half], planes.v[half])))

    @property
    def planes(self) -> Planes:
        """The same as planes, without copying."""
        return Planes(self.y, self.c[0], self.c[1])

    def part(self, rows: slice, columns: slice) -> Stacked:
        """Some rows and columns (even), without copying."""
        return Stacked(self.y[rows, columns], self.c[:, _halved(rows), _halved(columns)])

    def take(self, other: Stacked) -> None:
        """Copy another sheet of the same size."""
        self.y[...] = other.y
        self.c[...] = other.c


@dataclass(frozen=True, slots=True, eq=False)
class Scrolling:
    """One strip of a series, and its first row in the band."""

    index: int
    strip: Strip
    top: int
    is_lane: bool


class _WiderError(Exception):
    """A strip has ink on rows that were not thought to have any."""


class _Piece:
    """A drawing at one place of a sheet, which it lies within, set out once to be laid there again and again."""

    def __init__(self, onto: Stacked, placed: Placed) -> None:
        sprite, x, y = placed
        at = onto.part(slice(y, y + sprite.height), slice(x, x + sprite.width))
        self._planes = (
            (at.y, sprite.y.copy(), sprite.keep_y.copy()),
            (at.c, np.stack((sprite.u, sprite.v)), np.stack((sprite.keep_c, sprite.keep_c))),
        )
        self._bits = sprite.bits

    def lay(self) -> None:
        for under, colour, keep in self._planes:
            blend_plane(under, colour, keep, self._bits)


class _Film:
    """Strips on their page, and a sprite over them, as chunks that are copied.

    column: (rows, 2) of the page, the same wherever the film lies. strips: each with its row on the film. width: the
    most columns that are asked for at once. over: two columns wide, laid over every two columns.
    """

    def __init__(
        self, column: Stacked, strips: Sequence[tuple[Strip, int]], width: int, *, dim: bool, over: Sprite | None
    ) -> None:
        self._column, self._strips, self._dim, self._over = column, strips, dim, over
        self._kept = _KEPT * (width // CHUNK_PX + 2)
        self._chunks: OrderedDict[tuple[int, ...], Stacked] = OrderedDict()

    def put(self, onto: Stacked, left: int, right: int, columns: Sequence[int]) -> None:
        """Copy the film onto columns left to right (even) of a sheet of its rows. columns: each strip's at `left`."""
        lags = tuple([column - columns[0] for column in columns[1:]])
        parity = columns[0] % 2
        first = columns[0] - parity
        last = first + right - left
        for number in range(first // CHUNK_PX, (last - 1) // CHUNK_PX + 1):
            start = number * CHUNK_PX
            chunk = self._chunk(number, parity, lags)
            begin, end = max(first, start), min(last, start + CHUNK_PX)
            to, out = (left + begin - first, left + end - first), (begin - start, end - start)
            onto.y[:, to[0] : to[1]] = chunk.y[:, out[0] : out[1]]
            onto.c[..., to[0] // 2 : to[1] // 2] = chunk.c[..., out[0] // 2 : out[1] // 2]

    def _chunk(self, number: int, parity: int, lags: tuple[int, ...]) -> Stacked:
        key = (number, parity, *lags)
        found = self._chunks.get(key)
        if found is None:
            found = self._chunks[key] = self._new_chunk(number * CHUNK_PX + parity, (0, *lags))
            if len(self._chunks) > self._kept:
                self._chunks.popitem(last=False)
        else:
            self._chunks.move_to_end(key)
        return found

    def _new_chunk(self, first: int, lags: tuple[int, ...]) -> Stacked:
        """Each strip's columns from first + its lag on."""
        chunk = Stacked(np.tile(self._column.y, CHUNK_PX // 2), np.repeat(self._column.c, CHUNK_PX // 2, axis=2))
        for (strip, row), lag in zip(self._strips, lags, strict=True):
            strip.blend(chunk.planes, 0, CHUNK_PX, row, first + lag, dim=self._dim)
        if self._over is not None:
            over, times = self._over, (1, CHUNK_PX // 2)
            y, u, v, keep_y, keep_c = (
                np.tile(each, times) for each in (over.y, over.u, over.v, over.keep_y, over.keep_c)
            )
            blend(chunk.planes, replace(over, y=y, u=u, v=v, keep_y=keep_y, keep_c=keep_c), 0, 0)
        return chunk


class _Lot:
    """What scrolls on the same rows: the lines of one graph, or one lane. Rows count from the band's top.

    Raises ValueError for anything else, and for a lane that the playhead crosses.
    """

    def __init__(self, band: GraphBand, page: Stacked, own: Stacked, x: int, scrolling: Sequence[Scrolling]) -> None:
        self._band, self._page, self._own, self._x = band, page, own, x
        self._scrolling = scrolling
        self._all_rows = _rows_of(scrolling, page.y.shape[0])
        self.lane = scrolling[0].is_lane
        self.rows = self._all_rows
        self._lags: deque[tuple[int, ...]] = deque(maxlen=_LAGS)
        plan, head = band.plan, band.plan.head_x
        if self.lane and (len(scrolling) > 1 or _cut(band.head, _rect(0, plan.plot_right, self.rows)) is not None):
            raise ValueError("a lane has its rows for itself")
        if any(each.is_lane != self.lane for each in scrolling):
            raise ValueError("graphs lie beneath each other")
        self._films = self._made(
            [(plan.plot_x, plan.plot_right)] * 3
            if self.lane
            else [(plan.plot_x, head), (head, head + PAST), (head + band.clear, plan.plot_right)]
        )
        self._onto = own.part(self.rows, slice(None))

    def _made(self, spans: Sequence[tuple[int, int]]) -> tuple[_Film, _Film, _Film] | None:
        """Films for the past, for the columns under the playhead and for the future; None where the page is not the
        same in all columns of each."""
        rows = _run_around_middle(np.logical_and.reduce([self._alike(*span) for span in spans]))
        if rows is None:
            return None
        self.rows = slice(self._all_rows.start + rows.start, self._all_rows.start + rows.stop)
        over = _cut(self._band.head, _rect(*spans[1], self.rows)) if not self.lane else None
        strips = [(each.strip, each.top - self.rows.start) for each in self._scrolling]

        def film(span: tuple[int, int], *, dim: bool = False, over: Sprite | None = None) -> _Film:
            left = min(self._x + span[0], self._page.y.shape[1] - 2)
            column = self._page.part(self.rows, slice(left, left + 2))
            return _Film(column, strips, span[1] - span[0], dim=dim, over=over)

        return (
            film(spans[0]),
            film(spans[1], over=None if over is None else _filled_out(over, self.rows)),
            film(spans[2], dim=True),
        )

    def paint(self, shown: Sequence[Shown]) -> bool:
        """Paint what scrolls on the band's own sheet; gives whether the playhead is painted there, too."""
        now = [shown[each.index] for each in self._scrolling]
        columns = [each.column for each in now]
        lags = tuple([column - columns[0] for column in columns])
        seen = self._films is not None and (len(now) == 1 or lags in self._lags)
        self._lags.append(lags)
        painted = self._copy if seen else self._blend
        painted(self._onto, now, columns)
        for each in self._scrolling:
            first, last = each.top + each.strip.ink[0], min(each.top + each.strip.ink[1], self._page.y.shape[0])
            if first < last and not self.rows.start <= first <= last <= self.rows.stop:
                self._films, self.rows = None, self._all_rows
                self._onto = self._own.part(self.rows, slice(None))
                raise _WiderError
        return seen and not self.lane

    def _copy(self, onto: Stacked, now: Sequence[Shown], columns: Sequence[int]) -> None:
        assert self._films is not None
        plan, x, head = self._band.plan, self._x, self._x + self._band.plan.head_x
        past, under_head, future = self._films
        back = plan.head_x - plan.plot_x
        end, begin = self._ends(now[0], self._scrolling[0].index)
        past.put(onto, x + plan.plot_x, head + (end if self.lane else 0), [column - back for column in columns])
        if not self.lane:
            under_head.put(onto, head, head + PAST, columns)
        if head + begin < x + plan.plot_right:
            future.put(onto, head + begin, x + plan.plot_right, [column + begin for column in columns])

    def _blend(self, onto: Stacked, now: Sequence[Shown], columns: Sequence[int]) -> None:
        plan, x, head = self._band.plan, self._x, self._x + self._band.plan.head_x
        back, canvas = plan.head_x - plan.plot_x, onto.planes
        begin = 0 if self.lane else self._band.clear
        for left, right in ((x + plan.plot_x, head + PAST), (head + begin, x + plan.plot_right)):
            if left < right:
                onto.part(slice(None), slice(left, right)).take(self._page.part(self.rows, slice(left, right)))
        for each, this, column in zip(self._scrolling, now, columns, strict=True):
            end, begin = self._ends(this, each.index)
            row = each.top - self.rows.start
            each.strip.blend(canvas, x + plan.plot_x, head + end, row, column - back)
            each.strip.blend(canvas, head + begin, x + plan.plot_right, row, column + begin, dim=True)

    def _ends(self, now: Shown, index: int) -> tuple[int, int]:
        """Columns right of the playhead where the past ends and the future begins."""
        end = self._band.end_of(index, now) if self.lane else PAST
        return end, end if self.lane else self._band.clear

    def _alike(self, left: int, right: int) -> Plane:
        """For every two rows, whether the page is the same in all of the band's columns from left to right."""
        part = self._page.part(self._all_rows, slice(self._x + left, self._x + max(left, right)))
        luma = (part.y == part.y[:, :1]).all(axis=1)
        return np.asarray(luma[0::2] & luma[1::2] & (part.c == part.c[..., :1]).all(axis=(0, 2)))


class BandFilm:
    """A band with its top left corner at (x, y) of a page, both even.

    rect: what it covers of the page, over its whole width. picture: what was painted last.
    Raises ValueError where the band reaches beyond what the page can tell.
    """

    def __init__(self, band: GraphBand, page: Planes, x: int, y: int) -> None:
        self._band, self._x = band, x
        if any(panel.top < band.dot_reach for panel in band.plan.panels if panel.kind != "cadence"):
            raise ValueError("a dot would reach above the band")
        self.rect = Rect(0, y, page.width, min(page.height - y, band.height_drawn))
        self._page = Stacked.of(page, slice(y, self.rect.bottom), slice(0, page.width))
        self._own = Stacked(self._page.y.copy(), self._page.c.copy())
        self.picture = self._own.planes
        self._lots = [_Lot(band, self._page, self._own, x, lot) for lot in _on_the_same_rows(band)]
        self._marks: list[Placed] | None = None  # as painted last; None where nothing may stay
        self._stays = False  # whether marks right of the playhead may stay
        self._again: list[tuple[list[_Piece], list[_Piece]]] = []  # for each lot: of the playhead, of marks

    def paint(self, times_s: Sequence[float]) -> None:
        """Make the picture that of a frame at which each series' pane shows its capture at times_s."""
        shown = self._band.state_at(times_s)
        marks = self._band.marks(shown)
        while True:
            try:
                self._paint(shown, marks)
                return
            except _WiderError:
                self._own.take(self._page)
                self._marks = None

    def _paint(self, shown: Sequence[Shown], marks: list[Placed]) -> None:
        band, x, own = self._band, self._x, self._own
        stays = self._stays and marks == self._marks
        if not stays:
            placed = (band.head, *marks, *(self._marks or ()))
            right = slice(max(0, x + min(left - sprite.left for sprite, left, _ in placed)), own.y.shape[1])
            own.part(slice(None), right).take(self._page.part(slice(None), right))
            self._marks = None
        headed = [lot.paint(shown) for lot in self._lots]
        if stays:
            for (head, again), with_head in zip(self._again, headed, strict=True):
                for piece in again if with_head else (*head, *again):
                    piece.lay()
            return
        for sprite, left, top in (*self._around_head(headed), *marks):
            blend(self.picture, sprite, x + left, top)
        self._marks = marks
        self._stays = self._may_stay(marks)
        self._again = [self._over(lot, marks) for lot in self._lots]

    def _around_head(self, headed: Sequence[bool]) -> Iterator[Placed]:
        """The playhead without those rows and columns on which it is painted already."""
        sprite, left, top = self._band.head
        rows = sorted((lot.rows for lot, done in zip(self._lots, headed, strict=True) if done), key=lambda r: r.start)
        begin = 0
        for done in (*rows, slice(sprite.height, sprite.height)):
            pieces = (
                Rect(left, begin, sprite.width, done.start - begin),
                Rect(left + PAST, done.start, sprite.width - PAST, done.stop - done.start),
            )
            for piece in pieces:
                if (cut := _cut((sprite, left, top), piece)) is not None:
                    yield cut
            begin = done.stop

    def _may_stay(self, marks: Sequence[Placed]) -> bool:
        """Whether no mark meets anything that is painted at every frame, but for the lines up to the playhead."""
        plan = self._band.plan
        rooms = [
            _rect(0 if lot.lane else plan.head_x + self._band.clear, plan.plot_right, lot.rows) for lot in self._lots
        ]
        places = [Rect(left - s.left, top - s.top, s.width, s.height) for s, left, top in marks]
        return not any(room.width > 0 and room.meets(place) for room in rooms for place in places)

    def _over(self, lot: _Lot, marks: Sequence[Placed]) -> tuple[list[_Piece], list[_Piece]]:
        """What has to be blended over a lot's lines at every frame: of the playhead, and of marks."""
        if lot.lane:
            return [], []
        room = _rect(0, self._band.plan.head_x + PAST, lot.rows)

        def pieces(drawings: Sequence[Placed]) -> list[_Piece]:
            cuts = [cut for drawing in drawings if (cut := _cut(drawing, room)) is not None]
            return [_Piece(self._own, (sprite, self._x + left, top)) for sprite, left, top in cuts]

        return pieces([self._band.head]), pieces(marks)


def _rect(left: int, right: int, rows: slice) -> Rect:
    return Rect(left, rows.start, right - left, rows.stop - rows.start)


def _rows_of(scrolling: Sequence[Scrolling], most: int | None = None) -> slice:
    last = max(each.top + each.strip.height for each in scrolling)
    return slice(min(each.top for each in scrolling), last if most is None else min(last, most))


def _on_the_same_rows(band: GraphBand) -> list[list[Scrolling]]:
    """What scrolls in lots that share no row, each in the order in which it is drawn."""
    lots: list[list[Scrolling]] = []
    every = [Scrolling(index, *strip) for index, strips in enumerate(band.strips) for strip in strips]
    for each in sorted(every, key=lambda each: each.top):
        if lots and each.top < _rows_of(lots[-1]).stop:
            lots[-1].append(each)
        else:
            lots.append([each])
    return [sorted(lot, key=lambda each: each.index) for lot in lots]


def _run_around_middle(alike: Plane) -> slice | None:
    """The rows of the longest run of pairs of rows that holds the middle."""
    middle = len(alike) // 2
    if not alike[middle]:
        return None
    others = np.flatnonzero(~alike)
    before, after = others[others < middle], others[others > middle]
    return slice(2 * (int(before[-1]) + 1 if before.size else 0), 2 * (int(after[0]) if after.size else len(alike)))


def _cut(placed: Placed, room: Rect) -> Placed | None:
    """What of a drawing lies within a rectangle of the band (even); None where nothing has ink there."""
    sprite, x, y = placed
    x, y = x - sprite.left, y - sprite.top
    left, top = max(x, room.x), max(y, room.y)
    right, bottom = min(x + sprite.width, room.right), min(y + sprite.height, room.bottom)
    if left >= right or top >= bottom:
        return None
    rows, columns = slice(top - y, bottom - y), slice(left - x, right - x)
    half = _halved(rows), _halved(columns)
    keep_y, keep_c = sprite.keep_y[rows, columns], sprite.keep_c[half]
    full = 256 if sprite.bits == 8 else 4096
    if keep_y.min() == full and keep_c.min() == full:
        return None
    cut = replace(
        sprite,
        y=sprite.y[rows, columns],
        u=sprite.u[half],
        v=sprite.v[half],
        keep_y=keep_y,
        keep_c=keep_c,
        left=0,
        top=0,
        box_width=right - left,
        box_height=bottom - top,
    )
    return cut, left, top


def _filled_out(placed: Placed, rows: slice) -> Sprite:
    """A drawing that covers these rows, clear where the given one has none."""
    sprite, _, top = placed
    full = 256 if sprite.bits == 8 else 4096
    more = top - rows.start, rows.stop - top - sprite.height
    half = more[0] // 2, more[1] // 2

    def filled(array: Plane, more: tuple[int, int], code: int) -> Plane:
        return np.pad(array, (more, (0, 0)), constant_values=code)

    return replace(
        sprite,
        y=filled(sprite.y, more, full // 2),
        u=filled(sprite.u, half, full // 2),
        v=filled(sprite.v, half, full // 2),
        keep_y=filled(sprite.keep_y, more, full),
        keep_c=filled(sprite.keep_c, half, full),
    )


def _halved(part: slice) -> slice:
    """Rows or columns of chroma."""
    return slice(*(None if end is None else end // 2 for end in (part.start, part.stop)))
