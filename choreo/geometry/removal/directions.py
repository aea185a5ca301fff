"""In which directions of the plane one solid bars another's straight way, as exact arcs.

Let Q be the displacements of a mover, in the plane, at which it overlaps another that stands still: the open
Minkowski difference of the two sections (Lozano-Perez 1983). The mover's straight way is barred in exactly the
directions of the open cone in which Q is seen from displacement 0. The difference of two connected sections is
connected, so they bar one arc; where the hulls of the two do not hold each other it is the arc of the hulls.
Else the cones of all pairs of convex pieces are joined.

An arc is a pair of angles, radians, counter-clockwise from +x: a start in [0, 2 pi) and an end after it. Barred
arcs are open: along their ends two solids just slide past each other. Free arcs are closed. An open arc longer than
a whole turn bars everything.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from choreo.geometry.collision.obstacle import Ints, Pieces
from choreo.geometry.collision.shape import Shape
from choreo.geometry.plane.convex import convex_sums, paired_sums
from choreo.model.assembly import Vector
from choreo.model.plan import Floats

Bools = NDArray[np.bool_]

TURN = 2 * np.pi
WHOLE = (0.0, 2 * TURN)
"""The arc that bars every direction."""
_LEVEL = 1e-9
"""mm; bands that share less depth pass above each other. The same bound as for an overlap along a line."""
_EDGE = 1e-9
"""mm; nearer to an edge than this, a displacement is on it."""
_CHUNK = 4096
"""Pairs of hulls that are worked out at once, to bound memory."""
_SAME = 1e-11
"""Radians; ends of arcs that are nearer differ by rounding only."""


@dataclass(frozen=True, eq=False)
class Outlines:
    """All connected pieces of the sections of many shapes, as convex hulls, one a row.

    Attributes
    ----------
    shapes : sequence of Shape
        In the order of `owner`.
    owner, band : (n,) arrays
        Which shape, and which of its bands, a row belongs to.
    hulls : (n, v, 2) array
        Counter-clockwise; short ones repeat their first corner.
    corners : (n,) array of int
        How many corners each hull has.
    sections : (n,) array of Polygon
        The pieces themselves.
    depths : (n, 2) array
        The band's depths, mm.

    """

    shapes: Sequence[Shape]
    owner: Ints
    band: Ints
    hulls: Floats
    corners: Ints
    sections: NDArray[np.object_]
    depths: Floats


def outlines(shapes: Sequence[Shape]) -> Outlines:
    """Collect the hulls of all connected pieces of all bands."""
    keys = [(owner, number) for owner, shape in enumerate(shapes) for number in range(len(shape.solid.bands))]
    bands = [shapes[owner].solid.bands[number] for owner, number in keys]
    pieces, of = shapely.get_parts([band.section for band in bands], return_index=True)
    hulls = shapely.orient_polygons(shapely.convex_hull(pieces))
    # All hulls as one table: a short one repeats its first corner, which is also the last of its ring.
    xy, row = shapely.get_coordinates(hulls, return_index=True)
    counts = np.bincount(row, minlength=len(hulls)) - 1
    first = np.concatenate([[0], np.cumsum(counts + 1)[:-1]]) if len(hulls) else np.zeros(0, dtype=np.intp)
    step = np.arange(counts.max(initial=1))
    table = xy[first[:, None] + np.where(step < counts[:, None], step, 0)] if len(hulls) else np.zeros((0, 1, 2))
    where = np.array(keys, dtype=np.intp).reshape(-1, 2)[of]
    depths = np.array([(band.z0, band.z1) for band in bands]).reshape(-1, 2)[of]
    return Outlines(shapes, where[:, 0], where[:, 1], table, counts, pieces, depths)


def barred_arcs(of: Outlines, pairs: Bools) -> tuple[Ints, Floats]:
    """Return in which directions of the plane each wanted pair of shapes bars itself.

    Parameters
    ----------
    of : Outlines
        Shapes at their assembled places, shrunk by what may touch.
    pairs : (n, n) array of bool
        Which (mover, other) to look at.

    Returns
    -------
    who : (k, 2) array of int
        Mover and other of each arc, in ascending order.
    arcs : (k, 2) array
        Open; those of one pair neither overlap nor, but for rounding, share more than an end.

    Notes
    -----
    Exact for the shapes: no direction is sampled.

    """
    level = (of.depths[:, None, 1] - of.depths[None, :, 0] > _LEVEL) & (
        of.depths[None, :, 1] - of.depths[:, None, 0] > _LEVEL
    )
    one, two = np.nonzero(level & pairs[of.owner[:, None], of.owner[None, :]])
    arcs, depth = _cones_of_hulls(of, one, two)
    inside = depth > -_EDGE
    # What lies in another's hole is shut in all round.
    rows = np.flatnonzero(inside)
    shut = rows[_in_hole(of, one[rows], two[rows]) | _in_hole(of, two[rows], one[rows])]
    arcs[shut], inside[shut] = WHOLE, False
    who = np.stack([of.owner[one], of.owner[two]], axis=1)
    found, found_who = [arcs[~inside]], [who[~inside]]
    bands = np.stack([of.owner[one], of.band[one], of.owner[two], of.band[two]], axis=1)[inside]
    for a, i, b, j in sorted(set(map(tuple, bands.tolist()))):
        own = _cones_of_pieces(of.shapes[a].pieces(i), of.shapes[b].pieces(j))
        found.append(own)
        found_who.append(np.tile(np.array([[a, b]], dtype=np.intp), (len(own), 1)))
    return _joined_by_pair(np.concatenate(found_who), np.concatenate(found))


def _in_hole(of: Outlines, inner: Ints, outer: Ints) -> Bools:
    """Whether pieces lie in holes of others, which they do not overlap: one point of them tells."""
    shells = shapely.polygons(shapely.get_exterior_ring(of.sections[outer]))
    points = shapely.get_point(shapely.get_exterior_ring(of.sections[inner]), 0)
    holed = shapely.get_num_interior_rings(of.sections[outer]) > 0
    return np.asarray(holed & shapely.contains(shells, points))


def _cones_of_hulls(of: Outlines, one: Ints, two: Ints) -> tuple[Floats, Floats]:
    """The cones of pairs of hulls, pairs with few corners together so that little is padded."""
    arcs, depth = np.zeros((len(one), 2)), np.zeros(len(one))
    most = np.maximum(of.corners[one], of.corners[two])
    order = np.argsort(most, kind="stable")
    for at in range(0, len(order), _CHUNK):
        rows = order[at : at + _CHUNK]
        hulls = of.hulls[:, : most[rows[-1]]]
        arcs[rows], depth[rows] = _cones(paired_sums(hulls[two[rows]], -hulls[one[rows]]))
    return arcs, depth


def _cones_of_pieces(mover: Pieces, other: Pieces) -> Floats:
    sums = convex_sums(other.points, -mover.points)
    arcs, depth = _cones(sums.reshape(-1, sums.shape[2], 2))
    arcs[depth > _EDGE] = WHOLE
    return join_arcs(arcs)


def _cones(sums: Floats) -> tuple[Floats, Floats]:
    """The arc in which each convex polygon (k, v, 2) is seen from the origin, and how deep inside that lies, mm.

    Where it lies inside, the arc means nothing.
    """
    edges = np.roll(sums, -1, axis=1) - sums
    long = np.hypot(edges[..., 0], edges[..., 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        left_of = (sums[..., 0] * edges[..., 1] - sums[..., 1] * edges[..., 0]) / long
    depth = np.where(long > _EDGE, left_of, np.inf).min(axis=1, initial=np.inf)
    # Seen from outside, a convex polygon spans half a turn at most, and its middle is well within that.
    x, y = sums.mean(axis=1).T
    lean = np.arctan2(x[:, None] * sums[..., 1] - y[:, None] * sums[..., 0],
                      x[:, None] * sums[..., 0] + y[:, None] * sums[..., 1])  # fmt: skip
    span = np.stack([lean.min(axis=1, initial=0.0), lean.max(axis=1, initial=0.0)], axis=1)
    return turned(span + np.arctan2(y, x)[:, None], 0.0), depth


def _joined_by_pair(who: Ints, arcs: Floats) -> tuple[Ints, Floats]:
    """Join the arcs of each pair; pairs in ascending order."""
    if not len(who):
        return who, arcs
    order = np.lexsort((arcs[:, 0], who[:, 1], who[:, 0]))
    who, arcs = who[order], arcs[order]
    starts = np.flatnonzero(np.any(np.diff(who, axis=0, prepend=-1) != 0, axis=1))
    found = [join_arcs(own) for own in np.split(arcs, starts[1:])]
    return np.repeat(who[starts], [len(own) for own in found], axis=0), np.concatenate(found)


def turned(arcs: Floats, by: float) -> Floats:
    """Return arcs (k, 2) turned by an angle, their starts brought back into [0, 2 pi)."""
    start = np.mod(arcs[:, 0] + by, TURN)
    start[start >= TURN] = 0.0  # a hair below 0 is rounded up to a whole turn
    return np.stack([start, start + arcs[:, 1] - arcs[:, 0]], axis=1)


def join_arcs(arcs: Floats) -> Floats:
    """Return the union of open arcs (k, 2); arcs that only share an end stay two, with that end between them free."""
    if len(arcs) == 1 and arcs[0, 1] - arcs[0, 0] <= TURN:
        return turned(arcs, 0.0)
    joined: list[list[float]] = []
    for start, end in sorted(turned(arcs, 0.0).tolist()):
        if joined and start < joined[-1][1] - _SAME:
            joined[-1][1] = max(joined[-1][1], end)
        elif end - start > _SAME:
            joined.append([start, end])
    # Only the last can run past a whole turn, and then over what lies at the beginning.
    while len(joined) > 1 and joined[0][0] + TURN < joined[-1][1] - _SAME:
        first = joined.pop(0)
        joined[-1][1] = max(joined[-1][1], first[1] + TURN)
    if any(end - start > TURN + _SAME for start, end in joined):
        return np.array([WHOLE])
    return np.array(joined).reshape(-1, 2)


def free_arcs(barred: Floats) -> Floats:
    """Return what open arcs (k, 2) leave free: closed arcs in ascending order; a single direction has no width.

    Nothing barred gives the one arc (0, 2 pi).
    """
    joined = join_arcs(barred)
    if not len(joined):
        return np.array([[0.0, TURN]])
    if joined[0, 1] - joined[0, 0] > TURN + _SAME:
        return np.zeros((0, 2))
    ends = np.append(joined[1:, 0], joined[0, 0] + TURN)
    free = turned(np.stack([joined[:, 1], np.maximum(ends, joined[:, 1])], axis=1), 0.0)
    return np.asarray(free[np.argsort(free[:, 0], kind="stable")])


def is_barred(arcs: Floats, angles: Floats | float) -> Bools:
    """Return whether each open arc (k, 2) holds each of the directions (...), as (..., k)."""
    past = np.mod(np.asarray(angles)[..., None] - arcs[:, 0], TURN)
    long = arcs[:, 1] - arcs[:, 0] - _SAME
    return np.asarray(((past > _SAME) & (past < long)) | (past + TURN < long))


def angle_of(direction: Vector | Floats) -> float:
    """Return the angle of a direction in the plane, radians in [0, 2 pi)."""
    return float(np.mod(np.arctan2(direction[1], direction[0]), TURN))


def direction_at(angle: float) -> Vector:
    """Return the unit direction in the plane at an angle, rounded so that the axes are exact."""
    return round(float(np.cos(angle)), 12) + 0.0, round(float(np.sin(angle)), 12) + 0.0, 0.0
