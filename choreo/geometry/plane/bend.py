"""Bends of a polyline: a corner rounded, a straight leg bowed; both flattened, so that it stays a polyline.

Both are arcs of a circle, cut into equal pieces between points that lie on the arc: no piece of a corner turns more
than `CORNER_TURN`, none of a bow more than `BOW_TURN`. A chord of an arc of radius r then lies within
r (1 - cos(turn / 2)) of it: 3.5 % of r in a corner, 0.9 % in a bow.
"""

from __future__ import annotations

import math

import numpy as np

from choreo.model.plan import Floats

CORNER_TURN = math.radians(30.0)
"""A right angle takes three pieces; every piece more costs time wherever two routes are compared."""
BOW_TURN = math.radians(15.0)


def turn(before: Floats, after: Floats) -> float:
    """Return the angle between two unit directions, radians."""
    # From both sine and cosine: an arc cosine alone loses half the digits near 0.
    return math.atan2(float(np.linalg.norm(np.cross(before, after))), float(before @ after))


def rounded(corner: Floats, before: Floats, after: Floats, tangent: float) -> Floats:
    """Return the points of a rounded corner.

    Parameters
    ----------
    corner : ndarray
        (3,) where the two straight legs meet, mm.
    before, after : ndarray
        (3,) unit directions of the leg that arrives and of the one that leaves; neither the same nor opposite.
    tangent : float
        How far before and beyond the corner the arc begins and ends, mm; its radius is
        ``tangent / tan(turn / 2)``.

    Returns
    -------
    ndarray
        (n + 1, 3) on the arc, both its ends included.

    """
    angle = turn(before, after)
    radius = tangent / math.tan(angle / 2)
    start = corner - tangent * before
    inward = after - (after @ before) * before
    inward /= np.linalg.norm(inward)
    steps = angle * np.linspace(0.0, 1.0, math.ceil(angle / CORNER_TURN - 1e-9) + 1)[:, None]
    points = start + radius * (np.sin(steps) * before + (1.0 - np.cos(steps)) * inward)
    points[-1] = corner + tangent * after
    return np.asarray(points)


def bowed(start: Floats, end: Floats, side: Floats, sagitta: float) -> Floats:
    """Return the points of an arc between two points.

    Parameters
    ----------
    start, end : ndarray
        (3,) its ends, mm, apart.
    side : ndarray
        (3,) unit direction, across the straight line, to which it bends.
    sagitta : float
        How far its middle stands from the straight line, mm; below 0 to the other side.

    Returns
    -------
    ndarray
        (2 n + 1, 3), the ends and the very middle among them.

    """
    chord = float(np.linalg.norm(end - start))
    along = (end - start) / chord
    half = 2.0 * math.atan(2.0 * abs(sagitta) / chord)
    if half == 0.0:
        return np.stack([start, end])
    radius = chord / (2.0 * math.sin(half))
    count = math.ceil(half / BOW_TURN - 1e-9)
    angles = half * np.linspace(-1.0, 1.0, 2 * count + 1)[:, None]
    rise = math.copysign(radius, sagitta) * (np.cos(angles) - math.cos(half))
    points = (start + end) / 2 + radius * np.sin(angles) * along + rise * side
    points[0], points[-1] = start, end
    return np.asarray(points)
