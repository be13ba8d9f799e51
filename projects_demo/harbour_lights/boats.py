"""What moves by itself: the sailing boat and the ferry; and what stands in front, on the near quay."""

from __future__ import annotations

from art import Raster, colour, mix
from moods import Mood

SAIL_SIZE, SAIL_FLOAT = (280, 380), 366  # the raster, and the row its water line lies on
FERRY_SIZE, FERRY_FLOAT = (400, 118), 112
PERIOD = 1440  # scene pixels after which the near quay repeats
WIRES_END, RAIL_TOP = 288, 936


def sailing_boat(mood: Mood, fine: int) -> tuple[Raster, Raster]:
    """Hull and sails, smooth; and the rigging, to be drawn with hard edges."""
    soft, sharp = Raster(0, 0, *SAIL_SIZE, fine), Raster(0, 0, *SAIL_SIZE, fine)
    light, shade = mood.sail
    soft.polygon([(137, 40), (137, 300), (22, 306), (60, 220), (100, 120)], light, shade)
    soft.polygon([(143, 66), (250, 308), (196, 304), (143, 296)], mix(light, shade, 0.25), shade)
    for y in (96, 150, 206, 258):  # seams
        reach = (y - 40) * 0.44
        sharp.line((134 - reach * 0.93, y + 6), (134, y), 0.9, mix(light, shade, 0.75))
    hull = mix(mood.front, colour("#28345a"), 0.45)
    soft.polygon([(20, 326), (262, 318), (236, 366), (52, 366)], hull, mix(hull, mood.front, 0.6))
    soft.polygon([(20, 326), (262, 318), (260, 324), (22, 332)], mix(light, shade, 0.4))
    soft.polygon([(92, 325), (98, 309), (168, 308), (184, 322)], mix(hull, light, 0.28))
    for window in (106, 126, 146):
        soft.rect(window, 313, window + 11, 319, colour("#ffd48c"))
    mast = mix(mood.front, light, 0.30)
    soft.line((140, 20), (140, 322), 4.0, mast)
    soft.line((140, 306), (18, 311), 3.2, mast)
    for a, b in (((140, 22), (262, 318)), ((140, 22), (20, 326)), ((140, 70), (262, 318))):
        sharp.line(a, b, 1.3, mast)
    for y in (322.0, 314.0, 306.0):  # guard wires rise gently towards the bow: stair-steps
        sharp.line((16, y - 4), (60, y - 6), 1.2, mast)
        sharp.line((190, y - 8), (268, y - 13), 1.2, mast)
    sharp.line((140, 118), (112, 122), 1.6, mast)
    sharp.line((140, 118), (168, 114), 1.6, mast)
    soft.glow(140, 18, 6, colour("#fff2d0"), 0.9)
    soft.disc(140, 19, 2.4, colour("#fff6e0"))
    soft.glow(24, 318, 8, colour("#ff5a4a"), 0.5)
    return soft, sharp


def ferry(mood: Mood, fine: int) -> tuple[Raster, Raster]:
    """Two lit decks over a dark hull, sailing to the left."""
    soft, sharp = Raster(0, 0, *FERRY_SIZE, fine), Raster(0, 0, *FERRY_SIZE, fine)
    white = mix(mood.tower, mood.shore, 0.18)
    dark = mix(mood.shore, mood.front, 0.5)
    soft.polygon([(6, 76), (392, 80), (384, 112), (40, 112), (22, 98)], dark, mix(dark, mood.front, 0.6))
    soft.polygon([(8, 78), (392, 81), (391, 85), (12, 83)], white)
    soft.polygon([(58, 78), (66, 54), (352, 54), (360, 80)], white, mix(white, mood.shore, 0.35))
    soft.polygon([(92, 54), (98, 34), (300, 34), (306, 54)], mix(white, mood.shore, 0.12), mix(white, mood.shore, 0.4))
    soft.polygon([(104, 34), (110, 19), (160, 19), (164, 34)], white, mix(white, mood.shore, 0.3))
    soft.rect(112, 23, 158, 30, colour("#ffe6b8"))
    soft.polygon([(238, 34), (242, 8), (268, 8), (274, 34)], mood.band, mix(mood.band, mood.shore, 0.5))
    soft.rect(240, 8, 269, 14, dark)
    for row, (first, last) in ((60, (74, 346)), (39, (106, 292))):
        for x in range(first, last, 13):
            soft.rect(x, row, x + 9, row + 9, colour("#ffdc98"))
    soft.glow(206, 62, 40, colour("#ffb45a"), 0.12)
    sharp.line((130, 19), (130, 2), 1.6, dark)
    sharp.line((130, 4), (14, 76), 1.0, dark)
    sharp.line((130, 4), (390, 78), 1.0, dark)
    soft.glow(130, 3, 6, colour("#ffffff"), 0.9)
    soft.glow(28, 80, 7, colour("#58e08a"), 0.6)
    return soft, sharp


def festoon(mood: Mood, fine: int) -> tuple[Raster, Raster]:
    """One period of the lamps hung along the near quay, and their wire."""
    soft, sharp = Raster(0, 0, PERIOD, WIRES_END, fine), Raster(0, 0, PERIOD, WIRES_END, fine)
    post, top, sag = PERIOD / 2, 60.0, 96.0
    for start in (post - PERIOD, post):
        sharp.line((start, top), (start + PERIOD, top), 2.2, mood.front, sag=sag)
        sharp.line((start, top + 40), (start + PERIOD, top + 40), 1.3, mood.front, sag=sag * 1.25)
        for number in range(20):
            share = (number + 0.5) / 20
            x, y = start + share * PERIOD, top + 4 * sag * share * (1 - share) + 13
            soft.rect(x - 2.5, y - 12, x + 2.5, y - 5, mood.front)
            soft.disc(x, y, 7, colour("#ffe7ae"))
            soft.disc(x - 1, y - 1, 3.5, colour("#fff8e2"))
            for radius, strength in ((15, 0.55), (42, 0.13)):
                for turn in (-PERIOD, 0, PERIOD):
                    soft.glow(x + turn, y, radius, colour("#ffb865"), strength)
    soft.rect(post - 6, 40, post + 6, WIRES_END, mood.front)
    soft.rect(post - 6, 40, post - 3.5, WIRES_END, mix(mood.front, mood.rim, 0.30))
    soft.disc(post, 42, 9, mood.front)
    return soft, sharp


def mast(mood: Mood, fine: int) -> Raster:
    """The festoon's post between the wires and the railing, 12 scene pixels wide."""
    raster = Raster(0, WIRES_END, 12, RAIL_TOP - WIRES_END, fine)
    raster.rect(0, WIRES_END, 12, RAIL_TOP, mood.front)
    raster.rect(0, WIRES_END, 2.5, RAIL_TOP, mix(mood.front, mood.rim, 0.30))
    return raster


def railing(mood: Mood, fine: int) -> tuple[Raster, Raster]:
    """One period of the near quay's edge: posts, a rail, and chains that hang between the posts."""
    height = 1080 - RAIL_TOP
    soft, sharp = Raster(0, RAIL_TOP, PERIOD, height, fine), Raster(0, RAIL_TOP, PERIOD, height, fine)
    edge = mix(mood.front, mood.rim, 0.30)
    soft.rect(0, 1052, PERIOD, 1080, mood.front)
    soft.rect(0, 1052, PERIOD, 1054, edge)
    gap = PERIOD / 8
    for number in range(-1, 9):
        x = (number + 0.5) * gap
        for y, sag in ((966, 26), (998, 30)):
            sharp.line((x, y), (x + gap, y), 3.0, mood.front, sag=sag)
    for number in range(8):
        x = (number + 0.5) * gap
        soft.rect(x - 7, 956, x + 7, 1056, mood.front)
        soft.rect(x - 7, 956, x - 4.5, 1056, edge)
        soft.disc(x, 952, 9, mood.front)
    post = PERIOD / 2
    soft.rect(post - 6, RAIL_TOP, post + 6, 1056, mood.front)
    soft.rect(post - 6, RAIL_TOP, post - 3.5, 1056, edge)
    return soft, sharp
