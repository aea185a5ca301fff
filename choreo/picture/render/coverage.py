"""How much of each pixel a polygon covers: true areas, not samples.

Every edge is cut at the borders of pixels. What a piece adds to its own pixel is the area to its right, and all
pixels further right get its full height; one sum along each row gives the coverage. The pixel is a square of
one px by one px (a box filter), so a coverage is an area in px².
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.model.plan import Floats

Ints = NDArray[np.int64]
Singles = NDArray[np.float32]

WHOLE = 1e-7
"""A pixel that is covered by all but this much counts as covered whole: rounding of sums of a row is below it."""


@dataclass(frozen=True)
class Window:
    """A rectangle of whole pixels: left and top edge, width and height."""

    x: int
    y: int
    width: int
    height: int

    @property
    def slices(self) -> tuple[slice, slice]:
        """Rows and columns of a picture whose corner is at (0, 0)."""
        return slice(self.y, self.y + self.height), slice(self.x, self.x + self.width)

    def within(self, outer: Window) -> tuple[slice, slice]:
        """Rows and columns of `outer`'s picture that are this window; it must lie inside."""
        return Window(self.x - outer.x, self.y - outer.y, self.width, self.height).slices

    def common(self, other: Window) -> Window | None:
        """Return what two windows share, None if they share no pixel."""
        x, y = max(self.x, other.x), max(self.y, other.y)
        right = min(self.x + self.width, other.x + other.width)
        bottom = min(self.y + self.height, other.y + other.height)
        return Window(x, y, right - x, bottom - y) if right > x and bottom > y else None


def window_around(bounds: Sequence[float] | Floats, frame: Window, margin: int = 0) -> Window | None:
    """Return the pixels that bounds (left, top, right, bottom) reach, inside of `frame`; None if there are none."""
    left, top, right, bottom = (float(value) for value in bounds)
    if not (left < right and top < bottom):
        return None
    # Far outside of the frame a number may not fit into an integer's place in an array; it is clipped anyway.
    low = np.floor(np.maximum([left, top], -1e6)).astype(int) - margin
    high = np.ceil(np.minimum([right, bottom], 1e6)).astype(int) + margin
    return Window(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1])).common(frame)


def coverage(shape: BaseGeometry, window: Window) -> Floats:
    """Return the share of each pixel that a shape covers.

    Exact but for rounding (1e-9 for coordinates below 1e5 px).

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        Valid, px; any part of it may lie outside of the window.
    window : Window
        Which pixels are asked for.

    Returns
    -------
    (height, width) array
        0 to 1.

    """
    return np.asarray(coverages([shape], window)[0])


def coverages(shapes: Sequence[BaseGeometry], window: Window) -> Floats:
    """Return the coverage of several shapes at once, (n, height, width); see `coverage`."""
    height, stride = window.height, window.width + 1
    place, weight, _ = _pieces(_edges(shapes, window), height, stride)
    total = np.bincount(place, weights=weight, minlength=len(shapes) * height * stride)
    summed = np.cumsum(total.reshape(len(shapes), height, stride), axis=2)[:, :, :-1]
    return np.asarray(np.clip(summed, 0.0, 1.0))


def quad_sums(quads: Floats, tones: Floats, window: Window) -> tuple[Floats, Floats]:
    """Return the summed coverage of quadrilaterals, and the same weighted by a tone each.

    Quadrilaterals that share an edge add up to the coverage of both without a seam.

    Parameters
    ----------
    quads : (n, 4, 2) array
        Corners in turn, px; either way round.
    tones : (n,) array
        What each one's coverage is multiplied by in the second sum.
    window : Window

    Returns
    -------
    (height, width) arrays
        Above 1 where quadrilaterals overlap.

    """
    x, y = quads[..., 0] - window.x, quads[..., 1] - window.y
    twice = (x * (np.roll(y, -1, axis=1) - np.roll(y, 1, axis=1))).sum(axis=1)
    quads = np.where((twice < 0)[:, None, None], quads[:, ::-1], quads) - (window.x, window.y)
    ends = np.concatenate([quads, np.roll(quads, -1, axis=1)], axis=2).reshape(-1, 4)
    edges = np.column_stack([ends, np.zeros(len(ends))])
    height, stride = window.height, window.width + 1
    place, weight, edge = _pieces(edges, height, stride)
    sums = [
        np.cumsum(np.bincount(place, weights=w, minlength=height * stride).reshape(height, stride), axis=1)[:, :-1]
        for w in (weight, weight * np.repeat(tones, 4)[edge])
    ]
    return np.asarray(sums[0]), np.asarray(sums[1])


@dataclass(frozen=True, eq=False)
class EdgePixels:
    """The pixels that a shape covers in part."""

    index: Ints
    """(n,) ascending, row * width + column within the window."""
    share: Floats
    """(n,) above 0 and below 1."""

    def at(self, index: Ints) -> Floats:
        """Return the shares at some pixels, NaN where the pixel is none of these."""
        out = np.full(len(index), np.nan)
        if len(self.index):
            spot = np.minimum(np.searchsorted(self.index, index), len(self.index) - 1)
            found = self.index[spot] == index
            out[found] = self.share[spot[found]]
        return out


def edge_pixels(shapes: Sequence[BaseGeometry], window: Window) -> list[EdgePixels]:
    """Return for each shape the pixels that it covers in part; costs as much as its outline is long."""
    height, stride = window.height, window.width + 1
    place, weight, _ = _pieces(_edges(shapes, window), height, stride)
    order = np.argsort(place, kind="stable")
    place, weight = place[order], weight[order]
    first = np.flatnonzero(np.diff(place, prepend=-1))
    if not len(first):
        return [EdgePixels(np.zeros(0, dtype=np.int64), np.zeros(0)) for _ in shapes]
    # Each row ends at 0, for what lies right of the window is kept in its last column: one sum does for all rows.
    share = np.cumsum(np.add.reduceat(weight, first))
    place = place[first]
    kept = np.flatnonzero((share > WHOLE) & (share < 1 - WHOLE) & (place % stride < window.width))
    # Under a level edge a share holds over all pixels up to the next one at which something changes.
    run = np.diff(place, append=place[-1] + 1)[kept]
    place = np.repeat(place[kept] - (np.cumsum(run) - run), run) + np.arange(run.sum())
    share = np.repeat(share[kept], run)
    row, column = np.divmod(place, stride)
    shape, row = np.divmod(row, height)
    index = row * window.width + column
    cuts = np.searchsorted(shape, np.arange(1, len(shapes)))
    return [EdgePixels(*pair) for pair in zip(np.split(index, cuts), np.split(share, cuts), strict=True)]


def _edges(shapes: Sequence[BaseGeometry], window: Window) -> Floats:
    """(n, 5): both ends of each edge in the window's own px, and the number of its shape."""
    polygons, owner = shapely.get_parts(np.asarray(shapes, dtype=np.object_), return_index=True)
    polygons = shapely.orient_polygons(polygons, exterior_cw=False)
    rings, polygon = shapely.get_rings(polygons, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    inside = ring[1:] == ring[:-1]
    origin = (window.x, window.y)
    edges = np.column_stack([xy[:-1] - origin, xy[1:] - origin, owner[polygon[ring[:-1]]]]) if len(xy) else None
    return np.zeros((0, 5)) if edges is None else edges[inside]


def _pieces(edges: Floats, height: int, stride: int) -> tuple[Ints, Floats, Ints]:
    """Where pieces of edges add to the sums of rows, how much, and of which edge they are.

    The last column takes what lies to the right of the window.
    """
    edge, row, owner, low, high, rise = _by_rows(edges, height)
    width = stride - 1
    first = np.clip(np.floor(low), -1, width).astype(np.int64)
    last = np.maximum(np.clip(np.ceil(high) - 1, -1, width).astype(np.int64), first)
    count = last - first + 1
    source = np.repeat(np.arange(len(count)), count)
    column = first[source] + np.arange(len(source)) - np.repeat(np.cumsum(count) - count, count)
    # The outermost columns stand for all that lies beyond the window.
    start = np.where(column == first[source], low[source], column)
    end = np.where(column == last[source], high[source], column + 1)
    span = high - low
    share = np.where(span[source] > 0, (end - start) / np.where(span > 0, span, 1.0)[source], 1.0)
    height_of = rise[source] * share
    right = (start + end) / 2 - column
    right[column == -1] = 1.0
    right[column == width] = 0.0
    base = (owner * height + row)[source] * stride + column
    # A shape's outline runs so that its right-hand side counts where it goes down the screen: hence the minus.
    place = np.concatenate([np.maximum(base, 0), np.where(column == width, base, base + 1)])
    weight = np.concatenate([np.where(column == -1, 0.0, -height_of * (1 - right)), -height_of * right])
    return place, weight, np.tile(edge[source], 2)


def _by_rows(edges: Floats, height: int) -> tuple[Ints, Ints, Ints, Floats, Floats, Floats]:
    """Edges cut at the borders of rows: edge, row, shape, least and greatest x, and height (down is positive)."""
    x0, y0, x1, y1, owner = edges.T
    top, bottom = np.clip(np.minimum(y0, y1), 0, height), np.clip(np.maximum(y0, y1), 0, height)
    used = bottom > top
    x0, y0, x1, y1, owner, top, bottom = (values[used] for values in (x0, y0, x1, y1, owner, top, bottom))
    first = np.floor(top).astype(np.int64)
    count = np.ceil(bottom).astype(np.int64) - first
    source = np.repeat(np.arange(len(count)), count)
    row = first[source] + np.arange(len(source)) - np.repeat(np.cumsum(count) - count, count)
    upper, lower = np.maximum(row, top[source]), np.minimum(row + 1, bottom[source])
    slope = (x1 - x0) / (y1 - y0)
    ends = [x0[source] + (y - y0[source]) * slope[source] for y in (upper, lower)]
    # Interpolation may overshoot an end by a rounding; the edge itself does not.
    least, most = np.minimum(x0, x1)[source], np.maximum(x0, x1)[source]
    ends = [np.clip(x, least, most) for x in ends]
    rise = np.where(y1[source] > y0[source], lower - upper, upper - lower)
    return np.flatnonzero(used)[source], row, owner[source].astype(np.int64), np.minimum(*ends), np.maximum(*ends), rise
