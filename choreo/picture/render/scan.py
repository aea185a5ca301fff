"""Areas of pixels to the right of edges, summed along rows: the loops of `coverage`, compiled.

Rings come as corners (n, 2), px, each ring closed; the first corner of each (k + 1,), the last number being n; and a
sign (k,) by which its edges count, so that what is inside of a shape is to the right of an edge that goes down.
Sums are (height, width + 1) and start at 0; the last column takes what lies to the right of the window.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Floats
from choreo.picture.render.compiled import compiled

Ints = NDArray[np.int64]
Singles = NDArray[np.float32]


@compiled
def signs(xy: Floats, start: Ints, outer: NDArray[np.bool_]) -> Floats:
    """Return the sign of each ring: outer ones count as they run about their area, holes against it."""
    out = np.empty(len(outer))
    for ring in range(len(outer)):
        x0, y0 = xy[start[ring], 0], xy[start[ring], 1]
        twice = 0.0
        for k in range(start[ring], start[ring + 1] - 1):
            twice += (xy[k, 0] - x0) * (xy[k + 1, 1] - y0) - (xy[k + 1, 0] - x0) * (xy[k, 1] - y0)
        out[ring] = 1.0 if (twice > 0) == outer[ring] else -1.0
    return out


@compiled
def _add_edge(sums: Floats, x0: float, y0: float, x1: float, y1: float, weight: float) -> None:
    height, width = sums.shape[0], sums.shape[1] - 1
    top, bottom = max(min(y0, y1), 0.0), min(max(y0, y1), float(height))
    if not bottom > top:
        return
    slope = (x1 - x0) / (y1 - y0)
    least, most = min(x0, x1), max(x0, x1)
    weight = -weight if y1 > y0 else weight
    for row in range(math.floor(top), math.ceil(bottom)):
        upper, lower = max(float(row), top), min(row + 1.0, bottom)
        # Interpolation may overshoot an end by a rounding; the edge itself does not.
        one = min(max(x0 + (upper - y0) * slope, least), most)
        two = min(max(x0 + (lower - y0) * slope, least), most)
        low, high = min(one, two), max(one, two)
        rise = (lower - upper) * weight
        if high <= 0.0:
            sums[row, 0] += rise
        elif low >= width:
            sums[row, width] += rise
        else:
            first = int(min(max(math.floor(low), -1.0), float(width)))
            last = max(int(min(max(math.ceil(high) - 1, -1.0), float(width))), first)
            span = high - low
            # The outermost columns stand for all that lies beyond the window.
            for column in range(first, last + 1):
                start = low if column == first else float(column)
                end = high if column == last else column + 1.0
                part = rise * ((end - start) / span) if span > 0.0 else rise
                if column < 0:
                    sums[row, 0] += part
                elif column >= width:
                    sums[row, width] += part
                else:
                    right = (start + end) / 2 - column
                    sums[row, column] += part * (1.0 - right)
                    sums[row, column + 1] += part * right


@compiled
def add_rings(sums: Floats, xy: Floats, start: Ints, sign: Floats, left: int, top: int) -> None:
    """Add to the sums of a window, whose corner is at (left, top), what the edges of rings add to them."""
    for ring in range(len(sign)):
        for k in range(start[ring], start[ring + 1] - 1):
            _add_edge(sums, xy[k, 0] - left, xy[k, 1] - top, xy[k + 1, 0] - left, xy[k + 1, 1] - top, sign[ring])


@compiled
def add_quads(near: Floats, lit: Floats, quads: Floats, tones: Floats, left: int, top: int) -> None:
    """Add quadrilaterals (n, 4, 2), either way round, to sums, and weighted by a tone each to other sums."""
    for k in range(len(quads)):
        twice = 0.0
        for i in range(4):
            j = (i + 1) % 4
            twice += (quads[k, i, 0] - left) * (quads[k, j, 1] - top)
            twice -= (quads[k, j, 0] - left) * (quads[k, i, 1] - top)
        sign = 1.0 if twice >= 0 else -1.0
        for i in range(4):
            j = (i + 1) % 4
            x0, y0, x1, y1 = quads[k, i, 0] - left, quads[k, i, 1] - top, quads[k, j, 0] - left, quads[k, j, 1] - top
            _add_edge(near, x0, y0, x1, y1, sign)
            _add_edge(lit, x0, y0, x1, y1, sign * tones[k])


@compiled
def areas(sums: Floats) -> Floats:
    """Return running sums along rows (height, width), within 0 and 1."""
    height, width = sums.shape[0], sums.shape[1] - 1
    out = np.empty((height, width))
    for row in range(height):
        total = 0.0
        for column in range(width):
            total += sums[row, column]
            out[row, column] = min(max(total, 0.0), 1.0)
    return out


@compiled
def sloping(covered: Floats, least: float) -> tuple[Ints, Floats]:
    """Return the pixels in which coverage (height, width) grows by more than `least` a px, ascending; how (n, 2)."""
    height, width = covered.shape
    found, slopes, count = np.empty(height * width, dtype=np.int64), np.empty((height * width, 2)), 0
    for row in range(height):
        above, below = max(row - 1, 0), min(row + 1, height - 1)
        for column in range(width):
            before, after = max(column - 1, 0), min(column + 1, width - 1)
            across = (covered[row, after] - covered[row, before]) / 2
            down = (covered[below, column] - covered[above, column]) / 2
            if across * across + down * down > least * least:
                found[count], slopes[count, 0], slopes[count, 1] = row * width + column, across, down
                count += 1
    return found[:count].copy(), slopes[:count].copy()


@compiled
def run_along(
    one: Ints, slopes_one: Floats, two: Ints, slopes_two: Floats, sine: float, apart: tuple[float, float], least: float
) -> bool:
    """Return whether two outlines run together.

    They do in a pixel of both ascending lists where slopes are parallel, up to the sine of an angle, and where they
    part by less than `least` along the slope, when they move against each other by `apart`.
    """
    i, j = 0, 0
    while i < len(one) and j < len(two):
        if one[i] < two[j]:
            i += 1
        elif one[i] > two[j]:
            j += 1
        else:
            a, b, c, d = slopes_one[i, 0], slopes_one[i, 1], slopes_two[j, 0], slopes_two[j, 1]
            length = math.sqrt(a * a + b * b)
            parallel = abs(a * d - b * c) <= sine * length * math.sqrt(c * c + d * d)
            if parallel and abs(a * apart[0] + b * apart[1]) < least * length:
                return True
            i += 1
            j += 1
    return False
