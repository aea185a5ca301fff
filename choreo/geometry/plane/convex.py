"""Convex pieces of a polygon with holes.

Collision between sections is decided on convex pieces: two polygons overlap in an area exactly if some piece
of the one overlaps some piece of the other in an area. The pieces come from a constrained Delaunay
triangulation whose diagonals are dropped wherever both ends stay convex (Hertel and Mehlhorn 1983: at most
four times as many pieces as the best possible).
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.model.plan import Floats

_STRAIGHT = 1e-12
"""Relative sine below which a corner counts as straight (a rounding bound, not a tolerance of shape)."""


def convex_pieces(section: BaseGeometry) -> list[Floats]:
    """Cut a section into convex polygons that tile it.

    Parameters
    ----------
    section : Polygon or MultiPolygon
        Valid, mm.

    Returns
    -------
    list of (k, 2) arrays
        Counter-clockwise, without repeated last point; deterministic order. Empty for an empty section.

    """
    pieces: list[Floats] = []
    for polygon in shapely.get_parts(section):
        if polygon.area == 0:
            continue
        ring = _ccw(shapely.get_coordinates(polygon.exterior)[:-1])
        if not polygon.interiors and _is_convex(ring):
            pieces.append(ring)
        else:
            pieces.extend(_merge(polygon))
    return pieces


def is_convex_ring(ring: Floats) -> bool:
    """Whether a ring (k, 2), either sense, without its repeated last point, is convex."""
    return _is_convex(_ccw(np.asarray(ring, dtype=np.float64)))


def outward_normals(piece: Floats) -> tuple[Floats, Floats]:
    """Return unit outward normals (k, 2) of a counter-clockwise convex polygon and their offsets (k,)."""
    edge = np.roll(piece, -1, axis=0) - piece
    length = np.hypot(edge[:, 0], edge[:, 1])
    keep = length > 0
    normals = np.stack([edge[keep, 1], -edge[keep, 0]], axis=1) / length[keep, None]
    return normals, np.asarray((piece @ normals.T).max(axis=0))


def convex_sum(a: Floats, b: Floats) -> Floats:
    """Return the Minkowski sum of two convex rings, either sense, as a counter-clockwise one, (k, 2)."""
    return np.asarray(convex_sums(_ccw(a)[None], _ccw(b)[None])[0, 0])


def convex_sums(a: Floats, b: Floats) -> Floats:
    """Return the Minkowski sums of all pairs of convex pieces: (p, v, 2) and (q, w, 2) give (p, q, v + w, 2).

    Pieces are counter-clockwise; a short one repeats its first corner, which adds edges of no length.
    """
    sums = paired_sums(np.repeat(a, len(b), axis=0), np.tile(b, (len(a), 1, 1)))
    return sums.reshape(len(a), len(b), a.shape[1] + b.shape[1], 2)


def paired_sums(a: Floats, b: Floats) -> Floats:
    """Return the Minkowski sum of each convex piece with its partner: (k, v, 2) and (k, w, 2) give (k, v + w, 2)."""
    both = np.concatenate([np.roll(pieces, -1, axis=1) - pieces for pieces in (a, b)], axis=1)
    turn = np.arctan2(both[..., 1], both[..., 0])
    turn[turn < 0] += 2 * np.pi
    order = np.argsort(turn, axis=1, kind="stable")
    steps = np.cumsum(np.take_along_axis(both, order[..., None], axis=1), axis=1)
    start = _lowest_corners(a) + _lowest_corners(b)
    return np.asarray(start[:, None] + np.concatenate([np.zeros_like(steps[:, :1]), steps[:, :-1]], axis=1))


def _lowest_corners(pieces: Floats) -> Floats:
    """The lowest, then leftmost corner of each piece."""
    low = pieces[..., 1] == pieces[..., 1].min(axis=1)[:, None]
    x = np.where(low, pieces[..., 0], np.inf).argmin(axis=1)
    return np.asarray(pieces[np.arange(len(pieces)), x])


def _ccw(ring: Floats) -> Floats:
    x, y = ring[:, 0], ring[:, 1]
    area = float(np.dot(x, np.roll(y, -1)) - np.dot(np.roll(x, -1), y))
    return ring if area > 0 else ring[::-1].copy()


def _turns(ring: Floats) -> Floats:
    """Sine of the turn at each corner, scaled by the two edge lengths' product."""
    back = ring - np.roll(ring, 1, axis=0)
    ahead = np.roll(ring, -1, axis=0) - ring
    scale = np.hypot(*back.T) * np.hypot(*ahead.T)
    cross = back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]
    return np.asarray(cross + _STRAIGHT * scale)


def _is_convex(ring: Floats) -> bool:
    if not bool((_turns(ring) >= 0).all()):
        return False
    edge = np.roll(ring, -1, axis=0) - ring
    heading = np.unwrap(np.arctan2(edge[:, 1], edge[:, 0]))
    return bool(abs(heading[-1] - heading[0]) < 2 * np.pi)


def _merge(polygon: BaseGeometry) -> list[Floats]:
    """Triangulate, then drop every diagonal that leaves convex corners behind."""
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
    coords = shapely.get_coordinates(triangles).reshape(len(triangles), 4, 2)[:, :3]
    points, index = np.unique(coords.reshape(-1, 2), axis=0, return_inverse=True)
    corners = index.reshape(-1, 3)
    p, q, r = (points[corners[:, c]] for c in range(3))
    area = (q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0])
    rings = {n: [int(c) for c in (row if area[n] > 0 else row[::-1])] for n, row in enumerate(corners) if area[n] != 0}
    xy = [(float(x), float(y)) for x, y in points]
    owner = {(ring[c - 1], ring[c]): n for n, ring in rings.items() for c in range(3)}
    for a, b in sorted(edge for edge in owner if edge[0] < edge[1] and edge[::-1] in owner):
        left, right = owner[a, b], owner[b, a]
        joined = _join(rings[left], rings[right], a, b, xy)
        if left == right or joined is None:
            continue
        rings[left] = joined
        del rings[right], owner[a, b], owner[b, a]
        for c in range(len(joined)):
            owner[joined[c - 1], joined[c]] = left
    return [points[ring] for _, ring in sorted(rings.items())]


def _join(left: list[int], right: list[int], a: int, b: int, xy: list[tuple[float, float]]) -> list[int] | None:
    """Return the ring without the edge a-b, or None where a corner would turn the wrong way."""
    i, j = left.index(b), right.index(a)
    ring = left[i:] + left[:i]  # b ... a
    other = right[j:] + right[:j]  # a ... b
    if not (_convex(ring[-2], a, other[1], xy) and _convex(other[-2], b, ring[1], xy)):
        return None
    return ring + other[1:-1]


def _convex(before: int, at: int, after: int, xy: list[tuple[float, float]]) -> bool:
    (px, py), (qx, qy), (rx, ry) = xy[before], xy[at], xy[after]
    return (qx - px) * (ry - qy) - (qy - py) * (rx - qx) >= 0.0
