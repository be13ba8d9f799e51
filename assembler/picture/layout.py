"""Where everything lies on the canvas: geometry alone, for every arrangement at any size.

    lay_out(arrangement, sizes, width, height) -> Layout

The page is quiet. Pictures run to the canvas edge with a narrow gap of ground between them; words
stay inside the graphics-safe area. Where the pictures leave room, a label has a row of its own above
its picture and captions a row beneath; where they do not, both lie over the picture. Every number
is even, because chroma has half the luma's resolution.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from assembler.picture.geometry import GAP, Rect, floor_even, near_even
from assembler.picture.page import Page
from assembler.storyboard.model import Arrangement, Difference, Inset, Pane, Panes, Split

Align = Literal["left", "right"]
Size = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Layout:
    """A canvas set out.

    panes: where each pane's picture goes (the two panes of a split or a difference share one
    rectangle). label_boxes: the room of each pane's label, None where it has none. A label stands on
    the floor of its box when the box is a row above the picture, and hangs from its top when it lies over
    the picture (`labels_over_picture`); `label_aligns` says to which side. Captions end above
    caption_bottom_y; `captions` is the room that two lines take. frame: the outer edge of the thin
    line around an inset. evidence: the band beneath the pictures, None without one. content: what
    a card may fill, clear of captions.
    """

    width: int
    height: int
    panes: tuple[Rect, ...]
    label_boxes: tuple[Rect | None, ...]
    label_aligns: tuple[Align, ...]
    labels_over_picture: bool
    caption_bottom_y: int
    captions: Rect
    captions_over_picture: bool
    safe: Rect
    content: Rect
    frame: Rect | None = None
    evidence: Rect | None = None
    evidence_over_picture: bool = False

    def label_corner(self, pane: int, width: int, height: int) -> tuple[int, int]:
        """Where a label of this size (even) goes: the x and y of its top left corner."""
        box = self.label_boxes[pane]
        assert box is not None
        x = box.x if self.label_aligns[pane] == "left" else box.right - width
        y = box.y if self.labels_over_picture else box.bottom - height
        return max(0, x), max(0, y)


def lay_out(
    arrangement: Arrangement,
    sizes: Sequence[Size],
    width: int,
    height: int,
    *,
    labels: bool = True,
    evidence_height: int = 0,
    scale: Fraction = Fraction(1),
) -> Layout:
    """Set out an arrangement on a canvas (width and height even).

    sizes: of each pane's picture as displayed, after crop and with square pixels, in capture pixels.
    labels: whether the shot is labelled; without, no room is kept for labels. evidence_height: of a
    band beneath the pictures (even pixels, 0 = none): it gets room of its own where there is some, or
    else lies over the pictures' foot with the captions above it. scale: canvas pixels for one capture
    pixel of panes shown at their actual size (less than 1 in a draft smaller than the programme).
    """
    page = Page(width, height, floor_even(evidence_height))
    if isinstance(arrangement, Panes):
        one = arrangement.kind == "full"
        columns = _columns(arrangement, sizes, page)
        return _rows(page, arrangement.panes, sizes, columns, scale, labels=labels, header=not one)
    if isinstance(arrangement, Inset):
        whole = _rows(page, arrangement.panes[:1], sizes[:1], 1, scale, labels=False, header=False)
        return _inset(page, whole, arrangement, sizes[1], labels=labels)
    if isinstance(arrangement, Split | Difference):
        largest = max(sizes, key=lambda size: Fraction(*size))
        whole = _rows(page, arrangement.panes[:1], (largest,), 1, scale, labels=False, header=False)
        down = isinstance(arrangement, Split) and arrangement.direction == "down"
        return _shared(page, whole, down=down, labels=labels)
    return _finished(page, (), (), (), over=True, captions_over=False, evidence_over=True)


def _columns(arrangement: Panes, sizes: Sequence[Size], page: Page) -> int:
    """How many panes lie in a row. A grid takes the number that shows the pictures largest; of
    equals the one with more columns, as eyes and canvases are wider than high."""
    count = len(arrangement.panes)
    if arrangement.kind != "grid":
        return count if arrangement.kind == "side-by-side" else 1
    shape = Fraction(sum(w for w, _ in sizes), sum(h for _, h in sizes))

    def shown(columns: int) -> Fraction:
        rows = -(-count // columns)
        return min(Fraction(page.width, columns), Fraction(page.height, rows) * shape)

    return max(range(1, count + 1), key=lambda columns: (shown(columns), columns))


def _rows(
    page: Page,
    panes: Sequence[Pane],
    sizes: Sequence[Size],
    columns: int,
    scale: Fraction,
    *,
    labels: bool,
    header: bool,
) -> Layout:
    """Panes in rows of `columns`, as large as the canvas lets them be."""
    rows = -(-len(panes) // columns)
    pitch = Fraction(page.width, columns)  # the gap is taken from the pictures' edges, not from their scale
    ideal = _ideal_height(page, panes, sizes, pitch, scale)
    header_row = page.header if labels and header else 0
    rooms = [(True, True), (False, True), (False, False)] if page.evidence else [(True, True), (False, False)]
    ways = [(with_header, *room) for with_header in ((True, False) if header_row else (False,)) for room in rooms]
    if page.evidence and rows > 1:
        # A band over the lower row would hide its labels and most of its pictures: smaller pictures are better.
        ways = [way for way in ways if way[2]]
    # Captions across a picture's lower edge are ugly: such a way is taken only when no other way holds.
    for straddling in (False, True):
        for with_header, captions, evidence in ways:
            top = page.safe.y if with_header else 0
            between = page.space if with_header else GAP
            taken = rows * (header_row if with_header else 0) + (rows - 1) * between
            room = page.height - top - page.foot(captions=captions, evidence=evidence)
            if rows * floor_even(ideal) + taken > room and (with_header, captions, evidence) != ways[-1]:
                continue
            tall = min(ideal, Fraction(room, rows))
            cell_height = min(floor_even(tall), floor_even(Fraction(room - taken, rows)))
            block = rows * cell_height + taken
            start = top + floor_even(Fraction(room - block, 2))
            if not straddling and not captions and not evidence and start + block < page.safe.bottom:
                continue
            return _placed_rows(
                page,
                panes,
                sizes,
                columns,
                tall=tall,
                cell_height=cell_height,
                start=start,
                header=header_row if with_header else 0,
                between=between,
                labels=labels,
                captions_over=not captions,
                evidence_over=not evidence,
            )
    raise AssertionError("the last way of setting out always holds")


def _ideal_height(
    page: Page, panes: Sequence[Pane], sizes: Sequence[Size], pitch: Fraction, scale: Fraction
) -> Fraction:
    """The row height at which the tallest picture fills its column's width. Panes that fill their
    rectangle take what the others leave them, or all there is when they are alone."""
    heights = []
    for pane, (wide, high) in zip(panes, sizes, strict=True):
        if pane.fitting == "fit":
            heights.append(_share(pane, (wide, high), pitch, None) * high)
        elif pane.fitting == "actual":
            heights.append(high * scale)
    return max(heights) if heights else Fraction(page.height)


def _placed_rows(
    page: Page,
    panes: Sequence[Pane],
    sizes: Sequence[Size],
    columns: int,
    *,
    tall: Fraction,
    cell_height: int,
    start: int,
    header: int,
    between: int,
    labels: bool,
    captions_over: bool,
    evidence_over: bool,
) -> Layout:
    pitch = Fraction(page.width, columns)
    cell_width = floor_even(Fraction(page.width - (columns - 1) * GAP, columns))
    if all(pane.fitting == "fit" for pane in panes):
        widest = max(_share(pane, size, pitch, tall) * size[0] for pane, size in zip(panes, sizes, strict=True))
        # A column keeps half its share at least, so that a label beside a thin picture has room.
        cell_width = min(cell_width, max(near_even(widest), near_even(pitch / 2)))
    rects: list[Rect] = []
    boxes: list[Rect | None] = []
    for number, (pane, size) in enumerate(zip(panes, sizes, strict=True)):
        row, column = divmod(number, columns)
        in_row = min(columns, len(panes) - row * columns)
        cell = Rect(
            _column_x(page.width, cell_width, column, in_row, columns),
            start + header + row * (header + cell_height + between),
            cell_width,
            cell_height,
        )
        rect = _picture_in(cell, pane, size, pitch, tall, hang=header > 0)
        rects.append(rect)
        if not labels:
            boxes.append(None)
        elif header:
            left, right = max(rect.x, page.safe.x), min(cell.right, page.safe.right)
            boxes.append(Rect(left, cell.y - header, right - left, page.header_label))
        else:
            left, right = max(rect.x + page.pad, page.safe.x), min(cell.right - page.pad, page.safe.right)
            top = min(max(rect.y + page.pad, page.safe.y), page.safe.bottom - page.label)
            boxes.append(Rect(left, top, max(2, right - left), page.label))
    return _finished(
        page,
        rects,
        boxes,
        ["left"] * len(rects),
        over=not header,
        captions_over=captions_over,
        evidence_over=evidence_over,
    )


def _column_x(width: int, cell: int, column: int, in_row: int, columns: int) -> int:
    """Left edge of a cell. Rows that span the canvas touch both edges; a shorter row is centred, in the
    columns of the others where it can be."""
    spans = width - columns * cell - (columns - 1) * GAP < 2 * columns
    if spans and columns > 1 and (columns - in_row) % 2 == 0:
        return near_even(Fraction((column + (columns - in_row) // 2) * (width - cell), columns - 1))
    return floor_even(Fraction(width - in_row * cell - (in_row - 1) * GAP, 2)) + column * (cell + GAP)


def _share(pane: Pane, size: Size, pitch: Fraction, tall: Fraction | None) -> Fraction:
    """Canvas pixels for a displayed pixel of a picture that fits its column, and its row when that is known."""
    wide, high = size
    share = pitch / wide if tall is None else min(pitch / wide, tall / high)
    # Pixels that are shown as squares are all made equally large, so the zoom is whole.
    return Fraction(int(share)) if pane.scaling == "nearest" and share >= 1 else share


def _picture_in(cell: Rect, pane: Pane, size: Size, pitch: Fraction, tall: Fraction, *, hang: bool) -> Rect:
    """The rectangle a picture needs in its cell: centred, or hung from the top under its label."""
    if pane.fitting != "fit":
        return cell
    wide, high = size
    share = _share(pane, size, pitch, tall)
    width = min(cell.width, max(2, near_even(share * wide)))
    height = min(cell.height, max(2, near_even(share * high)))
    y = cell.y if hang else cell.y + floor_even(Fraction(cell.height - height, 2))
    return Rect(cell.x + floor_even(Fraction(cell.width - width, 2)), y, width, height)


def _shared(page: Page, whole: Layout, *, down: bool, labels: bool) -> Layout:
    """Two panes in one rectangle; their labels stand at the sides that are theirs."""
    rect = whole.panes[0]
    boxes: list[Rect | None] = [None, None]
    aligns: tuple[Align, Align] = ("left", "left")
    if labels:
        left, right = max(rect.x + page.pad, page.safe.x), min(rect.right - page.pad, page.safe.right)
        right = max(right, left + page.scaled(320))  # a picture thinner than words
        top = max(rect.y + page.pad, page.safe.y)
        if down:
            floor = whole.captions.y - page.space if whole.captions_over_picture else rect.bottom - page.pad
            floor = min(floor, page.safe.bottom)
            boxes = [Rect(left, top, right - left, page.label)]
            boxes.append(Rect(left, max(top + page.label, floor - page.label), right - left, page.label))
        else:
            half = floor_even(Fraction(right - left, 2)) - page.clear
            boxes = [Rect(left, top, half, page.label), Rect(right - half, top, half, page.label)]
            aligns = ("left", "right")
    return _finished(
        page,
        (rect, rect),
        boxes,
        aligns,
        over=True,
        captions_over=whole.captions_over_picture,
        evidence_over=whole.evidence_over_picture,
    )


def _inset(page: Page, whole: Layout, arrangement: Inset, size: Size, *, labels: bool) -> Layout:
    """One picture full, one small in a corner, its label beneath it (above it in a lower corner)."""
    main = whole.panes[0]
    low, on_left = arrangement.corner.startswith("bottom"), arrangement.corner.endswith("left")
    # Captions may lie over the picture, so a lower corner is the one above them.
    floor = min(whole.captions.y, whole.evidence.y if whole.evidence else page.height) - page.space
    label_room = page.label + page.scaled(6) if labels else 0
    room_high = floor - page.safe.y - 2 * GAP - (2 * label_room + page.pad if labels else 0)
    share = min(
        Fraction(page.width) * Fraction(str(round(arrangement.size, 4))) / size[0],
        Fraction(page.safe.width - 2 * GAP, size[0]),
        Fraction(room_high, size[1]),
    )
    width, height = max(2, near_even(share * size[0])), max(2, near_even(share * size[1]))
    x = page.safe.x + GAP if on_left else page.safe.right - GAP - width
    y = floor - GAP - height if low else page.safe.y + GAP
    small = Rect(x, y, width, height)
    frame = small.grown(GAP)
    boxes: list[Rect | None] = [None, None]
    aligns: tuple[Align, Align] = ("left", "left")
    if labels:
        small_width = max(frame.width, floor_even(Fraction(page.width, 4)))
        small_x = frame.x if on_left else frame.right - small_width
        below = Rect(small_x, frame.y - label_room if low else frame.bottom + page.scaled(6), small_width, page.label)
        boxes = [_main_label(page, main, frame, below, beside=not low, on_left=on_left), below]
        to_right = on_left and not low and boxes[0] is not None and boxes[0].x > frame.right
        aligns = ("right" if to_right else "left", "left" if on_left or small_width == frame.width else "right")
    return _finished(
        page,
        (main, small),
        boxes,
        aligns,
        over=True,
        captions_over=whole.captions_over_picture,
        evidence_over=whole.evidence_over_picture,
        frame=frame,
    )


def _main_label(page: Page, main: Rect, frame: Rect, below: Rect, *, beside: bool, on_left: bool) -> Rect:
    """The room of the large picture's label: its own top where that is free, else beside an upper
    inset, else clear of the inset and its label altogether."""
    left, right = max(main.x + page.pad, page.safe.x), min(main.right - page.pad, page.safe.right)
    top = max(main.y + page.pad, page.safe.y)
    least = floor_even(Fraction(page.width, 8))
    own = Rect(left, top, right - left, page.label)
    if own.width >= least and own.bottom <= page.safe.bottom and not own.meets(frame) and not own.meets(below):
        return own
    if beside:
        left, right = (max(left, frame.right + page.pad), right) if on_left else (left, frame.x - page.pad)
    if right - left >= least:
        return Rect(left, page.safe.y, right - left, page.label)
    top = below.bottom + page.scaled(6) if beside else page.safe.y
    return Rect(page.safe.x, top, page.safe.width, page.label)


def _finished(
    page: Page,
    panes: Iterable[Rect],
    boxes: Iterable[Rect | None],
    aligns: Iterable[Align],
    *,
    over: bool,
    captions_over: bool,
    evidence_over: bool,
    frame: Rect | None = None,
) -> Layout:
    """Add what lies beneath the pictures: evidence and captions."""
    rects = tuple(panes)
    safe = page.safe
    bottom, evidence = safe.bottom, None
    if page.evidence:
        if evidence_over:
            y = safe.bottom - page.evidence
            bottom = y - page.space
        elif captions_over:
            y = safe.bottom - page.evidence
            bottom = min(max((rect.bottom for rect in rects), default=y) - page.space, y - page.space)
        else:
            y = max((rect.bottom for rect in rects), default=safe.y) + page.space
        evidence = Rect(safe.x, floor_even(y), safe.width, page.evidence)
    captions = Rect(safe.x, bottom - page.caption, safe.width, page.caption)
    content = Rect(safe.x, safe.y, safe.width, captions.y - page.space - safe.y)
    return Layout(
        width=page.width,
        height=page.height,
        panes=rects,
        label_boxes=tuple(boxes),
        label_aligns=tuple(aligns),
        labels_over_picture=over,
        caption_bottom_y=bottom,
        captions=captions,
        captions_over_picture=captions_over,
        safe=safe,
        content=content,
        frame=frame,
        evidence=evidence,
        evidence_over_picture=evidence is not None and evidence_over,
    )
