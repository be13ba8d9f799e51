"""Which panes of a shot are read by proxy on a stage."""

from __future__ import annotations

from collections.abc import Iterator

from assembler.media.proxies import proxied_shape
from assembler.picture.arrange import layout_of
from assembler.picture.panes import may_be_proxied, pane_shape
from assembler.picture.stage import Stage
from assembler.timeline.model import PlacedPane, PlacedShot


def proxied_panes(shot: PlacedShot, stage: Stage) -> Iterator[PlacedPane]:
    """The panes that are read by proxy where their captures have one."""
    if not any(may_be_proxied(shot.arrangement, placed.pane) for placed in shot.panes):
        return
    for placed, rect in zip(shot.panes, layout_of(shot, stage).panes, strict=True):
        info = stage.captures[placed.capture.id]
        shape = pane_shape(placed.pane, info, rect, bits=stage.bits, scale=stage.scale).shape
        if may_be_proxied(shot.arrangement, placed.pane) and proxied_shape(info, shape) is not None:
            yield placed
