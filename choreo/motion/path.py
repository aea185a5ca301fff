"""Polylines: where progress by arc length puts a part. The path knows nothing of time."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from choreo.model.plan import Floats


def lengths(route: ArrayLike) -> Floats:
    """Return the arc length from the start of the route to each of its points.

    Parameters
    ----------
    route : array_like
        (k, 3) polyline, mm, one point or more.

    Returns
    -------
    ndarray
        (k,) mm, starting with 0; never falls.

    """
    points = np.asarray(route, dtype=np.float64)
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])


def marks(route: ArrayLike) -> Floats:
    """Return the progress at which each point of the route is reached: 0 first, 1 last, exact.

    Parameters
    ----------
    route : array_like
        (k, 3) polyline, mm.

    Returns
    -------
    ndarray
        (k,) progress; zeros where the route has no length.

    """
    along = lengths(route)
    total = along[-1]
    return along / total if total > 0 else along


def position(route: ArrayLike, progress: ArrayLike) -> Floats:
    """Return the points at the given progress by arc length.

    Progress 0 gives the first point and 1 the last, to the last digit.

    Parameters
    ----------
    route : array_like
        (k, 3) polyline, mm, one point or more; legs of no length do no harm.
    progress : array_like
        (n,) dimensionless. Beyond 1 the last leg that has a length goes on, below 0 the first one does.

    Returns
    -------
    ndarray
        (n, 3) mm.

    """
    points = np.asarray(route, dtype=np.float64)
    share = np.atleast_1d(np.asarray(progress, dtype=np.float64))
    at = marks(points)
    distinct = np.concatenate([[True], np.diff(at) > 0])
    points, at = points[distinct], at[distinct]
    if len(points) == 1:
        return np.repeat(points, len(share), axis=0)
    leg = np.clip(np.searchsorted(at, share, side="right") - 1, 0, len(points) - 2)
    part = ((share - at[leg]) / (at[leg + 1] - at[leg]))[:, np.newaxis]
    start, end = points[leg], points[leg + 1]
    step = end - start
    # From the nearer end, so that both ends of a leg come out exact.
    return np.asarray(np.where(part < 0.5, start + part * step, end - (1.0 - part) * step))
