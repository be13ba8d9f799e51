"""Brings a card's things on and paints them: each is a small moviepy clip with its own place in time.

moviepy is asked for each clip's picture, mask and position alone and never composes a canvas: what it
gives is turned into a sprite once and blended where it lies.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from assembler.media.planes import Planes
from assembler.media.stills import load_still
from assembler.picture.cards_draw import DrawnCard, draw_card
from assembler.picture.drawing import Block
from assembler.picture.geometry import Rect
from assembler.picture.ground import filled, put
from assembler.picture.look import GROUND
from assembler.picture.motion import Entrance, entrances
from assembler.picture.sprite import Sprite, blend
from assembler.picture.stage import Stage
from assembler.picture.summary_card import draw_summary_shot
from assembler.storyboard.model import Card, Summary
from assembler.storyboard.paths import resolve_inside
from assembler.timeline.model import PlacedShot

_PHASES = 4
"""Heights between two even rows at which a moving thing is drawn: half a pixel apart."""

Floats = npt.NDArray[np.float32]


def card_overflows(card: Card, stage: Stage) -> tuple[str, ...]:
    """A sentence for each thing of a card that does not fit its room at this stage's size."""
    return draw_card(card, stage, None).faults


class CardPicture:
    """A card at work."""

    def __init__(self, shot: PlacedShot, stage: Stage) -> None:
        card = shot.arrangement
        assert isinstance(card, Card | Summary)
        self._stage = stage
        drawn = draw_summary_shot(shot, stage) if isinstance(card, Summary) else _drawn(card, stage)
        seconds = float(shot.span.frames / stage.rate)
        moves = entrances(len(drawn.blocks), seconds, stage.type_height, still=card.motion == "still")
        tail_s = float((shot.span.frames + shot.tail_frames) / stage.rate)
        self._things = [
            _Thing(_clip(block, move, tail_s), move, stage.bits)
            for block, move in zip(drawn.blocks, moves, strict=True)
        ]
        self._at_rest_s = max((move.end_s for move in moves), default=0.0)
        self._base = filled(stage.width, stage.height, GROUND, bits=stage.bits)
        self._settled = False

    def paint(self, frame: int, canvas: Planes) -> None:
        """Paint the whole canvas for a frame of the shot."""
        t = float(frame / self._stage.rate)
        if t >= self._at_rest_s and not self._settled:
            for thing in self._things:
                thing.paint(t, self._base)
            self._settled = True
        put(canvas, self._base, 0, 0, Rect(0, 0, self._stage.width, self._stage.height))
        if not self._settled:
            for thing in self._things:
                thing.paint(t, canvas)

    def close(self) -> None:
        """Let go of the clips."""
        for thing in self._things:
            thing.close()


def _drawn(card: Card, stage: Stage) -> DrawnCard:
    if card.picture is None:
        return draw_card(card, stage, None)
    return draw_card(card, stage, load_still(resolve_inside(stage.folder, card.picture, card.at("picture"))))


def _clip(block: Block, move: Entrance, seconds: float) -> Any:
    """A moviepy clip of a drawn thing, whose position follows its entrance."""
    from moviepy import ImageClip  # only cards pay for it

    return ImageClip(block.rgba, duration=seconds).with_position(lambda t: (block.x, block.y + move.lift(t)))


@dataclass(slots=True)
class _Thing:
    """A clip, how it comes on, and the sprites made of the picture it last gave."""

    clip: Any
    move: Entrance
    bits: int
    _picture: Any = None
    _mask: Any = None
    _sprites: dict[int, Sprite] = field(default_factory=dict)

    def paint(self, t: float, canvas: Planes) -> None:
        opacity = self.move.opacity(t)
        if opacity <= 0:
            return
        picture, mask = self.clip.get_frame(t), self.clip.mask.get_frame(t)
        if picture is not self._picture or mask is not self._mask:
            self._picture, self._mask = picture, mask
            self._sprites.clear()
        x, y = self.clip.pos(t)
        step = math.floor(y * _PHASES / 2 + 0.5)
        row, phase = divmod(step, _PHASES)
        if phase not in self._sprites:
            self._sprites[phase] = _sprite(picture, mask, phase * 2 / _PHASES, self.bits)
        blend(canvas, self._sprites[phase], math.floor(x / 2 + 0.5) * 2, row * 2, opacity)

    def close(self) -> None:
        self.clip.close()


def _sprite(picture: npt.NDArray[np.uint8], mask: npt.NDArray[np.float64], down: float, bits: int) -> Sprite:
    """A sprite of a picture (height, width, 3) and its mask (height, width; 0 to 1), moved down by 0 to 2
    pixels, so that slow motion does not go in steps of two."""
    alpha: Floats = np.asarray(mask, np.float32)
    colour: Floats = np.asarray(picture, np.float32) * (alpha[..., None] * np.float32(1 / 255))
    if down:
        alpha, colour = _moved(alpha, down), _moved(colour, down)
    return Sprite.from_premultiplied(colour, alpha, bits)


def _moved(values: Floats, down: float) -> Floats:
    whole, part = int(down), np.float32(down - int(down))
    moved = np.zeros((values.shape[0] + 2, *values.shape[1:]), np.float32)
    moved[whole : whole + values.shape[0]] = values * (1 - part)
    moved[whole + 1 : whole + 1 + values.shape[0]] += values * part
    return moved
