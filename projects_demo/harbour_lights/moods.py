"""The two lights the harbour is seen in: dusk and night."""

from __future__ import annotations

from dataclasses import dataclass

from art import Rgb, colour


@dataclass(frozen=True, slots=True)
class Mood:
    """Colours (gamma-coded) and strengths. `sky` runs from the top to the horizon."""

    sky: tuple[tuple[float, Rgb], ...]
    glow: Rgb
    glow_strength: float
    light_x: float  # where the sun has just gone, or the moon stands
    light_up: float  # scene pixels above the horizon
    path: float  # how bright the light's path on the water is, in luma codes
    path_size: tuple[float, float]  # scene pixels, across and up, in still water
    path_ink: Rgb
    hill: Rgb
    shore: Rgb
    rim: Rgb
    glass: Rgb
    tower: Rgb
    band: Rgb
    body: Rgb  # the water's own colour
    cloud: Rgb
    cloud_lit: Rgb
    cloud_high: Rgb  # lit edges far from the light
    cloud_cover: float
    stars: int
    lit: float  # share of windows lit
    window_glow: float
    beam: float  # luma codes at the lamp
    sail: tuple[Rgb, Rgb]
    front: Rgb  # what stands against the light in front


DUSK = Mood(
    sky=(
        (0.0, colour("#1d2a55")),
        (0.30, colour("#3a4680")),
        (0.55, colour("#74659a")),
        (0.74, colour("#b87c92")),
        (0.88, colour("#e69c7e")),
        (1.0, colour("#f7c48a")),
    ),
    glow=colour("#ffd79a"),
    glow_strength=0.55,
    light_x=1210,
    light_up=18,
    path=150,
    path_size=(115, 300),
    path_ink=colour("#ffbd74"),
    hill=colour("#7a6483"),
    shore=colour("#2b2c48"),
    rim=colour("#d08a72"),
    glass=colour("#4a4766"),
    tower=colour("#e2d3cf"),
    band=colour("#a8433f"),
    body=colour("#141d38"),
    cloud=colour("#5d5682"),
    cloud_lit=colour("#ffb48a"),
    cloud_high=colour("#9a7fae"),
    cloud_cover=0.30,
    stars=0,
    lit=0.24,
    window_glow=0.10,
    beam=24,
    sail=(colour("#f0d9bd"), colour("#d59f86")),
    front=colour("#0d0f1c"),
)

NIGHT = Mood(
    sky=(
        (0.0, colour("#070c20")),
        (0.45, colour("#101a3c")),
        (0.75, colour("#1e2a55")),
        (0.92, colour("#39406c")),
        (1.0, colour("#5a5274")),
    ),
    glow=colour("#9db4e0"),
    glow_strength=0.20,
    light_x=1470,
    light_up=330,
    path=300,
    path_size=(62, 70),
    path_ink=colour("#cfdcff"),
    hill=colour("#232a4c"),
    shore=colour("#10142b"),
    rim=colour("#4f5a86"),
    glass=colour("#1c2240"),
    tower=colour("#8089a8"),
    band=colour("#54283a"),
    body=colour("#070c1c"),
    cloud=colour("#1a2244"),
    cloud_lit=colour("#7f8fc4"),
    cloud_high=colour("#2c3866"),
    cloud_cover=0.05,
    stars=620,
    lit=0.50,
    window_glow=0.17,
    beam=34,
    sail=(colour("#9aa3c0"), colour("#525c85")),
    front=colour("#04060e"),
)

MOODS = {"quay": DUSK, "night": NIGHT}
