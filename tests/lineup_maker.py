"""Pairs of captures with a planted line-up, drawn straight as small pictures.

A scene is a function of content time, which need not be whole frames: every capture draws the very moment each
of its refreshes shows, so offsets between frames and clocks that run apart are really there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter, gaussian_filter1d, map_coordinates

from assembler.measure.model import Cadence, Thumbs
from assembler.media.info import CaptureInfo, Colour

Array = npt.NDArray[np.float64]
Scene = Callable[[Array, int, int], npt.NDArray[np.float32]]
"""Content times (n,) seconds, rows, columns -> (n, rows, columns) luma codes."""

KINDS = ("pan", "fly", "figures", "cuts", "walk", "fixed", "lights", "starts")
TICKS = 240_000
"""Ticks a second of the captures' time stamps; 60000/1001 gets 4004 of them."""


def _path(rng: np.random.Generator, size: float, slow: float, fast: float) -> Callable[[Array], Array]:
    """A smooth wandering of time: sines of periods from `fast` to `slow` seconds, of like speed each."""
    periods = np.exp(rng.uniform(np.log(fast), np.log(slow), 9))
    phase = rng.uniform(0, 2 * np.pi, 9)
    reach = size * periods / periods.sum() * rng.uniform(0.5, 1.5, 9)
    return lambda u: np.sin(2 * np.pi * u[:, None] / periods + phase) @ reach


def _texture(rng: np.random.Generator, side: int = 1024) -> npt.NDArray[np.float32]:
    """Something like a natural picture that wraps round: amplitude falling as 1/f, with hard-edged patches."""
    fy, fx = np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None, :]
    f = np.hypot(fy, fx)
    f[0, 0] = 1
    spectrum = np.exp(2j * np.pi * rng.random(f.shape)) / f ** rng.uniform(1.0, 1.5)
    spectrum[f < 4 / side] = 0
    soft = np.fft.irfft2(spectrum, (side, side))
    patches = np.sign(np.fft.irfft2(np.exp(2j * np.pi * rng.random(f.shape)) * (f < 0.02), (side, side)))
    mixed = soft / soft.std() + rng.uniform(0.2, 1.0) * patches
    return np.clip(112 + 40 * mixed, 16, 235).astype(np.float32)


def _camera(rng: np.random.Generator, zoom: float, bob_s: float = 0.0) -> Scene:
    """A camera over a texture; the view is 320 texture pixels wide."""
    texture = _texture(rng)
    px, py = _path(rng, 700, 40, 2), _path(rng, 250, 40, 2)
    pz, pa = _path(rng, zoom, 30, 3), _path(rng, zoom / 2, 30, 3)
    drift = rng.normal(0, 25, 2)
    blurred: dict[int, npt.NDArray[np.float32]] = {}

    def scene(u: Array, rows: int, columns: int) -> npt.NDArray[np.float32]:
        step = 320 / columns
        if columns not in blurred:
            blurred[columns] = gaussian_filter(texture, 0.35 * step, mode="wrap") if step > 1 else texture
        y, x = np.mgrid[:rows, :columns].astype(np.float32)
        x, y = (x - (columns - 1) / 2) * step, (y - (rows - 1) / 2) * step
        out = np.empty((u.size, rows, columns), np.float32)
        cx, cy, size, angle = px(u) + drift[0] * u, py(u) + drift[1] * u, np.exp(pz(u)), pa(u)
        if bob_s:
            cy = cy + 8 * np.abs(np.sin(np.pi * u / bob_s))
        for k in range(u.size):
            c, s = np.cos(angle[k]) * size[k], np.sin(angle[k]) * size[k]
            at = np.stack([cy[k] + s * x + c * y, cx[k] + c * x - s * y])
            map_coordinates(blurred[columns], at, out[k], order=1, mode="grid-wrap")
        return out

    return scene


def _figures(rng: np.random.Generator, count: int, size: tuple[float, float], shake: float) -> Scene:
    """Soft figures wandering in front of a background that stands still or shakes a little."""
    ground = _camera(rng, 0.0)
    shaken = _path(rng, shake, 5, 0.4)
    paths = [(_path(rng, 0.6, 12, 1.5), _path(rng, 0.5, 12, 1.5)) for _ in range(count)]
    sizes, lights = rng.uniform(*size, count), rng.choice([-70.0, 70.0], count) * rng.uniform(0.5, 1.2, count)

    def scene(u: Array, rows: int, columns: int) -> npt.NDArray[np.float32]:
        if shake:
            out = ground(0.05 * shaken(u), rows, columns)
        else:
            out = np.repeat(ground(np.zeros(1), rows, columns), u.size, axis=0)
        here = np.empty_like(out)
        y, x = (np.arange(rows) + 0.5) / rows, (np.arange(columns) + 0.5) / columns * 16 / 9
        for (across, down), wide, light in zip(paths, sizes, lights, strict=True):
            gx = np.exp(-(((x - 0.89 - across(u)[:, None]) / wide) ** 2))
            gy = np.exp(-(((y - 0.5 - down(u)[:, None]) / wide) ** 2))
            # Multiplied in double precision, without holding all of it so.
            out += np.multiply(light * gy[:, :, None], gx[:, None, :], out=here, casting="unsafe")
        return np.clip(out, 0, 255)

    return scene


def _cuts(rng: np.random.Generator) -> Scene:
    """Shots of 1.5 to 6 s from four scenes, in an order that does not come back."""
    scenes = (_camera(rng, 0.3), _camera(rng, 0.0), _figures(rng, 5, (0.1, 0.3), 0.5), _camera(rng, 0.2, 0.7))
    ends = np.cumsum(rng.uniform(1.5, 6, 4000)) - 2000
    which = rng.integers(0, 4, 4001)

    def scene(u: Array, rows: int, columns: int) -> npt.NDArray[np.float32]:
        shot = which[np.searchsorted(ends, u)]
        out = np.empty((u.size, rows, columns), np.float32)
        for k, part in enumerate(scenes):
            if (shot == k).any():
                out[shot == k] = part(u[shot == k], rows, columns)
        return out

    return scene


def make_scene(kind: str, seed: int) -> Scene:
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    if kind == "pan":
        return _camera(rng, 0.0)
    if kind == "fly":
        return _camera(rng, 0.6)
    if kind == "walk":
        return _camera(rng, 0.05, rng.uniform(0.5, 0.9))
    if kind == "figures":
        return _figures(rng, 7, (0.08, 0.3), 1.0)
    if kind == "fixed":
        return _figures(rng, 2, (0.08, 0.2), 0.0)
    if kind == "cuts":
        return _cuts(rng)
    inner = _camera(rng, 0.2) if kind == "starts" else _figures(rng, 4, (0.1, 0.3), 1.0)
    if kind == "lights":
        pulse, every = _path(rng, 0.5, 6, 0.3), rng.uniform(2, 5)

        def lit(u: Array, rows: int, columns: int) -> npt.NDArray[np.float32]:
            flash = 1.6 * np.exp(-(u % every) / 0.1)
            return np.clip(inner(u, rows, columns) * (0.6 + 0.3 * pulse(u) + flash)[:, None, None], 0, 255)

        return lit
    pause, go = rng.uniform(0.5, 1.5), rng.uniform(2.0, 4.0)

    def stopping(u: Array, rows: int, columns: int) -> npt.NDArray[np.float32]:
        """Still for a while, then moving, over and over; content stands while still."""
        cycle = np.floor(u / (pause + go))
        return inner(cycle * go + np.minimum(u - cycle * (pause + go), go), rows, columns)

    return stopping


@dataclass(frozen=True)
class Machine:
    """How one side shows a scene. rate: refreshes a second; fps: new pictures a second (0: every refresh);
    drops: share of new pictures lost at random; hitches: long holds a minute; jitter: share of a refresh that time
    stamps are uneven by; judder: seconds, at most, by which what a new picture shows is ahead or behind."""

    rate: Fraction = Fraction(60)
    fps: float = 0.0
    drops: float = 0.0
    hitches: float = 0.0
    jitter: float = 0.0
    judder: float = 0.0
    blur: float = 0.0
    gamma: float = 1.0
    gain: float = 1.0
    overlay: bool = False
    counter: bool = False
    bars: bool = False
    noise: float = 0.1


@dataclass(frozen=True, eq=False)
class Planted:
    """One side of a pair. shown_s: (n,) content time each picture shows."""

    info: CaptureInfo
    thumbs: Thumbs
    cadence: Cadence
    shown_s: Array


def make_info(pts: npt.NDArray[np.int64], last: int) -> CaptureInfo:
    return CaptureInfo(
        path=Path("planted.mkv"), width=1280, height=720, aspect=Fraction(1), rotation=0, codec="h264",
        pixel_format="yuv420p", bits=8, colour=Colour(1, 1, 1, False), pts=pts, time_base=Fraction(1, TICKS),
        last_duration=last, frame_rate=None, sound=None, interlaced=False,
    )  # fmt: skip


def refreshes(machine: Machine, duration_s: float, rng: np.random.Generator) -> tuple[npt.NDArray[np.int64], Array]:
    """Time stamps (n,) in ticks, and the refresh whose picture is on screen at each (n,)."""
    n = round(duration_s * float(machine.rate))
    step = float(TICKS / machine.rate)
    ticks = np.arange(n) * step
    if machine.jitter:
        ticks = ticks + rng.uniform(0, machine.jitter * step, n)
    pts = np.round(ticks).astype(np.int64)
    refresh = np.arange(n)
    new = np.ones(n, bool)
    if machine.fps:
        # A picture comes whenever the machine's own count goes up: 40 of 60 is held 1, 2, 1, 2.
        new = np.diff(np.floor(refresh * machine.fps / float(machine.rate) + 1e-9), prepend=-1) > 0
    new &= rng.random(n) >= machine.drops
    for start in rng.integers(0, n, rng.poisson(machine.hitches * duration_s / 60)):
        new[start : start + rng.integers(3, 21)] = False
    new[0] = True
    return pts - pts[0], np.maximum.accumulate(np.where(new, refresh, 0)).astype(np.float64)


def degrade(luma: npt.NDArray[np.float32], fresh: npt.NDArray[np.bool_], machine: Machine, rng: np.random.Generator,
            ) -> npt.NDArray[np.float32]:  # fmt: skip
    """What scaling, another machine's picture settings, overlays and coding do to the small pictures."""
    n, rows, columns = luma.shape
    if machine.blur:
        luma = gaussian_filter1d(gaussian_filter1d(luma, machine.blur, axis=1), machine.blur, axis=2)
    luma = (255 * (np.clip(luma, 0, 255) / 255) ** machine.gamma * machine.gain).astype(np.float32)
    # Coding noise stays with a repeat and changes with a new picture, with a little of either.
    lasting = rng.normal(0, machine.noise, luma.shape).astype(np.float32)[np.cumsum(fresh) - 1]
    luma += lasting + rng.normal(0, machine.noise / 8, luma.shape).astype(np.float32)
    if machine.overlay:
        y, x = int(rng.integers(0, rows - 4)), int(rng.integers(0, columns - 9))
        luma[:, y : y + 4, x : x + 9] = rng.uniform(20, 230, (4, 9))
    if machine.counter:
        digits = rng.uniform(60, 180, (n, 1, 3)).astype(np.float32)
        luma[:, 1:2, 2:5] = digits[np.cumsum(fresh) - 1]
    if machine.bars:
        luma[:, :2], luma[:, -2:] = 16, 16
    return np.asarray(np.round(np.clip(luma, 0, 255) * 256) / 256, np.float32)


def verdicts(fresh: npt.NDArray[np.bool_], rng: np.random.Generator, wrong: float = 0.004) -> Cadence:
    """A cadence like a good measure's: mostly sure, and wrong now and then."""
    n = fresh.size
    said = fresh ^ (rng.random(n) < wrong)
    said[0] = True
    none = np.full(n, -1, np.int32)
    return Cadence(
        p_new=np.where(said, 0.98, 0.02).astype(np.float32), state=np.zeros(n, np.uint8), tear_first_row=none,
        tear_last_row=none, p_tear=np.zeros(n, np.float32), manual=np.zeros(n, bool), reliable=True, why="",
        tears_measurable=True, tears_why="",
    )  # fmt: skip


def plant(
    scene: Scene, machine: Machine, duration_s: float, content_at_0: float, drift_ppm: float, seed: int
) -> Planted:
    """A capture whose own clock runs `drift_ppm` faster than content time, and which starts at `content_at_0`."""
    rng = np.random.default_rng([seed, 77])
    pts, shown = refreshes(machine, duration_s, rng)
    fresh = np.diff(shown, prepend=-1) > 0
    content = content_at_0 + pts[shown.astype(np.int64)] / TICKS / (1 + drift_ppm * 1e-6)
    if machine.judder:
        content += rng.uniform(-machine.judder, machine.judder, pts.size)[shown.astype(np.int64)]
    unique, back = np.unique(content, return_inverse=True)
    luma = scene(unique, 18, 32)[back]
    # Nothing new is seen where the scene itself stands still, whatever the machine did.
    moved = fresh & (np.abs(np.diff(luma, axis=0, prepend=luma[:1] + 9)).max((1, 2)) > 0.02)
    luma = degrade(luma, moved, machine, rng)
    info = make_info(pts, round(float(TICKS / machine.rate)))
    return Planted(info, Thumbs(luma, luma.mean((1, 2))), verdicts(moved, rng), content)


@dataclass(frozen=True, eq=False)
class Pair:
    """Two captures, and the truth: b's time = offset_s + (1 + drift_ppm / 1e6) * a's time."""

    a: Planted
    b: Planted
    offset_s: float
    drift_ppm: float
    words: str

    def in_common(self) -> tuple[float, float]:
        """From and to, on a's clock, what both show."""
        rate = 1 + self.drift_ppm * 1e-6
        end_a, end_b = float(self.a.info.duration_s), float(self.b.info.duration_s)
        return max(0.0, -self.offset_s / rate), min(end_a, (end_b - self.offset_s) / rate)


RATES = (Fraction(50), Fraction(60), Fraction(60_000, 1_001), Fraction(120))


def make_machine(rng: np.random.Generator, plain: bool) -> Machine:
    """plain: the reference side, sharp and clean; else a softer, darker one with overlays that holds pictures."""
    rate = RATES[rng.integers(4)] if rng.random() < 0.5 else Fraction(60)
    fps = float(rng.choice([0, 0, 30, 40, 50])) if float(rate) > 50 else float(rng.choice([0, 25, 30]))
    jitter = 0.3 if rng.random() < 0.15 else 0.0
    judder = 0.005 if rng.random() < 0.4 else 0.0
    if plain:
        return Machine(rate, 0.0 if rng.random() < 0.6 else fps, rng.choice([0, 0.02]), 0.0, jitter, judder, noise=0.08)
    return Machine(
        rate, fps, rng.choice([0, 0.03, 0.1]), rng.choice([0, 6]), jitter, judder, rng.uniform(0.3, 0.8), 1.2, 0.88,
        bool(rng.random() < 0.6), bool(rng.random() < 0.2), bool(rng.random() < 0.15), rng.uniform(0.1, 0.25),
    )  # fmt: skip


def make_pair(seed: int, kind: str | None = None, common_s: float | None = None) -> Pair:
    """A pair of the kind, or of kinds in turn, that shows the same for 8 to 60 s, with lead-ins and ends of its own."""
    rng = np.random.default_rng([seed, 5])
    kind = kind or KINDS[seed % len(KINDS)]
    scene = make_scene(kind, seed)
    common = common_s or float(np.exp(rng.uniform(np.log(8), np.log(60))))
    lead = float(rng.choice([0, 1, 8, 40]) * rng.random())
    end_a, end_b = float(rng.choice([0, 10]) * rng.random()), float(rng.choice([0, 10]) * rng.random())
    drift = float(rng.choice([0, 0, 100, 1000, 3000]) * rng.choice([-1, 1]))
    a_leads = rng.random() < 0.5
    start_a, start_b = (-lead, 0.0) if a_leads else (0.0, -lead)
    a = plant(scene, make_machine(rng, True), common - start_a + end_a, start_a, 0.0, 2 * seed)
    length_b = (common - start_b + end_b) * (1 + drift * 1e-6)
    b = plant(scene, make_machine(rng, False), length_b, start_b, drift, 2 * seed + 1)
    offset = (start_a - start_b) * (1 + drift * 1e-6)
    words = f"{kind} {common:.0f}s lead {start_a:.0f}/{start_b:.0f} drift {drift:.0f}"
    return Pair(a, b, offset, drift, words)


def make_unrelated(seed: int) -> Pair:
    """Two captures of different scenes, of one kind as often as not."""
    rng = np.random.default_rng([seed, 6])
    first = KINDS[seed % len(KINDS)]
    second = first if rng.random() < 0.5 else KINDS[rng.integers(len(KINDS))]
    lengths = np.exp(rng.uniform(np.log(8), np.log(60), 2))
    a = plant(make_scene(first, seed), make_machine(rng, True), lengths[0], 0.0, 0.0, 2 * seed)
    b = plant(make_scene(second, seed + 50_000), make_machine(rng, False), lengths[1], 3.0, 0.0, 2 * seed + 1)
    return Pair(a, b, np.nan, 0.0, f"{first} / {second}")
