"""The exact area that a polygon covers while it is displaced along a straight line."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.plane.prism import TIE, cross, rings_of, swept_area
from choreo.geometry.plane.unions import Geometries, union_groups
from choreo.model.plan import Floats


def sweep(polygons: Geometries | BaseGeometry, vectors: Floats) -> Geometries:
    """Return the union of each polygon over all displacements t * vector, 0 <= t <= 1.

    Exact but for the rounding of coordinates: nothing is sampled and nothing is snapped.

    Parameters
    ----------
    polygons : (n,) array of Polygon or MultiPolygon, or one of them
        Valid, holes welcome; one polygon is swept along each vector.
    vectors : (n, 2) array
        In the unit of the polygons.

    Returns
    -------
    (n,) array of Polygon or MultiPolygon
        Valid; empty where the polygon is.

    """
    vectors = np.asarray(vectors, dtype=np.float64).reshape(-1, 2)
    given = np.broadcast_to(np.asarray(polygons, dtype=np.object_), (len(vectors),))
    parts, row = shapely.get_parts(given, return_index=True)
    rings = rings_of(parts)
    along = vectors[row][rings.owner][rings.ring]
    facing = cross(along, rings.edges)
    sure = np.abs(facing) > TIE * np.hypot(*along.T) * np.hypot(*rings.edges.T)
    seen = np.zeros(len(parts), dtype=np.bool_)
    swept = swept_area(rings, rings.xy, rings.xy + along, np.where(sure, facing, 0.0), seen)
    return union_groups(swept, row, len(vectors))
