"""How much of each pixel a polygon covers: true areas, not samples.

Every edge is cut at the borders of pixels. What a piece adds to its own pixel is the area to its right, and all
pixels further right get its full height; one sum along each row gives the coverage (`scan` holds these loops). The
pixel is a square of one px by one px (a box filter), so a coverage is an area in px².
"""

from __future__ import annotations

import math
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

    def meets(self, other: Window) -> bool:
        """Return whether two windows share a pixel."""
        return (
            self.x < other.x + other.width
            and other.x < self.x + self.width
            and self.y < other.y + other.height
            and other.y < self.y + self.height
        )

    def common(self, other: Window) -> Window | None:
        """Return what two windows share, None if they share no pixel."""
        if not self.meets(other):
            return None
        x, y = max(self.x, other.x), max(self.y, other.y)
        right = min(self.x + self.width, other.x + other.width)
        bottom = min(self.y + self.height, other.y + other.height)
        return Window(x, y, right - x, bottom - y)


def window_around(bounds: Sequence[float] | Floats, frame: Window, margin: int = 0) -> Window | None:
    """Return the pixels that bounds (left, top, right, bottom) reach, inside of `frame`; None if there are none."""
    left, top, right, bottom = (float(value) for value in bounds)
    if not (left < right and top < bottom):
        return None
    # Far outside of the frame a number may not fit into an integer's place in an array; it is clipped anyway.
    x, y = math.floor(max(left, -1e6)) - margin, math.floor(max(top, -1e6)) - margin
    width, height = math.ceil(min(right, 1e6)) + margin - x, math.ceil(min(bottom, 1e6)) + margin - y
    return Window(x, y, width, height).common(frame)


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
    return covered(rings_of(shape), window)


def coverages(shapes: Sequence[BaseGeometry], window: Window) -> Floats:
    """Return the coverage of several shapes, (n, height, width); see `coverage`."""
    return np.stack([coverage(shape, window) for shape in shapes])


@dataclass(frozen=True, eq=False)
class Rings:
    """The outline of a shape as arrays; see `scan`."""

    xy: Floats
    start: Ints
    sign: Floats


def rings_of(shape: BaseGeometry) -> Rings:
    """Return the rings of a valid Polygon or MultiPolygon."""
    from choreo.picture.render import scan  # noqa: PLC0415

    if shape.geom_type == "Polygon" and not shape.interiors:
        xy = shapely.get_coordinates(shape)
        start = np.array([0, len(xy)] if len(xy) else [0], dtype=np.int64)
        return Rings(xy, start, scan.signs(xy, start, np.ones(len(start) - 1, dtype=np.bool_)))
    rings, polygon = shapely.get_rings(shapely.get_parts(shape), return_index=True)
    xy = shapely.get_coordinates(rings)
    start = np.zeros(len(rings) + 1, dtype=np.int64)
    np.cumsum(shapely.get_num_coordinates(rings), out=start[1:])
    outer = np.ones(len(rings), dtype=np.bool_)
    outer[1:] = polygon[1:] != polygon[:-1]  # a polygon's outer ring comes first
    return Rings(xy, start, scan.signs(xy, start, outer))


def covered(rings: Rings, window: Window) -> Floats:
    """Return the coverage of a shape; see `coverage`."""
    from choreo.picture.render import scan  # noqa: PLC0415

    return scan.areas(row_sums(rings, window))


def row_sums(rings: Rings, window: Window) -> Floats:
    """Return what the edges of a shape add to each pixel's sum along its row; see `scan`."""
    from choreo.picture.render import scan  # noqa: PLC0415

    sums = np.zeros((window.height, window.width + 1))
    scan.add_rings(sums, rings.xy, rings.start, rings.sign, window.x, window.y)
    return sums


def quad_sums(quads: Floats, tones: Floats, window: Window) -> tuple[Floats, Floats]:
    """Return the row sums (`scan`) of the coverage of quadrilaterals, and of the same weighted by a tone each.

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
    (height, width + 1) arrays
        Along rows they sum to more than 1 where quadrilaterals overlap.

    """
    from choreo.picture.render import scan  # noqa: PLC0415

    near, lit = np.zeros((2, window.height, window.width + 1))
    scan.add_quads(near, lit, np.ascontiguousarray(quads), np.ascontiguousarray(tones), window.x, window.y)
    return near, lit
