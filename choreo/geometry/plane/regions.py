"""Areas on the screen, many at a time: less, in common, and what of them is more than rounding.

Most pairs of areas are apart, or one holds the other. Saying so costs a tenth of cutting them.

Where edges all but coincide, as those of neighbouring parts do, floating point now and then makes an area too
many or loses one, without a sign of it. So a point of every polygon that went into a union, or of every one of
few corners that comes out of a cut (those made in error are of few), is asked where it lies; where the answer
is wrong the work is done again on a grid, which is slow and sure.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from choreo.geometry.plane.unions import union_rows
from choreo.model.plan import Floats

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
    if not rows.size:
        return out
    shapes, others = shapes[rows], _holes_near(others[rows], shapes[rows])
    gone = shapely.covered_by(shapes, others)
    out[rows[gone]] = NOTHING
    rows, shapes, others = rows[~gone], shapes[~gone], others[~gone]
    if not rows.size:
        return out
    left = _sound(shapely.difference(shapes, others))
    point, row = _points(left, _FEW)
    wrong = np.unique(row[shapely.intersects(others[row], point) | ~shapely.intersects(shapes[row], point)])
    if wrong.size:
        left[wrong] = _sound(shapely.difference(shapes[wrong], others[wrong], grid_size=_GRID_PX))
    out[rows] = left
    return out


def common(shapes: Shapes, others: Shapes) -> Shapes:
    """Return what each shape has in common with the other of its row."""
    out = np.full(len(shapes), NOTHING, dtype=np.object_)
    rows = np.flatnonzero(shapely.intersects(shapes, others))
    if not rows.size:
        return out
    shapes, others = shapes[rows], _holes_near(others[rows], shapes[rows])
    whole = shapely.covered_by(shapes, others)
    out[rows[whole]] = shapes[whole]
    rows, shapes, others = rows[~whole], shapes[~whole], others[~whole]
    if not rows.size:
        return out
    shapes = _holes_near(shapes, others)
    both = _sound(shapely.intersection(shapes, others))
    point, row = _points(both, _FEW)
    wrong = np.unique(row[~shapely.intersects(others[row], point) | ~shapely.intersects(shapes[row], point)])
    if wrong.size:
        both[wrong] = _sound(shapely.intersection(shapes[wrong], others[wrong], grid_size=_GRID_PX))
    out[rows] = both
    return out


def _holes_near(shapes: Shapes, others: Shapes) -> Shapes:
    """Return the shapes without holes beyond the box around the other of their row: as good there, and less to cut.

    A tray with a hundred pockets meets a screw in one of them; without this every cut would cost the whole tray.
    """
    rows = np.flatnonzero(shapely.get_num_interior_rings(shapes) >= _MANY_HOLES)
    if not rows.size:
        return shapes
    out = shapes.copy()
    out[rows] = _without_far_holes(shapes[rows], shapely.bounds(others[rows]))
    return out


def nearby(shapes: Shapes, others: Shapes, px: float) -> Shapes:
    """Return the shapes without polygons and holes that lie beyond the box around the other of their row.

    The box is `px` wider on every side; within it shapes are what they were. None stays None.
    """
    out = shapes.copy()
    full = np.flatnonzero(~shapely.is_missing(shapes))
    boxes = shapely.bounds(others[full]) + np.array([-px, -px, px, px])
    polygons, row = polygons_of(shapes[full])
    kept = _meet(shapely.bounds(polygons), boxes[row])
    polygons, row = _without_far_holes(polygons[kept], boxes[row[kept]]), row[kept]
    found = np.full(len(full), NOTHING, dtype=np.object_)
    filled, owner, count = np.unique(row, return_inverse=True, return_counts=True)
    if filled.size:
        found[filled] = shapely.multipolygons(polygons, indices=owner)
        alone = count[owner] == 1
        found[row[alone]] = polygons[alone]
    out[full] = found
    return out


def _without_far_holes(polygons: Shapes, boxes: Floats) -> Shapes:
    """Polygons without the holes that lie beyond the box of their row."""
    rings, owner = shapely.get_rings(polygons, return_index=True)
    kept = np.append(True, owner[1:] != owner[:-1]) if len(owner) else np.zeros(0, dtype=np.bool_)
    kept |= _meet(shapely.bounds(rings).reshape(-1, 4), boxes[owner])
    if kept.all():
        return polygons
    return np.asarray(shapely.polygons(rings[kept], indices=owner[kept]))


def _meet(one: Floats, other: Floats) -> Bools:
    """Whether boxes (n, 4) have a point in common."""
    return np.asarray(((one[:, :2] <= other[:, 2:]) & (one[:, 2:] >= other[:, :2])).all(axis=1))


_MANY_HOLES = 4


def joined(layers: list[Shapes]) -> Shapes:
    """Return the union of each row over the layers, of which there is at least one; None counts as nothing."""
    return joined_rows(np.stack(layers, axis=1))


def joined_rows(table: Shapes) -> Shapes:
    """Return the union of each row of a (rows, k) array; None counts as nothing."""
    table = np.where(shapely.is_missing(table), NOTHING, table)
    if table.shape[1] == 1:
        return np.asarray(table[:, 0])
    out = np.asarray(union_rows(table))
    point, place = _points(table.ravel())
    row = place // table.shape[1]
    wrong = np.unique(row[~shapely.intersects(out[row], point)])
    if wrong.size:
        out[wrong] = _sound(shapely.union_all(table[wrong], axis=1, grid_size=_GRID_PX))
    return out


def _points(shapes: Shapes, most_corners: int | None = None) -> tuple[Shapes, Ints]:
    """A point inside each polygon, if it has no more than so many corners, and the row of its shape."""
    polygons, row = polygons_of(shapes)
    if most_corners is not None:
        few = shapely.get_num_coordinates(polygons) <= most_corners
        polygons, row = polygons[few], row[few]
    return shapely.point_on_surface(polygons), row


_FEW = 24

_GRID_PX = 2.0**-20
"""Fine enough to move no pixel, coarse enough for lines that ought to meet to meet."""


def _sound(shapes: Shapes) -> Shapes:
    """Polygons only, and none that is a leftover of rounding: further cuts along one may lose whole areas."""
    single = shapely.get_type_id(shapes) == shapely.GeometryType.POLYGON
    shapes[single & ~polygons_that_matter(shapes)] = NOTHING
    several = np.flatnonzero(~single)
    if not several.size:
        return shapes
    parts, owner = polygons_of(shapes[several])
    kept = polygons_that_matter(parts)
    shapes[several] = NOTHING
    filled, owner = np.unique(owner[kept], return_inverse=True)
    if filled.size:
        shapes[several[filled]] = shapely.multipolygons(parts[kept], indices=owner)
    return shapes


def polygons_of(shapes: Shapes) -> tuple[Shapes, Ints]:
    """Return all polygons of shapes of any kind, empty ones aside, and the row of each."""
    if (shapely.get_type_id(shapes) == shapely.GeometryType.POLYGON).all():
        full = np.flatnonzero(~shapely.is_empty(shapes))
        return shapes[full], full
    parts, row = shapely.get_parts(shapes, return_index=True)
    # A collection may hold polygons in one of its parts.
    inner, part = shapely.get_parts(parts, return_index=True)
    flat = (shapely.get_type_id(inner) == shapely.GeometryType.POLYGON) & ~shapely.is_empty(inner)
    return inner[flat], row[part[flat]]


def matters(shapes: Shapes) -> Bools:
    """Return which shapes hold a polygon of at least `LEAST_AREA_PX2` and `LEAST_WIDTH_PX`."""
    out = np.asarray(shapely.area(shapes) >= LEAST_AREA_PX2)
    rows = np.flatnonzero(out)
    if not rows.size:
        return out
    parts, owner = polygons_of(shapes[rows])
    out[rows] = np.bincount(owner[polygons_that_matter(parts)], minlength=len(rows)) > 0
    return out


def polygons_that_matter(polygons: Shapes) -> Bools:
    """Return which polygons are of at least `LEAST_AREA_PX2` and `LEAST_WIDTH_PX`."""
    area = shapely.area(polygons)
    return np.asarray((area >= LEAST_AREA_PX2) & (2 * area >= LEAST_WIDTH_PX * shapely.length(polygons)))
