"""Who hides whom, and light that is added up, pixel by pixel: the loops of `shares` and `canvas`, compiled.

Arrays are whole ones, and a window of them is told by its top row and left column: so every loop is compiled once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Floats
from choreo.picture.render.compiled import compiled

Ints = NDArray[np.int64]
Singles = NDArray[np.float32]

_ONE = np.float32(1)
_NONE = np.float32(0)
_ROUNDING = np.float32(1e-6)


@compiled
def hide(alpha: Singles, below: Singles, top: int, left: int, share: Singles) -> tuple[bool, bool]:
    """Fill the share that is left of an alpha where some of a pixel is taken; return whether any is, and any left."""
    height, width = alpha.shape
    taken, seen = 0, 0
    for y in range(height):
        own, before, out = alpha[y], below[top + y, left : left + width], share[y]
        for x in range(width):
            some = own[x] * (_ONE - before[x])
            out[x] = some
            taken += before[x] > _NONE
            seen += some > _ROUNDING
    return taken > 0, seen > 0


@compiled
def undecided(
    index: Ints, stride: int, mine: Singles, at: tuple[int, int], its: Singles, its_at: tuple[int, int]
) -> Ints:
    """Return those of some pixels in which it counts how two alphas overlap: see `mend` for what is given.

    Where one of them is nothing, or the other one is whole, they have the lesser of both in common in any case.
    """
    out, count = np.empty(len(index), dtype=np.int64), 0
    for n in range(len(index)):
        row, column = index[n] // stride, index[n] % stride
        y, x, v, u = row - at[0], column - at[1], row - its_at[0], column - its_at[1]
        if min(y, x, v, u) < 0 or y >= mine.shape[0] or x >= mine.shape[1] or v >= its.shape[0] or u >= its.shape[1]:
            continue
        if mine[y, x] > _NONE and _NONE < its[v, u] < _ONE - _ROUNDING:
            out[count] = index[n]
            count += 1
    return out[:count].copy()


@compiled
def mend(
    index: Ints,
    stride: int,
    areas: Floats,
    whole: float,
    mine: Singles,
    share: Singles,
    at: tuple[int, int],
    its: Singles,
    its_at: tuple[int, int],
) -> None:
    """Put right what is left of an alpha less another, in pixels that the outlines of both cover in part.

    Parameters
    ----------
    index : (n,) array
        Pixels, row * stride + column; all in all pictures.
    stride : int
    areas : (3, n) array
        Of the one shape in them, of the other, and of what they have in common.
    whole : float
        A pixel that is covered by all but this much is covered whole.
    mine, share : arrays, their corner at (row, column)
        The one alpha; what is put right.
    its : array, its corner at (row, column)
        The other one.

    """
    # Two alphas overlap as the two areas do that are known: as far along between the least that they can have in
    # common (side by side) and the most (one in the other).
    for n in range(len(index)):
        a, b, common = areas[0, n], areas[1, n], areas[2, n]
        row, column = index[n] // stride, index[n] % stride
        y, x, v, u = row - at[0], column - at[1], row - its_at[0], column - its_at[1]
        if not (whole < a < 1 - whole and whole < b < 1 - whole):
            continue
        least, most = max(a + b - 1, 0.0), min(a, b)
        along = min(max((common - least) / max(most - least, 1e-12), 0.0), 1.0)
        p, q = float(mine[y, x]), float(its[v, u])
        least, most = max(p + q - 1, 0.0), min(p, q)
        share[y, x] = max(p - least - along * (most - least), 0.0)


@compiled
def add_share(
    total: Singles,
    total_at: tuple[int, int],
    light: Singles,
    alpha: Singles,
    share: Singles,
    light_at: tuple[int, int],
    size: tuple[int, int],
    weight: float,
) -> None:
    """Add a picture with other alphas and the same colours, times a weight, in a window (height, width).

    Pictures are (rows, 4 columns); both alphas, the picture's own and the one that it gets, are (rows, columns).
    """
    # Rows as plain lists of numbers, and one division a pixel: so the compiler works on many of them at once.
    height, width = size
    factor = np.float32(weight)
    ratio = np.empty(width, dtype=np.float32)
    for y in range(height):
        out = total[total_at[0] + y, 4 * total_at[1] : 4 * (total_at[1] + width)]
        new = light[light_at[0] + y, 4 * light_at[1] : 4 * (light_at[1] + width)]
        own = alpha[light_at[0] + y, light_at[1] : light_at[1] + width]
        left = share[light_at[0] + y, light_at[1] : light_at[1] + width]
        for x in range(width):
            ratio[x] = left[x] * factor / (own[x] if own[x] > _NONE else _ONE)
        for x in range(width):
            part = ratio[x]
            out[4 * x] += new[4 * x] * part
            out[4 * x + 1] += new[4 * x + 1] * part
            out[4 * x + 2] += new[4 * x + 2] * part
            out[4 * x + 3] += new[4 * x + 3] * part


@compiled
def coded(
    picture: Singles,
    at: tuple[int, int],
    size: tuple[int, int],
    below: Floats,
    table: NDArray[np.uint8],
    out: NDArray[np.uint8],
) -> None:
    """Fill codes (rows, 3 columns) in a window (height, width) with a picture (rows, 4 columns) over a colour.

    The table holds the codes of 65536 steps of light; the nearest step counts.
    """
    top, half = np.float32(65535), np.float32(0.5)
    red, green, blue = np.float32(below[0]), np.float32(below[1]), np.float32(below[2])
    height, width = size
    steps = np.empty(3 * width, dtype=np.uint16)
    for y in range(height):
        light = picture[at[0] + y, 4 * at[1] : 4 * (at[1] + width)]
        for x in range(width):
            left = _ONE - light[4 * x + 3]
            r = (light[4 * x] + left * red) * top + half
            g = (light[4 * x + 1] + left * green) * top + half
            b = (light[4 * x + 2] + left * blue) * top + half
            steps[3 * x] = np.int32(min(max(r, _NONE), top))
            steps[3 * x + 1] = np.int32(min(max(g, _NONE), top))
            steps[3 * x + 2] = np.int32(min(max(b, _NONE), top))
        codes = out[at[0] + y, 3 * at[1] : 3 * (at[1] + width)]
        for k in range(3 * width):
            codes[k] = table[steps[k]]
