"""All parts at their places, as one area, against the hero's: where it sticks out, where it gapes, how far apart."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.plane.unions import mended, only_areas, union_groups
from choreo.model.assembly import Point
from choreo.model.plan import Floats
from choreo.model.registration import StackMatch

_STEP_PX = 0.5
"""Boundaries are compared at points so close: no distance between is larger by more than half of this."""
_MOST_POINTS = 40_000


def register_stack(
    parts: Sequence[BaseGeometry], hero: BaseGeometry, *, speck_px2: float = 1.0, sliver_px: float = 0.5
) -> StackMatch:
    """Return how the union of all parts matches the hero's area.

    Areas are exact for the polygons given. Distances are exact at the points compared, corners among them, and
    between them larger by at most a quarter of a pixel, unless a boundary is longer than 20 000 px.

    Parameters
    ----------
    parts : sequence of Polygon or MultiPolygon
        At their places, hero px.
    hero : Polygon or MultiPolygon
        Hero px.
    speck_px2 : float
        Pieces of surplus and gaps no larger than this are not listed; their area counts.
    sliver_px : float
        Nor are pieces that are nowhere wider than this.

    """
    areas = np.array([mended(area) for area in parts if not area.is_empty], dtype=np.object_)
    stack = shapely.Polygon()
    if len(areas):
        stack = union_groups(areas, np.zeros(len(areas), dtype=np.int64), 1)[0]
    hero = mended(hero)
    surplus, missing = (only_areas(shapely.difference(*pair)) for pair in ((stack, hero), (hero, stack)))
    mean, worst, at = _apart(stack, hero)
    return StackMatch(
        stack=stack,
        hero=hero,
        shared_px2=float(stack.intersection(hero).area),
        surplus_px2=float(surplus.area),
        missing_px2=float(missing.area),
        surplus=_pieces(surplus, speck_px2, sliver_px),
        gaps=_pieces(missing, speck_px2, sliver_px),
        mean_px=mean,
        worst_px=worst,
        worst_at_px=at,
    )


def _pieces(area: BaseGeometry, speck_px2: float, sliver_px: float) -> tuple[BaseGeometry, ...]:
    """Pieces that can be seen, largest first; of equals the upper, then the left."""
    pieces = shapely.get_parts(area)
    pieces = pieces[shapely.area(pieces) > speck_px2]
    # Shrunk by half a width, what is nowhere wider is gone.
    pieces = pieces[~shapely.is_empty(shapely.buffer(pieces, -sliver_px / 2))]
    order = sorted(range(len(pieces)), key=lambda i: (-round(pieces[i].area, 6), *pieces[i].bounds[1::-1]))
    return tuple(pieces[i] for i in order)


def _apart(one: BaseGeometry, two: BaseGeometry) -> tuple[float, float, Point]:
    """Mean and worst distance between two boundaries, both ways, px, and where it is worst."""
    if one.is_empty or two.is_empty:
        return (0.0, 0.0, (0.0, 0.0)) if one.is_empty and two.is_empty else (np.inf, np.inf, (0.0, 0.0))
    ways = [_along(one.boundary, two.boundary), _along(two.boundary, one.boundary)]
    means = [float(weights @ off / weights.sum()) for _, off, weights in ways]
    points = np.concatenate([points for points, _, _ in ways])
    off = np.concatenate([off for _, off, _ in ways])
    worst = int(np.argmax(off))
    at = float(points[worst, 0]), float(points[worst, 1])
    return sum(means) / 2, float(off[worst]), at


def _along(boundary: BaseGeometry, other: BaseGeometry) -> tuple[Floats, Floats, Floats]:
    """Points along a boundary, their distance to the other, and the length each stands for."""
    step = max(_STEP_PX, boundary.length / _MOST_POINTS)
    points, weights = [], []
    for ring in shapely.get_parts(shapely.segmentize(boundary, step)):
        own = shapely.get_coordinates(ring)[:-1]
        after = np.hypot(*(np.roll(own, -1, axis=0) - own).T)
        points.append(own)
        weights.append((after + np.roll(after, 1)) / 2)
    together = np.concatenate(points)
    start, end = _edges(other)
    tree = shapely.STRtree(shapely.linestrings(np.stack([start, end], axis=1)))
    (which, _), off = tree.query_nearest(shapely.points(together), all_matches=False, return_distance=True)
    out = np.zeros(len(together))
    out[which] = off
    return together, out, np.concatenate(weights)


def _edges(boundary: BaseGeometry) -> tuple[Floats, Floats]:
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_parts(boundary)]
    return np.concatenate([ring[:-1] for ring in rings]), np.concatenate([ring[1:] for ring in rings])
