"""The storyboard as frozen values, each knowing the place it was written at.

Every value has `places`: the place of the value itself under "" and of each key that was written
under its own name (`segment.places["lasts"]`). `at()` falls back to the value's own place.
Times are `timing.grammar.Time`, already checked against the canvas rate.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Literal

from assembler.errors import Place
from assembler.timing.grammar import Time

Scaling = Literal["lanczos", "bicubic", "nearest", "area"]
Fitting = Literal["fit", "fill", "actual"]
Corner = Literal["top-left", "top-right", "bottom-left", "bottom-right"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """Anything written in the storyboard."""

    places: Mapping[str, Place] = field(default_factory=dict, compare=False, repr=False, hash=False)

    def at(self, key: str = "") -> Place | None:
        """Where `key` was written, or where the value itself was."""
        return self.places.get(key) or self.places.get("")


@dataclass(frozen=True, slots=True, kw_only=True)
class Canvas(Placed):
    """The programme's picture: width and height in pixels (even), exact frames a second."""

    width: int = 1920
    height: int = 1080
    rate: Fraction = Fraction(60)


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject(Placed):
    """A thing compared. `order` (from 0) chooses its colour and line style."""

    id: str
    name: str
    note: str = ""
    order: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class LineUp(Placed):
    """`offset` is where this capture shows the moment that `partner` shows at its own 0; None = it is measured."""

    partner: str
    offset: Time | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Log(Placed):
    """Frame times the machine wrote. `file` is as written. `offset` is where the log's own 0 lies in capture time;
    None = it is found by the log's rhythm."""

    file: str
    offset: Time | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Capture(Placed):
    """A video file of a subject. `file` is as written, relative to the storyboard's folder."""

    id: str
    file: str
    subject: str | None = None
    line_up: LineUp | None = None
    log: Log | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Narration(Placed):
    """How lines are voiced. Pauses are what stands before, between and after lines.

    `voice`: `scratch` speaks lines that have no take; `none` leaves them silent. `speaker` names the scratch voice's
    own voice ("" = the one of the storyboard's language).
    """

    takes: str = "takes"
    voice: Literal["scratch", "none"] = "scratch"
    speaker: str = ""
    pace: int = 160  # words a minute
    lead: Time  # before a segment's first line
    pause: Time  # between lines
    tail: Time  # after the last line, when the segment lasts as long as its narration
    stretch: Fraction = Fraction(0)  # how much faster lines are made at their own pitch: 1/20 = 5 %; negative = slower


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptionSettings(Placed):
    """Whether drafts carry burnt-in captions, and the reading limits they keep. soft: whether the file has a track of
    them, too; None = where they are not burnt in. own_limits: what stands in place of the profile's numbers, by key:
    `gap` in frames, times in seconds."""

    burn: bool = True
    soft: bool | None = None
    limits: Literal["online", "broadcast", "slow"] = "online"
    own_limits: tuple[tuple[str, int | Fraction], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Music(Placed):
    """Music under the programme, lowered under speech. `file` is as written; `start`: where in it it begins.

    `gain_db` counts from 4 LU below the narration. `segments`: the ids it plays under; none = the whole programme.
    """

    file: str
    gain_db: float = 0.0
    segments: tuple[str, ...] = ()
    start: Time
    loop: bool = False
    fade_in: Time
    fade_out: Time


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundSettings(Placed):
    """How the programme sounds. `target`: the name of the loudness aimed at, or "" where a number was written.
    `duck_db` (0 or less) is what captures and music are lowered by while someone speaks."""

    target: str = "web"
    loudness_lufs: float = -14.0
    peak_dbtp: float = -1.0
    duck_db: float = -12.0
    music: tuple[Music, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Line(Placed):
    """One narration line. `spoken`: the words that are said for it, where they are not those that its text gives.
    `pause` is the silence after it; `take` names its recording; `stretch`: None = the narration's."""

    text: str
    spoken: str | None = None
    pause: Time | None = None
    take: str | None = None
    stretch: Fraction | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Crop(Placed):
    """A rectangle of the capture's picture, in its pixels (after rotation)."""

    x: int
    y: int
    w: int
    h: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Freeze(Placed):
    """Hold the picture from `start` into the shot (default 0) for `lasts` (default: to its end)."""

    start: Time | None = None
    lasts: Time | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pane(Placed):
    """One capture's picture in an arrangement.

    `start`: capture time shown first, counted from the capture's first picture; None = the moment
    its lined-up neighbour shows, else 0. `label`: None = the subject's name and note, "" = none.
    """

    capture: str
    start: Time | None = None
    speed: Fraction = Fraction(1)
    freezes: tuple[Freeze, ...] = ()
    crop: Crop | None = None
    scaling: Scaling = "lanczos"
    fitting: Fitting = "fit"
    label: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Panes(Placed):
    """Panes set out by `kind`: full (1), side-by-side (2-4), stacked (2-3), grid (2-9)."""

    kind: Literal["full", "side-by-side", "stacked", "grid"]
    panes: tuple[Pane, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Split(Placed):
    """Two panes in one framing, divided at a line. `line` is where it stands, as a share (0-1) of
    the width (`across`: first pane left) or height (`down`: first pane on top); it moves evenly
    from the first value to the second over the shot."""

    panes: tuple[Pane, ...]
    line: tuple[float, float] = (0.5, 0.5)
    direction: Literal["across", "down"] = "across"
    kind: Literal["split"] = "split"


@dataclass(frozen=True, slots=True, kw_only=True)
class Inset(Placed):
    """First pane full, second one small in a corner. `size`: share of the canvas width."""

    panes: tuple[Pane, ...]
    corner: Corner = "top-right"
    size: float = 0.33
    kind: Literal["inset"] = "inset"


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference(Placed):
    """Where two panes differ in luma, times `gain`, on black."""

    panes: tuple[Pane, ...]
    gain: float = 4.0
    kind: Literal["difference"] = "difference"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table(Placed):
    """Rows of words and figures; the first column is left-aligned, figures are right-aligned."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Card(Placed):
    """A drawn picture: a title with a note, a still picture, or a small table (with a title)."""

    title: str = ""
    note: str = ""
    picture: str | None = None
    table: Table | None = None
    motion: Literal["ease", "still"] = "ease"
    kind: Literal["card"] = "card"

    @property
    def panes(self) -> tuple[Pane, ...]:
        """A card has none."""
        return ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Made(Placed):
    """A moviepy clip that project code returns: `function(width, height, rate, seconds, **options)`."""

    file: str
    function: str = "clip"
    options: Mapping[str, str | int | float | bool] = field(default_factory=dict)
    kind: Literal["made"] = "made"

    @property
    def panes(self) -> tuple[Pane, ...]:
        """A made picture has none."""
        return ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary(Placed):
    """A card of what captures were measured to do, one to four. `start` and `end` are in the first one's time;
    one that is lined up with it is counted over the same moments. None = from its start, or to its end. lows: which
    definition of percentile lows."""

    captures: tuple[str, ...]
    title: str = ""
    start: Time | None = None
    end: Time | None = None
    lows: str = "B"
    motion: Literal["ease", "still"] = "ease"
    kind: Literal["summary"] = "summary"

    @property
    def panes(self) -> tuple[Pane, ...]:
        """A summary has none."""
        return ()


Arrangement = Panes | Split | Inset | Difference | Card | Summary | Made


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot(Placed):
    """One arrangement for a stretch of a segment. At most one shot of a segment has no `lasts`."""

    arrangement: Arrangement
    lasts: Time | None = None
    labels: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Hear(Placed):
    """Capture sound under a segment. It follows the capture's pane in the segment's first shot
    that shows it, or else `start`. `gain_db` is before lowering under speech."""

    capture: str
    start: Time | None = None
    gain_db: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Graphs(Placed):
    """Graphs of what the shown captures were measured to do: `frame-rate`, `frame-time`, `cadence`, each
    at most once, from top to bottom; `window` is how much time they span (default 5 s)."""

    kinds: tuple[str, ...]
    window: Time | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge(Placed):
    """How a segment begins or ends: `dissolve` (begin only) from the picture before, or `fade`."""

    kind: Literal["dissolve", "fade"]
    lasts: Time


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment(Placed):
    """A stretch of programme. Exactly one of `until`, `lasts` and `fit` decides its end;
    `fit` = as long as the narration needs."""

    id: str
    chapter: str | None = None  # None = its id, "" = no chapter of its own
    start: Time | None = None  # `at:`; None = where the one before ends
    until: Time | None = None
    lasts: Time | None = None
    fit: bool = False
    say: tuple[Line, ...] = ()
    shots: tuple[Shot, ...]
    hear: tuple[Hear, ...] = ()
    graphs: Graphs | None = None
    enter: Edge | None = None
    leave: Edge | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Storyboard(Placed):
    """A whole storyboard. Ids are unique and every reference between them resolves. `lexicon`: how written
    words are said, before any rule."""

    title: str
    language: str = "en"
    lexicon: Mapping[str, str] = field(default_factory=dict)
    canvas: Canvas
    subjects: Mapping[str, Subject]
    captures: Mapping[str, Capture]
    narration: Narration
    captions: CaptionSettings
    sound: SoundSettings = field(default_factory=SoundSettings)
    fonts: tuple[str, ...] = ()
    segments: tuple[Segment, ...]
    written: Any = field(default=None, compare=False, repr=False, hash=False)
