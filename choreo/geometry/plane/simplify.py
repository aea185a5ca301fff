"""Fewer corners for traced outlines, within a distance that is checked, not assumed."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.model.plan import Floats

AREA_SHARE = 1e-3
"""How much of its area a ring may gain or lose. A bound on distance alone lets each arc shrink by two thirds of it;
with this one a circle of any size keeps some eighty corners."""
AREA_PX2 = 1.0
"""What a ring may gain or lose in any case, px^2: less than one pixel is within the grain of any matte."""
_HALVINGS = 6
"""After so many the tolerance is 1/64 of the wish, or of a px; a ring that does not pass by then stays as it was."""

Geometries = NDArray[np.object_]


def simplify(polygons: Sequence[BaseGeometry], tolerance: float) -> list[BaseGeometry]:
    """Return the polygons with a subset of their corners.

    Parameters
    ----------
    polygons : sequence of Polygon
        Valid and clear of each other.
    tolerance : float
        The most that any point of a ring may lie from its simplified ring, and the other way around (Hausdorff
        distance). 0 returns the polygons as they are.

    Returns
    -------
    list of Polygon
        As many, with as many holes, valid and clear of each other. Each ring keeps its area to within
        `AREA_SHARE` of it or `AREA_PX2`, whichever is more.

    Notes
    -----
    Douglas and Peucker (1973), by GEOS, ring by ring. Kept corners are corners of the input, in order, so the
    largest distance of an input corner from the piece that replaced its stretch bounds the distance both ways: along
    a stretch, feet on the piece run through all of it. Where that or the area asks for it, a ring is done again at
    half the tolerance; where rings come to cross each other, all are.

    """
    if tolerance <= 0 or not polygons:
        return list(polygons)
    rings, of = _rings(polygons)
    allowed = np.full(len(rings), float(tolerance))
    for _ in range(_HALVINGS):
        drawn = _simplified(rings, allowed, tolerance)
        made = _assembled(drawn, of, len(polygons))
        if shapely.is_valid(shapely.MultiPolygon(made)):
            return made
        allowed /= 2
    return list(polygons)


def _simplified(rings: Geometries, allowed: Floats, tolerance: float) -> Geometries:
    drawn = rings.copy()
    area = shapely.area(shapely.polygons(rings))
    slack = np.maximum(AREA_SHARE * area, AREA_PX2)
    pending = np.arange(len(rings))
    step = allowed.copy()
    for _ in range(_HALVINGS + max(0, math.ceil(math.log2(tolerance)))):
        tried = shapely.simplify(rings[pending], step[pending], preserve_topology=True)
        lost = np.abs(shapely.area(shapely.polygons(tried)) - area[pending])
        good = lost <= slack[pending]
        for index in np.flatnonzero(good):
            good[index] = deviation(_corners(rings[pending[index]]), _corners(tried[index])) <= tolerance
        drawn[pending[good]] = tried[good]
        pending = pending[~good]
        step /= 2
        if not len(pending):
            break
    return drawn


def deviation(ring: Floats, kept: Floats) -> float:
    """Return how far corners of a ring lie from the edge that replaced their stretch; infinite if none did.

    Parameters
    ----------
    ring : (n, 2) array
        All corners, no two the same.
    kept : (k, 2) array
        Some of them, in the order of the ring, from any start.

    Returns
    -------
    float
        A bound on the Hausdorff distance of the two rings, reached unless another edge is nearer.

    """
    mask = np.isin(ring @ np.array([1, 1j]), kept @ np.array([1, 1j]))
    stays = np.flatnonzero(mask)
    if len(stays) != len(kept):
        return float("inf")
    around = np.roll(ring, -stays[0], axis=0)
    stretch = np.cumsum(np.roll(mask, -stays[0])) - 1
    corners = ring[stays]
    begin, along = corners[stretch], (np.roll(corners, -1, axis=0) - corners)[stretch]
    share = np.clip(np.sum((around - begin) * along, axis=1) / np.sum(along * along, axis=1), 0.0, 1.0)
    return float(np.hypot(*(around - begin - share[:, None] * along).T).max())


def _rings(polygons: Sequence[BaseGeometry]) -> tuple[Geometries, NDArray[np.int64]]:
    """Return all rings, of each polygon its outline first, and the polygon of each."""
    rings, of = shapely.get_rings(np.array(polygons, dtype=object), return_index=True)
    return np.asarray(rings, dtype=object), np.asarray(of)


def _assembled(rings: Geometries, of: NDArray[np.int64], count: int) -> list[BaseGeometry]:
    made = shapely.polygons(rings, indices=of)
    return [made] if count == 1 and not isinstance(made, np.ndarray) else list(made)


def _corners(ring: BaseGeometry) -> Floats:
    return np.asarray(shapely.get_coordinates(ring)[:-1])
