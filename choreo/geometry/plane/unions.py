"""Unions of many areas whose edges all but coincide, as those of neighbouring parts on a screen do."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Geometries = NDArray[np.object_]

_SLACK = 1e-9
"""Share of an area that rounding may add or take."""


def union_rows(table: Geometries) -> Geometries:
    """Return the union of each row of a (rows, k) array of valid Polygons or MultiPolygons."""
    rows, k = table.shape
    if k == 1:
        return table[:, 0]
    if k > 2:
        return union_groups(table.ravel(), np.repeat(np.arange(rows), k), rows)
    joined = np.asarray(shapely.union(table[:, 0], table[:, 1]), dtype=np.object_)
    wrong = ~_plausible(joined, table.ravel(), np.repeat(np.arange(rows), k))
    if wrong.any():
        joined[wrong] = union_groups(table[wrong].ravel(), np.repeat(np.arange(wrong.sum()), k), int(wrong.sum()))
    return joined


def union_groups(areas: Geometries, group: Ints, count: int) -> Geometries:
    """Return the union of the valid Polygons or MultiPolygons of each group.

    Notes
    -----
    Where edges all but coincide, which is common here, the union of many polygons now and then loses one of
    them or fills a hole, without a sign of it. Counting how often rings wind around a point goes wrong more
    seldom, and then shows it.

    """
    polygons, of = shapely.get_parts(areas, return_index=True)
    joined = wound(polygons, group[of], count)
    for row in np.flatnonzero(~_plausible(joined, areas, group)):
        joined[row] = shapely.union_all(areas[group == row])
    return joined


def only_areas(geometry: BaseGeometry) -> BaseGeometry:
    """Return the polygons of any geometry as Polygon or MultiPolygon; lines and points go."""
    if geometry.geom_type in {"Polygon", "MultiPolygon"}:
        return geometry
    parts = shapely.get_parts(shapely.get_parts(geometry))
    polygons = [part for part in parts if part.geom_type == "Polygon"]
    return polygons[0] if len(polygons) == 1 else shapely.MultiPolygon(polygons)


def mended(area: BaseGeometry) -> BaseGeometry:
    """Return an area whose rings touch or cross where rounding has put them, as outlines less holes."""
    # The other method takes what an odd number of rings encloses, and so fills a hole that pokes out.
    with np.errstate(invalid="ignore"):  # where a polygon has all but collapsed, it divides by nothing on the way
        return only_areas(shapely.make_valid(area, method="structure", keep_collapsed=False))


def _plausible(joined: Geometries, areas: Geometries, group: Ints) -> Bools:
    """Whether unions are valid, and neither smaller than their largest part nor larger than their sum."""
    size, total = shapely.area(areas), shapely.area(joined)
    largest = np.zeros(len(joined))
    np.maximum.at(largest, group, size)
    most = np.bincount(group, size, minlength=len(joined))
    inside = (total >= largest * (1 - _SLACK)) & (total <= most * (1 + _SLACK))
    return np.asarray(inside & shapely.is_valid(joined))


def wound(polygons: Geometries, group: Ints, count: int) -> Geometries:
    """Where the rings of each group of polygons wind around a point, by a buffer of no width."""
    order = np.argsort(group, kind="stable")
    together = np.full(count, shapely.Polygon(), dtype=np.object_)
    shapely.multipolygons(polygons[order], indices=group[order], out=together)
    return np.asarray(shapely.buffer(together, 0.0), dtype=np.object_)
