"""Places on the screen that keep clear of what is there already.

Outlines are taken by their convex hulls: parts at rest should not sit in each other's notches, and hulls keep
the mathematics exact. The hull of a mover, displaced by d, comes nearer than a gap to a fixed hull exactly if d
lies in the Minkowski sum of the fixed hull, the mirrored mover and a disk; the nearest free place is the nearest
boundary point of the union of those sums.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.camera import Camera
from choreo.geometry.convex import convex_sum
from choreo.model.plan import Floats

_DISK_SEGMENTS = 12
"""Segments a quarter of the disk; the disk is drawn around, not into, so the gap is never short."""
_FINE_MM = 0.01
"""mm; how closely the edge of a clear stretch is found."""
_FINE = 1e-3
"""px; how closely the least travel on an axis is found."""


def hulls_on_screen(points: Floats, cameras: Sequence[Camera]) -> np.ndarray:
    """Return the convex hulls (one a camera, shapely) of (k, 3) points in front of every camera."""
    pixels = np.stack([camera.project(points)[0] for camera in cameras])
    return np.asarray(shapely.convex_hull(shapely.linestrings(pixels)))


def corners(hull: BaseGeometry) -> Floats:
    """Return the (k, 2) corners of a hull."""
    xy: Floats = shapely.get_coordinates(hull)
    return xy[:-1] if len(xy) > 1 else xy


def keep_out(fixed: BaseGeometry, mover: BaseGeometry, gap: float) -> BaseGeometry:
    """Return the displacements of `mover` at which it comes nearer than `gap` to `fixed` (both convex)."""
    hull = shapely.Polygon(convex_sum(corners(fixed), -corners(mover)))
    around = gap / np.cos(np.pi / (4 * _DISK_SEGMENTS))
    return shapely.buffer(hull, around, quad_segs=_DISK_SEGMENTS) if gap > 0 else hull


def corridor(hull: BaseGeometry, way: Floats) -> BaseGeometry:
    """Return the hull of what a convex outline sweeps along a polyline of displacements (k, 2)."""
    return shapely.convex_hull(shapely.linestrings((corners(hull)[None] + way[:, None]).reshape(-1, 2)))


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


def first_clear(
    start: float,
    hulls_at: Callable[[float], np.ndarray],
    fixed: np.ndarray,
    gap: float,
    jump: Callable[[float], float],
    farthest: float,
) -> float | None:
    """Return the first way along an axis, from `start` on, at which a mover is clear of all fixed hulls.

    Parameters
    ----------
    start : float
        mm along the axis.
    hulls_at : callable
        Way, mm -> (c,) hulls of the mover, one a camera.
    fixed : (c, j) array of hulls
        What to keep clear of under each camera.
    gap : float
        px.
    jump : callable
        Way -> the same or a later way, past stretches that are forbidden for other reasons.
    farthest : float
        mm; where to give up.

    Returns
    -------
    float or None
        mm; None where there is no such way up to `farthest`.

    Notes
    -----
    While the outlines overlap, goes to where they would part if they kept their shape and speed; when apart,
    by the missing gap at the speed of the fastest corner; and closes in on the edge between the last way that
    was not clear and the first that is.

    """
    way, unclear = jump(start), start
    for _ in range(400):
        hulls = hulls_at(way)
        apart = shapely.distance(hulls[:, None], fixed)
        if way >= farthest:
            return None
        if apart.size == 0 or float(apart.min()) >= gap - _FINE:
            return _closed_in(unclear, way, hulls_at, fixed, gap, jump)
        unclear = way
        ahead = hulls_at(way + 1.0)
        speeds = [_fastest(a, b) for a, b in zip(hulls, ahead, strict=True)]
        steps = [
            (_way_out(hulls[c], fixed[c, j], ahead[c]) if apart[c, j] == 0 else (gap - apart[c, j]) / speeds[c])
            for c, j in zip(*np.nonzero(apart < gap - _FINE), strict=True)
        ]
        way = jump(way + max(*steps, _FINE / max(speeds)))
    return None


def _closed_in(
    unclear: float,
    clear: float,
    hulls_at: Callable[[float], np.ndarray],
    fixed: np.ndarray,
    gap: float,
    jump: Callable[[float], float],
) -> float:
    """Return a clear way with one that is not clear just before it, by bisection."""
    while clear - unclear > _FINE_MM:
        middle = (unclear + clear) / 2
        blocked = jump(middle) != middle
        if blocked or float(shapely.distance(hulls_at(middle)[:, None], fixed).min()) < gap - _FINE:
            unclear = middle
        else:
            clear = middle
    return clear


def _fastest(here: BaseGeometry, ahead: BaseGeometry) -> float:
    """Px a mm: how fast the outline's bounds move."""
    a, b = shapely.bounds(here), shapely.bounds(ahead)
    step = np.abs(b - a)
    return max(float(np.hypot(max(step[0], step[2]), max(step[1], step[3]))), 1e-6)


def _way_out(mover: BaseGeometry, fixed: BaseGeometry, ahead: BaseGeometry) -> float:
    """Mm until an overlapping mover would just have left, moving as it does now."""
    velocity = shapely.get_coordinates(ahead.centroid)[0] - shapely.get_coordinates(mover.centroid)[0]
    least = np.inf
    a, b = corners(mover), corners(fixed)
    for normals, sign in ((_normals(b), 1.0), (_normals(a), -1.0)):
        n = sign * normals
        pace = n @ velocity
        reach = (b @ n.T).max(axis=0) - (a @ n.T).min(axis=0)
        go = pace > 1e-9
        least = min(least, float((reach[go] / pace[go]).min(initial=np.inf)))
    return least if np.isfinite(least) and least > 0 else _FINE


def _normals(ring: Floats) -> Floats:
    edge = np.roll(ring, -1, axis=0) - ring
    signed = float(np.sum(ring[:, 0] * np.roll(ring[:, 1], -1) - np.roll(ring[:, 0], -1) * ring[:, 1]))
    outward = np.stack([edge[:, 1], -edge[:, 0]], axis=1)
    return outward if signed > 0 else -outward
