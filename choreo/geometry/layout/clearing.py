"""How far along a straight way a part must go until its outline stands clear of others, under several cameras.

Two convex outlines are a gap apart exactly if some direction on the screen separates them by it. For one such
direction the ways at which it separates a mover from a fixed outline are an interval: each corner of the mover
is (a + t b) / (c + t d) there, so "beyond the line" is linear in the way t, under a perspective camera too. The
ways at which the pair is clear are the union of these intervals over all directions. Which directions to take is
known where nothing turns (the outlines' normals); what else counts is found where the outlines then stand, as the
direction of the shortest line between them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely

from choreo.geometry.plane.unions import Geometries
from choreo.model.plan import Floats

_EVERY = 24
"""Directions around, to begin with, that no outline asked for."""
_TURNS = 12
"""Rounds of looking again; each brings the way about twice as many right digits."""
_SAME_MM = 1e-6
_ON = 1e-9
"""mm; a way on the end of an interval is inside it, whatever the last digit says."""


def first_clear(
    points: Floats,
    direction: Floats,
    matrices: Floats,
    fixed: Geometries,
    gap: float,
    jump: Callable[[float], float],
    farthest: float,
    start: float = 0.0,
) -> float | None:
    """Return the first way along an axis, from `start` on, at which a mover is clear of all fixed hulls.

    Parameters
    ----------
    points : (k, 3) array
        Corners of the mover's hull at way 0, mm, in front of every camera up to `farthest`.
    direction : (3,) array
        Unit length.
    matrices : (c, 3, 4) array
        Cameras.
    fixed : (c, j) array of hulls
        What to keep clear of under each camera, px.
    gap : float
        px.
    jump : callable
        Way -> the same or a later way, past stretches that are forbidden for other reasons.
    farthest : float
        mm; where to give up.
    start : float
        mm.

    Returns
    -------
    float or None
        mm; None where no such way is found up to `farthest`. There all are clear, always. Under parallel
        cameras it is the first but for stretches that only a direction between two outlines' corners would show,
        under a perspective one also but for stretches between two ways that were looked at.

    """
    way = jump(start)
    if way >= farthest:
        return None
    moving = _Moving(points, direction, matrices)
    ends = np.concatenate([moving.at(way), moving.at(farthest)], axis=1)
    swept = shapely.convex_hull(shapely.linestrings(ends))
    view, other = np.nonzero(shapely.dwithin(swept[:, None], fixed, gap))
    if not len(view):
        return way
    pairs = _Pairs(moving, view, fixed[view, other], gap)
    pairs.look(pairs.normals_of(fixed[view, other]))
    pairs.look(np.broadcast_to(_AROUND, (len(view), *_AROUND.shape)))
    pairs.look(pairs.normals_of(moving.hulls(way)[view]))
    found = pairs.first(way, jump, farthest)
    for _ in range(_TURNS):
        at = way if found is None else found
        hulls = moving.hulls(at)[view]
        pairs.look(_toward(hulls, fixed[view, other]) if found is not None else pairs.normals_of(hulls))
        sooner = pairs.first(way, jump, farthest)
        if sooner is None or (found is not None and found - sooner < _SAME_MM):
            return sooner
        found = sooner
    return found


_AROUND = np.stack([np.cos(np.arange(_EVERY) * 2 * np.pi / _EVERY), np.sin(np.arange(_EVERY) * 2 * np.pi / _EVERY)], 1)


class _Moving:
    """A mover's corners on the screen as they depend on its way."""

    def __init__(self, points: Floats, direction: Floats, matrices: Floats) -> None:
        self.start = points @ matrices[:, :, :3].transpose(0, 2, 1) + matrices[:, None, :, 3]
        self.pace = matrices[:, :, :3] @ direction

    def at(self, way: float) -> Floats:
        """(c, k, 2) px."""
        there = self.start + way * self.pace[:, None]
        return np.asarray(there[..., :2] / there[..., 2:])

    def hulls(self, way: float) -> Geometries:
        """(c,) hulls."""
        return np.asarray(shapely.convex_hull(shapely.linestrings(self.at(way))), dtype=np.object_)


class _Pairs:
    """Pairs of the mover and a fixed hull, and the ways at which they are known to be clear."""

    def __init__(self, moving: _Moving, view: np.ndarray, fixed: Geometries, gap: float) -> None:
        self.moving, self.view, self.gap = moving, view, gap
        self.rings = padded(fixed)
        self.low = np.zeros((len(view), 0))
        self.high = np.zeros((len(view), 0))

    def look(self, normals: Floats) -> None:
        """Add what (p, n, 2) unit directions, n a pair, show."""
        beyond = (self.rings @ normals.transpose(0, 2, 1)).max(axis=1) + self.gap
        start, pace = self.moving.start[self.view], self.moving.pace[self.view]
        # A corner is beyond the line where its (u, v) . n - w h >= 0.
        spare = (np.concatenate([normals, -beyond[..., None]], axis=2) @ start.transpose(0, 2, 1)).min(axis=2)
        gain = (normals @ pace[:, :2, None])[..., 0] - beyond * pace[:, 2:]
        moves = np.abs(gain) > 1e-12
        turn = -spare / np.where(moves, gain, 1.0)
        low = np.where(moves & (gain > 0), turn, np.where(moves | (spare >= 0), -np.inf, np.inf))
        high = np.where(moves & (gain < 0), turn, np.inf)
        self.low = np.concatenate([self.low, low], axis=1)
        self.high = np.concatenate([self.high, high], axis=1)

    def first(self, way: float, jump: Callable[[float], float], farthest: float) -> float | None:
        """The first way that lies in an interval of every pair."""
        while way < farthest:
            clear = ((self.low <= way + _ON) & (way <= self.high + _ON)).any(axis=1)
            if clear.all():
                return way
            late = ~clear
            ahead = np.where((self.low[late] > way) & (self.low[late] <= self.high[late]), self.low[late], np.inf)
            way = jump(float(ahead.min(axis=1).max()))
        return None

    def normals_of(self, hulls: Geometries) -> Floats:
        """(p, n, 2) unit normals of hulls, away from those of fixed ones; both senses, so that sides do not matter."""
        rings = padded(hulls)
        edge = np.roll(rings, -1, axis=1) - rings
        length = np.hypot(edge[..., 0], edge[..., 1])
        unit = np.stack([edge[..., 1], -edge[..., 0]], axis=2) / np.where(length > 0, length, 1.0)[..., None]
        unit[length == 0] = (1.0, 0.0)
        return np.concatenate([unit, -unit], axis=1)


def padded(hulls: Geometries) -> Floats:
    """Return the corners of hulls, (n, v, 2): short ones repeat their first."""
    count = shapely.get_num_coordinates(hulls)
    xy = shapely.get_coordinates(hulls)
    first = np.cumsum(count) - count
    step = np.arange(max(int(count.max()), 2) - 1)
    return np.asarray(xy[first[:, None] + np.where(step < count[:, None] - 1, step, 0)])


def _toward(hulls: Geometries, fixed: Geometries) -> Floats:
    """(p, 1, 2) unit direction from each fixed hull to the mover's, along the shortest line."""
    line = shapely.get_coordinates(shapely.shortest_line(fixed, hulls)).reshape(-1, 2, 2)
    way = line[:, 1] - line[:, 0]
    length = np.hypot(way[:, 0], way[:, 1])
    way[length == 0] = (1.0, 0.0)
    return np.asarray((way / np.where(length > 0, length, 1.0)[:, None])[:, None])
