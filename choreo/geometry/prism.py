"""What a polygon covers on its way from one copy to another: the image of a prism, the sweep of an outline.

Seen from a camera, a prism shows its near face and its walls, and a wall covers new ground only where it
faces the camera. So the image is the near copy of the polygon, joined with the strips between near and far
copy along every run of walls that face the camera. The sweep along a vector is the same thing with the far
copy displaced by that vector.

Two special cases need no union of areas at all, and they are the common ones:

- a convex outline: the image is bounded by the far edge where the wall faces the camera and by the near edge
  elsewhere;
- a convex hole: what it leaves uncovered is near hole intersected with far hole. Inside the slab a line of
  sight runs along a straight segment of the plane, from its point on one face to its point on the other,
  parallel or perspective alike. It misses the material around the hole exactly if this segment stays in the
  hole, and in a convex hole it does so exactly if both of its ends are in it.

Everything works on the rings of many polygons laid end to end, so that a whole shot takes a few array calls.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from choreo.model.plan import Floats

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Geometries = NDArray[np.object_]

TIE = 1e-13
"""Share of the largest possible value below which an orientation is rounding, not sense."""


@dataclass(frozen=True, eq=False)
class Rings:
    """Rings of many polygons laid end to end, material to the left, without repeated points."""

    xy: Floats
    """(vertices, 2)"""
    ring: Ints
    """(vertices,) ring of each vertex, ascending from 0."""
    owner: Ints
    """(rings,) polygon of each ring, ascending; a polygon's first ring is its outline."""
    convex: Bools
    """(rings,)"""
    count: int
    """Number of polygons; empty ones own no ring."""

    @cached_property
    def hole(self) -> Bools:
        """(rings,) whether a ring is a hole."""
        return np.concatenate([[False], self.owner[1:] == self.owner[:-1]])[: len(self.owner)]

    @cached_property
    def starts(self) -> Ints:
        """(rings + 1,) first vertex of each ring, and the end."""
        return np.searchsorted(self.ring, np.arange(len(self.owner) + 1)).astype(np.int64)

    @cached_property
    def following(self) -> Ints:
        """(vertices,) the next vertex along the ring."""
        starts = self.starts
        after = np.arange(1, len(self.ring) + 1)
        after[starts[1:] - 1] = starts[:-1]
        return after

    @cached_property
    def previous(self) -> Ints:
        """(vertices,) the vertex before along the ring."""
        before = np.empty(len(self.ring), dtype=np.int64)
        before[self.following] = np.arange(len(self.ring))
        return before

    @cached_property
    def edges(self) -> Floats:
        """(vertices, 2) from each vertex to the next."""
        return self.xy[self.following] - self.xy

    def repeat(self, times: int) -> Rings:
        """Return the rings `times` times over, polygons of one copy next to each other."""
        copy = np.arange(times)[:, None]
        return Rings(
            np.tile(self.xy, (times, 1)),
            (self.ring + copy * len(self.owner)).ravel(),
            (self.owner + copy * self.count).ravel(),
            np.tile(self.convex, times),
            times * self.count,
        )

    def of(self, chosen: Bools) -> tuple[Rings, Bools]:
        """Return the rings of chosen polygons, renumbered, and which vertices these are."""
        rings = chosen[self.owner]
        vertices = rings[self.ring]
        number = np.cumsum(rings) - 1
        polygon = np.cumsum(chosen) - 1
        kept = Rings(
            self.xy[vertices],
            number[self.ring[vertices]],
            polygon[self.owner[rings]],
            self.convex[rings],
            int(chosen.sum()),
        )
        return kept, vertices


def rings_of(polygons: Geometries) -> Rings:
    """Return the rings of an array of Polygons (no MultiPolygons)."""
    lines, owner = shapely.get_rings(shapely.orient_polygons(polygons), return_index=True)
    xy, ring = shapely.get_coordinates(lines, return_index=True)
    # Closing points go, and so do repeated points, which would hide a turn from the test for convexity.
    kept = np.ones(len(xy), dtype=np.bool_)
    kept[:-1] = (ring[1:] == ring[:-1]) & (xy[1:] != xy[:-1]).any(axis=1)
    kept[-1:] = False
    ends = np.flatnonzero(np.diff(ring, append=-1))
    kept[ends] = False
    rings = Rings(xy[kept], ring[kept], owner, np.ones(len(owner), dtype=np.bool_), len(polygons))
    return Rings(rings.xy, rings.ring, rings.owner, _convex(rings), rings.count)


def swept_area(rings: Rings, near: Floats, far: Floats, facing: Floats, hulled: Bools) -> Geometries:
    """Return what each polygon covers between its near and its far copy.

    Parameters
    ----------
    rings : Rings
        Of the polygons, before they are placed.
    near, far : (vertices, 2) array
        The two copies. Where walls face the viewer, the far copy lies outward from the near one.
    facing : (vertices,) array
        Of the wall on the edge that starts at each vertex: positive where it faces the viewer, 0 edge-on.
    hulled : (polygons,) array
        Polygons whose near copy is not seen (the viewer looks along the slab).

    Returns
    -------
    (polygons,) array of Polygon or MultiPolygon
        Valid; empty for empty polygons.

    """
    out = np.full(rings.count, shapely.Polygon(), dtype=np.object_)
    filled = np.bincount(rings.owner, minlength=rings.count) > 0
    bent = np.bincount(rings.owner[~rings.convex], minlength=rings.count) > 0
    convex = filled & ~bent
    if convex.any():
        part, at = rings.of(convex)
        out[convex] = _convex_area(part, near[at], far[at], facing[at] > 0, hulled[convex])
    if bent.any():
        part, at = rings.of(bent)
        out[bent] = _general_area(part, near[at], far[at], facing[at])
    return out


def union_rows(table: Geometries) -> Geometries:
    """Return the union of each row of a (rows, k) array of polygonal geometries or None."""
    if table.shape[1] == 1:
        return np.where(shapely.is_missing(table[:, 0]), shapely.Polygon(), table[:, 0])
    if table.shape[1] == 2 and not shapely.is_missing(table).any():
        return np.asarray(shapely.union(table[:, 0], table[:, 1]), dtype=np.object_)
    joined = np.asarray(shapely.union_all(table, axis=1), dtype=np.object_)
    joined[shapely.is_empty(joined)] = shapely.Polygon()
    return joined


def union_groups(geometries: Geometries, group: Ints, count: int) -> Geometries:
    """Return the union of the geometries of each group; `group` ascends."""
    size = np.bincount(group, minlength=count)
    place = np.arange(len(group)) - (np.cumsum(size) - size)[group]
    table = np.full((count, max(1, int(size.max(initial=0)))), None, dtype=np.object_)
    table[group, place] = geometries
    return union_rows(table)


def cross(a: Floats, b: Floats) -> Floats:
    """Return the z component of the cross product of (..., 2) arrays."""
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _convex(rings: Rings) -> Bools:
    """Which rings turn only one way: left for outlines, right for holes."""
    out = rings.edges
    into = out[rings.previous]
    turn = cross(into, out) * np.where(rings.hole, -1.0, 1.0)[rings.ring]
    slack = TIE * np.hypot(*into.T) * np.hypot(*out.T)
    return np.asarray(np.bincount(rings.ring[turn < -slack], minlength=len(rings.owner)) == 0)


def _convex_area(rings: Rings, near: Floats, far: Floats, facing: Bools, hulled: Bools) -> Geometries:
    """Outline and holes are all convex: rings in, rings out."""
    outer = ~rings.hole[rings.ring]
    outlines = _convex_outlines(rings, near, far, facing)
    if hulled.any():
        outlines[hulled] = shapely.get_exterior_ring(_hulls(rings, hulled, near, far))
    windows, of = _convex_windows(rings, ~outer, near, far)
    lines = np.concatenate([outlines, shapely.get_exterior_ring(windows)])
    whose = np.concatenate([np.arange(rings.count), of])
    order = np.argsort(whose, kind="stable")  # an outline before its holes
    area = np.asarray(shapely.polygons(lines[order], indices=whose[order]))
    wrong = ~shapely.is_valid(area)
    if wrong.any():
        # Copies that coincide but for rounding, or a hole that touches the outline: let areas decide.
        whole = _hulls(rings, wrong, near, far)
        area[wrong] = shapely.difference(whole, union_groups(windows, of, rings.count)[wrong])
    return area


def _convex_windows(rings: Rings, inner: Bools, near: Floats, far: Floats) -> tuple[Geometries, Ints]:
    """Where near and far copy of a hole overlap, with the polygon each such window belongs to."""
    number = (np.cumsum(rings.hole) - 1)[rings.ring[inner]]
    both = shapely.intersection(
        shapely.polygons(shapely.linearrings(near[inner], indices=number)),
        shapely.polygons(shapely.linearrings(far[inner], indices=number)),
    )
    windows, of = shapely.get_parts(both, return_index=True)
    # Copies that only touch leave a point or a line, which is no opening.
    opened = (shapely.get_type_id(windows) == shapely.GeometryType.POLYGON) & ~shapely.is_empty(windows)
    return windows[opened], rings.owner[rings.hole][of[opened]]


def _convex_outlines(rings: Rings, near: Floats, far: Floats, facing: Bools) -> Geometries:
    """Far edge along facing walls, near edge along the others, both vertices where they meet."""
    outer = ~rings.hole[rings.ring]
    before = facing[rings.previous]
    at = np.repeat(np.arange(len(near)), np.where(outer, 1 + (facing != before), 0))
    second = np.concatenate([[False], at[1:] == at[:-1]])
    on_far = np.where(second, facing[at], before[at])
    points = np.where(on_far[:, None], far[at], near[at])
    return np.asarray(shapely.linearrings(points, indices=rings.owner[rings.ring[at]]))


def _hulls(rings: Rings, chosen: Bools, near: Floats, far: Floats) -> Geometries:
    """Convex hull of both copies of the outline, of chosen polygons only."""
    owner = np.where(rings.hole, -1, rings.owner)[rings.ring]
    at = np.repeat(np.flatnonzero((owner >= 0) & chosen[owner]), 2)
    points = near[at]
    points[1::2] = far[at[1::2]]
    number = (np.cumsum(chosen) - 1)[owner[at]]
    hulls: Geometries = shapely.convex_hull(shapely.linestrings(points, indices=number))
    flat = shapely.get_type_id(hulls) != shapely.GeometryType.POLYGON
    hulls[flat] = shapely.Polygon()
    return hulls


def _general_area(rings: Rings, near: Floats, far: Floats, facing: Floats) -> Geometries:
    """Near copy joined with the strips; the near copy is part of the prism, so it never covers too much."""
    faces = np.asarray(shapely.polygons(shapely.linearrings(near, indices=rings.ring), indices=rings.owner))
    faces[~shapely.is_valid(faces)] = shapely.Polygon()  # seen edge-on: no area of its own
    strips, of = _strips(rings, near, far, _settled(rings, facing))
    group = np.concatenate([np.arange(rings.count), of])
    order = np.argsort(group, kind="stable")
    return union_groups(np.concatenate([faces, strips])[order], group[order], rings.count)


def _settled(rings: Rings, facing: Floats) -> Bools:
    """Which walls face the viewer, where a wall seen edge-on counts if the next ones on both sides do.

    Such a wall has no area, but without it the strips beside it would part along a hairline.
    """
    at, starts = np.arange(len(facing)), rings.starts
    first, last = starts[rings.ring], starts[rings.ring + 1] - 1
    known = np.where(facing != 0, at, -1)
    before: Ints = np.maximum.accumulate(known)
    before = np.where(before < first, before[last], before)
    known = np.where(facing != 0, at, len(at))
    after = np.minimum.accumulate(known[::-1])[::-1]
    after = np.where(after > last, after[first], after)
    sure = (before >= first) & (after <= last)
    return sure & (facing[np.where(sure, before, at)] > 0) & (facing[np.where(sure, after, at)] > 0)


def _strips(rings: Rings, near: Floats, far: Floats, facing: Bools) -> tuple[Geometries, Ints]:
    """One polygon for each run of facing walls, with the polygon it belongs to."""
    begins = facing & ~facing[rings.previous]
    # Walls that face the viewer all around (a hole looked into) are cut in two, so that strips have ends.
    around = np.bincount(rings.ring[~facing], minlength=len(rings.owner)) == 0
    first, end = rings.starts[:-1], rings.starts[1:]
    begins[first[around]] = True
    begins[(first + end)[around] // 2] = True
    begin = np.flatnonzero(begins)
    ring, walls = rings.ring[begin], _walls_in_runs(rings, facing, begins)
    # Along the near copy to the end of the run, and back along the far one.
    size = 2 * (walls + 1)
    run = np.repeat(np.arange(len(begin)), size)
    step = np.arange(len(run)) - (np.cumsum(size) - size)[run]
    back = step > walls[run]
    step = np.where(back, 2 * walls[run] + 1 - step, step)
    at = first[ring][run] + (begin - first[ring])[run] + step
    at = np.where(at >= end[ring][run], at - (end - first)[ring][run], at)
    strips = np.asarray(shapely.polygons(shapely.linearrings(np.where(back[:, None], far[at], near[at]), indices=run)))
    sound = shapely.is_valid(strips)
    if sound.all():
        return strips, rings.owner[ring]
    # A spiral makes a strip cross itself, and so does rounding: take its walls one by one.
    single = at[~back & (step < walls[run]) & ~sound[run]]
    return (
        np.concatenate([strips[sound], _single_walls(rings, near, far, single)]),
        np.concatenate([rings.owner[ring][sound], rings.owner[rings.ring[single]]]),
    )


def _walls_in_runs(rings: Rings, facing: Bools, begins: Bools) -> Ints:
    """Count the walls of each run, runs in the order of their first wall."""
    seen = np.cumsum(begins)
    before: Ints = (seen - begins)[rings.starts[:-1]][rings.ring]
    # Before a ring's first beginning, a wall goes on the run that began last in this ring.
    last = seen[rings.starts[1:] - 1][rings.ring]
    run = np.where(seen == before, last, seen) - 1
    return np.bincount(run[facing], minlength=int(begins.sum())).astype(np.int64)


def _single_walls(rings: Rings, near: Floats, far: Floats, at: Ints) -> Geometries:
    """Each wall for itself; the image of a flat wall is convex."""
    ends = np.column_stack([at, rings.following[at]])
    corners = np.concatenate([near[ends], far[ends]], axis=1)
    walls: Geometries = shapely.convex_hull(shapely.linestrings(corners))
    flat = shapely.get_type_id(walls) != shapely.GeometryType.POLYGON
    walls[flat] = shapely.Polygon()
    return walls
