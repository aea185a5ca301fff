"""Rings that lie within rings: which are outlines, which are holes, and whose."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.model.plan import Floats


def filled(rings: Sequence[Floats], rule: str) -> list[BaseGeometry]:
    """Return what rings enclose by a fill rule of SVG.

    Parameters
    ----------
    rings : sequence of (n, 2) array
        Simple, none meeting another.
    rule : str
        ``"nonzero"``: inside is where rings wind around a point, senses added up, other than 0 times;
        ``"evenodd"``: where an odd number of rings is around it.

    Returns
    -------
    list of Polygon
        Exact; in the order of their outlines. A ring with the same on both sides is no edge and is left out.

    Notes
    -----
    SVG 2, section 13.4.2, "Winding rule". Where no rings meet, counting the rings around each ring decides.

    """
    polygons = np.array([shapely.Polygon(ring) for ring in rings], dtype=object)
    sense = np.ones(len(rings), dtype=np.int64)
    if rule == "nonzero":
        sense = np.where(shapely.is_ccw(shapely.get_exterior_ring(polygons)), 1, -1)
    outside = np.zeros(len(rings), dtype=np.int64)
    of, around = shapely.STRtree(polygons).query(_first_points(rings), predicate="within")
    np.add.at(outside, of, np.where(of == around, 0, sense[around]))
    inside = outside + sense
    if rule == "evenodd":
        outside, inside = outside % 2, inside % 2
    outer = [ring for ring, i, o in zip(rings, inside, outside, strict=True) if i and not o]
    inner = [ring for ring, i, o in zip(rings, inside, outside, strict=True) if o and not i]
    return nested(outer, inner)


def nested(outer: Sequence[Floats], inner: Sequence[Floats]) -> list[BaseGeometry]:
    """Return the outlines with their holes; a hole belongs to the smallest outline around it."""
    outlines = np.array([shapely.Polygon(ring) for ring in outer], dtype=object)
    holes: list[list[Floats]] = [[] for _ in outer]
    if inner:
        of, around = shapely.STRtree(outlines).query(_first_points(inner), predicate="within")
        size = shapely.area(outlines)
        for index, hole in enumerate(inner):
            candidates = around[of == index] if len(outer) > 1 else np.zeros(1, dtype=np.int64)
            holes[int(candidates[np.argmin(size[candidates])])].append(hole)
    return [shapely.Polygon(ring, own) for ring, own in zip(outer, holes, strict=True)]


def _first_points(rings: Sequence[Floats]) -> NDArray[np.object_]:
    return np.asarray(shapely.points(np.array([ring[0] for ring in rings])), dtype=object)
