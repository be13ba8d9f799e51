"""Checked values to the frozen storyboard. Runs only when nothing was wrong, so it has no faults to report.

`places` use the keys as they are written in the file (`line-up`, `with`, `from`), `id` for an id that stands before
its value, and `fonts[0]` for the entries of plain lists.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from assembler.errors import Place
from assembler.storyboard.keys_sound import DEFAULT_TARGET, TARGETS
from assembler.storyboard.model import (
    Arrangement,
    Canvas,
    CaptionSettings,
    Capture,
    Card,
    Crop,
    Difference,
    Edge,
    Freeze,
    Graphs,
    Hear,
    Inset,
    Line,
    LineUp,
    Log,
    Made,
    Music,
    Narration,
    Pane,
    Panes,
    Segment,
    Shot,
    SoundSettings,
    Split,
    Storyboard,
    Subject,
    Summary,
    Table,
)
from assembler.storyboard.reader import Checked, Fields, Items, Value
from assembler.storyboard.rules import arrangement_of, listed
from assembler.timing.grammar import Time, parse_time


def build(root: Fields, rate: Fraction) -> Storyboard:
    """The storyboard of checked keys. `rate` is the canvas rate."""
    fonts = listed(root.values.get("fonts"))
    places = _places(root) | {f"fonts[{number}]": font.place for number, font in enumerate(fonts)}
    places |= {f"lexicon[{written}]": place for written, place in _below(root, "lexicon").places.items()}
    return Storyboard(
        title=_get(root, "title"),
        language=_get(root, "language", "en"),
        lexicon={written: _single(said) for written, said in _below(root, "lexicon").values.items()},
        canvas=_canvas(root, rate),
        subjects={
            name: _subject(name, value, order, _below(root, "subjects").places[name])
            for order, (name, value) in enumerate(_below(root, "subjects").values.items())
        },
        captures={
            name: _capture(name, value, _below(root, "captures").places[name])
            for name, value in _below(root, "captures").values.items()
        },
        narration=_narration(root, rate),
        captions=_captions(root),
        sound=_sound(root, rate),
        fonts=tuple(_single(font) for font in fonts),
        segments=tuple(_segment(segment, rate) for segment in listed(root.values["segments"])),
        places=places,
    )


def _single(checked: Checked) -> Any:
    assert isinstance(checked, Value)
    return checked.value


def _get(fields: Fields, key: str, otherwise: Any = None) -> Any:
    return _single(fields.values[key]) if key in fields.values else otherwise


def _below(fields: Fields, key: str) -> Fields:
    """The keys under a key; none where it was not written."""
    below = fields.values.get(key, Fields(fields.place))
    assert isinstance(below, Fields)
    return below


def _fields(checked: Checked) -> Fields:
    assert isinstance(checked, Fields)
    return checked


def _places(fields: Fields) -> dict[str, Place]:
    return {"": fields.place, **fields.places}


def _canvas(root: Fields, rate: Fraction) -> Canvas:
    canvas = _below(root, "canvas")
    width, height = _get(canvas, "size", (1920, 1080))
    return Canvas(width=width, height=height, rate=rate, places=_places(canvas))


def _subject(name: str, value: Checked, order: int, id_place: Place) -> Subject:
    if isinstance(value, Value):
        places = {"": value.place, "id": id_place, "name": value.place}
        return Subject(id=name, name=value.value, order=order, places=places)
    fields = _fields(value)
    places = {**_places(fields), "id": id_place}
    return Subject(id=name, name=_get(fields, "name"), note=_get(fields, "note", ""), order=order, places=places)


def _capture(name: str, value: Checked, id_place: Place) -> Capture:
    fields = _fields(value)
    line_up = None
    if "line-up" in fields.values:
        written = _below(fields, "line-up")
        line_up = LineUp(partner=_get(written, "with"), offset=_get(written, "offset"), places=_places(written))
    log = None
    if "log" in fields.values:
        below = _below(fields, "log")
        log = Log(file=_get(below, "file"), offset=_get(below, "offset"), places=_places(below))
    return Capture(
        id=name,
        file=_get(fields, "file"),
        subject=_get(fields, "subject"),
        line_up=line_up,
        log=log,
        places={**_places(fields), "id": id_place},
    )


def _narration(root: Fields, rate: Fraction) -> Narration:
    fields = _below(root, "narration")
    voice = fields.values.get("voice")
    speaker = _get(voice, "scratch") if isinstance(voice, Fields) else ""
    return Narration(
        takes=_get(fields, "takes", "takes"),
        voice="scratch" if speaker else _get(fields, "voice", "scratch"),
        speaker=speaker,
        pace=_get(fields, "pace", 160),
        lead=_get(fields, "lead") or parse_time("0.3 s", rate),
        pause=_get(fields, "pause") or parse_time("0.35 s", rate),
        tail=_get(fields, "tail") or parse_time("0.5 s", rate),
        stretch=_get(fields, "stretch", Fraction(0)),
        places=_places(fields),
    )


def _captions(root: Fields) -> CaptionSettings:
    fields = _below(root, "captions")
    written = fields.values.get("limits")
    own: list[tuple[str, int | Fraction]] = []
    if isinstance(written, Fields):
        for key, value in written.values.items():
            if key != "profile" and isinstance(value, Value):
                own.append((key, _limit(key, value.value)))
    return CaptionSettings(
        burn=_get(fields, "burn", True),
        soft=_get(fields, "soft", None),
        limits=_get(written, "profile", "online") if isinstance(written, Fields) else _get(fields, "limits", "online"),
        own_limits=tuple(sorted(own)),
        places=_places(fields),
    )


def _limit(key: str, value: Any) -> int | Fraction:
    if isinstance(value, Time):
        return value.frames if key == "gap" else value.seconds
    return value if key in ("width", "lines") else Fraction(str(value))


def _sound(root: Fields, rate: Fraction) -> SoundSettings:
    fields = _below(root, "sound")
    written = _get(fields, "loudness", DEFAULT_TARGET)
    target = written if isinstance(written, str) else ""
    # A loudness of one's own keeps the peak of the usual target.
    lufs, peak = TARGETS[target or DEFAULT_TARGET]
    return SoundSettings(
        target=target,
        loudness_lufs=lufs if target else written,
        peak_dbtp=_get(fields, "peak", peak),
        duck_db=_get(fields, "duck", -12.0),
        music=tuple(_music(_fields(music), rate) for music in listed(fields.values.get("music"))),
        places=_places(fields),
    )


def _music(fields: Fields, rate: Fraction) -> Music:
    return Music(
        file=_get(fields, "file"),
        gain_db=_get(fields, "gain", 0.0),
        segments=tuple(_single(segment) for segment in listed(fields.values.get("segments"))),
        start=_get(fields, "from") or parse_time("0 s", rate),
        loop=_get(fields, "loop", False),
        fade_in=_get(fields, "fade-in") or parse_time("1 s", rate),
        fade_out=_get(fields, "fade-out") or parse_time("2 s", rate),
        places=_places(fields),
    )


def _segment(checked: Checked, rate: Fraction) -> Segment:
    fields = _fields(checked)
    say = tuple(_line(line) for line in listed(fields.values.get("say")))
    shots = tuple(_shot(shot) for shot in listed(fields.values["show"]))
    until, lasts = _get(fields, "until"), _get(fields, "lasts")
    fit = lasts == "fit" or (lasts is None and until is None and bool(say))
    if fit:
        lasts = None
    elif lasts is None and until is None:
        lasts = _sum([shot.lasts for shot in shots if shot.lasts is not None], rate)
    chapter = _get(fields, "chapter")
    return Segment(
        id=_get(fields, "id"),
        chapter="" if chapter is False else chapter,
        start=_get(fields, "at"),
        until=until,
        lasts=lasts,
        fit=fit,
        say=say,
        shots=shots,
        hear=tuple(_hear(hear) for hear in listed(fields.values.get("hear"))),
        graphs=_graphs(fields),
        enter=_edge(fields, "enter"),
        leave=_edge(fields, "leave"),
        places=_places(fields),
    )


def _sum(times: list[Time], rate: Fraction) -> Time:
    """The sum of times; counted in frames when every one of them was."""
    if all(time.frame is not None for time in times):
        frame = sum(time.frames for time in times)
        return Time(f"{frame} f", rate, frame=frame)
    second = sum((time.seconds for time in times), Fraction(0))
    return Time(f"{float(second):.9f}".rstrip("0").rstrip(".") + " s", rate, second=second)


def _line(checked: Checked) -> Line:
    if isinstance(checked, Value):
        return Line(text=checked.value, places={"": checked.place, "text": checked.place})
    fields = _fields(checked)
    return Line(
        text=_get(fields, "text"),
        spoken=_get(fields, "spoken"),
        pause=_get(fields, "pause"),
        take=_get(fields, "take"),
        stretch=_get(fields, "stretch"),
        places=_places(fields),
    )


def _hear(checked: Checked) -> Hear:
    if isinstance(checked, Value):
        return Hear(capture=checked.value, places={"": checked.place, "capture": checked.place})
    fields = _fields(checked)
    gain = _get(fields, "gain", 0.0)
    return Hear(capture=_get(fields, "capture"), start=_get(fields, "from"), gain_db=gain, places=_places(fields))


def _graphs(fields: Fields) -> Graphs | None:
    written = fields.values.get("graphs")
    if written is None:
        return None
    below = _fields(written) if isinstance(written, Fields) else Fields(written.place, {"kinds": written})
    kinds = tuple(_single(kind) for kind in listed(below.values["kinds"]))
    return Graphs(kinds=kinds, window=_get(below, "window"), places=_places(below))


def _edge(fields: Fields, key: str) -> Edge | None:
    if key not in fields.values:
        return None
    edge = _below(fields, key)
    if "dissolve" in edge.values:
        return Edge(kind="dissolve", lasts=_get(edge, "dissolve"), places=_places(edge))
    return Edge(kind="fade", lasts=_get(edge, "fade"), places=_places(edge))


def _shot(checked: Checked) -> Shot:
    fields = _fields(checked)
    kind = arrangement_of(fields)
    return Shot(
        arrangement=_arrangement(kind, fields.values[kind]),
        lasts=_get(fields, "lasts"),
        labels=_get(fields, "labels", True),
        places=_places(fields),
    )


def _arrangement(kind: str, checked: Checked) -> Arrangement:
    if kind == "full":
        return Panes(kind="full", panes=(_pane(checked),), places={"": checked.place})
    if kind in ("side-by-side", "stacked", "grid"):
        panes = tuple(_pane(pane) for pane in listed(checked))
        return Panes(kind=kind, panes=panes, places={"": checked.place})  # type: ignore[arg-type]  # one of the three
    if kind == "card":
        return _card(checked)
    if kind == "summary":
        return _summary(checked)
    if kind == "made":
        return _made(_fields(checked))
    return _pair(kind, checked)


def _pair(kind: str, checked: Checked) -> Split | Inset | Difference:
    fields = Fields(checked.place, {"panes": checked}) if isinstance(checked, Items) else _fields(checked)
    panes = tuple(_pane(pane) for pane in listed(fields.values["panes"]))
    places = _places(fields)
    if kind == "split":
        direction = _get(fields, "direction", "across")
        return Split(panes=panes, line=_split_line(fields), direction=direction, places=places)
    if kind == "inset":
        size = float(_get(fields, "size", 0.33))
        return Inset(panes=panes, corner=_get(fields, "corner", "top-right"), size=size, places=places)
    return Difference(panes=panes, gain=float(_get(fields, "gain", 4)), places=places)


def _split_line(fields: Fields) -> tuple[float, float]:
    line = fields.values.get("line")
    if isinstance(line, Fields):
        return float(_get(line, "from")), float(_get(line, "to"))
    share = float(_get(fields, "line", 0.5))
    return share, share


def _pane(checked: Checked) -> Pane:
    if isinstance(checked, Value):
        return Pane(capture=checked.value, places={"": checked.place, "capture": checked.place})
    fields = _fields(checked)
    crop = None
    if "crop" in fields.values:
        below = _below(fields, "crop")
        crop = Crop(x=_get(below, "x"), y=_get(below, "y"), w=_get(below, "w"), h=_get(below, "h"),
                    places=_places(below))
    label = _get(fields, "label")
    return Pane(
        capture=_get(fields, "capture"),
        start=_get(fields, "from"),
        speed=_get(fields, "speed", Fraction(1)),
        freezes=tuple(_freeze(freeze) for freeze in listed(fields.values.get("freeze"))),
        crop=crop,
        scaling=_get(fields, "scaling", "lanczos"),
        fitting=_get(fields, "fit", "fit"),
        label="" if label is False else label,
        places=_places(fields),
    )


def _freeze(checked: Checked) -> Freeze:
    if isinstance(checked, Value):
        return Freeze(places={"": checked.place})
    fields = _fields(checked)
    return Freeze(start=_get(fields, "at"), lasts=_get(fields, "lasts"), places=_places(fields))


def _card(checked: Checked) -> Card:
    if isinstance(checked, Value):
        return Card(title=checked.value, places={"": checked.place, "title": checked.place})
    fields = _fields(checked)
    table = None
    if "table" in fields.values:
        below = _below(fields, "table")
        columns = tuple(_single(cell) for cell in listed(below.values["columns"]))
        rows = tuple(tuple(_single(cell) for cell in listed(row)) for row in listed(below.values["rows"]))
        table = Table(columns=columns, rows=rows, places=_places(below))
    return Card(
        title=_get(fields, "title", ""),
        note=_get(fields, "note", ""),
        picture=_get(fields, "picture"),
        table=table,
        motion=_get(fields, "motion", "ease"),
        places=_places(fields),
    )


def _summary(checked: Checked) -> Summary:
    fields = Fields(checked.place, {"captures": checked}) if isinstance(checked, Items) else _fields(checked)
    captures = listed(fields.values["captures"])
    places = _places(fields) | {f"captures[{number}]": capture.place for number, capture in enumerate(captures)}
    return Summary(
        captures=tuple(_single(capture) for capture in captures),
        title=_get(fields, "title", ""),
        start=_get(fields, "from"),
        end=_get(fields, "to"),
        lows=_get(fields, "lows", "B"),
        motion=_get(fields, "motion", "ease"),
        places=places,
    )


def _made(fields: Fields) -> Made:
    options: dict[str, str | int | float | bool] = {}
    for name, value in _below(fields, "options").values.items():
        option = _single(value)
        options[name] = float(option) if isinstance(option, Fraction) else option
    return Made(
        file=_get(fields, "file"), function=_get(fields, "function", "clip"), options=options, places=_places(fields)
    )
