"""The arithmetic on whole pictures, compiled: what two pictures differ by, block by block.

Half-size luma is the sum of 2 x 2 codes, so it counts in quarter codes. Compiled code may run while
other threads decode: it holds no lock of the interpreter. Compiling happens on first use, and is kept.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[Any]

BLOCK = 16
"""Side of a block in half-size pixels."""
CELL = 64
"""Width of a cell of a row band in capture pixels; its height is BAND rows."""
BAND = 4
SUMS = 12
"""Sums kept for a block; see `block_sums`."""


@cache
def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """A function of arrays and numbers, compiled on the first call with each kind of argument."""
    import numba  # here, not above: loading it takes half a second, and most commands measure nothing

    made: Callable[..., Any] = numba.njit(nogil=True, cache=True, boundscheck=False)(function)
    return made


@cache
def kernels() -> dict[str, Callable[..., Any]]:
    """The compiled functions of this file by name; they may reorder sums."""
    import numba

    fast = numba.njit(nogil=True, cache=True, fastmath=True, boundscheck=False)
    return {f.__name__: fast(f) for f in (strip_sums, sad_only, block_sums, largest_8x8, thumb, band_levels)}


def strip_sums(cur: Array, prev: Array, width: int, half: Array, sad: Array, tex: Array) -> None:
    """Full-size pass over strips of 4 rows.

    cur, prev: (h, stride) codes. Fills half (h // 2, width // 2) int16; sad (h // 4, width // 4): sums of
    |cur - prev| over 4 x 4 pixels; tex: the same for the steps to the right and downward, on 2 rows of 4.
    """
    acc = np.empty(width, np.uint16)
    steps = np.empty(width, np.uint16)
    for strip in range(cur.shape[0] // 4):
        for x in range(width):
            acc[x] = 0
            steps[x] = 0
        for r in range(4):
            c = cur[4 * strip + r]
            p = prev[4 * strip + r]
            for x in range(width):
                a = c[x]
                b = p[x]
                acc[x] += np.uint16(max(a, b) - min(a, b))
        for r in range(0, 4, 2):
            c = cur[4 * strip + r]
            n = cur[4 * strip + r + 1]
            for x in range(width - 1):
                a = c[x]
                b = c[x + 1]
                e = n[x]
                steps[x] += np.uint16(max(a, b) - min(a, b)) + np.uint16(max(a, e) - min(a, e))
            h = half[2 * strip + r // 2]
            for x in range(width // 2):
                h[x] = np.int16(
                    np.int32(c[2 * x]) + np.int32(c[2 * x + 1]) + np.int32(n[2 * x]) + np.int32(n[2 * x + 1])
                )
        d = sad[strip]
        t = tex[strip]
        for j in range(width // 4):
            d[j] = np.int32(acc[4 * j]) + np.int32(acc[4 * j + 1]) + np.int32(acc[4 * j + 2]) + np.int32(acc[4 * j + 3])
        for j in range(width // 4):
            t[j] = (
                np.int32(steps[4 * j])
                + np.int32(steps[4 * j + 1])
                + np.int32(steps[4 * j + 2])
                + np.int32(steps[4 * j + 3])
            )


def sad_only(cur: Array, other: Array, width: int, sad: Array) -> None:
    """sad of `strip_sums`, against any other picture."""
    acc = np.empty(width, np.uint16)
    for strip in range(cur.shape[0] // 4):
        for x in range(width):
            acc[x] = 0
        for r in range(4):
            c = cur[4 * strip + r]
            p = other[4 * strip + r]
            for x in range(width):
                a = c[x]
                b = p[x]
                acc[x] += np.uint16(max(a, b) - min(a, b))
        d = sad[strip]
        for j in range(width // 4):
            d[j] = np.int32(acc[4 * j]) + np.int32(acc[4 * j + 1]) + np.int32(acc[4 * j + 2]) + np.int32(acc[4 * j + 3])


def block_sums(half: Array, before: Array, dif: Array, dif_before: Array, out: Array) -> None:
    """Sums over blocks of 16 x 16 half-size pixels.

    Fills dif = half - before, and out (SUMS, rows, columns) float32: |d|, d^2, d * d before; and on every second
    row, where gx, gy are the earlier picture's central differences: gx^2, gx gy, gy^2, gx d, gy d, gx, gy, d, d^2.
    """
    high = half.shape[0]
    rows = high // 16
    columns = half.shape[1] // 16
    n = columns * 16
    acc = np.zeros((12, n), np.float32)
    for row in range(rows):
        acc[:] = 0
        for r in range(16):
            y = row * 16 + r
            c = half[y]
            p = before[y]
            now = dif[y]
            last = dif_before[y]
            for x in range(n):
                now[x] = c[x] - p[x]
            for x in range(n):
                d = np.float32(now[x])
                acc[0, x] += abs(d)
                acc[1, x] += d * d
                acc[2, x] += d * np.float32(last[x])
            if r % 2 == 0:
                above = before[max(y - 1, 0)]
                below = before[min(y + 1, high - 1)]
                for x in range(1, n - 1):
                    d = np.float32(now[x])
                    gx = np.float32(p[x + 1] - p[x - 1])
                    gy = np.float32(below[x] - above[x])
                    acc[3, x] += gx * gx
                    acc[4, x] += gx * gy
                    acc[5, x] += gy * gy
                    acc[6, x] += gx * d
                    acc[7, x] += gy * d
                    acc[8, x] += gx
                    acc[9, x] += gy
                    acc[10, x] += d
                    acc[11, x] += d * d
        for k in range(12):
            a = acc[k]
            for column in range(columns):
                total: Any = np.float32(0)
                for i in range(16):
                    total += a[column * 16 + i]
                out[k, row, column] = total


def largest_8x8(sad: Array, low: float) -> tuple[float, float]:
    """The largest sum over 8 x 8 pixels at steps of 4, and the share of such sums above `low`. sad: 4 x 4 sums."""
    top: Any = np.int32(0)
    above: Any = np.int32(0)
    for r in range(sad.shape[0] - 1):
        upper = sad[r]
        lower = sad[r + 1]
        for x in range(sad.shape[1] - 1):
            total: Any = np.int32(upper[x]) + np.int32(upper[x + 1]) + np.int32(lower[x]) + np.int32(lower[x + 1])
            top = max(top, total)
            above += np.int32(total > low)
    return float(top), above / max((sad.shape[0] - 1) * (sad.shape[1] - 1), 1)


def thumb(half: Array, rows: Array, columns: Array, out: Array) -> tuple[float, float]:
    """Means of half-size luma over a grid. rows, columns: its edges. Fills out; returns mean and mean square."""
    total: Any = 0.0
    squares: Any = 0.0
    width = columns[-1]
    acc = np.empty(width, np.int32)
    for i in range(rows.size - 1):
        for x in range(width):
            acc[x] = 0
        for y in range(rows[i], rows[i + 1]):
            line = half[y]
            square: Any = np.int64(0)
            for x in range(width):
                v = np.int32(line[x])
                acc[x] += v
                square += np.int64(v * v)
            squares += square
        for j in range(columns.size - 1):
            part: Any = np.int32(0)
            for x in range(columns[j], columns[j + 1]):
                part += acc[x]
            out[i, j] = part / ((rows[i + 1] - rows[i]) * (columns[j + 1] - columns[j]))
            total += part
    n = (rows[-1] - rows[0]) * (columns[-1] - columns[0])
    return total / n, squares / n


def band_levels(
    sad: Array, tex: Array, left_out: Array, memory: Array, group: int, code: float, level: Array, seen: Array
) -> None:
    """How far each band of rows changed, against how far it lately changed when it did.

    sad, tex: sums of `strip_sums`; group: strips to a band; code: codes to one 8-bit code. memory: (bands, cells)
    lately largest change for the texture there, updated. Fills level (bands,): 1 unchanged .. 255 changed, 0 nothing
    to tell by; seen: share of the cells that tell, 255 = all.
    """
    bands, cells = memory.shape
    per_cell = sad.shape[1] // cells
    for band in range(bands):
        total: Any = 0.0
        weights: Any = 0.0
        telling = 0
        for cell in range(cells):
            if left_out[band * group, cell]:
                continue
            change: Any = np.int32(0)
            steps: Any = np.int32(0)
            for strip in range(band * group, (band + 1) * group):
                d = sad[strip]
                t = tex[strip]
                for x in range(cell * per_cell, (cell + 1) * per_cell):
                    change += np.int32(d[x])
                    steps += np.int32(t[x])
            area = 16.0 * per_cell * group * code
            m = change / area
            g = steps / area  # two steps a pixel, on half of the pixels
            q = m / (g + 1.0)
            lately = memory[band, cell]
            memory[band, cell] = max(lately * 0.93, q)
            if g < 1.5 or max(lately, q) < 0.06:
                continue  # flat, or nothing has moved here: what does not change proves nothing
            weight = min(g, 8.0)
            total += weight * min(1.0, q / max(lately, q))
            weights += weight
            telling += 1
        if telling:
            level[band] = 1 + round(254.0 * total / weights)
            seen[band] = max(1, round(255.0 * telling / cells))
        else:
            level[band] = 0
            seen[band] = 0
