"""Draws an inset: one picture full, a small one in a corner inside a thin frame."""

from __future__ import annotations

from assembler.media.planes import Planes
from assembler.picture.arrange import Arranged
from assembler.picture.ground import fill
from assembler.picture.look import GROUND, MUTED


class InsetPicture(Arranged):
    """The second pane lies over the first."""

    def paint(self, frame: int, canvas: Planes) -> None:
        """Paint the whole canvas for a frame of the shot."""
        main, small = self.panes
        self.paint_ground(canvas)
        main.draw(frame, canvas)
        if self.layout.frame is not None:
            fill(canvas, self.layout.frame, MUTED)
            fill(canvas, self.layout.panes[1], GROUND)  # a picture of whole zoom may not fill its room
        small.draw(frame, canvas)
        self.paint_over(frame, canvas)
