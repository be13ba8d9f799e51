"""Sprites on planes: the right codes, exact blending at both depths, clean edges, clipping."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.media.planes import Planes, blank
from assembler.picture.sprite import Sprite, blend

# Source: Rec. ITU-T H.264 equations E-10 to E-12 with KR 0.2126, KB 0.0722 (BT.709), computed apart from our code:
# narrow-range codes of 100 % bars, (Y, Cb, Cr) at 8 and at 10 bits.
BARS = {
    (255, 255, 255): ((235, 128, 128), (940, 512, 512)),
    (255, 255, 0): ((219, 16, 138), (877, 64, 553)),
    (0, 255, 255): ((188, 154, 16), (754, 615, 64)),
    (0, 255, 0): ((173, 42, 26), (691, 167, 105)),
    (255, 0, 255): ((78, 214, 230), (313, 857, 919)),
    (255, 0, 0): ((63, 102, 240), (250, 409, 960)),
    (0, 0, 255): ((32, 240, 118), (127, 960, 471)),
    (0, 0, 0): ((16, 128, 128), (64, 512, 512)),
}


def solid(colour: tuple[int, int, int], alpha: int, width: int = 4, height: int = 4) -> np.ndarray:
    rgba = np.empty((height, width, 4), np.uint8)
    rgba[:] = (*colour, alpha)
    return rgba


def random_canvas(width: int, height: int, bits: int, seed: int = 0) -> Planes:
    rng = np.random.default_rng(seed)
    kind, up = (np.uint8, 1) if bits == 8 else (np.uint16, 4)

    def plane(w: int, h: int, top: int) -> np.ndarray:
        return rng.integers(16 * up, top * up + 1, (h, w)).astype(kind)

    return Planes(plane(width, height, 235), plane(width // 2, height // 2, 240), plane(width // 2, height // 2, 240))


def exact(canvas: Planes, rgba: np.ndarray, x: int, y: int, opacity: float) -> tuple[np.ndarray, ...]:
    """The blend in float64, by the definition: colour * alpha + canvas * (1 - alpha), chroma over 2 by 2."""
    up = 1 if canvas.bits == 8 else 4
    red, green, blue = (rgba[..., n] / 255.0 for n in range(3))
    alpha = rgba[..., 3] / 255.0 * opacity
    luma = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    layers = (219 * luma + 16, 224 * (blue - luma) / 1.8556 + 128, 224 * (red - luma) / 1.5748 + 128)
    results = []
    for number, (plane, layer) in enumerate(zip((canvas.y, canvas.u, canvas.v), layers, strict=True)):
        weighted, weight = layer * up * alpha, alpha
        px, py = x, y
        if number:
            weighted = weighted.reshape(weighted.shape[0] // 2, 2, -1, 2).mean(axis=(1, 3))
            weight = weight.reshape(weight.shape[0] // 2, 2, -1, 2).mean(axis=(1, 3))
            px, py = x // 2, y // 2
        out = plane.astype(np.float64)
        part = out[py : py + weight.shape[0], px : px + weight.shape[1]]
        part[:] = part * (1 - weight) + weighted
        results.append(out)
    return tuple(results)


@pytest.mark.parametrize("colour", BARS)
@pytest.mark.parametrize("bits", [8, 10])
def test_opaque_colours_land_on_the_codes_of_the_standard(colour: tuple[int, int, int], bits: int) -> None:
    canvas = random_canvas(8, 8, bits)
    blend(canvas, Sprite.from_rgba(solid(colour, 255, 8, 8), bits), 0, 0)
    for plane, code in zip((canvas.y, canvas.u, canvas.v), BARS[colour][bits == 10], strict=True):
        assert np.abs(plane.astype(int) - code).max() <= 1
        assert np.ptp(plane) == 0  # nothing of the canvas shines through


@pytest.mark.parametrize("bits", [8, 10])
def test_where_alpha_is_nothing_every_code_stays(bits: int) -> None:
    # Source: definition. All codes of the depth, forbidden ones too, must pass through untouched.
    top = 255 if bits == 8 else 1023
    canvas = random_canvas(64, 64, bits)
    canvas.y.flat[: top + 1] = np.arange(top + 1)
    before = [plane.copy() for plane in (canvas.y, canvas.u, canvas.v)]
    sprite = Sprite.from_rgba(solid((255, 10, 200), 0, 64, 64), bits)
    for opacity in (1.0, 0.5, 0.0):
        blend(canvas, sprite, 0, 0, opacity)
    blend(canvas, Sprite.from_rgba(solid((255, 10, 200), 255, 64, 64), bits), 0, 0, 0.0)
    for plane, old in zip((canvas.y, canvas.u, canvas.v), before, strict=True):
        assert np.array_equal(plane, old)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([8, 10]), st.sampled_from([1.0, 0.75, 0.5, 1 / 256]))
def test_blending_is_within_one_code_of_exact_arithmetic(seed: int, bits: int, opacity: float) -> None:
    # Source: the definition in float64 (`exact` above). Opacities are whole 256ths, the grain of a fade.
    # The bound is half a code for the result and half a step of alpha (256 at 8 bits, 4096 at 10) times the
    # largest difference of codes: 0.94 at 8 bits, 0.61 at 10.
    span, steps = (224, 256) if bits == 8 else (896, 4096)
    bound = 0.5 + 0.5 * opacity * span / steps + 0.01
    assert bound < 1
    rng = np.random.default_rng(seed)
    rgba = rng.integers(0, 256, (12, 16, 4)).astype(np.uint8)
    rgba[:4, :, 3] = rng.choice([0, 255], (4, 16))
    canvas = random_canvas(32, 20, bits, seed)
    expected = exact(canvas, rgba, 6, 2, opacity)
    blend(canvas, Sprite.from_rgba(rgba, bits), 6, 2, opacity)
    for plane, wanted in zip((canvas.y, canvas.u, canvas.v), expected, strict=True):
        assert np.abs(plane - wanted).max() <= bound


@pytest.mark.parametrize("bits", [8, 10])
def test_extremes_do_not_overflow(bits: int) -> None:
    # Source: arithmetic: the highest code under and over, at every alpha, must stay between the two.
    top = 255 if bits == 8 else 1023
    canvas = blank(256, 2, bits=bits)
    canvas.y[:], canvas.u[:], canvas.v[:] = top, top, top
    rgba = np.full((2, 256, 4), 255, np.uint8)
    rgba[..., 3] = np.arange(256)
    for opacity in (1.0, 255 / 256, 0.5):
        blend(canvas, Sprite.from_rgba(rgba, bits), 0, 0, opacity)
        assert canvas.y.min() >= (235 if bits == 8 else 940)
        assert canvas.u.min() >= (128 if bits == 8 else 512)


def test_a_coloured_edge_on_white_has_no_dark_or_foreign_fringe() -> None:
    # Source: definition: with chroma premultiplied, each chroma sample lies between canvas and colour, and at the
    # share of the 2 by 2 pixels that the sprite covers. Straight averaging of colours would give another share.
    rgba = solid((255, 0, 0), 255, 8, 8)
    rgba[:, 3:] = (0, 255, 0, 0)  # transparent, and of a colour that must not show
    canvas = blank(8, 8, luma=235)
    blend(canvas, Sprite.from_rgba(rgba), 0, 0)
    assert canvas.v[0].tolist() == [240, 184, 128, 128]  # red, half way, white, white
    assert canvas.u[0].tolist() == [102, 115, 128, 128]
    assert canvas.y[0].tolist() == [63, 63, 63, 235, 235, 235, 235, 235]


@pytest.mark.parametrize("bits", [8, 10])
@pytest.mark.parametrize("place", [(-4, -6), (28, -2), (-2, 18), (26, 16), (-40, 0), (0, 40), (32, 0), (0, 0)])
def test_a_sprite_is_cut_at_the_canvas_edge(place: tuple[int, int], bits: int) -> None:
    # Source: the same blend on a canvas with room all round, cut to size.
    rgba = np.random.default_rng(3).integers(0, 256, (10, 12, 4)).astype(np.uint8)
    sprite = Sprite.from_rgba(rgba, bits)
    roomy = random_canvas(32 + 80, 20 + 80, bits)
    small = Planes(roomy.y[40:60, 40:72].copy(), roomy.u[20:30, 20:36].copy(), roomy.v[20:30, 20:36].copy())
    blend(roomy, sprite, place[0] + 40, place[1] + 40)
    blend(small, sprite, *place)
    assert np.array_equal(small.y, roomy.y[40:60, 40:72])
    assert np.array_equal(small.u, roomy.u[20:30, 20:36])
    assert np.array_equal(small.v, roomy.v[20:30, 20:36])


def test_odd_places_and_other_depths_are_refused() -> None:
    # Source: 4:2:0 has one chroma sample for two by two pixels.
    sprite = Sprite.from_rgba(solid((1, 2, 3), 255))
    for place in ((1, 0), (0, 1), (-3, 2)):
        with pytest.raises(ValueError, match="even"):
            blend(blank(8, 8), sprite, *place)
    with pytest.raises(ValueError, match="bit"):
        blend(blank(8, 8, bits=10), sprite, 0, 0)


def test_odd_sizes_are_filled_up_with_nothing() -> None:
    # Source: our rule.
    sprite = Sprite.from_rgba(solid((255, 255, 255), 255, 5, 3))
    assert (sprite.width, sprite.height) == (6, 4)
    canvas = blank(8, 8)
    blend(canvas, sprite, 0, 0)
    assert canvas.y[:3, :5].min() == 235
    assert canvas.y[3:].max() == 16 and canvas.y[:, 5:].max() == 16


def test_the_overhang_moves_the_sprite_not_its_point() -> None:
    # Source: our rule: (left, top) lie outside the placed point.
    alpha = np.ones((6, 8), np.float32)
    rgb = np.ones((6, 8, 3), np.float32)
    canvas = blank(16, 16)
    blend(canvas, Sprite.from_premultiplied(rgb, alpha, left=2, top=4, box=(6, 2)), 6, 8)
    assert np.argwhere(canvas.y == 235).min(axis=0).tolist() == [4, 4]
