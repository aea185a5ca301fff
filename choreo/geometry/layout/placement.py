"""Places on the screen that keep clear of what is there already.

Outlines are taken by their convex hulls: parts at rest should not sit in each other's notches, and hulls keep
the mathematics exact. The hull of a mover, displaced by d, comes nearer than a gap to a fixed hull exactly if d
lies in the Minkowski sum of the fixed hull, the mirrored mover and a disk; the nearest free place is the nearest
boundary point of the union of those sums.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.layout.clearing import padded
from choreo.geometry.plane.convex import convex_sum, convex_sums
from choreo.geometry.plane.unions import Geometries
from choreo.model.plan import Floats

_DISK_SEGMENTS = 12
"""Segments a quarter of the disk; the disk is drawn around, not into, so the gap is never short."""
_DISK = np.stack([f(np.arange(4 * _DISK_SEGMENTS) * np.pi / (2 * _DISK_SEGMENTS)) for f in (np.cos, np.sin)], axis=1)


def hulls_through(points: Floats, matrices: Floats) -> Geometries:
    """Return the convex hulls of points in front of every camera.

    Parameters
    ----------
    points : (..., k, 3) array
        mm.
    matrices : (c, 3, 4) array
        Of the cameras.

    Returns
    -------
    (..., c) array of hulls
        px.

    """
    image = np.einsum("cij,...kj->...cki", matrices[:, :, :3], points) + matrices[:, None, :, 3]
    return np.asarray(shapely.convex_hull(shapely.linestrings(image[..., :2] / image[..., 2:])), dtype=np.object_)


def corners(hull: BaseGeometry) -> Floats:
    """Return the (k, 2) corners of a hull."""
    xy: Floats = shapely.get_coordinates(hull)
    return xy[:-1] if len(xy) > 1 else xy


def keep_outs(fixed: Geometries, mover: BaseGeometry, gap: float) -> Floats:
    """Return the displacements of `mover` at which it comes nearer than `gap` to each fixed hull: rings (n, v, 2).

    All hulls and rings are convex. The disk is a polygon around it: where corners face each other up to 0.22 % more
    than the gap is kept.
    """
    own = -corners(mover)
    own = convex_sum(own, gap / np.cos(np.pi / len(_DISK)) * _DISK if gap > 0 else np.zeros((1, 2)))
    rings = padded(fixed)
    after = np.roll(rings, -1, axis=1)
    clockwise = (rings[..., 0] * after[..., 1] - rings[..., 1] * after[..., 0]).sum(axis=1) < 0
    rings[clockwise] = rings[clockwise, ::-1]
    return np.asarray(convex_sums(rings, own[None])[:, 0])


def nearest_free(
    forbidden: Sequence[BaseGeometry], wish: Floats, metric: Floats, allowed: BaseGeometry | None = None
) -> Floats | None:
    """Return the displacement outside all `forbidden` (and inside `allowed`) nearest to a wish.

    Parameters
    ----------
    forbidden : sequence of polygons
        Open sets of displacements, px.
    wish : (2,) array
        px.
    metric : (2,) array
        Lengths are measured after dividing x and y by these, e.g. the frame's width and height, so that
        places spread in the frame's shape.
    allowed : polygon, optional
        Closed set that the displacement must lie in.

    Returns
    -------
    (2,) array or None
        None where `allowed` is covered. The exact optimum for these polygons.

    """
    union = shapely.union_all(list(forbidden))
    point = shapely.Point(wish / metric)
    scaled = shapely.transform(union, lambda xy: xy / metric)
    if allowed is None:
        if not shapely.intersects(scaled, point):
            return wish
        target = scaled.boundary
    else:
        room = shapely.difference(shapely.transform(allowed, lambda xy: xy / metric), scaled)
        if room.is_empty:
            return None
        if shapely.intersects(room, point):
            return wish
        target = room
    line = shapely.shortest_line(target, point)
    return np.asarray(shapely.get_coordinates(line)[0] * metric)
