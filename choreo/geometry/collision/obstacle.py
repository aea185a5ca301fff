"""Where two translating solids overlap, exactly and without time.

For solids A and B let d be the displacement of B less that of A. They overlap exactly if d lies in the open
Minkowski difference of the two (Lozano-Perez 1983). For two bands that is a union of prisms: one for each pair
of convex pieces, bounded by the edge normals of both and by the depths at which the two bands meet. An
`Obstacle` holds those prisms as half-spaces. Everything that asks "do they meet?" is then linear algebra:

- along a ray, each prism gives one interval;
- for two straight legs walked by s and t, each prism gives one convex polygon in the (s, t) plane, the
  coordination diagram of O'Donnell and Lozano-Perez (1989).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.geometry.plane.convex import convex_pieces, outward_normals
from choreo.model.plan import Floats

Ints = NDArray[np.intp]
Span = tuple[float, float]

_EPS = 1e-9
"""mm; an overlap shorter than this along a line is rounding, not a collision."""


@dataclass(frozen=True, eq=False)
class Pieces:
    """The convex pieces of one section, padded to common lengths.

    Attributes
    ----------
    points : (p, v, 2) array
        Corners; short pieces repeat their first corner.
    normals : (p, m, 2) array
        Outward unit normals; short pieces end in zero rows.
    reach : (p, m) array
        Support value along each normal; 0 in padded rows.
    boxes : (p, 2, 2) array
        Lowest and highest corner of each piece.

    """

    points: Floats
    normals: Floats
    reach: Floats
    boxes: Floats


def pieces_of(section: BaseGeometry) -> Pieces:
    """Cut a section into convex pieces."""
    pieces = convex_pieces(section)
    most = max((len(piece) for piece in pieces), default=1)
    points = np.zeros((len(pieces), most, 2))
    normals = np.zeros((len(pieces), most, 2))
    reach = np.zeros((len(pieces), most))
    for row, piece in enumerate(pieces):
        n, h = outward_normals(piece)
        points[row] = piece[0]
        points[row, : len(piece)] = piece
        normals[row, : len(n)] = n
        reach[row, : len(n)] = h
    return Pieces(points, normals, reach, np.stack([points.min(axis=1), points.max(axis=1)], axis=1))


@dataclass(frozen=True, eq=False)
class Obstacle:
    """Open convex prisms of forbidden relative displacement (B's less A's), mm.

    Attributes
    ----------
    normals : (k, m, 3) array
        Half-spaces ``normals . d < offsets``; a prism is where all m hold. Padding: zero normal, offset 1.
    offsets : (k, m) array

    """

    normals: Floats
    offsets: Floats


def obstacle(a: Pieces, b: Pieces, depths: tuple[float, float], low: Floats, high: Floats, grow: float) -> Obstacle:
    """Return the displacements of a band of B relative to a band of A at which the two overlap.

    Parameters
    ----------
    a, b : Pieces
        Sections at their assembled places, already shrunk by what may touch.
    depths : (low, high)
        Relative displacement along z between which the two bands overlap in depth.
    low, high : (2,) arrays
        Box of relative displacements in the plane that the caller is going to ask about: prisms that lie
        wholly outside are left out.
    grow : float
        mm by which every face is moved out: a clearance, square at corners.

    """
    least = a.boxes[:, None, 0] - b.boxes[None, :, 1] - grow
    most = a.boxes[:, None, 1] - b.boxes[None, :, 0] + grow
    one, two = np.nonzero(np.all((high > least) & (low < most), axis=2))
    # Faces of A (+) -B: the outward normals of A, and those of B turned round.
    of_a = a.reach[one] - _lowest(b.points, a.normals, two, one)
    of_b = b.reach[two] - _lowest(a.points, b.normals, one, two)
    ma, mb = a.normals.shape[1], b.normals.shape[1]
    normals = np.zeros((len(one), ma + mb + 2, 3))
    offsets = np.ones((len(one), ma + mb + 2))
    normals[:, :ma, :2], normals[:, ma:-2, :2] = a.normals[one], -b.normals[two]
    offsets[:, :ma], offsets[:, ma:-2] = of_a + grow, of_b + grow
    offsets[~np.any(normals != 0, axis=2)] = 1.0
    normals[:, -2, 2], normals[:, -1, 2] = 1.0, -1.0
    offsets[:, -2], offsets[:, -1] = depths[1] + grow, -depths[0] + grow
    return Obstacle(normals, offsets)


def _lowest(points: Floats, normals: Floats, which: Ints, along: Ints) -> Floats:
    """Least of ``normals[along] . points[which]`` over a piece's corners, (k, m)."""
    x, y = points[..., 0].T[:, which], points[..., 1].T[:, which]  # (v, k)
    nx, ny = normals[along, :, 0], normals[along, :, 1]
    least: Floats = x[0][:, None] * nx + y[0][:, None] * ny
    for corner in range(1, len(x)):
        np.minimum(least, x[corner][:, None] * nx + y[corner][:, None] * ny, out=least)
    return least


def depth_only(depths: tuple[float, float], grow: float) -> Obstacle:
    """Return the obstacle of two bands whose sections overlap wherever the two meet in depth."""
    return Obstacle(np.array([[[0.0, 0, 1], [0, 0, -1]]]), np.array([[depths[1] + grow, -depths[0] + grow]]))


def overlaps_along(ob: Obstacle, start: Floats, direction: Floats) -> Floats:
    """Return the intervals of t in which ``start + t * direction`` is an overlap.

    Parameters
    ----------
    ob : Obstacle
        Of the pair.
    start, direction : (3,) arrays
        mm; `direction` need not have unit length.

    Returns
    -------
    (n, 2) array
        Open intervals, one a prism that is met, not merged, in the order of the prisms.

    """
    slope = ob.normals @ direction
    room = ob.offsets - ob.normals @ start
    flat = np.abs(slope) < 1e-12
    with np.errstate(divide="ignore", invalid="ignore"):
        at = room / slope
    low = np.where(~flat & (slope < 0), at, -np.inf).max(axis=1, initial=-np.inf)
    high = np.where(~flat & (slope > 0), at, np.inf).min(axis=1, initial=np.inf)
    shut = np.any(flat & (room <= _EPS), axis=1)
    keep = ~shut & (high - low > _EPS)
    return np.stack([low[keep], high[keep]], axis=1)


@dataclass(frozen=True, eq=False)
class Cuts:
    """Rectangles of the (s, t) plane, each with the half-planes ``a s + b t <= c`` that cut it.

    Attributes
    ----------
    squares : (k, 4, 2) array
        Corners.
    planes : (k, m, 3) array
        a, b, c; padding: 0, 0, 1.

    """

    squares: Floats
    planes: Floats


def cuts_between(ob: Obstacle, start: Floats, ways: tuple[Floats, Floats], spans: tuple[Span, Span]) -> Cuts:
    """Say where two straight legs overlap, prism by prism, as half-planes that cut the rectangle of both spans.

    Parameters
    ----------
    ob : Obstacle
        Of the pair.
    start : (3,) array
        B's displacement less A's at s = t = 0, mm.
    ways : two (3,) arrays
        A moves by ``s * ways[0]``, B by ``t * ways[1]``.
    spans : two pairs of float
        The stretch of s and of t that is walked.

    """
    slope_s, slope_t = -(ob.normals @ ways[0]), ob.normals @ ways[1]
    room = ob.offsets - ob.normals @ start
    (s0, s1), (t0, t1) = spans
    lowest = np.minimum(slope_s * s0, slope_s * s1) + np.minimum(slope_t * t0, slope_t * t1)
    alive = np.all(lowest < room - _EPS, axis=1)
    slope_s, slope_t, room = slope_s[alive], slope_t[alive], room[alive]
    highest = np.maximum(slope_s * s0, slope_s * s1) + np.maximum(slope_t * t0, slope_t * t1)
    cuts = highest > room
    # Bring the half-planes that cut something to the front: most prisms are cut by a few of their many faces.
    rank = np.argsort(~cuts, axis=1, kind="stable")[:, : int(cuts.sum(axis=1).max(initial=0))]
    planes = np.stack([np.take_along_axis(x, rank, axis=1) for x in (slope_s, slope_t, room)], axis=2)
    planes[~np.take_along_axis(cuts, rank, axis=1)] = (0.0, 0.0, 1.0)
    square = np.array([[s0, t0], [s1, t0], [s1, t1], [s0, t1]])
    return Cuts(np.repeat(square[None], len(planes), axis=0), planes)


def cut_out(cuts: Sequence[Cuts]) -> Floats:
    """Return what is left of all rectangles as (n, v, 2) convex polygons, short ones repeating their last corner."""
    cuts = [one for one in cuts if len(one.squares)]
    if not cuts:
        return np.zeros((0, 4, 2))
    most = max(one.planes.shape[1] for one in cuts)
    planes = np.zeros((sum(len(one.planes) for one in cuts), most, 3))
    planes[..., 2] = 1.0
    row = 0
    for one in cuts:
        planes[row : row + len(one.planes), : one.planes.shape[1]] = one.planes
        row += len(one.planes)
    return _clip(np.concatenate([one.squares for one in cuts]), planes)


def cut_below(polygons: Floats, s_end: float) -> Floats:
    """Clip convex polygons (n, v, 2) of the (s, t) plane to ``s <= s_end``; drop what vanishes."""
    # A copy: what is cut here may be remembered elsewhere, and `_clip` works in place.
    return _clip(polygons.copy(), np.tile([1.0, 0.0, s_end], (len(polygons), 1, 1))) if len(polygons) else polygons


def _clip(polygons: Floats, planes: Floats) -> Floats:
    """Cut n convex polygons, in place, each by half-planes ``a s + b t <= c`` (n, m, 3); drop the empty ones."""
    return _clip_few(polygons, planes) if len(polygons) <= _FEW else _clip_many(polygons, planes)


_FEW = 4
"""So few polygons are cut faster number by number than by arrays."""


def _clip_few(polygons: Floats, planes: Floats) -> Floats:
    """As `_clip_many`, to the last bit."""
    rings, cuts, width = polygons.tolist(), planes.tolist(), polygons.shape[1]
    for m in range(planes.shape[1]):
        rings = [_cut_one(ring, *cut[m]) for ring, cut in zip(rings, cuts, strict=True)]
        width = max([width, *map(len, rings)])
        kept = [len(ring) > 2 for ring in rings]
        rings = [ring + ring[-1:] * (width - len(ring)) for ring, keep in zip(rings, kept, strict=True) if keep]
        cuts = [cut for cut, keep in zip(cuts, kept, strict=True) if keep]
    return np.array(rings).reshape(-1, width, 2)


def _cut_one(ring: list[list[float]], a: float, b: float, c: float) -> list[list[float]]:
    """Return what lies on the inner side of a half-plane, one corner after the other."""
    side = [s * a + t * b - c for s, t in ring]
    if all(distance <= 0 for distance in side):
        return ring
    kept = []
    for k, (here, there) in enumerate(zip(ring, ring[1:] + ring[:1], strict=True)):
        now, then = side[k], side[(k + 1) % len(ring)]
        if now <= 0:
            kept.append(here)
        if (now <= 0) != (then <= 0):
            part = now / (now - then)
            kept.append([here[0] + part * (there[0] - here[0]), here[1] + part * (there[1] - here[1])])
    return kept


def _clip_many(polygons: Floats, planes: Floats) -> Floats:
    for m in range(planes.shape[1]):
        side = polygons[..., 0] * planes[:, m, 0, None]
        side += polygons[..., 1] * planes[:, m, 1, None]
        side -= planes[:, m, 2, None]
        inside = side <= 0
        cut = np.flatnonzero(~inside.all(axis=1))
        if not len(cut):
            continue
        polygons, planes = _cut_some(polygons, planes, cut, side[cut], inside[cut])
        if not len(polygons):
            break
    return polygons


def _cut_some(
    polygons: Floats, planes: Floats, cut: Ints, side: Floats, inside: NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """Replace the polygons `cut` by what lies on the inner side of their half-plane; drop the empty ones."""
    some = polygons[cut]
    after = np.arange(1, some.shape[1] + 1) % some.shape[1]
    crosses = inside != inside[:, after]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(crosses, side / (side - side[:, after]), 0.0)
    met = some + part[..., None] * (some[:, after] - some)
    slots = np.stack([some, met], axis=2).reshape(len(some), -1, 2)
    used = np.stack([inside, crosses], axis=2).reshape(len(some), -1)
    count = used.sum(axis=1)
    packed = _pack(slots, used, np.maximum(count, 1))
    if packed.shape[1] > polygons.shape[1]:
        last = np.repeat(polygons[:, -1:], packed.shape[1] - polygons.shape[1], axis=1)
        polygons = np.concatenate([polygons, last], axis=1)
    polygons[cut, : packed.shape[1]] = packed
    polygons[cut, packed.shape[1] :] = packed[:, -1:]
    keep = np.ones(len(polygons), dtype=bool)
    keep[cut[count <= 2]] = False
    return polygons[keep], planes[keep]


def _pack(slots: Floats, used: NDArray[np.bool_], count: Ints) -> Floats:
    """Move the used slots to the front of each row and repeat the last one to fill."""
    order = np.argsort(~used, axis=1, kind="stable")[:, : int(count.max())]
    place = np.minimum(np.arange(order.shape[1])[None], count[:, None] - 1)
    rows = np.arange(len(slots))[:, None]
    return slots[rows, order[rows, place]]
