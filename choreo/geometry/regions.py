"""Areas on the screen, many at a time: less, in common, and what of them is more than rounding.

Most pairs of areas are apart, or one holds the other. Saying so costs a tenth of cutting them.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from choreo.geometry.unions import union_rows

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Shapes = NDArray[np.object_]

NOTHING = shapely.Polygon()

LEAST_AREA_PX2 = 0.01
"""A polygon with less area than this is a leftover of rounding: a hundredth of a pixel."""
LEAST_WIDTH_PX = 0.02
"""A polygon thinner than this (twice its area over its perimeter) is one too: it moves no 8-bit edge by more
than five of its 255 steps."""


def minus(shapes: Shapes, others: Shapes) -> Shapes:
    """Return each shape less the other of its row."""
    out = shapes.copy()
    rows = np.flatnonzero(shapely.intersects(shapes, others))
    gone = shapely.covered_by(shapes[rows], others[rows])
    out[rows[gone]] = NOTHING
    rows = rows[~gone]
    out[rows] = _sound(shapely.difference(shapes[rows], others[rows]))
    return out


def common(shapes: Shapes, others: Shapes) -> Shapes:
    """Return what each shape has in common with the other of its row."""
    out = np.full(len(shapes), NOTHING, dtype=np.object_)
    rows = np.flatnonzero(shapely.intersects(shapes, others))
    whole = shapely.covered_by(shapes[rows], others[rows])
    out[rows[whole]] = shapes[rows[whole]]
    rows = rows[~whole]
    out[rows] = _sound(shapely.intersection(shapes[rows], others[rows]))
    return out


def joined(layers: list[Shapes]) -> Shapes:
    """Return the union of each row over the layers, of which there is at least one; None counts as nothing."""
    return joined_rows(np.stack(layers, axis=1))


def joined_rows(table: Shapes) -> Shapes:
    """Return the union of each row of a (rows, k) array; None counts as nothing.

    Notes
    -----
    Where edges all but coincide, a union can lose one of its areas without a sign of it. So every polygon that
    went in is asked whether a point of it came out; where not, the union is made again on a grid, which is
    slow and sure.

    """
    table = np.where(shapely.is_missing(table), NOTHING, table)
    if table.shape[1] == 1:
        return np.asarray(table[:, 0])
    out = np.asarray(union_rows(table))
    polygons, place = polygons_of(table.ravel())
    row = place // table.shape[1]
    lost = ~shapely.intersects(out[row], shapely.point_on_surface(polygons))
    wrong = np.unique(row[lost])
    if wrong.size:
        out[wrong] = _sound(shapely.union_all(table[wrong], axis=1, grid_size=_GRID_PX))
    return out


_GRID_PX = 2.0**-20
"""Fine enough to move no pixel, coarse enough for lines that ought to meet to meet."""


def _sound(shapes: Shapes) -> Shapes:
    """Polygons only, and none that is a leftover of rounding: further cuts along one may lose whole areas."""
    single = shapely.get_type_id(shapes) == shapely.GeometryType.POLYGON
    shapes[single & ~polygons_that_matter(shapes)] = NOTHING
    several = np.flatnonzero(~single)
    parts, owner = polygons_of(shapes[several])
    kept = polygons_that_matter(parts)
    shapes[several] = NOTHING
    filled, owner = np.unique(owner[kept], return_inverse=True)
    if filled.size:
        shapes[several[filled]] = shapely.multipolygons(parts[kept], indices=owner)
    return shapes


def polygons_of(shapes: Shapes) -> tuple[Shapes, Ints]:
    """Return all polygons of shapes of any kind, and the row of each."""
    parts, row = shapely.get_parts(shapes, return_index=True)
    # A collection may hold polygons in one of its parts.
    inner, part = shapely.get_parts(parts, return_index=True)
    flat = shapely.get_type_id(inner) == shapely.GeometryType.POLYGON
    return inner[flat], row[part[flat]]


def matters(shapes: Shapes) -> Bools:
    """Return which shapes hold a polygon of at least `LEAST_AREA_PX2` and `LEAST_WIDTH_PX`."""
    out = np.asarray(shapely.area(shapes) >= LEAST_AREA_PX2)
    rows = np.flatnonzero(out)
    parts, owner = polygons_of(shapes[rows])
    out[rows] = np.bincount(owner[polygons_that_matter(parts)], minlength=len(rows)) > 0
    return out


def polygons_that_matter(polygons: Shapes) -> Bools:
    """Return which polygons are of at least `LEAST_AREA_PX2` and `LEAST_WIDTH_PX`."""
    area = shapely.area(polygons)
    return np.asarray((area >= LEAST_AREA_PX2) & (2 * area >= LEAST_WIDTH_PX * shapely.length(polygons)))
