"""Rules that join several keys of a storyboard; what a single key may hold is in `keys.py`."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from assembler.errors import Place
from assembler.storyboard.keys_shot import ARRANGEMENTS
from assembler.storyboard.reader import Checked, Fields, Items, Report, Value
from assembler.storyboard.scalars import shown
from assembler.timing.grammar import Time


def listed(checked: Checked | None) -> list[Checked]:
    """The entries of a list, or the one value written instead of a list."""
    if checked is None:
        return []
    return checked.items if isinstance(checked, Items) else [checked]


def check_rules(root: Fields, report: Report) -> None:
    """Note every broken rule. Parts that could not be read are passed over."""
    captures = root.values.get("captures")
    if isinstance(captures, Fields):
        _line_ups(captures, report)
    segments = [segment for segment in listed(root.values.get("segments")) if isinstance(segment, Fields)]
    _ids(segments, report)
    _music(root, segments, report)
    _limits(root, report)
    for segment in segments:
        _end(segment, report)
        _graphs(segment, report)
        _hear(segment, report)
        for shot in listed(segment.values.get("show")):
            assert isinstance(shot, Fields)
            _rows(shot, report)
            _summary(shot, report)
    whole = root.values.get("segments")
    if segments and isinstance(whole, Items) and whole.items[0] is segments[0]:
        _first(segments[0], report)


def _limits(root: Fields, report: Report) -> None:
    """Own reading limits that no caption could keep."""
    captions = root.values.get("captions")
    written = captions.values.get("limits") if isinstance(captions, Fields) else None
    values = written.values if isinstance(written, Fields) else {}

    def number(key: str) -> Fraction | None:
        each = values.get(key)
        if not isinstance(each, Value):
            return None
        return each.value.seconds if isinstance(each.value, Time) else Fraction(str(each.value))

    for less, more in (("wanted", "most"), ("shortest", "longest"), ("linger", "hang"), ("gap", "join")):
        low, high = number(less), number(more)
        if low is not None and high is not None and low > high:
            at = values[less]
            assert isinstance(at, Value)
            report.add(at.place, f"`{less}` is above `{more}`", f"lower `{less}` or raise `{more}`")
    longest = number("longest")
    if longest is not None and longest < 1:
        at = values["longest"]
        assert isinstance(at, Value)
        report.add(at.place, "captions that stay under a second cannot be read", "let `longest` be 1 s or more")


def _graphs(segment: Fields, report: Report) -> None:
    """Each graph once, over a window that can be read."""
    written = segment.values.get("graphs")
    kinds = written.values.get("kinds") if isinstance(written, Fields) else written
    seen: set[str] = set()
    for kind in listed(kinds):
        if isinstance(kind, Value) and kind.value in seen:
            report.add(kind.place, f"the graph '{kind.value}' is named twice", "name each graph once")
        elif isinstance(kind, Value):
            seen.add(kind.value)
    window = written.values.get("window") if isinstance(written, Fields) else None
    if isinstance(window, Value) and isinstance(window.value, Time) and not 2 <= window.value.seconds <= 30:
        report.add(window.place, f"a graph cannot span {shown(str(window.value))}", "let it span from 2 s to 30 s")


def _twice(written: list[Checked], what: str, mend: str, report: Report) -> None:
    """Captures named more than once, as ids or under `capture`."""
    seen: set[str] = set()
    for each in written:
        name = each.values.get("capture") if isinstance(each, Fields) else each
        if not isinstance(name, Value):
            continue
        if name.value in seen:
            report.add(name.place, f"the capture '{shown(str(name.value))}' is {what} twice", mend)
        seen.add(name.value)


def _hear(segment: Fields, report: Report) -> None:
    """Each capture is heard once: twice at one time would only be louder."""
    _twice(listed(segment.values.get("hear")), "heard", "name it once; `gain` makes it louder", report)


def _summary(shot: Fields, report: Report) -> None:
    """Each capture once, over a stretch that runs forwards."""
    written = shot.values.get("summary")
    captures = written.values.get("captures") if isinstance(written, Fields) else written
    _twice(listed(captures), "summed up", "name each capture once", report)
    start, end = (written.values.get(key) if isinstance(written, Fields) else None for key in ("from", "to"))
    if isinstance(end, Value):
        begins = start.value.seconds if isinstance(start, Value) else 0
        if end.value.seconds <= begins:
            what = f"the summary counts up to {end.value}, which is not after its start"
            report.add(end.place, what, "let `to` be later than `from`; both are times of the first capture")


def _music(root: Fields, segments: list[Fields], report: Report) -> None:
    """Music names segments that there are, each once."""
    whole = root.values.get("segments")
    sound = root.values.get("sound")
    if not isinstance(sound, Fields) or not isinstance(whole, Items) or not whole.whole:
        return
    known = [name for segment in segments if (name := _text(segment, "id")) is not None]
    for music in listed(sound.values.get("music")):
        seen: set[str] = set()
        for named in listed(music.values.get("segments") if isinstance(music, Fields) else None):
            assert isinstance(named, Value)
            if named.value in seen:
                report.add(named.place, f"the segment '{shown(named.value)}' is named twice", "name each segment once")
            elif named.value not in known:
                near = report.nearest(named.value, known)
                mend = f"did you mean '{near}'?" if near else "write the id of a segment"
                report.add(named.place, f"there is no segment '{shown(named.value)}'", mend)
            seen.add(named.value)


def _text(fields: Fields, key: str) -> str | None:
    value = fields.values.get(key)
    return value.value if isinstance(value, Value) else None


def _line_ups(captures: Fields, report: Report) -> None:
    """A line-up leads to another capture and never round in a circle."""
    partners: dict[str, tuple[str, Place]] = {}
    for name, capture in captures.values.items():
        line_up = capture.values.get("line-up") if isinstance(capture, Fields) else None
        if isinstance(line_up, Fields) and (partner := _text(line_up, "with")) is not None:
            partners[name] = (partner, line_up.values["with"].place)
    settled: set[str] = set()
    for start in partners:
        path: dict[str, None] = {}
        name = start
        while name in partners and name not in settled and name not in path:
            path[name] = None
            name = partners[name][0]
        if name in path:
            _circle(list(path)[list(path).index(name) :], partners, report)
        settled.update(path)


def _circle(names: list[str], partners: dict[str, tuple[str, Place]], report: Report) -> None:
    place = max(partners[name][1] for name in names)
    if len(names) == 1:
        report.add(place, f"'{shown(names[0])}' is lined up with itself", "name another capture, or remove `line-up`")
        return
    what = f"these captures are lined up in a circle: {', '.join(shown(name) for name in names[:8])}"
    report.add(place, what, "let one of them stand without `line-up`; the others are lined up with it")


def _ids(segments: list[Fields], report: Report) -> None:
    first: dict[str, Place] = {}
    for segment in segments:
        name = _text(segment, "id")
        if name is None:
            continue
        place = segment.values["id"].place
        if name in first:
            what = f"the id '{name}' is taken by the segment on line {first[name].line}"
            report.add(place, what, "give each segment an id of its own")
        first.setdefault(name, place)


def _end(segment: Fields, report: Report) -> None:
    """One way, and only one, to know where a segment ends."""
    says = bool(listed(segment.values.get("say"))) or "say" in segment.unusable
    shots = listed(segment.values.get("show"))
    whole = "show" not in segment.unusable and all(isinstance(shot, Fields) for shot in shots)
    open_ended = [shot for shot in shots if isinstance(shot, Fields) and not shot.wrote("lasts")]
    for shot in open_ended[1:]:
        what = "this is the second shot of the segment without `lasts`"
        report.add(shot.place, what, "add `lasts:` to all shots but one; that one takes the time they leave")
    lasts = segment.values.get("lasts")
    if isinstance(lasts, Value) and lasts.value == "fit" and not says:
        what = "`lasts: fit` means as long as the narration, but this segment says nothing"
        report.add(lasts.place, what, "write how long it lasts, such as `lasts: 5 s`, or add `say:`")
    if not segment.wrote("lasts") and not segment.wrote("until") and not says and whole and open_ended:
        what = "nothing says how long this segment lasts"
        mend = "add `lasts: 5 s`, or `until:`, or something to `say:`, or `lasts:` to each of its shots"
        report.add(segment.place, what, mend)
    at, until = segment.values.get("at"), segment.values.get("until")
    if isinstance(at, Value) and isinstance(until, Value):
        start, end = at.value, until.value
        assert isinstance(start, Time) and isinstance(end, Time)
        if end.frames <= start.frames:
            what = f"the segment ends at {end} but begins at {start}"
            report.add(until.place, what, "let it end later; both are programme times (for a length, write `lasts`)")


def _first(segment: Fields, report: Report) -> None:
    enter = segment.values.get("enter")
    if isinstance(enter, Fields) and enter.wrote("dissolve"):
        what = "the first segment has no picture before it to dissolve from"
        report.add(enter.places["dissolve"], what, "write `fade` instead of `dissolve`, or remove `enter`")


def _rows(shot: Fields, report: Report) -> None:
    for table in _tables(shot):
        columns, rows = table.values.get("columns"), table.values.get("rows")
        if not isinstance(columns, Items) or not columns.whole:
            continue
        for row in listed(rows):
            if isinstance(row, Items) and row.whole and len(row.items) != len(columns.items):
                what = f"this row has {len(row.items)} cells, and the table {len(columns.items)} columns"
                report.add(row.place, what, 'add or remove cells; write "" for an empty one')


def _tables(shot: Fields) -> Iterator[Fields]:
    card = shot.values.get("card")
    table = card.values.get("table") if isinstance(card, Fields) else None
    if isinstance(table, Fields):
        yield table


def arrangement_of(shot: Fields) -> str:
    """The one arrangement key of a shot that kept the rules."""
    return next(key for key in ARRANGEMENTS if shot.wrote(key))
