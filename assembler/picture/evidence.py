"""The evidence of a shot: which captures its graphs show, and the band that shows them in step."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence

from assembler.measure.clock import Clock
from assembler.media.planes import Planes
from assembler.picture.geometry import Rect
from assembler.picture.graph_band import DEFAULT_WINDOW_S, GraphBand
from assembler.picture.graph_film import BandFilm
from assembler.picture.graph_plan import band_height
from assembler.picture.graph_series import GraphSeries, graph_series, initials
from assembler.picture.ground import put
from assembler.picture.layout import Layout
from assembler.picture.stage import Stage
from assembler.timeline.model import PlacedPane, PlacedShot

MOST_SUBJECTS = 4


def graphed_panes(shot: PlacedShot, stage: Stage) -> tuple[PlacedPane, ...]:
    """The panes whose captures the shot's graphs show: each measured capture once, four at the most."""
    if shot.graphs is None:
        return ()
    first: dict[str, PlacedPane] = {}
    for pane in shot.panes:
        if pane.capture.id in stage.measured:
            first.setdefault(pane.capture.id, pane)
    return tuple(first.values())[:MOST_SUBJECTS]


def evidence_height(shot: PlacedShot, stage: Stage) -> int:
    """Rows of the canvas that the shot's graphs ask for; 0 without any."""
    panes = graphed_panes(shot, stage)
    return band_height(shot.graphs.kinds, len(panes), stage.type_height) if shot.graphs and panes else 0


class Evidence:
    """The graphs of one shot. The playhead of each capture stands at the picture its pane shows."""

    def __init__(self, shot: PlacedShot, stage: Stage, layout: Layout) -> None:
        assert shot.graphs is not None and layout.evidence is not None
        self._panes = graphed_panes(shot, stage)
        self._stage = stage
        self._place = layout.evidence
        window = shot.graphs.window
        self.band = GraphBand(
            self._series(),
            shot.graphs.kinds,
            float(window.seconds) if window is not None else DEFAULT_WINDOW_S,
            self._place.width,
            self._place.height,
            stage.type_height,
            stage.fonts,
            stage.bits,
            backing=layout.evidence_over_picture,
        )
        self._over_picture = layout.evidence_over_picture
        self._settled = False
        self._film: BandFilm | None = None

    def times_s(self, frame: int) -> tuple[float, ...]:
        """For each capture, when the picture that its pane shows at a frame of the shot came on screen."""
        # As exact as `CaptureInfo.time_s`: a series keeps its capture's times, each rounded once.
        return tuple(
            [float(each.times_s[p.picture[frame]]) for each, p in zip(self.band.series, self._panes, strict=True)]
        )

    def settle(self, page: Planes, pictures: Sequence[Rect]) -> None:
        """Draw what does not move onto the page, which is copied to every frame, rather than onto each frame anew.
        pictures: where they, and what is drawn with them, lie on the page; a band that meets one is left as it is."""
        x, y = self._place.x, self._place.y
        if self._over_picture or any(
            rect.meets(picture) for rect in self.band.still_rects(x, y) for picture in pictures
        ):
            return
        self.band.paint_still(page, x, y)
        self._settled = True
        with contextlib.suppress(ValueError):
            film = BandFilm(self.band, page, x, y)
            self._film = None if any(film.rect.meets(picture) for picture in pictures) else film

    @property
    def covered(self) -> tuple[Rect, ...]:
        """What `paint` covers whatever lies there."""
        return () if self._film is None else (self._film.rect,)

    def paint(self, frame: int, canvas: Planes) -> None:
        """Draw the band for a frame of the shot, on its page where it was settled there."""
        times_s = self.times_s(frame)
        if self._film is None:
            self.band.paint(canvas, self._place.x, self._place.y, times_s, still=not self._settled)
            return
        self._film.paint(times_s)
        put(canvas, self._film.picture, self._film.rect.x, self._film.rect.y)

    def _series(self) -> tuple[GraphSeries, ...]:
        subjects = [self._stage.subjects.get(pane.capture.subject or "") for pane in self._panes]
        names = [s.name if s else p.capture.id for s, p in zip(subjects, self._panes, strict=True)]
        found = []
        marks = initials(names)
        for number, (pane, subject) in enumerate(zip(self._panes, subjects, strict=True)):
            clock = Clock.of(self._stage.captures[pane.capture.id])
            cadence = self._stage.measured[pane.capture.id]
            order = subject.order if subject else number
            found.append(graph_series(names[number], marks[number], order, clock, cadence))
        return tuple(found)
